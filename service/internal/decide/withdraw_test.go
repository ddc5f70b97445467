package decide_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/state"
)

// TestAWithdrawalOfNothingSaysSo on record: no leave was over by it.
func TestAWithdrawalOfNothingSaysSo(t *testing.T) {
	b := newBench(t)
	said := func(want string) {
		t.Helper()
		require.Eventually(t, func() bool {
			e, err := b.rec.Get(t.Context(), "heron", b.rec.Heads()["heron"].Number)
			return err == nil && e.Kind == state.Withdrawn && e.Sentence == want
		}, 10*time.Second, time.Millisecond)
	}
	ids, known := b.d.Withdraw("heron", "A. Person", "stop", state.Exchanged{})
	assert.True(t, known)
	assert.Empty(t, ids)
	said("No leave was open: taken back by A. Person: stop.")
	b.home()
	permit := b.allowed(there, "")
	ids, _ = b.d.Withdraw("heron", "A. Person", "stop", state.Exchanged{})
	assert.Equal(t, []string{permit.ID}, ids)
	said("Leave is over: taken back by A. Person: stop.")
}
