package rpc

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"runtime/debug"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/wire"
)

// ownLimit is how long one request may take where its asker sets no deadline, or a longer one: an asker is told that nothing came
// of it, and what was appended stays. Common practice, no source: twice what a person waits.
const ownLimit = 20 * time.Second

// call is one request: its message, its bytes, and when it came by our clock.
type call[M proto.Message] struct {
	msg M
	raw []byte
	at  time.Time
}

// request is the call as the record keeps it.
func (c *call[M]) request(id string) decide.Request {
	out := decide.Request{ID: id, Sent: exchanged(c.msg, c.raw)}
	if id != "" { // a request without an id is never a repeat
		out.Digest = digestOf(c.msg, c.raw)
	}
	return out
}

// digestOf tells requests apart by what they are and every byte: a lock never passes for the repeat of a question.
func digestOf(m proto.Message, raw []byte) record.Hash {
	h := sha256.New()
	h.Write([]byte(m.ProtoReflect().Descriptor().FullName()))
	h.Write([]byte{0})
	h.Write(raw)
	return record.Hash(h.Sum(nil))
}

func exchanged(m proto.Message, raw []byte) state.Exchanged {
	return state.Exchanged{Type: string(m.ProtoReflect().Descriptor().FullName()), Bytes: raw}
}

// doing is what answers one kind of request.
type doing[M proto.Message] func(context.Context, call[M]) (proto.Message, error)

// unary makes a method that takes its request as bytes.
func unary[T any, M interface {
	*T
	proto.Message
}](s *Server, name string, do doing[M]) grpc.MethodDesc {
	handler := func(_ any, ctx context.Context, dec func(any) error, intercept grpc.UnaryServerInterceptor) (any, error) {
		frame := &wire.Frame{}
		if err := dec(frame); err != nil {
			return nil, err
		}
		run := func(ctx context.Context, _ any) (any, error) {
			return timed(ctx, s, frame.Raw, M(new(T)), do)
		}
		if intercept == nil {
			return run(ctx, frame)
		}
		return intercept(ctx, frame, &grpc.UnaryServerInfo{Server: s, FullMethod: "/" + name}, run)
	}
	return grpc.MethodDesc{MethodName: name[strings.LastIndex(name, "/")+1:], Handler: handler}
}

// outcome is what came of one request.
type outcome struct {
	reply proto.Message
	err   error
}

// stackBytes is about what judging a question takes of its goroutine's stack.
const stackBytes = 40 << 10

// deepen makes the stack of a new goroutine deep enough at once. Grown as needed it is copied three to five times on the way, frame by
// frame: 5 % of an answer's processor time.
//
//go:noinline
func deepen(i int) byte {
	var room [stackBytes]byte
	return room[i]
}

// mostJudged bounds how many questions and rehearsals, and beside them how many reports, are judged, or wait for their rig's turn or the disk, at
// once; each takes stackBytes and more. Common practice, no source: many times what a site has askers.
const mostJudged = 512

// timed lets a request run beside its asker: one who goes, or whose time runs out, does not stop it. Once a question or a report has begun it is
// judged and recorded to its end, and the same request id asks for what came of it.
func timed[M proto.Message](ctx context.Context, s *Server, raw []byte, msg M, do doing[M]) (proto.Message, error) {
	limit := s.After(ownLimit)
	room := s.roomFor(msg, raw)
	if why := enter(ctx, room, limit); why != "" {
		s.remember(msg, raw, why, s.decider.Now())
		return nil, neverBegan(ctx, why)
	}
	done := make(chan outcome, 1)
	s.underWay.Go(func() {
		deepen(0)
		reply, err := serve(ctx, s, raw, msg, do) // which panics never
		if room != nil {
			<-room
		}
		done <- outcome{reply, err}
	})
	select {
	case o := <-done:
		return o.reply, o.err
	case <-ctx.Done():
		return nil, statusOf(ctx.Err())
	case <-limit:
		return nil, tooLate()
	}
}

// roomFor is where a request has to find room before it begins; nil: it begins at once. Reports have room of their own: however many questions
// wait for one rig's turn, the samples of every other come in. What is too large waits for nothing, so that it is refused as that. Everything
// else begins at once: reading ends with its caller, a person's lock is rare, and taking leave back never waits.
func (s *Server) roomFor(msg proto.Message, raw []byte) chan struct{} {
	if len(raw) > wire.MaxBytes(msg.ProtoReflect().Descriptor()) {
		return nil
	}
	switch msg.(type) {
	case *pb.AskRequest, *pb.RehearseRequest:
		return s.asks
	case *pb.ReportRequest:
		return s.tells
	}
	return nil
}

// enter waits until fewer than mostJudged are under way in a room, or tells why a request never began. Whoever goes meanwhile leaves nothing
// behind: what is under way outlives its asker, so that those who give up and ask again would else fill the memory.
func enter(ctx context.Context, room chan<- struct{}, limit <-chan time.Time) (why string) {
	if room == nil {
		return ""
	}
	select {
	case room <- struct{}{}:
		return ""
	default:
	}
	select {
	case room <- struct{}{}:
		return ""
	case <-ctx.Done():
		return "more came than could be judged, and its asker did not wait"
	case <-limit:
		return fmt.Sprintf("more came than could be judged within %s", ownLimit)
	}
}

// neverBegan is what an asker is told whose request found no room: nothing came of it that could be learnt.
func neverBegan(ctx context.Context, why string) error {
	code := codes.DeadlineExceeded
	if errors.Is(ctx.Err(), context.Canceled) {
		code = codes.Canceled
	}
	return failure(code, pb.ErrorReason_ERROR_REASON_LATE, "it was not begun, for "+why+"; send it again")
}

// tooLate is what an asker is told who waited as long as anybody may.
func tooLate() error {
	return failure(codes.DeadlineExceeded, pb.ErrorReason_ERROR_REASON_LATE,
		fmt.Sprintf("no answer within %s; ask again with the same request id to learn what came of it", ownLimit))
}

// serve checks one request, does it, and keeps a panic from becoming anything but an error.
func serve[M proto.Message](ctx context.Context, s *Server, raw []byte, msg M, do doing[M]) (reply proto.Message, err error) {
	at := s.decider.Now()
	defer s.judges(msg)()
	defer func() {
		if p := recover(); p != nil {
			reply, err = nil, s.panicked(p, msg, raw, at)
		}
	}()
	if faults := s.checker.Decode(raw, msg); len(faults) > 0 {
		s.noteRefusal(msg, raw, faults.Error(), at)
		return nil, refused(faults)
	}
	if q, is := any(msg).(*pb.AskRequest); is {
		waited, err := s.paced(ctx, q)
		if err != nil {
			return nil, err
		}
		if waited {
			at = s.decider.Now()
		}
	}
	if err := s.makeUp(msg); err != nil {
		s.remember(msg, raw, "it came while the record was down", at)
		return nil, statusOf(err)
	}
	reply, err = do(ctx, call[M]{msg, raw, at})
	if err != nil {
		err = statusOf(err)
		s.noteFailure(msg, raw, err, at)
		return nil, err
	}
	return reply, nil
}

// noteFailure puts a request that came to nothing on record, where its code says that it was understood wrongly or badly served;
// of one that the record could not take, it remembers that a report was lost.
func (s *Server) noteFailure(msg proto.Message, raw []byte, err error, at time.Time) {
	switch why := status.Convert(err).Message(); status.Code(err) {
	case codes.InvalidArgument, codes.NotFound, codes.AlreadyExists, codes.FailedPrecondition, codes.ResourceExhausted, codes.Internal, codes.DataLoss:
		s.noteRefusal(msg, raw, why, at)
	case codes.Unavailable:
		s.remember(msg, raw, whileDown+why, at)
	}
}

// panicked reports a panic of ours: INTERNAL to the client, the stack to the log, an entry to the record.
func (s *Server) panicked(p any, msg proto.Message, raw []byte, at time.Time) error {
	what := wire.OneLine(fmt.Sprint(p))
	s.log.Error("panic", "in", string(msg.ProtoReflect().Descriptor().Name()), "what", what, "stack", string(debug.Stack()))
	s.noteRefusal(msg, raw, "a fault of ours: "+what, at)
	return failure(codes.Internal, pb.ErrorReason_ERROR_REASON_BUG, "a fault of ours: "+what)
}
