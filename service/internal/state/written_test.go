package state_test

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/state"
)

var noon = time.Date(2026, 11, 28, 12, 0, 0, 0, time.UTC)

// held is an invented state with so many solves.
func held(solves int) question.RigState {
	at := rig.DegAxes(10, 20)
	s := question.RigState{
		Epoch: 7, Pose: question.Pose{State: question.Known, Candidates: []question.Candidate{{Axes: at, Sigma: rig.DegAxes(0.1, 0.1)}}, At: noon, HomingID: "h1"},
		Homing: &question.Homing{ID: "h1", At: noon, Axes: at}, Sample: &question.Sample{Time: noon, Doing: question.AtRest}, SiteAt: noon,
		Permit: &question.Permit{ID: "p1", State: question.Begun}, Refused: map[string]string{"a": "b"}, Motions: 3, Crept: rig.DegAxes(0.5, 0),
	}
	for i := range solves {
		turned := at.A1
		s.Solves = append(s.Solves, question.JudgedSolve{RequestID: fmt.Sprint("solve-", i), At: noon, Rotation: &turned, Good: true})
	}
	return s
}

// asJSON is what of a state the record keeps.
func asJSON(t *testing.T, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	require.NoError(t, err)
	return string(b)
}

// What is written of an entry gives the same state and the same snapshot back, whatever changed between the two.
func TestWrittenIsReadBack(t *testing.T) {
	solve := question.JudgedSolve{RequestID: "new", At: noon}
	for name, change := range map[string]func(*question.RigState){
		"nothing":           func(*question.RigState) {},
		"a permit":          func(s *question.RigState) { s.Epoch++; s.Permit = &question.Permit{ID: "p2", State: question.Granted} },
		"within a permit":   func(s *question.RigState) { p := *s.Permit; p.State = question.Ended; s.Permit = &p },
		"what was is gone":  func(s *question.RigState) { s.Permit, s.Homing, s.Sample, s.Refused, s.Motions = nil, nil, nil, nil, 0 },
		"emptied, not nil":  func(s *question.RigState) { s.Refused, s.Solves = map[string]string{}, []question.JudgedSolve{} },
		"a time and a pair": func(s *question.RigState) { s.SiteAt, s.Crept = time.Time{}, rig.Axes{} },
		"all is new": func(s *question.RigState) {
			*s = question.RigState{Pose: question.Pose{State: question.Unknown, Because: "x"}}
		},
		"a map loses a name": func(s *question.RigState) { s.Refused = map[string]string{"c": "d"} },
		"one more solve": func(s *question.RigState) {
			s.Solves = append(append([]question.JudgedSolve(nil), s.Solves...), solve)
		},
		"one solve is accepted": func(s *question.RigState) {
			s.Solves = append([]question.JudgedSolve(nil), s.Solves...)
			s.Solves[0].Verdict = question.Accepted
		},
		"a solve is dropped, the rest as it was": func(s *question.RigState) { s.Solves = s.Solves[:2] },
		"equal solves made anew":                 func(s *question.RigState) { s.Solves = append([]question.JudgedSolve(nil), s.Solves...) },
	} {
		for _, beside := range []bool{true, false} { // with a snapshot, as a question has one, and without, as a report
			before := state.New().Apply(state.Event{After: ptr(held(3))})
			after := before.Rig
			change(&after)
			b := state.Body{Event: state.Event{After: &after, Released: []string{"l"}}}
			if beside {
				b.Snapshot = &question.Snapshot{Rig: before.Rig, At: noon}
			}
			raw, err := before.Write(nil, b)
			require.NoError(t, err)
			require.NotNil(t, b.Event.After, "what is written is not changed")
			require.Len(t, before.Rig.Solves, 3)
			got, err := state.Decode(raw)
			require.NoError(t, err, "%s: %s", name, raw)
			got, err = before.Fill(got)
			require.NoError(t, err)
			assert.Equal(t, asJSON(t, after), asJSON(t, got.Event.After), "%s, snapshot beside it: %t", name, beside)
			assert.Equal(t, []string{"l"}, got.Event.Released)
			if beside {
				assert.Equal(t, asJSON(t, before.Rig), asJSON(t, got.Snapshot.Rig), "%s: the snapshot", name)
			}
		}
	}
}

// changed is what an entry says that changed from one state to the next.
func changed(t *testing.T, was, is question.RigState) string {
	t.Helper()
	raw, err := state.New().Write(nil, state.Body{Event: state.Event{After: &is}, Snapshot: &question.Snapshot{Rig: was}})
	require.NoError(t, err)
	var text struct {
		Event struct{ Changed json.RawMessage }
	}
	require.NoError(t, json.Unmarshal(raw, &text))
	return string(text.Event.Changed)
}

// What is not as it was is written, null where it is gone, and nothing besides but the epoch, which is never gone.
func TestOnlyWhatChangedIsWritten(t *testing.T) {
	for want, change := range map[string]func(*question.RigState){
		`{"epoch":7}`: func(*question.RigState) {},
		`{"epoch":0}`: func(s *question.RigState) { s.Epoch = 0 },
		`{"epoch":8}`: func(s *question.RigState) { // equal, and made anew
			s.Epoch++
			s.Homing, s.Refused = ptr(*s.Homing), map[string]string{"a": "b"}
			s.Solves = append([]question.JudgedSolve(nil), s.Solves...)
		},
		`{"epoch":7,"homing":null,"motions":null,"site_at":null}`: func(s *question.RigState) { s.Homing, s.Motions, s.SiteAt = nil, 0, time.Time{} },
		`{"epoch":7,"refused":null,"solves":null}`: func(s *question.RigState) {
			s.Refused, s.Solves = map[string]string{}, []question.JudgedSolve{}
		},
		`{"epoch":7,"refused":{"c":"d"},"syncs":null}`: func(s *question.RigState) { s.Refused, s.Syncs = map[string]string{"c": "d"}, nil },
		`{"epoch":7,"syncs":null}`:                     func(s *question.RigState) { s.Syncs = s.Syncs[:0] },
		`{"epoch":7,"motions":4}`:                      func(s *question.RigState) { s.Motions = 4 },
	} {
		was := held(2)
		was.Syncs = []question.SyncDone{{}}
		is := was
		change(&is)
		assert.Equal(t, want, changed(t, was, is))
	}
	one := held(1)
	none := one
	none.Solves = nil
	assert.Contains(t, changed(t, none, one), `"solves":[{`, "one is not none")
}

// Solves that are not the chain's stand in the entry, beside a snapshot or without one.
func TestSolvesOfAnotherChainAreKept(t *testing.T) {
	was, is := held(2), held(2)
	is.Epoch++
	for _, b := range []state.Body{{Event: state.Event{After: &is}, Snapshot: &question.Snapshot{Rig: was}}, {Event: state.Event{After: &is}}} {
		raw, err := state.New().Write(nil, b)
		require.NoError(t, err)
		got, err := state.Decode(raw)
		require.NoError(t, err)
		assert.False(t, got.SolvesBefore)
		got, err = state.New().Fill(got)
		require.NoError(t, err)
		assert.Equal(t, asJSON(t, is), asJSON(t, got.Event.After))
		if b.Snapshot != nil {
			assert.Equal(t, asJSON(t, was), asJSON(t, got.Snapshot.Rig))
		}
	}
}

// A state that cannot be written down is an error, whether it stands whole or as what changed.
func TestStateThatIsNoneIsNotWritten(t *testing.T) {
	was, is := held(1), held(1)
	is.Crept = rig.DegAxes(math.NaN(), 0)
	_, err := state.New().Write(nil, state.Body{Event: state.Event{After: &is}, Snapshot: &question.Snapshot{Rig: was}})
	require.ErrorContains(t, err, "encoding an entry's state: crept: ")
	_, err = state.New().Write(nil, state.Body{Event: state.Event{After: &is}})
	require.ErrorContains(t, err, "encoding an entry's body: after: ")
}

// Solves that are left out of no state are put back into none.
func TestNothingIsFilledWhereNothingStands(t *testing.T) {
	chain := state.New().Apply(state.Event{After: ptr(held(2))})
	b, err := chain.Fill(state.Body{SolvesBefore: true})
	require.NoError(t, err)
	assert.Nil(t, b.Event.After)
	assert.Nil(t, b.Snapshot)
	b, err = chain.Fill(state.Body{SolvesBefore: true, Snapshot: &question.Snapshot{}})
	require.NoError(t, err)
	assert.Nil(t, b.Event.After)
	assert.Len(t, b.Snapshot.Rig.Solves, 2)
}

func ptr[T any](v T) *T { return &v }

// Solves are written once, and the fold of a chain has them all the same; an entry that changes none is small however many there are.
func TestSolvesAreWrittenOnce(t *testing.T) {
	chain, fold := state.New(), state.NewFold("")
	write := func(n uint64, b state.Body) int {
		raw, err := chain.Write(nil, b)
		require.NoError(t, err)
		chain = chain.Apply(b.Event)
		require.NoError(t, fold.Apply(record.Entry{Number: n, Body: raw}))
		want, err := chain.Encode()
		require.NoError(t, err)
		got, err := fold.State()
		require.NoError(t, err)
		require.JSONEq(t, string(want), string(got), "entry %d", n)
		return len(raw)
	}
	full := write(1, state.Body{Event: state.Event{After: ptr(held(64))}})
	lean := chain.Rig
	lean.Epoch++
	again := write(2, state.Body{Event: state.Event{After: &lean}, Snapshot: &question.Snapshot{Rig: chain.Rig}})
	report := write(3, state.Body{Event: state.Event{After: &lean}})
	assert.Greater(t, full, 10_000)
	assert.Less(t, again, 2_000)
	assert.Less(t, report, 2_000)
	more := chain.Rig // as after a sync: the oldest goes
	more.Solves = append(append([]question.JudgedSolve(nil), more.Solves[1:]...), question.JudgedSolve{RequestID: "new", At: noon})
	asked := write(4, state.Body{Event: state.Event{After: &more}, Snapshot: &question.Snapshot{Rig: chain.Rig}})
	done := chain.Rig // as when it is reported done
	done.Solves = append([]question.JudgedSolve(nil), done.Solves...)
	done.Solves[63].Verdict = question.Accepted
	told := write(5, state.Body{Event: state.Event{After: &done}})
	assert.Less(t, asked, 2_000, "one more solve is written alone")
	assert.Less(t, told, 2_000, "what became of one is written alone")
	none := chain.Rig
	none.Solves = nil
	write(6, state.Body{Event: state.Event{After: &none}, Snapshot: &question.Snapshot{Rig: chain.Rig}})
	write(7, state.Body{Event: state.Event{After: ptr(held(2))}, Snapshot: &question.Snapshot{Rig: chain.Rig}})
	write(8, state.Body{Event: state.Event{Released: []string{"l"}}})
}

// Of solves only those are left out that the chain has one behind the other, as they are.
func TestWhatOfSolvesIsKept(t *testing.T) {
	chain := state.New().Apply(state.Event{After: ptr(held(4))})
	was := chain.Rig.Solves
	fresh := question.JudgedSolve{RequestID: "new", At: noon}
	for name, c := range map[string]struct {
		solves []question.JudgedSolve
		kept   [2]int
		others int
	}{
		"one more":         {[]question.JudgedSolve{was[0], was[1], was[2], was[3], fresh}, [2]int{0, 4}, 1},
		"the last are out": {[]question.JudgedSolve{was[0], was[1]}, [2]int{0, 2}, 0},
		"the first is out": {[]question.JudgedSolve{was[1], was[2], was[3], fresh}, [2]int{1, 4}, 1},
		"the last alone":   {[]question.JudgedSolve{was[3], fresh}, [2]int{3, 4}, 1},
		"one between":      {[]question.JudgedSolve{was[0], fresh, was[2]}, [2]int{0, 1}, 2},
		"one goes":         {[]question.JudgedSolve{was[0], was[2], was[3]}, [2]int{0, 1}, 2},
		"others":           {[]question.JudgedSolve{fresh, was[0]}, [2]int{}, 2},
	} {
		after := chain.Rig
		after.Solves = c.solves
		for _, snap := range []*question.Snapshot{nil, {Rig: chain.Rig}} {
			raw, err := chain.Write(nil, state.Body{Event: state.Event{After: &after}, Snapshot: snap})
			require.NoError(t, err)
			b, err := state.Decode(raw)
			require.NoError(t, err)
			assert.Equal(t, c.kept, b.Kept, name)
			assert.Len(t, b.Event.After.Solves, c.others, name)
			b, err = chain.Fill(b)
			require.NoError(t, err)
			assert.Equal(t, asJSON(t, after), asJSON(t, b.Event.After), name)
			assert.Equal(t, asJSON(t, held(4)), asJSON(t, chain.Rig), "the chain stays as it is")
		}
	}
}

// An entry that keeps solves that its chain has not is of another chain, and no fold makes a state of it.
func TestSolvesOfNoChain(t *testing.T) {
	chain := state.New().Apply(state.Event{After: ptr(held(2))})
	for _, kept := range [][2]int{{0, 3}, {-1, 1}, {2, 1}, {3, 3}, {1, 1}} {
		_, err := chain.Fill(state.Body{Event: state.Event{After: &question.RigState{}}, Kept: kept})
		require.ErrorContains(t, err, "of a chain that holds 2: it is of another chain", "%v", kept)
	}
	_, err := chain.Fill(state.Body{Event: state.Event{After: &question.RigState{}}, Kept: [2]int{0, 2}})
	require.NoError(t, err)
	f := &state.Fold{Chain: state.New()}
	err = f.Apply(record.Entry{Number: 1, Body: []byte(`{"v":3,"event":{"after":{"epoch":1}},"solves_kept":[0,1]}`)})
	require.ErrorContains(t, err, "it is of another chain")
	assert.Zero(t, f.Chain.Rig.Epoch)
}

// Of solves that did not change nothing is kept, whether or not the chain has them: they are the snapshot's.
func TestSolvesThatDidNotChangeAreNotKept(t *testing.T) {
	chain := state.New().Apply(state.Event{After: ptr(held(2))})
	for _, solves := range [][]question.JudgedSolve{chain.Rig.Solves, {chain.Rig.Solves[0], {RequestID: "new", At: noon}}} {
		is := chain.Rig
		is.Solves = solves
		raw, err := chain.Write(nil, state.Body{Event: state.Event{After: &is}, Snapshot: &question.Snapshot{Rig: is}})
		require.NoError(t, err)
		assert.NotContains(t, string(raw), "solves_kept")
		b, err := state.Decode(raw)
		require.NoError(t, err)
		b, err = chain.Fill(b)
		require.NoError(t, err)
		assert.Equal(t, asJSON(t, is), asJSON(t, b.Event.After))
	}
	raw, err := state.New().Write(nil, state.Body{Event: state.Event{After: &question.RigState{}}, Snapshot: &question.Snapshot{}})
	require.NoError(t, err)
	assert.NotContains(t, string(raw), "solves", "none, of none")
}

// Bodies of version 2 write solves that changed as a whole, and read as ever.
func TestVersion2IsRead(t *testing.T) {
	before, after := held(2), held(3)
	raw := fmt.Sprintf(`{"v":2,"event":{"changed":{"epoch":7,"solves":%s}},"snapshot":{"rig":%s,"clock":{"kernel_synced":false},"at":"2026-11-28T12:00:00Z"},"solves_before":true}`,
		asJSON(t, after.Solves), asJSON(t, held(0)))
	f := &state.Fold{Chain: state.New().Apply(state.Event{After: &before})}
	require.NoError(t, f.Apply(record.Entry{Number: 1, Body: []byte(raw)}))
	assert.Equal(t, asJSON(t, after), asJSON(t, f.Chain.Rig))

	lean := held(0)
	lean.Epoch++
	require.NoError(t, f.Apply(record.Entry{Number: 2, Body: []byte(fmt.Sprintf(`{"v":2,"event":{"after":%s},"solves_before":true}`, asJSON(t, lean)))}))
	after.Epoch++
	assert.Equal(t, asJSON(t, after), asJSON(t, f.Chain.Rig), "a report that changes none")
}

// Bodies of version 1 say everything twice, and read as ever.
func TestVersion1IsRead(t *testing.T) {
	after := held(2)
	raw := fmt.Sprintf(`{"v":1,"event":{"after":%s},"snapshot":{"rig":%s,"clock":{"kernel_synced":false},"at":"2026-11-28T12:00:00Z"}}`, asJSON(t, after), asJSON(t, held(1)))
	b, err := state.Decode([]byte(raw))
	require.NoError(t, err)
	assert.Equal(t, asJSON(t, after), asJSON(t, b.Event.After))
	f := &state.Fold{Chain: state.New()}
	require.NoError(t, f.Apply(record.Entry{Number: 1, Body: []byte(raw)}))
	assert.Equal(t, asJSON(t, after), asJSON(t, f.Chain.Rig))
}

// What cannot be read is refused with its cause, never read as no change.
func TestBodiesThatCannotBeRead(t *testing.T) {
	for says, raw := range map[string]string{
		"written by a newer keepclear":        `{"v":4,"event":{"after":5}}`,
		"not since when":                      `{"v":2,"event":{"changed":{"epoch":2}}}`,
		"json: cannot unmarshal string":       `{"v":2,"count":"x","event":{"changed":{"epoch":2}},"snapshot":{"rig":{"epoch":1}}}`,
		"it says what changed, and not":       `{"v":2,"event":{"after":{"epoch":1},"changed":{"epoch":2}},"snapshot":{"rig":{"epoch":1}}}`,
		`"colour", which no state`:            `{"v":2,"event":{"changed":{"colour":2}},"snapshot":{"rig":{"epoch":1}}}`,
		`what became of "epoch"`:              `{"v":2,"event":{"changed":{"epoch":"x"}},"snapshot":{"rig":{"epoch":1}}}`,
		"reading an entry's body: unexpected": `{"v":2,"event":{`,
	} {
		_, err := state.Decode([]byte(raw))
		require.Error(t, err, raw)
		assert.True(t, strings.Contains(err.Error(), says), "%s: %v", says, err)
	}
}
