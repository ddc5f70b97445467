package rpc

import (
	"context"
	"fmt"
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/wire"
)

// Call answers one request without a connection: the name of a method ("/keepclear.v1.MotionService/Ask"), bytes in, bytes out. It goes
// the way that a request over a connection goes once its bytes are here. Streams have no such call.
func (s *Server) Call(ctx context.Context, method string, raw []byte) ([]byte, error) {
	service, name, _ := strings.Cut(strings.TrimPrefix(method, "/"), "/")
	for _, d := range s.services() {
		for _, m := range d.Methods {
			if d.ServiceName != service || m.MethodName != name {
				continue
			}
			reply, err := m.Handler(nil, ctx, func(v any) error { v.(*wire.Frame).Raw = raw; return nil }, nil)
			if err != nil {
				return nil, err
			}
			if r, done := reply.(*answered); done {
				return r.raw, nil
			}
			return proto.Marshal(reply.(proto.Message))
		}
	}
	return nil, failure(codes.Unimplemented, pb.ErrorReason_ERROR_REASON_NOT_FOUND, fmt.Sprintf("there is no method %q", method))
}
