package reach

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// sure returns a shape made of good numbers.
func sure(s solid.Shape, err error) solid.Shape {
	if err != nil {
		panic(err)
	}
	return s
}

// lot draws the bodies of an invented rig whose axes cross nowhere and that stands anywhere.
func lot(r *rand.Rand) *rig.Scene {
	at := func(by float64) point {
		return point{X: by * r.NormFloat64(), Y: by * r.NormFloat64(), Z: by * r.NormFloat64()}
	}
	chain := rig.Chain{Point1: at(500), Dir1: at(1).Unit(), Point2: at(500), Dir2: at(1).Unit(), Tube: at(1).Unit()}
	s := &rig.Scene{Chain: &chain}
	for i, link := range []rig.Link{rig.Ground, rig.Ground, rig.OnAxis1, rig.OnAxis1, rig.OnAxis2, rig.OnAxis2} {
		c := at(900)
		shape := sure(solid.Sphere(c, 20+80*r.Float64()))
		switch r.IntN(3) {
		case 0:
			shape = sure(solid.Capsule(c, c.Add(at(150)), 10+30*r.Float64()))
		case 1:
			shape = sure(solid.Box(c, frame.About(at(1).Unit(), unit.Angle(r.Float64())), point{X: 20 + 60*r.Float64(), Y: 30, Z: 50}))
		}
		s.Bodies = append(s.Bodies, rig.Body{Link: link, Shape: shape, Part: i})
		s.Names = append(s.Names, string(rune('a'+i)))
	}
	for i, a := range s.Bodies {
		for j, b := range s.Bodies {
			if a.Link < b.Link {
				s.Pairs = append(s.Pairs, rig.Pair{A: i, B: j, Required: unit.Length(30 * r.Float64())})
			}
		}
	}
	return s
}

// gapAt is the gap of a pair at a pose, at most; what is carried along by axis 1 is seen from there.
func gapAt(s *rig.Scene, q rig.Pair, at rig.Axes) solid.Gap {
	placed := s.Place(at)
	return solid.Distance(placed[q.A], placed[q.B])
}

func TestChordsByHand(t *testing.T) {
	for _, c := range []struct {
		deg, want float64
	}{{0, 0}, {60, 1}, {90, math.Sqrt2}, {180, 2}, {181, 2}, {360, 2}, {1e9, 2}} {
		assert.InDelta(t, c.want, chord(unit.Deg(c.deg)), 1e-12, "%v°", c.deg)
	}
	cell := rect{axes(1, -4), axes(3, 2)}
	for _, c := range []struct{ from, want rig.Axes }{
		{axes(2, -1), axes(1, 3)}, {axes(1.5, 1), axes(1.5, 5)}, {axes(2.75, -3), axes(1.75, 5)}, {axes(0, 5), axes(3, 9)}, {axes(7, -6), axes(6, 8)},
	} {
		assert.Equal(t, c.want, farther(cell, c.from), "from %v", c.from)
	}
	assert.Equal(t, rig.Axes{}, farther(rect{axes(2, 2), axes(2, 2)}, axes(2, 2)))
	assert.Equal(t, rig.Axes{}, farther(rect{axes(3, 3), axes(1, 1)}, axes(2, 2)), "of a cell that holds nothing")
}

// TestArcsSpanTheirTurns: ends and the meeting of the tangents, by Rodrigues.
func TestArcsSpanTheirTurns(t *testing.T) {
	a, ok := over(0.2, 0.8)
	require.True(t, ok)
	require.Equal(t, 3, a.n)
	u, v := point{Z: 1}, point{X: 2, Y: 1, Z: 5}
	for i, c := range []struct{ angle, far float64 }{{0.2, 1}, {0.8, 1}, {0.5, 1 / math.Cos(0.3)}} {
		want := point{X: c.far * (2*math.Cos(c.angle) + math.Sin(c.angle)), Y: c.far * (math.Cos(c.angle) - 2*math.Sin(c.angle)), Z: 5}
		assert.InDelta(t, 0, a.back(v, u, i).Sub(want).Norm(), 1e-12, "vertex %d: got %v, want %v", i, a.back(v, u, i), want)
	}
	none := still()
	assert.Equal(t, 1, none.n)
	assert.Equal(t, v, none.back(v, u, 0))
	assert.Equal(t, [3]float64{1}, none.cos)
	third := unit.Angle(widestArc)
	assert.InDelta(t, 60, third.Deg(), 1e-12, "vertices twice as far out as the arc")
	for high, want := range map[unit.Angle]bool{0: true, third: true, 2 * third: true, 2*third + 1e-9: false, 7: false, unit.Angle(math.NaN()): false} {
		_, ok := over(0, high)
		assert.Equal(t, want, ok, "0 … %v", high)
	}
}

// TestPlaneByHand: a ball of 50 at 1100 on X, one of 10 at 1000 that axis 1 turns about Z. At rest 40 lie between them; over ±0.1 the vertex
// of the arc stands 1/cos 0.1 farther out. Wherever the rig stands.
func TestPlaneByHand(t *testing.T) {
	for _, at := range []point{{}, {X: 300, Y: -700, Z: 50}} {
		for _, link := range []rig.Link{rig.OnAxis1, rig.OnAxis2} {
			s := &rig.Scene{
				Chain:  &rig.Chain{Point1: at, Dir1: point{Z: 1}, Point2: at, Dir2: point{Z: 1}, Tube: point{X: 1}},
				Bodies: []rig.Body{{Link: rig.Ground, Shape: sure(solid.Sphere(at.Add(point{X: 1100}), 50))}, {Link: link, Shape: sure(solid.Sphere(at.Add(point{X: 1000}), 10))}},
				Pairs:  []rig.Pair{{A: 0, B: 1}},
			}
			p, rest := New(s), still()
			over1, _ := over(-0.1, 0.1)
			toward := point{X: -1}
			assert.InDelta(t, 40, p.plane(&p.pairs[0], toward, &rest, &rest), 1e-9)
			assert.InDelta(t, 1050-1010/math.Cos(0.1), p.plane(&p.pairs[0], toward, &over1, &rest), 1e-9)
			if link == rig.OnAxis2 {
				assert.InDelta(t, 1050-1010/math.Cos(0.1), p.plane(&p.pairs[0], toward, &rest, &over1), 1e-9)
				assert.InDelta(t, 1050-1010/math.Cos(0.1)/math.Cos(0.1), p.plane(&p.pairs[0], toward, &over1, &over1), 1e-9)
			}
		}
	}
}

// TestPlaneAtAPoseIsTheGap along the gap's own direction, of whatever bodies; and over a cell no pose has less.
func TestPlaneAtAPoseIsTheGap(t *testing.T) {
	r, apart := rand.New(rand.NewPCG(7, 29)), 0
	for range 60 {
		s := lot(r)
		p := New(s)
		for k := range classes {
			turns1, turns2 := k.turns()
			at := axes(unit.Angle(6*r.Float64()), unit.Angle(6*r.Float64()))
			by := axes(unit.Angle(0.4*r.Float64()), unit.Angle(0.4*r.Float64()))
			if !turns1 {
				at.A1, by.A1 = 0, 0
			}
			if !turns2 {
				at.A2, by.A2 = 0, 0
			}
			for _, i := range p.of[k] {
				g := gapAt(s, s.Pairs[i], at)
				if g.Lower < 1 {
					continue
				}
				apart++
				search := p.search(Hold(at), rig.Axes{}, 1)
				here := search.sightFrom(&cell{box: rect{at, at}, class: k}, at)
				assert.InDelta(t, g.Lower, search.plane(&here, &p.pairs[i], g.Way.Scale(-1)), 1e-6, "class %d at %v", k, at)
				around := search.sightFrom(&cell{box: hull(at, at, by), class: k}, at)
				low := search.plane(&around, &p.pairs[i], g.Way.Scale(-1))
				for range 12 {
					seen := at.Add(axes(by.A1*unit.Angle(2*r.Float64()-1), by.A2*unit.Angle(2*r.Float64()-1)))
					assert.GreaterOrEqual(t, gapAt(s, s.Pairs[i], seen).Upper, low-1e-6, "class %d at %v", k, seen)
				}
				search.release()
			}
		}
	}
	assert.Greater(t, apart, 300)
}

// TestLeanLeansAgainstThePair: what it proves is true, and of rounded bodies a few steps prove nearly all.
func TestLeanLeansAgainstThePair(t *testing.T) {
	a, b := sure(solid.Sphere(point{X: 1, Y: 2, Z: 3}, 20)), sure(solid.Sphere(point{X: 61, Y: 82, Z: 3}, 30))
	n, apart, atMost := lean(&a, &b, point{}, math.Inf(1))
	assert.InDelta(t, 50, apart, 1e-9, "between the balls")
	assert.InDelta(t, 0, n.Sub(point{X: 0.6, Y: 0.8}).Norm(), 1e-9, "from a to b")
	assert.InDelta(t, 50, atMost, 1e-9)
	n, apart, atMost = lean(&a, &b, point{X: 2}, 5)
	start := point{X: 1}
	assert.Equal(t, start, n, "no farther than it is asked to")
	assert.InDelta(t, 10, apart, 1e-9)
	assert.True(t, math.IsInf(atMost, 1), "no pose was seen")
	_, apart, _ = lean(&a, &b, point{X: 2}, 10)
	assert.InDelta(t, 10, apart, 1e-9)
	_, apart, _ = lean(&a, &b, point{X: 2}, 10.001)
	assert.Greater(t, apart, 10.001)
	_, apart, atMost = lean(&a, &a, point{}, math.Inf(1))
	assert.True(t, math.IsInf(apart, -1) && math.IsInf(atMost, 1), "one in the other: no direction")
	r := rand.New(rand.NewPCG(3, 3))
	var apartShort, atMostLong float64
	for range 400 {
		bodies := lot(r).Bodies
		a, b := &bodies[0].Shape, bodies[5].Shape
		b = b.Moved(solid.Motion{R: frame.Identity[frame.Rig](), T: a.Centre().Sub(b.Centre()).Add(point{X: 150 * r.NormFloat64(), Y: 150 * r.NormFloat64(), Z: 150 * r.NormFloat64()})})
		g := solid.Distance(*a, b)
		n, apart, atMost := lean(a, &b, point{}, math.Inf(1))
		_, askew, most := lean(a, &b, point{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}, math.Inf(1))
		assert.LessOrEqual(t, max(apart, askew), g.Upper+1e-9)
		if g.Lower > 0 {
			assert.GreaterOrEqual(t, min(atMost, most), g.Lower-1e-9)
			assert.InDelta(t, 1, n.Norm(), 1e-12)
			apartShort += 2*g.Lower - apart - askew
			atMostLong += atMost + most - 2*g.Upper
		}
	}
	t.Logf("%.1f mm short and %.1f mm long, of 800 bounds", apartShort, atMostLong)
	assert.Less(t, apartShort, 1195.0, "mm: eight steps prove nearly all")
	assert.Less(t, atMostLong, 2300.0, "mm")
}
