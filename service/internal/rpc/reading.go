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
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/wire"
)

// getRig returns one rig as it stands.
func (s *Server) getRig(ctx context.Context, c call[*pb.GetRigRequest]) (proto.Message, error) {
	v, err := s.decider.Look(ctx, c.msg.GetRig())
	if err != nil {
		return nil, err
	}
	return &pb.GetRigResponse{Rig: s.view(v)}, nil
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
		out.Rigs = append(out.Rigs, s.view(v))
	}
	return out, nil
}

// checkRig reads a rig file and stores nothing.
func (s *Server) checkRig(ctx context.Context, c call[*pb.CheckRigRequest]) (proto.Message, error) {
	return s.CheckFile(ctx, c.msg)
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
			return nil, conflict("page_token", "next_page_token of the page before", strconv.QuoteToASCII(t), "send it as it came, or leave it out for the first page")
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

// followEntries sends entries as they are written, and a heartbeat where nothing is. Its header leaves once the place is fixed
// from which it follows.
func (s *Server) followEntries(ctx context.Context, c call[*pb.FollowEntriesRequest], ss grpc.ServerStream) error {
	var after []record.Place
	for _, p := range c.msg.GetAfter() {
		e, err := s.Record.Get(ctx, p.GetChain(), p.GetNumber())
		if err != nil {
			return err
		}
		after = append(after, e.Place())
	}
	f, err := s.Record.Follow(ctx, wire.Filter(c.msg.GetFilter()), after)
	if err != nil {
		return err
	}
	if err := ss.SendHeader(nil); err != nil {
		return err
	}
	for {
		reply, err := s.following(ctx, f)
		if err != nil {
			return err
		}
		if err := ss.SendMsg(reply); err != nil {
			return err
		}
	}
}

// following waits for the next entry, or makes a heartbeat.
func (s *Server) following(ctx context.Context, f *record.Follower) (*pb.FollowEntriesResponse, error) {
	wait, cancel := context.WithTimeout(ctx, s.Heartbeat)
	defer cancel()
	e, err := f.Next(wait)
	switch {
	case ctx.Err() != nil:
		return nil, context.Cause(ctx)
	case err != nil && wait.Err() != nil:
		return &pb.FollowEntriesResponse{}, nil
	case err != nil:
		return nil, err
	}
	m, err := wire.Entry(e, false)
	return &pb.FollowEntriesResponse{Entry: m}, err
}

// progressEvery is how many entries pass between two words of progress.
const progressEvery = 1024

// verifyRecord recomputes chains: progress, then one result.
func (s *Server) verifyRecord(ctx context.Context, c call[*pb.VerifyRecordRequest], ss grpc.ServerStream) error {
	chain := c.msg.GetChain()
	if _, ok := s.Record.Heads()[chain]; chain != "" && !ok && len(c.msg.GetReceipts()) == 0 {
		return fmt.Errorf("chain %q: %w, so nothing was verified", chain, record.ErrAbsent)
	}
	var receipts []record.Place
	for _, r := range c.msg.GetReceipts() {
		p := record.Place{Chain: r.GetChain(), Number: r.GetNumber()}
		copy(p.Hash[:], r.GetEntrySha256())
		receipts = append(receipts, p)
	}
	last := uint64(0)
	var losses decide.Losses
	res, err := s.Record.Verify(ctx, record.VerifyOptions{
		Chain: chain, Receipts: receipts, Fold: losses.Fold,
		Progress: func(n uint64) {
			if n-last >= progressEvery {
				last = n
				// A reader who is gone ends the verification by its context.
				_ = ss.SendMsg(&pb.VerifyRecordResponse{Step: &pb.VerifyRecordResponse_ReadCount{ReadCount: n}})
			}
		},
	})
	if err != nil {
		return err
	}
	if res.Whole {
		res.Sentence = strings.Join(append([]string{res.Sentence}, losses.Sentences()...), " ")
	}
	return ss.SendMsg(&pb.VerifyRecordResponse{Step: &pb.VerifyRecordResponse_Result{Result: wire.VerifyResult(res)}})
}

// view is one rig as it stands, with the warning that the limits of that rig make of it.
func (s *Server) view(v decide.View) *pb.Rig {
	m, err := s.decider.Member(v.Rig.ID)
	stop := err == nil && v.State.Sample != nil && v.State.Sample.Doing == question.Tracking
	if stop && v.HarmlessUntil != nil {
		spare, ok := m.Limits.Value("asker/fallback", "unstopped_spare_s")
		stop = !ok || v.HarmlessUntil.Sub(v.At).Seconds() < spare
	}
	out := wire.View(v, stop)
	if s.OnDisk != nil {
		out.ChangedFiles = s.OnDisk(v.Rig.ID)
	}
	return out
}
