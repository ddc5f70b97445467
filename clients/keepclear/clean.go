package main

import (
	"context"
	"strings"
	"unicode"

	"google.golang.org/grpc"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// What comes back is somebody else's words, and whoever listens at the address may not be the service: nothing of it may move the cursor of a
// terminal, turn the direction of writing, or begin a line that reads like an answer.

// cleanly are the options of a connection whose replies and errors hold text of one line only.
func cleanly() []grpc.DialOption {
	unary := func(ctx context.Context, method string, req, reply any, cc *grpc.ClientConn, invoke grpc.UnaryInvoker, opts ...grpc.CallOption) error {
		err := invoke(ctx, method, req, reply, cc, opts...)
		cleanReply(reply)
		return cleanError(err)
	}
	stream := func(ctx context.Context, desc *grpc.StreamDesc, cc *grpc.ClientConn, method string, open grpc.Streamer, opts ...grpc.CallOption) (grpc.ClientStream, error) {
		s, err := open(ctx, desc, cc, method, opts...)
		if err != nil {
			return nil, cleanError(err)
		}
		return cleanStream{s}, nil
	}
	return []grpc.DialOption{grpc.WithUnaryInterceptor(unary), grpc.WithStreamInterceptor(stream)}
}

// cleanStream cleans every message of a stream.
type cleanStream struct{ grpc.ClientStream }

// RecvMsg receives the next message, clean.
func (s cleanStream) RecvMsg(m any) error {
	err := s.ClientStream.RecvMsg(m)
	cleanReply(m)
	return cleanError(err)
}

// cleanError cleans the message of a status; its details stay. Any other error, the end of a stream among them, stays as it is.
func cleanError(err error) error {
	s, ok := status.FromError(err)
	if err == nil || !ok {
		return err
	}
	p := s.Proto()
	p.Message = oneLine(p.GetMessage())
	return status.ErrorProto(p)
}

func cleanReply(reply any) {
	if m, ok := reply.(proto.Message); ok && m.ProtoReflect().IsValid() {
		cleanMessage(m.ProtoReflect())
	}
}

// cleanMessage cleans every text of a message, at any depth. What a rig file is understood to mean has lines of its own.
func cleanMessage(m protoreflect.Message) {
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		text := oneLine
		if fd.Name() == "understood" {
			text = manyLines
		}
		switch {
		case fd.IsMap(): // the API has none
			m.Clear(fd)
		case fd.IsList():
			cleanList(fd, v.List())
		case fd.Message() != nil:
			cleanMessage(v.Message())
		case fd.Kind() == protoreflect.StringKind:
			m.Set(fd, protoreflect.ValueOfString(text(v.String())))
		}
		return true
	})
}

func cleanList(fd protoreflect.FieldDescriptor, l protoreflect.List) {
	for i := range l.Len() {
		switch {
		case fd.Message() != nil:
			cleanMessage(l.Get(i).Message())
		case fd.Kind() == protoreflect.StringKind:
			l.Set(i, protoreflect.ValueOfString(oneLine(l.Get(i).String())))
		}
	}
}

// oneLine makes one line of a text that a terminal shows as it stands: control characters, line and paragraph separators and marks of
// direction become spaces.
func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.In(r, unicode.Cc, unicode.Zl, unicode.Zp, unicode.Bidi_Control) {
			return ' '
		}
		return r
	}, s)
}

// manyLines is oneLine of each line.
func manyLines(s string) string {
	lines := strings.Split(s, "\n")
	for i := range lines {
		lines[i] = oneLine(lines[i])
	}
	return strings.Join(lines, "\n")
}
