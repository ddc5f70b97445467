package reach_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// perCell is how many steps of FCL's grid make a side of a cell of the map: a pose at each of its corners, half way along each side, and at
// its middle.
const perCell = 2

// against is what comes of holding a map beside FCL's grid.
type against struct {
	cells  map[reach.Standing]int
	denied int // clear cells in which FCL finds a pair inside its margin
	wrong  int // barred cells in which FCL finds a pose that keeps them all
	first  rig.Axes
	mixed  int // unknown cells in which FCL finds poses of both kinds
	// doubted: cells of which the grid said so, and FCL by both of its solvers does not.
	doubted, asked int
}

// hold compares every cell of a map with the nine poses of FCL's grid in it. Where they differ FCL is asked again.
func hold(f *second, r *reach.Raster, g *gridded) against {
	out := against{cells: map[reach.Standing]int{}}
	n := len(g.rows) / perCell
	for i := range n {
		for j := range n {
			kept, broken := signs(func(x, y int) byte { return g.at(perCell*i+x, perCell*j+y) })
			middle := rig.Axes{A1: (unit.Angle(i) + 0.5) * reach.RasterStep, A2: (unit.Angle(j) + 0.5) * reach.RasterStep}
			s := r.At(middle)
			out.cells[s]++
			if s == reach.Unknown && kept > 0 && broken > 0 {
				out.mixed++
			}
			if s == reach.Clear && broken > 0 || s == reach.Barred && kept > 0 {
				out.differ(f, s, middle)
			}
		}
	}
	return out
}

// signs counts the poses of a cell that are kept, and those that are not.
func signs(at func(x, y int) byte) (kept, broken int) {
	for x := range perCell + 1 {
		for y := range perCell + 1 {
			switch at(x, y) {
			case '+':
				kept++
			case '-':
				broken++
			}
		}
	}
	return kept, broken
}

// differ counts a cell about which FCL says another thing than the map; the first of them only where it says so again.
func (a *against) differ(f *second, s reach.Standing, middle rig.Axes) {
	const most = 50
	if a.asked++; a.asked <= most {
		kept, broken := signs(func(x, y int) byte {
			by := rig.Axes{A1: unit.Angle(x-1) * reach.RasterStep / 2, A2: unit.Angle(y-1) * reach.RasterStep / 2}
			return f.surely(middle.Add(by))
		})
		if s == reach.Clear && broken == 0 || s == reach.Barred && kept == 0 {
			a.doubted++
			return
		}
	}
	a.first = middle
	if s == reach.Clear {
		a.denied++
	} else {
		a.wrong++
	}
}

// surely is the sign of a pose by both of FCL's solvers.
func (f *second) surely(at rig.Axes) byte {
	f.t.Helper()
	var spare float64
	_, err := fmt.Sscan(f.ask("surely %.17g %.17g", at.A1.Deg(), at.A2.Deg()), &spare)
	require.NoError(f.t, err)
	return signOf(spare)
}

func signOf(spare float64) byte {
	switch {
	case spare > nearMM:
		return '+'
	case spare < -nearMM:
		return '-'
	}
	return '0'
}

// TestMapAgainstFCL: over all axis space, no cell of the map is clear in which FCL finds a pair inside its margin, and none barred in which it
// finds a pose that keeps them all. FCL is asked at 8.3 million poses, eight to a degree; those near which the triangle rule leaves nothing
// open it does not work out again, and of some thousands drawn by lot it does.
func TestMapAgainstFCL(t *testing.T) {
	for _, name := range rigsForFCL() {
		_, s := exampleScene(t, name)
		f := newSecond(t, s)
		g := f.grid(4 * perCell)
		raster := rasterOf(t, s)
		got := hold(f, raster, &g)
		assert.Zero(t, got.denied, "%s: cells clear in which FCL finds a pair inside its margin, such as %v", name, got.first)
		assert.Zero(t, got.wrong, "%s: cells barred in which FCL finds all kept, such as %v", name, got.first)
		assert.Zero(t, got.doubted, "%s: cells of which FCL contradicts itself", name)
		assert.NotZero(t, got.cells[reach.Clear], name)
		assert.NotZero(t, got.cells[reach.Barred], name)
		worst := openAt(t, f, raster)
		plain := plainly(t, f, &g, 4000)
		t.Logf("%s: %d pairs; of %d cells %d clear, %d barred, %d unknown, of which FCL finds %d of both kinds; the farthest of the unknown from none to spare %.2f mm; FCL worked out %d distances, %d of which its other solver contradicts, and %d of its poses anew",
			name, len(s.Pairs), len(g.rows)*len(g.rows)/perCell/perCell, got.cells[reach.Clear], got.cells[reach.Barred], got.cells[reach.Unknown], got.mixed, worst, g.distances, g.doubts, plain)
	}
}

// TestMapOfRandomRigsAgainstFCL is the same of rigs made by lot, whose axes are tilted and do not cross.
func TestMapOfRandomRigsAgainstFCL(t *testing.T) {
	count, doubted := map[reach.Standing]int{}, 0
	seeds(t, 5, 12, func(r *rand.Rand, seed uint64) {
		s := randomScene(r, fclShape)
		f := newSecond(t, s)
		g := f.grid(4 * perCell)
		got := hold(f, rasterOf(t, s), &g)
		assert.Zero(t, got.denied, "seed %d: cells clear in which FCL finds a pair inside its margin, such as %v", seed, got.first)
		assert.Zero(t, got.wrong, "seed %d: cells barred in which FCL finds all kept, such as %v", seed, got.first)
		for k, n := range got.cells {
			count[k] += n
		}
		doubted += got.doubted + g.doubts
	})
	t.Logf("cells by standing: %v; %d figures in which FCL's solvers differ", count, doubted)
}

// openAt is the farthest from none to spare that FCL finds at the middles of the map's unknown cells, every seventh of them.
func openAt(t *testing.T, f *second, r *reach.Raster) (worst float64) {
	t.Helper()
	n := 0
	for i := range 1440 {
		for j := range 1440 {
			at := rig.Axes{A1: (unit.Angle(i) + 0.5) * reach.RasterStep, A2: (unit.Angle(j) + 0.5) * reach.RasterStep}
			if r.At(at) != reach.Unknown {
				continue
			}
			if n++; n%7 != 0 {
				continue
			}
			spare, _ := f.least(at)
			if spare > -1 { // of an overlap FCL tells no depth
				worst = max(worst, math.Abs(spare))
			}
		}
	}
	return worst
}

// plainly asks for poses of a grid again, by FCL's trees and without the triangle rule.
func plainly(t *testing.T, f *second, g *gridded, n int) int {
	t.Helper()
	r := rand.New(rand.NewPCG(4, 63))
	for range n {
		i, j := r.IntN(len(g.rows)), r.IntN(len(g.rows))
		spare, _ := f.least(rig.DegAxes(float64(i)/float64(g.perDeg), float64(j)/float64(g.perDeg)))
		require.Equal(t, string(signOf(spare)), string(g.at(i, j)), "FCL's grid at %d, %d of %d to a degree: it finds %g mm to spare there", i, j, g.perDeg, spare)
	}
	return n
}

// TestFCLSeesAWrongMap breaks what TestMapAgainstFCL holds together, on purpose: the comparison must find it.
func TestFCLSeesAWrongMap(t *testing.T) {
	changed := func(change func(*rig.Scene)) *rig.Scene {
		_, s := exampleScene(t, "heron.yaml")
		change(s)
		return s
	}
	_, s := exampleScene(t, "heron.yaml")
	f := newSecond(t, s)
	g := f.grid(4 * perCell)
	const either = "either"
	for name, c := range map[string]struct {
		scene *rig.Scene
		want  string
	}{
		"two millimetres less wanted": {changed(func(s *rig.Scene) {
			for i := range s.Pairs {
				s.Pairs[i].Required -= 2
			}
		}), "denied"},
		"two millimetres more wanted": {changed(func(s *rig.Scene) {
			for i := range s.Pairs {
				s.Pairs[i].Required += 2
			}
		}), "wrong"},
		"axis 1 the other way round": {changed(func(s *rig.Scene) {
			c := *s.Chain
			c.Dir1 = c.Dir1.Scale(-1)
			s.Chain = &c
		}), either},
		"axis 2 2 mm higher": {changed(func(s *rig.Scene) {
			c := *s.Chain
			c.Point2.Z += 2
			s.Chain = &c
		}), either},
	} {
		if underRace && c.want == either {
			continue
		}
		got := hold(f, rasterOf(t, c.scene), &g)
		found := map[string]int{"denied": got.denied, "wrong": got.wrong, either: got.denied + got.wrong}
		assert.NotZero(t, found[c.want], "%s: cells that are %s", name, c.want)
	}
}
