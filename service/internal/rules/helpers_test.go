package rules

import (
	"io/fs"
	"testing"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/limits"
)

func dirFS() fs.FS { return policies.Files() }

// testLimits are the defaults with an invented rig's travel.
func testLimits(t testing.TB, more ...limits.Entry) limits.Set {
	t.Helper()
	defs, err := limits.Read(dirFS())
	require.NoError(t, err)
	rig := limits.Layer{Name: "rig invented", File: "invented.yaml", Entries: append([]limits.Entry{
		{Rule: "travel/axis1", Name: "low_deg", Value: -95},
		{Rule: "travel/axis1", Name: "high_deg", Value: 95},
		{Rule: "travel/axis2", Name: "low_deg", Value: -120},
		{Rule: "travel/axis2", Name: "high_deg", Value: 120},
	}, more...)}
	s, err := limits.Merge(defs, rig)
	require.NoError(t, err)
	return s
}
