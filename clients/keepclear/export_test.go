package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// archive is a record of so many entries of heron, of which one cannot be read; from some number on nobody answers.
type archive struct {
	shelf
	entries, damaged, silent int
	asked                    *pb.ListEntriesRequest
}

func headOf(n int) *pb.Entry {
	return &pb.Entry{Rig: "heron", Kind: pb.EntryKind_ENTRY_KIND_ASKED, Receipt: &pb.Receipt{Chain: "heron", Number: uint64(n)}, Sentence: fmt.Sprintf("Number %d.", n)}
}

func (a *archive) ListEntries(_ context.Context, r *pb.ListEntriesRequest) (*pb.ListEntriesResponse, error) {
	a.asked = r
	from, _ := strconv.Atoi(r.GetPageToken())
	out := &pb.ListEntriesResponse{}
	for n := from + 1; n <= a.entries && len(out.GetEntries()) < int(r.GetPageSize()); n++ {
		out.Entries = append(out.GetEntries(), headOf(n))
	}
	if last := from + len(out.GetEntries()); last < a.entries {
		out.NextPageToken = strconv.Itoa(last)
	}
	return out, nil
}

func (a *archive) GetEntry(_ context.Context, r *pb.GetEntryRequest) (*pb.GetEntryResponse, error) {
	n := int(r.GetPlace().GetNumber())
	switch {
	case n == a.damaged:
		return nil, status.Error(codes.DataLoss, "the entry is damaged")
	case a.silent > 0 && n >= a.silent:
		return nil, status.Error(codes.Unavailable, "gone")
	}
	e := headOf(n)
	e.Stored = []byte("as it was stored")
	e.Facts = []*pb.Fact{{Name: "lock_count", Value: &pb.Fact_Number{Number: 0}}}
	return &pb.GetEntryResponse{Entry: e}, nil
}

// An export is every entry that matches, whole, once, oldest first, a line each, over as many pages as it takes; one that cannot be read is there as its
// head and is told of; one that broke off says so.
func TestExport(t *testing.T) {
	for name, c := range map[string]struct {
		archive
		line  string
		code  int
		lines int
		says  string
	}{
		"three pages":    {archive{entries: 2*headsAtOnce + 1}, "", exitDone, 2*headsAtOnce + 1, "2001 exported."},
		"one damaged":    {archive{entries: 3, damaged: 2}, "", exitCheck, 3, "3 exported. OF 1 THE HEAD ALONE could be read; keepclear verify tells more: heron/2"},
		"broken off":     {archive{entries: 5, silent: 4}, "", exitHold, 3, "3 exported before this; what follows is missing."},
		"none":           {archive{}, "--rule sky/floor", exitDone, 0, "NO ENTRIES match."},
		"no such kind":   {archive{entries: 1}, "--kind told", exitUsage, 0, `--kind "told": want asked, reported, withdrawn, lock, changed, rehearsed, service, refused`},
		"of a kind":      {archive{entries: 1}, "--kind lock --rig heron", exitDone, 1, "1 exported."},
		"more than that": {archive{entries: 1}, "more", exitUsage, 0, "list, show PLACE"},
	} {
		a := c.archive
		address := listening(t, func(g *grpc.Server) {
			pb.RegisterRecordServiceServer(g, &a)
			pb.RegisterRigServiceServer(g, shelf{})
			pb.RegisterRuleServiceServer(g, shelf{})
		})
		code, out, errs := typed(t, address, "entries export "+c.line)
		assert.Equal(t, c.code, code, "%s: %s", name, errs)
		assert.Contains(t, strings.Join(strings.Fields(errs+out), " "), c.says, name)
		if c.lines == 0 {
			continue
		}
		assert.True(t, a.asked.GetOldestFirst(), name)
		lines := strings.Split(strings.TrimSuffix(out, "\n"), "\n")
		require.Len(t, lines, c.lines, name)
		for i, line := range lines {
			var e struct {
				Receipt struct{ Number string }
				Stored  []byte
				Facts   []any
			}
			require.NoError(t, json.Unmarshal([]byte(line), &e), name)
			assert.Equal(t, strconv.Itoa(i+1), e.Receipt.Number, name)
			assert.Equal(t, i+1 != c.damaged, len(e.Stored) > 0 && len(e.Facts) > 0, "%s: entry %d is whole", name, i+1)
		}
	}
	a := archive{entries: 1}
	address := listening(t, func(g *grpc.Server) { pb.RegisterRecordServiceServer(g, &a) })
	code, _, errs := typed(t, address, "entries export --kind lock --rig heron")
	require.Equal(t, exitDone, code, errs)
	assert.Equal(t, []pb.EntryKind{pb.EntryKind_ENTRY_KIND_LOCK}, a.asked.GetFilter().GetKinds())
	assert.Equal(t, []string{"heron"}, a.asked.GetFilter().GetRigs())
}

// full is a disk with room for so many bytes more.
type full struct{ room int }

func (f *full) Write(p []byte) (int, error) {
	if f.room -= len(p); f.room < 0 {
		return 0, errors.New("no space left on device")
	}
	return len(p), nil
}

// What could not be written whole ends with another exit code than what was: cut off it reads as if it were all.
func TestWhatIsNotWrittenWholeSaysSo(t *testing.T) {
	a := archive{entries: 3}
	address := listening(t, func(g *grpc.Server) { pb.RegisterRecordServiceServer(g, &a) })
	for _, line := range []string{"entries list", "entries list --json", "entries export"} {
		for room, want := range map[int]int{1 << 20: exitDone, 20: exitHold} {
			var errs strings.Builder
			code := run(t.Context(), append(strings.Fields(line), "--at-address", address), nil, &full{room}, &errs, time.Now)
			assert.Equal(t, want, code, "%s, room for %d: %s", line, room, errs.String())
			assert.Equal(t, want != exitDone, strings.Contains(errs.String(), "no space left on device"), "%s, room for %d: %s", line, room, errs.String())
			assert.NotContains(t, errs.String(), "Nothing may move", "a full disk is no hold")
		}
	}
}
