package record

import (
	"fmt"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/store"
)

// What is remembered as absent was absent all along since it was looked for.
func TestAbsentIsSure(t *testing.T) {
	a := absent{}
	n := a.begin("x")
	assert.False(t, a.ids["x"].sure, "the disk has not answered")
	a.end("x", n)
	assert.True(t, a.ids["x"].sure)
	n = a.begin("y")
	delete(a.ids, "y") // an append of it came between
	a.end("y", n)
	assert.False(t, a.ids["y"].sure)
	n = a.begin("z")
	delete(a.ids, "z")
	later := a.begin("z") // and its flush, and another's look
	a.end("z", n)
	assert.False(t, a.ids["z"].sure, "the answer to the first look is older than the append")
	a.end("z", later)
	assert.True(t, a.ids["z"].sure)
	n = a.begin("w")
	a.ids = nil // the file was opened anew
	a.end("w", n)
	assert.Empty(t, a.ids)
	for i := range 4096 {
		a.begin(fmt.Sprint(i))
		require.Len(t, a.ids, i+1, "there is room for 4,096")
	}
	a.begin("one more")
	assert.Len(t, a.ids, 1, "beyond that the memory begins anew")
}

// One question costs one look at the disk for its id, however often that is looked for before it is appended, and none where the filter is sure.
func TestOneLookAtTheDisk(t *testing.T) {
	for looks, sure := range map[int]bool{0: true, 1: false} {
		disk := &faults.Disk{}
		r, err := Open(filepath.Join(t.TempDir(), "record"), Options{Store: store.Options{Wrap: disk.Wrap}})
		require.NoError(t, err)
		r.ids.ready = sure
		disk.FailAtOnly("read", 0, faults.Before, false) // counts them
		d := least()
		d.Request.ID = "q"
		for range 3 {
			_, err := r.ByRequestID(t.Context(), "q")
			require.ErrorIs(t, err, ErrAbsent)
			require.Equal(t, looks, disk.Count())
		}
		keep(t, r, d)
		assert.Equal(t, looks+1, disk.Count(), "the last reads the last row on disk")
		require.NoError(t, r.Close())
	}
}

// Somebody waits while there is something in the queue: what is done between two flushes goes by that.
func TestWaiting(t *testing.T) {
	r := &Record{}
	assert.False(t, r.waiting())
	r.queue = append(r.queue, &item{})
	assert.True(t, r.waiting())
}
