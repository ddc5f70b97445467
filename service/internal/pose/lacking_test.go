package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// A sample that shows nothing of the axes comes between two that do: what moved them meanwhile is seen by the later one, and a permit judged
// from where they were does not begin, however often it is tried. Where nothing moved, all is as it was.
func TestMovedBehindASampleThatShowsNothing(t *testing.T) {
	counting := func(r *rig.Rig) { r.Mount.CountsSyncs = true }
	for name, source := range map[string]func(*rig.Rig){"counts": withCount, "belief": counting, "belief, a rate as slow": func(r *rig.Rig) { counting(r); r.Motion.RateDeg = [2]float64{1, 1} }} {
		for _, doing := range []question.Doing{question.AtRest, question.Tracking} {
			for _, moved := range []rig.Axes{{}, rig.DegAxes(20, 30), rig.DegAxes(0, -4)} {
				n := homed(t, source).tracked(-30, 40)
				n.s.Permit, n.m.doing = nil, doing
				n.m.wait(time.Second)
				n.look()
				n.m.wait(time.Second)
				n.look()
				n.forget()
				from := n.s.Pose.Candidates[0].Axes
				n.s.Permit = &question.Permit{ID: "p9", State: question.Granted, Asked: n.m.at, StartBy: n.m.at.Add(time.Hour), Action: question.Action{Kind: question.Jog},
					From: from, Epoch: n.s.Epoch, Homing: n.s.Homing.ID, Source: n.s.Pose.Source}
				for range 3 {
					n.m.wait(10 * time.Second)
					x := n.m.sample()
					bareSample(&x)
					n.take(Begin(n.w, n.s, "p9", x))
					require.Equal(t, question.Granted, n.s.Permit.State, n.said())
				}
				n.m.axes = n.m.axes.Add(moved)
				for range 3 {
					n.m.wait(10 * time.Second)
					n.take(Begin(n.w, n.s, "p9", n.m.sample()))
					n.honest()
				}
				what := name + ", " + string(doing) + ", moved by " + moved.String() + "\n" + n.said()
				assert.Equal(t, moved == rig.Axes{}, n.s.Permit.State == question.Begun, what)
				assert.Equal(t, moved == rig.Axes{}, n.s.Permit.State != question.Withdrawn, what)
			}
		}
	}
}
