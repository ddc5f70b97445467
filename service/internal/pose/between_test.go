package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// A motion that a loss of power breaks off rests at none of its ends. Whatever then shows it (a run mark, a person's word, or nothing but
// a belief that says "home"), the places held contain the one where the axes are.
func TestMotionBrokenOff(t *testing.T) {
	shows := map[string]func(n *night, x *question.Sample){
		"nothing but belief": func(n *night, x *question.Sample) { n.take(Observe(n.w, n.s, *x)) },
		"a run mark":         func(n *night, x *question.Sample) { x.RunMark = "second"; n.take(Observe(n.w, n.s, *x)) },
		"a person, at once": func(n *night, x *question.Sample) {
			n.take(Acted(n.w, n.s, Act{Kind: PowerLost}, x))
		},
		"a person, without a sample": func(n *night, _ *question.Sample) { n.take(Acted(n.w, n.s, Act{Kind: PowerLost}, nil)) },
	}
	for name, show := range shows {
		for _, source := range []func(*rig.Rig){func(*rig.Rig) {}, onlyReckoned, inferred} {
			for _, every := range []time.Duration{0, 1500 * time.Millisecond} {
				for part := 0.1; part < 0.75; part += 0.1 {
					for _, later := range []time.Duration{500 * time.Millisecond, time.Minute} {
						n := homed(t, source)
						n.s.Homing.RunMark = "first"
						brokenOff(n, every, part)
						n.m.wait(later)
						x := n.m.sample()
						show(n, &x)
						require.NotEqual(t, question.Known, n.state(), "%s, %.1f of the way: %s", name, part, n.said())
						n.honest()
						n.m.wait(time.Minute)
						y := n.m.sample()
						y.RunMark = x.RunMark
						n.take(Observe(n.w, n.s, y))
						n.honest()
					}
				}
			}
		}
	}
}

// brokenOff goes a part of the way of a permitted slew and then loses power: at rest, the counters say home.
func brokenOff(n *night, every time.Duration, part float64) {
	n.tracked(-20, 35)
	ra, d := n.target(-60, 20)
	n.look()
	n.grant(ra, d, rig.West, time.Hour)
	end := n.m.goal(ra, d, rig.West, n.m.at.Add(20*time.Second))
	from, total := n.m.axes, n.m.takes(n.m.axes, end)
	start := n.m.at
	n.m.doing = question.Moving
	for step := every.Seconds(); every > 0 && step < part*total; step += every.Seconds() {
		n.m.at, n.m.axes = start.Add(time.Duration(step*float64(time.Second))), from.Add(end.Sub(from).Scale(step/total))
		n.look()
	}
	n.m.at, n.m.axes = start.Add(time.Duration(part*total*float64(time.Second))), from.Add(end.Sub(from).Scale(part))
	n.m.doing = question.AtRest
	n.m.off = n.w.Rig.Home.Sub(n.m.axes.Sub(n.m.fault))
}

// Power lost while the rig tracked unseen: it may have stopped at any time since the last sample.
func TestPowerLostWhileTrackingUnseen(t *testing.T) {
	for _, stopped := range []time.Duration{0, 20 * time.Minute, 40 * time.Minute} {
		n := homed(t).tracked(-30, 40)
		n.s.Homing.RunMark = "first"
		n.m.wait(stopped)
		n.m.doing = question.AtRest
		n.m.wait(40*time.Minute - stopped)
		x := n.m.sample()
		x.RunMark = "second"
		n.take(Observe(n.w, n.s, x))
		n.honest()
		require.Len(t, n.s.Pose.Candidates, 1)
		assert.Less(t, n.s.Pose.Candidates[0].Sigma.A1.Deg(), 5.0, "the sky turns by ten degrees in that time")
	}
}

// A candidate on another side than the one that the mount tells all along does not turn over to it while nothing moves.
func TestQuietCandidateStays(t *testing.T) {
	n := homed(t)
	n.s.Pose.State = question.Candidates
	n.s.Anchored = append(n.s.Anchored, question.Candidate{Axes: rig.DegAxes(40, -40), Sigma: rig.DegAxes(1, 1)})
	n.s.Doubt = "put there by the test"
	for range 3 {
		n.m.wait(10 * time.Second)
		n.look()
	}
	require.Len(t, n.s.Pose.Candidates, 2)
	assert.InDelta(t, 40, n.s.Pose.Candidates[1].Axes.A1.Deg(), 0.1)
	assert.InDelta(t, -40, n.s.Pose.Candidates[1].Axes.A2.Deg(), 0.1)
}

// Nor where one sample leaves the side out and the next tells it again; but a place alone on the other side than the one told then is one
// that the mount contradicts.
func TestQuietCandidateStaysThoughASampleLeavesTheSideOut(t *testing.T) {
	n := homed(t).tracked(-30, 40)
	n.s.Permit = nil
	n.m.doing = question.AtRest
	n.m.wait(time.Second)
	n.look()
	n.s.Pose.State = question.Candidates
	n.s.Anchored = append(n.s.Anchored, question.Candidate{Axes: rig.DegAxes(-40, 40), Sigma: rig.DegAxes(1, 1)})
	n.s.Pose.Candidates = append([]question.Candidate(nil), n.s.Anchored...)
	n.s.Doubt = "put there by the test"
	n.sideLeftOut()
	require.Len(t, n.s.Pose.Candidates, 2, n.said())
	assert.InDelta(t, -40, n.s.Pose.Candidates[1].Axes.A1.Deg(), 0.5, "nothing moved, and the second place went elsewhere")
	assert.InDelta(t, 40, n.s.Pose.Candidates[1].Axes.A2.Deg(), 0.5, "nothing moved, and the second place went elsewhere")

	n = homed(t).tracked(-30, 40)
	n.s.Anchored[0].Axes = rig.DegAxes(-40, 40)
	n.s.Pose.Candidates[0].Axes = n.s.Anchored[0].Axes
	n.loose = true
	n.sideLeftOut()
	require.NotEqual(t, question.Known, n.state(), "known on the side that the mount does not tell")
}

// sideLeftOut takes in a sample whose side was left out, and then a whole one.
func (n *night) sideLeftOut() {
	n.t.Helper()
	n.m.wait(10 * time.Second)
	x := n.m.sample()
	x.Belief.Side = ""
	n.take(Observe(n.w, n.s, x))
	n.honest()
	n.m.wait(10 * time.Second)
	n.look()
}

// A hand pushes the tube beyond the travel of the file, faster than the motors turn, while two places are held: travel is the mount's own
// limit and no wall, so the place beyond it is held too.
func TestPushedBeyondTravel(t *testing.T) {
	for _, beyond := range []float64{50, 70} {
		n := homed(t, withEncoder, func(r *rig.Rig) { r.Travel = rig.Travel{Low: rig.DegAxes(-97, -170), High: rig.DegAxes(97, 170)} }).tracked(-20, 35)
		other := n.s.Anchored[0]
		other.Axes = other.Axes.Add(rig.DegAxes(-40, 0))
		n.s.Anchored = append(n.s.Anchored, other)
		n.s.Pose.Candidates = append([]question.Candidate(nil), n.s.Anchored...)
		n.s.Pose.State, n.s.Doubt, n.s.Permit = question.Candidates, "put there by the test", nil
		n.m.doing = question.AtRest
		n.m.wait(2 * time.Second)
		n.look()
		n.m.wait(500 * time.Millisecond)
		n.m.doing = question.Moving
		push := rig.DegAxes(beyond, 0)
		n.m.axes, n.m.off = n.m.axes.Add(push), n.m.off.Sub(push)
		n.look()
		n.m.doing = question.AtRest
		n.m.wait(2 * time.Second)
		n.look()
	}
}
