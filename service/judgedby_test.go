package main

import (
	"context"
	"encoding/hex"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// TestVerifyTellsWhatJudgedIsGone: whoever verifies a record for somebody who will judge its answers again is told which limits, rules or rig file are not
// beside it any more, from which entry on they judged, and which are not what their name says.
func TestVerifyTellsWhatJudgedIsGone(t *testing.T) {
	t.Parallel()
	dir, path, r := facilityFolder(t, "sky/floor:\n  altitude_deg: 4\n...\n"), filepath.Join(t.TempDir(), "r.keepclear"), heron(t)
	conn, stop := served(t, "--rigs", dir, "--record", path)
	home(t, pb.NewMotionServiceClient(conn), r)
	of := map[string]string{}
	for _, v := range atNumber(t, pb.NewRecordServiceClient(conn), 1).GetRevisions() {
		of[v.GetOf()] = hex.EncodeToString(v.GetSha256())
	}
	stop()
	folder := path + "-revisions"
	limits, rules, rigFile := "limits-"+of["limits"]+".json", "rules-"+of["rules"]+".txt", filepath.Join("rig-"+of["rig"], "heron.yaml")
	code, out := ran(t, "verify", path)
	assert.Equal(t, exitDone, code, out)
	assert.NotContains(t, out, "what judged its answers", "all of it is there")

	kept := map[string][]byte{}
	for _, name := range []string{limits, rules, rigFile} {
		content, err := os.ReadFile(filepath.Join(folder, name))
		require.NoError(t, err)
		kept[name] = content
	}
	put := func(name string, content []byte) {
		require.NoError(t, os.WriteFile(filepath.Join(folder, name), content, 0o600))
	}
	for _, name := range []string{limits, rules} {
		put(name, append(kept[name], ' '))
		code, out = ran(t, "verify", path)
		assert.Equal(t, exitCheck, code, "%s is certainly another: %s", name, out)
		assert.Contains(t, out, "r.keepclear-revisions, is not what its name says:\n  "+name+", of heron/1 and on\n")
		put(name, kept[name])
	}
	away := filepath.Join(t.TempDir(), "away")
	for what, make := range map[string]func(at string) error{
		"a pipe":   func(at string) error { return syscall.Mkfifo(at, 0o600) },
		"a folder": func(at string) error { return os.Mkdir(at, 0o700) },
		"a link": func(at string) error {
			return errors.Join(os.WriteFile(away, kept[limits], 0o600), os.Symlink(away, at))
		},
		"a huge file, of holes": func(at string) error {
			return errors.Join(os.WriteFile(at, kept[limits], 0o600), os.Truncate(at, 1<<40))
		},
	} {
		for _, name := range []string{limits, "rig-" + of["rig"], rigFile} {
			full := filepath.Join(folder, name)
			if name == "rig-"+of["rig"] && what == "a folder" { // it is one, and without its file, gone
				continue
			}
			require.NoError(t, os.Rename(full, full+".kept"))
			require.NoError(t, make(full), what)
			code, out = inTime(t, "verify", path)
			assert.Equal(t, map[bool]int{true: exitCheck, false: exitDone}[name == limits], code, "%s: %s", what, out)
			assert.Contains(t, out, "is not what its name says:\n  "+strings.TrimSuffix(name, string(filepath.Separator)+"heron.yaml")+", of heron/1 and on\n", "%s in the place of %s", what, name)
			require.NoError(t, os.Remove(full))
			require.NoError(t, os.Rename(full+".kept", full))
		}
	}
	of1 := judgedBy{first: map[revision]string{{"limits", strings.Repeat("0", 64)}: "heron/1"}}
	given, giveUp := context.WithCancel(t.Context())
	giveUp()
	lines, _ := of1.beside(given, revisionsOf(path))
	assert.Empty(t, lines, "given up")
	lines, _ = of1.beside(t.Context(), revisionsOf(path))
	assert.NotEmpty(t, lines)
	rewritten(t, filepath.Dir(filepath.Join(folder, rigFile)), "floor_to_crossing_mm: 1300", "floor_to_crossing_mm: 1310")
	code, out = ran(t, "verify", path)
	assert.Equal(t, exitDone, code, "another program may read a rig file otherwise: told, and no failure: %s", out)
	assert.Contains(t, out, "is not what its name says:\n  rig-"+of["rig"]+", of heron/1 and on\n")
	put(rigFile, kept[rigFile][:100])
	_, out = ran(t, "verify", path)
	assert.NotContains(t, out, "what judged its answers", "what cannot be read here is not accused")
	put(rigFile, kept[rigFile])

	require.NoError(t, os.Remove(filepath.Join(folder, limits)))
	require.NoError(t, os.Remove(filepath.Join(folder, rigFile)))
	code, out = ran(t, "verify", path)
	assert.Equal(t, exitDone, code, "no answer depends on it: %s", out)
	assert.Contains(t, out, "is gone from the folder r.keepclear-revisions:\n  "+limits+", of heron/1 and on\n  rig-"+of["rig"]+", of heron/1 and on\n")
	require.NoError(t, os.RemoveAll(folder))
	code, out = ran(t, "verify", path)
	assert.Equal(t, exitDone, code, out)
	assert.Contains(t, out, "What judged its answers is told by digests alone")
}

// inTime runs a command that must end by itself.
func inTime(t *testing.T, args ...string) (code int, out string) {
	t.Helper()
	done := make(chan struct{})
	go func() { defer close(done); code, out = ran(t, args...) }()
	select {
	case <-done:
	case <-time.After(20 * time.Second):
		t.Fatal("it hangs")
	}
	return code, out
}

// TestAPipeIsReplacedByWhatIsKept: a start does not wait for who writes to a pipe, nor write through a link, that bears the name of what it keeps.
func TestAPipeIsReplacedByWhatIsKept(t *testing.T) {
	t.Parallel()
	v := revisionsOf(filepath.Join(t.TempDir(), "r.keepclear"))
	require.NoError(t, os.MkdirAll(v.path, 0o700))
	at, away := filepath.Join(v.path, "rules-00.txt"), filepath.Join(t.TempDir(), "away")
	require.NoError(t, syscall.Mkfifo(at, 0o600))
	done := make(chan error, 1)
	go func() { done <- v.keepFile("rules-00.txt", []byte("x")) }()
	select {
	case err := <-done:
		require.NoError(t, err)
	case <-time.After(20 * time.Second):
		t.Fatal("it hangs")
	}
	require.NoError(t, os.Remove(at))
	require.NoError(t, os.WriteFile(away, []byte("y"), 0o600))
	require.NoError(t, os.Symlink(away, at))
	require.NoError(t, v.keepFile("rules-00.txt", []byte("x")))
	for path, want := range map[string]string{at: "x", away: "y"} {
		got, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.Equal(t, want, string(got))
	}
}
