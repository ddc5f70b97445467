package record_test

import (
	"slices"
	"sync"
	"testing"
	"testing/synctest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/store"
)

// What is appended while the flusher gathers goes to disk in one commit, the rest before it; state entries come as often as the options say.
func TestGathersAndStatesAsTheOptionsSay(t *testing.T) {
	disk, gathering, more := &faults.Disk{}, make(chan struct{}), make(chan struct{})
	begins := sync.OnceFunc(func() { close(gathering) })
	r := open(t, newPath(t), record.Options{
		StateEvery: 3, State: func(string, record.Head) []byte { return []byte("state") },
		Gather: func() { begins(); <-more }, Store: store.Options{Wrap: disk.Wrap},
	})
	began := len(disk.Log())
	var last record.Written
	for n := 1; n <= 4; n++ {
		w, err := r.Append(draft("c", n), r.Head("c"))
		require.NoError(t, err)
		if last = w; n == 1 {
			<-gathering
		}
	}
	close(more)
	require.NoError(t, last.Wait())
	commits := slices.DeleteFunc(disk.Log()[began:], func(op string) bool { return op != "commit" })
	assert.LessOrEqual(t, len(commits), 2, "four appends, of which the first may go before anybody gathers: %v", disk.Log()[began:])
	assert.EqualValues(t, 5, r.Head("c").Number, "four entries, and a state before the third")
}

// The flusher gathers once for all that waited for it, and then not before there is something new.
func TestGathersOnceForWhatWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk, gathered := &faults.Disk{}, 0
		r := open(t, newPath(t), record.Options{Gather: func() { gathered++ }, Store: store.Options{Wrap: disk.Wrap}})
		held, release := disk.Hold()
		write := func(n int) record.Written {
			w, err := r.Append(draft("c", n), r.Head("c"))
			require.NoError(t, err)
			return w
		}
		write(1)
		<-held
		write(2)
		last := write(3)
		release()
		require.NoError(t, last.Wait())
		synctest.Wait()
		assert.Equal(t, 2, gathered)
	})
}
