package rig_test

import (
	"math"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
)

// What-ifs come over the wire, key and number: whatever they are, a file is changed in that one number or refused, and asking for the same again
// changes nothing more.
func FuzzChanged(f *testing.F) {
	heron, err := os.ReadFile("../practice/heron.yaml")
	require.NoError(f, err)
	keys := []string{"tape.tube_diameter_mm", "site.latitude_deg", "limits.clear/path.part_mm", "tape.shield_from_mm", "travel_from_home.axis1_deg.1", "optics.1.pixel_arcsec", "", ".", "tape", "tape.", "rig"}
	for _, file := range []string{"wren.yaml", "bittern.yaml", "curlew.yaml"} {
		content, err := os.ReadFile(rigs + file)
		require.NoError(f, err)
		for _, k := range keys {
			f.Add(content, k, 12.5, true)
		}
	}
	for _, k := range keys {
		f.Add(heron, k, 140.0, false)
	}
	f.Add([]byte("tape: {a: 1 ± 2, \"b\": 3}\n"), "tape.a", 1e300, false)
	f.Add([]byte("tape: {äö: 1, tube_diameter_mm: 3+-1}\r\nend: x"), "tape.tube_diameter_mm", -0.25, true)
	f.Fuzz(func(t *testing.T, content []byte, key string, v float64, by bool) {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return // the wire refuses them
		}
		rig.Lengths("fuzzed.yaml", content, beside)
		out, open, err := rig.Changed("fuzzed.yaml", content, beside, rig.Change{Key: key, Value: v, By: by})
		if err != nil {
			require.NotContains(t, err.Error(), "\n")
			return
		}
		rig.Parse("fuzzed.yaml", out, open)
		if !by {
			again, _, err := rig.Changed("fuzzed.yaml", out, open, rig.Change{Key: key, Value: v})
			require.NoError(t, err, "what was changed cannot be changed again: %q", out)
			require.Equal(t, string(out), string(again))
		}
	})
}
