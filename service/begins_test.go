package main

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// TestStartsAndStopsAreOnRecord: whether somebody watched at an hour is told by the record: each start and each orderly end has an entry, so that a start
// after a start is one after a break.
func TestStartsAndStopsAreOnRecord(t *testing.T) {
	t.Parallel()
	dir, path := facilityFolder(t, "sky/floor:\n  altitude_deg: 4\n...\n"), filepath.Join(t.TempDir(), "r.keepclear")
	var said []string
	for range 2 {
		conn, stop := served(t, "--rigs", dir, "--record", path)
		r, err := pb.NewRecordServiceClient(conn).ListEntries(t.Context(), &pb.ListEntriesRequest{
			OldestFirst: true, Filter: &pb.EntryFilter{Kinds: []pb.EntryKind{pb.EntryKind_ENTRY_KIND_SERVICE}}})
		require.NoError(t, err)
		said = nil
		for _, e := range r.GetEntries() {
			said = append(said, e.GetSentence())
			assert.Equal(t, "keepclear", e.GetAsker())
		}
		code, out := stop()
		assert.Equal(t, exitDone, code, out)
	}
	assert.Equal(t, []string{"The service begins, for heron.", "The service stops.", "The service begins, for heron."}, said)
	code, out := ran(t, "verify", path)
	assert.Equal(t, exitDone, code, out)
	assert.Contains(t, out, "The record is whole: 4 entries in 1 chain.", "the last is on disk, and its heads beside it")
}
