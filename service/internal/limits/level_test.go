package limits

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A rule whose id is the beginning of another's keeps its limits, whatever stands between them.
func TestTreeOfRulesWithinRules(t *testing.T) {
	one, two, three := 1.0, 2.0, 3.0
	s, err := Merge([]Definition{{Rule: "a/b", Name: "x", Default: &one}, {Rule: "a/b-c", Name: "y", Default: &two}, {Rule: "a/b/d", Name: "z", Default: &three}})
	require.NoError(t, err)
	var got any
	require.NoError(t, json.Unmarshal(s.tree, &got))
	assert.Equal(t, map[string]any{"a": map[string]any{"b": map[string]any{"x": 1.0, "d": map[string]any{"z": 3.0}}, "b-c": map[string]any{"y": 2.0}}}, got, string(s.tree))
}
