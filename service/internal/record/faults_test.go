package record_test

import (
	"errors"
	"fmt"
	"os"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/store"
)

// stepper is a retry timer that the test turns.
type stepper struct {
	delays chan time.Duration
	fire   chan time.Time
}

func newStepper() *stepper {
	return &stepper{delays: make(chan time.Duration, 100), fire: make(chan time.Time)}
}

func (s *stepper) after(d time.Duration) <-chan time.Time {
	s.delays <- d
	return s.fire
}

// onDisk are options with a disk that can fail.
func onDisk(d *faults.Disk, s *stepper) record.Options {
	return record.Options{After: s.after, Store: store.Options{Wrap: d.Wrap}}
}

// ask appends drafts until one fails, as an asker would, and returns those that were answered.
func ask(r *record.Record, chain string, n int) (answered []record.Entry) {
	for i := 1; i <= n; i++ {
		d := draft(chain, i)
		d.Awaited = i%2 == 1 // by his own flush and the flusher's in turn
		w, err := r.Append(d, r.Head(chain))
		if err != nil || w.Wait() != nil {
			continue
		}
		answered = append(answered, w.Entry)
	}
	return answered
}

// TestEveryOperationFailing fails the n-th operation on the disk, n = 1, 2, … until a run ends clean; once and for good,
// before it was done and after. Whatever was answered must be in a whole record afterwards.
func TestEveryOperationFailing(t *testing.T) {
	for _, when := range []faults.When{faults.Before, faults.After} {
		for _, always := range []bool{false, true} {
			t.Run(fmt.Sprintf("when %d always %t", when, always), func(t *testing.T) {
				n := 1
				for ; failOperation(t, n, when, always); n++ {
					require.Less(t, n, 500, "the loop does not end")
				}
				assert.Greater(t, n, 20, "operations until a clean run")
				t.Logf("%d operations failed", n-1)
			})
		}
	}
}

// failOperation makes one run and tells whether the fault was met.
func failOperation(t *testing.T, n int, when faults.When, always bool) (met bool) {
	disk, step := &faults.Disk{}, newStepper()
	path := newPath(t)
	disk.FailAt(n, when, always)
	r, err := record.Open(path, onDisk(disk, step))
	var answered []record.Entry
	if err == nil {
		answered = ask(r, "pier", 3)
		met = r.Down() != nil
		require.Equal(t, met, len(answered) < 3, "the record is down exactly if somebody was not answered")
		_ = r.Close()
	} else {
		met = true
		require.ErrorIs(t, err, faults.ErrInjected, "the cause must be named")
	}
	met = met || disk.Count() >= n
	disk.Heal()
	again := open(t, path, record.Options{Receipts: places(answered)})
	res, err := again.Verify(t.Context(), record.VerifyOptions{Receipts: places(answered)})
	require.NoError(t, err)
	require.True(t, res.Whole, "operation %d (%v): %s", n, disk.Log(), res.Sentence)
	require.Len(t, ask(again, "pier", 3), 3, "goes on after operation %d: the same ids are answered from the record or anew", n)
	return met
}

func places(entries []record.Entry) []record.Place {
	var out []record.Place
	for _, e := range entries {
		out = append(out, e.Place())
	}
	return out
}

// TestSharedFlushFails: 50 askers share one flush and it fails, with others already judged on them: none is answered, and
// the record comes back on the heads that are on disk, after the owner folded.
func TestSharedFlushFails(t *testing.T) {
	disk, step := &faults.Disk{}, newStepper()
	path := newPath(t)
	o := onDisk(disk, step)
	folded := make(chan map[string]record.Head, 10)
	o.Reopened = func(h map[string]record.Head) error { folded <- h; return nil }
	r := open(t, path, o)
	kept := write(t, r, "pier", 1)

	held, release := disk.Hold()
	disk.FailAtOnly("commit", 1, faults.Before, false)
	var waiting []record.Written
	for n := 2; n <= 101; n++ {
		w, err := r.Append(draft("pier", n), r.Head("pier"))
		require.NoError(t, err)
		waiting = append(waiting, w)
		if n == 51 {
			<-held // the first flush is under way; the rest go behind it
		}
	}
	release()
	for _, w := range waiting {
		require.ErrorIs(t, w.Wait(), record.ErrDown, "entry %d", w.Entry.Number)
	}
	withdrawal := draft("pier", 103)
	withdrawal.Request = record.Request{}
	for _, d := range []record.Draft{draft("pier", 102), withdrawal} {
		_, err := r.Append(d, r.Head("pier"))
		require.ErrorIs(t, err, record.ErrDown)
		require.ErrorIs(t, err, faults.ErrInjected, "the cause is named")
	}
	assert.Equal(t, kept[0].Head(), r.Head("pier"), "the head is the one that was answered")

	step.fire <- time.Time{}
	assert.Equal(t, map[string]record.Head{"pier": kept[0].Head()}, <-folded)
	require.Eventually(t, func() bool { return r.Down() == nil }, 5*time.Second, time.Millisecond)
	write(t, r, "pier", 2, 3)
	verifyWhole(t, r, 3)
}

// TestAnswerLostAfterCommit: the rows were committed, the driver said they were not. They are on record, were answered to
// nobody, and the asker who asks again gets the entry.
func TestAnswerLostAfterCommit(t *testing.T) {
	disk, step := &faults.Disk{}, newStepper()
	r := open(t, newPath(t), onDisk(disk, step))
	disk.FailAtOnly("commit", 1, faults.After, false)
	w, err := r.Append(draft("pier", 1), record.Head{})
	require.NoError(t, err)
	require.ErrorIs(t, w.Wait(), record.ErrDown)
	step.fire <- time.Time{}
	require.Eventually(t, func() bool { return r.Down() == nil }, 5*time.Second, time.Millisecond)
	again, err := r.Append(draft("pier", 1), record.Head{})
	require.NoError(t, err)
	assert.True(t, again.Repeated)
	assert.NoError(t, again.Wait())
	assert.Equal(t, w.Entry.Hash, again.Entry.Hash)
}

// TestRetryDelays holds 1, 2, 4 … 60 s, and that neither a file that cannot be opened nor an owner that cannot fold lets
// the record up.
func TestRetryDelays(t *testing.T) {
	disk, step := &faults.Disk{}, newStepper()
	o := onDisk(disk, step)
	errFold := errors.New("cannot fold")
	var mu sync.Mutex
	foldErr := errFold
	o.Reopened = func(map[string]record.Head) error { mu.Lock(); defer mu.Unlock(); return foldErr }
	r := open(t, newPath(t), o)
	disk.FailAt(1, faults.Before, true)
	w, err := r.Append(draft("pier", 1), record.Head{})
	require.NoError(t, err)
	require.Error(t, w.Wait())
	for i, want := range []time.Duration{1, 2, 4, 8, 16, 32, 60, 60, 60} {
		require.Equal(t, want*time.Second, <-step.delays, "delay %d", i+1)
		if i == 4 {
			disk.Heal() // from here on it is the owner who fails
		}
		if i == 8 {
			require.ErrorIs(t, r.Down(), errFold)
			_, err := r.Get(t.Context(), "pier", 1)
			require.ErrorIs(t, err, record.ErrDown, "what the owner could not fold is not read from either")
			require.ErrorIs(t, err, errFold)
			mu.Lock()
			foldErr = nil
			mu.Unlock()
		}
		step.fire <- time.Time{}
	}
	require.Eventually(t, func() bool { return r.Down() == nil }, 5*time.Second, time.Millisecond)
	write(t, r, "pier", 1)
}

// TestRetriesNeedNoOwnersTimer: without one the record waits by the machine's, and can be closed while it does.
func TestRetriesNeedNoOwnersTimer(t *testing.T) {
	disk := &faults.Disk{}
	r := open(t, newPath(t), record.Options{Store: store.Options{Wrap: disk.Wrap}})
	disk.FailAtOnly("commit", 1, faults.Before, false)
	w, err := r.Append(draft("pier", 1), record.Head{})
	require.NoError(t, err)
	require.ErrorIs(t, w.Wait(), record.ErrDown)
	require.NoError(t, r.Close())
}

// TestCheckpointFails: moving the log fails; what was answered stays, and nothing more is taken until the file is opened anew.
func TestCheckpointFails(t *testing.T) {
	disk, step := &faults.Disk{}, newStepper()
	r := open(t, newPath(t), onDisk(disk, step))
	disk.FailAtOnly("checkpoint", 1, faults.Before, false)
	d := draft("pier", 1)
	d.Body = noise(5 << 20) // more than may gather in the log
	w, err := r.Append(d, record.Head{})
	require.NoError(t, err)
	require.NoError(t, w.Wait(), "the entry was durable before the log was moved")
	require.Equal(t, time.Second, <-step.delays)
	require.ErrorIs(t, r.Down(), faults.ErrInjected)
	step.fire <- time.Time{}
	require.Eventually(t, func() bool { return r.Down() == nil }, 5*time.Second, time.Millisecond)
	write(t, r, "pier", 2)
	verifyWhole(t, r, 2)
}

// TestFileTakenAway: the record is unlinked, renamed or replaced while open. The next asker is not answered; once the file
// is back the record goes on, and a copy that lacks what was answered does not count as back.
func TestFileTakenAway(t *testing.T) {
	for name, take := range map[string]func(t *testing.T, path string){
		"unlinked": func(t *testing.T, path string) {
			require.NoError(t, os.Link(path, path+".kept"))
			require.NoError(t, os.Remove(path))
		},
		"renamed": func(t *testing.T, path string) { require.NoError(t, os.Rename(path, path+".kept")) },
		"replaced": func(t *testing.T, path string) {
			require.NoError(t, os.Rename(path, path+".kept"))
			require.NoError(t, os.WriteFile(path, nil, 0o600))
		},
	} {
		t.Run(name, func(t *testing.T) {
			step := newStepper()
			path := newPath(t)
			r := open(t, path, record.Options{After: step.after})
			write(t, r, "pier", 1, 2)
			take(t, path)
			w, err := r.Append(draft("pier", 3), r.Head("pier"))
			require.NoError(t, err)
			err = w.Wait()
			require.ErrorIs(t, err, store.ErrReplaced)
			require.ErrorContains(t, err, path)
			<-step.delays
			step.fire <- time.Time{}
			<-step.delays // it did not come up: what was answered is not in the file that is there
			require.Error(t, r.Down())
			t.Log(r.Down())
		})
	}
}

// TestFileComesBack: after a rename there and back, or once a log unlinked while open has been moved into the record, the
// record goes on by itself.
func TestFileComesBack(t *testing.T) {
	for name, side := range map[string]string{"record": "", "log": "-wal"} {
		t.Run(name, func(t *testing.T) { takeAndGiveBack(t, side) })
	}
}

func takeAndGiveBack(t *testing.T, side string) {
	step := newStepper()
	path := newPath(t)
	r := open(t, path, record.Options{After: step.after})
	write(t, r, "pier", 1, 2)
	require.NoError(t, os.Rename(path+side, path+side+".kept"))
	w, err := r.Append(draft("pier", 3), r.Head("pier"))
	require.NoError(t, err)
	require.ErrorIs(t, w.Wait(), store.ErrReplaced)
	<-step.delays
	if side == "" {
		require.NoError(t, os.Rename(path+".kept", path))
	}
	step.fire <- time.Time{}
	require.Eventually(t, func() bool { return r.Down() == nil }, 5*time.Second, time.Millisecond)
	write(t, r, "pier", 3)
	verifyWhole(t, r, 3)
}

func verifyWhole(t testing.TB, r *record.Record, count int) {
	t.Helper()
	res, err := r.Verify(t.Context(), record.VerifyOptions{})
	require.NoError(t, err)
	require.True(t, res.Whole, res.Sentence)
	require.Equal(t, uint64(count), res.Count)
}

// TestARecordComesBackAfterAPanic in the driver, as after an error: the asker is not answered, the next ones are, without a restart of the service.
func TestARecordComesBackAfterAPanic(t *testing.T) {
	for _, waits := range []bool{true, false} {
		disk, step := &faults.Disk{}, newStepper()
		r := open(t, newPath(t), onDisk(disk, step))
		require.Len(t, ask(r, "pier", 1), 1)
		disk.FailAtOnly("write", 1, faults.Panics, false)
		d := draft("pier", 2)
		d.Awaited = waits
		w, err := r.Append(d, r.Head("pier"))
		require.NoError(t, err)
		require.ErrorContains(t, w.Wait(), "panic: ")
		require.ErrorContains(t, r.Down(), "panic: ")
		<-step.delays
		step.fire <- time.Time{}
		require.Eventually(t, func() bool { return r.Down() == nil }, 10*time.Second, time.Millisecond)
		require.Len(t, ask(r, "pier", 3), 3)
	}
}
