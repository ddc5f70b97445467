package store_test

import (
	"database/sql"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/store"
)

// brokenOff leaves a file as a crash does in the middle of a commit by rollback journal, with that beside it: half of the change is in
// the file. The statements go to a database at from, the last of them in the transaction that is broken off. It returns the path.
func brokenOff(t *testing.T, from string, statements ...string) (path string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "record")
	db, err := sql.Open("sqlite", from)
	require.NoError(t, err)
	defer db.Close()
	db.SetMaxOpenConns(1)
	last := len(statements) - 1
	for _, q := range slices.Concat(statements[:last], []string{"PRAGMA cache_size=1", "BEGIN IMMEDIATE"}, statements[last:]) {
		_, err := db.Exec(q)
		require.NoError(t, err, q)
	}
	for _, suffix := range []string{"", "-journal"} {
		b, err := os.ReadFile(from + suffix)
		require.NoError(t, err)
		require.NotEmpty(t, b)
		require.NoError(t, os.WriteFile(path+suffix, b, 0o600))
	}
	return path
}

// A change that was broken off with its journal beside the file: who only reads cannot know what the file holds, and is told so, where the
// journal lies and what to do. Whether it held anything before makes no difference.
func TestChangeThatWasBrokenOff(t *testing.T) {
	path := brokenOff(t, filepath.Join(t.TempDir(), "half"), "CREATE TABLE before (a)", "INSERT INTO before VALUES (zeroblob(9000))", "UPDATE before SET a = zeroblob(99000)")
	left := readAll(t, path, path+"-journal")
	_, err := store.Open(path, store.Options{ReadOnly: true})
	require.ErrorIs(t, err, store.ErrUnfinished)
	assert.ErrorContains(t, err, path+"-journal")
	assert.ErrorContains(t, err, "start the service")
	assert.NotContains(t, err.Error(), "held anything")
	assert.Equal(t, left, readAll(t, path, path+"-journal"), "who only reads changes nothing")
}

func readAll(t *testing.T, paths ...string) (out []string) {
	t.Helper()
	for _, path := range paths {
		b, err := os.ReadFile(path)
		require.NoError(t, err)
		out = append(out, string(b))
	}
	return out
}

// A record with answers whose journal mode was not the log, as an older program could leave it, killed in the middle of a commit: no reader
// says that it held nothing, and the service that starts on it finds all of it and turns it to the log.
func TestRecordLeftInAnotherMode(t *testing.T) {
	from := filepath.Join(t.TempDir(), "record")
	s, err := store.Open(from, store.Options{})
	require.NoError(t, err)
	require.NoError(t, s.Commit([]store.Row{row("a", 1), row("a", 2)}))
	require.NoError(t, s.Close())
	path := brokenOff(t, from, "PRAGMA journal_mode=DELETE", "UPDATE entry SET body = zeroblob(99000)")
	_, err = store.Open(path, store.Options{ReadOnly: true})
	require.ErrorIs(t, err, store.ErrUnfinished)

	s, err = store.Open(path, store.Options{})
	require.NoError(t, err)
	require.NoError(t, s.Commit([]store.Row{row("a", 3)}))
	_, err = os.Stat(path + "-journal")
	require.ErrorIs(t, err, os.ErrNotExist, "no journal is left")
	r, err := store.Open(path, store.Options{ReadOnly: true})
	require.NoError(t, err)
	for n := range uint64(3) {
		got, err := r.Get(t.Context(), "a", n+1)
		require.NoError(t, err)
		assert.Equal(t, "body", string(got.Body), "entry %d", n+1)
	}
	require.NoError(t, r.Close())
	require.NoError(t, s.Close())
}
