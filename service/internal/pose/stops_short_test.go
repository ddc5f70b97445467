package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// A rig that is reckoned, homed by a person who saw it a degree beside, stops short of the end of a slew by some of what that leaves open, and its belief at
// rest says so: where the axes are stays among what is held, and is known as well as that lets it. One that came there is as sure as before.
func TestReckonedSlewThatStopsShort(t *testing.T) {
	for _, kind := range []rig.Kind{rig.German, rig.Fork} {
		for _, seen := range []rig.Axes{rig.DegAxes(1, 0), rig.DegAxes(-1, 0.9), rig.DegAxes(0, -1)} {
			for _, short := range []float64{0, 0.4, 1.5, 2.5, 3.2, 6} {
				n := newNight(t, newRig(kind, 48))
				onlyReckoned(n.w.Rig)
				n.loose = true
				n.m.axes = rig.DegAxes(-20, 40)
				x := n.m.sample()
				n.take(Homed(n.w, n.s, question.Homing{ID: "h1", At: n.m.at, Person: "A. Nyman", Axes: n.m.axes, Sigma: rig.DegAxes(1, 1)}, &x))
				n.m.axes, n.m.fault = n.m.axes.Add(seen), n.m.fault.Add(seen)
				n.m.wait(time.Second)
				n.look()
				before := n.s.Pose.Candidates[0].Sigma
				end := n.s.Pose.Candidates[0].Axes.Add(rig.DegAxes(40, 20))
				p := n.begun(question.Action{Kind: question.Slew, Axes: &end}, end)
				p.MotionS = n.m.takes(n.m.axes, n.m.axes.Add(rig.DegAxes(40, 20)))
				p.EndS = []float64{p.MotionS}
				n.run(n.m.axes.Add(rig.DegAxes(40-short, 20-short/2)), question.AtRest)
				require.True(t, n.trueHeld(), "%s, seen %s beside, %g° short: at %s, held %v\n%s", kind, seen, short, n.m.axes, n.s.Pose, n.said())
				if short == 0 {
					require.Equal(t, question.Known, n.state(), n.said())
					require.Less(t, n.s.Pose.Candidates[0].Sigma.Max(), before.Max()+0.1*unit.Degree)
				}
			}
		}
	}
}
