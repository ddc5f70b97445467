package reach

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// begun is a search of an invented scene about a line of 60° and 40°, nothing looked at yet.
func begun(t *testing.T) *search {
	t.Helper()
	p := New(lot(rand.New(rand.NewPCG(1, 2))))
	s := p.search(Straight(rig.DegAxes(10, 20), rig.DegAxes(70, 60), rig.Motion{RateDeg: [2]float64{3, 3}, AccelDeg: [2]float64{2, 2}}), rig.DegAxes(0.5, 0.25), 1000)
	require.Empty(t, s.why)
	return s
}

// TestEnoughByHand: how much spare settles a cell, by what is wanted and what was seen.
func TestEnoughByHand(t *testing.T) {
	s, inf := begun(t), math.Inf(1)
	s.need = []float64{20, 0, 100}
	assert.Equal(t, inf, s.enough(), "nothing was seen")
	s.best = seen{found: true, spare: -5, pair: 0}
	assert.Equal(t, -6.0, s.enough(), "a break is known to a millimetre")
	for _, c := range []struct {
		spare float64
		pair  int32
		want  float64
	}{{0, 0, 0}, {0.5, 0, 0}, {1, 0, 0}, {10, 0, 9}, {13, 0, 12}, {14, 0, 12.98}, {100, 2, 94}, {100, 1, 97}, {30, 1, 29}, {-1e-9, 1, -1 - 1e-9}} {
		s.best.spare, s.best.pair = c.spare, c.pair
		assert.InDelta(t, c.want, s.enough(), 1e-12, "%v of pair %d", c.spare, c.pair)
	}
	s.best.spare = 42
	assert.Equal(t, 42.0, s.interesting(), "less than was seen")
	for _, c := range []struct {
		aim                 aim
		enough, interesting float64
	}{{verdict, 0, 0}, {soonest, 0, 0}, {everything, inf, inf}} {
		for _, found := range []bool{false, true} {
			s.aim, s.best.found = c.aim, found
			assert.Equal(t, c.enough, s.enough(), "aim %d", c.aim)
			assert.Equal(t, c.interesting, s.interesting(), "aim %d", c.aim)
		}
	}
}

// TestHowFinelyAnInstantIsWanted by the length of the way, and roughly.
func TestHowFinelyAnInstantIsWanted(t *testing.T) {
	s := begun(t)
	for _, c := range []struct {
		end, broken float64
		found       bool
		rough       bool
		want        float64
	}{
		{90, 1, false, false, 0.02}, {1999, 1, false, false, 0.02}, {86400, 100, false, false, 0.864}, {86400, 1000, true, false, 0.864},
		{86400, 1000, false, true, 0.864}, {86400, 1000, true, true, 5}, {86400, 100, true, true, 0.864}, {90, 2, true, true, 0.02}, {90, 60, true, true, 0.3},
	} {
		s.way.end, s.rough, s.best = c.end, c.rough, seen{found: c.found, time: c.broken}
		assert.InDelta(t, c.want, s.resolution(), 1e-12, "%+v", c)
	}
	s.rough = false
	assert.InDelta(t, 0.01, s.grazing(), 1e-15)
	s.rough = true
	assert.InDelta(t, 1, s.grazing(), 1e-15)
}

// TestSearchBeginsAnew: nothing of the last question is left.
func TestSearchBeginsAnew(t *testing.T) {
	p := New(lot(rand.New(rand.NewPCG(1, 2))))
	way, none := Hold(rig.DegAxes(10, 20)), point{}
	for range 3 { // the pool need not give the same again
		s := p.search(way, rig.DegAxes(1, 0), 77)
		assert.Equal(t, []any{tight, false, false, 0, math.Inf(1), Budget(77), ""}, []any{s.aim, s.rough, s.plain, s.cells, s.settled, s.left, s.why})
		assert.Equal(t, seen{spare: math.Inf(1), time: math.Inf(1)}, s.best)
		assert.Equal(t, []any{1.0, 0.0}, []any{s.share, s.extra})
		for i, q := range p.pairs {
			assert.Equal(t, q.required, s.need[i])
			assert.Equal(t, none, s.towards[i])
		}
		assert.Empty(t, s.queue)
		assert.Empty(t, s.open)
		s.aim, s.rough, s.plain, s.why = soonest, true, true, "spoilt"
		s.goal(0, 30)
		assert.Equal(t, 30.0, s.need[2])
		s.goal(2, 30)
		assert.Equal(t, 2*p.pairs[2].required+30, s.need[2])
		s.work(&cell{fresh: true, box: hull(rig.DegAxes(10, 20), rig.DegAxes(10, 20), rig.DegAxes(1, 0)), class: groundAxis2})
		s.best = seen{found: true, pair: 3}
		s.towards[1] = point{X: 1}
		s.queue.push(cell{})
		s.open = append(s.open, 1)
		s.release()
	}
}

// TestRoomIsSharedAmongProvers: of scenes with more and with fewer bodies, which answer as with room of their own.
func TestRoomIsSharedAmongProvers(t *testing.T) {
	full := lot(rand.New(rand.NewPCG(1, 2)))
	few := *full
	few.Bodies, few.Pairs = full.Bodies[:5], nil
	for _, q := range full.Pairs {
		if q.B < 5 {
			few.Pairs = append(few.Pairs, q)
		}
	}
	require.Less(t, len(few.Pairs), len(full.Pairs))
	g := rand.New(rand.NewPCG(1, 3))
	shared := New(full).scratch
	for n := range 200 {
		scene := []*rig.Scene{full, &few}[g.IntN(2)]
		p, own := New(scene), New(scene)
		p.scratch = shared
		way := Uniform(rig.DegAxes(360*g.Float64(), 360*g.Float64()), rig.DegAxes(360*g.Float64(), 360*g.Float64()), 100)
		spread := rig.DegAxes(g.Float64(), g.Float64())
		require.Equal(t, own.Prove(way, spread, 500), p.Prove(way, spread, 500), "way %d", n)
		require.Equal(t, own.Keeps(way, spread, 0, 500), p.Keeps(way, spread, 0, 500), "way %d", n)
		require.Equal(t, own.Touches(way, spread, 500), p.Touches(way, spread, 500), "way %d", n)
	}
}

// TestSeeNotesTheLeast, or of instants the soonest; of equals the first.
func TestSeeNotesTheLeast(t *testing.T) {
	s := begun(t)
	v := sight{cell: &cell{leg: 0}, pose: rig.DegAxes(40, 40), mark: 0.5}
	note := func(pair int32, upper float64) { s.see(&v, pair, &solid.Gap{Lower: upper - 1, Upper: upper}) }
	s.need = []float64{10, 10, 10, 10}
	note(0, 42)
	assert.Equal(t, seen{found: true, spare: 32, pair: 0, pose: v.pose, mark: 0.5, lower: 41, upper: 42}, s.best)
	note(1, 50)
	note(2, 42)
	assert.Equal(t, int32(0), s.best.pair, "no less than before")
	note(3, 41)
	assert.Equal(t, seen{found: true, spare: 31, pair: 3, pose: v.pose, mark: 0.5, lower: 40, upper: 41}, s.best)
	assert.False(t, v.broken)

	s.aim, s.best = soonest, seen{spare: math.Inf(1), time: math.Inf(1)}
	note(0, 10)
	assert.False(t, v.broken, "what is required, to the last")
	assert.False(t, s.best.found)
	note(0, 10.5)
	assert.False(t, s.best.found)
	note(0, 9.5)
	assert.True(t, v.broken)
	l := &s.way.legs[0]
	_, first, _, ok := l.clip(rect{v.pose, v.pose}, s.spread) // 0.5° and 0.25° sooner
	require.True(t, ok)
	require.Less(t, first, 0.5)
	assert.InDelta(t, 0.5-0.25/40, first, 1e-9)
	assert.Equal(t, seen{found: true, spare: -0.5, pair: 0, pose: v.pose, mark: first, time: l.time(first, v.pose), lower: 8.5, upper: 9.5}, s.best)
	note(1, 3)
	assert.Equal(t, int32(0), s.best.pair, "no sooner")
	v.pose, v.mark = rig.DegAxes(25, 30), 0.25
	note(2, 9)
	assert.Equal(t, int32(2), s.best.pair, "sooner")
	v.pose, v.mark = rig.DegAxes(10, 60), 0.1 // of the cell, but not of the way
	note(3, 9)
	assert.Equal(t, []any{int32(3), 0.1}, []any{s.best.pair, s.best.mark}, "its own mark")
}

// TestEarliestByHand: of a rectangle by its nearest pose, of other legs by their marks.
func TestEarliestByHand(t *testing.T) {
	box, line, curve := rectOf(), lineOf(), curveOf()
	c := cell{box: rect{axes(2, -3.25), axes(3, -1.5)}, first: 0.5}
	assert.InDelta(t, 12, box.earliest(&c, rig.Axes{}), 1e-12, "axis 1 by 1 at 0.5, axis 2 by 3.5 at 1.75")
	assert.InDelta(t, 12, box.earliest(&c, axes(0, 0.5)), 1e-12)
	assert.InDelta(t, 11, box.earliest(&c, axes(0.5, 1.75)), 1e-12)
	assert.InDelta(t, 10, box.earliest(&c, axes(1, 3.5)), 1e-12, "there at once")
	assert.InDelta(t, 10, box.earliest(&cell{box: rect{axes(0, 0), axes(2, 3)}}, rig.Axes{}), 1e-12, "it begins there")
	back := rectOf()
	back.from, back.to = back.to, back.from // from (4, -5) to (1, 2)
	assert.InDelta(t, 12, back.earliest(&c, rig.Axes{}), 1e-12, "axis 1 by 1 at 0.5, axis 2 by 1.75 at 1.75")
	assert.InDelta(t, 11.6, back.earliest(&c, axes(0.2, 0.1)), 1e-12)
	assert.InDelta(t, 11, back.earliest(&c, axes(1, 0)), 1e-12)
	assert.InDelta(t, 12.5, line.earliest(&c, axes(9, 9)), 1e-12)
	assert.InDelta(t, 10.5, curve.earliest(&c, axes(9, 9)), 1e-12)
	for _, v := range []struct{ v, low, high, want unit.Angle }{{0, 1, 2, 1}, {0, -2, -1, -1}, {0, -1, 1, 0}, {5, -1, 1, 1}} {
		assert.Equal(t, v.want, clampTo(v.v, v.low, v.high))
	}
}

// TestApproachSaysWhereAndWhen.
func TestApproachSaysWhereAndWhen(t *testing.T) {
	s := begun(t)
	assert.Nil(t, s.approach())
	pair := int32(4)
	q := s.p.pairs[pair]
	s.best = seen{found: true, spare: 3, pair: pair, pose: rig.DegAxes(41, 40.5), mark: 0.5, lower: 7, upper: 8}
	got := s.approach()
	assert.Equal(t, [2]string{s.p.names[q.a], s.p.names[q.b]}, got.Parts)
	assert.Equal(t, []any{4, rig.DegAxes(41, 40.5), unit.Length(7), unit.Length(8), unit.Length(q.required)}, []any{got.Pair, got.Pose, got.Lower, got.Upper, got.Required})
	assertPose(t, rig.DegAxes(30, 20), got.Turned, "without the spread")
	assert.InDelta(t, s.way.legs[0].laws[0].end/2, got.Seconds, 1e-9)
	s.way = Rectangle(rig.DegAxes(10, 20), rig.DegAxes(70, 60), rig.Motion{RateDeg: [2]float64{3, 3}, AccelDeg: [2]float64{2, 2}})
	assertPose(t, rig.DegAxes(31, 20.5), s.approach().Turned, "of a rectangle")
	s.p.bodies[q.a].part, s.p.bodies[q.b].part = -1, len(s.p.names)
	assert.Equal(t, [2]string{}, s.approach().Parts, "of no part that has a name")
	s.p.bodies[q.a].part, s.p.bodies[q.b].part = 0, len(s.p.names)-1
	assert.Equal(t, [2]string{"a", "f"}, s.approach().Parts)
}

// TestSpentIsSpent at the last cell of the budget.
func TestSpentIsSpent(t *testing.T) {
	s := begun(t)
	for cells, want := range map[int]bool{0: false, 999: false, 1000: true, 1001: true} {
		s.cells = cells
		assert.Equal(t, want, s.spent(), "%d cells of 1000", cells)
	}
}

// TestResultsByHand: what is proven is the least of the queue and of what was settled; it passes from nothing on and fails below.
func TestResultsByHand(t *testing.T) {
	s := begun(t)
	for _, c := range []struct {
		settled, queued, spare float64
		decided                bool
		lower                  unit.Length
	}{
		{5, 3, 10, true, 3}, {3, 5, 10, true, 3}, {5, 0, 10, true, 0}, {0, 5, 10, true, 0}, {5, -1e-9, 10, false, -1e-9}, {5, -3, 0, false, -3}, {5, -3, -1e-9, true, -3}, {5, 0.5, 0.7, true, 0.5},
	} {
		s.settled, s.queue, s.best = c.settled, queue{{low: c.queued}, {low: c.queued + 100}}, seen{spare: c.spare}
		got := s.result()
		assert.Equal(t, []any{c.decided, c.lower, unit.Length(c.spare)}, []any{got.Decided, got.Lower, got.Upper}, "%+v", c)
		assert.Equal(t, !c.decided, got.Why == "not settled within the work budget", "%+v", c)
	}
	s.settled, s.queue = 7, nil
	assert.Equal(t, unit.Length(7), s.result().Lower, "nothing is left")
	s.cells, s.why = 12, "it makes no sense"
	assert.Equal(t, Result{Lower: unit.Length(math.Inf(-1)), Upper: unit.Length(math.Inf(1)), Why: "it makes no sense", Cells: 12}, s.result())
}
