package state_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/state"
)

// readBack writes the entry of a state that followed another, and reads the state that it gives.
func readBack(t *testing.T, chain state.Chain, was, after question.RigState) *question.RigState {
	t.Helper()
	raw, err := chain.Write(nil, state.Body{Event: state.Event{After: &after}, Snapshot: &question.Snapshot{Rig: was, At: noon}})
	require.NoError(t, err)
	got, err := state.Decode(raw)
	require.NoError(t, err)
	got, err = chain.Fill(got)
	require.NoError(t, err)
	return got.Event.After
}

// Solves that are equal and were made anew, with other pointers in them, are read back once.
func TestSolvesMadeAnewBesideTheChains(t *testing.T) {
	chain := state.New().Apply(state.Event{After: ptr(held(3))})
	was := held(3) // equal in value to the chain's, made anew: other pointers
	after := chain.Rig
	after.Epoch++
	got := readBack(t, chain, was, after)
	assert.Len(t, got.Solves, 3)
	assert.Equal(t, asJSON(t, after), asJSON(t, got))
}

// The same where one of them alone was made anew.
func TestOneSolveMadeAnew(t *testing.T) {
	chain := state.New().Apply(state.Event{After: ptr(held(3))})
	was := chain.Rig
	after := chain.Rig
	after.Solves = append([]question.JudgedSolve(nil), after.Solves...)
	r := *after.Solves[2].Rotation
	after.Solves[2].Rotation = &r // same value
	got := readBack(t, chain, was, after)
	assert.Len(t, got.Solves, 3)
}
