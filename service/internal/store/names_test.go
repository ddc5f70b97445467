//go:build linux

package store_test

import (
	"database/sql"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/store"
)

// TestOneServiceByAnyLink: whatever symbolic links two services come by, to the file or to its folder, the second is refused while the first lives, and
// nothing is made beside a link.
func TestOneServiceByAnyLink(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "real", "record")
	require.NoError(t, os.Mkdir(filepath.Dir(path), 0o755))
	elsewhere := filepath.Join(dir, "links")
	require.NoError(t, os.Mkdir(elsewhere, 0o755))
	links := map[string]string{"absolute": path, "relative": "../real/record", "twice": "absolute", "folder": "../real"}
	for name, to := range links {
		require.NoError(t, os.Symlink(to, filepath.Join(elsewhere, name)))
	}
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	require.NoError(t, s.Commit([]store.Row{row("a", 1)}))
	for name := range links {
		by := filepath.Join(elsewhere, name)
		if name == "folder" {
			by = filepath.Join(by, "record")
		}
		second, err := store.Open(by, store.Options{})
		if !assert.ErrorIs(t, err, store.ErrInUse, name) {
			require.NoError(t, second.Close())
		}
	}
	require.NoError(t, s.Commit([]store.Row{row("a", 2)}), "it is none the worse for them")
	require.NoError(t, s.Close())

	s, err = store.Open(filepath.Join(elsewhere, "twice"), store.Options{})
	require.NoError(t, err)
	assert.Equal(t, path, s.Path())
	_, err = store.Open(path, store.Options{})
	require.ErrorIs(t, err, store.ErrInUse, "the other way about")
	require.NoError(t, s.Commit([]store.Row{row("a", 3)}))
	require.NoError(t, s.Close())
	files, err := os.ReadDir(elsewhere)
	require.NoError(t, err)
	assert.Len(t, files, len(links), "nothing but the links: %v", files)
}

// TestLinkLedElsewhere: a service that came by a link notices when it leads to another file.
func TestLinkLedElsewhere(t *testing.T) {
	dir := t.TempDir()
	path, link := filepath.Join(dir, "record"), filepath.Join(dir, "link")
	require.NoError(t, os.WriteFile(path, nil, 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "other"), nil, 0o600))
	require.NoError(t, os.Symlink("record", link))
	s := open(t, link, store.Options{})
	require.NoError(t, s.Commit([]store.Row{row("a", 1)}))
	require.NoError(t, os.Remove(link))
	require.NoError(t, os.Symlink("other", link))
	require.ErrorIs(t, s.Commit([]store.Row{row("a", 2)}), store.ErrReplaced)
}

// TestLinkToNothing: what is not mounted may hold the record, so no new one is begun in its place.
func TestLinkToNothing(t *testing.T) {
	dir := t.TempDir()
	link := filepath.Join(dir, "link")
	require.NoError(t, os.Symlink(filepath.Join(dir, "record"), link))
	for _, readOnly := range []bool{false, true} {
		_, err := store.Open(link, store.Options{ReadOnly: readOnly})
		require.ErrorIs(t, err, store.ErrOpen)
		assert.ErrorContains(t, err, link)
		assert.ErrorContains(t, err, "not mounted")
	}
	files, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, files, 1, "nothing was made: %v", files)
}

// TestHardLinkIsRefused: a file of two names has two logs, whichever of them is opened first, and whether or not somebody has it open. To read it does no harm.
func TestHardLinkIsRefused(t *testing.T) {
	dir := t.TempDir()
	path, other := filepath.Join(dir, "record"), filepath.Join(dir, "other")
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	require.NoError(t, s.Commit([]store.Row{row("a", 1)}))
	require.NoError(t, os.Link(path, other))
	refused := func(when string) {
		for _, by := range []string{path, other} {
			_, err := store.Open(by, store.Options{})
			require.ErrorIs(t, err, store.ErrNames, "%s, %s", by, when)
			assert.ErrorContains(t, err, "2 hard links")
			assert.ErrorContains(t, err, "find DIR -samefile "+by)
		}
	}
	refused("in use")
	require.NoError(t, s.Commit([]store.Row{row("a", 2)}), "it is none the worse for them")
	require.NoError(t, s.Close())
	refused("closed")
	assert.NoFileExists(t, other+"-lock")
	r, err := store.Open(path, store.Options{ReadOnly: true})
	require.NoError(t, err)
	require.NoError(t, r.Close())
	require.NoError(t, os.Remove(other))
	s, err = store.Open(path, store.Options{})
	require.NoError(t, err, "one name again")
	require.NoError(t, s.Close())
}

// TestFileItselfIsLocked: where neither the name nor the count of names tells (a file that is mounted in a second place; here, the lock file was taken
// away), the file does; and SQLite's own locks on it, which closing it here would drop, are there beside ours.
func TestFileItselfIsLocked(t *testing.T) {
	path := filepath.Join(t.TempDir(), "record")
	s := open(t, path, store.Options{})
	require.NoError(t, s.Commit([]store.Row{row("a", 1)}))
	f, err := os.Open(path)
	require.NoError(t, err)
	defer func() { require.NoError(t, f.Close()) }()
	const ofdGetLock = 36 // F_OFD_GETLK of fcntl(2): who asks by it is another owner than SQLite in this process
	held := syscall.Flock_t{Type: syscall.F_WRLCK}
	require.NoError(t, syscall.FcntlFlock(f.Fd(), ofdGetLock, &held))
	assert.Equal(t, int16(syscall.F_RDLCK), held.Type, "SQLite's, who reads and writes by the log")
	require.NoError(t, os.Remove(path+"-lock"))
	_, err = store.Open(path, store.Options{})
	require.ErrorIs(t, err, store.ErrInUse)
	require.NoError(t, s.Commit([]store.Row{row("a", 2)}))
}

// TestOlderCopyWrittenOver: an older copy that is written over the record where it lies is noticed before anything more is answered on it, and before
// the log is mixed with it; what another program moves there of the log itself is not taken for one.
func TestOlderCopyWrittenOver(t *testing.T) {
	quiet := func() bool { return false }
	for name, moves := range map[string]bool{"by the next commit": false, "before the log is moved": true} {
		t.Run(name, func(t *testing.T) {
			path, number := filepath.Join(t.TempDir(), "record"), uint64(0)
			s, err := store.Open(path, store.Options{})
			require.NoError(t, err)
			defer s.Close()
			next := func() error { number++; return s.Commit([]store.Row{row("a", number)}) }
			older, err := os.ReadFile(path)
			require.NoError(t, err)
			for range 2 { // once moved by this program, once by another
				for !s.Untidy() {
					require.NoError(t, next())
				}
				if number > 0 && moves {
					_, err = shellOf(t, path).Exec("PRAGMA wal_checkpoint(PASSIVE)")
					require.NoError(t, err)
				}
				require.NoError(t, s.Tidy(quiet))
				require.NoError(t, next())
			}
			for !s.Untidy() {
				require.NoError(t, next())
			}
			now, err := os.ReadFile(path)
			require.NoError(t, err)
			require.Greater(t, len(now), len(older))
			require.NoError(t, os.WriteFile(path, older, 0o600))
			if moves {
				err = s.Tidy(quiet)
			} else {
				err = next()
			}
			require.ErrorIs(t, err, store.ErrReplaced)
			assert.ErrorContains(t, err, "an older copy was written over it")
		})
	}
}

// shellOf is another program that has the record open.
func shellOf(t *testing.T, path string) *sql.DB {
	t.Helper()
	shell, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	t.Cleanup(func() { _ = shell.Close() })
	return shell
}
