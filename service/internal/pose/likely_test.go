package pose

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// A program's usual mistakes with angles are named, and nothing else is taken for one.
func TestLikelyMistakes(t *testing.T) {
	due := rig.DegAxes(30, -40)
	for _, c := range []struct {
		came rig.Axes
		want string
	}{
		{rig.DegAxes(30, 320), "whole turns"},
		{rig.DegAxes(-690, -40), "whole turns"},
		{rig.DegAxes(59, 320), "whole turns"},
		{rig.DegAxes(30, 351), ""}, // 31° from a whole turn
		{rig.DegAxes(-40.2, 30.2), "two axes exchanged"},
		{rig.DegAxes(-40.4, 30), ""},
		{rig.DegAxes(0.5236, -0.698), "radians"},
		{rig.DegAxes(-30, 40), "both signs"},
		{rig.DegAxes(30, 40), ""},
		{rig.DegAxes(10, 10), ""},
		{rig.DegAxes(30, -40), ""},
	} {
		got := likely(due, c.came)
		assert.Equal(t, c.want != "", strings.HasPrefix(got, ": looks like "), "%s: %s", c.came, got)
		assert.Contains(t, got, c.want, "%s", c.came)
	}
	assert.Empty(t, likely(rig.DegAxes(1, -1), rig.DegAxes(-1, 1)), "2° are a slip")
	assert.Contains(t, likely(rig.DegAxes(1.1, -1.1), rig.DegAxes(-1.1, 1.1)), "two axes exchanged")
}

// A sample at rest that has the axes exchanged, or in radians, is held as any jump is, and says what it looks like.
func TestAMistakeAtRestIsNamed(t *testing.T) {
	for want, mistake := range map[string]func(rig.Axes) rig.Axes{
		"looks like the two axes exchanged":              func(a rig.Axes) rig.Axes { return rig.Axes{A1: a.A2, A2: a.A1} },
		"looks like radians where degrees are wanted":    func(a rig.Axes) rig.Axes { return a.Scale(math.Pi / 180) },
		"looks like whole turns lost or gained, as by a": func(a rig.Axes) rig.Axes { return rig.Axes{A1: a.A1, A2: a.A2.Positive()} },
	} {
		n := homed(t, withCount)
		n.m.axes = rig.DegAxes(30, -40)
		at := n.m.sample()
		n.take(Homed(n.w, n.s, question.Homing{ID: "h9", At: n.m.at, Person: "A. Person", Axes: n.m.axes, Sigma: rig.DegAxes(1, 1)}, &at))
		for _, gap := range []time.Duration{time.Second, time.Minute} {
			n.m.wait(gap)
			n.look()
			n.m.wait(gap)
			x := n.m.sample()
			for i := range x.Readings {
				x.Readings[i].Axes = mistake(x.Readings[i].Axes)
			}
			before := n.s
			n.take(Observe(n.w, n.s, x))
			assert.Contains(t, n.s.Pose.Because, want, "after %s: %s", gap, n.said())
			assert.Equal(t, question.Candidates, n.s.Pose.State)
			n.s = before
		}
	}
}
