package pose

import (
	"testing"
	"time"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// A mount that lost power on its way believes that it is at home, and is then homed. Belief is carried from another side than the tube's, so
// what it turns is no measure of what the axes turn; the places held still contain the one where the axes are, all the way and at the end.
func TestHomedAfterAMotionBrokenOff(t *testing.T) {
	for _, change := range []func(*rig.Rig){func(*rig.Rig) {}, inferred} {
		for _, every := range []time.Duration{0, 1500 * time.Millisecond} {
			for part := 0.1; part < 0.75; part += 0.1 {
				n := homed(t, change)
				brokenOff(n, every, part)
				n.m.wait(time.Second)
				n.look()
				n.m.wait(30 * time.Second)
				n.look()
				at := n.m.at
				n.s.Permit = &question.Permit{ID: "h9", State: question.Begun, Asked: at, BegunAt: &at, StartBy: at.Add(10 * time.Second),
					Action: question.Action{Kind: question.Home}, From: n.s.Pose.Candidates[0].Axes, Sigma: n.s.Pose.Candidates[0].Sigma,
					Ends: []rig.Axes{n.w.Rig.Home}, MotionS: n.m.takes(n.m.axes, n.w.Rig.Home)}
				n.every = 1500 * time.Millisecond
				n.run(n.w.Rig.Home, question.AtRest)
			}
		}
	}
}

// The same where a person has stated where the axes are: the place is known, but belief shows no motion from there.
func TestMovedAfterAStatementThatBeliefContradicts(t *testing.T) {
	for _, change := range []func(*rig.Rig){func(*rig.Rig) {}, inferred} {
		for part := 0.1; part < 0.75; part += 0.1 {
			n := homed(t, change)
			brokenOff(n, 1500*time.Millisecond, part)
			n.m.wait(time.Second)
			x := n.m.sample()
			n.take(Homed(n.w, n.s, question.Homing{ID: "h2", At: n.m.at, Person: "A. Nyman", Axes: n.m.axes, Sigma: rig.DegAxes(1, 1)}, &x))
			at := n.m.at
			n.s.Permit = &question.Permit{ID: "h9", State: question.Begun, Asked: at, BegunAt: &at, StartBy: at.Add(10 * time.Second),
				Action: question.Action{Kind: question.Home}, From: n.m.axes, Sigma: rig.DegAxes(1, 1),
				Ends: []rig.Axes{n.w.Rig.Home}, MotionS: n.m.takes(n.m.axes, n.w.Rig.Home)}
			n.run(n.w.Rig.Home, question.AtRest)
		}
	}
}
