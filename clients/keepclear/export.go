package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// headsAtOnce is how many heads are asked for at a time: the most that one list gives.
const headsAtOnce = 1000

// export is what came of exportEntries so far.
type export struct {
	count  int
	broken []string // places of entries of which the service gave the head alone
}

// exportEntries prints every entry that matches as one line of JSON, oldest first: whole, with facts, revisions and the bytes that its hash covers. One that
// the service cannot read is printed as its head alone, and named in the end.
func (k *call) exportEntries(c pb.RecordServiceClient, f *pb.EntryFilter) (int, error) {
	k.out = k.err // what is told beside the lines is no part of them
	var done export
	for token, more := "", true; more; more = token != "" {
		page, err := k.page(c, f, token)
		if err == nil {
			err = k.exportPage(c, page.GetEntries(), &done)
		}
		if err != nil {
			fmt.Fprintf(k.err, "%d exported before this; what follows is missing.\n", done.count)
			return 0, err
		}
		if done.count == 0 {
			return k.nothing(k.ctx, f)
		}
		token = page.GetNextPageToken()
	}
	fmt.Fprintf(k.err, "%d exported.\n", done.count)
	if len(done.broken) > 0 {
		fmt.Fprintf(k.err, "OF %d THE HEAD ALONE could be read; keepclear verify tells more: %s\n", len(done.broken), firstOf(done.broken))
		return exitCheck, nil
	}
	return exitDone, nil
}

// firstOf are the first few of a list in words, and how many more there are.
func firstOf(places []string) string {
	const few = 5
	if len(places) <= few {
		return strings.Join(places, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(places[:few], ", "), len(places)-few)
}

func (k *call) page(c pb.RecordServiceClient, f *pb.EntryFilter, token string) (*pb.ListEntriesResponse, error) {
	ctx, cancel := k.timed()
	defer cancel()
	return c.ListEntries(ctx, &pb.ListEntriesRequest{Filter: f, PageSize: headsAtOnce, PageToken: token, OldestFirst: true})
}

// exportPage prints the entries of one page. It ends where the asker stopped waiting, or nobody answers any more.
func (k *call) exportPage(c pb.RecordServiceClient, heads []*pb.Entry, done *export) error {
	for _, head := range heads {
		if k.ctx.Err() != nil {
			return context.Cause(k.ctx)
		}
		e, err := k.stored(c, head.GetReceipt())
		switch {
		case status.Code(err) == codes.DeadlineExceeded || status.Code(err) == codes.Unavailable || status.Code(err) == codes.Canceled:
			return err
		case err != nil:
			done.broken = append(done.broken, fmt.Sprintf("%s/%d", head.GetReceipt().GetChain(), head.GetReceipt().GetNumber()))
			e = head
		}
		if err := k.printJSONLine(e); err != nil {
			return err
		}
		done.count++
	}
	return nil
}

// errUnwritten is the error of lines that could not be written: nothing that moves hangs on them.
var errUnwritten = errors.New("the export stopped")

// printJSONLine prints an entry as one line, the same for the same entry: protojson alone puts spaces by lot.
func (k *call) printJSONLine(e *pb.Entry) error {
	text, err := protojson.Marshal(e)
	if err != nil {
		return fmt.Errorf("an entry cannot be written as JSON: %w", err)
	}
	var line bytes.Buffer
	if err := json.Compact(&line, text); err != nil {
		return fmt.Errorf("an entry cannot be written as JSON: %w", err)
	}
	line.WriteByte('\n')
	if _, err := k.raw.Write(line.Bytes()); err != nil {
		return fmt.Errorf("%w: %w", errUnwritten, err)
	}
	return nil
}
