package reach_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// TestWayThatTheMapClears: no sample of a way that the map proves is inside a margin, whatever was asked before, and most ways that keep well
// clear are proven by it.
func TestWayThatTheMapClears(t *testing.T) {
	var cleared, keeping, open int
	seeds(t, 150, 4000, func(r *rand.Rand, seed uint64) {
		s := randomScene(r, randomShape)
		p := reach.New(s)
		m := p.NewMap()
		for range 4 {
			j, spread := randomJourney(r), randomSpread(r)
			clears := m.Clears(j.way, spread, reach.DefaultBudget)
			low := math.Inf(1)
			for _, at := range j.samples(r, spread, 30) {
				low = min(low, least(s, at))
			}
			if clears {
				cleared++
				assert.GreaterOrEqual(t, low, -slack, "seed %d: sampled on a way that the map clears", seed)
			}
			assert.Equal(t, clears, p.NewMap().Clears(j.way, spread, reach.DefaultBudget), "seed %d: the same from the beginning", seed)
			if got := p.Prove(j.way, spread, reach.DefaultBudget); got.Lower > 10 {
				if keeping++; !clears {
					open++
				}
			} else {
				assert.False(t, clears && got.Fails(), "seed %d: cleared, and seen to fail: %+v", seed, got)
			}
		}
	})
	t.Logf("%d cleared; of %d that are proven to keep 10 mm more, %d not", cleared, keeping, open)
	assert.NotZero(t, cleared)
	assert.Less(t, open*50, keeping, "not cleared by the map, of those that are proven to keep 10 mm more")
}

func TestMapClearsNoNonsense(t *testing.T) {
	m, nan := reach.New(walls()).NewMap(), unit.Angle(math.NaN())
	way := reach.Straight(rig.Axes{}, rig.DegAxes(10, 10), usual)
	assert.True(t, m.Clears(way, rig.Axes{}, reach.DefaultBudget))
	assert.False(t, m.Clears(reach.Way{}, rig.Axes{}, reach.DefaultBudget), "no way")
	assert.False(t, m.Clears(way, rig.Axes{A2: nan}, reach.DefaultBudget), "a spread that is no number")
	assert.False(t, m.Clears(way, rig.DegAxes(-1, 0), reach.DefaultBudget), "a negative spread")
	assert.False(t, reach.New(walls(rig.DegAxes(90, 0))).NewMap().Clears(way, rig.Axes{}, 0), "without work")
}
