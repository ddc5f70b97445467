package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestViewSaysAndDrawsAPose, of a file and of the practice rig; without a pose, home.
func TestViewSaysAndDrawsAPose(t *testing.T) {
	t.Parallel()
	picture := filepath.Join(t.TempDir(), "heron.svg")
	code, out, errs := printed(t, "view", "--at", "60, -40", "--picture", picture, "--practice", "heron")
	require.Equal(t, exitDone, code, "%s", errs)
	assert.Contains(t, out, "heron: axis 1 at 60.00°, axis 2 at -40.00°\n")
	assert.Contains(t, out, "Nearest: south-west leg and camera, 107.3 mm apart")
	assert.Contains(t, out, "The rig is drawn in "+picture)
	drawn, err := os.ReadFile(picture)
	require.NoError(t, err)
	assert.Contains(t, string(drawn), "south-west leg – camera: 107.3 mm")

	code, out, errs = printed(t, "view", filepath.Join("..", "testdata", "rigs", "curlew.yaml"))
	require.Equal(t, exitDone, code, "%s", errs)
	assert.Contains(t, out, "curlew: axis 1 at 0.00°, axis 2 at 0.00°\n")
	assert.NotContains(t, out, "drawn")
}

func TestViewSaysWhatIsWrong(t *testing.T) {
	t.Parallel()
	good := filepath.Join("..", "testdata", "rigs", "bittern.yaml")
	broken := filepath.Join(t.TempDir(), "broken.yaml")
	require.NoError(t, os.WriteFile(broken, []byte("rig: broken\n"), 0o600))
	for _, c := range []struct {
		code int
		says string
		args []string
	}{
		{exitUsage, "usage: view [FLAGS] FILE", nil},
		{exitUsage, "usage: view [FLAGS] FILE", []string{good, "--at", "5,5", good}},
		{exitUsage, "both axes in degrees within ±3600", []string{good, "--at", "5"}},
		{exitDone, "", []string{good, "--at", "5,5"}},
		{exitCheck, "the file cannot be read", []string{"--at", "5,5", "--", "--none.yaml"}},
		{exitUsage, "there is no practice rig", []string{"--practice", "crane"}},
		{exitUsage, "both axes in degrees within ±3600", []string{"--at", "5", good}},
		{exitUsage, "both axes in degrees within ±3600", []string{"--at", "5,6,7", good}},
		{exitUsage, "both axes in degrees within ±3600", []string{"--at", "NaN,6", good}},
		{exitUsage, "both axes in degrees within ±3600", []string{"--at", "5,3601", good}},
		{exitCheck, "the file cannot be read", []string{filepath.Join(t.TempDir(), "none.yaml")}},
		{exitCheck, "The file does not load; see check FILE", []string{broken}},
		{exitCheck, "writing the picture", []string{"--picture", filepath.Join(t.TempDir(), "none", "x.svg"), good}},
	} {
		code, _, errs := printed(t, append([]string{"view"}, c.args...)...)
		assert.Equal(t, c.code, code, "%v", c.args)
		assert.Contains(t, errs, c.says, "%v", c.args)
	}
}
