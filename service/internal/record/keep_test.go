package record_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/store"
)

// TestRequestIDs: the same id and bytes give the recorded entry, other bytes an error; also while the first is not yet
// flushed, on another chain, and after a restart.
func TestRequestIDs(t *testing.T) {
	disk := &faults.Disk{}
	path := newPath(t)
	r, err := record.Open(path, record.Options{Store: store.Options{Wrap: disk.Wrap}})
	require.NoError(t, err)
	held, release := disk.Hold()
	first, err := r.Append(draft("pier", 1), record.Head{})
	require.NoError(t, err)
	<-held
	check := func(when string, r *record.Record) {
		again, err := r.Append(draft("pier", 1), record.Head{})
		require.NoError(t, err, when)
		assert.True(t, again.Repeated, when)
		assert.Equal(t, first.Entry.Hash, again.Entry.Hash, when)
		other := draft("roof", 7)
		other.Request.ID = "pier-q1"
		_, err = r.Append(other, r.Head("roof"))
		require.ErrorIs(t, err, record.ErrReused, when)
		byLeave, err := r.ByLeaveID(t.Context(), "pier-permit1")
		require.NoError(t, err, when)
		assert.Equal(t, first.Entry.Hash, byLeave.Entry.Hash, when)
	}
	check("not yet flushed", r)
	release()
	require.NoError(t, first.Wait())
	check("flushed", r)
	require.NoError(t, r.Close())
	check("after a restart", open(t, path, record.Options{}))
}

// TestOneTurnPerID: 64 askers with one id at once make one entry.
func TestOneTurnPerID(t *testing.T) {
	r := open(t, newPath(t), record.Options{})
	var wg sync.WaitGroup
	var mu sync.Mutex
	made := 0
	for i := range 64 {
		wg.Go(func() {
			d := draft("pier", 1)
			d.Chain = fmt.Sprintf("chain%d", i%8)
			w, err := r.Append(d, record.Head{})
			if assert.NoError(t, err) && assert.NoError(t, w.Wait()) && !w.Repeated {
				mu.Lock()
				made++
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	assert.Equal(t, 1, made)
	verifyWhole(t, r, 1)
}

// TestManyAppenders: 64 at once on four chains, each judging again when the chain has moved on; nothing forks.
func TestManyAppenders(t *testing.T) {
	r := open(t, newPath(t), record.Options{})
	var wg sync.WaitGroup
	for i := range 64 {
		wg.Go(func() {
			chain := fmt.Sprintf("chain%d", i%4)
			for n := range 10 {
				d := draft(chain, i*100+n)
				for {
					w, err := r.Append(d, r.Head(chain))
					if err == nil {
						assert.NoError(t, w.Wait())
						break
					}
					if !assert.ErrorIs(t, err, record.ErrNotHead) {
						return
					}
				}
			}
		})
	}
	wg.Wait()
	verifyWhole(t, r, 640)
}

func TestRefusedDrafts(t *testing.T) {
	r := open(t, newPath(t), record.Options{})
	bad := record.Draft{Chain: "two\nlines", Time: time.Time{}, Index: record.Index{Kind: "state", Rig: "\xff", LeaveIDs: []string{"a", "a", ""}, Request: record.Request{Digest: record.Hash{1}}}}
	_, err := r.Append(bad, record.Head{})
	require.ErrorIs(t, err, record.ErrDraft)
	for _, want := range []string{"chain", "kind", "rig", `leave ids[1] repeats "a"`, "leave ids[2] is empty", "digest without", "time"} {
		assert.ErrorContains(t, err, want)
	}
	write(t, r, "pier", 1)
	_, err = r.Append(draft("pier", 2), record.Head{})
	require.ErrorIs(t, err, record.ErrNotHead, "a late writer")
}

// counter is an invented state: how many entries there were, and the last body.
type counter struct {
	n    int
	last string
}

func (c *counter) Apply(e record.Entry) error { c.n++; c.last = string(e.Body); return nil }
func (c *counter) State() ([]byte, error)     { return fmt.Appendf(nil, "%d %s", c.n, c.last), nil }

// TestStateEntries: entry 1,000 and 2,000 are states of the very head they follow; opening starts there and verify
// recomputes them.
func TestStateEntries(t *testing.T) {
	path := newPath(t)
	var state counter
	lie := false
	o := record.Options{State: func(chain string, on record.Head) []byte {
		body, _ := state.State()
		if lie {
			return append(body, '!')
		}
		return body
	}}
	r, err := record.Open(path, o)
	require.NoError(t, err)
	fill := func(from, to int) {
		var last record.Written
		for n := from; n <= to; n++ {
			d := draft("pier", n)
			w, err := r.Append(d, r.Head("pier"))
			require.NoError(t, err)
			w.Entry.Body = d.Body
			require.NoError(t, state.Apply(w.Entry))
			last = w
		}
		require.NoError(t, last.Wait())
	}
	fill(1, 1500)
	s, err := r.LastState(t.Context(), "pier")
	require.NoError(t, err)
	assert.Equal(t, uint64(1000), s.Number)
	assert.Equal(t, "999 body 999 of pier", string(s.Body))
	fold := func(string) record.Folder { return &counter{} }
	res, err := r.Verify(t.Context(), record.VerifyOptions{Fold: fold})
	require.NoError(t, err)
	assert.True(t, res.Whole, res.Sentence)
	require.NoError(t, r.Close())

	r = open(t, path, o)
	lie = true
	fill(1501, 2001)
	res, err = r.Verify(t.Context(), record.VerifyOptions{Fold: fold})
	require.NoError(t, err)
	require.NotNil(t, res.FirstWrong, res.Sentence)
	assert.Equal(t, uint64(2000), res.FirstWrong.Number)
	count := 0
	for e, err := range r.Scan(t.Context(), "pier", 2000) {
		require.NoError(t, err)
		assert.Equal(t, uint64(2000+count), e.Number)
		count++
	}
	assert.Equal(t, 4, count)
	_, err = r.LastState(t.Context(), "none")
	require.ErrorIs(t, err, record.ErrAbsent)
}

// TestFollow: from given places, from now on, with a filter; a slow reader misses nothing.
func TestFollow(t *testing.T) {
	r := open(t, newPath(t), record.Options{})
	pier := write(t, r, "pier", 1, 2, 3)
	write(t, r, "roof", 1)
	f, err := r.Follow(t.Context(), record.Filter{}, []record.Place{pier[0].Place()})
	require.NoError(t, err)
	fresh, err := r.Follow(t.Context(), record.Filter{Chains: []string{"roof"}}, nil)
	require.NoError(t, err)
	short, cancel := context.WithTimeout(t.Context(), time.Millisecond)
	defer cancel()
	_, err = fresh.Next(short)
	require.ErrorIs(t, err, context.DeadlineExceeded, "nothing new yet")
	write(t, r, "pier", numbers(203)[3:]...)
	write(t, r, "roof", 2)
	for n := uint64(2); n <= 203; n++ {
		e, err := f.Next(t.Context())
		require.NoError(t, err)
		require.Equal(t, "pier", e.Chain)
		require.Equal(t, n, e.Number)
	}
	for _, follower := range []*record.Follower{f, fresh} {
		e, err := follower.Next(t.Context())
		require.NoError(t, err)
		require.Equal(t, "roof 2", fmt.Sprint(e.Chain, " ", e.Number))
		require.NotEmpty(t, e.Body)
	}
	_, err = r.Follow(t.Context(), record.Filter{}, []record.Place{{Chain: "pier", Number: 2, Hash: record.Hash{9}}})
	require.ErrorIs(t, err, record.ErrLost)
	ended := make(chan error)
	go func() { _, err := f.Next(context.Background()); ended <- err }()
	require.NoError(t, r.Close())
	require.ErrorIs(t, <-ended, record.ErrClosed)
	withdrawal := draft("pier", 999)
	withdrawal.Request = record.Request{}
	for _, d := range []record.Draft{draft("pier", 999), withdrawal} {
		_, err = r.Append(d, r.Head("pier"))
		require.ErrorIs(t, err, record.ErrClosed)
	}
}

// TestFollowFromSeveralPlaces: each chain goes on behind its own, however far apart they are in the file; number 0 is before the first.
func TestFollowFromSeveralPlaces(t *testing.T) {
	r := open(t, newPath(t), record.Options{})
	pier := write(t, r, "pier", 1, 2, 3)
	write(t, r, "roof", 1, 2)
	write(t, r, "shed", 1)
	f, err := r.Follow(t.Context(), record.Filter{}, []record.Place{pier[1].Place(), {Chain: "roof"}})
	require.NoError(t, err)
	write(t, r, "shed", 2)
	for _, want := range []string{"pier 3", "roof 1", "roof 2", "shed 2"} {
		e, err := f.Next(t.Context())
		require.NoError(t, err)
		require.Equal(t, want, fmt.Sprint(e.Chain, " ", e.Number))
	}
	f, err = r.Follow(t.Context(), record.Filter{}, []record.Place{{Chain: "pier"}})
	require.NoError(t, err)
	e, err := f.Next(t.Context())
	require.NoError(t, err)
	assert.Equal(t, pier[0].Hash, e.Hash, "the first entry of the file")
}

// TestStatesOfHeadsOnly: the owner is asked for a state on the head of the chain and on nothing else, and an owner without states has none.
func TestStatesOfHeadsOnly(t *testing.T) {
	var on []record.Head
	r := open(t, newPath(t), record.Options{StateEvery: 1, State: func(_ string, h record.Head) []byte {
		on = append(on, h)
		return []byte("state")
	}})
	first := write(t, r, "pier", 1)[0]
	_, err := r.Append(draft("pier", 2), record.Head{Number: 1, Hash: record.Hash{9}})
	require.ErrorIs(t, err, record.ErrNotHead)
	assert.Empty(t, on)
	write(t, r, "pier", 2)
	assert.Equal(t, []record.Head{first.Head()}, on)
	without := open(t, newPath(t), record.Options{StateEvery: 1})
	write(t, without, "pier", 1, 2, 3)
	verifyWhole(t, without, 3)
}

func TestList(t *testing.T) {
	r := open(t, newPath(t), record.Options{})
	for n := 1; n <= 25; n++ {
		d := draft("pier", n)
		d.Rig = []string{"east", "west"}[n%2]
		d.Verdict = []string{"allow", "hold", "deny"}[n%3]
		d.RuleIDs = []string{"sky/floor", "pose/fresh"}[n%2 : n%2+1]
		w, err := r.Append(d, r.Head("pier"))
		require.NoError(t, err)
		require.NoError(t, w.Wait())
	}
	all := func(f record.Filter, oldest bool) (got []uint64) {
		page := record.Page{Size: 4, OldestFirst: oldest}
		for {
			list, next, err := r.List(t.Context(), f, page)
			require.NoError(t, err)
			for _, e := range list {
				assert.Nil(t, e.Body)
				got = append(got, e.Number)
			}
			if next == 0 {
				return got
			}
			page.After = next
		}
	}
	var up, down []uint64
	for n := uint64(1); n <= 25; n++ {
		up, down = append(up, n), append(down, 26-n)
	}
	assert.Equal(t, down, all(record.Filter{}, false))
	assert.Equal(t, up, all(record.Filter{}, true))
	assert.Equal(t, []uint64{25, 23, 21, 19, 17, 15, 13, 11, 9, 7, 5, 3, 1}, all(record.Filter{Rigs: []string{"west"}}, false))
	assert.Equal(t, []uint64{2, 8, 14, 20}, all(record.Filter{Rigs: []string{"east"}, Verdicts: []string{"deny"}}, true))
	assert.Equal(t, []uint64{24, 22, 20}, all(record.Filter{RuleIDs: []string{"sky/floor", "x"}, From: noon.Add(20 * time.Second), Before: noon.Add(25 * time.Second), Kinds: []string{"asked"}}, false))
	assert.Empty(t, all(record.Filter{Chains: []string{"roof"}}, false))
}

// TestHeadsGoByTheFile: by a symbolic link the heads are kept and found beside the record itself.
func TestHeadsGoByTheFile(t *testing.T) {
	path := newPath(t)
	require.NoError(t, os.WriteFile(path, nil, 0o600))
	link := filepath.Join(t.TempDir(), "link")
	require.NoError(t, os.Symlink(path, link))
	r := open(t, link, record.Options{})
	last := write(t, r, "pier", 1, 2)[1].Place()
	require.NoError(t, r.KeepHeads())
	assert.FileExists(t, path+"-heads")
	for _, by := range []string{path, link} {
		kept, err := record.KeptHeads(by)
		require.NoError(t, err)
		assert.Equal(t, []record.Place{last}, kept)
	}
	require.NoError(t, os.Remove(link))
	require.NoError(t, os.Symlink(path+"-gone", link))
	_, err := record.KeptHeads(link)
	require.ErrorIs(t, err, record.ErrHeads)
	_, err = record.Open(link, record.Options{})
	require.ErrorIs(t, err, store.ErrOpen)
}
