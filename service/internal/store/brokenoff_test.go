package store_test

import (
	"database/sql"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/store"
)

// A record whose making was broken off with its first journal beside it: who only reads is told what it is and what to do.
func TestMakingThatWasBrokenOff(t *testing.T) {
	dir := t.TempDir()
	from, path := filepath.Join(dir, "half"), filepath.Join(dir, "record")
	db, err := sql.Open("sqlite", from)
	require.NoError(t, err)
	defer db.Close()
	db.SetMaxOpenConns(1)
	for _, q := range []string{"PRAGMA cache_size=1", "CREATE TABLE before (a)", "INSERT INTO before VALUES (zeroblob(9000))", "BEGIN IMMEDIATE", "UPDATE before SET a = zeroblob(99000)"} {
		_, err := db.Exec(q)
		require.NoError(t, err)
	}
	for _, suffix := range []string{"", "-journal"} { // as a crash leaves them
		b, err := os.ReadFile(from + suffix)
		require.NoError(t, err)
		require.NotEmpty(t, b)
		require.NoError(t, os.WriteFile(path+suffix, b, 0o600))
	}
	_, err = store.Open(path, store.Options{ReadOnly: true})
	require.ErrorIs(t, err, store.ErrForeign)
	require.ErrorContains(t, err, "its making was broken off before it held anything")
}
