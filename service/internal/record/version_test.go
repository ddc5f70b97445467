package record_test

import (
	"bytes"
	"compress/gzip"
	"io"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/store"
)

// version1 lays a record out as the last program that wrote version 1 left it (build c3605a8, 29 November 2026): a homing and five questions.
func version1(t testing.TB) (path string) {
	t.Helper()
	packed, err := os.ReadFile("testdata/version-1.gz")
	require.NoError(t, err)
	z, err := gzip.NewReader(bytes.NewReader(packed))
	require.NoError(t, err)
	file, err := io.ReadAll(z)
	require.NoError(t, err)
	path = newPath(t)
	require.NoError(t, os.WriteFile(path, file, 0o600))
	return path
}

// rows reads a chain of a record that nobody has open.
func rows(t testing.TB, path, chain string) (out []store.Row) {
	t.Helper()
	s, err := store.Open(path, store.Options{ReadOnly: true})
	require.NoError(t, err)
	defer s.Close()
	for row, err := range s.Run(t.Context(), chain, 1, 100) {
		require.NoError(t, err)
		out = append(out, row)
	}
	return out
}

// TestVersion1: an old record is read as it is by who only reads, leaving every byte of it; a service goes on in it, and what was there stays.
func TestVersion1(t *testing.T) {
	path := version1(t)
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	res, err := record.VerifyFile(t.Context(), path, record.VerifyOptions{}, store.Options{})
	require.NoError(t, err)
	require.True(t, res.Whole, res.Sentence)
	old := rows(t, path, "rig-00")
	require.Len(t, old, 6)
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, before, after, "who only reads changes nothing")

	r := open(t, path, record.Options{})
	require.Equal(t, record.Head{Number: 6, Hash: old[5].Hash}, r.Head("rig-00"))
	write(t, r, "rig-00", 7, 8)
	verifyWhole(t, r, 8)
	require.NoError(t, r.Close())
	now := rows(t, path, "rig-00")
	require.Len(t, now, 8)
	assert.Equal(t, old, now[:6])
	require.NoError(t, open(t, path, record.Options{}).Close(), "once more, as a file of ours")
}

// TestUpgradeBrokenOff: whatever fails while a service makes an old record one of its own version, before it was done or after, the record is
// whole afterwards, as it was or as it should be, and the next service goes on in it.
func TestUpgradeBrokenOff(t *testing.T) {
	old := rows(t, version1(t), "rig-00")
	for _, when := range []faults.When{faults.Before, faults.After} {
		met := 0
		for n := 1; ; n++ {
			path, disk := version1(t), &faults.Disk{}
			disk.FailAt(n, when, false)
			s, err := store.Open(path, store.Options{Wrap: disk.Wrap})
			if err == nil {
				require.NoError(t, s.Close())
			} else {
				met++
			}
			require.Equal(t, old, rows(t, path, "rig-00"), "operation %d: %v", n, err)
			r, err := record.Open(path, record.Options{})
			require.NoError(t, err, "operation %d", n)
			write(t, r, "rig-00", 7)
			verifyWhole(t, r, 7)
			require.NoError(t, r.Close())
			if disk.Count() < n {
				break
			}
		}
		require.Greater(t, met, 5, "openings that failed")
	}
}
