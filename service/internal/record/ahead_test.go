package record

import (
	"crypto/sha256"
	"fmt"
	"path/filepath"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/store"
)

// put appends so many to a record that nobody flushes.
func put(t *testing.T, r *Record, count int) {
	t.Helper()
	for range count {
		head := r.Head("pier")
		require.NoError(t, r.enqueue([]*item{newItem(least(), head, false)}, head))
	}
}

// TestPackedAheadBySixteens: fewer are left to the commit, and what is taken is counted no longer.
func TestPackedAheadBySixteens(t *testing.T) {
	r := unflushed()
	r.ahead = make(chan struct{}, 1)
	var p store.Packer
	put(t, r, 15)
	assert.Empty(t, r.ahead)
	assert.False(t, r.packSome(&p))
	put(t, r, 1)
	assert.Len(t, r.ahead, 1)
	<-r.ahead
	require.True(t, r.packSome(&p))
	assert.Equal(t, 16, r.packed)
	put(t, r, 15)
	assert.Empty(t, r.ahead)
	assert.False(t, r.packSome(&p))
	put(t, r, 1)
	assert.Len(t, r.ahead, 1)
	require.True(t, r.packSome(&p))
	assert.Equal(t, 32, r.packed)
	assert.Len(t, r.next(), 32)
	assert.Zero(t, r.packed)
}

// TestWhatIsTakenIsUnderNobodysHands: the flusher waits for what is being packed.
func TestWhatIsTakenIsUnderNobodysHands(t *testing.T) {
	r := unflushed()
	put(t, r, 16)
	batch := r.next()
	taken := make(chan []store.Row, 1)
	r.packing.Lock()
	go func() { taken <- r.rowsOf(batch) }()
	select {
	case <-taken:
		assert.Fail(t, "taken from under the packer")
	case <-time.After(20 * time.Millisecond): // a slow machine passes in any case
	}
	r.packing.Unlock()
	assert.Len(t, <-taken, 16)
}

// TestWhatWasPackedAheadIsKept as it was packed, behind a commit that takes its time, and the rest with it.
func TestWhatWasPackedAheadIsKept(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk := &faults.Disk{}
		r, err := Open(filepath.Join(t.TempDir(), "record"), Options{Store: store.Options{Wrap: disk.Wrap}})
		require.NoError(t, err)
		assert.Equal(t, 1, cap(r.ahead), "a wake-up waits for who is at work; a second would find nothing left")
		held, release := disk.Hold()
		add := func(n int) Written {
			d := least()
			d.Request.ID, d.Body = fmt.Sprint("q", n), fmt.Appendf(nil, `{"v":2,"event":{"changed":{"epoch":%d}},"facts":{"pose_state":{"word":"known","origin":"computed"}}}`, n)
			w, err := r.Append(d, r.Head(d.Chain))
			require.NoError(t, err)
			return w
		}
		first := add(0)
		<-held
		var all []Written
		for n := 1; n <= 40; n++ {
			all = append(all, add(n))
		}
		synctest.Wait()
		r.mu.Lock()
		assert.Equal(t, 32, r.packed)
		for _, it := range r.queue[:r.packed] {
			it.row.Body = []byte("nobody looks at this again")
		}
		r.mu.Unlock()
		release()
		require.NoError(t, first.Wait())
		for _, w := range all {
			require.NoError(t, w.Wait())
			got, err := r.ByRequestID(t.Context(), w.Entry.Request.ID)
			require.NoError(t, err)
			assert.Equal(t, w.Entry.Hash, Hash(sha256.Sum256(got.Entry.Stored)))
		}
		require.NoError(t, r.Close())
	})
}
