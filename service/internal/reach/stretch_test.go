package reach_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
)

// TestNoStretchIsLookedAtForEver: one that begins where another ends has no length, and its one corner shows the same each time.
func TestNoStretchIsLookedAtForEver(t *testing.T) {
	r := rand.New(rand.NewPCG(27, 31))
	s := randomScene(r, randomShape)
	p, at := reach.WithGrid(s, s), randomPose(r, 200)
	day, spread := reach.Uniform(at, at.Add(rig.DegAxes(360.98, 0)), 86400), randomPose(r, 1).Abs()
	end := p.Keeps(day, spread, 0, reach.DefaultBudget)
	for k := range 128 {
		from := 86400 * float64(k) / 128
		if from > end.Clear {
			break
		}
		u, before := p.KeepsAfter(day, spread, 0, from, reach.DefaultBudget), p.KeepsAfter(day, spread, 0, from-1e-3, reach.DefaultBudget)
		assert.True(t, u.Decided, "from %v s: %+v", from, u)
		assert.InDelta(t, before.Clear, u.Clear, 2, "from %v s", from)
	}
	for _, seed := range []uint64{917, 1332, 2976} {
		r := rand.New(rand.NewPCG(seed, 17))
		s := randomScene(r, randomShape)
		p, at, m := reach.WithGrid(s, s), randomPose(r, 180), randomMotion(r)
		spread := randomPose(r, []float64{0.3, 2, 5}[r.IntN(3)]).Abs()
		assert.Equal(t, p.Touches(reach.Hold(at), spread, reach.DefaultBudget).Decided, p.Touches(reach.Profiles(at, at, m), spread, reach.DefaultBudget).Decided, "seed %d", seed)
	}
}
