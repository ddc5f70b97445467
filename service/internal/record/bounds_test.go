package record

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// least is the smallest draft that can be kept: no rig, no asker, no request, nothing found.
func least() Draft {
	return Draft{Chain: "pier", Time: time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC), Index: Index{Kind: "reported"}, Body: []byte("body")}
}

// TestLeastDraftIsKept: only chain and kind must be named.
func TestLeastDraftIsKept(t *testing.T) {
	require.NoError(t, least().check())
	for name, empty := range map[string]func(*Draft){"chain": func(d *Draft) { d.Chain = "" }, "kind": func(d *Draft) { d.Kind = "" }} {
		d := least()
		empty(&d)
		assert.EqualError(t, d.check(), "the entry cannot be kept: "+name+" is empty")
	}
}

// TestEachTextIsBounded: 4,096 bytes are kept, one more is not, nor is anything but one line of UTF-8; the field is named, and it alone.
func TestEachTextIsBounded(t *testing.T) {
	for name, set := range map[string]func(*Draft, string){
		"chain":        func(d *Draft, v string) { d.Chain = v },
		"kind":         func(d *Draft, v string) { d.Kind = v },
		"rig":          func(d *Draft, v string) { d.Rig = v },
		"asker":        func(d *Draft, v string) { d.Asker = v },
		"request id":   func(d *Draft, v string) { d.Request.ID = v },
		"verdict":      func(d *Draft, v string) { d.Verdict = v },
		"sentence":     func(d *Draft, v string) { d.Sentence = v },
		"leave ids[0]": func(d *Draft, v string) { d.LeaveIDs = []string{v} },
		"rule ids[0]":  func(d *Draft, v string) { d.RuleIDs = []string{v} },
	} {
		d := least()
		set(&d, strings.Repeat("x", 4096))
		require.NoError(t, d.check(), name)
		set(&d, strings.Repeat("x", 4097))
		assert.EqualError(t, d.check(), "the entry cannot be kept: "+name+" has 4097 bytes, want at most 4096")
		for _, v := range []string{"two\nlines", "a\rb", "nul\x00", "\nfirst", "\rfirst", "\x00first", "\xff"} {
			set(&d, v)
			assert.EqualError(t, d.check(), "the entry cannot be kept: "+name+" is no single line of UTF-8", "%q", v)
		}
	}
}

// TestEachListIsBounded: 1,000 ids are kept, one more is not, and what is too long is not looked through.
func TestEachListIsBounded(t *testing.T) {
	for name, set := range map[string]func(*Draft, []string){
		"leave ids": func(d *Draft, v []string) { d.LeaveIDs = v },
		"rule ids":  func(d *Draft, v []string) { d.RuleIDs = v },
	} {
		var ids []string
		for i := range 1000 {
			ids = append(ids, fmt.Sprint(i))
		}
		d := least()
		set(&d, ids)
		require.NoError(t, d.check(), name)
		set(&d, append(ids, "0"))
		assert.EqualError(t, d.check(), "the entry cannot be kept: "+name+": 1001 of them, want at most 1000")
		set(&d, []string{"a", "b", "a"})
		assert.EqualError(t, d.check(), "the entry cannot be kept: "+name+`[2] repeats "a"`)
	}
	d := least()
	d.LeaveIDs, d.RuleIDs = []string{"a"}, []string{"a"}
	assert.NoError(t, d.check(), "one list does not repeat the other")
}

func TestBodyIsBounded(t *testing.T) {
	d := least()
	d.Body = make([]byte, 64<<20)
	require.NoError(t, d.check())
	d.Body = make([]byte, 64<<20+1)
	require.EqualError(t, d.check(), "the entry cannot be kept: body has 67108865 bytes, want at most 67108864")
	assert.ErrorIs(t, d.check(), ErrDraft)
}

// TestDigestNeedsItsID, and an id needs no digest.
func TestDigestNeedsItsID(t *testing.T) {
	d := least()
	d.Request.Digest = Hash{1}
	require.ErrorContains(t, d.check(), "a request digest without a request id")
	d.Request.ID = "q"
	require.NoError(t, d.check())
	d.Request.Digest = Hash{}
	require.NoError(t, d.check())
}

// unflushed is a record with nobody who flushes.
func unflushed() *Record {
	return &Record{chains: map[string]*chain{}, ids: newIDs(0), requests: map[string]*item{}, leaves: map[string]*item{}, wake: make(chan struct{}, 1), flushing: make(chan struct{}, 1)}
}

// TestWhatWaitsIsBounded: 10,000 entries or 256 MiB; what is refused leaves no trace.
func TestWhatWaitsIsBounded(t *testing.T) {
	for name, fill := range map[string]func(r *Record){
		"entries": func(r *Record) { r.queue = make([]*item, 9_999) },
		"bytes":   func(r *Record) { r.bytes = 256<<20 - 1 },
	} {
		r := unflushed()
		fill(r)
		before := r.bytes
		one := newItem(least(), Head{}, false)
		require.NoError(t, r.enqueue([]*item{one}, Head{}), name)
		assert.Equal(t, before+len(one.row.Body), r.bytes, "bodies that wait are counted")
		head := r.Head("pier")
		require.Equal(t, one.entry.Head(), head)
		d := least()
		d.Request.ID, d.LeaveIDs = "q", []string{"p"}
		err := r.enqueue([]*item{newItem(d, head, false)}, head)
		require.ErrorIs(t, err, ErrFull, name)
		assert.Contains(t, err.Error(), fmt.Sprintf("%d of them", len(r.queue)))
		assert.Equal(t, head, r.Head("pier"))
		assert.Empty(t, r.requests)
		assert.Empty(t, r.leaves)
	}
}

// TestNotHeadNamesBoth heads, by number and the first bytes of the hash.
func TestNotHeadNamesBoth(t *testing.T) {
	r := unflushed()
	one := newItem(least(), Head{}, false)
	require.NoError(t, r.enqueue([]*item{one}, Head{}))
	err := r.enqueue([]*item{newItem(least(), Head{}, false)}, Head{})
	require.ErrorIs(t, err, ErrNotHead)
	assert.ErrorContains(t, err, fmt.Sprintf(`chain "pier" is at entry 1 (%x), the draft was judged on 0 (00000000)`, one.entry.Hash[:4]))
}

// TestUnderWayIsFoundByItsIDs until it is flushed, and an entry without a request under none.
func TestUnderWayIsFoundByItsIDs(t *testing.T) {
	r := unflushed()
	none := newItem(least(), Head{}, false)
	require.NoError(t, r.enqueue([]*item{none}, Head{}))
	assert.Empty(t, r.requests, "no id is no id, not an empty one")
	d := least()
	d.Request.ID, d.LeaveIDs = "q", []string{"p1", "p2"}
	it := newItem(d, none.entry.Head(), false)
	require.NoError(t, r.enqueue([]*item{it}, none.entry.Head()))
	assert.Equal(t, map[string]*item{"q": it}, r.requests)
	assert.Equal(t, map[string]*item{"p1": it, "p2": it}, r.leaves)

	later := newItem(d, it.entry.Head(), false) // the same ids again, as no honest owner has them: the last is found
	require.NoError(t, r.enqueue([]*item{later}, it.entry.Head()))
	r.forget(it)
	assert.Equal(t, map[string]*item{"q": later}, r.requests, "an earlier one takes no later one with it")
	assert.Equal(t, map[string]*item{"p1": later, "p2": later}, r.leaves)
	r.forget(later)
	assert.Empty(t, r.requests)
	assert.Empty(t, r.leaves)
}

// TestLongRoomsAreNotKept: the memory of 128 KiB of an entry is used again, of one more it is not, nor of one that was shown.
func TestLongRoomsAreNotKept(t *testing.T) {
	for _, c := range []struct {
		bytes  int
		shown  bool
		reused bool
	}{{128 << 10, false, true}, {128<<10 + 1, false, false}, {128 << 10, true, false}} {
		it := &item{entry: Entry{Stored: make([]byte, c.bytes)}, shown: c.shown}
		r := new(Record)
		r.reuse(it)
		assert.Equal(t, c.reused, it.entry.Stored == nil, "%+v", c)
		given := false
		for range 100 { // a pool may lose things now and then: under the race detector it does by lot
			given = given || cap(r.room()) == c.bytes
			r.reuse(&item{entry: Entry{Stored: make([]byte, c.bytes)}, shown: c.shown})
		}
		assert.Equal(t, c.reused, given, "%+v", c)
	}
}

// TestFlushedEntriesGiveTheirMemory: what the next entry is written into.
func TestFlushedEntriesGiveTheirMemory(t *testing.T) {
	r := opened(t)
	for range 100 {
		keep(t, r, least())
		if r.room() != nil {
			return
		}
	}
	assert.Fail(t, "no flushed entry gave its memory")
}
