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

// A rig read again with a change is as its changed file has it, and reads no mesh again; what the file does not allow is nil.
func TestReadAgainWithAChange(t *testing.T) {
	text, _ := changed(t, heronText(t), "has_no:", "parts: [{name: box, fixed_to: ground, shapes: [{mesh: {file: box.stl, unit: mm, at_mm: [0, 3000, 0]}}]}]\nhas_no:")
	reads := 0
	open := func(string) ([]byte, error) { reads++; return binarySTL("", boxFacets(0, 1)), nil }
	r, faults := rig.Parse("heron.yaml", []byte(text), open)
	require.Empty(t, faults)
	require.Equal(t, 1, reads)
	again := r.With(rig.Change{Key: "tape.tube_diameter_mm", By: true, Value: 10}, "heron.yaml", []byte(text), open)
	require.NotNil(t, again)
	assert.Equal(t, 1, reads)
	whole, faults := rig.Parse("heron.yaml", []byte(strings.Replace(text, "tube_diameter_mm: 120", "tube_diameter_mm: 130", 1)), open)
	require.Empty(t, faults)
	assert.Equal(t, whole.Parts, again.Parts)
	assert.Equal(t, whole.Digest, again.Digest)
	assert.NotEqual(t, r.Digest, again.Digest)
	assert.Nil(t, r.With(rig.Change{Key: "tape.tube_diameter_mm", Value: -3}, "heron.yaml", []byte(text), open))
	assert.Nil(t, r.With(rig.Change{Key: "tape.no_such_mm", Value: 3}, "heron.yaml", []byte(text), open))
	assert.Nil(t, r.With(rig.Change{Key: "tape.tube_diameter_mm", Value: 130}, "heron.yaml", nil, nil))
}
