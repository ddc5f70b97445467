package pose

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// Faults, row 75: however many syncs there were, the sum of those that count is that of all of them, and no more than so many are kept.
func TestSumOfSyncsForgetsNone(t *testing.T) {
	const seed = 75
	g := rand.New(rand.NewPCG(seed, 0))
	for range 20 {
		var kept []question.SyncDone
		var sum rig.Axes
		for n := range 3 * mostSyncs {
			s := question.SyncDone{
				At: dusk.Add(time.Duration(n) * time.Minute), Nearer: g.IntN(3) == 0,
				Axes: rig.DegAxes(0.02+0.01*g.NormFloat64(), 0.01*g.NormFloat64()), // one way, and less than anything looks at
			}
			if !s.Nearer {
				sum = sum.Add(s.Axes)
			}
			kept = addSync(kept, s)
			require.LessOrEqual(t, len(kept), mostSyncs)
			require.Equal(t, s, kept[len(kept)-1], "the newest stands as it is")
		}
		var got rig.Axes
		for i, s := range kept {
			if !s.Nearer {
				got = got.Add(s.Axes)
			}
			if i > 0 {
				assert.False(t, s.At.Before(kept[i-1].At), "in their order")
			}
		}
		assert.InDelta(t, sum.A1.Deg(), got.A1.Deg(), 1e-9, "seed %d", seed)
		assert.InDelta(t, sum.A2.Deg(), got.A2.Deg(), 1e-9, "seed %d", seed)
	}
}
