package limits_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/limits"
)

// How far from likely a solve may lie is chi-squared of two degrees of freedom, the default at 0.001 and the loosest at 1e-5, each cut to a place
// on the safe side. Wanted: NIST/SEMATECH e-Handbook, 1.3.6.7.4, and −2 ln p (E1, E3 of the project's published values).
func TestOffsetsAreThoseOfChiSquared(t *testing.T) {
	defs, err := limits.Read(policies.Files())
	require.NoError(t, err)
	for _, d := range defs {
		if d.Rule != "sync/expected" || d.Name != "d2" {
			continue
		}
		assert.InDelta(t, 13.816, *d.Default, 0.02)
		assert.LessOrEqual(t, *d.Default, -2*math.Log(0.001))
		assert.InDelta(t, -2*math.Log(1e-5), *d.Bound, 0.03)
		assert.LessOrEqual(t, *d.Bound, -2*math.Log(1e-5))
		assert.True(t, d.SmallerIsSafer)
		return
	}
	require.Fail(t, "there is no such limit")
}
