package decide_test

import (
	"context"
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/store"
)

// losses are what a verification of the bench's record finds on it, which is whole.
func (b *bench) losses() []string {
	b.t.Helper()
	var found decide.Losses
	res, err := record.VerifyFile(context.Background(), b.path, record.VerifyOptions{Fold: found.Fold}, store.Options{})
	require.NoError(b.t, err)
	require.True(b.t, res.Whole, res.Sentence)
	return found.Sentences()
}

// TestLossesOnRecord: a loss stays on record, with who accepted it. Other locks are none, whatever a person writes as the reason.
func TestLossesOnRecord(t *testing.T) {
	b := newBench(t)
	b.home()
	const like = "a door is open: look at every rig, home it, then release this lock to accept the loss"
	_, _, _, err := b.d.Lock("", "A. Person", like, b.clock(), request("lock-00000000001", "x"))
	require.NoError(t, err)
	_, _, _, err = b.d.Lock("heron", decide.Ourselves, "it dragged", b.clock(), decide.Request{})
	require.NoError(t, err)
	assert.Empty(t, b.losses())

	require.NoError(t, b.d.TakeLoss(nil, "the heads do not fit"))
	first := b.d.Held()[1].ID
	require.NoError(t, b.d.TakeLoss([]record.Place{{Chain: "heron", Number: 9}}, "entries of the record are gone"))
	assert.Equal(t, []string{
		"A loss is on record in service/2, and nobody has accepted it yet: the heads do not fit.",
		"A loss is on record in service/3, and nobody has accepted it yet: entries of the record are gone.",
	}, b.losses())
	_, _, err = b.d.Release([]string{b.d.Held()[0].ID}, "C. Person", "the door is shut", b.clock(), request("free-00000000001", "x"))
	require.NoError(t, err)
	_, _, err = b.d.Release([]string{first}, "B. Person", "looked at it", b.clock(), request("free-00000000002", "y"))
	require.NoError(t, err)
	var ofRig decide.Losses
	res, err := record.VerifyFile(t.Context(), b.path, record.VerifyOptions{Chain: "heron", Fold: ofRig.Fold}, store.Options{})
	require.NoError(t, err)
	require.True(t, res.Whole)
	assert.Equal(t, []string{
		"A loss is on record in heron/5: entries are gone from the record. Which, and who accepted it, is told by the chain service.",
	}, ofRig.Sentences(), "of a rig's chain alone")
	b.restart()
	assert.Equal(t, []string{
		"A loss is on record in service/2, and it was accepted by B. Person in service/5: the heads do not fit.",
		"A loss is on record in service/3, and nobody has accepted it yet: entries of the record are gone.",
	}, b.losses())
}

// TestLossesAreVerified: what looks for losses hides nothing that the fold finds wrong.
func TestLossesAreVerified(t *testing.T) {
	var found decide.Losses
	fold := found.Fold("service")
	for _, kind := range []string{"lock", "reported"} {
		err := fold.Apply(record.Entry{Chain: "service", Number: 1, Index: record.Index{Kind: kind}, Body: []byte(`{"v":99}`)})
		require.ErrorContains(t, err, "newer", kind)
	}
	assert.Empty(t, found.Sentences())
	body, err := json.Marshal(state.Body{V: state.Version, Event: state.Event{Set: []question.Lock{{
		ID: "x", SetBy: decide.Ourselves, Reason: "it slipped: look at every rig, home it, then release this lock to accept the loss",
	}}}})
	require.NoError(t, err)
	for why, c := range map[string]struct {
		asker string
		kind  pose.Kind
		says  string
		code  pose.Code
		want  int
	}{
		"ours":                            {decide.Ourselves, pose.PoseLost, "in other words", pose.EntriesGone, 1},
		"of another code":                 {decide.Ourselves, pose.PoseLost, "entries are gone from the record: home", "another", 0},
		"of before there were codes":      {decide.Ourselves, pose.PoseLost, "entries are gone from the record: home", "", 1},
		"another asker's":                 {"night script", pose.PoseLost, "entries are gone from the record: home", pose.EntriesGone, 0},
		"of another kind, without a code": {decide.Ourselves, pose.ActTaken, "entries are gone from the record: home", "", 0},
		"for another loss":                {decide.Ourselves, pose.PoseLost, "a clutch was opened", "", 0},
	} {
		told, err := json.Marshal(state.Body{V: state.Version, Event: state.Event{After: &question.RigState{}}, Notices: []pose.Notice{{Kind: c.kind, Sentence: c.says, Code: c.code}}})
		require.NoError(t, err)
		var found decide.Losses
		require.NoError(t, found.Fold("heron").Apply(record.Entry{Chain: "heron", Number: 1, Index: record.Index{Kind: state.Reported, Asker: c.asker}, Body: told}))
		assert.Len(t, found.Sentences(), c.want, why)
	}
	for name, order := range map[string][]string{"service first": {"service", "heron"}, "service last": {"heron", "service"}} {
		told, err := json.Marshal(state.Body{V: state.Version, Event: state.Event{After: &question.RigState{}}, Notices: []pose.Notice{{Kind: pose.PoseLost, Sentence: "entries are gone from the record: home"}}})
		require.NoError(t, err)
		var found decide.Losses
		for _, chain := range order {
			if fold := found.Fold(chain); chain == "heron" {
				require.NoError(t, fold.Apply(record.Entry{Chain: chain, Number: 1, Index: record.Index{Kind: state.Reported, Asker: decide.Ourselves}, Body: told}))
			}
		}
		assert.Empty(t, found.Sentences(), "%s: it is among those of that chain", name)
	}
	require.ErrorContains(t, (&decide.Losses{}).Fold("heron").Apply(record.Entry{Chain: "heron", Number: 1, Index: record.Index{Kind: state.Reported, Asker: decide.Ourselves}, Body: []byte(`{"v":99}`)}), "newer")
	for kind, want := range map[string]int{"reported": 0, "lock": 1} {
		var found decide.Losses
		require.NoError(t, found.Fold("heron").Apply(record.Entry{Chain: "heron", Number: 1, Index: record.Index{Kind: kind}, Body: body}))
		assert.Len(t, found.Sentences(), want, kind)
	}
}
