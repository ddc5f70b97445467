package pose

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/pointing"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// Another zero costs all that goes by the axis angles, and nothing where nothing is known; a state from before it was noted is counted by the file there is.
func TestCountedOtherwise(t *testing.T) {
	n := homed(t, withCount)
	require.Nil(t, n.s.Zero)
	before := n.s
	s, notes := Counted(n.w, n.s)
	require.Empty(t, notes)
	require.Equal(t, n.w.Rig.Zero(), *s.Zero)
	s.Zero = nil
	require.Equal(t, before, s, "and nothing else changed")

	was := n.w.Rig.Zero()
	was.Home = rig.DegAxes(1, 0)
	n.leave(1, 0)
	n.s.Zero, n.s.Limits = &was, []question.MountLimit{{Axis: 1}}
	n.s.Solves, n.s.Drifts = []question.JudgedSolve{{Good: true}}, map[string]question.Drift{"west": {}}
	epoch := n.s.Epoch
	n.take(Counted(n.w, n.s))
	assert.Equal(t, []Kind{PoseLost}, n.kinds())
	assert.Contains(t, n.said(), "home_deg was [1, 0] and is [0, 0]; where the axes are is not known: look, and state it")
	assert.Equal(t, question.Unknown, n.s.Pose.State)
	assert.Empty(t, n.s.Pose.Candidates)
	assert.Nil(t, n.s.Homing)
	assert.Nil(t, n.s.Pointing)
	assert.Empty(t, n.s.Limits)
	assert.Empty(t, n.s.Solves)
	assert.Empty(t, n.s.Drifts)
	assert.False(t, n.s.Leave.Live)
	assert.Equal(t, n.w.Rig.Zero(), *n.s.Zero)
	assert.Equal(t, epoch+1, n.s.Epoch)
	n.m.wait(1e9)
	n.look()
	assert.Equal(t, question.Unknown, n.s.Pose.State, "no sample settles it")

	n.forget()
	n.s.Zero = &was
	n.take(Counted(n.w, n.s))
	assert.Empty(t, n.notes, "nothing was known")
	assert.Equal(t, n.w.Rig.Zero(), *n.s.Zero)

	n = homed(t, withCount) // what was learnt by the other zero goes where nothing is known of the axes, too
	n.s.Zero, n.s.Limits = &was, []question.MountLimit{{Axis: 1}}
	n.s.Pointing = map[string]pointing.Model{"main": {}}
	n.take(Acted(n.w, n.s, Act{Kind: ClutchOpened}, nil))
	require.NotEmpty(t, n.s.Pointing)
	told := len(n.notes)
	n.take(Counted(n.w, n.s))
	assert.Len(t, n.notes, told, "nothing was known")
	assert.Equal(t, question.Unknown, n.s.Pose.State)
	assert.Nil(t, n.s.Pointing)
	assert.Empty(t, n.s.Limits)
}
