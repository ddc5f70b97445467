package facts_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// What a homing would leave of the uncertainty goes by the axis of which it leaves less, and is not known of a pose that is exact, or one of several.
func TestWhatAHomingWouldLeave(t *testing.T) {
	for _, c := range []struct {
		now, after rig.Axes
		want       float64
	}{
		{rig.DegAxes(2, 1), rig.DegAxes(0.5, 3), 0.25},
		{rig.DegAxes(1, 2), rig.DegAxes(0.5, 3), 0.5},
		{rig.DegAxes(1, 2), rig.DegAxes(1.5, 3), 1.5},
		{rig.DegAxes(1, 1.1), rig.DegAxes(0.05, 1.1), 0.05},
		{rig.DegAxes(0, 2), rig.DegAxes(1, 3), 1.5},
		{rig.DegAxes(2, 0), rig.DegAxes(1, 3), 0.5},
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
		two := in.Snapshot.Rig.Pose.Candidates[0]
		two.Axes = rig.DegAxes(100, -40)
		in.Snapshot.Rig.Pose.State = question.Candidates
		in.Snapshot.Rig.Pose.Candidates = append(in.Snapshot.Rig.Pose.Candidates, two)
		assert.NotContains(t, facts.Compute(in).Facts, "homing_leaves_ratio", "a homing tells which of two")
	}
}
