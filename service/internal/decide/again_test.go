package decide_test

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/verdict"
)

// A lock that is sent again does nothing again, and is answered as it was: leave that was given since stays, and so does the epoch. Sent
// again with other bytes it is refused, and does nothing either.
func TestLockRepeatedDoesNothing(t *testing.T) {
	for _, rigName := range []string{"heron", ""} {
		b := newBench(t)
		b.home()
		before, err := b.slew(zero, there)
		require.NoError(t, err)
		require.Equal(t, verdict.Allow, before.Verdict, before.Sentence)
		req := request("lock-request-repeated", "bytes")
		lock, first, taken, err := b.d.Lock(rigName, "A. Person", "hands inside", b.clock(), req)
		require.NoError(t, err)
		require.Equal(t, []string{before.Permit.ID}, taken)
		_, _, err = b.d.Release([]string{lock.ID}, "A. Person", "hands out", b.clock(), request("release-request-1", "x"))
		require.NoError(t, err)
		b.wait(time.Second)
		since, err := b.slew(zero, there)
		require.NoError(t, err)
		require.Equal(t, verdict.Allow, since.Verdict, "%s %v", since.Sentence, objections(since))

		again, rc, taken, err := b.d.Lock(rigName, "A. Person", "hands inside", b.clock(), req)
		require.NoError(t, err)
		assert.Equal(t, lock.ID, again.ID, "%q: the lock of then", rigName)
		assert.Equal(t, first.Place, rc.Place)
		assert.Equal(t, []string{before.Permit.ID}, taken, "%q: what it took back then", rigName)
		_, _, _, err = b.d.Lock(rigName, "A. Person", "hands inside", b.clock(), request("lock-request-repeated", "other bytes"))
		require.ErrorIs(t, err, record.ErrReused)
		v, err := b.d.Look(t.Context(), "heron")
		require.NoError(t, err)
		assert.Empty(t, v.Locks, "%q: it was released", rigName)
		assert.Equal(t, question.Begun, v.State.Permit.State, "%q: what was given since stays (%s)", rigName, v.State.Permit.Because)
		assert.Equal(t, since.Permit.Epoch, v.State.Epoch)
		more, err := b.slew(zero, there)
		require.NoError(t, err)
		assert.Equal(t, []string{"permit/one"}, objections(more), "%q: and is open", rigName)
	}
}

// Of many copies of one lock that come together one is set; every copy names it, and between them they name what was taken back.
func TestCopiesOfOneLock(t *testing.T) {
	b := newBench(t)
	b.home()
	for round := range 10 {
		a, err := b.slew(zero, there)
		require.NoError(t, err)
		require.Equal(t, verdict.Allow, a.Verdict, "%s %v", a.Sentence, objections(a))
		req := request(fmt.Sprintf("lock-request-%04d", round), "bytes")
		var wg sync.WaitGroup
		locks, named := make([]string, 6), make([][]string, 6)
		for i := range locks {
			wg.Go(func() {
				l, _, taken, err := b.d.Lock("heron", "A. Person", "hands inside", b.clock(), req)
				assert.NoError(t, err)
				locks[i], named[i] = l.ID, taken
			})
		}
		wg.Wait()
		all := map[string]bool{}
		for i := range locks {
			assert.Equal(t, locks[0], locks[i])
			for _, id := range named[i] {
				all[id] = true
			}
		}
		assert.Equal(t, map[string]bool{a.Permit.ID: true}, all)
		v, err := b.d.Look(t.Context(), "heron")
		require.NoError(t, err)
		require.Len(t, v.Locks, 1)
		id := fmt.Sprintf("release-request-%04d", round)
		_, _, err = b.d.Release([]string{locks[0]}, "A. Person", "hands out", b.clock(), request(id, id))
		require.NoError(t, err)
	}
}
