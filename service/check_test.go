package main

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
)

// A file that is not there is asked for, and the form is named for whoever has none yet.
func TestCheckOfNoFileSaysWhatToDo(t *testing.T) {
	t.Parallel()
	code, out := ran(t, "check", filepath.Join(t.TempDir(), "none.yaml"))
	assert.Equal(t, exitCheck, code)
	assert.Contains(t, out, "give the path of a rig file (an empty form: check --blank)")
}
