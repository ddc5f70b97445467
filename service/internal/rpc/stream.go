package rpc

import (
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"keepclear.example/keepclear/service/internal/wire"
)

// stream makes a server-streaming method that takes its request as bytes.
func stream[T any, M interface {
	*T
	proto.Message
}](s *Server, name string, do func(call[M], grpc.ServerStream) error) grpc.StreamDesc {
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
		return do(call[M]{msg, frame.Raw, at}, ss)
	}
	return grpc.StreamDesc{StreamName: name, Handler: handler, ServerStreams: true}
}
