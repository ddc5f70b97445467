package record_test

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/store"
)

// verified turns what a verification found into an answer or an error.
func verified(res record.Result, err error) (string, error) {
	if err == nil && !res.Whole {
		err = errors.New(res.Sentence)
	}
	return res.Sentence, err
}

// ways are the ways to read a record of pier 1, 2, state, 4 and roof 1, and what each finds.
func ways(r *record.Record, path string, wrapped store.Options, pier []record.Entry) map[string]func(context.Context) (string, error) {
	place := func(e record.Entry, err error) (string, error) { return fmt.Sprint(e.Chain, " ", e.Number), err }
	receipts := []record.Place{pier[1].Place()}
	return map[string]func(context.Context) (string, error){
		"get": func(ctx context.Context) (string, error) { return place(r.Get(ctx, "pier", 2)) },
		"request": func(ctx context.Context) (string, error) {
			w, err := r.ByRequestID(ctx, pier[1].Request.ID)
			return place(w.Entry, err)
		},
		"repeat": func(context.Context) (string, error) {
			w, err := r.Append(draft("pier", 2), r.Head("pier"))
			return place(w.Entry, err)
		},
		"leave": func(ctx context.Context) (string, error) {
			w, err := r.ByLeaveID(ctx, pier[1].LeaveIDs[0])
			return place(w.Entry, err)
		},
		"state": func(ctx context.Context) (string, error) { return place(r.LastState(ctx, "pier")) },
		"list": func(ctx context.Context) (string, error) {
			list, next, err := r.List(ctx, record.Filter{}, record.Page{Size: 4})
			return fmt.Sprint(len(list), " ", next), err
		},
		"follow": func(ctx context.Context) (string, error) {
			f, err := r.Follow(ctx, record.Filter{}, receipts)
			if err != nil {
				return "", err
			}
			return place(f.Next(ctx))
		},
		"scan": func(ctx context.Context) (out string, err error) {
			for e, err := range r.Scan(ctx, "pier", 1) {
				if err != nil {
					return "", err
				}
				out += fmt.Sprint(e.Number)
			}
			return out, nil
		},
		"verify": func(ctx context.Context) (string, error) {
			return verified(r.Verify(ctx, record.VerifyOptions{Receipts: receipts}))
		},
		"verify file": func(ctx context.Context) (string, error) {
			return verified(record.VerifyFile(ctx, path, record.VerifyOptions{Receipts: receipts}, wrapped))
		},
		"open": func(context.Context) (string, error) {
			again, err := record.Open(path+".closed", record.Options{Receipts: receipts, Store: wrapped})
			if err != nil {
				return "", err
			}
			return fmt.Sprint(again.Head("pier").Number, again.Head("roof").Number), again.Close()
		},
	}
}

// found is what the ways find while the disk works.
var found = map[string]string{
	"get": "pier 2", "request": "pier 2", "repeat": "pier 2", "leave": "pier 2", "state": "pier 3", "list": "4 2",
	"follow": "pier 3", "scan": "1234", "verify": "The record is whole: 5 entries in 2 chains, and 1 receipt found in it.",
	"verify file": "The record is whole: 5 entries in 2 chains, and 1 receipt found in it.", "open": "4 1",
}

// TestEveryReadFailing fails the n-th read of each way to read, n = 1, 2, … until a run ends clean: the failure is told, and what could not be
// read is never taken for what is not there.
func TestEveryReadFailing(t *testing.T) {
	disk, path := &faults.Disk{}, newPath(t)
	wrapped := store.Options{Wrap: disk.Wrap}
	make := func(path string) (*record.Record, []record.Entry) {
		r := open(t, path, record.Options{StateEvery: 3, State: func(string, record.Head) []byte { return []byte("state") }, Store: wrapped})
		pier := write(t, r, "pier", 1, 2, 3)
		write(t, r, "roof", 1)
		return r, pier
	}
	closed, _ := make(path + ".closed")
	require.NoError(t, closed.Close())
	r, pier := make(path)
	for name, read := range ways(r, path, wrapped, pier) {
		t.Run(name, func(t *testing.T) {
			n, failed, without := 1, true, 0
			for ; failed; n++ {
				require.Less(t, n, 200, "the loop does not end")
				disk.FailAtOnly("read", n, faults.Before, false)
				got, err := read(t.Context())
				failed = disk.Count() >= n
				disk.Heal()
				if failed && name == "open" && err == nil {
					without++ // the filter of ids is empty then, and the disk is asked
					require.Equal(t, found[name], got)
				} else if failed {
					require.ErrorContains(t, err, "injected fault: before read", "read %d: %s", n, got)
				} else {
					require.NoError(t, err)
					assert.Equal(t, found[name], got)
				}
			}
			assert.Equal(t, map[bool]int{true: 2}[name == "open"], without)
			assert.Greater(t, n, 2, "it reads")
		})
	}
}

// A request id of an entry that is marked, and so found on the disk alone, is never taken for an unknown one where the disk cannot be read.
func TestRequestIDThatCannotBeRead(t *testing.T) {
	disk, path := &faults.Disk{}, newPath(t)
	r := open(t, path, record.Options{})
	pier := write(t, r, "pier", 1)
	require.NoError(t, r.Close())
	r = open(t, path, record.Options{Store: store.Options{Wrap: disk.Wrap}})
	disk.FailAtOnly("read", 1, faults.Before, true)
	_, err := r.ByRequestID(t.Context(), pier[0].Request.ID)
	require.ErrorContains(t, err, "injected fault: before read")
	require.NotErrorIs(t, err, record.ErrAbsent)
	disk.Heal()
	w, err := r.ByRequestID(t.Context(), pier[0].Request.ID)
	require.NoError(t, err)
	assert.Equal(t, pier[0].Hash, w.Entry.Hash)
}

// Another connection is opened for each sixteen chains, and none that no core is there for.
func TestReadersOfChains(t *testing.T) {
	for _, c := range [][3]int{{0, 8, 1}, {15, 8, 1}, {16, 8, 2}, {31, 8, 2}, {32, 8, 3}, {1000, 4, 4}, {1000, 1, 1}} {
		assert.Equal(t, c[2], record.ReadersFor(c[0], c[1]), "%d chains, %d cores", c[0], c[1])
	}
}

// TestReadingGivenUp is told as that: nothing is said of an entry that was not read, and nothing counts as verified.
func TestReadingGivenUp(t *testing.T) {
	path := newPath(t)
	r := open(t, path, record.Options{StateEvery: 3, State: func(string, record.Head) []byte { return []byte("state") }})
	pier := write(t, r, "pier", 1, 2, 3)
	write(t, r, "roof", 1)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	for name, read := range ways(r, path, store.Options{}, pier) {
		if name == "open" || name == "repeat" {
			continue // they take no context
		}
		_, err := read(ctx)
		require.ErrorIs(t, err, context.Canceled, name)
		var at *record.EntryError
		assert.False(t, errors.As(err, &at), "%s: %v", name, err)
	}
}

// seen is a fold that notes what it is shown, and fails at an entry.
type seen struct {
	chain   string
	numbers []uint64
	failsAt uint64
}

func (s *seen) Apply(e record.Entry) error {
	if e.Number == s.failsAt {
		return errors.New("not to be folded")
	}
	s.numbers = append(s.numbers, e.Number)
	return nil
}

func (s *seen) State() ([]byte, error) { return nil, nil }

// settling is a fold that puts off what it is shown, and cannot do it in the end.
type settling struct{ seen }

func (w *settling) Settle() error { return fmt.Errorf("put off: %v", w.numbers) }

// TestManyChainsAreReadOnce: chains that are read side by side are each folded, and of two that are wrong the first by name is told.
func TestManyChainsAreReadOnce(t *testing.T) {
	path := newPath(t)
	r, err := record.Open(path, record.Options{})
	require.NoError(t, err)
	var names []string
	var last []record.Entry
	for i := range 50 {
		names = append(names, fmt.Sprintf("chain-%02d", i))
		last = write(t, r, names[i], 1, 2)
	}
	require.NoError(t, r.Close())
	r, err = record.Open(path, record.Options{Fold: func(chain string) record.Folder {
		if chain == names[7] {
			return &settling{seen{chain: chain}}
		}
		if chain == names[8] {
			return &settling{seen{chain: chain, failsAt: 2}}
		}
		return &seen{chain: chain}
	}})
	require.NoError(t, err)
	for i, name := range names {
		got, err := r.Folded(name)
		if i == 7 {
			require.ErrorContains(t, err, "put off: [1 2]")
			continue
		}
		if i == 8 {
			require.ErrorContains(t, err, "not to be folded")
			continue
		}
		require.NoError(t, err)
		assert.Equal(t, &seen{chain: name, numbers: []uint64{1, 2}}, got)
	}
	gone := record.Place{Chain: names[3], Number: 9}
	lacks, err := r.Lacks(t.Context(), []record.Place{last[0].Place(), last[1].Place(), gone})
	require.NoError(t, err)
	assert.Equal(t, []record.Place{gone}, lacks)
	require.NoError(t, r.Close())
	change(t, path, `UPDATE entry SET rig = 'another' WHERE chain IN ('chain-11', 'chain-43') AND number = 2`)
	for range 5 {
		_, err = record.Open(path, record.Options{})
		require.ErrorContains(t, err, `entry 2 of chain "chain-11"`)
	}
}

// TestFoldedAsItWasRead: what is read of each chain when the file is opened, from its last state entry on, is had once, and only while the chain stands
// there; what cannot be folded is told to who asks, and keeps nobody from opening the file.
func TestFoldedAsItWasRead(t *testing.T) {
	path := newPath(t)
	r, err := record.Open(path, record.Options{StateEvery: 2, State: func(string, record.Head) []byte { return []byte("{}") }})
	require.NoError(t, err)
	write(t, r, "pier", 1, 2, 3) // 1, a state, 3, a state, 5
	write(t, r, "roof", 1, 2)
	write(t, r, "well", 1)
	assert.Nil(t, must(r.Folded("pier")), "nothing was asked for")
	require.NoError(t, r.Close())
	r = open(t, path, record.Options{Fold: func(chain string) record.Folder {
		return &seen{chain: chain, failsAt: map[string]uint64{"roof": 2}[chain]}
	}})
	assert.Equal(t, &seen{chain: "pier", numbers: []uint64{4, 5}}, must(r.Folded("pier")))
	assert.Nil(t, must(r.Folded("pier")), "once")
	assert.Nil(t, must(r.Folded("moat")), "no such chain")
	got, err := r.Folded("roof")
	require.ErrorContains(t, err, "not to be folded")
	assert.Empty(t, got.(*seen).numbers, "nothing is shown to it after that")
	write(t, r, "well", 2)
	assert.Nil(t, must(r.Folded("well")), "the chain has gone on")
}

func must(f record.Folder, err error) record.Folder {
	if err != nil {
		panic(err)
	}
	return f
}

// TestVerifiedWhileItIsOpened: a closed record that a service opens while it is verified is not judged by what was read of it by then; verified again it is.
func TestVerifiedWhileItIsOpened(t *testing.T) {
	path := newPath(t)
	r, err := record.Open(path, record.Options{})
	require.NoError(t, err)
	write(t, r, "pier", numbers(300)...)
	require.NoError(t, r.Close())
	res, err := record.VerifyFile(t.Context(), path, record.VerifyOptions{Progress: func(uint64) {
		if r.Down() != nil { // closed; the first time
			r = open(t, path, record.Options{})
			write(t, r, "roof", 1)
		}
	}}, store.Options{})
	require.ErrorIs(t, err, store.ErrChanged)
	assert.Zero(t, res)
	res, err = record.VerifyFile(t.Context(), path, record.VerifyOptions{}, store.Options{})
	require.NoError(t, err)
	assert.True(t, res.Whole, res.Sentence)
	assert.EqualValues(t, 301, res.Count)
}
