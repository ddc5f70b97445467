package store

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestAPanicAfterTheCommitEndsTheStoreToo: what it knows of what is on disk is not all that is.
func TestAPanicAfterTheCommitEndsTheStoreToo(t *testing.T) {
	s, err := Open(filepath.Join(t.TempDir(), "record"), Options{})
	require.NoError(t, err)
	rows := func(n uint64) []Row {
		r := Row{Place: Place{Chain: "a", Number: n, Hash: Hash{byte(n)}}, Head: []byte("head"), Body: []byte("body"), Index: Index{Kind: "asked"}}
		if n > 1 {
			r.Previous = Hash{byte(n - 1)}
		}
		return []Row{r}
	}
	require.NoError(t, s.Commit(rows(1)))
	watched := s.watched
	s.watched = nil // to which is written after the commit
	require.Panics(t, func() { _ = s.Commit(rows(2)) })
	s.watched = watched
	err = s.Commit(rows(3))
	require.ErrorIs(t, err, ErrCommit)
	require.ErrorContains(t, err, "a panic broke the last commit off")
	require.ErrorIs(t, s.Tidy(func() bool { return false }), errBrokenOff)
	require.NoError(t, s.Close())
}

// A remedy goes by the cause: where too much is open, or the disk is broken, it helps nobody to give leave to write.
func TestRemedyByCause(t *testing.T) {
	for cause, want := range map[error]string{
		&os.PathError{Op: "open", Path: "record-lock", Err: syscall.EMFILE}: "ulimit -n", syscall.ENFILE: "ulimit -n",
		&os.PathError{Op: "open", Path: "record-lock", Err: syscall.EIO}: "see to the disk", syscall.EACCES: "as it was",
	} {
		assert.Contains(t, byCause(cause, "as it was"), want)
		assert.ErrorContains(t, (&Store{}).failed(ErrOpen, "opening", cause, "as it was"), want)
	}
	dir := t.TempDir()
	_, err := lockFile(filepath.Join(dir, "nowhere", "record"))
	assert.ErrorContains(t, err, "give the service's user a folder")
}
