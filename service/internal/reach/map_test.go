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

// TestMapClaimsNoMoreThanSampling: no pose sampled in what the map calls clear has less than is required, none in what it calls barred has more.
func TestMapClaimsNoMoreThanSampling(t *testing.T) {
	count := map[reach.Standing]int{}
	seeds(t, 60, 3000, func(r *rand.Rand, seed uint64) {
		s := randomScene(r, randomShape)
		m := reach.New(s).NewMap()
		for range 12 {
			low := randomPose(r, 700)
			high := low.Add(rig.Axes{A1: unit.Deg(5) * edgy(r), A2: unit.Deg(5) * edgy(r)})
			stands := m.Standing(low, high, reach.DefaultBudget)
			count[stands]++
			for range 40 {
				at := rig.Axes{A1: low.A1 + edgy(r)*(high.A1-low.A1), A2: low.A2 + edgy(r)*(high.A2-low.A2)}
				spare := least(s, at)
				switch stands {
				case reach.Clear:
					require.GreaterOrEqual(t, spare, -slack, "seed %d: spare at %v of %v … %v, which is called clear", seed, at, low, high)
				case reach.Barred:
					require.Less(t, spare, slack, "seed %d: spare at %v of %v … %v, which is called barred", seed, at, low, high)
				case reach.Unknown:
				}
			}
		}
	})
	t.Logf("%v", count)
	assert.NotZero(t, count[reach.Clear])
	assert.NotZero(t, count[reach.Barred])
}

// TestMapLeavesLittleOpen: of single poses, nearly all are settled.
func TestMapLeavesLittleOpen(t *testing.T) {
	open, all := 0, 0
	seeds(t, 20, 300, func(r *rand.Rand, seed uint64) {
		s := randomScene(r, randomShape)
		m := reach.New(s).NewMap()
		for range 200 {
			at := randomPose(r, 180)
			all++
			switch m.Standing(at, at, reach.DefaultBudget) {
			case reach.Unknown:
				open++
			case reach.Clear:
				require.GreaterOrEqual(t, least(s, at), -slack, "seed %d: spare at %v", seed, at)
			case reach.Barred:
				require.Less(t, least(s, at), slack, "seed %d: spare at %v", seed, at)
			}
		}
	})
	t.Logf("open: %d of %d", open, all)
	assert.Less(t, open*50, all, "open of %d poses", all)
}

// TestMapIsTheSameInWhateverOrder: what is said of a place, and the work that is counted for it, depend on nothing that was asked before.
func TestMapIsTheSameInWhateverOrder(t *testing.T) {
	seeds(t, 20, 500, func(r *rand.Rand, seed uint64) {
		p := reach.New(randomScene(r, randomShape))
		warm, places := p.NewMap(), make([][2]rig.Axes, 30)
		for i := range places {
			low := randomPose(r, 180)
			places[i] = [2]rig.Axes{low, low.Add(rig.DegAxes(6*r.Float64(), 6*r.Float64()))}
		}
		for _, i := range r.Perm(len(places)) {
			warm.Standing(places[i][0], places[i][1], reach.DefaultBudget)
		}
		for _, budget := range []reach.Budget{3, 20, reach.DefaultBudget} {
			for _, at := range places {
				require.Equal(t, p.NewMap().Standing(at[0], at[1], budget), warm.Standing(at[0], at[1], budget), "seed %d: %v with %d cells", seed, at, budget)
			}
		}
	})
}

// TestMapOfNonsense: of a scene that makes no sense nothing is known, and of a rectangle that is none either.
func TestMapOfNonsense(t *testing.T) {
	broken := walls(rig.DegAxes(30, 30))
	broken.Chain.Dir1 = point{}
	assert.Equal(t, reach.Unknown, reach.New(broken).NewMap().Standing(rig.Axes{}, rig.Axes{}, reach.DefaultBudget))
	nan := rig.DegAxes(0, 0)
	nan.A1 /= unit.Angle(0)
	assert.Equal(t, reach.Unknown, reach.New(walls(rig.DegAxes(30, 30))).NewMap().Standing(nan, nan, reach.DefaultBudget))
	assert.Equal(t, reach.Unknown, reach.New(walls(rig.DegAxes(30, 30))).NewMap().Standing(rig.Axes{}, rig.DegAxes(10, 10), 0), "without work")
	assert.Equal(t, reach.Clear, reach.New(walls()).NewMap().Standing(rig.Axes{}, rig.DegAxes(360, 360), 0), "without pairs")
}

// TestWhatWasNotWorkedOutIsUnknown: nothing is clear that nobody looked at.
func TestWhatWasNotWorkedOutIsUnknown(t *testing.T) {
	var s reach.Standing
	assert.Equal(t, reach.Unknown, s)
}

// TestPairOfOneAxisIsCutFiner: the gap of two balls, one of which turns about axis 2 at 10 mm from it, is a tenth of a
// millimetre less than is required over some 58°. By the finest cells as they are, all of that would be left open.
func TestPairOfOneAxisIsCutFiner(t *testing.T) {
	chain := rig.Chain{Dir1: point{Z: 1}, Dir2: point{X: 1}, Tube: point{Y: 1}}
	s := scene(chain, []rig.Body{
		{Link: rig.OnAxis1, Shape: must(solid.Sphere(point{X: 800, Z: 40}, 200))},
		{Link: rig.OnAxis2, Shape: must(solid.Sphere(point{X: 300, Z: 10}, 200))},
	}, 101, nil)
	p := reach.New(s)
	m, count := p.NewMap(), map[reach.Standing]int{}
	for i := range 1440 {
		at := rig.DegAxes(17, 0.25*float64(i)+0.125)
		stands, spare := m.Standing(at, at, reach.DefaultBudget), least(s, at)
		count[stands]++
		switch stands {
		case reach.Clear:
			require.GreaterOrEqual(t, spare, -slack, "at %v", at)
		case reach.Barred:
			require.Less(t, spare, slack, "at %v", at)
		case reach.Unknown:
			require.Less(t, math.Abs(spare), 0.06, "left open at %v", at)
		}
	}
	assert.NotZero(t, count[reach.Clear], count)
	assert.NotZero(t, count[reach.Barred], count)
	// A coarse question is answered as finely: in cells of 1° along the band that no way crosses.
	from, to := rig.DegAxes(0, 180), rig.DegAxes(0, 0)
	assert.True(t, p.Bars(from, to, rig.Travel{Low: rig.DegAxes(-5, -5), High: rig.DegAxes(5, 185)}, reach.DefaultBudget))
}
