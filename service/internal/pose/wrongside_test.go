package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

func firstOnly(r *rig.Rig) { r.Mount.Chooses = rig.FirstOnly }

// A mount that only uses its first side says that it stands on the second: that is said once, and a belief of a side that is sensed is not held.
// Where nothing else reads the axes, they may be anywhere.
func TestASideThatTheMountNeverUses(t *testing.T) {
	for name, c := range map[string]struct {
		source func(*rig.Rig)
		sensed bool
		want   question.PoseState
		again  bool // the right side ends it
	}{
		"counted":            {withCount, true, question.Known, true},
		"by belief":          {func(*rig.Rig) {}, true, question.Candidates, false},
		"reckoned":           {onlyReckoned, true, question.Candidates, false},
		"by belief, guessed": {func(*rig.Rig) {}, false, question.Known, true},
	} {
		changes := []func(*rig.Rig){c.source, firstOnly}
		if !c.sensed {
			changes = append(changes, inferred)
		}
		n := homedKind(t, rig.Fork, changes...)
		at := n.s.Pose.Candidates[0].Axes
		told := func(side rig.Side) {
			n.m.wait(time.Second)
			x := n.m.sample()
			x.Belief.Side = side
			n.take(Observe(n.w, n.s, x))
			n.honest()
		}
		told(rig.First)
		require.NotContains(t, n.kinds(), SideOpen, name)
		for i := range 3 {
			n.forget()
			told(rig.Second)
			assert.Equal(t, i == 0, assert.ObjectsAreEqual([]Kind{SideOpen}, n.kinds()), "%s, sample %d: %s", name, i, n.said())
			assert.Equal(t, c.want, n.state(), "%s: %s", name, n.said())
			assert.Equal(t, c.sensed, n.s.Sample.Belief == nil, name)
			assert.Equal(t, c.sensed, n.s.Sample.Unbelieved != "", name)
			assert.Equal(t, rig.First, n.w.Rig.Kind.SideOf(n.s.Pose.Candidates[0].Axes), name)
			assert.InDelta(t, 0, n.s.Pose.Candidates[0].Axes.Sub(at).Abs().Max().Deg(), 0.1, name)
		}
		n.forget()
		told(rig.First)
		assert.Equal(t, c.again, n.state() == question.Known, "%s: %s", name, n.said())
		assert.NotNil(t, n.s.Sample.Belief, name)
		told(rig.Second)
		assert.Contains(t, n.kinds(), SideOpen, "%s: anew", name)
		if !c.again {
			assert.Contains(t, n.s.Pose.Because, "only uses the first", name)
			n.home()
			assert.Equal(t, question.Known, n.state(), "%s: %s", name, n.said())
		}
	}
}

// It is no contradiction of a mount that the file has use both, nor where the tube may be on the second side: because it is held to be, or because a
// permitted motion leads there.
func TestASideThatTheMountMayBeOn(t *testing.T) {
	over := rig.DegAxes(0, 170)
	for name, c := range map[string]struct {
		change func(*rig.Rig)
		also   func(*turn)
		wrong  bool
	}{
		"it uses both":    {func(*rig.Rig) {}, func(*turn) {}, false},
		"first only":      {firstOnly, func(*turn) {}, true},
		"held there":      {firstOnly, func(tn *turn) { tn.s.Anchored = append(tn.s.Anchored, question.Candidate{Axes: over}) }, false},
		"permitted":       {firstOnly, func(tn *turn) { tn.s.Permit = &question.Permit{Ends: []rig.Axes{{}, over}} }, false},
		"not permitted":   {firstOnly, func(tn *turn) { tn.s.Permit = &question.Permit{Ends: []rig.Axes{{}}} }, true},
		"nothing is held": {firstOnly, func(tn *turn) { tn.s.Anchored = nil }, true},
	} {
		n := homedKind(t, rig.Fork, c.change)
		tn := begin(n.w, n.s)
		c.also(tn)
		for _, side := range []rig.Side{rig.Second, rig.First, ""} {
			x := n.m.sample()
			x.Belief.Side = side
			assert.Equal(t, c.wrong && side == rig.Second, tn.wrongSide(&x) != "", "%s %s", name, side)
		}
		x := n.m.sample()
		x.Belief = nil
		assert.Empty(t, tn.wrongSide(&x), name)
	}
}
