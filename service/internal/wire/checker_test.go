package wire

import (
	"testing"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"
)

// TestEveryRuleCompiles, in whatever message of a request it stands; of one that does not it is told.
func TestEveryRuleCompiles(t *testing.T) {
	c := checker(t)
	require.NoError(t, c.Complete())
	text := &descriptorpb.FieldOptions{}
	proto.SetExtension(text, validate.E_Field, &validate.FieldRules{Type: &validate.FieldRules_String_{String_: &validate.StringRules{MaxLen: proto.Uint64(3)}}})
	file, err := protodesc.NewFile(&descriptorpb.FileDescriptorProto{
		Name: proto.String("bad.proto"), Syntax: proto.String("proto3"), Dependency: []string{"buf/validate/validate.proto"},
		MessageType: []*descriptorpb.DescriptorProto{
			{Name: proto.String("Outer"), Field: []*descriptorpb.FieldDescriptorProto{{
				Name: proto.String("inner"), Number: proto.Int32(1), Type: descriptorpb.FieldDescriptorProto_TYPE_MESSAGE.Enum(), TypeName: proto.String(".Inner"),
			}}},
			{Name: proto.String("Inner"), Field: []*descriptorpb.FieldDescriptorProto{{
				Name: proto.String("number"), Number: proto.Int32(1), Type: descriptorpb.FieldDescriptorProto_TYPE_INT32.Enum(), Options: text,
			}}},
		},
	}, protoregistry.GlobalFiles)
	require.NoError(t, err)
	err = c.compile([]protoreflect.MessageDescriptor{file.Messages().ByName("Outer")})
	require.ErrorContains(t, err, "compiling the rules of Inner")
}
