package reach_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// maze is a rig with what routes are looked for in.
type maze struct {
	name   string
	scene  *rig.Scene
	motion rig.Motion
	travel rig.Travel
}

// mazes are the example rigs, with more travel than they have, for within it little stands in the way; and a fence with an opening and one
// without.
func mazes(t *testing.T) (out []maze) {
	for _, name := range rigsForFCL() {
		r, s := exampleScene(t, name)
		more := rig.DegAxes(20, 60)
		out = append(out, maze{name, s, r.Motion, rig.Travel{Low: r.Travel.Low.Sub(more), High: r.Travel.High.Add(more)}})
	}
	travel := rig.Travel{Low: rig.DegAxes(-30, -30), High: rig.DegAxes(90, 80)}
	return append(out, maze{"fence with an opening", walls(fence(30, 9)...), usual, travel}, maze{"fence", walls(fence(30, -1)...), usual, travel})
}

// TestRoutesAgainstFCL: every leg of every way round, sampled finely with its spread, keeps what is required as FCL finds; where the map proves
// that there is no way, a flood of FCL's grid finds none either; and where neither is found, it is said how often the flood finds one.
func TestRoutesAgainstFCL(t *testing.T) {
	var all routed
	for _, m := range mazes(t) {
		n := m.route(t, m.scene, fewer(60))
		t.Logf("%s: %+v", m.name, n)
		assert.Zero(t, n.below, "%s: samples of proven legs that FCL finds inside a margin", m.name)
		assert.Zero(t, n.closed, "%s: ways that are proven where FCL's grid has none", m.name)
		assert.Zero(t, n.through, "%s: ways of FCL's grid where it is proven that there is none", m.name)
		assert.LessOrEqual(t, n.missed-n.close, 1, "%s: ways of FCL's grid that were not found", m.name)
		assert.NotZero(t, n.barred+n.found, m.name)
		all.found, all.apart = all.found+n.found, all.apart+n.apart
	}
	assert.NotZero(t, all.found)
	assert.NotZero(t, all.apart, "no way between two places that are clear")
}

// TestFCLSeesAWrongRoute proves on purpose for a rig whose parts ask for less, and for one whose parts ask for more, than FCL is told.
func TestFCLSeesAWrongRoute(t *testing.T) {
	with := func(more unit.Length) routed {
		_, s := exampleScene(t, "heron.yaml")
		r := exampleRig(t, "heron.yaml")
		for i := range s.Pairs {
			s.Pairs[i].Required += more
		}
		_, told := exampleScene(t, "heron.yaml")
		far := rig.DegAxes(20, 60)
		return maze{"heron", s, r.Motion, rig.Travel{Low: r.Travel.Low.Sub(far), High: r.Travel.High.Add(far)}}.route(t, told, max(fewer(20), 6))
	}
	assert.NotZero(t, with(-15).below, "samples inside a margin")
	assert.NotZero(t, with(40).through, "ways where there is said to be none")
}

// route looks for ways round between so many pairs of poses and holds what is found against FCL, which is told of a scene.
func (m maze) route(t *testing.T, told *rig.Scene, pairs int) (n routed) {
	t.Helper()
	spread := rig.DegAxes(0.2, 0.2)
	f, p := newSecond(t, told), reach.New(m.scene)
	g := f.grid(4)
	fl := newFloods(&g, m.travel)
	lot := rand.New(rand.NewPCG(20, 63))
	for tries := 0; tries < 3000 && n.asked < pairs; tries++ {
		from, to := poseIn(lot, m.travel), poseIn(lot, m.travel)
		if !p.Prove(reach.Hold(from), spread, reach.DefaultBudget).Passes() || p.Prove(reach.WayOf(m.motion.Sharing, m.motion, from, to), spread, reach.DefaultBudget).Passes() {
			continue
		}
		n.asked++
		route, found := p.Around(from, to, m.motion, m.travel, spread, reach.DefaultBudget)
		n.count(fl, from, to, found, route.Barred)
		if !found && !route.Barred && fl.joined(from, to) && !p.Prove(reach.Hold(to), spread, reach.DefaultBudget).Passes() {
			n.close++
		}
		if found {
			n.sample(f, append(append([]rig.Axes{from}, route.Stops...), to), m.motion, spread)
		}
	}
	return n
}

// routed counts what became of searches for a way round.
type routed struct {
	asked          int
	found, closed  int // a way; of those, none on FCL's grid
	barred, apart  int // no way; of those, where the end is kept by itself
	through        int // no way, where FCL's grid has one
	none, missed   int // neither; of those, FCL's grid (without the spread) has one
	close          int // of those, where the end itself is not clear with its spread
	samples, below int // of proven legs; of those, FCL finds a pair inside its margin
}

func (n *routed) count(fl *floods, from, to rig.Axes, found, barred bool) {
	open := fl.joined(from, to)
	tick := func(of *int, also bool, and *int) {
		*of++
		if also {
			*and++
		}
	}
	switch {
	case found:
		tick(&n.found, !open, &n.closed)
	case barred:
		tick(&n.barred, fl.free(to), &n.apart)
		if open {
			n.through++
		}
	default:
		tick(&n.none, open, &n.missed)
	}
}

// sample asks FCL for poses along legs, a quarter of a degree apart and at the corners of their spread.
func (n *routed) sample(f *second, stops []rig.Axes, m rig.Motion, spread rig.Axes) {
	for i := 1; i < len(stops); i++ {
		a, b := stops[i-1], stops[i]
		ways := []reach.Way{reach.WayOf(m.Sharing, m, a, b)}
		if m.Sharing == rig.AnyOrder {
			ways = append(ways, reach.InTurn(a, b, m, true), reach.InTurn(a, b, m, false))
		}
		of := int(4*b.Sub(a).Abs().Max().Deg()) + 2
		for _, way := range ways {
			for k := range of {
				at := way.At(way.Seconds() * float64(k) / float64(of-1))
				spare, _ := f.least(at.Add(rig.Axes{A1: spread.A1 * unit.Angle(k%3-1), A2: spread.A2 * unit.Angle(k/3%3-1)}))
				n.samples++
				if spare < -nearMM {
					n.below++
				}
			}
		}
	}
}

func poseIn(lot *rand.Rand, t rig.Travel) rig.Axes {
	d := t.High.Sub(t.Low)
	return t.Low.Add(rig.Axes{A1: d.A1 * unit.Angle(lot.Float64()), A2: d.A2 * unit.Angle(lot.Float64())})
}

// floods are the parts of a travel, as FCL's grid sees it, that hang together.
type floods struct {
	g       *gridded
	low     [2]int
	rows    int
	columns int
	part    []int // by pose of the grid: 0 not kept
}

// newFloods tells the parts of a travel apart. Poses that meet at a corner are joined, as reach.flood joins its cells.
func newFloods(g *gridded, travel rig.Travel) *floods {
	i0, i1 := steps(reach.Extent{Low: travel.Low.A1, High: travel.High.A1}, 0, g.perDeg)
	j0, j1 := steps(reach.Extent{Low: travel.Low.A2, High: travel.High.A2}, 0, g.perDeg)
	f := &floods{g: g, low: [2]int{i0, j0}, rows: i1 - i0 + 1, columns: j1 - j0 + 1}
	f.part = make([]int, f.rows*f.columns)
	parts := 0
	for n := range f.part {
		if f.part[n] == 0 && f.kept(n) {
			parts++
			f.fill(n, parts)
		}
	}
	return f
}

func (f *floods) kept(n int) bool { return f.g.at(f.low[0]+n/f.columns, f.low[1]+n%f.columns) != '-' }

func (f *floods) fill(start, part int) {
	f.part[start] = part
	list := []int{start}
	for len(list) > 0 {
		n := list[len(list)-1]
		list = list[:len(list)-1]
		for di := -1; di <= 1; di++ {
			for dj := -1; dj <= 1; dj++ {
				i, j := n/f.columns+di, n%f.columns+dj
				if i < 0 || j < 0 || i >= f.rows || j >= f.columns {
					continue
				}
				if to := i*f.columns + j; f.part[to] == 0 && f.kept(to) {
					f.part[to] = part
					list = append(list, to)
				}
			}
		}
	}
}

// of is the part that the grid's pose nearest to one belongs to.
func (f *floods) of(at rig.Axes) int {
	i := min(max(int(at.A1.Deg()*float64(f.g.perDeg)+1e6+0.5)-1e6-f.low[0], 0), f.rows-1)
	j := min(max(int(at.A2.Deg()*float64(f.g.perDeg)+1e6+0.5)-1e6-f.low[1], 0), f.columns-1)
	return f.part[i*f.columns+j]
}

func (f *floods) free(at rig.Axes) bool { return f.of(at) > 0 }

func (f *floods) joined(a, b rig.Axes) bool { return f.free(a) && f.of(a) == f.of(b) }
