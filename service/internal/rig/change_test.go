package rig_test

import (
	"encoding/binary"
	"fmt"
	"os"
	"strings"
	"testing"
	"unicode/utf16"

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

// saved is a text as editors save it: by encoding, and by the ends of its lines.
func saved(text string) map[string][]byte {
	utf16s := func(mark rune, order binary.AppendByteOrder) (out []byte) {
		for _, u := range utf16.Encode(append([]rune{mark}, []rune(text)...)) {
			out = order.AppendUint16(out, u)
		}
		return out
	}
	return map[string][]byte{
		"UTF-8 with a mark":      append([]byte("\xef\xbb\xbf"), text...),
		"UTF-16, low byte first": utf16s(0xfeff, binary.LittleEndian), "UTF-16, high byte first": utf16s(0xfeff, binary.BigEndian),
		"lines of Windows":       []byte(strings.ReplaceAll(text, "\n", "\r\n")),
		"lines of old":           []byte(strings.ReplaceAll(text, "\n", "\r")),
		"a comment of two lines": []byte("# one\u2028# two\u0085" + text),
	}
}

// TestChangesWhateverTheEditor: a file loads as the same rig however it was saved, and a change of it is made where it is meant.
func TestChangesWhateverTheEditor(t *testing.T) {
	text := heronText(t)
	plain, faults := rig.Parse("heron.yaml", []byte(text), nil)
	require.Empty(t, faults)
	for _, change := range []string{"tape.floor_to_crossing_mm+=150", "tape.crossing_east_of_hub_mm=3", "motion.rate_deg_per_s.2=3.25"} {
		c, err := rig.ReadChange(change)
		require.NoError(t, err)
		want := plain.With(c, "heron.yaml", []byte(text), nil)
		require.NotNil(t, want, change)
		require.NotEqual(t, plain.Digest, want.Digest, change)
		for how, content := range saved(text) {
			r, faults := rig.Parse("heron.yaml", content, nil)
			require.Empty(t, faults, how)
			assert.Equal(t, plain.Digest, r.Digest, how)
			got := r.With(c, "heron.yaml", content, nil)
			if assert.NotNil(t, got, "%s: %s", how, change) {
				assert.Equal(t, want.Digest, got.Digest, "%s: %s", how, change)
			}
		}
	}
	for what, content := range map[string][]byte{
		"cut within a character": saved(text)["UTF-16, low byte first"][:2001],
		"half of a pair":         append(saved(text)["UTF-16, low byte first"], 0x00, 0xd8),
	} {
		_, faults := rig.Parse("heron.yaml", content, nil)
		require.NotEmpty(t, faults, what)
		assert.Contains(t, faults[0].Error(), "wanted text, in UTF-8, got a character that no text holds", what)
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

// TestLeftOutLengthsAreWrittenIn: every length that a form may leave out can be tried.
func TestLeftOutLengthsAreWrittenIn(t *testing.T) {
	bittern, err := os.ReadFile("../../../testdata/rigs/bittern.yaml")
	require.NoError(t, err)
	for _, c := range []struct{ text, line string }{
		{"tape.crossing_east_of_hub_mm=20", "  crossing_east_of_hub_mm: 20"},
		{"tape.crossing_east_of_hub_mm+=20", "  crossing_east_of_hub_mm: 20"},
		{"tape.axes_apart_mm=-15", "  axes_apart_mm: -15"},
		{"tape.crossing_to_tube_mm+=5", "  crossing_to_tube_mm: 5"},
		{"tape.shield_diameter_mm=230,tape.shield_from_mm=200", "  shield_from_mm: 200\n  shield_diameter_mm: 230"},
		{"tape.camera_radius_mm=60,tape.camera_from_mm=200", "  camera_from_mm: 200\n  camera_radius_mm: 60"},
	} {
		got, _, err := rig.Changed("bittern.yaml", bittern, nil, changes(t, c.text)...)
		require.NoError(t, err, c.text)
		require.Equal(t, strings.Replace(string(bittern), "tape:\n", "tape:\n"+c.line+"\n", 1), string(got), c.text)
		_, faults := rig.Parse("bittern.yaml", got, nil)
		assert.NotContains(t, fmt.Sprint(faults), "known", "%s: the form has such a key", c.text)
	}
	heron := strings.ReplaceAll(heronText(t), "  head_diameter_mm", "  # head_diameter_mm")
	german, _, err := rig.Changed("heron.yaml", []byte(heron), nil, changes(t, "tape.head_diameter_mm=100")...)
	require.NoError(t, err)
	require.Equal(t, strings.Replace(heron, "tape:\n", "tape:\n  head_diameter_mm: 100\n", 1), string(german))
	r, faults := rig.Parse("heron.yaml", german, nil)
	require.NotNil(t, r, lines(faults))
	assert.NotNil(t, part(t, r, "mount body"))
	got, _, err := rig.Changed("x.yaml", []byte("tape: {tube_diameter_mm: 5}\n"), nil, changes(t, "tape.head_diameter_mm=9")...)
	require.NoError(t, err)
	assert.Equal(t, "tape: {head_diameter_mm: 9, tube_diameter_mm: 5}\n", string(got))
	_, _, err = rig.Changed("x.yaml", bittern, nil, changes(t, "tape.camera_radius_mm+=9")...)
	assert.ErrorContains(t, err, "write tape.camera_radius_mm=NUMBER")
}

func changes(t *testing.T, text string) (out []rig.Change) {
	t.Helper()
	for one := range strings.SplitSeq(text, ",") {
		c, err := rig.ReadChange(one)
		require.NoError(t, err, text)
		out = append(out, c)
	}
	return out
}

// TestChangesOfTheClass are made in the class file, for this rig alone, whatever of the same block stands in the rig file; what the rig's own list hides
// of the class's is none of the rig's.
func TestChangesOfTheClass(t *testing.T) {
	own := "rig: x\nclass: c.yaml\ntape:\n  tube_diameter_mm: 5\nparts:\n  - name: box\n"
	class := "class: c\ntape:\n  bar_diameter_mm: 40 ± 1\n  tube_diameter_mm: 9\nparts:\n  - a_mm: 3\n  - a_mm: 4\nend: c\n"
	open := func(string) ([]byte, error) { return []byte(class), nil }
	is, opens, err := rig.Changed("x.yaml", []byte(own), open, changes(t, "tape.bar_diameter_mm+=2,tape.tube_diameter_mm=6,tape.bar_diameter_mm+=2")...)
	require.NoError(t, err)
	assert.Equal(t, strings.Replace(own, "tube_diameter_mm: 5", "tube_diameter_mm: 6", 1), string(is))
	got, err := opens("c.yaml")
	require.NoError(t, err)
	assert.Equal(t, strings.Replace(class, "40 ± 1", "44 ± 1", 1), string(got))
	for _, text := range []string{"parts.1.a_mm=3", "parts.2.a_mm=3", "tape.none_mm=3"} {
		_, _, err = rig.Changed("x.yaml", []byte(own), open, changes(t, text)...)
		assert.ErrorIs(t, err, rig.ErrChange, text)
	}
	_, _, err = rig.Changed("x.yaml", []byte(own), nil, changes(t, "tape.bar_diameter_mm=3")...)
	assert.ErrorIs(t, err, rig.ErrChange, "no class can be read")
}
