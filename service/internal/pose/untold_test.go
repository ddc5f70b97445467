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

// The clock of an alt-azimuth may stand where it likes: with nothing told of it, belief is no source of the pose, since by another clock it says
// other turns than were made. What is told of clock and place makes it one.
func TestBeliefOfAnUntoldMapIsNoPose(t *testing.T) {
	for _, c := range []struct {
		name        string
		kind        rig.Kind
		clock, site bool
		off         unit.Angle // of the mount's clock
		source      rig.SourceKind
		state       question.PoseState
	}{
		{"all told", rig.AltAzimuth, true, true, 0, rig.UnsyncedBelief, question.Known},
		{"all told, an hour off", rig.AltAzimuth, true, true, 15 * unit.Degree, rig.UnsyncedBelief, question.Known},
		{"no clock", rig.AltAzimuth, false, true, 0, rig.Reckoned, question.Known},
		{"no clock, and it is four minutes off", rig.AltAzimuth, false, true, unit.Degree, rig.Reckoned, question.Known},
		{"no clock, and it is an hour off", rig.AltAzimuth, false, true, 15 * unit.Degree, rig.Reckoned, question.Candidates},
		{"no site", rig.AltAzimuth, true, false, 0, rig.Reckoned, question.Known},
		{"a German's drops out", rig.German, false, false, 15 * unit.Degree, rig.UnsyncedBelief, question.Known},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(c.kind, 48)
			r.Mount.TellsSidereal = c.clock
			n := newNight(t, r)
			sample := func() question.Sample {
				x := n.m.sample()
				lst := (*x.Sidereal + c.off).Positive()
				x.Sidereal, x.Belief.Sky.RA = &lst, (x.Belief.Sky.RA + c.off).Positive()
				if !c.clock {
					x.Sidereal = nil
				}
				if !c.site {
					x.Site = nil
				}
				return x
			}
			n.m.axes = rig.DegAxes(0, 15)
			x := sample()
			n.take(Homed(n.w, n.s, question.Homing{ID: "h1", At: n.m.at, Sensed: true, Axes: n.m.axes, Sigma: rig.DegAxes(0.1, 0.1)}, &x))
			n.m.wait(time.Second)
			p := n.begun(question.Action{Kind: question.Slew, Axes: &rig.Axes{}}, rig.DegAxes(70, 40))
			n.m.wait(45 * time.Second)
			n.m.axes = p.Ends[0]
			x = sample()
			n.take(End(n.w, n.s, "pb", Done, &x))
			assert.Equal(t, c.source, n.s.Pose.Source, n.said())
			require.Equal(t, c.state, n.state(), n.said())
			n.honest()
		})
	}
}

// What somebody told of a clock that the mount cannot tell is held against its limit when a permit begins, as that of a sample is.
func TestBeginByAClockThatSomebodyTold(t *testing.T) {
	for off, begins := range map[unit.Angle]bool{0: true, 0.4 * unit.Degree: true, -0.6 * unit.Degree: false, 0.6 * unit.Degree: false} {
		n := homed(t, func(r *rig.Rig) { withCount(r); r.Mount.TellsSidereal = false })
		ra, d := n.target(-30, 40)
		p := n.grant(ra, d, rig.West, 0)
		p.State, p.BegunAt, p.Source = question.Granted, nil, n.s.Pose.Source
		n.s.Ahead = &off
		n.m.wait(time.Second)
		x := n.m.sample()
		x.Sidereal = nil
		n.take(Begin(n.w, n.s, p.ID, x))
		assert.Equal(t, begins, n.s.Permit.State == question.Begun, "%s: %s", off, n.said())
	}
}

// What somebody told of a clock that the mount cannot tell is forgotten where a motion may hide that it was set: by so little that at rest it would show as a
// step. A motion that belief follows, and a sync by leave, leave it.
func TestClockToldIsForgottenWhereItMayHaveBeenSet(t *testing.T) {
	for name, c := range map[string]struct {
		source func(*rig.Rig)
		set    unit.Angle
		asked  bool
		keeps  bool
	}{
		"as told":              {withCount, 0, true, true},
		"by two minutes":       {withCount, 0.5 * unit.Degree, true, true}, // what the limit lets pass
		"by ten minutes":       {withCount, 2.5 * unit.Degree, true, false},
		"nobody asked to move": {withCount, 0, false, false},
		"belief alone":         {func(*rig.Rig) {}, 0, true, false},
	} {
		n := homedKind(t, rig.AltAzimuth, c.source, func(r *rig.Rig) { r.Mount.TellsSidereal = false })
		n.m.axes = rig.DegAxes(0, 15)
		n.home()
		require.NotNil(t, n.s.Ahead, "told with the homing")
		n.m.wait(time.Second)
		if n.begun(question.Action{Kind: question.Slew, Axes: &rig.Axes{}}, rig.DegAxes(70, 40)); !c.asked {
			n.s.Permit = nil
		}
		n.m.wait(45 * time.Second)
		n.m.axes = rig.DegAxes(70, 40)
		x := n.m.sample()
		x.Sidereal, x.Belief.Sky.RA = nil, (x.Belief.Sky.RA + c.set).Positive()
		n.take(Observe(n.w, n.s, x))
		assert.Equal(t, c.keeps, n.s.Ahead != nil, "%s: %s", name, n.said())
	}
}
