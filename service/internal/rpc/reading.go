package rpc

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/wire"
)

var errReused = record.ErrReused

// getRig returns one rig as it stands.
func (s *Server) getRig(ctx context.Context, c call[*pb.GetRigRequest]) (proto.Message, error) {
	v, err := s.decider.Look(ctx, c.msg.GetRig())
	if err != nil {
		return nil, err
	}
	return &pb.GetRigResponse{Rig: wire.View(v)}, nil
}

// listRigs returns the rigs by id; a page token is the id that the page before ended with.
func (s *Server) listRigs(ctx context.Context, c call[*pb.ListRigsRequest]) (proto.Message, error) {
	size := int(c.msg.GetPageSize())
	if size == 0 {
		size = 100
	}
	out := &pb.ListRigsResponse{}
	for _, name := range s.decider.Rigs() {
		if name <= c.msg.GetPageToken() {
			continue
		}
		if len(out.Rigs) == size {
			out.NextPageToken = out.Rigs[size-1].GetRig()
			break
		}
		v, err := s.decider.Look(ctx, name)
		if err != nil {
			return nil, err
		}
		out.Rigs = append(out.Rigs, wire.View(v))
	}
	return out, nil
}

// checkRig reads a rig file and stores nothing.
func (s *Server) checkRig(_ context.Context, c call[*pb.CheckRigRequest]) (proto.Message, error) {
	return s.CheckFile(c.msg.GetFile(), c.msg.GetContent()), nil
}

// listRules describes the rules and limits in force.
func (s *Server) listRules(_ context.Context, c call[*pb.ListRulesRequest]) (proto.Message, error) {
	return s.Rules(c.msg.GetRig())
}

// getEntry returns one entry, whole.
func (s *Server) getEntry(ctx context.Context, c call[*pb.GetEntryRequest]) (proto.Message, error) {
	var e record.Entry
	var err error
	switch k := c.msg.GetKey().(type) {
	case *pb.GetEntryRequest_Place:
		e, err = s.Record.Get(ctx, k.Place.GetChain(), k.Place.GetNumber())
	case *pb.GetEntryRequest_RequestId:
		e, err = flushed(s.Record.ByRequestID(ctx, k.RequestId))
	case *pb.GetEntryRequest_LeaveId:
		e, err = flushed(s.Record.ByLeaveID(ctx, k.LeaveId))
	}
	if err != nil {
		return nil, err
	}
	m, err := wire.Entry(e, true)
	if err != nil {
		return nil, err
	}
	return &pb.GetEntryResponse{Entry: m}, nil
}

// flushed waits until an entry is on disk: nothing shows before.
func flushed(w record.Written, err error) (record.Entry, error) {
	if err != nil {
		return record.Entry{}, err
	}
	return w.Entry, w.Wait()
}

// listEntries returns entries, newest first unless told otherwise.
func (s *Server) listEntries(ctx context.Context, c call[*pb.ListEntriesRequest]) (proto.Message, error) {
	page := record.Page{Size: int(c.msg.GetPageSize()), OldestFirst: c.msg.GetOldestFirst()}
	if page.Size == 0 {
		page.Size = 50
	}
	if t := c.msg.GetPageToken(); t != "" {
		n, err := strconv.ParseInt(t, 10, 64)
		if err != nil || n <= 0 {
			return nil, &decide.ConflictError{Faults: []decide.FieldFault{{Path: "page_token", Wanted: "next_page_token of the page before", Got: strconv.Quote(t), Remedy: "send it as it came, or leave it out for the first page"}}}
		}
		page.After = n
	}
	entries, next, err := s.Record.List(ctx, wire.Filter(c.msg.GetFilter()), page)
	if err != nil {
		return nil, err
	}
	out := &pb.ListEntriesResponse{}
	for _, e := range entries {
		m, err := wire.Entry(e, false)
		if err != nil {
			return nil, err
		}
		out.Entries = append(out.Entries, m)
	}
	if next > 0 {
		out.NextPageToken = strconv.FormatInt(next, 10)
	}
	return out, nil
}

// followEntries sends entries as they are written, and a heartbeat where nothing is.
func (s *Server) followEntries(c call[*pb.FollowEntriesRequest], ss grpc.ServerStream) error {
	ctx := ss.Context()
	var after []record.Place
	for _, p := range c.msg.GetAfter() {
		after = append(after, record.Place{Chain: p.GetChain(), Number: p.GetNumber()})
	}
	f, err := s.Record.Follow(ctx, wire.Filter(c.msg.GetFilter()), after)
	if err != nil {
		return statusOf(err)
	}
	for {
		wait, cancel := context.WithTimeout(ctx, s.Heartbeat)
		e, err := f.Next(wait)
		late := wait.Err() != nil && ctx.Err() == nil
		cancel()
		reply := &pb.FollowEntriesResponse{}
		switch {
		case err != nil && late: // a heartbeat
		case err != nil:
			return statusOf(err)
		default:
			if reply.Entry, err = wire.Entry(e, false); err != nil {
				return statusOf(err)
			}
		}
		if err := ss.SendMsg(reply); err != nil {
			return err
		}
	}
}

// progressEvery is how many entries pass between two words of progress.
const progressEvery = 1024

// verifyRecord recomputes chains: progress, then one result.
func (s *Server) verifyRecord(c call[*pb.VerifyRecordRequest], ss grpc.ServerStream) error {
	var receipts []record.Place
	for _, r := range c.msg.GetReceipts() {
		p := record.Place{Chain: r.GetChain(), Number: r.GetNumber()}
		copy(p.Hash[:], r.GetEntrySha256())
		receipts = append(receipts, p)
	}
	last := uint64(0)
	res, err := s.Record.Verify(ss.Context(), record.VerifyOptions{
		Chain: c.msg.GetChain(), Receipts: receipts, Fold: state.NewFold,
		Progress: func(n uint64) {
			if n-last >= progressEvery {
				last = n
				// A reader who is gone ends the verification by its context.
				_ = ss.SendMsg(&pb.VerifyRecordResponse{Step: &pb.VerifyRecordResponse_ReadCount{ReadCount: n}})
			}
		},
	})
	if err != nil {
		return statusOf(err)
	}
	return ss.SendMsg(&pb.VerifyRecordResponse{Step: &pb.VerifyRecordResponse_Result{Result: wire.VerifyResult(res)}})
}

// Ended tells whether an error is the ordinary end of serving.
func Ended(err error) bool {
	return err == nil || strings.Contains(fmt.Sprint(err), "use of closed network connection")
}
