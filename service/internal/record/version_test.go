package record_test

import (
	"bytes"
	"compress/gzip"
	"fmt"
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
func version1(t testing.TB) (path string) { return version(t, 1) }

// version lays a record of an older version out. That of version 2 is as the last program that wrote one left it (build cacd063, 29 November 2026): the
// one of version 1, in which it went on with six questions, and six entries of the chain pier.
func version(t testing.TB, number int) (path string) {
	t.Helper()
	packed, err := os.ReadFile(fmt.Sprintf("testdata/version-%d.gz", number))
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

// older are the versions before ours, and how many entries the chain rig-00 of each has.
var older = map[int]int{1: 6, 2: 12}

// TestOlderVersions: an old record is read as it is by who only reads, leaving every byte of it; a service goes on in it, and what was there stays,
// and is found as before.
func TestOlderVersions(t *testing.T) {
	for number, count := range older {
		t.Run(fmt.Sprint(number), func(t *testing.T) {
			path := version(t, number)
			before, err := os.ReadFile(path)
			require.NoError(t, err)
			res, err := record.VerifyFile(t.Context(), path, record.VerifyOptions{}, store.Options{})
			require.NoError(t, err)
			require.True(t, res.Whole, res.Sentence)
			old, was := rows(t, path, "rig-00"), waysTo(t, path)
			require.Len(t, old, count)
			after, err := os.ReadFile(path)
			require.NoError(t, err)
			require.Equal(t, before, after, "who only reads changes nothing")

			r := open(t, path, record.Options{})
			require.Equal(t, record.Head{Number: uint64(count), Hash: old[count-1].Hash}, r.Head("rig-00"))
			require.NoError(t, r.Close())
			assert.Equal(t, was, waysTo(t, path))
			r = open(t, path, record.Options{})
			write(t, r, "rig-00", 101, 102)
			res, err = r.Verify(t.Context(), record.VerifyOptions{})
			require.NoError(t, err)
			assert.True(t, res.Whole, res.Sentence)
			require.NoError(t, r.Close())
			now := rows(t, path, "rig-00")
			require.Len(t, now, count+2)
			assert.Equal(t, old, now[:count])
			require.NoError(t, open(t, path, record.Options{}).Close(), "once more, as a file of ours")
		})
	}
}

// waysTo asks a record that nobody has open for its entries in every way, by the sequence of each.
func waysTo(t *testing.T, path string) map[string][]int64 {
	t.Helper()
	s, err := store.Open(path, store.Options{ReadOnly: true})
	require.NoError(t, err)
	defer s.Close()
	out := map[string][]int64{}
	list := func(name string, f store.Filter) {
		for row, err := range s.List(t.Context(), f, store.Page{Limit: 100}) {
			require.NoError(t, err)
			out[name] = append(out[name], row.Sequence)
		}
	}
	list("all", store.Filter{})
	for row, err := range s.List(t.Context(), store.Filter{}, store.Page{Limit: 100}) {
		require.NoError(t, err)
		e, err := record.HeadOf(row)
		require.NoError(t, err)
		list("chain "+e.Chain, store.Filter{Chains: []string{e.Chain}})
		list("rig "+e.Rig, store.Filter{Rigs: []string{e.Rig}})
		list("verdict "+e.Verdict, store.Filter{Verdicts: []string{e.Verdict}})
		list("from "+e.Time.String(), store.Filter{From: e.Time})
		for _, id := range e.RuleIDs {
			list("rule "+id, store.Filter{RuleIDs: []string{id}})
		}
		for _, id := range e.LeaveIDs {
			got, err := s.ByLeave(t.Context(), id)
			require.NoError(t, err)
			out["leave "+id] = []int64{got.Sequence}
		}
		if e.Request.ID != "" {
			got, err := s.ByRequest(t.Context(), e.Request.ID)
			require.NoError(t, err)
			out["request "+e.Request.ID] = []int64{got.Sequence}
		}
	}
	require.Greater(t, len(out), 10)
	return out
}

// TestUpgradeBrokenOff: whatever fails while a service makes an old record one of its own version, before it was done or after, the record is
// whole afterwards, as it was or as it should be, and the next service goes on in it.
func TestUpgradeBrokenOff(t *testing.T) {
	for number, count := range older {
		old := rows(t, version(t, number), "rig-00")
		for _, when := range []faults.When{faults.Before, faults.After} {
			met := 0
			for n := 1; ; n++ {
				path, disk := version(t, number), &faults.Disk{}
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
				write(t, r, "rig-00", 101)
				res, err := r.Verify(t.Context(), record.VerifyOptions{})
				require.NoError(t, err)
				require.True(t, res.Whole, res.Sentence)
				require.Equal(t, uint64(count+1), r.Head("rig-00").Number)
				require.NoError(t, r.Close())
				if disk.Count() < n {
					break
				}
			}
			require.Greater(t, met, 5, "openings that failed")
		}
	}
}
