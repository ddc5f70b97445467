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

// clockOn sets a sample's clock on, belief with it: the axes stay.
func clockOn(by unit.Angle) func(*question.Sample) {
	return func(x *question.Sample) {
		s := *x.Sidereal + by
		x.Sidereal = &s
		x.Belief.Sky.RA = (x.Belief.Sky.RA + by).Positive()
	}
}

func bareSample(x *question.Sample) {
	*x = question.Sample{Time: x.Time, Received: x.Received, Asker: x.Asker, Doing: x.Doing}
}

// A begin's sample shows what the permit was judged by: the mount's clock and site, where the motion goes by them; where the mount believes it
// points, where it goes by that; and the source of the pose, or a better one. What an action does not go by it need not show.
func TestBeginShowsWhatWasJudged(t *testing.T) {
	bySky := func(*question.Action) {}
	byAxes := func(a *question.Action) { *a = question.Action{Kind: question.Slew, Axes: &rig.Axes{}} }
	retreat := func(a *question.Action) { *a = question.Action{Kind: question.Retreat, Axes: &rig.Axes{}} }
	home := func(a *question.Action) { *a = question.Action{Kind: question.Home} }
	counting := func(r *rig.Rig) { r.Mount.CountsSyncs = true }
	noBelief := func(x *question.Sample) { x.Belief = nil }
	noCount := func(x *question.Sample) { x.Readings = nil }
	noSidereal := func(x *question.Sample) { x.Sidereal = nil }
	site := func(lat, lon unit.Angle) func(*question.Sample) {
		return func(x *question.Sample) { x.Site = &question.Place{Lat: lat, Lon: lon} }
	}
	as := func(*question.Sample) {}
	for _, c := range []struct {
		name   string
		source func(*rig.Rig)
		action func(*question.Action)
		sample func(*question.Sample)
		begins bool
	}{
		{"counts, as judged", withCount, bySky, as, true},
		{"belief, as judged", counting, bySky, as, true},
		{"reckoned, as judged", onlyReckoned, bySky, as, true},
		{"the clock an hour on", withCount, bySky, clockOn(15 * unit.Degree), false},
		{"the clock an hour on, by belief", counting, bySky, clockOn(15 * unit.Degree), false},
		{"the clock a second on", withCount, bySky, clockOn(15 * unit.Arcsecond), true},
		{"the longitude's sign", withCount, bySky, site(48*unit.Degree, -11*unit.Degree), false},
		{"the latitude", withCount, bySky, site(47*unit.Degree, 11*unit.Degree), false},
		{"the longitude's sign, by axes", withCount, byAxes, site(48*unit.Degree, -11*unit.Degree), true},
		{"the right site", withCount, bySky, site(48*unit.Degree, 11*unit.Degree), true},
		{"no sidereal time", withCount, bySky, noSidereal, false},
		{"no sidereal time, by axes", withCount, byAxes, noSidereal, true},
		{"no sidereal time, and the mount has none to tell", func(r *rig.Rig) { withCount(r); r.Mount.TellsSidereal = false }, bySky, noSidereal, true},
		{"nothing but the time, by counts", withCount, byAxes, bareSample, false},
		{"nothing but the time, by belief", counting, retreat, bareSample, false},
		{"nothing but the time, home by counts", withCount, home, bareSample, true},
		{"nothing but the time, reckoned to a place of rest", onlyReckoned, retreat, bareSample, true},
		{"no belief, by axes", withCount, byAxes, noBelief, false},
		{"no belief, to a place of rest", withCount, retreat, noBelief, true},
		{"no belief, reckoned", onlyReckoned, byAxes, noBelief, false},
		{"no count", withCount, byAxes, noCount, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			n := homed(t, c.source)
			n.s.Homing.RunMark = "boot 6"
			ra, d := n.target(-30, 40)
			p := n.grant(ra, d, rig.West, 0)
			p.State, p.BegunAt, p.Source = question.Granted, nil, n.s.Pose.Source
			c.action(&p.Action)
			n.m.wait(time.Second)
			x := n.m.sample()
			x.RunMark = "boot 6"
			c.sample(&x)
			n.take(Begin(n.w, n.s, p.ID, x))
			assert.Equal(t, c.begins, n.s.Permit.State == question.Begun, n.said())
		})
	}
}

// What shows the pose better than what the permit was judged by does too.
func TestBeginByABetterSource(t *testing.T) {
	n := homed(t, withCount)
	ra, d := n.target(-30, 40)
	p := n.grant(ra, d, rig.West, 0)
	p.State, p.BegunAt, p.Source = question.Granted, nil, rig.UnsyncedBelief
	n.m.wait(time.Second)
	n.take(Begin(n.w, n.s, p.ID, n.m.sample()))
	require.Equal(t, question.Begun, n.s.Permit.State, n.said())
}

// A second sample of one instant that says otherwise than the first begins nothing; the same once more does.
func TestBeginByTheLastSampleOnceMore(t *testing.T) {
	for begins, change := range map[bool]func(*question.Sample){
		true: func(*question.Sample) {},
		false: func(x *question.Sample) {
			x.Readings = []question.Reading{{Source: rig.MotorCount, Axes: rig.DegAxes(30, 50)}}
		},
	} {
		n := homed(t, withCount)
		n.m.wait(time.Second)
		number := uint64(7)
		x := n.m.sample()
		x.Sequence = &number
		n.take(Observe(n.w, n.s, x))
		ra, d := n.target(-30, 40)
		p := n.grant(ra, d, rig.West, 0)
		p.State, p.BegunAt, p.Source = question.Granted, nil, n.s.Pose.Source
		change(&x)
		n.take(Begin(n.w, n.s, p.ID, x))
		require.Equal(t, begins, n.s.Permit.State == question.Begun, n.said())
	}
}

// The mount's clock is set between two samples of one run: leave that waits was judged by the clock before, to move or to sync.
func TestClockSetWhileLeaveWaits(t *testing.T) {
	for name, by := range map[string]unit.Angle{"an hour": 15 * unit.Degree, "half a minute": 450 * unit.Arcsecond, "a second": 15 * unit.Arcsecond} {
		n := homed(t, withCount)
		n.s.Homing.RunMark = "boot 6"
		n.leave(1, 0)
		epoch := n.s.Epoch
		n.m.wait(time.Second)
		x := n.m.sample()
		x.RunMark = "boot 6"
		clockOn(by)(&x)
		n.take(Observe(n.w, n.s, x))
		require.Equal(t, question.Known, n.state(), "%s: a mark that stayed says that the count did", name)
		require.Equal(t, name == "a second", n.s.Leave.Live, "%s\n%s", name, n.said())
		require.Equal(t, name == "a second", n.s.Epoch == epoch, name)
	}
}

// A sample of another program between the asking and the begin that reads no axes takes nothing from what the begin's own shows.
func TestBeginAfterASampleThatReadsLess(t *testing.T) {
	for name, less := range map[string]func(*question.Sample){
		"no readings": func(x *question.Sample) { x.Readings = nil },
		"nothing":     bareSample,
	} {
		n := homed(t, withCount)
		n.look()
		ra, d := n.target(-30, 40)
		p := n.grant(ra, d, rig.West, 0)
		p.State, p.BegunAt, p.Source = question.Granted, nil, n.s.Pose.Source
		n.m.wait(2 * time.Second)
		x := n.m.sample()
		x.Asker = "telemetry"
		less(&x)
		n.take(Observe(n.w, n.s, x))
		n.m.wait(2 * time.Second)
		n.take(Begin(n.w, n.s, p.ID, n.m.sample()))
		require.Equal(t, question.Begun, n.s.Permit.State, "%s: %s", name, n.said())
	}
}

// Where it left the pose to a lesser source, the refusal names that sample, not the begin's own, and asking again helps.
func TestBeginAfterASampleThatLeftThePoseToALesserSource(t *testing.T) {
	n := homed(t, withBoth)
	n.sees(off(0, 0), off(0, 0))
	ra, d := n.target(-30, 40)
	p := n.grant(ra, d, rig.West, 0)
	p.State, p.BegunAt, p.Source = question.Granted, nil, n.s.Pose.Source
	n.m.wait(2 * time.Second)
	x := n.sampled(nil, off(0, 0))
	x.Asker = "telemetry"
	n.take(Observe(n.w, n.s, x))
	begin := func() {
		n.m.wait(2 * time.Second)
		n.take(Begin(n.w, n.s, p.ID, n.m.sample()))
	}
	begin()
	require.Equal(t, question.Granted, n.s.Permit.State)
	require.Contains(t, n.said(), "the sample of telemetry before this one did not read")
	begin()
	require.Equal(t, question.Begun, n.s.Permit.State, n.said())
}

// Two programs tell of one mount in one run, one of them by a clock of its own: that sets nothing anew, and leave that waits lives on. Beyond what
// the mount's map may be off it does not, nor where the same program tells of it.
func TestTwoProgramsWithClocksOfTheirOwn(t *testing.T) {
	for _, c := range []struct {
		name, asker string
		by          unit.Angle
		lives       bool
	}{
		{"25 s", "telemetry", 375 * unit.Arcsecond, true},
		{"25 s, one program", "sim", 375 * unit.Arcsecond, false},
		{"an hour", "telemetry", 15 * unit.Degree, false},
	} {
		n := homed(t, withCount)
		n.s.Homing.RunMark = "boot 6"
		n.leave(1, 0)
		epoch := n.s.Epoch
		for i := range 4 {
			n.m.wait(2 * time.Second)
			x := n.m.sample()
			x.RunMark = "boot 6"
			if i%2 == 1 {
				clockOn(c.by)(&x)
				x.Asker = c.asker
			}
			n.take(Observe(n.w, n.s, x))
		}
		require.Equal(t, question.Known, n.state(), c.name)
		require.Equal(t, c.lives, n.s.Leave.Live, "%s\n%s", c.name, n.said())
		require.Equal(t, c.lives, n.s.Epoch == epoch, "%s\n%s", c.name, n.said())
		if !c.lives {
			require.Contains(t, n.said(), "as "+c.asker+" tells it")
		}
	}
}

// A permit begins once; told again, it is said to have begun, with no reason in brackets where there is none.
func TestBegunAlready(t *testing.T) {
	n := homed(t)
	n.m.wait(time.Second)
	n.look()
	p := n.begun(question.Action{Kind: question.Home}, n.w.Rig.Home)
	n.take(Begin(n.w, n.s, p.ID, n.m.sample()))
	require.Contains(t, n.said(), "permit pb does not begin: it is begun already\n")
}
