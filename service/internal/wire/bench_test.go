package wire

import (
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	keepclearv1 "keepclear.example/keepclear/api/keepclear/v1"
)

// BenchmarkDecode reads and checks the fullest ordinary question, whole and by parts.
func BenchmarkDecode(b *testing.B) {
	c, err := NewChecker()
	require.NoError(b, err)
	msg := &keepclearv1.AskRequest{}
	q := parse(b, fullSlew)
	raw, err := proto.Marshal(q)
	require.NoError(b, err)
	for _, part := range []struct {
		name string
		do   func() Faults
	}{
		{"whole", func() Faults { return c.Decode(raw, &keepclearv1.AskRequest{}) }},
		{"bytes", func() Faults { return scanned(raw, msg.ProtoReflect().Descriptor()).faults }},
		{"message", func() Faults { return own(q) }},
		{"rules", func() Faults { return broken(q, c.rules.Validate(q)) }},
		{"unmarshal", func() Faults {
			_ = proto.Unmarshal(raw, &keepclearv1.AskRequest{})
			return nil
		}},
	} {
		b.Run(part.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if faults := part.do(); len(faults) > 0 {
					b.Fatal(faults)
				}
			}
		})
	}
}
