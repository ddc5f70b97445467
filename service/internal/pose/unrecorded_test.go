package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// What is gone from the record may have been an opened clutch, another camera, a sync: nothing of the rig is taken as known before it is homed, and its
// file counts as changed since it was proven. Samples alone, with the count that it had, do not bring it back.
func TestNothingIsKnownAfterALoss(t *testing.T) {
	n := homed(t, withCount)
	n.s.Proof = &question.Proof{Person: "A. Nyman", At: n.m.at}
	n.s.Permit = &question.Permit{ID: "p1", State: question.Begun, Action: question.Action{Kind: question.Slew, Axes: &rig.Axes{}}}
	before := n.s.Epoch
	n.take(Unrecorded(n.w, n.s, "entries are gone from the record"))
	require.Equal(t, question.Unknown, n.state(), n.said())
	assert.Contains(t, n.kinds(), PoseLost)
	assert.Equal(t, EntriesGone, n.notes[len(n.notes)-1].Code)
	assert.Nil(t, n.s.Homing)
	assert.Empty(t, n.s.Pointing)
	assert.Empty(t, n.s.Solves)
	assert.Equal(t, "entries are gone from the record", n.s.Proof.Stale)
	assert.False(t, n.s.Permit.Open(), n.said())
	assert.Greater(t, n.s.Epoch, before, "leaves of before are dead")
	n.m.wait(time.Minute)
	n.look()
	require.Equal(t, question.Unknown, n.state(), n.said())
	n.home()
	require.Equal(t, question.Known, n.state(), n.said())
}
