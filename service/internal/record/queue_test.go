package record

import (
	"context"
	"database/sql"
	"errors"
	"path/filepath"
	"sync"
	"testing"
	"testing/synctest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/store"
)

// opened is a record whose insides the test looks at.
func opened(t *testing.T) *Record {
	t.Helper()
	r, err := Open(filepath.Join(t.TempDir(), "record"), Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, r.Close()) })
	return r
}

// keep appends a draft and waits for it.
func keep(t *testing.T, r *Record, d Draft) Entry {
	t.Helper()
	w, err := r.Append(d, r.Head(d.Chain))
	require.NoError(t, err)
	require.NoError(t, w.Wait())
	return w.Entry
}

// use gives a record another store, nil for none, as its flusher does where it opens the file anew. Requires a bubble, in which the flusher
// has done what it had to.
func use(r *Record, st *store.Store) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.store = st
}

// TestWithoutRequestNothingIsLookedFor: an entry that answers no request repeats none, and needs no look at the disk.
func TestWithoutRequestNothingIsLookedFor(t *testing.T) {
	r := unflushed()
	for number := uint64(1); number <= 2; number++ {
		w, err := r.Append(least(), r.Head("pier"))
		require.NoError(t, err)
		assert.False(t, w.Repeated)
		assert.Equal(t, number, w.Entry.Number)
	}
	assert.Empty(t, r.absent.ids)
}

// TestBytesThatWaitAreBounded at 256 MiB exactly.
func TestBytesThatWaitAreBounded(t *testing.T) {
	r := unflushed()
	r.bytes = 256<<20 - len(least().Body)
	_, err := r.Append(least(), Head{})
	require.NoError(t, err)
	require.Equal(t, 256<<20, r.bytes)
	_, err = r.Append(least(), r.Head("pier"))
	require.ErrorIs(t, err, ErrFull)
}

// TestWhatIsTakenWaitsNoLonger, whether the flusher took it or it fell.
func TestWhatIsTakenWaitsNoLonger(t *testing.T) {
	r := unflushed()
	one := newItem(least(), Head{}, false)
	require.NoError(t, r.enqueue([]*item{one}, Head{}))
	assert.Empty(t, r.Heads(), "nothing of the chain is on disk")
	assert.Equal(t, []*item{one}, r.next())
	assert.Empty(t, r.queue)
	assert.Zero(t, r.bytes)
	behind := newItem(least(), one.entry.Head(), false)
	require.NoError(t, r.enqueue([]*item{behind}, one.entry.Head()))
	r.fall(errors.New("disk gone"), []*item{one})
	assert.Empty(t, r.queue)
	assert.Zero(t, r.bytes)
	assert.Equal(t, Head{}, r.Head("pier"))
	for _, it := range []*item{one, behind} {
		<-it.done
		require.ErrorIs(t, it.err, ErrDown)
		assert.ErrorContains(t, it.err, "disk gone")
	}
}

// TestNewsIsAnnounced to who waits for it: what was flushed, and a file that is open again.
func TestNewsIsAnnounced(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := opened(t)
		changed, st, _ := r.watch()
		keep(t, r, least())
		require.NoError(t, r.Down()) // whoever was let go comes before the announcement, under the same lock
		assertClosed(t, changed, "an entry was flushed")
		synctest.Wait()
		require.NoError(t, st.Close())
		use(r, nil)
		changed, _, _ = r.watch()
		require.NoError(t, r.reopen())
		assertClosed(t, changed, "the file is open again")
		keep(t, r, least())
	})
}

func assertClosed(t *testing.T, c <-chan struct{}, why string) {
	t.Helper()
	select {
	case <-c:
	default:
		assert.Fail(t, "nobody is told", why)
	}
}

// TestFollowerWaitsOutARepair: while the file is closed there is nothing to read, and that is not the end.
func TestFollowerWaitsOutARepair(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := opened(t)
		f, err := r.Follow(t.Context(), Filter{}, nil)
		require.NoError(t, err)
		want := keep(t, r, least())
		synctest.Wait()
		over, cancel := context.WithCancel(t.Context())
		cancel()
		_, st, _ := r.watch()
		use(r, nil)
		_, err = f.Next(over)
		require.ErrorIs(t, err, context.Canceled)
		use(r, st)
		shows(t, f, want)
	})
}

// shows wants an entry to be what a follower shows next.
func shows(t *testing.T, f *Follower, want Entry) {
	t.Helper()
	got, err := f.Next(t.Context())
	require.NoError(t, err)
	assert.Equal(t, want.Hash, got.Hash)
}

// TestFollowerReadsToTheEnd of what Close still flushes.
func TestFollowerReadsToTheEnd(t *testing.T) {
	r := opened(t)
	f, err := r.Follow(t.Context(), Filter{}, nil)
	require.NoError(t, err)
	want := keep(t, r, least())
	closed := func(is bool) {
		r.mu.Lock()
		defer r.mu.Unlock()
		r.closed = is
	}
	closed(true)
	shows(t, f, want)
	closed(false)
}

// between is a context that does something the first time somebody looks whether it is over.
type between struct {
	context.Context
	once func()
}

func (b between) Done() <-chan struct{} {
	b.once()
	return b.Context.Done()
}

// TestFollowerWhoseFileIsClosedUnderIt waits for the file that is opened instead: a read that failed by then says nothing of the record.
func TestFollowerWhoseFileIsClosedUnderIt(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := opened(t)
		f, err := r.Follow(t.Context(), Filter{}, nil)
		require.NoError(t, err)
		want := keep(t, r, least())
		synctest.Wait()
		_, st, _ := r.watch()
		over, cancel := context.WithCancel(t.Context())
		_, err = f.Next(between{over, sync.OnceFunc(func() {
			use(r, nil)
			cancel()
		})})
		require.EqualError(t, err, context.Canceled.Error(), "of the wait, not of the reading")
		use(r, st)
		shows(t, f, want)
	})
}

// TestFollowerSeesAllThereIs and is done: nothing new, and nothing that fits, end its reading.
func TestFollowerSeesAllThereIs(t *testing.T) {
	r := opened(t)
	f, err := r.Follow(t.Context(), Filter{Chains: []string{"roof"}}, nil)
	require.NoError(t, err)
	for range 2 {
		require.NoError(t, f.fill(t.Context(), r.store))
		assert.Empty(t, f.ready)
		assert.Equal(t, r.Head("pier").Number, uint64(f.cursor))
		keep(t, r, least())
	}
}

// TestFollowersAreToldOfTheEnd, or they would wait for ever.
func TestFollowersAreToldOfTheEnd(t *testing.T) {
	r := opened(t)
	changed, _, over := r.watch()
	require.False(t, over)
	require.NoError(t, r.Close())
	assertClosed(t, changed, "the record is closed")
	_, _, over = r.watch()
	assert.True(t, over)
}

// TestCloseWaitsForWhatRuns beside the record, with a file or, amid a repair, without.
func TestCloseWaitsForWhatRuns(t *testing.T) {
	for _, repairing := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			r := opened(t)
			synctest.Wait()
			if _, st, _ := r.watch(); repairing {
				require.NoError(t, st.Close())
				use(r, nil)
			}
			done, over := make(chan struct{}), make(chan error, 1)
			r.beside.Go(func() { <-done })
			go func() { over <- r.Close() }()
			synctest.Wait()
			assert.Empty(t, over)
			close(done)
			require.NoError(t, <-over)
		})
	}
}

// TestCloseTellsWhatTheFileSays: a file that could not be given up in order is an error.
func TestCloseTellsWhatTheFileSays(t *testing.T) {
	r, err := Open(filepath.Join(t.TempDir(), "record"), Options{})
	require.NoError(t, err)
	require.NoError(t, r.store.Close())
	require.ErrorIs(t, r.Close(), sql.ErrConnDone)
}

// TestAPanicWhileFlushingIsAFailure: whoever flushes is an asker too, whose panic is caught further out.
func TestAPanicWhileFlushingIsAFailure(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := opened(t)
		_, st, _ := r.watch()
		defer func() { assert.NoError(t, st.Close()) }()
		use(r, nil) // nothing to write to
		d := least()
		d.Awaited = true
		w, err := r.Append(d, Head{})
		require.NoError(t, err)
		err = w.Wait()
		require.ErrorIs(t, err, ErrDown)
		require.ErrorContains(t, err, "panic: ")
		require.ErrorContains(t, r.Down(), "panic: ")
	})
}

// TestWhoWasFlushedMeanwhileFlushesNothing: somebody else did it between an asker's look and his turn.
func TestWhoWasFlushedMeanwhileFlushesNothing(t *testing.T) {
	r := opened(t)
	r.lead()
	require.NoError(t, r.Down())
	keep(t, r, least())
}
