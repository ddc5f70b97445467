package facts_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// The closest approach that a person is told counts the tracking, as far as it was asked for: no sample along it is nearer, and where
// the track is clear it is no more than what dithers and three sigma can make of the least sample.
func TestClosestCountsTheTracking(t *testing.T) {
	r := heron(t)
	rng := rand.New(rand.NewPCG(31, 32))
	clear := 0
	for range 40 {
		pose := rig.DegAxes(rng.Float64()*120-60, rng.Float64()*140-70)
		follow := time.Duration(rng.Float64() * float64(4*time.Hour))
		out := facts.Compute(standing(t, r, pose, rig.Axes{}, question.Action{Kind: question.Track, Follow: follow}))
		require.NotNil(t, out.Closest)
		least, scene := math.Inf(1), r.Scene(nil, 10, 10)
		for i := range 200 {
			at := pose.Add(rig.Axes{A1: unit.Angle(follow.Seconds()*float64(i)/199) * question.SiderealRate})
			placed := scene.Place(at)
			for _, p := range scene.Pairs {
				least = math.Min(least, float64(solid.Distance(placed[p.A], placed[p.B]).Upper)-float64(p.Required))
			}
		}
		spare := out.Closest.LowerMM - out.Closest.RequiredMM
		if least < 0 {
			assert.Less(t, spare, 0.0, "pose %v, %s: something comes too near, and the closest does not say so", pose, follow)
			continue
		}
		assert.LessOrEqual(t, spare, least+1e-6, "pose %v, %s", pose, follow)
		if spare > 0 {
			clear++
			assert.False(t, out.Closest.Instant.After(evening.Add(follow+time.Second)), "within what was asked")
			assert.Greater(t, spare, least-15, "pose %v, %s: needlessly near", pose, follow) // 600 mm reach, 0.4° and more of dither box
		}
	}
	assert.Greater(t, clear, 10, "some tracks are clear")
}
