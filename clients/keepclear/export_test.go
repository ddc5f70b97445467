package main

import (
	"context"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// pages is a record of three entries that are listed by twos, the oldest first. From the number broken on it answers nothing more.
type pages struct {
	pb.UnimplementedRecordServiceServer
	broken uint64
	asked  []*pb.EntryFilter
}

func (s *pages) ListEntries(_ context.Context, r *pb.ListEntriesRequest) (*pb.ListEntriesResponse, error) {
	s.asked = append(s.asked, r.GetFilter())
	place := func(n uint64) *pb.Entry { return &pb.Entry{Receipt: &pb.Receipt{Chain: "heron", Number: n}} }
	switch {
	case !r.GetOldestFirst():
		return nil, status.Error(codes.InvalidArgument, "the newest first")
	case r.GetPageToken() == "":
		return &pb.ListEntriesResponse{Entries: []*pb.Entry{place(1), place(2)}, NextPageToken: "more"}, nil
	}
	return &pb.ListEntriesResponse{Entries: []*pb.Entry{place(3)}}, nil
}

func (s *pages) GetEntry(_ context.Context, r *pb.GetEntryRequest) (*pb.GetEntryResponse, error) {
	n := r.GetPlace().GetNumber()
	if n >= s.broken {
		return nil, status.Error(codes.Unavailable, "gone")
	}
	return &pb.GetEntryResponse{Entry: &pb.Entry{
		Receipt: &pb.Receipt{Chain: "heron", Number: n}, Sentence: "one\ntwo", Stored: []byte{byte(n)}, Facts: []*pb.Fact{{Name: "pose_age_s"}},
	}}, nil
}

// A season is exported as a line for each entry, whole; what breaks off says so, and nothing but entries goes where they go.
func TestExportIsALineForEachEntry(t *testing.T) {
	for broken, want := range map[uint64]struct {
		code int
		errs string
	}{
		9: {exitDone, "3 entries\n"},
		3: {exitHold, "NOT DONE  The export broke off after 2 entries: nobody answers at "},
		1: {exitHold, "NOT DONE  The export broke off after 0 entries: nobody answers at "},
	} {
		record := &pages{broken: broken}
		address := listening(t, func(g *grpc.Server) { pb.RegisterRecordServiceServer(g, record) })
		code, out, errs := typed(t, address, "entries export --rig heron --kind changed")
		assert.Equal(t, want.code, code)
		assert.True(t, strings.HasPrefix(errs, want.errs), errs)
		lines := strings.SplitAfter(out, "\n")
		require.Equal(t, "", lines[len(lines)-1])
		require.Len(t, lines, int(min(broken-1, 3))+1)
		for i, line := range lines[:len(lines)-1] {
			var e pb.Entry
			require.NoError(t, protojson.Unmarshal([]byte(line), &e), line)
			assert.Equal(t, uint64(i+1), e.GetReceipt().GetNumber())
			assert.Equal(t, []byte{byte(i + 1)}, e.GetStored())
			assert.Equal(t, "one two", e.GetSentence(), "as the command shows all text; the bytes that the hash covers stand beside it")
			assert.Len(t, e.GetFacts(), 1)
		}
		for _, f := range record.asked {
			assert.Equal(t, []string{"heron"}, f.GetRigs())
			assert.Equal(t, []pb.EntryKind{pb.EntryKind_ENTRY_KIND_CHANGED}, f.GetKinds())
		}
	}
	code, out, errs := typed(t, "127.0.0.1:1", "entries export")
	assert.Equal(t, exitHold, code)
	assert.Empty(t, out)
	assert.Equal(t, "NOT DONE  The export broke off after 0 entries: nobody answers at 127.0.0.1:1.\n", errs)
}

// Every kind of the API is one that may be typed, and nothing else is.
func TestKindsOfEntries(t *testing.T) {
	assert.Equal(t, []string{"asked", "reported", "withdrawn", "lock", "changed", "rehearsed", "service", "refused"}, kindNames())
	for _, word := range []string{"unspecified", "ASKED", "told"} {
		code, _, errs := typed(t, "", "entries list --kind "+word)
		assert.Equal(t, exitUsage, code)
		assert.Contains(t, errs, `--kind "`+word+`": want one of asked, reported, withdrawn, lock, changed, rehearsed, service, refused`)
	}
}
