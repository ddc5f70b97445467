package record

import (
	"fmt"
	"math/bits"
	"path/filepath"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/faults"
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
	newest, err := st.Newest(t.Context())
	require.NoError(t, err)
	assert.Equal(t, int64(entries+1), newest, "nothing went in twice")
}

// There are at least 16 bits for each id that may come, twice those of the file and 65,536, in a power of two of words.
func TestFilterHasRoom(t *testing.T) {
	for entries, words := range map[int64]int{0: 1 << 14, 1: 1 << 14, 2: 1 << 15, 32768: 1 << 15, 32770: 1 << 16, 1_000_000: 1 << 19} {
		assert.Len(t, newIDs(entries).bits, words, "%d entries", entries)
	}
}

// One id takes four bits; now and then two of them are one.
func TestFilterTakesFourBits(t *testing.T) {
	taken := map[int]int{}
	for i := range 20 {
		f := newIDs(0)
		f.add(fmt.Sprint(i))
		count := 0
		for _, word := range f.bits {
			count += bits.OnesCount64(word)
		}
		taken[count]++
	}
	assert.Greater(t, taken[4], 15, "%v", taken)
}

// grow appends entries with ids until there are so many.
func grow(t *testing.T, r *Record, to int) {
	t.Helper()
	var last Written
	for i := int(r.Head("pier").Number) + 1; i <= to; i++ {
		d := least()
		d.Request.ID = fmt.Sprint("id-", i)
		var err error
		last, err = r.Append(d, r.Head("pier"))
		require.NoError(t, err)
	}
	require.NoError(t, last.Wait())
}

// A large file that is opened anew is put into the filter as at the start.
func TestFilterIsFilledAfterARepair(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := opened(t)
		grow(t, r, 2001)
		synctest.Wait()
		_, st, _ := r.watch()
		require.NoError(t, st.Close())
		use(r, nil)
		require.NoError(t, r.reopen())
		r.beside.Wait()
		assert.True(t, r.ids.ready)
		assert.False(t, r.ids.absent("id-2001"))
	})
}

// A file of up to 2,000 entries is in the filter before the record is open, a larger one is not waited for; and what was read in part counts as
// not read.
func TestFilterIsReadyOnceAllIsIn(t *testing.T) {
	path, disk := filepath.Join(t.TempDir(), "record"), &faults.Disk{}
	var r *Record
	begin := func() { // what a store opens, it has marked
		if r != nil {
			require.NoError(t, r.Close())
		}
		var err error
		r, err = Open(path, Options{StateEvery: 1 << 30, Store: store.Options{Wrap: disk.Wrap}})
		require.NoError(t, err)
		r.beside.Wait()
	}
	begin()
	defer func() { require.NoError(t, r.Close()) }()
	more := func(to int) {
		grow(t, r, to)
		begin()
	}
	knows := func(f *ids, count int) {
		require.True(t, f.ready)
		for i := 1; i <= count; i++ {
			require.False(t, f.absent(fmt.Sprint("id-", i)), i)
		}
		assert.True(t, f.absent("a") || f.absent("b") || f.absent("c"), "and not of everything that it may be there")
	}
	for _, count := range []int{999, 1000, 1001} {
		more(count)
		knows(newFilter(r.store), count)
		for n := 1; n <= 2; n++ { // Newest, and the first page
			disk.FailAtOnly("read", n, faults.Before, true)
			assert.False(t, newFilter(r.store).ready, "%d entries, read %d fails", count, n)
			disk.Heal()
		}
	}
	disk.FailAtOnly("read", 3, faults.Before, true)
	assert.False(t, newFilter(r.store).ready, "the second page is lacking")
	disk.Heal()
	more(2000)
	knows(newFilter(r.store), 2000)
	more(2001)
	f := newFilter(r.store)
	assert.False(t, f.ready, "too large to wait for")
	r.mu.Lock()
	r.ids = f
	r.mu.Unlock()
	disk.FailAtOnly("read", 2, faults.Before, true)
	r.fillBeside(r.store, f)
	r.beside.Wait()
	assert.False(t, f.ready, "the second page is lacking")
	disk.Heal()
	other := newIDs(0)
	disk.FailAtOnly("read", 0, faults.Before, false) // counts them
	r.fillBeside(r.store, other)
	r.beside.Wait()
	assert.False(t, other.ready, "what is no longer the record's is no longer filled")
	assert.Equal(t, 1, disk.Count(), "nor read for")
	r.closed = true
	r.fillBeside(r.store, f)
	r.beside.Wait()
	r.closed = false
	assert.False(t, f.ready, "nor is that of a closed record")
	assert.Equal(t, 2, disk.Count())
	r.fillBeside(r.store, f)
	r.beside.Wait()
	knows(f, 2001)
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

// A number of entries that cannot be (a damaged file) takes no more room than the most there is, and an ordinary one no more than it needs.
func TestFilterTakesBoundedRoom(t *testing.T) {
	assert.Len(t, newIDs(1<<45).bits, 1<<21, "words: 16 MB")
	assert.Len(t, newIDs(1000).bits, 1<<15, "words: a quarter of a MB")
}
