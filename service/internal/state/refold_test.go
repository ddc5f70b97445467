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

// TestRefoldGivesWhatFoldGives, of drawn entries, one on the other; what the fold does not read may be anything at all, and what it reads is wanted as ever.
func TestRefoldGivesWhatFoldGives(t *testing.T) {
	g := rand.New(rand.NewPCG(20261129, 1))
	whole, lean := NewFold("heron"), NewRefold("heron")
	for n := range 200 {
		var d Body
		fill(g, reflect.ValueOf(&d).Elem(), 0)
		b := Body{ // without what Write says itself
			Event: Event{After: d.Event.After, Set: d.Event.Set, Released: d.Event.Released}, Question: d.Question, Snapshot: d.Snapshot, Facts: d.Facts,
			Findings: d.Findings, Notices: d.Notices, Taken: d.Taken, Revs: d.Revs, Request: d.Request, Response: d.Response, Count: d.Count,
		}
		body, err := whole.(*Fold).Chain.Write(nil, b)
		require.NoError(t, err)
		e := record.Entry{Number: uint64(n + 1), Body: body}
		require.NoError(t, whole.Apply(e))
		require.NoError(t, lean.Apply(e))
		require.Equal(t, whole.(*Fold).Chain, lean.(*Fold).Chain)
	}
	state, err := whole.State()
	require.NoError(t, err)
	require.NoError(t, lean.Apply(record.Entry{State: true, Body: state}))
	require.NoError(t, lean.Apply(record.Entry{Body: []byte(`{"v":2,"event":{},"facts":7,"findings":"none","request":[1]}`)}))
	for _, body := range []string{`{"v":2,"event":7}`, `{"v":2,"event":{},"snapshot":7}`, `{"v":2,"event":{"changed":{"epoch":1}}}`, `{"v":2,`, ``} {
		require.Error(t, lean.Apply(record.Entry{Body: []byte(body)}), body)
	}
	require.ErrorIs(t, lean.Apply(record.Entry{Body: []byte(`{"v":99,"event":7}`)}), ErrNewer)
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
