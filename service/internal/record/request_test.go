package record_test

import (
	"crypto/sha256"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/record"
)

// An id that was looked for and found absent is found once another has appended it: waiting for the disk, and on it.
func TestIDLookedForBeforeAnothersAppend(t *testing.T) {
	r := open(t, newPath(t), record.Options{})
	first, other := draft("pier", 1), draft("roof", 1)
	other.Request.ID = first.Request.ID
	other.Request.Digest = sha256.Sum256([]byte("other bytes"))
	for range 2 {
		_, err := r.ByRequestID(t.Context(), first.Request.ID)
		require.ErrorIs(t, err, record.ErrAbsent)
	}
	w, err := r.Append(first, r.Head("pier"))
	require.NoError(t, err)
	_, err = r.Append(other, r.Head("roof"))
	require.ErrorIs(t, err, record.ErrReused, "on its way to the disk")
	require.NoError(t, w.Wait())
	_, err = r.Append(other, r.Head("roof"))
	require.ErrorIs(t, err, record.ErrReused, "on the disk")
	again, err := r.Append(first, r.Head("pier"))
	require.NoError(t, err)
	assert.True(t, again.Repeated)
	got, err := r.ByRequestID(t.Context(), first.Request.ID)
	require.NoError(t, err)
	assert.Equal(t, w.Entry.Hash, got.Entry.Hash)
}

// Many look for the same ids and append them at once, on chains of their own: each id goes on record once, whoever looked when.
func TestRacersForOneID(t *testing.T) {
	r := open(t, newPath(t), record.Options{})
	for n := 1; n <= 100; n++ {
		var all sync.WaitGroup
		kept := make([]bool, 8)
		for i := range kept {
			all.Go(func() {
				d := draft(string(rune('a'+i)), n)
				d.Request.ID = draft("pier", n).Request.ID
				d.Request.Digest = sha256.Sum256([]byte{byte(i)})
				d.LeaveIDs = nil
				_, _ = r.ByRequestID(t.Context(), d.Request.ID)
				w, err := r.Append(d, r.Head(d.Chain))
				if err == nil {
					err = w.Wait()
				}
				kept[i] = err == nil
				if err != nil {
					assert.ErrorIs(t, err, record.ErrReused)
				}
			})
		}
		all.Wait()
		count := 0
		for _, k := range kept {
			if k {
				count++
			}
		}
		require.Equal(t, 1, count, "id %d", n)
	}
}

// Whoever appends may write over the body afterwards: the record has a copy.
func TestBodyIsCopied(t *testing.T) {
	r := open(t, newPath(t), record.Options{})
	d := draft("pier", 1)
	want := string(d.Body)
	w, err := r.Append(d, r.Head("pier"))
	require.NoError(t, err)
	clear(d.Body)
	require.NoError(t, w.Wait())
	got, err := r.ByRequestID(t.Context(), w.Entry.Request.ID)
	require.NoError(t, err)
	assert.Equal(t, want, string(got.Entry.Body))
	verifyWhole(t, r, 1)
}

// The memory of an entry's bytes is used again once it is flushed, unless somebody looked the entry up meanwhile: what he has stays as it was.
func TestWhatWasShownStays(t *testing.T) {
	var flushing sync.Mutex
	r := open(t, newPath(t), record.Options{Gather: func() {
		flushing.Lock()
		defer flushing.Unlock()
	}})
	for n := 1; n <= 50; n++ {
		d := draft("pier", n)
		flushing.Lock()
		w, err := r.Append(d, r.Head("pier"))
		require.NoError(t, err)
		assert.Nil(t, w.Entry.Body)
		assert.Nil(t, w.Entry.Stored)
		var shown record.Written
		if n%2 == 0 {
			shown, err = r.ByRequestID(t.Context(), d.Request.ID)
		} else {
			shown, err = r.ByLeaveID(t.Context(), d.LeaveIDs[0])
		}
		flushing.Unlock()
		require.NoError(t, err)
		require.NoError(t, w.Wait())
		for i := range 3 { // into that memory, if it were free
			_, err := r.Append(draft("other", 10*n+i), r.Head("other"))
			require.NoError(t, err)
		}
		require.Equal(t, string(d.Body), string(shown.Entry.Body))
		require.Equal(t, w.Entry.Hash, record.Hash(sha256.Sum256(shown.Entry.Stored)))
	}
}
