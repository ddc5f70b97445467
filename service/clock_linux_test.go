package main

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The machine's own count of time goes by one start of it, and from instant to instant as they do.
func TestMachineCountsItsOwnTime(t *testing.T) {
	now, up := time.Now(), newUptime(bootIDFile)
	a, b := up(now), up(now.Add(-time.Hour))
	require.NotNil(t, a)
	require.NotNil(t, b)
	assert.Regexp(t, `^[0-9a-f-]{36}$`, a.Boot)
	assert.Equal(t, a.Boot, b.Boot)
	assert.Positive(t, a.For)
	assert.InDelta(t, time.Hour.Seconds(), (a.For - b.For).Seconds(), 60, "read one after the other")
}

// What could not be read once is read again; what was read stays.
func TestNameOfTheStartIsReadAgainAfterAFailure(t *testing.T) {
	file := filepath.Join(t.TempDir(), "boot_id")
	up := newUptime(file)
	assert.Nil(t, up(time.Now()))
	require.NoError(t, os.WriteFile(file, []byte("\n"), 0o600))
	assert.Nil(t, up(time.Now()), "no name")
	for _, content := range []string{"one\n", "another\n"} {
		require.NoError(t, os.WriteFile(file, []byte(content), 0o600))
		got := up(time.Now())
		require.NotNil(t, got)
		assert.Equal(t, "one", got.Boot)
	}
}
