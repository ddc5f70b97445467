package main

import (
	"fmt"
	"slices"
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// kindPrefix is what the API's names of kinds begin with.
const kindPrefix = "ENTRY_KIND_"

// kindNames are the kinds of entries, as they are typed, in the order of the API.
func kindNames() []string {
	var out []string
	for n := range int32(len(pb.EntryKind_name)) {
		if name, known := pb.EntryKind_name[n]; known && n != 0 {
			out = append(out, strings.ToLower(strings.TrimPrefix(name, kindPrefix)))
		}
	}
	return out
}

// exportPage is how many entries are asked for at once: the most that the API gives.
const exportPage = 1000

// exportEntries writes each entry, whole, as a line of JSON, the oldest first, in the order of the record over all chains. Nothing else goes where the lines
// go: how many there are, and where it broke off, is told beside them and by the exit code.
func (k *call) exportEntries(c pb.RecordServiceClient, f *pb.EntryFilter) (int, error) {
	brokeOff := func(count int, err error) (int, error) {
		why := refusal(err)
		if status.Code(err) == codes.Unavailable {
			why = "nobody answers at " + *k.address
		}
		fmt.Fprintf(k.err, "NOT DONE  The export broke off after %d entries: %s.\n", count, why)
		return exitHold, nil
	}
	token, count := "", 0
	for {
		page, err := k.page(c, &pb.ListEntriesRequest{Filter: f, PageSize: exportPage, PageToken: token, OldestFirst: true})
		if err != nil {
			return brokeOff(count, err)
		}
		for _, e := range page.GetEntries() {
			if err := k.exportEntry(c, e.GetReceipt()); err != nil {
				return brokeOff(count, err)
			}
			count++
		}
		if token = page.GetNextPageToken(); token == "" {
			fmt.Fprintf(k.err, "%d entries\n", count)
			return exitDone, nil
		}
	}
}

func (k *call) page(c pb.RecordServiceClient, r *pb.ListEntriesRequest) (*pb.ListEntriesResponse, error) {
	ctx, cancel := k.timed()
	defer cancel()
	return c.ListEntries(ctx, r)
}

// exportEntry reads one entry and writes its line.
func (k *call) exportEntry(c pb.RecordServiceClient, at *pb.Receipt) error {
	ctx, cancel := k.timed()
	defer cancel()
	r, err := c.GetEntry(ctx, &pb.GetEntryRequest{Key: &pb.GetEntryRequest_Place{Place: &pb.EntryPlace{Chain: at.GetChain(), Number: at.GetNumber()}}})
	if err != nil {
		return err
	}
	line, err := protojson.Marshal(r.GetEntry())
	if err != nil {
		return err
	}
	_, err = k.raw.Write(append(slices.Clip(line), '\n'))
	return err
}
