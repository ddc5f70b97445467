package wire

import (
	"strings"
	"testing"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"github.com/stretchr/testify/assert"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/dynamicpb"

	keepclearv1 "keepclear.example/keepclear/api/keepclear/v1"
)

// TestTheFattestRequestsFit builds the largest request of each type that keeps every bound: MaxBytes must let it in, and
// CheckRaw must have nothing against it.
func TestTheFattestRequestsFit(t *testing.T) {
	for _, r := range Requests() {
		if r.Name() == "WithdrawRequest" {
			continue
		}
		raw, err := proto.Marshal(fattestOf(r))
		assert.NoError(t, err)
		assert.LessOrEqual(t, len(raw), MaxBytes(r), "the largest %s", r.Name())
		assert.Empty(t, CheckRaw(raw, r), "the largest %s", r.Name())
		t.Logf("%s: %d of %d bytes", r.Name(), len(raw), MaxBytes(r))
	}
}

// fattestOf returns the largest request of a type. A rehearsal has no syncs.
func fattestOf(r protoreflect.MessageDescriptor) proto.Message {
	if r.Name() == "RehearseRequest" {
		return fattest(r, "sync")
	}
	return fattest(r, "")
}

// fattest fills every field but the skipped ones to its bound, and of each oneof the member that takes most bytes.
func fattest(d protoreflect.MessageDescriptor, skip protoreflect.Name) *dynamicpb.Message {
	m := dynamicpb.NewMessage(d)
	for i := range d.Fields().Len() {
		fd := d.Fields().Get(i)
		if fd.Name() == skip {
			continue
		}
		if one := fd.ContainingOneof(); one != nil && !one.IsSynthetic() {
			before := m.WhichOneof(one)
			if before != nil && proto.Size(m) >= proto.Size(onlyWith(m, before, fd, skip)) {
				continue
			}
		}
		fatten(m, fd, skip)
	}
	return m
}

// onlyWith returns a copy of m with another member of the oneof.
func onlyWith(m *dynamicpb.Message, before, fd protoreflect.FieldDescriptor, skip protoreflect.Name) proto.Message {
	out := proto.Clone(m).(*dynamicpb.Message)
	out.Clear(before)
	fatten(out, fd, skip)
	return out
}

// fatten fills one field to its bound.
func fatten(m *dynamicpb.Message, fd protoreflect.FieldDescriptor, skip protoreflect.Name) {
	if !fd.IsList() {
		m.Set(fd, fat(fd, rulesOf(fd).GetString(), skip))
		return
	}
	r := rulesOf(fd).GetRepeated()
	for range r.GetMaxItems() {
		m.Mutable(fd).List().Append(fat(fd, r.GetItems().GetString(), skip))
	}
}

// fat returns a value that takes as many bytes as the field may.
func fat(fd protoreflect.FieldDescriptor, text *validate.StringRules, skip protoreflect.Name) protoreflect.Value {
	switch fd.Kind() {
	case protoreflect.MessageKind:
		if strings.HasPrefix(string(fd.Message().FullName()), "google.protobuf.") {
			w := dynamicpb.NewMessage(fd.Message())
			w.Set(fd.Message().Fields().ByName("seconds"), protoreflect.ValueOfInt64(1<<40))
			w.Set(fd.Message().Fields().ByName("nanos"), protoreflect.ValueOfInt32(999999999))
			return protoreflect.ValueOfMessage(w)
		}
		return protoreflect.ValueOfMessage(fattest(fd.Message(), skip))
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(fatText(text))
	case protoreflect.BytesKind:
		r := rulesOf(fd).GetBytes()
		return protoreflect.ValueOfBytes(make([]byte, max(r.GetLen(), r.GetMaxLen())))
	case protoreflect.EnumKind:
		return protoreflect.ValueOfEnum(1)
	case protoreflect.DoubleKind:
		return protoreflect.ValueOfFloat64(1)
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(true)
	case protoreflect.Uint32Kind:
		return protoreflect.ValueOfUint32(1<<32 - 1)
	case protoreflect.Uint64Kind:
		return protoreflect.ValueOfUint64(1<<64 - 1)
	case protoreflect.Int32Kind:
		return protoreflect.ValueOfInt32(-1)
	default:
		panic("fat does not know " + fd.Kind().String())
	}
}

// TestTooLarge asks with one byte more than allowed: refused unread, whatever it says.
func TestTooLarge(t *testing.T) {
	c := checker(t)
	for _, r := range Requests() {
		if r.Name() == "WithdrawRequest" {
			continue
		}
		fs := c.Decode(make([]byte, MaxBytes(r)+1), newRequest(r))
		assert.Equal(t, keepclearv1.ErrorReason_ERROR_REASON_TOO_MUCH, fs.Reason(), "%s", r.Name())
		assert.Len(t, fs, 1, "%s", r.Name())
	}
}

// fatText returns a text of as many bytes as its rules allow: a pattern of ours has at most 64 characters of one byte, that of rule
// ids 8 words of 63 and 7 strokes.
func fatText(r *validate.StringRules) string {
	switch {
	case strings.Contains(r.GetPattern(), "{1,7}"):
		return strings.Repeat("a", 8*63+7)
	case r.GetPattern() != "":
		return strings.Repeat("a", 64)
	default:
		return strings.Repeat("\U0001F52D", int(r.GetMaxLen()))
	}
}
