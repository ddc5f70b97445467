package rules

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestLoadTakesThePolicies(t *testing.T) {
	s, err := Load(dirFS(), testLimits(t))
	require.NoError(t, err)
	require.Len(t, s.IDs(), 27)
}
