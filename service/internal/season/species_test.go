package season

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Every species has a file that loads.
func TestSpecies(t *testing.T) {
	rigs, err := NewRigs()
	require.NoError(t, err)
	start := time.Now()
	for _, m := range []string{"german", "fork", "alt-azimuth"} {
		for _, south := range []bool{false, true} {
			for source := range sourceLines {
				_, err := rigs.member(Species{m, south, source, false})
				require.NoError(t, err)
			}
		}
	}
	t.Log(time.Since(start))
}
