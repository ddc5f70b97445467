package state_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
)

var evening = time.Date(2026, 11, 14, 18, 0, 0, 0, time.UTC)

func lock(id string, after time.Duration) question.Lock {
	return question.Lock{ID: id, Rig: "heron", SetBy: "A. Person", Reason: "hands inside", Set: evening.Add(after)}
}

func ids(locks []question.Lock) []string {
	out := []string{}
	for _, l := range locks {
		out = append(out, l.ID)
	}
	return out
}

// entry is an entry of a chain with a body.
func entry(t *testing.T, e state.Event) record.Entry {
	t.Helper()
	body, err := state.New().Write(nil, state.Body{Event: e})
	require.NoError(t, err)
	return record.Entry{Body: body}
}

func TestNothingIsKnownAtFirst(t *testing.T) {
	c := state.New()
	assert.Equal(t, question.Unknown, c.Rig.Pose.State)
	assert.NotEmpty(t, c.Rig.Pose.Because)
	assert.Empty(t, c.Held())
	assert.False(t, c.Rig.Permit.Open())
}

// TestBodiesComeBack as they were written, with the version of this program whatever stood there.
func TestBodiesComeBack(t *testing.T) {
	after := state.New().Rig
	after.Epoch = 7
	set := facts.Set{}
	set.Number("altitude_min_deg", 3.5, facts.Computed)
	b := state.Body{
		V: 99, Event: state.Event{After: &after, Set: []question.Lock{lock("l1", 0)}, Released: []string{"l0"}}, Facts: set,
		Taken: []string{"p1"}, Revs: map[string]string{"rig": "ab"}, Request: state.Exchanged{Type: "t", Bytes: []byte{1, 2}}, Count: 3,
	}
	text, err := state.New().Write(nil, b)
	require.NoError(t, err)
	got, err := state.Decode(text)
	require.NoError(t, err)
	b.V = state.Version
	assert.Equal(t, b, got)
}

// TestANumberThatIsNoneIsNotWritten: what cannot be read back must not stand in the record.
func TestANumberThatIsNoneIsNotWritten(t *testing.T) {
	snap := question.Snapshot{Clock: question.Clock{KernelBoundS: math.NaN()}}
	_, err := state.New().Write(nil, state.Body{Snapshot: &snap})
	require.ErrorContains(t, err, "encoding an entry's body")
}

// TestVersions: an older body reads, this program's own does, a newer one is refused and says so.
func TestVersions(t *testing.T) {
	for v, ok := range map[int]bool{0: true, state.Version: true, state.Version + 1: false, 100: false} {
		text := fmt.Appendf(nil, `{"v":%d,"event":{"released":["x"]}}`, v)
		b, err := state.Decode(text)
		if !ok {
			require.ErrorIs(t, err, state.ErrNewer)
			assert.ErrorContains(t, err, fmt.Sprintf("version %d", v))
			continue
		}
		require.NoError(t, err)
		assert.Equal(t, []string{"x"}, b.Event.Released)
	}
	for v, ok := range map[int]bool{0: true, 1: true, 2: false, 100: false} { // state entries have a version of their own
		chain, err := state.DecodeChain(fmt.Appendf(nil, `{"v":%d,"rig":{"epoch":4}}`, v))
		if !ok {
			require.ErrorIs(t, err, state.ErrNewer)
			continue
		}
		require.NoError(t, err)
		assert.EqualValues(t, 4, chain.Rig.Epoch)
	}
}

// TestDamagedBodiesAreErrors, and never an empty body, which would say that nothing happened.
func TestDamagedBodiesAreErrors(t *testing.T) {
	for _, text := range []string{"", "{", `{"v":"1"}`, `{"v":1,"event":5}`, `{"v":1,"event":{"set":"l1"}}`, "null x"} {
		_, err := state.Decode([]byte(text))
		assert.ErrorContains(t, err, "reading an entry's body", text)
		f := state.NewFold("heron")
		assert.Error(t, f.Apply(record.Entry{Body: []byte(text)}), text)
	}
	for _, text := range []string{"", "{", `{"v":"1"}`, `{"v":1,"rig":5}`} {
		_, err := state.DecodeChain([]byte(text))
		assert.ErrorContains(t, err, "reading a state entry", text)
		f := state.NewFold("heron")
		assert.Error(t, f.Apply(record.Entry{State: true, Body: []byte(text)}), text)
	}
}

// TestApply changes what the event says and nothing else, and never the state that it began from.
func TestApply(t *testing.T) {
	first := state.New().Apply(state.Event{Set: []question.Lock{lock("l1", 0), lock("l2", 1)}})
	after := question.RigState{Epoch: 5}
	second := first.Apply(state.Event{After: &after, Set: []question.Lock{lock("l3", 2)}, Released: []string{"l1", "unheard of"}})
	assert.Equal(t, []string{"l1", "l2"}, ids(first.Held()), "the earlier state stays")
	assert.Zero(t, first.Rig.Epoch)
	assert.Equal(t, []string{"l2", "l3"}, ids(second.Held()))
	assert.EqualValues(t, 5, second.Rig.Epoch)

	third := second.Apply(state.Event{Released: []string{"l2"}})
	assert.Equal(t, []string{"l3"}, ids(third.Held()), "a release alone")
	assert.EqualValues(t, 5, third.Rig.Epoch, "no state after it: unchanged")
	fourth := third.Apply(state.Event{Released: []string{"l3"}, Set: []question.Lock{lock("l3", 9)}})
	assert.Empty(t, fourth.Held(), "set and released in one: released")
	assert.Empty(t, state.New().Apply(state.Event{Released: []string{"l1"}}).Held(), "a release where no lock ever was")
}

// TestLocksInOrder of their setting, then by id.
func TestLocksInOrder(t *testing.T) {
	for range 20 { // a map has no order of its own
		c := state.New().Apply(state.Event{Set: []question.Lock{lock("b", 0), lock("a", 0), lock("0", 2), lock("c", 0), lock("z", -1)}})
		require.Equal(t, []string{"z", "a", "b", "c", "0"}, ids(c.Held()))
	}
}

// TestFoldFromAStateEntry gives what the fold of all entries gives, and forgets what stood before it.
func TestFoldFromAStateEntry(t *testing.T) {
	after := question.RigState{Epoch: 5}
	whole := state.NewFold("heron")
	require.NoError(t, whole.Apply(entry(t, state.Event{Set: []question.Lock{lock("l1", 0), lock("l2", 0)}})))
	require.NoError(t, whole.Apply(entry(t, state.Event{After: &after, Released: []string{"l1"}})))
	middle, err := whole.State()
	require.NoError(t, err)

	part := state.NewFold("heron")
	require.NoError(t, part.Apply(entry(t, state.Event{Set: []question.Lock{lock("l9", 0)}})))
	require.NoError(t, part.Apply(record.Entry{State: true, Body: middle}))
	again, err := part.State()
	require.NoError(t, err)
	assert.Equal(t, string(middle), string(again))
	for _, f := range []record.Folder{whole, part} {
		require.NoError(t, f.Apply(entry(t, state.Event{Set: []question.Lock{lock("l3", 3)}})))
	}
	a, err := whole.State()
	require.NoError(t, err)
	b, err := part.State()
	require.NoError(t, err)
	assert.Equal(t, string(a), string(b))
	c, err := state.DecodeChain(a)
	require.NoError(t, err)
	assert.Equal(t, []string{"l2", "l3"}, ids(c.Held()))
	assert.EqualValues(t, 5, c.Rig.Epoch)
	assert.Equal(t, 1, c.V)
	c.V = 0
	text, err := c.Encode()
	require.NoError(t, err)
	assert.Contains(t, string(text), `{"v":1,`, "always of this program's version")
}

// An event that sets and releases no lock makes nothing of them: of a chain that never had one nothing is said.
func TestEventWithoutLocksSaysNothingOfThem(t *testing.T) {
	assert.Nil(t, state.New().Apply(state.Event{}).Locks)
	assert.Empty(t, state.New().Apply(state.Event{Released: []string{"never set"}}).Locks)
}
