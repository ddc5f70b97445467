package store_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/store"
)

// Commits write over what the log is long from the beginning, and make it no longer; a copy of it as a kill leaves it is read as the log it is.
func TestLogIsLongFromTheBeginning(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "record")
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	began := size(t, path+"-wal")
	assert.Greater(t, began, int64(1<<20))
	for n := uint64(1); n <= 5; n++ {
		require.NoError(t, s.Commit([]store.Row{row("a", n)}))
	}
	assert.Equal(t, began, size(t, path+"-wal"))
	killed := filepath.Join(t.TempDir(), "record")
	for _, side := range []string{"", "-wal"} {
		raw, err := os.ReadFile(path + side)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(killed+side, raw, 0o600))
	}
	require.NoError(t, s.Close())
	again, err := store.Open(killed, store.Options{})
	require.NoError(t, err)
	heads, _, err := again.Heads(t.Context())
	require.NoError(t, err)
	require.Len(t, heads, 1)
	assert.Equal(t, uint64(5), heads[0].Number)
	require.NoError(t, again.Close())
}

func size(t *testing.T, path string) int64 {
	info, err := os.Stat(path)
	require.NoError(t, err)
	return info.Size()
}
