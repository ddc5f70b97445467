//go:build linux

package store_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/store"
)

// names are the files of a folder.
func names(t *testing.T, dir string) (out []string) {
	t.Helper()
	files, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, f := range files {
		out = append(out, f.Name())
	}
	return out
}

// TestReadWithoutWriting: a record that nobody has open, closed or as a crash left it, with its index or without, is read to its last row where nothing may be
// written; and where it may be, nothing is made beside it.
func TestReadWithoutWriting(t *testing.T) {
	for name, c := range map[string]struct {
		sides []string // that a crash left; none: it was closed
		shm   os.FileMode
		dir   os.FileMode
	}{
		"closed":                         {dir: 0o555},
		"closed, writable":               {dir: 0o755},
		"killed":                         {sides: []string{"-wal", "-shm"}, shm: 0o444, dir: 0o555},
		"killed, its index is forbidden": {sides: []string{"-wal", "-shm"}, shm: 0, dir: 0o555},
		"killed, no index":               {sides: []string{"-wal"}, dir: 0o555},
		"killed, no index, writable":     {sides: []string{"-wal"}, dir: 0o755},
	} {
		t.Run(name, func(t *testing.T) {
			base, err := os.MkdirTemp("", "reading") // every directory above it can be searched by anybody
			require.NoError(t, err)
			t.Cleanup(func() { assert.NoError(t, os.RemoveAll(base)) })
			require.NoError(t, os.Chmod(base, 0o755))
			temporary := filepath.Join(base, "temporary")
			require.NoError(t, os.Mkdir(temporary, 0o700))
			require.NoError(t, os.Chmod(temporary, 0o777))
			t.Setenv("TMPDIR", temporary)
			dir := filepath.Join(base, "evidence")
			require.NoError(t, os.Mkdir(dir, 0o755))
			was, path := filepath.Join(base, "was"), filepath.Join(dir, "record")
			s, err := store.Open(was, store.Options{})
			require.NoError(t, err)
			require.NoError(t, s.Commit([]store.Row{row("a", 1)}))
			require.NoError(t, s.Commit([]store.Row{row("a", 2)}))
			if c.sides == nil {
				require.NoError(t, s.Close())
			}
			modes := map[string]os.FileMode{"-shm": c.shm}
			for _, side := range append([]string{""}, c.sides...) {
				content, err := os.ReadFile(was + side)
				require.NoError(t, err)
				require.NoError(t, os.WriteFile(path+side, content, 0o644))
				if mode, set := modes[side]; set {
					require.NoError(t, os.Chmod(path+side, mode))
				}
			}
			if c.sides != nil {
				require.NoError(t, s.Close())
			}
			require.NoError(t, os.Chmod(dir, c.dir))
			before := names(t, dir)
			asNobody(t, func() {
				r, err := store.Open(path, store.Options{ReadOnly: true})
				require.NoError(t, err)
				got, err := r.Get(t.Context(), "a", 2)
				require.NoError(t, err)
				assert.Equal(t, "body", string(got.Body))
				require.NoError(t, r.Check(t.Context()))
				require.NoError(t, r.Still())
				assert.Equal(t, path, r.Path())
				require.NoError(t, r.Close())
			})
			assert.Equal(t, before, names(t, dir))
			assert.Empty(t, names(t, temporary), "no copy is left")
			require.NoError(t, os.Chmod(dir, 0o755))
		})
	}
}

// TestNoRoomForACopy: what cannot be copied to be read says how much room it needs and where that is named.
func TestNoRoomForACopy(t *testing.T) {
	path := filepath.Join(t.TempDir(), "record")
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	require.NoError(t, s.Close())
	require.NoError(t, os.WriteFile(path+"-wal", []byte("some log"), 0o600))
	t.Setenv("TMPDIR", filepath.Join(t.TempDir(), "none"))
	_, err = store.Open(path, store.Options{ReadOnly: true})
	require.ErrorIs(t, err, store.ErrOpen)
	assert.ErrorContains(t, err, "room for ")
	assert.ErrorContains(t, err, "TMPDIR")
}

// TestChangedWhileRead: a record that was closed is read as one that does not change, and where a service opens it meanwhile that is told; beside a service
// that has it open already nothing is the matter.
func TestChangedWhileRead(t *testing.T) {
	path := filepath.Join(t.TempDir(), "record")
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	require.NoError(t, s.Commit([]store.Row{row("a", 1)}))
	beside := open(t, path, store.Options{ReadOnly: true})
	require.NoError(t, s.Commit([]store.Row{row("a", 2)}))
	require.NoError(t, beside.Still())
	_, err = beside.Get(t.Context(), "a", 2)
	require.NoError(t, err, "it sees what is written")
	require.NoError(t, s.Close())

	path = filepath.Join(t.TempDir(), "record")
	s, err = store.Open(path, store.Options{})
	require.NoError(t, err)
	require.NoError(t, s.Close())
	r := open(t, path, store.Options{ReadOnly: true})
	require.NoError(t, r.Still())
	later := open(t, path, store.Options{})
	require.ErrorIs(t, r.Still(), store.ErrChanged)
	require.NoError(t, later.Commit([]store.Row{row("a", 1)}))
	require.ErrorIs(t, r.Still(), store.ErrChanged)
}
