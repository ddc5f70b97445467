package record

import (
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/store"
)

// The filter knows every id that was put in, and of others says so of most.
func TestFilterForgetsNoID(t *testing.T) {
	f := newIDs(1000)
	require.False(t, f.absent("anything"), "before it is filled it knows nothing")
	f.ready = true
	for i := range 60_000 {
		f.add(fmt.Sprint("there-", i))
	}
	sure := 0
	for i := range 60_000 {
		require.False(t, f.absent(fmt.Sprint("there-", i)), i)
		if f.absent(fmt.Sprint("away-", i)) {
			sure++
		}
	}
	assert.Greater(t, sure, 59_000, "of 60,000 that are away")
}

// A record of more entries than are read before it is open finds each of them, the last ones and the new ones among them, while the filter is filled
// and afterwards; of what is absent it does not ask the disk then.
func TestFilterOfALargeRecordIsFilledBeside(t *testing.T) {
	const entries = filledAtOnce + fillPage + 7
	path := filepath.Join(t.TempDir(), "record")
	keep := func(r *Record, i int) Written {
		d := Draft{Chain: "pier", Time: time.Unix(int64(i), 0), Body: []byte("{}"), Index: Index{Kind: "asked", Rig: "pier", Sentence: "Kept.", Request: Request{ID: fmt.Sprint("id-", i)}}}
		w, err := r.Append(d, r.Head("pier"))
		require.NoError(t, err)
		return w
	}
	r, err := Open(path, Options{StateEvery: 1 << 30})
	require.NoError(t, err)
	for i := range entries - 1 {
		keep(r, i)
	}
	require.NoError(t, keep(r, entries-1).Wait())
	require.NoError(t, r.Close())

	r, err = Open(path, Options{StateEvery: 1 << 30})
	require.NoError(t, err)
	defer r.Close()
	has := func(i int) bool {
		w, err := r.ByRequestID(t.Context(), fmt.Sprint("id-", i))
		if err != nil {
			require.ErrorIs(t, err, ErrAbsent)
		}
		return err == nil && w.Entry.Request.ID == fmt.Sprint("id-", i)
	}
	require.NoError(t, keep(r, entries).Wait())
	for _, i := range []int{0, 1, entries / 2, entries - 1, entries} {
		assert.True(t, has(i), "%d, while it is filled", i)
	}
	assert.False(t, has(entries+1))
	require.Eventually(t, func() bool { r.mu.Lock(); defer r.mu.Unlock(); return r.ids.ready }, 20*time.Second, time.Millisecond)
	for i := range entries + 1 {
		require.True(t, has(i), i)
	}
	r.mu.Lock()
	st := r.store
	r.mu.Unlock()
	require.False(t, has(entries+2))
	require.True(t, keep(r, 5).Repeated)
	known, err := st.RequestIDs(t.Context(), "", 2*entries)
	require.NoError(t, err)
	assert.Len(t, known, entries+1)
}

// Where the ids cannot be read the filter says nothing, and the disk is asked.
func TestFilterThatCannotBeFilled(t *testing.T) {
	path := filepath.Join(t.TempDir(), "record")
	st, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	require.NoError(t, st.Close())
	f := newFilter(st)
	f.add("id-1")
	assert.False(t, f.absent("id-2"))
}
