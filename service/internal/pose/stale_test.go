package pose

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// A sample that was read before a motion may have begun says nothing of where the motion has come to since, however late it is told: not before
// it began, and where leave was taken back not before that.
func TestStaleSampleEndsNoMotion(t *testing.T) {
	const second = time.Second
	for name, c := range map[string]struct {
		read     time.Duration // after the permit began
		withdraw time.Duration // after it began; 0: not
		told     string        // by the asker at the end
		over     bool
	}{
		"read before it began":                       {read: -second},
		"read before it began, told that it is over": {read: -second, told: string(Done)},
		"read as it began":                           {read: 0, told: string(Done), over: true},
		"read before it began, withdrawn":            {read: -second, withdraw: 6 * second},
		"read before it was withdrawn":               {read: 5 * second, withdraw: 6 * second},
		"read as it was withdrawn":                   {read: 6 * second, withdraw: 6 * second, over: true},
		"read after that":                            {read: 7 * second, withdraw: 6 * second, over: true},
	} {
		n := homed(t)
		n.m.wait(time.Minute)
		began := n.m.at
		x := n.m.sample()
		x.Time = began.Add(c.read) // at rest where the motion starts
		p := n.begun(question.Action{Kind: question.Jog}, n.m.axes.Add(rig.DegAxes(60, 60)))
		p.MotionS, p.Told = 20, c.told
		if c.withdraw != 0 {
			n.s = Withdraw(n.s, "because", began.Add(c.withdraw))
			require.Equal(t, began.Add(c.withdraw), *n.s.Permit.WithdrawnAt)
		}
		now := began.Add(8 * second)
		x.Received = now
		n.take(Observe(n.w, n.s, x))
		wide := At(n.w, n.s, now).Candidates[0].Sigma
		since := now.Sub(x.Time).Seconds()
		turned := rig.Axes{A1: unit.Deg(n.w.Rig.Motion.RateDeg[0] * since), A2: unit.Deg(n.w.Rig.Motion.RateDeg[1] * since)}
		if c.over {
			assert.True(t, n.s.Permit.Arrived != nil || n.s.Permit.State == question.Ended, name)
			assert.Less(t, wide.Max(), 0.4*unit.Degree, name)
			continue
		}
		assert.Nil(t, n.s.Permit.Arrived, name)
		assert.NotEqual(t, question.Ended, n.s.Permit.State, name)
		assert.False(t, beyond(turned, question.Sigma3(wide)), "%s: in %.0f s the axes turn by %s, held within %s", name, since, turned, question.Sigma3(wide))
	}
}

// Leave that is taken back as a sample comes is over with what that one shows.
func TestTakenBackWithASample(t *testing.T) {
	n := homed(t)
	n.m.wait(time.Minute)
	n.look()
	n.begun(question.Action{Kind: question.Jog}, n.m.axes.Add(rig.DegAxes(60, 60)))
	n.m.wait(15 * time.Second)
	n.m.axes = n.m.axes.Add(rig.DegAxes(-20, 0)) // at rest where it was never to come
	n.take(Observe(n.w, n.s, n.m.sample()))
	p := n.s.Permit
	require.Equal(t, question.Withdrawn, p.State, n.said())
	assert.Equal(t, n.m.at, *p.WithdrawnAt)
	assert.NotNil(t, p.Arrived)
}

// A site that was set anew before a homing, told together with it, is no sign of a restart where the run mark is that of the sample before.
func TestSiteSetBesideAHoming(t *testing.T) {
	for name, c := range map[string]struct {
		before, after string // run marks
		want          question.PoseState
	}{
		"same run":         {"first", "first", question.Known},
		"no mark before":   {"", "first", question.Candidates},
		"no mark, no mark": {"", "", question.Candidates},
		"another run":      {"first", "second", question.Candidates},
		"no mark after it": {"first", "", question.Candidates},
		"no sample before": {"none", "first", question.Known},
	} {
		n := homed(t)
		n.m.wait(time.Minute)
		site := question.Place{Lat: n.w.Rig.Site.Lat, Lon: n.w.Rig.Site.Lon}
		x := n.m.sample()
		x.RunMark, x.Site = c.before, &site
		n.s.Homing.RunMark = c.before
		n.take(Observe(n.w, n.s, x))
		if c.before == "none" {
			n.s.Sample, n.s.Site = nil, nil
		}
		n.m.wait(10 * time.Second)
		y := n.m.sample()
		moved := question.Place{Lat: site.Lat, Lon: site.Lon + 1.2*unit.Degree}
		y.RunMark, y.Site = c.after, &moved
		n.take(Homed(n.w, n.s, question.Homing{ID: "h9", At: n.m.at, Sensed: true, Axes: n.m.axes.Sub(n.m.fault), Sigma: n.w.Rig.Homing.Sigma}, &y))
		assert.Equal(t, c.want, n.state(), "%s: %s", name, n.said())
	}
}

// A sample that comes after a later one, dated long before it came, is told with what that looks like.
func TestLateSampleNamesTheClock(t *testing.T) {
	for late, want := range map[time.Duration]bool{29 * time.Second: false, 31 * time.Second: true, 2 * time.Hour: true} {
		n := homed(t)
		n.m.wait(time.Minute)
		n.look()
		x := n.m.sample()
		x.Received = x.Received.Add(time.Second)
		x.Time = x.Received.Add(-late)
		n.forget()
		n.take(Observe(n.w, n.s, x))
		assert.Equal(t, want, strings.Contains(n.said(), "see whether the asker's clock is right"), "%s: %s", late, n.said())
		assert.Equal(t, late == 2*time.Hour, strings.Contains(n.said(), ", which looks like 2 hours: summer time or zone;"), "%s: %s", late, n.said())
	}
}
