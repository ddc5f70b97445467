package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// withFlap gives the rig a flap that is open or shut.
func withFlap(r *rig.Rig) {
	withCount(r)
	r.Parts = []rig.Part{{Name: "tube", Link: rig.OnAxis2}, {Name: "flap", States: []rig.State{{Name: "open"}, {Name: "shut"}}}}
}

// flap is what a sample says of it; empty: nothing.
func flap(name string) []rig.PartState {
	if name == "" {
		return nil
	}
	return []rig.PartState{{Part: "flap", Name: name}}
}

// A permit begins on a sample that leaves no part in a state that it was not judged in: who was judged in all of them may begin in any.
func TestBeginWithThePartsThatWereJudged(t *testing.T) {
	for _, c := range []struct {
		judged, shown string
		kind          question.Kind
		says          string // empty: it begins
	}{
		{"open", "open", question.Slew, ""},
		{"", "shut", question.Slew, ""},
		{"", "", question.Slew, ""},
		{"ajar", "shut", question.Slew, ""}, // no such state: judged in all
		{"open", "shut", question.Slew, "it was judged with flap open, and its sample says flap shut: ask again with the parts as they stand"},
		{"open", "shut", question.Home, "and its sample says flap shut"},
		{"open", "ajar", question.Slew, "and its sample says flap ajar"},
		{"open", "", question.Slew, "it was judged with flap open, and its sample does not say how flap stands: tell it with the begin"},
	} {
		n := homed(t, withFlap)
		p := n.grant(0, 0, rig.West, 0)
		p.State, p.BegunAt, p.Source, p.Parts = question.Granted, nil, n.s.Pose.Source, flap(c.judged)
		p.Action = question.Action{Kind: c.kind, Axes: &rig.Axes{}}
		n.m.wait(time.Second)
		x := n.m.sample()
		x.Parts = flap(c.shown)
		n.take(Begin(n.w, n.s, p.ID, x))
		require.Equal(t, c.says == "", n.s.Permit.State == question.Begun, "%v: %s", c, n.said())
		if assert.Contains(t, n.said(), c.says, "%v", c); c.says != "" {
			require.Equal(t, question.Granted, n.s.Permit.State, "%v: it waits for a sample that shows what was judged", c)
			n.m.wait(time.Second)
			y := n.m.sample()
			y.Parts = flap(c.judged)
			n.take(Begin(n.w, n.s, p.ID, y))
			assert.Equal(t, question.Begun, n.s.Permit.State, "%v: %s", c, n.said())
		}
	}
}

// A sample under way that shows a part in another state than was judged takes the permit back, moving or tracking on; one that does not tell of that part
// says nothing. What is seen once the motion is over comes too late to matter.
func TestPartMovesUnderWay(t *testing.T) {
	for _, c := range []struct {
		judged, shown string
		doing         question.Doing
		want          question.PermitState
	}{
		{"open", "shut", question.Moving, question.Withdrawn},
		{"open", "ajar", question.Moving, question.Withdrawn},
		{"open", "shut", question.AtRest, question.Withdrawn}, // before it moved
		{"open", "shut", question.Tracking, question.Withdrawn},
		{"open", "open", question.Moving, question.Begun},
		{"open", "", question.Moving, question.Begun},
		{"", "shut", question.Moving, question.Begun},
	} {
		n := homed(t, withFlap)
		n.m.doing = question.Tracking
		n.look()
		ra, d := n.target(-30, 40)
		p := n.grant(ra, d, rig.West, time.Hour)
		p.Parts = flap(c.judged)
		epoch := n.s.Epoch
		n.m.wait(time.Second)
		x := n.m.sample()
		x.Doing, x.Parts = c.doing, flap(c.shown)
		n.take(Observe(n.w, n.s, x))
		require.Equal(t, c.want, n.s.Permit.State, "%v: %s", c, n.said())
		if c.want != question.Withdrawn {
			assert.NotContains(t, n.kinds(), PartMoved, "%v", c)
			continue
		}
		assert.Contains(t, n.kinds(), PartMoved, "%v", c)
		assert.Contains(t, n.said(), "says flap "+c.shown+", and permit "+p.ID+" was judged with flap open: stop it")
		assert.Equal(t, n.s.Permit.Because, n.notes[len(n.notes)-1].Sentence)
		assert.True(t, n.notes[len(n.notes)-1].Withdraws)
		assert.Greater(t, n.s.Epoch, epoch)
	}

	n := homed(t, withFlap)
	ra, d := n.target(-30, 40)
	p := n.grant(ra, d, rig.West, 0)
	p.Parts = flap("open")
	n.m.doing = question.Moving
	n.run(p.Ends[0], question.AtRest)
	require.Equal(t, question.Ended, n.s.Permit.State, n.said())
	n.m.wait(time.Second)
	x := n.m.sample()
	x.Parts = flap("shut")
	n.take(Observe(n.w, n.s, x))
	assert.Equal(t, question.Ended, n.s.Permit.State)
	assert.NotContains(t, n.kinds(), PartMoved)
}
