package reach_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
)

// slack is by how much the upper bound of a sampled gap may miss a proven one by rounding alone, mm.
const slack = 1e-7

// TestNoSampleBelowTheProvenBound is fault 63 to 66 and invariant 3: whatever the rig and the motion, no pose that the motion may pass
// has less spare than was proven, and what sampling finds clear by 5 mm is not refused for want of work.
func TestNoSampleBelowTheProvenBound(t *testing.T) {
	var clear, needless, fails, undecided, cells, most, loose int
	worst := math.Inf(1)
	dense := 12
	if long() {
		dense = 40
	}
	seeds(t, 2000, 100_000, func(r *rand.Rand, seed uint64) {
		s, j, spread := randomScene(r, randomShape), randomJourney(r), randomSpread(r)
		got := reach.New(s).Prove(j.way, spread, reach.DefaultBudget)
		low := math.Inf(1)
		for _, at := range j.samples(r, spread, dense) {
			low = min(low, least(s, at))
			assert.GreaterOrEqual(t, low, float64(got.Lower)-slack, "seed %d: spare at %v, want no less than proven", seed, at)
		}
		worst = min(worst, low-float64(got.Lower))
		assert.LessOrEqual(t, got.Lower, got.Upper, "seed %d: lower and upper", seed)
		if got.Nearest != nil {
			seenAgain(t, s, got.Nearest)
		}
		cells += got.Cells
		most = max(most, got.Cells)
		switch {
		case got.Fails():
			fails++
		case !got.Decided:
			undecided++
		case got.Upper-got.Lower > max(1.01, (got.Upper+got.Nearest.Required)/30):
			loose++
		}
		if low > 5 {
			if clear++; !got.Decided { // one that fails was seen to, where no sample fell
				t.Logf("seed %d: sampled spare %.1f mm, got %+v", seed, low, got)
				needless++
			}
		}
	})
	t.Logf("%d clear by sampling, %d fail, %d undecided, %d needlessly, %d loose; %d cells in all, at most %d; closest sample %.3g mm above its bound",
		clear, fails, undecided, needless, loose, cells, most, worst)
	assert.LessOrEqual(t, needless*200, clear, "refused although sampling finds 5 mm to spare, of %d", clear)
}

// seenAgain places the bodies by the rig's own hand and finds the gap that was reported.
func seenAgain(t *testing.T, s *rig.Scene, a *reach.Approach) {
	t.Helper()
	placed, pair := s.Place(a.Pose), s.Pairs[a.Pair]
	g := solid.Distance(placed[pair.A], placed[pair.B])
	assert.LessOrEqual(t, g.Lower, float64(a.Upper)+slack, "gap of %v at %v", a.Parts, a.Pose)
	assert.GreaterOrEqual(t, g.Upper, float64(a.Lower)-slack, "gap of %v at %v", a.Parts, a.Pose)
}
