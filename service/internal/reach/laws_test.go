package reach_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

func prove(s *rig.Scene, w reach.Way, spread rig.Axes) reach.Result {
	return reach.New(s).Prove(w, spread, reach.DefaultBudget)
}

// agree tells that two results of one truth are compatible: their intervals meet and neither proves what the other refutes.
func agree(t *testing.T, a, b reach.Result, seed uint64, what string) {
	t.Helper()
	assert.False(t, a.Passes() && b.Fails() || a.Fails() && b.Passes(), "seed %d: %s: got %+v and %+v", seed, what, a, b)
	if a.Decided && b.Decided {
		assert.Equal(t, a.Passes(), b.Passes(), "seed %d: %s: got %+v and %+v", seed, what, a, b)
	}
	assert.LessOrEqual(t, a.Lower, b.Upper+slack, "seed %d: %s: bounds", seed, what)
	assert.LessOrEqual(t, b.Lower, a.Upper+slack, "seed %d: %s: bounds", seed, what)
}

// TestMoreNeverTurnsARefusalIntoAPass is faults.md, section 5, and fault 65: more margin, spread or parts.
func TestMoreNeverTurnsARefusalIntoAPass(t *testing.T) {
	seeds(t, 300, 5000, func(r *rand.Rand, seed uint64) {
		s, j, spread := randomScene(r, randomShape), randomJourney(r), randomSpread(r)
		before := prove(s, j.way, spread)
		if before.Passes() {
			return
		}
		more := *s
		more.Pairs = append([]rig.Pair(nil), s.Pairs...)
		for i := range more.Pairs {
			more.Pairs[i].Required += unit.Length(20 * r.Float64())
		}
		wider := prove(&more, j.way, spread)
		assert.False(t, wider.Passes(), "seed %d: with more margin", seed)

		wider = prove(s, j.way, spread.Add(randomPose(r, 1).Abs()))
		assert.False(t, wider.Passes(), "seed %d: with more spread", seed)

		added := *s
		chain := added.Chain
		added.Bodies = append(append([]rig.Body(nil), s.Bodies...), rig.Body{Link: rig.OnAxis2, Shape: randomShape(r, chain.Point2, 300)})
		added.Pairs = append(append([]rig.Pair(nil), s.Pairs...), rig.Pair{A: 0, B: len(s.Bodies)})
		wider = prove(&added, j.way, spread)
		assert.False(t, wider.Passes(), "seed %d: with one part more", seed)
	})
}

func TestThereAndBackIsOne(t *testing.T) {
	seeds(t, 300, 5000, func(r *rand.Rand, seed uint64) {
		s, spread := randomScene(r, randomShape), randomSpread(r)
		a := randomPose(r, 180)
		b, m := a.Add(randomPose(r, 80)), randomMotion(r)
		back := map[rig.Sharing]rig.Sharing{rig.Straight: rig.Straight, rig.AnyOrder: rig.AnyOrder, rig.Axis1First: rig.Axis2First, rig.Axis2First: rig.Axis1First}
		for _, sharing := range sharings {
			if other, ok := back[sharing]; ok { // profiles of unequal length go back along another curve
				agree(t, prove(s, reach.WayOf(sharing, m, a, b), spread), prove(s, reach.WayOf(other, m, b, a), spread), seed, string(sharing)+" and back")
			}
		}
	})
}

func TestPartsOfAProvenWayAreProven(t *testing.T) {
	seeds(t, 300, 5000, func(r *rand.Rand, seed uint64) {
		s, spread := randomScene(r, randomShape), randomSpread(r)
		a := randomPose(r, 180)
		b, m := a.Add(randomPose(r, 80)), randomMotion(r)
		from, to := unit.Angle(r.Float64()/2), unit.Angle(0.5+r.Float64()/2)
		d := b.Sub(a)
		pa, pb := a.Add(rig.Axes{A1: d.A1 * from, A2: d.A2 * from}), a.Add(rig.Axes{A1: d.A1 * to, A2: d.A2 * to})
		whole := prove(s, reach.Rectangle(a, b, m), spread)
		if !whole.Passes() {
			return
		}
		for _, w := range []reach.Way{
			reach.Rectangle(pa, pb, m), reach.Straight(a, b, m), reach.Straight(pa, pb, m), reach.Profiles(a, b, m),
			reach.InTurn(a, b, m, true), reach.InTurn(pa, pb, m, false), reach.Hold(pb),
		} {
			part := prove(s, w, spread)
			assert.True(t, part.Passes(), "seed %d: part of a proven rectangle: got %+v", seed, part)
			assert.LessOrEqual(t, whole.Lower, part.Upper+slack, "seed %d: bounds", seed)
		}
	})
}

// TestTurnedAboutTheVerticalNothingChanges turns and shifts the whole scene.
func TestTurnedAboutTheVerticalNothingChanges(t *testing.T) {
	seeds(t, 300, 5000, func(r *rand.Rand, seed uint64) {
		s, j, spread := randomScene(r, randomShape), randomJourney(r), randomSpread(r)
		turn := frame.Turning(point{}, point{Z: 1}, unit.Angle(6*r.Float64()))
		turn.T = turn.T.Add(randomDir(r).Scale(1000))
		c := *s.Chain
		c.Point1, c.Point2 = turn.Point(c.Point1), turn.Point(c.Point2)
		c.Dir1, c.Dir2, c.Tube = turn.Dir(c.Dir1), turn.Dir(c.Dir2), turn.Dir(c.Tube)
		other := &rig.Scene{Chain: &c, Names: s.Names, Pairs: s.Pairs}
		for _, b := range s.Bodies {
			b.Shape = b.Shape.Moved(turn)
			other.Bodies = append(other.Bodies, b)
		}
		agree(t, prove(s, j.way, spread), prove(other, j.way, spread), seed, "turned")
	})
}

func TestTheSameQuestionGetsTheSameAnswer(t *testing.T) {
	seeds(t, 100, 1000, func(r *rand.Rand, seed uint64) {
		s, j, spread := randomScene(r, randomShape), randomJourney(r), randomSpread(r)
		assert.Equal(t, prove(s, j.way, spread), prove(s, j.way, spread), "seed %d", seed)
	})
}

// TestAPartTakesUpTheUnionOfItsStates: bodies of all states stand in the scene, and each state alone is no nearer.
func TestAPartTakesUpTheUnionOfItsStates(t *testing.T) {
	chain := rig.NewChain(rig.German, unit.Deg(46), rig.Tilt{}, point{Z: 1200}, 0)
	in := must(solid.Capsule(chain.Point2, chain.Point2.Add(chain.Tube.Scale(500)), 60))
	out := must(solid.Capsule(chain.Point2, chain.Point2.Add(chain.Tube.Scale(800)), 60))
	leg := rig.Body{Link: rig.Ground, Shape: must(solid.Capsule(point{Z: 500}, point{Y: 600}, 25))}
	of := func(shapes ...solid.Shape) reach.Result {
		bodies := []rig.Body{leg}
		for _, s := range shapes {
			bodies = append(bodies, rig.Body{Link: rig.OnAxis2, Shape: s})
		}
		return prove(scene(chain, bodies, 10, nil), reach.Straight(rig.DegAxes(0, 60), rig.DegAxes(0, 110), usual), rig.Axes{})
	}
	assert.Equal(t, min(of(in).Upper, of(out).Upper), of(in, out).Upper, "spare with the shield in, out, or unreported")
}

// TestNothingIsProvenOfNonsense is invariant 6 here: what makes no sense is no pass, and no number is NaN.
func TestNothingIsProvenOfNonsense(t *testing.T) {
	good := germanOnTripod(0)
	way := reach.Straight(rig.DegAxes(-60, 40), rig.DegAxes(-10, 90), usual)
	require.True(t, reach.New(good).Prove(way, rig.Axes{}, reach.DefaultBudget).Passes(), "the good question")
	nan, inf := unit.Angle(math.NaN()), unit.Angle(math.Inf(1))

	bent, shapeless, upside, unasked := *good, *good, *good, *good
	bent.Chain = &rig.Chain{Dir1: point{Z: 1.1}, Dir2: point{X: 1}}
	shapeless.Bodies = append([]rig.Body{{}}, good.Bodies[1:]...)
	upside.Pairs = []rig.Pair{{A: good.Pairs[0].B, B: good.Pairs[0].A}}
	unasked.Pairs = []rig.Pair{{A: good.Pairs[0].A, B: good.Pairs[0].B, Required: unit.Length(math.NaN())}}
	for name, c := range map[string]struct {
		scene  *rig.Scene
		way    reach.Way
		spread rig.Axes
		budget reach.Budget
	}{
		"no way":               {good, reach.Way{}, rig.Axes{}, 1000},
		"way to nowhere":       {good, reach.Straight(rig.Axes{}, rig.Axes{A1: nan}, usual), rig.Axes{}, 1000},
		"way without end":      {good, reach.Rectangle(rig.Axes{}, rig.Axes{A2: inf}, usual), rig.Axes{}, 1000},
		"unknown spread":       {good, way, rig.Axes{A1: nan}, 1000},
		"unbounded spread":     {good, way, rig.Axes{A2: inf}, 1000},
		"negative spread":      {good, way, rig.DegAxes(-1, 0), 1000},
		"no budget":            {good, way, rig.Axes{}, 0},
		"an axis that is none": {&bent, way, rig.Axes{}, 1000},
		"a part of no shape":   {&shapeless, way, rig.Axes{}, 1000},
		"a pair upside down":   {&upside, way, rig.Axes{}, 1000},
		"a gap of no number":   {&unasked, way, rig.Axes{}, 1000},
	} {
		p := reach.New(c.scene)
		r := p.Prove(c.way, c.spread, c.budget)
		assert.False(t, r.Passes(), "%s: passes", name)
		assert.False(t, r.Decided, "%s: decided", name)
		assert.NotEmpty(t, r.Why, "%s: why", name)
		assert.False(t, math.IsNaN(float64(r.Lower)) || math.IsNaN(float64(r.Upper)), "%s: %+v", name, r)
		for _, u := range []reach.Until{p.Touches(c.way, c.spread, c.budget), p.Keeps(c.way, c.spread, 10, c.budget)} {
			assert.False(t, u.Whole || u.Decided, "%s: got %+v", name, u)
			assert.False(t, math.IsNaN(u.Clear) || math.IsNaN(u.Broken), "%s: %+v", name, u)
		}
	}
	u := reach.New(good).Keeps(way, rig.Axes{}, unit.Length(math.NaN()), 1000)
	assert.False(t, u.Whole || u.Decided, "an extra of no number: got %+v", u)
}

// TestUntilIsHonest: no pose sampled before Clear breaks what is kept, and the pose seen does.
func TestUntilIsHonest(t *testing.T) {
	seeds(t, 400, 5000, func(r *rand.Rand, seed uint64) {
		s, j, spread := randomScene(r, randomShape), randomJourney(r), randomSpread(r)
		extra := unit.Length(40 * r.Float64())
		u := reach.New(s).Keeps(j.way, spread, extra, reach.DefaultBudget)
		assert.LessOrEqual(t, u.Clear, u.Broken, "seed %d: %+v", seed, u)
		for i := range 20 {
			if u.Clear == 0 {
				break // nothing is before the start
			}
			at := j.way.At(u.Clear * float64(i) / 20.001)
			at = at.Add(rig.Axes{A1: spread.A1 * (2*edgy(r) - 1), A2: spread.A2 * (2*edgy(r) - 1)})
			assert.GreaterOrEqual(t, least(s, at), float64(extra)-slack, "seed %d: spare at %v, before %v s", seed, at, u.Clear)
		}
		if u.Seen != nil {
			assert.Less(t, least(s, u.Seen.Pose), float64(extra)+slack, "seed %d: spare where it was seen broken", seed)
		}
	})
}
