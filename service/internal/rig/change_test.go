package rig_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
)

const changeable = `# é: letters of two bytes before what is changed
tape:
  floor_to_crossing_mm: 1250 ± 3   # to the crossing
  pier: {diameter_mm: 220, height_mm: 900 +- 2}
parts:
  - name: box
    size_mm: [10, 20, 30]
quoted: "12"
`

func TestChangesAreMadeInPlace(t *testing.T) {
	for text, line := range map[string]string{
		"tape.floor_to_crossing_mm=1400":    "  floor_to_crossing_mm: 1400 ± 3   # to the crossing",
		"tape.floor_to_crossing_mm+=150":    "  floor_to_crossing_mm: 1400 ± 3   # to the crossing",
		"tape.floor_to_crossing_mm += -0.5": "  floor_to_crossing_mm: 1249.5 ± 3   # to the crossing",
		"tape.pier.height_mm=1000":          "  pier: {diameter_mm: 220, height_mm: 1000 +- 2}",
		"parts.1.size_mm.2=-25":             "    size_mm: [10, -25, 30]",
	} {
		c, err := rig.ReadChange(text)
		require.NoError(t, err, text)
		out, err := c.In("x.yaml", []byte(changeable))
		require.NoError(t, err, text)
		assert.Contains(t, strings.Split(string(out), "\n"), line, text)
		assert.Equal(t, strings.Count(changeable, "\n"), strings.Count(string(out), "\n"), text)
		again, err := rig.ReadChange(c.String())
		require.NoError(t, err)
		assert.Equal(t, c, again)
	}
}

func TestChangesThatCannotBeMade(t *testing.T) {
	for _, text := range []string{"", "tape", "=5", "tape.a=NaN", "tape.a=Inf", "tape.a=wide", "tape.a="} {
		_, err := rig.ReadChange(text)
		assert.ErrorIs(t, err, rig.ErrChange, text)
		assert.ErrorContains(t, err, "tape.floor_to_crossing_mm=1450", text)
	}
	for text, says := range map[string]string{
		"tape.tube_diameter_mm=5": "has no number at tape.tube_diameter_mm",
		"tape=5":                  "has no number at tape",
		"quoted=5":                "has no number at quoted",
		"parts.2.size_mm.1=5":     "has no number",
		"parts.0.size_mm.1=5":     "has no number",
		"parts.1.name=5":          "no number",
	} {
		c, err := rig.ReadChange(text)
		require.NoError(t, err, text)
		_, err = c.In("x.yaml", []byte(changeable))
		assert.ErrorIs(t, err, rig.ErrChange, text)
		assert.ErrorContains(t, err, says, text)
	}
	c, err := rig.ReadChange("tape.a=5")
	require.NoError(t, err)
	for _, content := range []string{"", "a: [", "tape:\n  a:\n"} {
		_, err = c.In("x.yaml", []byte(content))
		assert.ErrorIs(t, err, rig.ErrChange, content)
	}
}
