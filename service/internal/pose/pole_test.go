package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// toAxes turns the axes to a pose with leave, from every place held.
func (n *night) toAxes(to rig.Axes, track bool) {
	n.t.Helper()
	end := n.jog(to.Sub(n.m.axes))
	n.s.Permit.Tracks = track
	n.run(end, map[bool]question.Doing{true: question.Tracking, false: question.AtRest}[track])
}

// A sync kept on the sky pushes belief over the pole, where declination is told as if it came from below. Less the sync it stands for two
// places, of which the axes are at one; not only at the sample that shows them come there.
func TestBeliefPushedOverThePole(t *testing.T) {
	for _, keeping := range []rig.SyncKeeping{rig.KeptOnSky, rig.KeptUnknown} {
		for _, home := range []rig.Axes{{}, rig.DegAxes(0.4, 0.6), rig.DegAxes(-3, -0.3)} {
			n := homed(t, withSync(keeping))
			n.m.keep = rig.KeptOnSky
			n.tracked(-30, 60)
			n.syncOff(0.2, 1.1)
			n.toAxes(home, false)
			for range 3 {
				n.m.wait(20 * time.Second)
				n.look()
			}
			if keeping == rig.KeptOnSky {
				require.Equal(t, question.Known, n.state(), "%+v\n%s", n.s.Pose, n.said())
			}
			n.wayOut()
		}
	}
}

// closely homes sharply.
func closely(r *rig.Rig) { r.Homing.Sigma = rig.DegAxes(0.02, 0.02) }

// The mount was homed and keeps its sync on the sky all the same: belief stands over the pole, on the side that is not told. A little motion
// there is followed to where it ends.
func TestMovesAtThePoleWithBeliefOverIt(t *testing.T) {
	for _, up := range []float64{0.77, 0.4, -0.77} {
		n := homed(t, withSync(rig.KeptOnSky), closely)
		n.m.sky = [2]unit.Angle{0, unit.Deg(up)}
		n.m.axes = rig.DegAxes(0.35, 0)
		n.home()
		n.m.wait(time.Second)
		n.look()
		n.toAxes(rig.Axes{}, false)
		require.Equal(t, question.Known, n.state(), "%+v\n%s", n.s.Pose, n.said())
		n.wayOut()
	}
}

func withSync(k rig.SyncKeeping) func(*rig.Rig) {
	return func(r *rig.Rig) { r.Mount.Sync = k }
}

// Belief and pose lie on both sides of the end of axis 1, some degrees from it, since a sync took belief across. What turns then turns the
// way that the counters of the mount turn, not the way of the pose's side.
func TestBeliefAcrossTheEndOfAxis1FromThePose(t *testing.T) {
	for _, change := range []func(*rig.Rig){func(*rig.Rig) {}, inferred} {
		n := homed(t, change)
		n.toAxes(rig.DegAxes(1.7, -3.6), false)
		n.m.off = rig.DegAxes(0, 5.4) // belief stands at 1.8°
		n.s.Steps = []question.Step{{At: n.m.at, Axes: n.m.off, AtEnd: true}}
		n.s.Anchor, n.s.Sample = nil, nil
		n.look()
		n.forget()
		n.m.wait(2 * time.Second)
		n.run(n.m.axes.Add(rig.DegAxes(5.9, 8.8)), question.AtRest) // by hand, across
		n.wayOut()
	}
}

// Several places are held, and a hand turns the axes under the eyes of samples: each is followed on its own turn.
func TestHandAgainWithSeveralPlacesHeld(t *testing.T) {
	n := homed(t, inferred)
	n.every = 500 * time.Millisecond
	for _, by := range []rig.Axes{rig.DegAxes(-5.1, -9.6), rig.DegAxes(-2.1, -4.2)} {
		n.m.wait(2 * time.Second)
		n.run(n.m.axes.Add(by), question.AtRest)
	}
	require.Equal(t, question.Candidates, n.state())
}

// A mount restarts while no sample tells its run mark: it takes itself to be at home, count and belief alike, without any motion. Where the axes
// were stays a place.
func TestCountsBackAtHomeWithoutARunMark(t *testing.T) {
	for _, before := range []rig.Axes{rig.DegAxes(0, 25), rig.DegAxes(12, 0.1), rig.DegAxes(0.4, 0)} {
		for _, under := range []bool{false, true} {
			n := homed(t, withCount)
			n.toAxes(before, false)
			n.m.wait(time.Minute)
			n.look()
			if under {
				n.jog(rig.DegAxes(8, 20))
				n.m.axes = before.Add(rig.DegAxes(3, 3))
			}
			n.m.wait(20 * time.Second)
			n.m.fault = n.m.axes
			n.look()
			require.NotEqual(t, question.Known, n.state(), "%+v\n%s", n.s.Pose, n.said())
			n.wayOut()
		}
	}
}

// The same where a run mark is told, and no other: the count is followed, and nothing is in doubt.
func TestCountsBackAtHomeInTheSameRun(t *testing.T) {
	n := homed(t, withCount)
	n.s.Homing.RunMark = "first"
	n.toAxes(rig.DegAxes(0.4, 0), false)
	n.m.wait(20 * time.Second)
	n.seen("first")
	n.m.axes = rig.Axes{}
	n.m.wait(20 * time.Second)
	n.seen("first")
	require.Equal(t, question.Known, n.state(), n.said())
}

// Where the pose is reckoned, belief at the pole does not tell whether a little turn of axis 1 was made, begun or not: all of it counts,
// once, however many samples come.
func TestReckonedAtThePole(t *testing.T) {
	for _, did := range []float64{0, 0.5, 1} {
		n := homed(t, onlyReckoned, closely)
		n.m.axes = rig.DegAxes(0.6, 0)
		n.home()
		n.m.wait(time.Second)
		n.look()
		by := rig.DegAxes(-0.6, 0)
		n.jog(by)
		n.m.axes = n.m.axes.Add(by.Scale(did))
		var wide rig.Axes
		for i := range 20 {
			n.m.wait(2 * time.Second)
			n.look()
			if i == 0 {
				wide = n.s.Pose.Candidates[0].Sigma
			}
		}
		require.InDelta(t, float64(wide.A1), float64(n.s.Pose.Candidates[0].Sigma.A1), 1e-6)
		require.Less(t, n.s.Pose.Candidates[0].Sigma.A1, unit.Degree)
		n.wayOut()
	}
}

// A mount tracks at the pole and loses power some time before the next sample, which comes late: any part of that may have been followed.
func TestStoppedAtThePoleUnseen(t *testing.T) {
	n := homed(t, closely)
	n.m.doing = question.Tracking
	n.look()
	n.m.wait(time.Minute)
	n.m.doing, n.m.fault = question.AtRest, n.m.axes
	n.m.wait(time.Minute)
	n.look()
}

// A sync that no sample showed took belief across the pole, and nothing tells the side. A hand turns the axes: belief may have stood on either.
func TestHandAfterASyncThatNothingShowed(t *testing.T) {
	for _, off := range []rig.Axes{rig.DegAxes(-165, 1.2), rig.DegAxes(15, 1.2), rig.DegAxes(15, -1.2)} {
		n := homed(t, inferred)
		n.m.wait(time.Second)
		x := n.m.sample()
		x.Belief = nil
		n.take(Observe(n.w, n.s, x))
		n.m.off = off
		n.m.wait(time.Second)
		n.look()
		n.m.wait(time.Second)
		n.run(n.m.axes.Add(rig.DegAxes(8.1, -9)), question.AtRest)
		n.wayOut()
	}
}
