package pose

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// homed is a night of a German rig in the north, homed and at rest, after changes to its file.
func homed(t *testing.T, changes ...func(*rig.Rig)) *night {
	return homedKind(t, rig.German, changes...)
}

func homedKind(t *testing.T, k rig.Kind, changes ...func(*rig.Rig)) *night {
	r := newRig(k, 48)
	for _, c := range changes {
		c(r)
	}
	n := newNight(t, r)
	n.home()
	require.Equal(t, question.Known, n.state(), n.said())
	n.forget()
	return n
}

func withEncoder(r *rig.Rig) {
	r.Sources = append([]rig.Source{{Kind: rig.AxisEncoder, Sigma: rig.DegAxes(0.02, 0.02)}}, r.Sources...)
}

func withCount(r *rig.Rig) {
	r.Sources = append([]rig.Source{{Kind: rig.MotorCount, MotorSide: true, Sigma: rig.DegAxes(0.02, 0.02)}}, r.Sources...)
}

func onlyReckoned(r *rig.Rig) { r.Sources = []rig.Source{{Kind: rig.Reckoned}} }
func inferred(r *rig.Rig)     { r.Mount.SideSensed = false }

// tracked brings a night to a target, tracking.
func (n *night) tracked(h, dec float64) *night {
	n.t.Helper()
	ra, d := n.target(h, dec)
	n.slew(ra, d, sideFor(n.w.Rig.Kind, h), time.Hour)
	n.m.wait(5 * time.Second)
	n.look()
	n.forget()
	return n
}

// Each line is a paragraph of the design: what happens, what the pose is then, and what must have been noticed.
func TestLittleNights(t *testing.T) {
	for _, c := range []struct {
		name    string
		rig     []func(*rig.Rig)
		do      func(n *night)
		want    question.PoseState
		notices []Kind // all of these
		none    bool   // and nothing else
	}{
		{name: "at rest all night", do: func(n *night) {
			for range 20 {
				n.m.wait(10 * time.Minute)
				n.look()
			}
		}, want: question.Known, none: true},
		{name: "a slew that tracks stays permitted while it tracks", do: func(n *night) {
			n.tracked(-30, 40)
			n.m.wait(20 * time.Minute)
			n.look()
			require.Equal(n.t, question.Begun, n.s.Permit.State)
		}, want: question.Known, none: true},
		{name: "and ends at rest", do: func(n *night) {
			n.tracked(-30, 40)
			n.m.doing = question.AtRest
			n.m.wait(time.Second)
			n.look()
			require.Equal(n.t, question.Ended, n.s.Permit.State)
		}, want: question.Known, notices: []Kind{PermitEnded}, none: true},
		{name: "unmoved before start_by: not closed; later: expired", do: func(n *night) {
			ra, d := n.target(-30, 40)
			n.grant(ra, d, rig.West, 0)
			n.m.wait(5 * time.Second)
			n.look()
			require.Equal(n.t, question.Begun, n.s.Permit.State)
			n.m.wait(10 * time.Second)
			n.look()
			require.Equal(n.t, question.Expired, n.s.Permit.State)
		}, want: question.Known, notices: []Kind{PermitExpired}, none: true},
		{name: "no sample but before and after a motion", do: func(n *night) {
			n.every = 0
			ra, d := n.target(-30, 40)
			n.slew(ra, d, rig.West, time.Hour)
		}, want: question.Known, none: true},
		{name: "past stop_by and still tracking", do: func(n *night) {
			n.tracked(-30, 40)
			n.m.wait(2 * time.Hour)
			n.look()
			require.Equal(n.t, question.Withdrawn, n.s.Permit.State)
		}, want: question.Known, notices: []Kind{PermitWithdrawn}, none: true},

		{name: "an unasked sync faster than the axes, belief alone", do: func(n *night) {
			n.tracked(-30, 40)
			n.jumpBelief(20)
			require.Equal(n.t, question.Withdrawn, n.s.Permit.State)
		}, want: question.Candidates, notices: []Kind{UnaskedSync}},
		{name: "the same with an encoder", rig: []func(*rig.Rig){withEncoder}, do: func(n *night) { n.tracked(-30, 40).jumpBelief(20) },
			want: question.Known, notices: []Kind{UnaskedSync}},
		{name: "a small unasked sync, belief alone", do: func(n *night) { n.tracked(-30, 40).jumpBelief(1) }, want: question.Candidates, notices: []Kind{UnaskedMotion}},
		{name: "a small unasked sync that the mount counts", rig: []func(*rig.Rig){func(r *rig.Rig) { r.Mount.CountsSyncs, r.Mount.NobodyElseSyncs = true, false }},
			do: func(n *night) { n.tracked(-30, 40).jumpBelief(1) }, want: question.Known, notices: []Kind{UnaskedSync}},
		{name: "a hand controller moves the rig, encoder", rig: []func(*rig.Rig){withEncoder}, do: func(n *night) { n.run(n.m.axes.Add(rig.DegAxes(10, 5)), question.AtRest) },
			want: question.Known, notices: []Kind{UnaskedMotion}},
		{name: "a hand controller moves the rig, belief alone", do: func(n *night) { n.run(n.m.axes.Add(rig.DegAxes(10, 15)), question.AtRest) },
			want: question.Candidates, notices: []Kind{UnaskedMotion}},
		{name: "an axis pushed by hand, encoder", rig: []func(*rig.Rig){withEncoder}, do: func(n *night) {
			n.m.wait(10 * time.Second)
			n.m.axes, n.m.off = n.m.axes.Add(rig.DegAxes(4, 0)), n.m.off.Add(rig.DegAxes(-4, 0))
			n.look()
		}, want: question.Known, notices: []Kind{UnaskedMotion}},

		{name: "an encoder said to be sync-proof moves with a sync", rig: []func(*rig.Rig){withEncoder}, do: func(n *night) {
			n.tracked(-30, 40)
			b := n.m.belief()
			id := n.leave(b.Sky.RA+unit.Deg(2), b.Sky.Dec)
			n.m.wait(time.Second)
			n.m.sync(b.Sky.RA+unit.Deg(2), b.Sky.Dec)
			x := n.m.sample()
			x.Readings[0].Axes = x.Readings[0].Axes.Add(rig.DegAxes(-2, 0))
			n.take(Synced(n.w, n.s, id, false, &x))
			n.honest()
			require.Contains(n.t, n.s.Demoted, rig.AxisEncoder)
		}, want: question.Candidates, notices: []Kind{Demoted}},
		{name: "an encoder jumps by a turn", rig: []func(*rig.Rig){withEncoder}, do: func(n *night) { n.misread(360, 1500*time.Millisecond) }, want: question.Candidates, notices: []Kind{Jump}},
		{name: "one bit of an encoder flips and flips back", rig: []func(*rig.Rig){withEncoder}, do: func(n *night) {
			n.misread(22.5, 1500*time.Millisecond)
			n.m.wait(1500 * time.Millisecond)
			n.look()
		}, want: question.Candidates, notices: []Kind{Jump}},
		{name: "an encoder is frozen during a slew", rig: []func(*rig.Rig){withEncoder}, do: func(n *night) {
			n.loose = true // under way the frozen place is all there is
			n.look()
			ra, d := n.target(-30, 40)
			n.grant(ra, d, rig.West, 0)
			n.frozenRun(n.m.goal(ra, d, rig.West, n.m.at.Add(20*time.Second)))
			n.loose = false
			n.honest()
		}, want: question.Candidates, notices: []Kind{OffEnd, Frozen}},

		{name: "stopped half-way, belief alone", do: func(n *night) { n.halfWay() }, want: question.Candidates, notices: []Kind{OffEnd}},
		{name: "stopped half-way, counts", rig: []func(*rig.Rig){withCount}, do: func(n *night) { n.halfWay() }, want: question.Known, notices: []Kind{OffEnd}},
		{name: "there sooner than the motion takes", do: func(n *night) {
			n.look()
			ra, d := n.target(-30, 40)
			p := n.grant(ra, d, rig.West, 0)
			for i := range p.EndS {
				p.EndS[i] *= 1.5
			}
			n.run(n.m.goal(ra, d, rig.West, n.m.at.Add(20*time.Second)), question.AtRest)
		}, want: question.Candidates, notices: []Kind{TooSoon}},
		{name: "there sooner than the motion takes, by a permit of before times were kept by end", do: func(n *night) {
			n.look()
			ra, d := n.target(-30, 40)
			p := n.grant(ra, d, rig.West, 0)
			p.MotionS, p.EndS = 1.5*p.MotionS, nil
			n.run(n.m.goal(ra, d, rig.West, n.m.at.Add(20*time.Second)), question.AtRest)
		}, want: question.Candidates, notices: []Kind{TooSoon}},

		{name: "a flip by a mount that infers its side, seen under way", rig: []func(*rig.Rig){inferred}, do: func(n *night) {
			n.tracked(-20, 30)
			ra, d := n.target(10, 30)
			n.slew(ra, d, rig.East, time.Hour)
		}, want: question.Known, notices: []Kind{SideShown}},
		{name: "a flip by a mount that infers its side, unseen", rig: []func(*rig.Rig){inferred}, do: func(n *night) {
			n.every = 0
			n.tracked(-20, 30)
			ra, d := n.target(10, 30)
			n.slew(ra, d, rig.East, time.Hour)
		}, want: question.Candidates, notices: []Kind{SideOpen}},
		{name: "then the camera shows it", rig: []func(*rig.Rig){inferred, func(r *rig.Rig) {
			angle := unit.Deg(92)
			r.Optics = []rig.Optics{{Name: "main", CameraAngle: &angle}}
		}}, do: func(n *night) {
			n.every = 0
			n.tracked(-20, 30)
			ra, d := n.target(10, 30)
			n.slew(ra, d, rig.East, time.Hour)
			n.take(Evidence(n.w, n.s, n.pictured(rig.Tilt{}, unit.Deg(92))))
			n.honest()
		}, want: question.Known, notices: []Kind{SideShown}},
		{name: "an inferred side changes at the meridian", rig: []func(*rig.Rig){inferred}, do: func(n *night) {
			n.tracked(-4, 30)
			for range 40 {
				n.m.wait(time.Minute)
				n.look()
			}
		}, want: question.Known, none: true},

		{name: "a sync that the mount ignores", do: func(n *night) {
			n.tracked(-30, 40)
			b := n.m.belief()
			id := n.leave(b.Sky.RA+unit.Deg(2), b.Sky.Dec)
			x := n.m.sample()
			x.Time = x.Time.Add(time.Second)
			n.take(Synced(n.w, n.s, id, false, &x))
		}, want: question.Known, notices: []Kind{SyncMissed}},
		{name: "a sync without leave", do: func(n *night) {
			n.tracked(-30, 40)
			n.m.wait(time.Second)
			b := n.m.belief()
			n.m.sync(b.Sky.RA+unit.Deg(2), b.Sky.Dec)
			x := n.m.sample()
			n.take(Synced(n.w, n.s, "", false, &x))
			n.honest()
		}, want: question.Candidates, notices: []Kind{UnaskedSync}},
		{name: "a leave lapses on a motion", do: func(n *night) {
			n.tracked(-30, 40)
			n.leave(1, 0)
			ra, d := n.target(-20, 40)
			n.slew(ra, d, rig.West, time.Hour)
			require.False(n.t, n.s.Leave.Live)
		}, want: question.Known, none: true},

		{name: "no source: reckoned, and less sure with each motion", rig: []func(*rig.Rig){onlyReckoned}, do: func(n *night) {
			var last unit.Angle
			for _, h := range []float64{-30, -40, -50} {
				n.tracked(h, 40)
				require.Greater(n.t, n.s.Pose.Candidates[0].Sigma.A1, last)
				require.Equal(n.t, rig.Reckoned, n.s.Pose.Source)
				last = n.s.Pose.Candidates[0].Sigma.A1
			}
		}, want: question.Known, none: true},
		{name: "a clutch opened", rig: []func(*rig.Rig){withCount}, do: func(n *night) { n.take(Acted(n.w, n.s, Act{Kind: ClutchOpened}, nil)) }, want: question.Unknown, notices: []Kind{PoseLost}},
		{name: "a clutch opened with an encoder on the axis", rig: []func(*rig.Rig){withEncoder}, do: func(n *night) { n.take(Acted(n.w, n.s, Act{Kind: ClutchOpened}, nil)) }, want: question.Known},
		{name: "power lost, and the mount holds", do: func(n *night) {
			n.take(Acted(n.w, n.s, Act{Kind: PowerLost}, nil))
			require.Greater(n.t, n.s.Pose.Candidates[0].Sigma.A1, 2*unit.Degree)
		}, want: question.Candidates, notices: []Kind{Restarted}},
		{name: "power lost, and it does not hold", rig: []func(*rig.Rig){func(r *rig.Rig) { r.Mount.HoldsUnpowered = false }},
			do: func(n *night) { n.take(Acted(n.w, n.s, Act{Kind: PowerLost}, nil)) }, want: question.Unknown},
		{name: "the mount's clock is set, and a person says so", do: func(n *night) {
			n.take(Acted(n.w, n.s, Act{Kind: ClockSet}, nil))
			n.m.wait(time.Second)
			n.clockOff(30)
		}, want: question.Known, notices: []Kind{ActTaken}, none: true},
		{name: "the mount's clock is set, and nobody says so", do: func(n *night) { n.m.wait(time.Second); n.clockOff(30) }, want: question.Candidates, notices: []Kind{Restarted}},
		{name: "tracking that nobody asked for", do: func(n *night) {
			n.look()
			n.m.doing = question.Tracking
			n.m.wait(time.Second)
			n.look()
		}, want: question.Candidates, notices: []Kind{UnaskedTracking}},
		{name: "a drag stop", do: func(n *night) { n.take(Acted(n.w, n.s, Act{Kind: DragStop}, nil)); require.True(n.t, n.notes[1].Locks) }, want: question.Candidates},
	} {
		t.Run(c.name, func(t *testing.T) {
			n := homed(t, c.rig...)
			c.do(n)
			require.Equal(t, c.want, n.state(), "%+v\n%s", n.s.Pose, n.said())
			for _, k := range c.notices {
				require.Contains(t, n.kinds(), k, n.said())
			}
			if c.none {
				for _, k := range n.kinds() {
					require.Contains(t, c.notices, k, n.said())
				}
			}
			n.wayOut()
		})
	}
}

// wayOut checks that a person's statement of the pose always makes it known again.
func (n *night) wayOut() {
	n.t.Helper()
	n.m.doing = question.AtRest
	n.m.wait(2 * time.Second)
	x := n.m.sample()
	n.take(Homed(n.w, n.s, question.Homing{ID: "out", At: n.m.at, Person: "A. Nyman", Axes: n.m.axes, Sigma: rig.DegAxes(1, 1)}, &x))
	require.Equal(n.t, question.Known, n.state(), "%+v\n%s", n.s.Pose, n.said())
	n.honest()
}

// jumpBelief lets somebody sync the mount by so many degrees of declination.
func (n *night) jumpBelief(deg float64) {
	n.t.Helper()
	n.m.wait(time.Second)
	b := n.m.belief()
	n.m.sync(b.Sky.RA, b.Sky.Dec-unit.Deg(deg))
	n.look()
}

// misread reports a reading that is off by so many degrees of axis 1.
func (n *night) misread(deg float64, after time.Duration) {
	n.t.Helper()
	n.m.wait(after)
	n.look()
	n.m.wait(after)
	x := n.m.sample()
	x.Readings[0].Axes.A1 += unit.Deg(deg)
	n.take(Observe(n.w, n.s, x))
	n.honest()
}

// frozenRun is a slew during which the first source shows the start.
func (n *night) frozenRun(end rig.Axes) {
	start := n.m.sample().Readings[0].Axes
	total := n.m.takes(n.m.axes, end)
	from := n.m.axes
	for i := 1; i <= 5; i++ {
		n.m.doing = question.Moving
		n.m.at = n.m.at.Add(time.Duration(total / 5 * float64(time.Second)))
		n.m.axes = from.Add(end.Sub(from).Scale(float64(i) / 5))
		if i == 5 {
			n.m.doing = question.AtRest
		}
		x := n.m.sample()
		x.Readings[0].Axes = start
		n.take(Observe(n.w, n.s, x))
	}
}

// halfWay stops a permitted slew in the middle.
func (n *night) halfWay() {
	n.t.Helper()
	n.look()
	ra, d := n.target(-60, 20)
	n.grant(ra, d, rig.West, 0)
	end := n.m.goal(ra, d, rig.West, n.m.at.Add(20*time.Second))
	n.run(n.m.axes.Add(end.Sub(n.m.axes).Scale(0.5)), question.AtRest)
}

// clockOff reports with a mount clock that is so many seconds ahead: its sidereal time and, from the same axes, its right ascension.
func (n *night) clockOff(s float64) {
	n.t.Helper()
	x := n.m.sample()
	d := unit.Deg(s / 240)
	lst := *x.Sidereal + d
	x.Sidereal, x.Belief.Sky.RA = &lst, (x.Belief.Sky.RA + d).Positive()
	n.take(Observe(n.w, n.s, x))
	n.honest()
}

// solved is a good blind solve off the pose by so many degrees of each axis.
func (n *night) solved(a1, a2 float64) question.JudgedSolve {
	n.n++
	p := n.s.Pose.Candidates[0].Axes
	j := question.JudgedSolve{RequestID: "s" + string(rune('a'+n.n)), At: n.m.at, Mid: n.m.at, Optics: "main", Blind: true, Side: n.w.Rig.Kind.SideOf(p),
		Pose: p, Solved: p.Add(rig.DegAxes(a1, a2)), Field: unit.Deg(1), Good: true, Verdict: question.Held}
	j.OffsetSky = n.w.Rig.Chain.Direction(j.Pose).Angle(n.w.Rig.Chain.Direction(j.Solved))
	return j
}

// Two solves: against and siding, against and agreeing, against and explained by the polar axis.
func TestEvidenceAgainstThePose(t *testing.T) {
	second := func(n *night) *night {
		ra, d := n.target(-50, 25)
		n.loose = true
		n.slew(ra, d, rig.West, time.Hour)
		return n
	}
	t.Run("a second one sides with the pose", func(t *testing.T) {
		n := homed(t).tracked(-30, 40)
		n.take(Evidence(n.w, n.s, n.solved(8, 8)))
		require.Equal(t, question.Candidates, n.state())
		require.Len(t, n.s.Pose.Candidates, 2)
		same := n.solved(0, 0)
		n.take(Evidence(n.w, n.s, same))
		require.Equal(t, question.Candidates, n.state(), "without a move of a field width it is not independent")
		second(n)
		n.take(Evidence(n.w, n.s, n.solved(0.1, 0.1)))
		require.Equal(t, question.Known, n.state(), n.said())
		n.loose = false
		n.honest()
	})
	t.Run("a second one agrees against it", func(t *testing.T) {
		n := homed(t).tracked(-30, 40)
		n.take(Evidence(n.w, n.s, n.solved(25, 3)))
		second(n)
		n.take(Evidence(n.w, n.s, n.solved(25, 3)))
		require.Equal(t, question.Unknown, n.state(), n.said())
		require.True(t, n.notes[len(n.notes)-1].Locks)
		n.wayOut()
	})
	t.Run("the polar axis explains both", func(t *testing.T) {
		n := homed(t).tracked(-30, 40)
		tilted := rig.NewChain(rig.German, n.w.Rig.Site.Lat, rig.Tilt{East: unit.Deg(5), Up: unit.Deg(3)}, n.w.Rig.Chain.Point1, 0)
		by := func() question.JudgedSolve {
			j := n.solved(0, 0)
			j.Solved = rig.LiftNear(n.w.Rig.Chain.Solve(rig.German, tilted.Direction(j.Pose), j.Side), j.Pose)
			j.OffsetSky = n.w.Rig.Chain.Direction(j.Pose).Angle(n.w.Rig.Chain.Direction(j.Solved))
			return j
		}
		n.take(Evidence(n.w, n.s, func() question.JudgedSolve { j := by(); j.Against = true; return j }()))
		require.Equal(t, question.Candidates, n.state(), n.said())
		second(n)
		n.take(Evidence(n.w, n.s, func() question.JudgedSolve { j := by(); j.Against = true; return j }()))
		require.Equal(t, question.Candidates, n.state(), n.said())
		require.Contains(t, n.s.Doubt, "5.0° too far east (counted along the horizon) and 3.0° too high")
	})
}

// Samples doubled, late, out of order, dated wrongly or holding nonsense change nothing.
func TestSamplesOutOfOrder(t *testing.T) {
	n := homed(t).tracked(-30, 40)
	x := n.m.sample()
	n.m.wait(2 * time.Second)
	n.look()
	before := n.s
	for name, y := range map[string]func() question.Sample{
		"doubled": func() question.Sample { return *n.s.Sample },
		"late":    func() question.Sample { return x },
		"future":  func() question.Sample { y := n.m.sample(); y.Time = y.Time.Add(time.Hour); return y },
		"NaN": func() question.Sample {
			y := n.m.sample()
			y.Time, y.Belief.Sky.Dec = y.Time.Add(time.Second), unit.Angle(math.NaN())
			return y
		},
		"another homing": func() question.Sample {
			y := n.m.sample()
			y.Time, y.HomingID = y.Time.Add(time.Second), "old"
			return y
		},
		"no time": func() question.Sample { y := n.m.sample(); y.Time, y.Received = time.Time{}, time.Time{}; return y },
	} {
		after, _ := Observe(n.w, n.s, y())
		require.Equal(t, before, after, name)
	}
}

// A permit that waits for a begin begins only on a fresh sample, of the same homing and epoch, at the judged start.
func TestBegin(t *testing.T) {
	for _, c := range []struct {
		name string
		do   func(n *night, p *question.Permit, x *question.Sample)
		want question.PermitState
	}{
		{"fresh", func(*night, *question.Permit, *question.Sample) {}, question.Begun},
		{"too late", func(n *night, p *question.Permit, x *question.Sample) { p.StartBy = x.Received.Add(-time.Second) }, question.Expired},
		{"another homing", func(n *night, p *question.Permit, x *question.Sample) { p.Homing = "other" }, question.Granted},
		{"another epoch", func(n *night, p *question.Permit, x *question.Sample) { p.Epoch-- }, question.Granted},
		{"off its start", func(n *night, p *question.Permit, x *question.Sample) { p.From = p.From.Add(rig.DegAxes(1, 0)) }, question.Granted},
		{"moving", func(n *night, p *question.Permit, x *question.Sample) { x.Doing = question.Moving }, question.Withdrawn},
		{"old sample", func(n *night, p *question.Permit, x *question.Sample) {
			x.Received = x.Received.Add(20 * time.Second)
			p.StartBy = p.StartBy.Add(time.Hour)
		}, question.Granted},
	} {
		t.Run(c.name, func(t *testing.T) {
			n := homed(t)
			ra, d := n.target(-30, 40)
			p := n.grant(ra, d, rig.West, 0)
			p.State, p.BegunAt = question.Granted, nil
			n.m.wait(time.Second)
			x := n.m.sample()
			c.do(n, p, &x)
			s, _ := Begin(n.w, n.s, p.ID, x)
			require.Equal(t, c.want, s.Permit.State)
		})
	}
}

// A changed run mark voids the homing.
func TestRunMark(t *testing.T) {
	n := homed(t)
	x := n.m.sample()
	x.Time, x.RunMark = x.Time.Add(time.Second), "boot 7"
	n.s.Homing.RunMark = "boot 6"
	n.take(Observe(n.w, n.s, x))
	require.Equal(t, question.Candidates, n.state())
	require.Nil(t, n.s.Homing)
	n.wayOut()
}

// A sensed home far from where the counts put it is refused; a person's statement homes.
func TestHomeSensorStuck(t *testing.T) {
	n := homed(t, withCount)
	n.take(Homed(n.w, n.s, question.Homing{ID: "h9", At: n.m.at, Sensed: true, Closure: &rig.Axes{A1: unit.Deg(40)}}, nil))
	require.Equal(t, question.Candidates, n.state())
	n.wayOut()
}

// The same where nobody tells what the counts said: a pose that is known says it as well.
func TestHomeSensorStuckAndNoClosureTold(t *testing.T) {
	for name, source := range map[string]func(*rig.Rig){"belief": func(*rig.Rig) {}, "counts": withCount} {
		n := homed(t, source).tracked(-30, 40)
		n.m.wait(2 * time.Second)
		x := n.m.sample()
		n.take(Homed(n.w, n.s, question.Homing{ID: "h9", At: n.m.at, Sensed: true}, &x))
		require.Equal(t, question.Candidates, n.state(), "%s: %s", name, n.said())
		require.Contains(t, n.kinds(), Closure, name)
		n.honest()
		n.wayOut()
	}
}

// A sensor that stays stuck is no better the second time, though the mount set its counters by it the first time.
func TestHomeSensorStaysStuck(t *testing.T) {
	n := homed(t, withCount).tracked(-30, 40)
	for range 3 {
		n.m.wait(2 * time.Second)
		closure := n.m.axes.Sub(n.m.fault)
		n.m.fault, n.m.off = n.m.axes, rig.Axes{} // counters at zero
		x := n.m.sample()
		n.take(Homed(n.w, n.s, question.Homing{ID: "h9", At: n.m.at, Sensed: true, Closure: &closure}, &x))
		require.Equal(t, question.Candidates, n.state(), n.said())
		n.honest()
		n.m.wait(20 * time.Second)
		n.look()
		require.Equal(t, question.Candidates, n.state(), n.said())
	}
	n.wayOut()
}

// After a person's statement the mount's own counters may count from elsewhere: what they say at the mark is brought to the count held here.
func TestClosureAfterAStatement(t *testing.T) {
	n := homed(t, withCount)
	n.take(Acted(n.w, n.s, Act{Kind: ClutchOpened}, nil))
	n.m.wait(time.Minute)
	n.m.fault = rig.DegAxes(0, 40) // turned by hand
	n.m.axes = n.m.axes.Add(n.m.fault)
	x := n.m.sample()
	n.take(Homed(n.w, n.s, question.Homing{ID: "h2", At: n.m.at, Person: "A. Nyman", Axes: n.m.axes, Sigma: rig.DegAxes(1, 1)}, &x))
	n.m.wait(time.Minute)
	n.m.axes = n.m.axes.Sub(rig.DegAxes(0, 40))
	n.look()
	n.m.wait(time.Second)
	closure := n.m.axes.Sub(n.m.fault) // minus forty
	n.m.fault = rig.Axes{}
	y := n.m.sample()
	n.take(Homed(n.w, n.s, question.Homing{ID: "h3", At: n.m.at, Sensed: true, Closure: &closure}, &y))
	require.Equal(t, question.Known, n.state(), n.said())
	n.honest()
}

// A homing that failed found no reference: what was known is no longer vouched for.
func TestAHomingThatFailed(t *testing.T) {
	n := homed(t, withCount).tracked(-30, 40)
	at := n.m.at
	n.s.Permit = &question.Permit{ID: "p9", State: question.Begun, BegunAt: &at, StartBy: at.Add(10 * time.Second), Action: question.Action{Kind: question.Home}, From: n.m.axes}
	n.m.wait(5 * time.Second)
	x := n.m.sample()
	n.take(End(n.w, n.s, "p9", Failed, &x))
	require.Equal(t, question.Candidates, n.state(), n.said())
	require.Contains(t, n.s.Pose.Because, "no reference")
	n.honest()
	n.wayOut()
}
