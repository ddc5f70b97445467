package solid_test

import (
	"encoding/binary"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// numbers reads float64s off fuzz bytes; 0 once they are used up.
type numbers []byte

func (n *numbers) next() float64 {
	if len(*n) < 8 {
		*n = nil
		return 0
	}
	v := math.Float64frombits(binary.LittleEndian.Uint64(*n))
	*n = (*n)[8:]
	return v
}

func (n *numbers) point() solid.Point { return at(n.next(), n.next(), n.next()) }

// solid makes any solid of a kind out of raw numbers, with the constructors' refusal.
func (n *numbers) solid(kind byte) (solid.Shape, error) {
	switch kind % 7 {
	case 0:
		return solid.Sphere(n.point(), n.next())
	case 1:
		return solid.Capsule(n.point(), n.point(), n.next())
	case 2:
		return solid.Cylinder(n.point(), n.point(), n.next())
	case 3:
		return solid.Frustum(n.point(), n.point(), n.next(), n.next())
	case 4:
		return solid.Box(n.point(), frame.About(n.point().Unit(), unit.Angle(n.next())), n.point())
	case 5:
		return solid.Disc(n.point(), n.point(), n.next())
	}
	points := make([]solid.Point, 0, 8)
	for len(*n) >= 24 && len(points) < 8 {
		points = append(points, n.point())
	}
	return solid.GrownHull(points, n.next())
}

func bytesOf(v ...float64) []byte {
	var b []byte
	for _, x := range v {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
	}
	return b
}

// FuzzDistance makes two solids of any numbers: whatever the constructors take has bounds that hold against the second
// implementation; nothing is NaN and nothing panics.
func FuzzDistance(f *testing.F) {
	f.Add(byte(0), byte(1), bytesOf(0, 0, 0, 1), bytesOf(5, 0, 0, 5, 0, 9, 2))
	f.Add(byte(2), byte(4), bytesOf(0, 0, 0, 0, 0, 5, 3), bytesOf(3, 3, 3, 0, 0, 1, 0.5, 1, 2, 3))
	f.Add(byte(2), byte(2), bytesOf(0, 0, 0, 0, 0, 5, 3), bytesOf(6, 0, 0, 6, 0, 5, 3)) // cylinders that touch along a line
	f.Add(byte(3), byte(5), bytesOf(0, 0, 0, 0, 0, 5, 3, 0), bytesOf(0, 0, 5, 0, 0, 1, 4))
	f.Add(byte(4), byte(4), bytesOf(0, 0, 0, 0, 0, 1, 0, 1, 2, 3), bytesOf(2, 0, 0, 0, 0, 1, 0, 1, 2, 3)) // boxes that share a face
	f.Add(byte(6), byte(6), bytesOf(0, 0, 0, 1, 0, 0, 0, 1, 0), bytesOf(0, 0, 1e-9, 1, 0, 0, 0, 1, 0))
	f.Add(byte(6), byte(6), bytesOf(0, 0, 0, 1, 0, 0, 0, 1, 0, 0.5), bytesOf(0, 0, 0.75, 1, 0, 0, 0, 1, 0, 0.25)) // grown until they touch
	f.Add(byte(5), byte(1), bytesOf(0, 0, 0, 1e-160, 0, 0, 1e9), bytesOf(1e9, 1e9, -1e9, 1e-320, 0, 0, 1e-200))
	f.Add(byte(0), byte(0), bytesOf(math.NaN(), 0, 0, 1), bytesOf(0, 0, 0, math.Inf(1)))
	f.Add(byte(5), byte(1), bytesOf(0, 0, 0, 5e-324, 0, 0, 0), bytesOf(0)) // a direction of subnormal length
	f.Fuzz(func(t *testing.T, i, j byte, first, second []byte) {
		n, m := numbers(first), numbers(second)
		a, errA := n.solid(i)
		b, errB := m.solid(j)
		if errA != nil || errB != nil {
			return
		}
		g := solid.Distance(a, b)
		require.LessOrEqual(t, g.Lower, g.Upper, "%s to %s", a, b)
		require.False(t, math.IsInf(g.Lower, 0) || math.IsInf(g.Upper, 0), "%s to %s: [%v, %v]", a, b, g.Lower, g.Upper)
		require.True(t, g.A.Finite() && g.B.Finite() && g.Way.Finite(), "%s to %s: points", a, b)
		p, q := bodyOf(a), bodyOf(b)
		low, high := slow(&p, &q, 100)
		tol := 1e-11*sizeOf(&p, &q) + 1e-100
		assert.LessOrEqual(t, g.Lower, high+tol, "%s to %s: Lower above the truth", a, b)
		assert.GreaterOrEqual(t, g.Upper, low-tol, "%s to %s: Upper below the truth", a, b)
		meets(t, "swapped", g, solid.Distance(b, a))
		assert.False(t, solid.AtLeast(a, b, g.Upper+tol+1e-9*math.Abs(g.Upper)))
	})
}

// FuzzReach asks for the reach from any line: at least the distance of any support, but for what the squares of lengths near 1e-160 mm lose.
func FuzzReach(f *testing.F) {
	f.Add(byte(2), bytesOf(0, 0, 0, 0, 0, 5, 3), bytesOf(1, 2, 3, 0, 0, 1, 1, 0, 0))
	f.Add(byte(3), bytesOf(0, 0, 0, 0, 0, 5, 3, 1), bytesOf(1, 2, 3, 1, 0, 1, 1, 5, 0))
	f.Add(byte(4), bytesOf(0, 0, 0, 0, 0, 1, 0, 1, 2, 3), bytesOf(0, 0, 0, 1, 1, 1, 1, 0, 0))
	f.Add(byte(5), bytesOf(0, 0, 0, 0, 0, 1, 7), bytesOf(0, 0, 0, 0, 1e-9, 1, 1, 0, 0))
	f.Add(byte(6), bytesOf(0, 0, 0, 1, 0, 0, 0, 1, 0), bytesOf(math.NaN(), 0, 0, 0, 0, 0, 0, 0, 0))
	f.Add(byte(5), []byte("0000000\x000000000\x000000000\x000000000 00000000000000000000170\x1f"), []byte("0000000\x000000000\x000000000\x000000000 000000000000000100000000")) // some 1e-158 mm
	f.Fuzz(func(t *testing.T, i byte, first, line []byte) {
		n, m := numbers(first), numbers(line)
		s, err := n.solid(i)
		if err != nil {
			return
		}
		point, axis, dir := m.point(), m.point().Unit(), m.point()
		reach := s.Reach(point, axis)
		require.False(t, math.IsNaN(reach) || reach < 0, "%s: reach %v", s, reach)
		if p := s.Support(dir); p.Finite() && math.Abs(axis.Norm()-1) < 1e-12 && point.Norm() < 1e12 {
			assert.GreaterOrEqual(t, reach*(1+1e-12)+1e-11*(point.Norm()+s.Centre().Norm())+1e-100, p.Sub(point).Cross(axis).Norm(), "%s", s)
		}
		require.False(t, math.IsNaN(s.SupportDistance(dir)))
	})
}
