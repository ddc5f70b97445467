package rig_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
)

// TestNumbersThatNothingUsesAreFound: a mount's body of what has none in the form, and a person's eye that a file makes better than it may.
func TestNumbersThatNothingUsesAreFound(t *testing.T) {
	for _, c := range []struct {
		file      string
		wrong     change
		key, says string
		right     change
	}{
		{"bittern.yaml", change{"tape:\n", "tape:\n  head_diameter_mm: 150\n"}, "tape.head_diameter_mm", `wanted a length of this kind of mount, got "150"; nothing uses it`, change{"tape:\n", "tape:\n  head_diameter_mm: 0\n"}},
		{"wren.yaml", change{"tape:\n", "tape:\n  head_diameter_mm: 150\n"}, "tape.head_diameter_mm", "write what stands there as a part of its own", change{"tape:\n", "tape:\n  head_diameter_mm: 0\n"}},
		{"wren.yaml", change{"  by: person\n", "  by: person\n  sigma_deg: [0.9, 1]\n"}, "homing.sigma_deg", "wanted 1 or more, for a home that a person sees, got 0.9 and 1; less than 1 is not used", change{"  by: person\n", "  by: person\n  sigma_deg: [1, 1]\n"}},
		{"wren.yaml", change{"  by: person\n", "  by: belief\n  sigma_deg: [2, 0.9]\n"}, "homing.sigma_deg", "less than 1 is not used", change{"  by: person\n", "  by: belief\n  sigma_deg: [2, 3]\n"}},
	} {
		all := found(t, c.file, rig.Unused, c.wrong)
		if assert.Len(t, all, 1, "%v: %s", c.wrong, lines(all)) {
			assert.Equal(t, c.key, all[0].Key)
			assert.Positive(t, all[0].Line, c.key)
			assert.Contains(t, all[0].String(), c.says)
		}
		assert.Empty(t, found(t, c.file, rig.Unused, c.right), "%v", c.right)
	}
	assert.Empty(t, found(t, "heron.yaml", rig.Unused, change{"tape:\n", "tape:\n  head_diameter_mm: 150\n"}), "a German has a body")
	assert.Empty(t, found(t, "heron.yaml", rig.Unused), "a sensor is as good as the file says")
}

// TestNoFileSharpensAnEye: of what a person sees the file may say that it is worse than ±3°, not that it is better; of a sensor what it will.
func TestNoFileSharpensAnEye(t *testing.T) {
	for by, want := range map[string]rig.Axes{
		"by: person":                          rig.DegAxes(1, 1),
		"by: person\n  sigma_deg: [0.2, 1.5]": rig.DegAxes(1, 1.5),
		"by: belief\n  sigma_deg: [2, 0.5]":   rig.DegAxes(2, 1),
		"by: sensor\n  sigma_deg: [0.2, 1.5]": rig.DegAxes(0.2, 1.5),
	} {
		in, _ := changed(t, text(t, rigs+"wren.yaml"), "by: person", by)
		r, bad := rig.Parse("wren.yaml", []byte(in), beside)
		require.NotNil(t, r, "%v", bad)
		assert.Equal(t, want, r.Homing.Sigma, by)
	}
}
