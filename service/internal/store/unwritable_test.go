//go:build linux

package store_test

import (
	"os"
	"path/filepath"
	"runtime"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/store"
)

// nobody is the user id that owns nothing on Debian (base-passwd).
const nobody = 65534

// asNobody runs f with the rights of nobody over files, where the test runs as root: modes do not stop root. The rights belong to
// the thread, which is kept until they are given back.
func asNobody(t *testing.T, f func()) {
	t.Helper()
	if os.Getuid() != 0 {
		f()
		return
	}
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	require.NoError(t, syscall.Setfsuid(nobody))
	defer func() { require.NoError(t, syscall.Setfsuid(0)) }()
	f()
}

// TestUnwritable: a file or a directory that may not be written is refused at the start, not at the first question, and left as it was.
func TestUnwritable(t *testing.T) {
	for name, modes := range map[string]struct{ dir, file os.FileMode }{
		"file":      {dir: 0o755, file: 0o444},
		"unread":    {dir: 0o755, file: 0o000},
		"directory": {dir: 0o555, file: 0o444},
		"hidden":    {dir: 0o000, file: 0o644},
	} {
		t.Run(name, func(t *testing.T) {
			dir, err := os.MkdirTemp("", "unwritable") // every directory above it can be searched by anybody
			require.NoError(t, err)
			t.Cleanup(func() {
				assert.NoError(t, os.Chmod(dir, 0o700))
				assert.NoError(t, os.RemoveAll(dir))
			})
			path := filepath.Join(dir, "record")
			s, err := store.Open(path, store.Options{})
			require.NoError(t, err)
			require.NoError(t, s.Commit([]store.Row{row("a", 1)}))
			require.NoError(t, s.Close())
			before, err := os.ReadFile(path)
			require.NoError(t, err)
			require.NoError(t, os.Chmod(path, modes.file))
			require.NoError(t, os.Chmod(dir, modes.dir))
			asNobody(t, func() {
				s, err := store.Open(path, store.Options{})
				if err == nil {
					assert.NoError(t, s.Close())
				}
				var at *store.FileError
				if assert.ErrorAs(t, err, &at) {
					assert.Equal(t, path, at.Path)
					assert.NotEmpty(t, at.Remedy, "%v", err)
				}
			})
			require.NoError(t, os.Chmod(dir, 0o755))
			require.NoError(t, os.Chmod(path, 0o644))
			after, err := os.ReadFile(path)
			require.NoError(t, err)
			assert.Equal(t, before, after)
		})
	}
}
