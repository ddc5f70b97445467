package rpc

import (
	"fmt"

	"google.golang.org/grpc/encoding"
	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/proto"

	_ "google.golang.org/grpc/encoding/proto" // the codec whose name ours takes over, registered first

	"keepclear.example/keepclear/service/internal/wire"
)

// codec is the protobuf codec, but that a wire.Frame gets the bytes as they came.
type codec struct{}

var _ encoding.CodecV2 = codec{}

// Name is that of the ordinary codec, so that every client speaks it.
func (codec) Name() string { return "proto" }

// Marshal encodes a message.
func (codec) Marshal(v any) (mem.BufferSlice, error) {
	if r, done := v.(*answered); done {
		return mem.BufferSlice{mem.SliceBuffer(r.raw)}, nil
	}
	m, ok := v.(proto.Message)
	if !ok {
		return nil, fmt.Errorf("encoding a reply: %T is no protobuf message", v)
	}
	b, err := proto.Marshal(m)
	if err != nil {
		return nil, fmt.Errorf("encoding a reply: %w", err)
	}
	return mem.BufferSlice{mem.SliceBuffer(b)}, nil
}

// Unmarshal keeps the bytes for a Frame, and decodes for anything else (health, reflection).
func (codec) Unmarshal(data mem.BufferSlice, v any) error {
	switch m := v.(type) {
	case *wire.Frame:
		m.Raw = data.Materialize()
		return nil
	case proto.Message:
		return proto.Unmarshal(data.Materialize(), m)
	}
	return fmt.Errorf("decoding a request: %T is no protobuf message", v)
}
