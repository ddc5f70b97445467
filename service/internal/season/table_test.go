package season

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The committed table reads, and a draw keeps to what it says.
func TestTable(t *testing.T) {
	table, err := ReadTable(tableText)
	require.NoError(t, err)
	g := rand.New(rand.NewPCG(1, 1))
	wide, n := 0, 20000
	for range n {
		v := table.draw(g, "polar_error_arcmin")
		require.True(t, v >= 0.5 && v <= 45, "%v", v)
		if v > 15 {
			wide++
		}
	}
	assert.InDelta(t, 0.1, float64(wide)/float64(n), 0.01, "the share behind the semicolon")
	seen := map[string]int{}
	for range n {
		seen[table.word(g, "mounts")]++
	}
	assert.InDelta(t, 0.6, float64(seen["german"])/float64(n), 0.02)
	assert.InDelta(t, 0.2, float64(seen["alt-azimuth"])/float64(n), 0.02)
}

func TestTableRefuses(t *testing.T) {
	for text, want := range map[string]string{
		"a: {title: t, unit: u, draw: always 1}":                           "remark",
		"a: {title: t, unit: u, remark: r}":                                "either",
		"a: {title: t, unit: u, remark: r, draw: uniform 2 to 1}":          "range",
		"a: {title: t, unit: u, remark: r, draw: log uniform 0 to 1}":      "range",
		"a: {title: t, unit: u, remark: r, draw: sometimes 1}":             "no draw",
		"a: {title: t, unit: u, remark: r, draw: 'always 1; always 2'}":    "share",
		"a: {title: t, unit: u, remark: r, draw: 'always x'}":              "no number",
		"a: {title: t, unit: u, remark: r, share: {b: 0.5, c: 0.6}}":       "come to",
		"a: {title: t, unit: u, remark: r, draw: 'always 1; 2: always 3'}": "share",
	} {
		_, err := ReadTable([]byte(text))
		assert.ErrorContains(t, err, want, text)
	}
}
