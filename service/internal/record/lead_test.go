package record_test

import (
	"runtime"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/store"
)

// awaited is a draft whose asker waits for it, and flushes it where nobody is at it.
func awaited(chain string, n int) record.Draft {
	d := draft(chain, n)
	d.Awaited = true
	return d
}

// TestAwaitedEntryIsFlushedByItsAsker, and not before he waits; what nobody waits for goes to disk by itself.
func TestAwaitedEntryIsFlushedByItsAsker(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := open(t, newPath(t), record.Options{StateEvery: 2, State: func(string, record.Head) []byte { return []byte("state") }})
		put := func(d record.Draft) record.Written {
			w, err := r.Append(d, r.Head(d.Chain))
			require.NoError(t, err)
			synctest.Wait()
			return w
		}
		put(draft("c", 1))
		assert.EqualValues(t, 1, r.Heads()["c"].Number)
		w := put(awaited("c", 2)) // with a state before it
		assert.EqualValues(t, 1, r.Heads()["c"].Number)
		require.NoError(t, w.Wait())
		assert.EqualValues(t, 3, r.Heads()["c"].Number)
		put(awaited("c", 3))
		put(draft("d", 1))
		assert.Equal(t, r.Head("c"), r.Heads()["c"], "whoever flushes takes all there is")
		require.NoError(t, w.Wait(), "again")
		put(awaited("c", 4))
		require.NotEqual(t, r.Head("c"), r.Heads()["c"])
		r.Nudge()
		synctest.Wait()
		assert.Equal(t, r.Head("c"), r.Heads()["c"], "whoever appended it will not wait")
		r.Nudge() // there is nothing to write
		synctest.Wait()
		require.NoError(t, r.Down())
	})
}

// TestFlushRunsOnTheAskersGoroutine: the two changes of goroutine that a hand-over takes are spared.
func TestFlushRunsOnTheAskersGoroutine(t *testing.T) {
	disk := &faults.Disk{}
	r := open(t, newPath(t), record.Options{Store: store.Options{Wrap: disk.Wrap}})
	held, release := disk.Hold()
	defer release()
	var done sync.WaitGroup
	done.Go(func() { write1(t, r, awaited("c", 1)) })
	<-held
	stacks := make([]byte, 1<<20)
	for one := range strings.SplitSeq(string(stacks[:runtime.Stack(stacks, true)]), "\n\n") {
		if strings.Contains(one, "store.(*Store).Commit") {
			assert.Contains(t, one, "record.Written.Wait")
		}
	}
	release()
	done.Wait()
}

func write1(t *testing.T, r *record.Record, d record.Draft) {
	w, err := r.Append(d, r.Head(d.Chain))
	if assert.NoError(t, err) {
		assert.NoError(t, w.Wait())
	}
}

// TestWhoComesWhileAnAskerFlushesIsFlushedAfter, by the flusher, closing the record included.
func TestWhoComesWhileAnAskerFlushesIsFlushedAfter(t *testing.T) {
	for name, closes := range map[string]bool{"open": false, "closed": true} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				disk, gathered := &faults.Disk{}, 0
				path := newPath(t)
				r := open(t, path, record.Options{Gather: func() { gathered++ }, Store: store.Options{Wrap: disk.Wrap}})
				held, release := disk.Hold()
				began := len(disk.Log())
				var all sync.WaitGroup
				all.Go(func() { write1(t, r, awaited("c", 1)) })
				<-held
				for n := 2; n <= 10; n++ {
					w, err := r.Append(awaited("c", n), r.Head("c"))
					require.NoError(t, err)
					all.Go(func() { assert.NoError(t, w.Wait()) })
				}
				synctest.Wait()
				if closes {
					all.Go(func() { assert.NoError(t, r.Close()) })
					synctest.Wait()
				}
				release()
				all.Wait()
				synctest.Wait()
				assert.EqualValues(t, 10, r.Heads()["c"].Number)
				commits := 0
				for _, op := range disk.Log()[began:] {
					if op == "commit" {
						commits++
					}
				}
				assert.LessOrEqual(t, commits, 3, "his, one for all who waited, and that of the marks on closing")
				assert.Equal(t, 2, gathered, "once for each flush, and for no other reason")
			})
		})
	}
}

// TestAskersFlushFails: all that were appended behind it fail with it, nobody waits for ever, and the record comes back.
func TestAskersFlushFails(t *testing.T) {
	for name, when := range map[string]faults.When{"before": faults.Before, "after": faults.After} {
		t.Run(name, func(t *testing.T) {
			disk, step := &faults.Disk{}, newStepper()
			r := open(t, newPath(t), onDisk(disk, step))
			held, release := disk.Hold()
			disk.FailAtOnly("commit", 1, when, false)
			var all sync.WaitGroup
			fails := func(w record.Written) { all.Go(func() { assert.ErrorIs(t, w.Wait(), record.ErrDown) }) }
			for n := 1; n <= 20; n++ {
				w, err := r.Append(awaited("c", n), r.Head("c"))
				require.NoError(t, err)
				if fails(w); n == 1 {
					<-held
				}
			}
			release()
			all.Wait()
			require.ErrorIs(t, r.Down(), faults.ErrInjected)
			_, err := r.Append(awaited("c", 21), r.Head("c"))
			require.ErrorIs(t, err, record.ErrDown)
			step.fire <- time.Time{}
			require.Eventually(t, func() bool { return r.Down() == nil }, 5*time.Second, time.Millisecond)
			write1(t, r, awaited("c", 2))
			verifyWhole(t, r, 1+int(when)) // the first is there where it was committed, and the asker not told
		})
	}
}

// TestAnAskersFlushIsTidiedAfter: what an asker's own flush leaves to be moved is moved by the flusher, whose failure is found as ever.
func TestAnAskersFlushIsTidiedAfter(t *testing.T) {
	disk, step := &faults.Disk{}, newStepper()
	r := open(t, newPath(t), onDisk(disk, step))
	disk.FailAtOnly("checkpoint", 1, faults.Before, false)
	d := awaited("c", 1)
	d.Body = noise(5 << 20) // more than may gather in the log
	write1(t, r, d)
	require.Equal(t, time.Second, <-step.delays)
	require.ErrorIs(t, r.Down(), faults.ErrInjected)
	step.fire <- time.Time{}
	require.Eventually(t, func() bool { return r.Down() == nil }, 5*time.Second, time.Millisecond)
	write1(t, r, awaited("c", 2))
	verifyWhole(t, r, 2)
}

// TestManyAskersFlushInTurns: whoever comes, each is answered and the chains are whole.
func TestManyAskersFlushInTurns(t *testing.T) {
	r := open(t, newPath(t), record.Options{})
	var all sync.WaitGroup
	for _, chain := range []string{"a", "b", "c", "d", "e", "f", "g", "h"} {
		all.Go(func() {
			for n := 1; n <= 100; n++ {
				d := draft(chain, n)
				d.Awaited = n%7 != 0
				write1(t, r, d)
			}
		})
	}
	all.Wait()
	verifyWhole(t, r, 800)
}
