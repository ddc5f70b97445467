package reach_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// TestGridIsBelowEverySample: no pose of a rectangle, on whatever turn, has less spare than the grid knows of it.
func TestGridIsBelowEverySample(t *testing.T) {
	near, looked := 0, 0
	seeds(t, 60, 3000, func(r *rand.Rand, seed uint64) {
		s := randomScene(r, randomShape)
		p := reach.WithGrid(s, s)
		for range 6 {
			low := randomPose(r, 700)
			high := low.Add(rig.Axes{A1: unit.Deg(8) * edgy(r), A2: unit.Deg(8) * edgy(r)})
			known, seen := p.Known(low, high), math.Inf(1)
			for range 60 {
				at := rig.Axes{A1: low.A1 + edgy(r)*(high.A1-low.A1), A2: low.A2 + edgy(r)*(high.A2-low.A2)}
				seen = min(seen, least(s, at))
			}
			require.GreaterOrEqual(t, seen, known-slack, "seed %d: spare seen in %v … %v, and known", seed, low, high)
			if looked++; seen-known < 60 {
				near++
			}
		}
	})
	t.Logf("of %d rectangles %d known to within 60 mm of what was seen", looked, near)
	assert.Greater(t, near*2, looked, "a grid that knows little would pass the rest of this test")
}

// TestGridIsBelowAllOthers: of the pairs but the one with the least none has less spare than the grid knows of the rest, and where the least is
// negative that is often enough.
func TestGridIsBelowAllOthers(t *testing.T) {
	told, broken := 0, 0
	seeds(t, 60, 3000, func(r *rand.Rand, seed uint64) {
		s := randomScene(r, randomShape)
		p := reach.WithGrid(s, s)
		for range 12 {
			low := randomPose(r, 700)
			high := low.Add(rig.Axes{A1: unit.Deg(8) * edgy(r), A2: unit.Deg(8) * edgy(r)})
			pair, rest := p.KnownRest(low, high)
			others := *s
			others.Pairs = nil
			for i, q := range s.Pairs {
				if i != pair && s.Bodies[q.A].Link == rig.Ground && s.Bodies[q.B].Link == rig.OnAxis2 {
					others.Pairs = append(others.Pairs, q)
				}
			}
			if p.Known(low, high) < 0 {
				if broken++; rest >= 0 {
					told++
				}
			}
			for range 40 {
				at := rig.Axes{A1: low.A1 + edgy(r)*(high.A1-low.A1), A2: low.A2 + edgy(r)*(high.A2-low.A2)}
				require.GreaterOrEqual(t, least(&others, at), rest-slack, "seed %d: spare of the others seen in %v … %v, and known", seed, low, high)
			}
		}
	})
	t.Logf("of %d rectangles that may be broken the others are clear in %d", broken, told)
	assert.Greater(t, told*3, broken)
}

// TestGridChangesNoAnswer: with a grid, of the scene or of a fuller one, warm or cold, the same is proven as without, as closely.
func TestGridChangesNoAnswer(t *testing.T) {
	passes, fails := 0, 0
	seeds(t, 120, 4000, func(r *rand.Rand, seed uint64) {
		s, j, spread := randomScene(r, randomShape), randomJourney(r), randomSpread(r)
		fuller := *s
		fuller.Bodies = append(append([]rig.Body(nil), s.Bodies...), rig.Body{Link: rig.OnAxis2, Shape: randomShape(r, s.Chain.Point2, 300)})
		fuller.Pairs = append(append([]rig.Pair(nil), s.Pairs...), rig.Pair{A: 0, B: len(s.Bodies)})
		plain := reach.New(s).Prove(j.way, spread, reach.DefaultBudget)
		own, other := reach.WithGrid(s, s), reach.WithGrid(s, &fuller)
		cold := own.Prove(j.way, spread, reach.DefaultBudget)
		used := reach.WithGrid(s, s)
		for range 3 {
			used.Prove(randomJourney(r).way, spread, reach.DefaultBudget)
		}
		warm := used.Prove(j.way, spread, reach.DefaultBudget)
		require.Equal(t, cold, warm, "seed %d: by a grid worked out for the question, and by one that was there", seed)
		agree(t, plain, cold, seed, "with the scene's own grid")
		agree(t, plain, other.Prove(j.way, spread, reach.DefaultBudget), seed, "with the grid of a fuller scene")
		for _, p := range []*reach.Prover{own, other} {
			soon(t, reach.New(s).Keeps(j.way, spread, 0, reach.DefaultBudget), p.Keeps(j.way, spread, 0, reach.DefaultBudget), seed, "keeps")
			soon(t, reach.New(s).Touches(j.way, spread, reach.DefaultBudget), p.Touches(j.way, spread, reach.DefaultBudget), seed, "touches")
			rough := p.KeepsRoughly(j.way, spread, reach.DefaultBudget)
			soon(t, reach.New(s).Keeps(j.way, spread, 0, reach.DefaultBudget), rough, seed, "keeps roughly")
		}
		if plain.Passes() {
			passes++
		} else if plain.Fails() {
			fails++
		}
	})
	t.Logf("%d pass, %d fail", passes, fails)
	assert.Positive(t, passes)
	assert.Positive(t, fails)
}

// soon tells that two instants of one truth are compatible: neither proves clear what the other saw broken.
func soon(t *testing.T, a, b reach.Until, seed uint64, what string) {
	t.Helper()
	assert.LessOrEqual(t, a.Clear, b.Broken+1e-6, "seed %d: %s: got %+v and %+v", seed, what, a, b)
	assert.LessOrEqual(t, b.Clear, a.Broken+1e-6, "seed %d: %s: got %+v and %+v", seed, what, a, b)
	if a.Decided && b.Decided {
		assert.False(t, a.Whole && !math.IsInf(b.Broken, 1) || b.Whole && !math.IsInf(a.Broken, 1), "seed %d: %s: got %+v and %+v", seed, what, a, b)
	}
}

// withStates is a rig of a post and a tube with a focuser that is in or out.
func withStates() *rig.Rig {
	post := must(solid.Capsule(point{X: 600, Z: 0}, point{X: 600, Z: 1500}, 50))
	tube := must(solid.Capsule(point{Z: 1200}, point{Z: 1600}, 60))
	in := must(solid.Capsule(point{Z: 1100}, point{Z: 1200}, 40))
	out := must(solid.Capsule(point{Z: 800}, point{Z: 1200}, 40))
	return &rig.Rig{
		Kind:  rig.German,
		Chain: rig.NewChain(rig.German, unit.Deg(46), rig.Tilt{}, point{Z: 1200}, 0),
		Parts: []rig.Part{
			{Name: "post", Link: rig.Ground, Shapes: []solid.Shape{post}},
			{Name: "tube", Link: rig.OnAxis2, Shapes: []solid.Shape{tube}},
			{Name: "focuser", Link: rig.OnAxis2, States: []rig.State{{Name: "in", Shapes: []solid.Shape{in}}, {Name: "out", Shapes: []solid.Shape{out}}}},
		},
	}
}

// TestShelfKeepsProversApart: by part states, margins, and whatever else a scene depends on; and the same for the same.
func TestShelfKeepsProversApart(t *testing.T) {
	r, s := withStates(), reach.NewShelf()
	in, out := []rig.PartState{{Part: "focuser", Name: "in"}}, []rig.PartState{{Part: "focuser", Name: "out"}}
	p := s.Prover(r, in, 10, 10)
	assert.Same(t, p, s.Prover(r, in, 10, 10), "the same question")
	copied := *r
	assert.Same(t, p, s.Prover(&copied, in, 10, 10), "a rig that differs in what no scene shows")
	assert.NotSame(t, p, s.Prover(r, out, 10, 10), "another state")
	assert.NotSame(t, p, s.Prover(r, nil, 10, 10), "no state told")
	assert.NotSame(t, p, s.Prover(r, in, 10, 20), "another margin")
	moved := *r
	moved.Chain = rig.NewChain(rig.German, unit.Deg(47), rig.Tilt{}, point{Z: 1200}, 0)
	assert.NotSame(t, p, s.Prover(&moved, in, 10, 10), "another latitude")
	placed := *r
	placed.Placing = 5
	assert.NotSame(t, p, s.Prover(&placed, in, 10, 10), "axes that stand less surely")
	alike := withStates()
	assert.NotSame(t, p, s.Prover(alike, in, 10, 10), "a rig of its own")
	assert.True(t, p.SharesGrid(s.Prover(alike, in, 10, 10)), "built alike")
	assert.True(t, p.SharesGrid(s.Prover(r, out, 10, 10)), "the same rig")
	assert.False(t, p.SharesGrid(s.Prover(r, in, 10, 20)), "another margin")
	alike.Parts[0].Shapes[0] = must(solid.Capsule(point{X: 600, Z: 0}, point{X: 600, Z: 1500}, 50.001))
	assert.False(t, p.SharesGrid(reach.NewShelf().Prover(alike, in, 10, 10)), "another shelf")
	other := withStates()
	other.Parts[0].Shapes[0] = must(solid.Capsule(point{X: 600, Z: 0}, point{X: 600, Z: 1500}, 50.001))
	assert.False(t, p.SharesGrid(s.Prover(other, in, 10, 10)), "a post thicker by a thousandth of a millimetre")
	none := (*reach.Shelf)(nil)
	assert.NotNil(t, none.Prover(r, in, 10, 10), "no shelf at all")
}

// TestStatesShareOneGridSafely: whatever is reported of the parts, nothing less than sampled is proven by the grid of all states.
func TestStatesShareOneGridSafely(t *testing.T) {
	r, s := withStates(), reach.NewShelf()
	seeds(t, 100, 3000, func(rng *rand.Rand, seed uint64) {
		for _, reported := range [][]rig.PartState{nil, {{Part: "focuser", Name: "in"}}, {{Part: "focuser", Name: "out"}}, {{Part: "focuser", Name: "lost"}}} {
			j, spread := randomJourney(rng), randomSpread(rng)
			got := s.Prover(r, reported, 10, 10).Prove(j.way, spread, reach.DefaultBudget)
			scene := r.Scene(reported, 10, 10)
			agree(t, reach.New(scene).Prove(j.way, spread, reach.DefaultBudget), got, seed, "without a grid")
			for _, at := range j.samples(rng, spread, 8) {
				require.GreaterOrEqual(t, least(scene, at), float64(got.Lower)-slack, "seed %d", seed)
			}
		}
	})
}

// TestFullShelfBeginsAnew and answers the same.
func TestFullShelfBeginsAnew(t *testing.T) {
	r, s := withStates(), reach.NewShelf()
	way := reach.Straight(rig.Axes{}, rig.DegAxes(60, 40), usual)
	want := s.Prover(r, nil, 10, 10).Prove(way, rig.DegAxes(0.1, 0.1), reach.DefaultBudget)
	for i := range 300 {
		s.Prover(r, nil, 10, unit.Length(11+i))
		s.Prover(r, []rig.PartState{{Part: "focuser", Name: "in", Unit: string(rune('a' + i))}}, 10, 10)
	}
	assert.Equal(t, want, s.Prover(r, nil, 10, 10).Prove(way, rig.DegAxes(0.1, 0.1), reach.DefaultBudget))
}

// TestFarFlungWayIsProvenWithoutTheGrid: nothing is looked up over more turns than a grid is worth.
func TestFarFlungWayIsProvenWithoutTheGrid(t *testing.T) {
	s := germanOnTripod(30)
	for _, to := range []rig.Axes{rig.DegAxes(1e7, 0), rig.DegAxes(1e300, 1e300)} {
		r := reach.WithGrid(s, s).Prove(reach.Straight(rig.Axes{}, to, usual), rig.Axes{}, 200)
		assert.False(t, r.Passes(), "to %v", to)
	}
}

// TestCornerThatBreaksFirstIsSettled: with a spread the pose that breaks first stands in the corner of what is swept, where no cell is looked at.
// The search went on there until cells had no size, and called that its budget.
func TestCornerThatBreaksFirstIsSettled(t *testing.T) {
	s := germanOnTripod(30)
	way := reach.Uniform(rig.DegAxes(-60, 70), rig.DegAxes(300, 70), 86400)
	for _, p := range []*reach.Prover{reach.New(s), reach.WithGrid(s, s)} {
		got := p.Keeps(way, rig.DegAxes(0.2, 0.2), 0, reach.DefaultBudget)
		require.True(t, got.Decided, "got %+v", got)
		require.False(t, got.Whole)
		assert.Less(t, got.Cells, 1000)
		first := math.Inf(1) // by sampling the corners each second around
		for at := got.Clear - 60; at < got.Clear+300 && math.IsInf(first, 1); at++ {
			for _, by := range []rig.Axes{rig.DegAxes(0.2, 0.2), rig.DegAxes(0.2, -0.2)} {
				if least(s, way.At(at).Add(by)) < 0 {
					first = at
				}
			}
		}
		assert.LessOrEqual(t, got.Clear, first, "clear until, s")
		assert.Greater(t, got.Clear, first-60, "0.11 mm at 3 µm a second")
	}
}

// TestBreaksAreSeen: of a way without spread the first break that sampling shows was seen no later. Where only an instant is wanted, distances are
// not worked out to the end; one that stopped as soon as it did not settle its cell saw no break, and denials became holds.
func TestBreaksAreSeen(t *testing.T) {
	broken := 0
	seeds(t, 300, 5000, func(r *rand.Rand, seed uint64) { broken += breakIsSeen(t, r, seed) })
	assert.Greater(t, broken, 5)
}

// TestAxisThatIsThereLastIsCut: where axis 1, the slower, was cut although axis 2 was the one still on its way, a search came to cells without
// size long before the break.
func TestAxisThatIsThereLastIsCut(t *testing.T) {
	assert.Equal(t, 1, breakIsSeen(t, rand.New(rand.NewPCG(1795, 63)), 1795))
}

// breakIsSeen checks a random way and returns 1 if it has a break.
func breakIsSeen(t *testing.T, r *rand.Rand, seed uint64) int {
	t.Helper()
	s, j := randomScene(r, randomShape), randomJourney(r)
	if !(j.way.Seconds() < 1e5) {
		return 0
	}
	got := reach.New(s).Keeps(j.way, rig.Axes{}, 0, reach.DefaultBudget)
	for n := range 200 {
		if at := j.way.Seconds() * float64(n) / 199; least(s, j.way.At(at)) < -0.02 {
			require.LessOrEqual(t, got.Broken, at+0.05, "seed %d: got %+v", seed, got)
			require.True(t, got.Decided, "seed %d: got %+v", seed, got)
			return 1
		}
	}
	return 0
}
