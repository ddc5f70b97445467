package rpc

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"keepclear.example/keepclear/service/internal/wire"
)

// stream makes a server-streaming method that takes its request as bytes. Its context ends with the service too.
func stream[T any, M interface {
	*T
	proto.Message
}](s *Server, name string, do func(context.Context, call[M], grpc.ServerStream) error) grpc.StreamDesc {
	handler := func(_ any, ss grpc.ServerStream) (err error) {
		frame := &wire.Frame{}
		if err := ss.RecvMsg(frame); err != nil {
			return err
		}
		msg := M(new(T))
		at := s.decider.Now()
		defer func() {
			if p := recover(); p != nil {
				err = s.panicked(p, msg, frame.Raw, at)
			}
		}()
		if faults := s.checker.Decode(frame.Raw, msg); len(faults) > 0 {
			return refused(faults)
		}
		ctx, cancel := context.WithCancelCause(ss.Context())
		defer cancel(nil)
		defer context.AfterFunc(s.serving, func() { cancel(errStopping) })()
		err = do(ctx, call[M]{msg, frame.Raw, at}, ss)
		if err != nil && s.serving.Err() != nil {
			err = errStopping
		}
		return statusOf(err)
	}
	return grpc.StreamDesc{StreamName: name, Handler: handler, ServerStreams: true}
}
