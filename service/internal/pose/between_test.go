package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
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

// Nor, near the end of axis 1, where a sync kept on the sky moved the belief over the pole and a loss of power took it back.
func TestQuietCandidateStaysAtThePole(t *testing.T) {
	for _, dec := range []float64{-1.1, -0.5, -2} {
		for _, ra := range []float64{0.4, 100, -100, 179} {
			n := homed(t, func(r *rig.Rig) { r.Mount.Sync, r.Mount.SideSensed = rig.KeptOnSky, false })
			n.syncOff(ra, dec)
			n.m.wait(40 * time.Second)
			n.look()
			n.m.sky = [2]unit.Angle{}
			for range 3 {
				n.m.wait(20 * time.Second)
				n.look()
			}
		}
	}
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

// What a motion may rest at that is broken off is more than its start, its ends and the way between them: a homing sweeps, an approach runs
// past its end, a mount that arrived unseen has followed the sky, and one may come up tracking. Whatever it was, the axes are in one of the
// places held, at the sample that shows the loss and at the next.
func TestBrokenOffWhereNoBoxWasChecked(t *testing.T) {
	for name, c := range map[string]struct {
		rig func(*rig.Rig)
		do  func(n *night)
	}{
		"a homing in its sweep": {func(r *rig.Rig) { r.Homing.Search = rig.DegAxes(15, 15) }, func(n *night) {
			n.tracked(-20, 35)
			n.begun(question.Action{Kind: question.Home}, n.w.Rig.Home)
			n.m.at, n.m.axes = n.m.at.Add(60*time.Second), rig.DegAxes(-13, 12)
		}},
		"a homing in its sweep, run past": {func(r *rig.Rig) { r.Homing.Search, r.Motion.Overrun = rig.DegAxes(15, 15), rig.DegAxes(2, 2) }, func(n *night) {
			n.tracked(-20, 35)
			n.begun(question.Action{Kind: question.Home}, n.w.Rig.Home)
			n.m.at, n.m.axes = n.m.at.Add(60*time.Second), rig.DegAxes(-16.5, 16.5)
		}},
		"an approach past its end": {func(r *rig.Rig) { r.Motion.Overrun = rig.DegAxes(9, 9) }, func(n *night) {
			end := n.unseenSlew(0)
			n.m.at, n.m.axes = n.m.at.Add(10*time.Second), end.Add(rig.DegAxes(8.5, -8.5))
		}},
		"at a pose to go by, by a belief that is off": {func(r *rig.Rig) { r.Motion.Via = []rig.Axes{rig.DegAxes(80, 60)} }, func(n *night) {
			n.tracked(-20, 35)
			p := n.begun(question.Action{Kind: question.Slew}, rig.DegAxes(40, -30))
			p.Ends = append(p.Ends, p.Ends[0].Add(rig.DegAxes(9, 0)))
			n.m.at, n.m.axes = n.m.at.Add(60*time.Second), rig.DegAxes(88.5, 60)
		}},
		"tracking after a slew, all of it unseen": {nil, func(n *night) {
			n.unseenSlew(3 * time.Hour)
			n.m.doing = question.Tracking
			n.m.wait(time.Hour)
		}},
		"tracking by a permit of its own, unseen": {nil, func(n *night) {
			n.resting()
			n.begun(question.Action{Kind: question.Track, Follow: 2 * time.Hour}, n.s.Pose.Candidates[0].Axes).Tracks = true
			n.m.doing = question.Tracking
			n.m.wait(time.Hour)
		}},
		"tracking that was seen": {nil, func(n *night) {
			n.tracked(-40, 30)
			n.m.wait(45 * time.Minute)
		}},
	} {
		for how, show := range map[string]func(n *night, x question.Sample){
			"a run mark":                func(n *night, x question.Sample) { n.take(Observe(n.w, n.s, x)) },
			"a person":                  func(n *night, x question.Sample) { n.take(Acted(n.w, n.s, Act{Kind: PowerLost}, &x)) },
			"a person without a sample": func(n *night, _ question.Sample) { n.take(Acted(n.w, n.s, Act{Kind: PowerLost}, nil)) },
		} {
			t.Run(name+", shown by "+how, func(t *testing.T) {
				n := homed(t, func(r *rig.Rig) {
					if c.rig != nil {
						c.rig(r)
					}
				})
				n.s.Homing.RunMark = "first"
				n.every = 0
				c.do(n)
				n.powerGone()
				n.m.wait(time.Second)
				show(n, n.restarted())
				n.honestNow()
				n.m.wait(time.Minute)
				n.take(Observe(n.w, n.s, n.restarted()))
				require.NotEqual(t, question.Known, n.state(), n.said())
				n.honestNow()
			})
		}
	}
}

// A mount that comes up tracking has followed the sky for any part of the time since the power was lost.
func TestComesUpTracking(t *testing.T) {
	for _, kind := range []rig.Kind{rig.German, rig.AltAzimuth} {
		for _, tracked := range []bool{true, false} {
			for _, late := range []time.Duration{0, 20 * time.Minute, 45 * time.Minute} {
				n := newNight(t, newRig(kind, 50))
				n.home()
				n.s.Homing.RunMark = "first"
				n.tracked(-40, 30)
				if !tracked {
					n.resting()
				}
				n.take(Acted(n.w, n.s, Act{Kind: PowerLost, Person: "A. Nyman"}, nil))
				n.m.doing = question.AtRest
				n.powerGone()
				n.m.wait(late)
				if tracked {
					n.honestNow()
				}
				n.m.doing = question.Tracking
				n.m.wait(45*time.Minute - late)
				n.take(Observe(n.w, n.s, n.restarted()))
				n.honestNow()
				n.m.wait(time.Minute)
				n.take(Observe(n.w, n.s, n.restarted()))
				n.honestNow()
				require.Less(t, n.s.Pose.Candidates[0].Sigma.Max(), 9*unit.Degree, "%s: the sky turns by eleven degrees in that time", kind)
			}
		}
	}
}

// A rig that moves before a sample at rest showed where it counts from may be anywhere that it can have turned to, not where it was.
func TestMovesBeforeItCounts(t *testing.T) {
	n := newNight(t, newRig(rig.German, 50))
	n.take(Homed(n.w, n.s, question.Homing{ID: "h1", At: n.m.at, Sensed: true}, nil))
	for _, doing := range []question.Doing{question.Moving, question.Moving, question.AtRest} {
		n.m.wait(4 * time.Second)
		n.m.axes = n.m.axes.Add(rig.DegAxes(10, -10))
		n.m.doing = doing
		n.look()
		require.Equal(t, question.Candidates, n.state(), n.said())
	}
}

// The same where nothing but a belief that says "home" shows the loss, far from home.
func TestFollowingUnseenBrokenOff(t *testing.T) {
	for name, do := range map[string]func(n *night){
		"after a slew": func(n *night) {
			ra, d := n.target(-60, 20)
			n.look()
			n.grant(ra, d, rig.West, 3*time.Hour)
			n.m.axes = n.m.goal(ra, d, rig.West, n.m.at.Add(20*time.Second))
			n.m.at = n.m.at.Add(20 * time.Second)
		},
		"by a permit of its own": func(n *night) {
			n.begun(question.Action{Kind: question.Track, Follow: 2 * time.Hour}, n.s.Pose.Candidates[0].Axes).Tracks = true
		},
	} {
		t.Run(name, func(t *testing.T) {
			n := homed(t)
			n.every = 0
			n.resting()
			do(n)
			n.m.doing = question.Tracking
			n.m.wait(time.Hour)
			n.powerGone()
			n.m.wait(time.Second)
			n.look()
			require.Equal(t, question.Candidates, n.state(), n.said())
			n.m.wait(time.Minute)
			n.look()
		})
	}
}

// A rig that followed the sky by a permit and rests again, all unseen, did nothing unasked.
func TestFollowedUnseen(t *testing.T) {
	n := homed(t)
	n.resting()
	n.begun(question.Action{Kind: question.Track, Follow: 2 * time.Hour}, n.s.Pose.Candidates[0].Axes).Tracks = true
	n.m.doing = question.Tracking
	n.m.wait(time.Hour)
	n.m.doing = question.AtRest
	n.m.wait(time.Minute)
	n.forget()
	n.look()
	require.Equal(t, question.Known, n.state(), n.said())
	require.NotContains(t, n.kinds(), UnaskedMotion)
}

// Between the samples, too: a permit to follow the sky has begun, and nothing was seen of the rig since.
func TestFollowingUnseen(t *testing.T) {
	n := homed(t)
	n.resting()
	n.begun(question.Action{Kind: question.Track, Follow: 2 * time.Hour}, n.s.Pose.Candidates[0].Axes).Tracks = true
	for _, doing := range []question.Doing{question.Tracking, question.AtRest} {
		n.m.doing = doing
		n.m.wait(30 * time.Minute)
		n.honestNow()
	}
}

// A home of which no sample tells is where the axes were sensed, whatever the rig did at the sample before.
func TestHomedAfterTheLastSample(t *testing.T) {
	n := homed(t, func(r *rig.Rig) { r.Homing.Sigma = rig.DegAxes(0.1, 0.1) }).tracked(-40, 30)
	n.m.wait(10 * time.Minute)
	n.m.axes, n.m.fault, n.m.doing = n.w.Rig.Home, rig.Axes{}, question.AtRest
	n.begun(question.Action{Kind: question.Home}, n.w.Rig.Home)
	n.take(Homed(n.w, n.s, question.Homing{ID: "h2", At: n.m.at, Sensed: true}, nil))
	require.Equal(t, question.Known, n.state(), n.said())
	n.m.wait(2 * time.Second)
	n.honestNow()
	require.Less(t, At(n.w, n.s, n.m.at).Candidates[0].Sigma.Max(), 0.2*unit.Degree)
}

// resting tracks for a while and rests.
func (n *night) resting() {
	n.t.Helper()
	n.tracked(-40, 30)
	n.m.doing = question.AtRest
	n.m.wait(10 * time.Second)
	n.look()
}

// begun puts a begun permit in force from where the rig is held to an end.
func (n *night) begun(a question.Action, end rig.Axes) *question.Permit {
	at, c := n.m.at, n.s.Pose.Candidates[0]
	n.s.Permit = &question.Permit{ID: "pb", Rig: n.w.Rig.ID, State: question.Begun, Asked: at, BegunAt: &at, StartBy: at.Add(10 * time.Second), StopBy: at.Add(3 * time.Hour),
		Action: a, From: c.Axes, Ends: []rig.Axes{end}, Sigma: c.Sigma, MotionS: 40, Homing: n.s.Homing.ID}
	return n.s.Permit
}

// unseenSlew begins a slew from home and returns where it ends, 20 s later.
func (n *night) unseenSlew(follow time.Duration) rig.Axes {
	n.t.Helper()
	n.m.wait(time.Minute)
	n.look()
	ra, d := n.target(-60, 20)
	n.grant(ra, d, rig.West, follow)
	end := n.m.goal(ra, d, rig.West, n.m.at.Add(20*time.Second))
	n.m.at, n.m.axes = n.m.at.Add(20*time.Second), end
	return end
}

// powerGone stops the axes where they are; the counters then say home.
func (n *night) powerGone() {
	n.m.doing = question.AtRest
	n.m.off = n.w.Rig.Home.Sub(n.m.axes.Sub(n.m.fault))
}

// restarted is a sample under a new run mark.
func (n *night) restarted() question.Sample {
	x := n.m.sample()
	x.RunMark = "second"
	return x
}

// honestNow checks the room's promise for the pose as it is carried to now.
func (n *night) honestNow() {
	n.t.Helper()
	held := n.s
	n.s.Pose = At(n.w, n.s, n.m.at)
	n.honest()
	n.s = held
}
