package rpc

import (
	"context"
	"crypto/sha256"
	"fmt"
	"runtime/debug"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/wire"
)

// call is one request: its message, its bytes, and when it came by our clock.
type call[M proto.Message] struct {
	msg M
	raw []byte
	at  time.Time
}

// request is the call as the record keeps it.
func (c *call[M]) request(id string) decide.Request {
	return decide.Request{ID: id, Digest: record.Hash(sha256.Sum256(c.raw)), Sent: exchanged(c.msg, c.raw)}
}

func exchanged(m proto.Message, raw []byte) state.Exchanged {
	return state.Exchanged{Type: string(m.ProtoReflect().Descriptor().FullName()), Bytes: raw}
}

// unary makes a method that takes its request as bytes.
func unary[T any, M interface {
	*T
	proto.Message
}](s *Server, name string, do func(context.Context, call[M]) (proto.Message, error)) grpc.MethodDesc {
	handler := func(_ any, ctx context.Context, dec func(any) error, intercept grpc.UnaryServerInterceptor) (any, error) {
		frame := &wire.Frame{}
		if err := dec(frame); err != nil {
			return nil, err
		}
		run := func(ctx context.Context, _ any) (any, error) {
			return serve(ctx, s, frame.Raw, M(new(T)), do)
		}
		if intercept == nil {
			return run(ctx, frame)
		}
		return intercept(ctx, frame, &grpc.UnaryServerInfo{Server: s, FullMethod: "/" + name}, run)
	}
	return grpc.MethodDesc{MethodName: name[strings.LastIndex(name, "/")+1:], Handler: handler}
}

// serve checks one request, does it, and keeps a panic from becoming anything but an error.
func serve[M proto.Message](ctx context.Context, s *Server, raw []byte, msg M, do func(context.Context, call[M]) (proto.Message, error)) (reply proto.Message, err error) {
	at := s.decider.Now()
	defer func() {
		if p := recover(); p != nil {
			reply, err = nil, s.panicked(p, msg, raw, at)
		}
	}()
	if faults := s.checker.Decode(raw, msg); len(faults) > 0 {
		s.noteRefusal(msg, raw, faults.Error(), at)
		return nil, refused(faults)
	}
	reply, err = do(ctx, call[M]{msg, raw, at})
	if err != nil {
		err = statusOf(err)
		if code := grpcCode(err); code == codes.InvalidArgument || code == codes.NotFound {
			s.noteRefusal(msg, raw, err.Error(), at)
		}
		return nil, err
	}
	return reply, nil
}

// panicked reports a panic of ours: INTERNAL to the client, the stack to the log, an entry to the record.
func (s *Server) panicked(p any, msg proto.Message, raw []byte, at time.Time) error {
	s.log.Error("panic", "in", string(msg.ProtoReflect().Descriptor().Name()), "what", fmt.Sprint(p), "stack", string(debug.Stack()))
	s.noteRefusal(msg, raw, fmt.Sprintf("a fault of ours: %v", p), at)
	return failure(codes.Internal, pb.ErrorReason_ERROR_REASON_BUG, fmt.Sprintf("a fault of ours, which is on record: %v", p))
}

// noteRefusal puts a request that was not answered on record; reading is not recorded. Where the record is down the reply stands
// alone.
func (s *Server) noteRefusal(msg proto.Message, raw []byte, why string, at time.Time) {
	_, ask := any(msg).(*pb.AskRequest)
	_, report := any(msg).(*pb.ReportRequest)
	_, lock := any(msg).(*pb.LockRequest)
	_, release := any(msg).(*pb.ReleaseRequest)
	_, rehearse := any(msg).(*pb.RehearseRequest)
	if !ask && !report && !lock && !release && !rehearse {
		return
	}
	who := wire.Glimpse(raw, msg.ProtoReflect().Descriptor())
	if err := s.decider.Refuse(who.Rig, who.Asker, why, report, at, record.Hash(sha256.Sum256(raw)), exchanged(msg, raw)); err != nil {
		s.log.Error("a refusal was not recorded", "why", err)
	}
}
