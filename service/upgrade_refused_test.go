package main

import (
	"compress/gzip"
	"encoding/binary"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A start that is refused for a rig file leaves a record of an older version as it was: whoever goes back to the program before can read it.
func TestRefusedStartUpgradesNothing(t *testing.T) {
	packed, err := os.Open("internal/record/testdata/version-2.gz")
	require.NoError(t, err)
	defer func() { _ = packed.Close() }()
	unpacked, err := gzip.NewReader(packed)
	require.NoError(t, err)
	was, err := io.ReadAll(unpacked)
	require.NoError(t, err)
	path, rigs := filepath.Join(t.TempDir(), "r.keepclear"), t.TempDir()
	require.NoError(t, os.WriteFile(path, was, 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(rigs, "egret.yaml"), []byte("rig: egret\n"), 0o600))
	code, _ := ran(t, "serve", "--rigs", rigs, "--record", path, "--listen", "127.0.0.1:0")
	require.Equal(t, exitCheck, code)
	is, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.EqualValues(t, 2, binary.BigEndian.Uint32(is[60:]), "the program before this one can still read it")
}
