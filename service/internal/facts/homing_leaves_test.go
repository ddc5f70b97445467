package facts_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/rig"
)

// What a homing would leave of the uncertainty goes by the axis that is known worse, and is not known of a pose that is exact.
func TestWhatAHomingWouldLeave(t *testing.T) {
	for _, c := range []struct {
		now, after rig.Axes
		want       float64
	}{
		{rig.DegAxes(2, 1), rig.DegAxes(0.5, 3), 0.25},
		{rig.DegAxes(1, 2), rig.DegAxes(0.5, 3), 1.5},
		{rig.DegAxes(2, 2), rig.DegAxes(1, 4), 0.5},
		{rig.Axes{}, rig.DegAxes(1, 1), 0},
	} {
		in := standing(t, heron(t), rig.DegAxes(20, -40), rig.Axes{}, axesSlew(rig.Axes{}))
		r := *in.Rig
		r.Homing.Sigma = c.after
		in.Rig = &r
		in.Snapshot.Rig.Pose.Candidates[0].Sigma = c.now
		f := facts.Compute(in).Facts
		if c.now == (rig.Axes{}) {
			assert.NotContains(t, f, "homing_leaves_ratio")
			continue
		}
		assert.InDelta(t, c.want, number(t, f, "homing_leaves_ratio"), 1e-9, "%+v", c)
	}
}
