package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// A hand controller turns the axes and no source follows: the rig said that it moved, so it is anywhere that it can have reached, or nowhere
// that is known.
func TestAnUnaskedMotionThatNothingFollows(t *testing.T) {
	for want, before := range map[question.PoseState]time.Duration{question.Candidates: 2 * time.Second, question.Unknown: 2 * time.Minute} {
		n := homed(t, onlyReckoned)
		n.m.wait(before)
		n.run(n.m.axes.Add(rig.DegAxes(7, -8)), question.AtRest)
		require.Equal(t, want, n.state(), "%+v\n%s", n.s.Pose, n.said())
		require.Contains(t, n.kinds(), UnaskedMotion)
		n.m.wait(time.Minute)
		n.look()
		n.wayOut()
	}
}

// A hand controller takes the tube across the end of axis 1, from one side to the other, and belief alone sees it.
func TestAnUnaskedMotionAcrossTheSides(t *testing.T) {
	for _, change := range []func(*rig.Rig){func(*rig.Rig) {}, inferred} {
		for _, by := range []rig.Axes{rig.DegAxes(3, 8), rig.DegAxes(-4, 12), rig.DegAxes(0, 20)} {
			n := homed(t, change)
			n.m.axes = n.m.axes.Add(rig.DegAxes(10, -6))
			n.home()
			n.m.wait(2 * time.Second)
			n.run(n.m.axes.Add(by), question.AtRest)
			require.Equal(t, question.Candidates, n.state(), n.said())
			n.wayOut()
		}
	}
}

// Nothing tells whether a permitted motion began, and it took no longer than the service waits for it to begin: it may be there.
func TestAReckonedMotionThatMayBeOver(t *testing.T) {
	n := homed(t, onlyReckoned)
	n.look()
	ra, d := n.target(-80, 85)
	n.grant(ra, d, rig.West, 0)
	end := n.m.axes.Add(n.m.goal(ra, d, rig.West, n.m.at).Sub(n.m.axes))
	n.m.wait(6 * time.Second)
	n.m.axes = end
	x := n.m.sample()
	x.Belief = nil
	n.take(Observe(n.w, n.s, x))
	n.honest()
}

// A reckoned motion of more than half a turn is under way: an alt-azimuth goes from one end of its travel toward the other. Wherever it is, it
// is within what is held, at the sample and until the next.
func TestAReckonedMotionOfMoreThanHalfATurn(t *testing.T) {
	n := newNight(t, newRig(rig.AltAzimuth, 48))
	onlyReckoned(n.w.Rig)
	n.m.axes = rig.DegAxes(-250, 20)
	n.home()
	n.m.wait(time.Second)
	n.look()
	end := n.jog(rig.DegAxes(500, 30))
	n.every = 20 * time.Second
	n.m.doing = question.Moving
	for range 7 {
		n.m.wait(20 * time.Second)
		n.m.axes.A1 += 60 * unit.Degree
		n.look()
	}
	n.s.Pose = At(n.w, n.s, n.m.at.Add(20*time.Second))
	n.m.wait(20 * time.Second)
	n.m.axes = end
	n.honest()
}

// Power is lost at the far end of such a motion, and no sample is told with that: the whole way counts, however many turns it is.
func TestPowerLostOnAWayOfMoreThanATurn(t *testing.T) {
	n := newNight(t, newRig(rig.AltAzimuth, 48))
	n.m.axes = rig.DegAxes(-250, 20)
	n.home()
	n.m.wait(time.Second)
	n.look()
	n.m.axes = n.jog(rig.DegAxes(500, 30)).Sub(rig.DegAxes(1, 1))
	n.take(Acted(n.w, n.s, Act{Kind: PowerLost, Person: "A. Nyman"}, nil))
	require.Equal(t, question.Candidates, n.state(), n.said())
	n.honest()
}
