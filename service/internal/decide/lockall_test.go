package decide_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/state"
)

// A lock on all rigs tells on each chain whether leave ended by it: who reads of leave that ended looks for the permit.
func TestLockOnAllEndsNoLeaveThatNeverWas(t *testing.T) {
	lock := func(f *follower, why string) (kind, sentence string) {
		t.Helper()
		at := f.rec.Head("heron").Number
		_, _, _, err := f.d.Lock("", "A. Person", why, f.clock(), request("lock-of-all-"+why+"-0001", why))
		require.NoError(t, err)
		require.Equal(t, at+1, f.rec.Head("heron").Number)
		e := f.newest()
		return e.Kind, e.Sentence
	}
	f := following(t, there)
	kind, sentence := lock(f, "rain")
	assert.Equal(t, state.Withdrawn, kind, "a permit was open")
	assert.Equal(t, "Leave ended: locked by A. Person: rain.", sentence)
	kind, sentence = lock(f, "wind")
	assert.Equal(t, state.LockKind, kind, "it ended before")
	assert.Equal(t, "With every rig locked by A. Person: wind; no leave was open.", sentence)

	f = following(t, there)
	f.ends()
	f.leaved("p1")
	kind, _ = lock(f, "hail")
	assert.Equal(t, state.Withdrawn, kind, "a sync leave was live")
	kind, _ = lock(f, "snow")
	assert.Equal(t, state.LockKind, kind)

	empty := &follower{bench: newBench(t)}
	kind, _ = lock(empty, "fog")
	assert.Equal(t, state.LockKind, kind, "nothing was ever asked")
}
