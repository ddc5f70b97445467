package mesh_test

import (
	"bufio"
	"encoding/json"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/mesh"
)

// Volumes and surfaces of hulls by qhull, in testdata/reference/hulls.jsonl, whose first line names tool and version.
//
// Budget: none of its own. The hull of the points kept is never larger, and with what it is grown by never smaller.
func TestAgreesWithQhull(t *testing.T) {
	file, err := os.Open("../../../testdata/reference/hulls.jsonl")
	require.NoError(t, err)
	defer file.Close()
	lines := bufio.NewScanner(file)
	lines.Buffer(nil, 1<<20)
	require.True(t, lines.Scan(), "the head")
	worst, count := 0.0, 0
	for ; lines.Scan(); count++ {
		var c struct {
			Name    string       `json:"name"`
			Volume  float64      `json:"volume_mm3"`
			Surface float64      `json:"surface_mm2"`
			Corners int          `json:"corners"`
			Points  [][3]float64 `json:"points_mm"`
		}
		require.NoError(t, json.Unmarshal(lines.Bytes(), &c))
		var points []mesh.Corner
		for _, p := range c.Points {
			points = append(points, at(p[0], p[1], p[2]))
		}
		p := wrapped(t, cloud(points), 1, true).Pieces[0]
		const digits = 1e-8 // of the table
		assert.LessOrEqual(t, p.Hull, c.Volume*(1+digits), "%s: volume", c.Name)
		assert.LessOrEqual(t, p.Skin, c.Surface*(1+digits), "%s: surface", c.Name)
		assert.GreaterOrEqual(t, p.Hull+c.Surface*p.Grown, c.Volume*(1-digits), "%s: volume, grown", c.Name)
		assert.LessOrEqual(t, len(p.Points), c.Corners+4, "%s: points kept", c.Name) // the first four may lie on edges
		assert.Less(t, p.Grown, 0.02, "%s: nothing was simplified", c.Name)
		worst = max(worst, 1-p.Hull/c.Volume)
	}
	require.NoError(t, lines.Err())
	require.Equal(t, 11, count)
	t.Logf("worst: %.2g of the volume", worst)
}
