package state

import (
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/record"
)

// drawnBody is a body by lot, without what Write says itself. Now and then nothing happened, or the solves are those that the chain has.
func drawnBody(g *rand.Rand, c Chain) Body {
	var d Body
	fill(g, reflect.ValueOf(&d).Elem(), 0)
	b := Body{
		Event: Event{After: d.Event.After}, Question: d.Question, Snapshot: d.Snapshot, Facts: d.Facts, Findings: d.Findings, Notices: d.Notices,
		Taken: d.Taken, Revs: d.Revs, Request: d.Request, Response: d.Response, Count: d.Count,
	}
	if g.IntN(4) == 0 {
		b.Event.Set, b.Event.Released = d.Event.Set, d.Event.Released
	}
	if b.Event.After != nil && g.IntN(2) == 0 {
		b.Event.After.Solves = c.Rig.Solves
	}
	if b.Snapshot != nil && g.IntN(2) == 0 {
		b.Snapshot.Rig.Solves, b.Snapshot.Locks = c.Rig.Solves, nil
	}
	return b
}

// TestRefoldGivesWhatFoldGives, of drawn entries, whenever it is asked; most are not read at all.
func TestRefoldGivesWhatFoldGives(t *testing.T) {
	g := rand.New(rand.NewPCG(20261129, 1))
	whole, lean := NewFold("heron").(*Fold), NewRefold("heron").(*Fold)
	postponed, dropped := 0, 0
	for n := range 800 {
		drawn := drawnBody(g, whole.Chain)
		body, err := whole.Chain.Write(nil, drawn)
		require.NoError(t, err)
		e := record.Entry{Number: uint64(n + 1), Body: body}
		waits := lean.later != nil
		before := lean.Chain
		require.NoError(t, whole.Apply(e))
		require.NoError(t, lean.Apply(e))
		read, err := Decode(body)
		require.NoError(t, err)
		require.Equal(t, len(drawn.Revs) > 0, len(read.Revs) > 0)
		require.Equal(t, read.Revs, lean.Revisions(), "entry %d", n)
		if lean.later != nil {
			postponed++
			if waits && reflect.DeepEqual(before, lean.Chain) {
				dropped++
			}
		}
		switch g.IntN(20) {
		case 0:
			c, err := lean.Settled()
			require.NoError(t, err)
			require.Equal(t, whole.Chain, c, "entry %d", n)
			require.Nil(t, lean.later)
		case 1:
			want, err := whole.State()
			require.NoError(t, err)
			got, err := lean.State()
			require.NoError(t, err)
			require.Equal(t, string(want), string(got))
		case 2:
			state, err := whole.State()
			require.NoError(t, err)
			require.NoError(t, whole.Apply(record.Entry{State: true, Body: state}))
			require.NoError(t, lean.Apply(record.Entry{State: true, Body: state}))
		}
	}
	assert.Greater(t, postponed, 150)
	assert.Greater(t, dropped, 30)
}

// TestRefoldReadsWhatItNeeds: what the fold does not read may be anything, what it reads is wanted as ever, once nothing comes that makes it needless.
func TestRefoldReadsWhatItNeeds(t *testing.T) {
	const after = `{"v":2,"event":{"after":{"epoch":5}}}`
	for _, c := range []struct {
		bodies []string
		epoch  uint64
		fails  string // at the last, or when settled
	}{
		{bodies: []string{`{"v":2,"event":{"after":{"epoch":4}},"facts":7,"findings":"none","request":[1]}`}, epoch: 4},
		{bodies: []string{after, `{"v":2,"event":{},"facts":7}`}, epoch: 5},
		{bodies: []string{`{"v":2,"event":{"after":7}}`, after}, epoch: 5},
		{bodies: []string{`{"v":1,"event":{"after":7}}`, after}, epoch: 5},
		{bodies: []string{`{"v":2,"event":{"after":7}}`, `{"v":2,"event":{}}`, after}, epoch: 5},
		{bodies: []string{`{"v":2,"event":{"after":7}}`, `{"v":2,"event":{"changed":{"epoch":6}},"snapshot":{"rig":{"epoch":1}}}`}, epoch: 6},
		{bodies: []string{`{"v":2,"event":{"after":7}}`, `{"v":2,"event":{}}`}, fails: "after"},
		{bodies: []string{`{"v":2,"event":{"after":7}}`, `{"v":0,"event":{"after":{"epoch":6}}}`}, fails: "after"},
		{bodies: []string{`{"v":2,"count":1,"event":{"after":7}}`, after}, fails: "after"},
		{bodies: []string{`2,"event":{"after":7}}`, after}, fails: "top-level"},
		{bodies: []string{`{"v":2,"event":{"after":7}}`, `{"v":2,"event":{"after":{"epoch":6}},"solves_before":true}`}, fails: "after"},
		{bodies: []string{`{"v":2,"event":{"after":7}}`, `{"v":2,"event":{"released":["l1"]}}`}, fails: "after"},
		{bodies: []string{`{"v":2,"event":{"after":7,"set":[]}}`}, fails: "after"},
		{bodies: []string{`{"v":2,"event":{"after":7,"released":[]}}`}, fails: "after"},
		{bodies: []string{`{"v":0,"event":{"after":7}}`, after}, fails: "after"},
		{bodies: []string{`{"event":{"after":7}}`, after}, fails: "after"},
		{bodies: []string{`{"v":99,"event":{}}`}, fails: "newer"},
		{bodies: []string{`{"v":2,"event":7}`}, fails: "event"},
		{bodies: []string{`{"v":2,"event":{"after":{"epoch":5}},"snapshot":7}`}, fails: "snapshot"},
		{bodies: []string{`{"v":2,"event":{"changed":{"epoch":1}}}`}, fails: "since when"},
		{bodies: []string{`{"v":2,`}, fails: "unexpected end"},
		{bodies: []string{``}, fails: "unexpected end"},
	} {
		f := NewRefold("heron").(*Fold)
		var err error
		for _, body := range c.bodies {
			if err == nil {
				err = f.Apply(record.Entry{Body: []byte(body)})
			}
		}
		if err == nil {
			err = f.Settle()
		}
		if c.fails != "" {
			require.ErrorContains(t, err, c.fails, "%v", c.bodies)
			continue
		}
		require.NoError(t, err, "%v", c.bodies)
		assert.EqualValues(t, c.epoch, f.Chain.Rig.Epoch, "%v", c.bodies)
	}
	require.Error(t, NewFold("heron").Apply(record.Entry{Body: []byte(`{"v":2,"event":{},"facts":7}`)}), "who verifies reads all of it")
	unreadable := NewRefold("heron").(*Fold)
	require.NoError(t, unreadable.Apply(record.Entry{Body: []byte(`{"v":2,"event":{"after":7}}`)}), "the next entry may leave nothing of it")
	_, err := unreadable.State()
	require.ErrorContains(t, err, "after", "there is no state of what cannot be read")
}

// TestUnreadIsOfABody: each name that hides one hides one that is there.
func TestUnreadIsOfABody(t *testing.T) {
	names := func(of reflect.Type) (out []string) {
		for i := range of.NumField() {
			name, _, _ := strings.Cut(of.Field(i).Tag.Get("json"), ",")
			out = append(out, name)
		}
		return out
	}
	all := names(reflect.TypeFor[Body]())
	for _, name := range slices.DeleteFunc(names(reflect.TypeFor[leanBody]()), func(s string) bool { return s == "" }) {
		assert.Contains(t, all, name)
	}
}

// TestRevisionsOfTheLastEntry: what a text says of them counts for nothing, nor what the state between two entries holds.
func TestRevisionsOfTheLastEntry(t *testing.T) {
	f := NewRefold("heron").(*Fold)
	assert.Nil(t, f.Revisions())
	apply := func(b Body) {
		t.Helper()
		body, err := f.Chain.Write(nil, b)
		require.NoError(t, err)
		require.NoError(t, f.Apply(record.Entry{Body: body}))
	}
	revs := map[string]string{"rig": "5d", "limits": "36"}
	apply(Body{Revs: revs, Request: Exchanged{Type: `x,"revisions":{"rig":"00"}`}})
	assert.Equal(t, revs, f.Revisions())
	held, err := f.State()
	require.NoError(t, err)
	require.NoError(t, f.Apply(record.Entry{State: true, Body: held}))
	assert.Equal(t, revs, f.Revisions())
	apply(Body{})
	assert.Nil(t, f.Revisions())
	f.last = []byte(`{"v":3,"event":{},"revisions":{"rig":7}}`)
	assert.Nil(t, f.Revisions())
}
