package main

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// TestStartsAndStopsAreOnRecord: whether somebody watched at an hour is told by the record: each start and each orderly end has an entry, so that a start
// after a start is one after a break.
func TestStartsAndStopsAreOnRecord(t *testing.T) {
	t.Parallel()
	dir, path := facilityFolder(t, "sky/floor:\n  altitude_deg: 4\n...\n"), filepath.Join(t.TempDir(), "r.keepclear")
	const begins, stops = "The service begins, for heron.", "The service stops."
	for _, want := range [][]string{{begins}, {begins, stops, begins}} {
		conn, stop := served(t, "--rigs", dir, "--record", path)
		var said []string
		assert.Eventually(t, func() bool { // the start waits for no flush
			r, err := pb.NewRecordServiceClient(conn).ListEntries(t.Context(), &pb.ListEntriesRequest{
				OldestFirst: true, Filter: &pb.EntryFilter{Kinds: []pb.EntryKind{pb.EntryKind_ENTRY_KIND_SERVICE}}})
			said = nil
			for _, e := range r.GetEntries() {
				said = append(said, e.GetSentence())
			}
			return err == nil && len(said) >= len(want)
		}, 10*time.Second, 10*time.Millisecond)
		assert.Equal(t, want, said)
		code, out := stop()
		assert.Equal(t, exitDone, code, out)
	}
	code, out := ran(t, "verify", path)
	assert.Equal(t, exitDone, code, out)
	assert.Contains(t, out, "The record is whole: 4 entries in 1 chain.", "the last is on disk, and its heads beside it")
}
