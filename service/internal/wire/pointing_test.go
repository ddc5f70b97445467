package wire_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/pointing"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/wire"
)

// What solves taught is told by optics, each term with its size and its uncertainty.
func TestPointingIsTold(t *testing.T) {
	c := rig.NewChain(rig.German, unit.Deg(50), rig.Tilt{}, rig.Chain{}.Point1, 0)
	m := pointing.New(pointing.Mount{Kind: rig.German, Chain: &c}, rig.Axes{})
	m.Terms[pointing.Cone] = unit.Deg(0.25)
	m.Count = 7
	v := decide.View{Rig: &rig.Rig{ID: "a"}, State: question.RigState{Pointing: map[string]pointing.Model{"wide": m, "main": m}}}
	got := wire.View(v, false).GetPointing()
	require.Len(t, got, 2)
	assert.Equal(t, "main", got[0].GetOptics())
	assert.EqualValues(t, 7, got[0].GetSolveCount())
	assert.False(t, got[0].GetSettled())
	require.Len(t, got[0].GetTerms(), int(pointing.Terms))
	cone := got[0].GetTerms()[pointing.Cone]
	assert.Equal(t, "cone error", cone.GetTitle())
	assert.InDelta(t, 0.25, cone.GetValueDeg(), 1e-12)
	assert.InDelta(t, 0.5, cone.GetSigmaDeg(), 1e-6)
}
