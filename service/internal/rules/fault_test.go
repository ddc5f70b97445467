package rules

import (
	"errors"
	"io/fs"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestFaultsAreToldByPlace, each in a line of its own.
func TestFaultsAreToldByPlace(t *testing.T) {
	fs1 := Faults{
		{File: "rules/b/b/b.rego", Line: 2, Wanted: "w1", Got: "g1", Remedy: "r1"},
		{File: "rules/a/a/a.rego", Line: 9, Wanted: "w2", Got: "g2", Remedy: "r2"},
		{File: "rules/b/b/b.rego", Wanted: "w3", Got: "g3", Remedy: "r3"},
		{Wanted: "w4", Got: "g4", Remedy: "r4"},
		{File: "rules/a/a/a.rego", Line: 9, Wanted: "w5", Got: "g5", Remedy: "r5"},
		{File: "rules/a/a/a.rego", Line: 1, Wanted: "w6", Got: "g6", Remedy: "r6"},
	}
	err := fs1.err("loading rules")
	require.EqualError(t, err, "loading rules: "+
		"rules: wanted w4, got g4; r4\n"+
		"rules/a/a/a.rego:1: wanted w6, got g6; r6\n"+
		"rules/a/a/a.rego:9: wanted w2, got g2; r2\n"+
		"rules/a/a/a.rego:9: wanted w5, got g5; r5\n"+
		"rules/b/b/b.rego: wanted w3, got g3; r3\n"+
		"rules/b/b/b.rego:2: wanted w1, got g1; r1")
	require.ErrorIs(t, err, ErrFaulty)
	assert.NotErrorIs(t, err, fs.ErrNotExist, "and of no other class")
	var all Faults
	require.True(t, errors.As(err, &all))
	assert.Len(t, all, 6)
	assert.NoError(t, Faults{}.err("loading rules"))
}
