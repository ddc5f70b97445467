package facts_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// TestWhatTheTubeComesDownToIsNamed: a track that ends low says whether it is the floor or the horizon, for they are two limits and somebody will look at
// the one that was named.
func TestWhatTheTubeComesDownToIsNamed(t *testing.T) {
	r := *heron(t)
	r.Travel.Low.A1, r.Travel.High.A1 = unit.Deg(-400), unit.Deg(400)
	for _, c := range []struct {
		floor, above float64
		want         string
	}{{-3, 0, "the horizon"}, {20, 0, "the floor"}, {20, 25, "the horizon"}} {
		in := standing(t, &r, rig.DegAxes(-40, 70), rig.Axes{}, question.Action{Kind: question.Track, Follow: time.Hour})
		limits := defaults()
		limits["sky/floor altitude_deg"], limits["sky/horizon above_deg"], limits["sun/apart separation_deg"] = c.floor, c.above, 0
		in.Limits = limits
		out := facts.Compute(in)
		assert.Equal(t, []string{c.want}, out.Facts["horizon_in_s"].About, "floor %v, horizon %v: %v", c.floor, c.above, out.Facts["horizon_in_s"])
	}
}
