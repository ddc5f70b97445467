package reach_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// walls is ballAt's rod among balls that stand at poses.
func walls(poses ...rig.Axes) *rig.Scene {
	chain := rig.Chain{Dir1: point{Z: 1}, Dir2: point{X: 1}, Tube: point{Y: 1}}
	bodies := []rig.Body{{Link: rig.OnAxis2, Shape: must(solid.Capsule(point{Y: 900}, point{Y: 1000}, 10))}}
	for _, at := range poses {
		bodies = append(bodies, rig.Body{Link: rig.Ground, Shape: must(solid.Sphere(chain.Direction(at).Scale(1000), 60))})
	}
	return scene(chain, bodies, 10, nil)
}

// fence is a row of balls along axis 2 at an angle of axis 1, over the travel of the test below and beyond it, but for one.
func fence(axis1 float64, without int) (out []rig.Axes) {
	for i := range 18 {
		if i != without {
			out = append(out, rig.DegAxes(axis1, -50+8*float64(i)))
		}
	}
	return out
}

func TestRoundWhatStandsInTheWay(t *testing.T) {
	from, to := rig.Axes{}, rig.DegAxes(60, 60)
	travel := rig.Travel{Low: rig.DegAxes(-30, -30), High: rig.DegAxes(90, 80)}
	m := rig.Motion{Sharing: rig.Straight, RateDeg: [2]float64{4, 4}, AccelDeg: [2]float64{4, 4}}
	for name, c := range map[string]struct {
		scene *rig.Scene
		stops []rig.Axes // nil: none to be found; empty: any
	}{
		"by the corners":      {walls(rig.DegAxes(30, 30)), []rig.Axes{rig.DegAxes(60, 0)}},
		"by the other corner": {walls(rig.DegAxes(30, 30), rig.DegAxes(60, 10)), []rig.Axes{rig.DegAxes(0, 60)}},
		"by a stop":           {walls(rig.DegAxes(30, 30), rig.DegAxes(60, 8), rig.DegAxes(8, 60)), []rig.Axes{}},
		"by an opening":       {walls(fence(30, 9)...), []rig.Axes{}},
		"by two openings":     {walls(append(fence(20, 12), fence(40, 4)...)...), []rig.Axes{}},
		"not at all":          {walls(rig.DegAxes(60, 60)), nil},
	} {
		p := reach.New(c.scene)
		direct := p.Prove(reach.WayOf(m.Sharing, m, from, to), rig.DegAxes(0.5, 0.5), reach.DefaultBudget)
		require.True(t, direct.Fails(), "%s: the direct way", name)
		r, found := p.Around(from, to, m, travel, rig.DegAxes(0.5, 0.5), reach.DefaultBudget)
		if c.stops == nil {
			assert.False(t, found, "%s: got %+v", name, r)
			assert.True(t, r.Barred, "%s: proven that there is none", name)
			continue
		}
		assert.LessOrEqual(t, len(r.Stops), 4, "%s: stops %v", name, r.Stops)
		require.True(t, found, "%s: got %+v", name, r)
		if len(c.stops) > 0 {
			assert.Equal(t, c.stops, r.Stops, "%s", name)
		}
		poses := append(append([]rig.Axes{from}, r.Stops...), to)
		way := reach.Through(m.Sharing, m, poses...)
		again := p.Prove(way, rig.DegAxes(0.5, 0.5), reach.DefaultBudget)
		assert.True(t, again.Passes(), "%s: the legs: got %+v", name, again)
		assert.InDelta(t, way.Seconds(), r.Seconds, 1e-9, "%s: seconds", name)
	}
}

// TestRoundByOpenPoses: a way that passes by open poses alone is another than the quickest, whichever way the axes move; where no pose is open there is
// none, and that is no proof of there being none.
func TestRoundByOpenPoses(t *testing.T) {
	from, to := rig.Axes{}, rig.DegAxes(60, 60)
	travel := rig.Travel{Low: rig.DegAxes(-30, -30), High: rig.DegAxes(90, 80)}
	p := reach.New(walls(rig.DegAxes(30, 30)))
	open := func(a rig.Axes) bool { return a.A1.Deg() < 45 || a.A2.Deg() > 25 } // shuts the quickest corner
	for _, sharing := range []rig.Sharing{rig.Straight, rig.Independent, rig.Axis2First, rig.AnyOrder} {
		m := rig.Motion{Sharing: sharing, RateDeg: [2]float64{4, 2}, AccelDeg: [2]float64{4, 4}}
		r, found := p.AroundWhere(open, from, to, m, travel, rig.DegAxes(0.5, 0.5), reach.DefaultBudget)
		require.True(t, found, "%s", sharing)
		poses := append(append([]rig.Axes{from}, r.Stops...), to)
		assert.True(t, p.Prove(reach.Through(sharing, m, poses...), rig.DegAxes(0.5, 0.5), reach.DefaultBudget).Passes(), "%s: %v", sharing, r.Stops)
		for i := 1; i < len(poses); i++ {
			a, d := poses[i-1], poses[i].Sub(poses[i-1])
			way := reach.WayOf(sharing, m, a, poses[i])
			for k := range 201 {
				if sharing != rig.AnyOrder {
					assert.True(t, open(way.At(way.Seconds()*float64(k)/200)), "%s: leg %d of %v", sharing, i, poses)
					continue
				}
				for l := range 21 {
					at := a.Add(rig.Axes{A1: d.A1 * unit.Angle(k) / 200, A2: d.A2 * unit.Angle(l) / 20})
					assert.True(t, open(at), "%s: leg %d of %v", sharing, i, poses)
				}
			}
		}
	}
	r, found := p.AroundWhere(func(rig.Axes) bool { return false }, from, to, usual, travel, rig.Axes{}, reach.DefaultBudget)
	assert.False(t, found)
	assert.False(t, r.Barred)
}

// TestRoundFromNearContact: where a rig stands a millimetre from a margin, or shall, the way there is proven by itself: the map knows nothing so near.
func TestRoundFromNearContact(t *testing.T) {
	s := walls(fence(30, 9)...)
	p, travel := reach.New(s), rig.Travel{Low: rig.DegAxes(-30, -30), High: rig.DegAxes(90, 80)}
	m := rig.Motion{Sharing: rig.Straight, RateDeg: usual.RateDeg, AccelDeg: usual.AccelDeg}
	near, far := rig.DegAxes(30-clearDeg-0.06, -2), rig.DegAxes(60, 60)
	require.Less(t, least(s, near), 1.5)
	require.Equal(t, reach.Unknown, p.NewMap().Standing(near, near, reach.DefaultBudget))
	for _, ends := range [][2]rig.Axes{{near, far}, {far, near}} {
		r, found := p.Around(ends[0], ends[1], m, travel, rig.Axes{}, reach.DefaultBudget)
		require.True(t, found, "%v: got %+v", ends, r)
		poses := append(append([]rig.Axes{ends[0]}, r.Stops...), ends[1])
		assert.True(t, prove(s, reach.Through(m.Sharing, m, poses...), rig.Axes{}).Passes())
	}
}

// TestRoundByManySteps: of a way of many small steps so many are kept that each leg is clear in whatever order the axes move. (FCL's grid had the
// way, and the search had none.)
func TestRoundByManySteps(t *testing.T) {
	s, spread := walls(fence(30, 9)...), rig.DegAxes(0.2, 0.2)
	p, travel := reach.New(s), rig.Travel{Low: rig.DegAxes(-30, -30), High: rig.DegAxes(90, 80)}
	from, to := rig.DegAxes(25.56, 3.63), rig.DegAxes(40.64, -14.37)
	r, found := p.Around(from, to, usual, travel, spread, reach.DefaultBudget)
	require.True(t, found, "got %+v", r)
	way := reach.Through(usual.Sharing, usual, append(append([]rig.Axes{from}, r.Stops...), to)...)
	assert.True(t, prove(s, way, spread).Passes())
}

func TestNoWayRoundWithoutWork(t *testing.T) {
	_, found := reach.New(walls(rig.DegAxes(30, 30))).Around(rig.Axes{}, rig.DegAxes(60, 60), usual, rig.Travel{High: rig.DegAxes(90, 90)}, rig.Axes{}, 0)
	assert.False(t, found, "found a way without work")
}

// TestFencedIn: where balls close a fence, there is proven to be no way; where one is missing, there is not, and a way is found.
func TestFencedIn(t *testing.T) {
	from, to := rig.Axes{}, rig.DegAxes(60, 60)
	travel := rig.Travel{Low: rig.DegAxes(-30, -30), High: rig.DegAxes(90, 80)}
	for without := range 18 {
		p := reach.New(walls(fence(30, without)...))
		r, found := p.Around(from, to, usual, travel, rig.Axes{}, reach.DefaultBudget)
		open := without >= 3 && without <= 16 // that of -26° to that of 78° leave a way within travel
		assert.Equal(t, open, found, "without %d: got %+v", without, r)
		assert.Equal(t, !open, r.Barred, "without %d: got %+v", without, r)
	}
	assert.False(t, reach.New(walls(fence(30, -1)...)).Bars(from, to, travel, 40), "proven with little work")
}

// TestNoWayIsBarredThatSamplingFinds: where a way by one stop is clear as sampling sees it, it is never said that there is none.
func TestNoWayIsBarredThatSamplingFinds(t *testing.T) {
	barred, clear := 0, 0
	seeds(t, 150, 3000, func(r *rand.Rand, seed uint64) {
		s := randomScene(r, randomShape)
		p, travel := reach.New(s), rig.Travel{Low: rig.DegAxes(-100, -100), High: rig.DegAxes(100, 100)}
		poses := []rig.Axes{randomPose(r, 100), randomPose(r, 100), randomPose(r, 100)}
		bars := p.Bars(poses[0], poses[2], travel, reach.DefaultBudget)
		if bars {
			barred++
		}
		if clearOf(s, poses) {
			clear++
			require.False(t, bars, "seed %d: by %v", seed, poses)
		}
	})
	t.Logf("%d barred, %d seen clear", barred, clear)
	assert.NotZero(t, barred)
	assert.NotZero(t, clear)
}

// clearOf tells whether samples along straight lines between poses all have something to spare.
func clearOf(s *rig.Scene, poses []rig.Axes) bool {
	for i := 1; i < len(poses); i++ {
		d := poses[i].Sub(poses[i-1])
		for k := range 101 {
			if least(s, poses[i-1].Add(d.Scale(float64(k)/100))) < 0 {
				return false
			}
		}
	}
	return true
}

// TestFoundWaysAreClearAndWithinTravel: whatever way is found round what stands in random scenes, sampling finds nothing in it.
func TestFoundWaysAreClearAndWithinTravel(t *testing.T) {
	ways, stops := 0, 0
	seeds(t, 150, 3000, func(r *rand.Rand, seed uint64) {
		s, m, spread := randomScene(r, randomShape), randomMotion(r), randomSpread(r)
		travel := rig.Travel{Low: rig.DegAxes(-120, -120), High: rig.DegAxes(120, 120)}
		m.Sharing = sharings[r.IntN(len(sharings))]
		from, to := randomPose(r, 115), randomPose(r, 115)
		p := reach.New(s)
		if p.Prove(reach.WayOf(m.Sharing, m, from, to), spread, reach.DefaultBudget).Passes() {
			return
		}
		route, found := p.Around(from, to, m, travel, spread, reach.DefaultBudget)
		again, foundAgain := p.Around(from, to, m, travel, spread, reach.DefaultBudget)
		require.Equal(t, route, again, "seed %d: asked again", seed)
		require.Equal(t, found, foundAgain, "seed %d: asked again", seed)
		if !found {
			return
		}
		ways, stops = ways+1, stops+len(route.Stops)
		require.False(t, p.Bars(from, to, travel, reach.DefaultBudget), "seed %d: a way was found", seed)
		at := from
		for _, stop := range append(slices.Clone(route.Stops), to) {
			require.True(t, travel.Holds(stop), "seed %d: %v", seed, stop)
			j := newJourney(m, stretch{m.Sharing, at, stop})
			for _, a := range j.samples(r, spread, 80) {
				require.GreaterOrEqual(t, least(s, a), -slack, "seed %d: spare at %v, by %v", seed, a, route.Stops)
			}
			at = stop
		}
	})
	t.Logf("%d ways round, %d stops", ways, stops)
	assert.NotZero(t, ways)
}
