package main

import (
	"errors"
	"os"
	"path/filepath"
	"runtime/debug"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestBuildsOfTwoSourcesDiffer, where nothing else tells them apart too.
func TestBuildsOfTwoSourcesDiffer(t *testing.T) {
	dir := t.TempDir()
	program := func(name string) func() (string, error) {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, []byte(name), 0o600))
		return func() (string, error) { return path, nil }
	}
	stamped := func(modified string) *debug.BuildInfo {
		return &debug.BuildInfo{Settings: []debug.BuildSetting{{Key: "vcs.revision", Value: "1234"}, {Key: "vcs.modified", Value: modified}}}
	}
	for name, info := range map[string]*debug.BuildInfo{"nothing": nil, "no revision": {}, "changed since": stamped("true")} {
		assert.NotEqual(t, buildOf(info, program("one")), buildOf(info, program("other")), name)
		assert.Equal(t, buildOf(info, program("one")), buildOf(info, program("one")), name)
	}
	assert.Equal(t, buildOf(stamped("false"), program("one")), buildOf(stamped("false"), program("other")), "the revision tells")
	assert.NotEmpty(t, buildOf(nil, func() (string, error) { return "", errors.New("no such program") }))
}
