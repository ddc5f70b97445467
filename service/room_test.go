package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// printed runs the program with arguments.
func printed(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = run(t.Context(), args, nil, &o, &e, time.Now)
	return code, o.String(), e.String()
}

// TestRoomSaysHowFarItMayTurn, from a file beside its class, with a length changed, and draws it.
func TestRoomSaysHowFarItMayTurn(t *testing.T) {
	t.Parallel()
	picture := filepath.Join(t.TempDir(), "curlew.svg")
	code, out, errs := printed(t, "room", "--gap", "20", "--band", "170", "--picture", picture, "--what-if", "tape.floor_to_crossing_mm+=150", filepath.Join("..", "testdata", "rigs", "curlew.yaml"))
	require.Equal(t, exitDone, code, "%s", errs)
	for _, want := range []string{
		"curlew: room to move, with a gap of 20 mm kept\n", "axis 2 from -170.00° to 0.00°", "The map is drawn in " + picture,
		"with a gap of 20 mm kept, if\n  tape.floor_to_crossing_mm+=150",
	} {
		assert.Contains(t, out, want)
	}
	drawn, err := os.ReadFile(picture)
	require.NoError(t, err)
	assert.Contains(t, string(drawn), "curlew: room to move, with a gap of 20 mm kept")
	assert.NotContains(t, string(drawn), "floor_to_crossing", "the picture is of the file as it is")
}

func TestRoomSaysWhatIsWrong(t *testing.T) {
	t.Parallel()
	good := filepath.Join("..", "testdata", "rigs", "bittern.yaml")
	for _, c := range []struct {
		code int
		says string
		args []string
	}{
		{exitUsage, "usage: room [FLAGS] FILE", nil},
		{exitUsage, "--gap is -3", []string{good, "--gap", "-3"}},
		{exitUsage, "there is no practice rig", []string{"--practice", "crane"}},
		{exitUsage, "--band is 0", []string{"--band", "0", good}},
		{exitUsage, "--gap is -3", []string{"--gap", "-3", good}},
		{exitUsage, "--gap is NaN", []string{"--gap", "NaN", good}},
		{exitUsage, "no change that can be tried", []string{"--what-if", "tape", good}},
		{exitCheck, "the file cannot be read", []string{filepath.Join(t.TempDir(), "none.yaml")}},
		{exitCheck, "has no number at tape.none_mm", []string{"--what-if", "tape.none_mm=5", good}},
		{exitCheck, "does not load if tape.floor_to_crossing_mm=1", []string{"--what-if", "tape.floor_to_crossing_mm=1", good}},
		{exitCheck, "writing the picture", []string{"--picture", filepath.Join(t.TempDir(), "none", "x.svg"), good}},
	} {
		code, _, errs := printed(t, append([]string{"room"}, c.args...)...)
		assert.Equal(t, c.code, code, "%v", c.args)
		assert.Contains(t, errs, c.says, "%v", c.args)
	}
}

// TestRoomWithSeveralChanges says of a file with two lengths changed together what it says of a file that has them so; what cannot be changed is said
// before anything else.
func TestRoomWithSeveralChanges(t *testing.T) {
	t.Parallel()
	good := filepath.Join("..", "testdata", "rigs", "bittern.yaml")
	content, err := os.ReadFile(good)
	require.NoError(t, err)
	other := strings.NewReplacer("tube_diameter_mm: 200", "tube_diameter_mm: 190", "front_reach_mm: 420", "front_reach_mm: 480").Replace(string(content))
	require.NotEqual(t, string(content), other)
	changed := filepath.Join(t.TempDir(), "bittern.yaml")
	require.NoError(t, os.WriteFile(changed, []byte(other), 0o600))

	code, out, errs := printed(t, "room", "--what-if", "tape.tube_diameter_mm=190,tape.front_reach_mm+=60", good)
	require.Equal(t, exitDone, code, "%s", errs)
	assert.Contains(t, strings.Join(strings.Fields(out), " "), "if tape.tube_diameter_mm=190 and tape.front_reach_mm+=60")
	_, want, _ := printed(t, "room", changed)
	after := func(text string) string {
		page, _, _ := strings.Cut(text[strings.LastIndex(text, "Axis 1 by"):], "\nbittern, side by side")
		return page
	}
	assert.Equal(t, after(want), after(out))

	code, out, errs = printed(t, "room", "--what-if", "tape.tube_diameter_mm=190,tape.none_mm=5", good)
	assert.Equal(t, exitCheck, code)
	assert.Empty(t, out)
	assert.Contains(t, errs, "has no number at tape.none_mm")
}

// TestRoomSideBySide sets what-ifs beside each other, also of lengths that stand in the class file and of such as the file leaves out.
func TestRoomSideBySide(t *testing.T) {
	t.Parallel()
	good := filepath.Join("..", "testdata", "rigs", "curlew.yaml")
	code, out, errs := printed(t, "room", "--gap", "250", "--band", "360", "--what-if", "tape.weights_to_mm+=150", "--what-if", "tape.shield_diameter_mm=200,tape.shield_from_mm=400", good)
	require.Equal(t, exitDone, code, "%s", errs)
	_, beside, found := strings.Cut(out, "side by side")
	require.True(t, found)
	for _, want := range []string{"(1) if tape.weights_to_mm+=150\n", "(2) if tape.shield_diameter_mm=200 and tape.shield_from_mm=400\n", "as it is               (1)                    (2)\n", "no room"} {
		assert.Contains(t, beside, want)
	}
	for args, says := range map[string]string{"tape.weights_to_mm=0": "heavy-germans.yaml:", "tape.shield_diameter_mm+=10": "write tape.shield_diameter_mm=NUMBER"} {
		code, _, errs = printed(t, "room", "--what-if", args, good)
		assert.Equal(t, exitCheck, code)
		assert.Contains(t, errs, says)
	}
}
