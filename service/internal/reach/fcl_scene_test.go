package reach_test

import (
	"bufio"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
)

// The second implementation of this room's figures: FCL 0.7.0 (Debian libfcl-dev 0.7.0-3), distance() with GST_INDEP, by the program of
// testdata/reference/fcl, which KEEPCLEAR_FCL names once it is built. It gets the solids at the zero pose and the two axes as lines, and turns
// them itself.

// second is that program with a scene.
type second struct {
	t   testing.TB
	in  io.WriteCloser
	out *bufio.Reader
}

// newSecond starts it; the test is skipped where there is none.
func newSecond(t testing.TB, s *rig.Scene) *second {
	t.Helper()
	return secondOf(t, sceneForFCL(s))
}

// secondOf starts it with a scene as scene.cpp reads it.
func secondOf(t testing.TB, scene string) *second {
	t.Helper()
	program := os.Getenv("KEEPCLEAR_FCL")
	if program == "" {
		t.Skip("KEEPCLEAR_FCL does not name the program built from testdata/reference/fcl")
	}
	cmd := exec.Command(program, "scene")
	cmd.Stderr = os.Stderr
	in, err := cmd.StdinPipe()
	require.NoError(t, err)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		require.NoError(t, in.Close())
		require.NoError(t, cmd.Wait())
	})
	f := &second{t, in, bufio.NewReaderSize(out, 1<<20)}
	f.put("%s", scene)
	return f
}

// sceneForFCL writes a scene as scene.cpp reads it.
func sceneForFCL(s *rig.Scene) string {
	var b strings.Builder
	c := s.Chain
	for i, line := range [][2]point{{c.Point1, c.Dir1}, {c.Point2, c.Dir2}} {
		fmt.Fprintln(&b, "axis", i+1, line[0].X, line[0].Y, line[0].Z, line[1].X, line[1].Y, line[1].Z)
	}
	for _, body := range s.Bodies {
		link := map[rig.Link]int{rig.Ground: 0, rig.OnAxis1: 1, rig.OnAxis2: 2}[body.Link]
		fmt.Fprint(&b, "solid ", link, " ", solidForFCL(body.Shape))
	}
	for _, p := range s.Pairs {
		fmt.Fprintln(&b, "pair", p.A, p.B, float64(p.Required))
	}
	return b.String() + "end\n"
}

// solidForFCL writes a solid as solids.cpp reads it.
func solidForFCL(s solid.Shape) string {
	a, b := s.Axis()
	ra, rb := s.Radii()
	switch s.Kind() {
	case solid.SphereKind:
		return fmt.Sprintln("sphere", a.X, a.Y, a.Z, ra)
	case solid.CapsuleKind, solid.CylinderKind:
		return fmt.Sprintln(s.Kind(), a.X, a.Y, a.Z, b.X, b.Y, b.Z, ra)
	case solid.FrustumKind: // FCL has cones only
		if rb == 0 {
			return fmt.Sprintln("cone", a.X, a.Y, a.Z, b.X, b.Y, b.Z, ra)
		}
	case solid.BoxKind:
		h, r := s.HalfSizes()
		m := r.M
		return fmt.Sprintln("box", a.X, a.Y, a.Z, 2*h.X, 2*h.Y, 2*h.Z, m[0][0], m[0][1], m[0][2], m[1][0], m[1][1], m[1][2], m[2][0], m[2][1], m[2][2])
	case solid.HullKind:
		if ra == 0 {
			out := []any{"hull", len(s.Points())}
			for _, p := range s.Points() {
				out = append(out, p.X, p.Y, p.Z)
			}
			return fmt.Sprintln(out...)
		}
	case solid.NoKind:
	}
	panic("FCL has no " + s.String())
}

func (f *second) put(format string, args ...any) {
	f.t.Helper()
	_, err := fmt.Fprintf(f.in, format, args...)
	require.NoError(f.t, err)
}

// ask puts a question and returns the line that answers it.
func (f *second) ask(format string, args ...any) string {
	f.t.Helper()
	f.put(format+"\n", args...)
	return f.line()
}

func (f *second) line() string {
	f.t.Helper()
	line, err := f.out.ReadString('\n')
	require.NoError(f.t, err, "the program fell silent")
	return strings.TrimSpace(line)
}

// least is the least spare at a pose and its pair; an overlap is -1 less what is required.
func (f *second) least(at rig.Axes) (spare float64, pair int) {
	f.t.Helper()
	_, err := fmt.Sscan(f.ask("least %.17g %.17g", at.A1.Deg(), at.A2.Deg()), &spare, &pair)
	require.NoError(f.t, err)
	return spare, pair
}

// gaps is the distance of every pair at a pose, -1 of an overlap.
func (f *second) gaps(at rig.Axes) []float64 {
	f.t.Helper()
	var out []float64
	for _, w := range strings.Fields(f.ask("pairs %.17g %.17g", at.A1.Deg(), at.A2.Deg())) {
		var v float64
		_, err := fmt.Sscan(w, &v)
		require.NoError(f.t, err)
		out = append(out, v)
	}
	return out
}

// gridded is what FCL says of a grid of poses that begins at zero: '+' all kept, '-' one not, '0' one within nearMM of neither.
type gridded struct {
	perDeg    int
	rows      []string
	distances int
	doubts    int // of those, figures that FCL's other solver contradicts
}

// nearMM is within what FCL's figure is taken for neither kept nor not. Budget: that of solid's comparison with FCL.
const nearMM = 1e-4

// grid asks for a turn of both axes in so many poses a degree.
func (f *second) grid(perDeg int) gridded {
	f.t.Helper()
	n := 360 * perDeg
	g := gridded{perDeg: perDeg, rows: make([]string, n)}
	f.put("grid 0 0 %.17g %d %d %g\n", 1/float64(perDeg), n, n, nearMM)
	for i := range g.rows {
		g.rows[i] = f.line()
		require.Len(f.t, g.rows[i], n)
	}
	_, err := fmt.Sscanf(f.line(), "distances %d doubts %d", &g.distances, &g.doubts)
	require.NoError(f.t, err)
	return g
}

// at is the sign of a pose of the grid, counted in its steps from zero, unreduced.
func (g *gridded) at(i, j int) byte {
	n := len(g.rows)
	return g.rows[((i%n)+n)%n][((j%n)+n)%n]
}

// exampleRigs are the example rigs and the practice rig.
var exampleRigs = []string{"wren.yaml", "bittern.yaml", "curlew.yaml", "heron.yaml"}

// rigsForFCL are those, and under the race detector the practice rig alone: nothing here runs at once.
func rigsForFCL() []string {
	if underRace {
		return exampleRigs[len(exampleRigs)-1:]
	}
	return exampleRigs
}

// exampleRig reads one of them.
func exampleRig(t testing.TB, name string) *rig.Rig {
	t.Helper()
	dir := "../../../testdata/rigs/"
	if name == "heron.yaml" {
		dir = "../practice/"
	}
	read := func(file string) ([]byte, error) { return os.ReadFile(dir + file) }
	content, err := read(name)
	require.NoError(t, err)
	r, bad := rig.Parse(name, content, read)
	require.NotNil(t, r, "%v", bad)
	return r
}

// exampleScene is one of them with its parts in all of their states and the margins of the default limits.
func exampleScene(t testing.TB, name string) (*rig.Rig, *rig.Scene) {
	t.Helper()
	r := exampleRig(t, name)
	return r, r.Scene(nil, 10, 10)
}

// fclShape makes a solid of any kind that FCL holds.
func fclShape(r *rand.Rand, at point, size float64) solid.Shape {
	for {
		s := randomShape(r, at, size)
		_, rb := s.Radii()
		a, b := s.Axis()
		switch s.Kind() {
		case solid.HullKind:
			if len(s.Points()) >= 4 {
				return s
			}
		case solid.FrustumKind:
		case solid.CapsuleKind, solid.CylinderKind:
			if a != b && rb > 0 {
				return s
			}
		case solid.SphereKind:
			if rb > 0 {
				return s
			}
		case solid.BoxKind:
			if h, _ := s.HalfSizes(); min(h.X, h.Y, h.Z) > 0 {
				return s
			}
		case solid.NoKind:
		}
	}
}
