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
	far, toPole := rig.DegAxes(40, 20), rig.DegAxes(40, -38) // for the German, to two degrees from the pole
	for _, kind := range []rig.Kind{rig.German, rig.Fork} {
		for _, c := range []struct {
			seen, turn rig.Axes
			places     int
		}{
			{rig.DegAxes(1, 0), far, 1}, {rig.DegAxes(-1, 0.9), far, 1}, {rig.DegAxes(0, -1), far, 1}, {rig.DegAxes(-2.5, 0), toPole, 1},
			{rig.DegAxes(-2.5, -1), far, 2},
		} {
			for _, short := range []float64{0, 0.4, 1.5, 2.5, 3.2, 6} {
				n := newNight(t, newRig(kind, 48))
				onlyReckoned(n.w.Rig)
				n.loose = true
				n.m.axes = rig.DegAxes(-20, 40)
				x := n.m.sample()
				n.take(Homed(n.w, n.s, question.Homing{ID: "h1", At: n.m.at, Person: "A. Nyman", Axes: n.m.axes, Sigma: rig.DegAxes(1, 1)}, &x))
				n.m.axes, n.m.fault = n.m.axes.Add(c.seen), n.m.fault.Add(c.seen)
				n.m.wait(time.Second)
				n.look()
				ends := []rig.Axes{n.s.Pose.Candidates[0].Axes.Add(c.turn)}
				if c.places > 1 {
					other := n.s.Anchored[0]
					other.Axes = other.Axes.Add(rig.DegAxes(9, -9))
					n.s.Anchored = append(n.s.Anchored, other)
					n.s.Pose.State, n.s.Pose.Candidates = question.Candidates, append([]question.Candidate(nil), n.s.Anchored...)
					ends = append(ends, other.Axes.Add(c.turn))
				}
				before := n.s.Pose.Candidates[0].Sigma
				p := n.begun(question.Action{Kind: question.Slew, Axes: &ends[0]}, ends[0])
				p.Ends = ends
				p.MotionS = n.m.takes(n.m.axes, n.m.axes.Add(c.turn))
				p.EndS = nil
				for range ends {
					p.EndS = append(p.EndS, p.MotionS)
				}
				n.run(n.m.axes.Add(c.turn).Sub(rig.DegAxes(short, short/2)), question.AtRest)
				require.True(t, n.trueHeld(), "%s, seen %s beside, %g° short: at %s, held %v\n%s", kind, c.seen, short, n.m.axes, n.s.Pose, n.said())
				if short == 0 && c.places == 1 {
					require.Equal(t, question.Known, n.state(), n.said())
					require.Less(t, n.s.Pose.Candidates[0].Sigma.Max(), before.Max()+0.1*unit.Degree)
				}
			}
		}
	}
}
