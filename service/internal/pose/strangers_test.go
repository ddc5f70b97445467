package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// jog puts a permitted slow jog in force, judged from every place held, and returns where it takes the rig.
func (n *night) jog(by rig.Axes) rig.Axes {
	var ends []rig.Axes
	for _, c := range n.s.Pose.Candidates {
		ends = append(ends, c.Axes.Add(by))
	}
	at, c := n.m.at, n.s.Pose.Candidates[0]
	n.s.Permit = &question.Permit{ID: "pj", Rig: n.w.Rig.ID, State: question.Begun, Asked: at, BegunAt: &at, StartBy: at.Add(10 * time.Second), StopBy: at.Add(10 * time.Minute),
		Action: question.Action{Kind: question.Jog}, From: c.Axes, Ends: ends, Sigma: c.Sigma, MotionS: n.m.takes(n.m.axes, n.m.axes.Add(by)), Homing: "h"}
	return n.m.axes.Add(by)
}

// seen takes a sample in under a run mark.
func (n *night) seen(mark string) {
	n.t.Helper()
	x := n.m.sample()
	x.RunMark = mark
	n.take(Observe(n.w, n.s, x))
	n.honest()
}

// TestRightSolveSettlesNoWrongPlace: a motion was broken off short of its end. Held are the end, sharply, and all between start and
// end; the pointing is learnt to minutes. A right solve that lies beside the end must not make the end known.
func TestRightSolveSettlesNoWrongPlace(t *testing.T) {
	for _, short := range []float64{1.5, 2.6, 5, 20} {
		n := homed(t)
		n.tracked(-30, 40)
		n.s.Permit = nil
		n.m.doing = question.AtRest
		n.m.wait(time.Second)
		n.look()
		n.s.Learnt = map[rig.Side]question.Offsets{rig.West: {Count: 5}, rig.East: {Count: 5}}
		truth := n.m.axes
		end, start := truth.Add(rig.DegAxes(0, -short)), truth.Add(rig.DegAxes(0, 60))
		tight := question.Candidate{Axes: end, Sigma: rig.DegAxes(0.1, 0.1), Because: "where the permitted motion should have ended"}
		box := over(question.Candidate{Axes: start, Sigma: rig.DegAxes(0.1, 0.1)}, rig.Axes{A1: truth.A1, A2: end.A2}, start)
		n.s.Anchored = []question.Candidate{tight, box}
		n.s.Pose.State, n.s.Pose.Candidates, n.s.Doubt = question.Candidates, append([]question.Candidate(nil), n.s.Anchored...), "a motion came to rest elsewhere"
		n.honest()
		d := n.w.Rig.Chain.Direction
		n.take(Evidence(n.w, n.s, question.JudgedSolve{RequestID: "s", Blind: true, Good: true, Mid: n.m.at, Pose: end, Solved: truth, Side: rig.West,
			Field: rig.DegAxes(1, 1).A1, OffsetSky: d(end).Angle(d(truth))}))
		n.honest()
	}
}

// TestSecondRestartIsSeen: a mount that restarted, and whose homing is void, restarts again in the middle of a jog that nobody saw, and
// says home again.
func TestSecondRestartIsSeen(t *testing.T) {
	for name, source := range map[string]func(*rig.Rig){"belief": func(*rig.Rig) {}, "reckoned": onlyReckoned} {
		n := homed(t, source)
		n.s.Homing.RunMark = "first"
		n.powerGone()
		n.m.wait(time.Second)
		n.seen("second")
		n.m.wait(time.Second)
		n.seen("second")
		require.Equal(t, question.Candidates, n.state(), name)
		end := n.jog(rig.DegAxes(10, -12))
		n.m.wait(8 * time.Second)
		n.m.axes = end
		n.powerGone()
		n.seen("third")
		n.m.wait(time.Minute)
		n.seen("third")
		n.m.wait(time.Second)
		n.seen("third")
	}
}

// TestHandAcrossTheEndOfAxis1: a hand controller takes the tube across the line of axis 1 between two samples at rest, half a minute apart.
func TestHandAcrossTheEndOfAxis1(t *testing.T) {
	for name, c := range map[string]struct {
		from, by rig.Axes
		source   func(*rig.Rig)
	}{
		"side inferred":               {rig.DegAxes(0.1, 4.27), rig.DegAxes(-5.3, -5.2), inferred},
		"side inferred, a larger one": {rig.DegAxes(0, 15), rig.DegAxes(20, -40), inferred},
		"side told":                   {rig.DegAxes(0, 15), rig.DegAxes(20, -40), func(*rig.Rig) {}},
	} {
		t.Run(name, func(t *testing.T) {
			n := homed(t, c.source)
			n.run(n.jog(c.from), n.m.doing)
			n.s.Permit = nil
			n.m.doing = question.AtRest
			n.m.wait(time.Second)
			n.look()
			n.m.wait(30 * time.Second)
			n.m.axes = n.m.axes.Add(c.by)
			n.look()
			assert.NotEqual(t, question.Known, n.state())
		})
	}
}

// TestStepsNearTheEndOfAxis1AreMarked: what a sync does to the counters there, belief does not show.
func TestStepsNearTheEndOfAxis1AreMarked(t *testing.T) {
	for _, dec := range []float64{30, 75, 88} {
		n := homed(t)
		n.tracked(-30, dec)
		n.syncOff(0, 0.5)
		n.m.wait(time.Second)
		n.look()
		require.NotEmptyf(t, n.s.Steps, "dec %v\n%s", dec, n.said())
		assert.Equal(t, dec > 80, n.s.Steps[len(n.s.Steps)-1].AtEnd, "declination %v", dec)
	}
}
