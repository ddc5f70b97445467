package record_test

import (
	"context"
	"crypto/sha256"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"keepclear.example/keepclear/service/internal/record"
)

// noon is an invented instant.
var noon = time.Date(2026, 11, 25, 12, 0, 0, 123456789, time.UTC)

// draft makes an invented entry whose every field depends on n.
func draft(chain string, n int) record.Draft {
	body := fmt.Appendf(nil, "body %d of %s", n, chain)
	return record.Draft{Chain: chain, Time: noon.Add(time.Duration(n) * time.Second), Body: body, Index: record.Index{
		Kind: "asked", Rig: "invented-rig", Asker: "tester", Request: record.Request{ID: fmt.Sprintf("%s-q%d", chain, n), Digest: sha256.Sum256(body)},
		LeaveIDs: []string{fmt.Sprintf("%s-permit%d", chain, n)}, Verdict: "allow", RuleIDs: []string{"sky/floor", "pose/fresh"},
		Sentence: "An invented entry – nothing happened."}}
}

// newPath names a record that is not there yet, in memory where the system has a folder for that: what a power cut leaves
// is tested elsewhere.
func newPath(t testing.TB) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "record-test-")
	if err != nil {
		return filepath.Join(t.TempDir(), "record")
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	return filepath.Join(dir, "record")
}

func open(t testing.TB, path string, o record.Options) *record.Record {
	t.Helper()
	r, err := record.Open(path, o)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, r.Close()) })
	return r
}

// write appends drafts one after the other on the head of the chain, waits for the last and reads them back.
func write(t testing.TB, r *record.Record, chain string, numbers ...int) []record.Entry {
	t.Helper()
	var out []record.Entry
	var last record.Written
	for _, n := range numbers {
		w, err := r.Append(draft(chain, n), r.Head(chain))
		require.NoError(t, err)
		out, last = append(out, w.Entry), w
	}
	require.NoError(t, last.Wait())
	for i := range out {
		e, err := r.Get(context.Background(), chain, out[i].Number) // with its bytes
		require.NoError(t, err)
		assert.Equal(t, out[i].Hash, e.Hash)
		out[i] = e
	}
	return out
}

// noise is a body that the file cannot keep shorter than it is.
func noise(n int) []byte {
	out := make([]byte, n)
	_, _ = rand.NewChaCha8([32]byte{}).Read(out) // never fails
	return out
}

func numbers(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i + 1
	}
	return out
}

func TestMain(m *testing.M) {
	if path := os.Getenv(childPath); path != "" {
		child(path)
		return
	}
	goleak.VerifyTestMain(m)
}

func TestAppendAndReadBack(t *testing.T) {
	path := newPath(t)
	r := open(t, path, record.Options{})
	written := write(t, r, "pier", 1, 2, 3)
	for _, want := range written {
		got, err := r.Get(t.Context(), "pier", want.Number)
		require.NoError(t, err)
		want.Sequence = got.Sequence
		assert.Equal(t, want, got)
		byID, err := r.ByRequestID(t.Context(), want.Request.ID)
		require.NoError(t, err)
		assert.Equal(t, want, byID.Entry)
		byLeave, err := r.ByLeaveID(t.Context(), want.LeaveIDs[0])
		require.NoError(t, err)
		assert.Equal(t, want, byLeave.Entry)
	}
	verifyWhole(t, r, 3)
}

// A path that is a link to nothing is refused as that, and no record is made anywhere.
func TestLinkToNothingIsNamed(t *testing.T) {
	link := filepath.Join(t.TempDir(), "night.keepclear")
	require.NoError(t, os.Symlink(filepath.Join(filepath.Dir(link), "not mounted", "night.keepclear"), link))
	_, err := record.Open(link, record.Options{})
	require.ErrorContains(t, err, "following the symbolic link")
}
