package wire

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/reflect/protoreflect"

	keepclearv1 "keepclear.example/keepclear/api/keepclear/v1"
)

// TestEveryNumberRefusesPoison puts what is no finite number, or absurdly large, into each double of each request.
func TestEveryNumberRefusesPoison(t *testing.T) {
	c := checker(t)
	count := 0
	for _, p := range places() {
		if p.leaf().Kind() != protoreflect.DoubleKind {
			continue
		}
		count++
		for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64, -math.MaxFloat64} {
			f, found := at(c.Check(p.with(protoreflect.ValueOfFloat64(v))), p.path())
			assert.True(t, found, "Check(%v = %v) found nothing, want a fault", p, v)
			assert.Equal(t, keepclearv1.ErrorReason_ERROR_REASON_FIELD_INVALID, f.Reason, "%v = %v", p, v)
			assert.Equal(t, number(v), f.Got, "%v = %v", p, v)
		}
	}
	assert.Greater(t, count, 50, "only %d doubles in requests: the walk does not reach them", count)
	t.Logf("%d doubles poisoned", count)
}

// TestEveryRangeAtItsEnds asks at each end of each range of a double, and one float64 to either side. The wanted result comes from
// the interval as the proto file's comment states it (comments_test.go), not from the rule that is under test.
func TestEveryRangeAtItsEnds(t *testing.T) {
	c := checker(t)
	stated := statedDoubles(t)
	for _, p := range places() {
		if p.leaf().Kind() != protoreflect.DoubleKind {
			continue
		}
		r, known := stated[p.leaf().FullName()]
		if !assert.True(t, known, "%v states no interval in its comment", p.leaf().FullName()) {
			continue
		}
		for _, end := range []float64{r.low, r.high} {
			for _, v := range []float64{math.Nextafter(end, math.Inf(-1)), end, math.Nextafter(end, math.Inf(1))} {
				_, found := at(c.Check(p.with(protoreflect.ValueOfFloat64(v))), p.path())
				assert.Equal(t, !r.holds(v), found, "%v = %v refused, interval %v", p, v, r)
			}
		}
	}
}

// TestHonestZero sets each optional double that may be 0 to 0 and to -0: present, so never missing.
func TestHonestZero(t *testing.T) {
	c := checker(t)
	stated := statedDoubles(t)
	for _, p := range places() {
		if p.leaf().Kind() != protoreflect.DoubleKind || !stated[p.leaf().FullName()].holds(0) {
			continue
		}
		assert.True(t, p.leaf().HasPresence(), "%v may be 0 and is not optional", p)
		for _, v := range []float64{0, math.Copysign(0, -1)} {
			_, found := at(c.Check(p.with(protoreflect.ValueOfFloat64(v))), p.path())
			assert.False(t, found, "Check(%v = %v) refused an honest zero", p, v)
		}
	}
}

// TestUnknownFieldsAtAnyDepth adds one field number that no version of ours uses to each message of each request.
func TestUnknownFieldsAtAnyDepth(t *testing.T) {
	c := checker(t)
	const tag = 18999 // just below the numbers that protobuf keeps for itself
	junk := protowire.AppendVarint(protowire.AppendTag(nil, tag, protowire.VarintType), 1)
	count := 0
	for _, p := range places() {
		if p.leaf().Message() == nil {
			continue
		}
		count++
		msg := newRequest(p.request)
		faults := c.Decode(p.encode(lengthened(p.leaf().Number(), junk)), msg)
		f, found := at(faults, p.path()+".#18999")
		assert.True(t, found, "Decode(%v with field 18999) = %v, want it named", p, faults)
		assert.Equal(t, keepclearv1.ErrorReason_ERROR_REASON_FIELD_UNKNOWN, f.Reason, "%v", p)
		_, again := at(c.Check(msg), p.path()+".#18999")
		assert.True(t, again, "Check alone does not see the unknown field in %v", p)
	}
	assert.Greater(t, count, 80, "only %d messages reached", count)
	for _, r := range Requests() {
		if r.Name() != "WithdrawRequest" {
			_, found := at(c.Decode(junk, newRequest(r)), "#18999")
			assert.True(t, found, "%v with field 18999 at its top", r.Name())
		}
	}
}

// TestUnknownEnumNumbers sets each enum to a number that it does not have, to one that a decoder would cut to a known one, and to 0.
func TestUnknownEnumNumbers(t *testing.T) {
	c := checker(t)
	for _, p := range places() {
		if p.leaf().Kind() != protoreflect.EnumKind {
			continue
		}
		for _, v := range []uint64{99, 1<<32 + 1, math.MaxUint64} {
			raw := protowire.AppendVarint(protowire.AppendTag(nil, p.leaf().Number(), protowire.VarintType), v)
			f, found := at(c.Decode(p.encode(raw), newRequest(p.request)), p.path())
			assert.True(t, found, "%v = %d", p, v)
			assert.Equal(t, keepclearv1.ErrorReason_ERROR_REASON_FIELD_UNKNOWN, f.Reason, "%v = %d: %v", p, v, f)
		}
		_, found := at(c.Check(p.with(protoreflect.ValueOfEnum(0))), p.path())
		assert.True(t, found, "%v = 0 (UNSPECIFIED) passes", p)
	}
}

// TestNothingTwice sends each single field of each message twice with equal content, where a decoder would see nothing amiss.
func TestNothingTwice(t *testing.T) {
	c := checker(t)
	for _, p := range places() {
		fd := p.leaf()
		if fd.IsList() {
			continue
		}
		once := filler(fd)
		twice := append(append([]byte{}, once...), once...)
		faults := c.Decode(p.encode(twice), newRequest(p.request))
		path := p.path()
		if one := fd.ContainingOneof(); one != nil && !one.IsSynthetic() {
			path = strings.TrimSuffix(path, string(fd.Name())) + string(one.Name())
		}
		f, found := at(faults, path)
		assert.True(t, found, "%v sent twice: %v", p, faults)
		assert.Equal(t, keepclearv1.ErrorReason_ERROR_REASON_FIELD_REPEATED, f.Reason, "%v sent twice", p)
	}
}

// TestOneofMembersTogether sends two different members of each oneof: two targets are no target.
func TestOneofMembersTogether(t *testing.T) {
	c := checker(t)
	for _, p := range places() {
		one := p.leaf().ContainingOneof()
		if one == nil || one.IsSynthetic() {
			continue
		}
		for i := range one.Fields().Len() {
			other := one.Fields().Get(i)
			if other == p.leaf() {
				continue
			}
			faults := c.Decode(p.encode(append(filler(p.leaf()), filler(other)...)), newRequest(p.request))
			path := strings.TrimSuffix(p.path(), string(p.leaf().Name())) + string(one.Name())
			f, _ := at(faults, path)
			assert.Equal(t, keepclearv1.ErrorReason_ERROR_REASON_FIELD_REPEATED, f.Reason, "%v beside %v: %v", p, other.Name(), faults)
		}
	}
}

// TestWrongWireType sends each field in a wire type that is not its own: a decoder takes it for an unknown field.
func TestWrongWireType(t *testing.T) {
	c := checker(t)
	for _, p := range places() {
		raw := protowire.AppendFixed32(protowire.AppendTag(nil, p.leaf().Number(), protowire.Fixed32Type), 7)
		faults := c.Decode(p.encode(raw), newRequest(p.request))
		assert.Equal(t, keepclearv1.ErrorReason_ERROR_REASON_FIELD_UNKNOWN, faults.Reason(), "%v as fixed32: %v", p, faults)
	}
}

// TestEveryTextIsOneLine puts what could break or bend a line into each text of each request.
func TestEveryTextIsOneLine(t *testing.T) {
	c := checker(t)
	for _, p := range places() {
		if p.leaf().Kind() != protoreflect.StringKind {
			continue
		}
		for _, bad := range []string{"a\nb", "a\x00b", "a\rb", "a\x1b[2Jb", "a\u2028b", "a\u202eb", "a\u0085b", "  ", "\t"} {
			f, found := at(c.Check(p.with(protoreflect.ValueOfString(bad))), p.path())
			assert.True(t, found, "%v = %q passes", p, bad)
			assert.NotContains(t, f.String(), "\n", "%v = %q: the fault itself breaks the line", p, bad)
		}
		raw := p.encode(lengthened(p.leaf().Number(), []byte{'a', 0xff}))
		f, found := at(c.Decode(raw, newRequest(p.request)), p.path())
		assert.True(t, found && f.Reason == keepclearv1.ErrorReason_ERROR_REASON_FIELD_INVALID, "%v not in UTF-8: %v", p, f)
	}
}

// filler returns one tagged value of a field: an empty message or text, a one.
func filler(fd protoreflect.FieldDescriptor) []byte {
	tag := protowire.AppendTag(nil, fd.Number(), wireType(fd.Kind()))
	switch wireType(fd.Kind()) {
	case protowire.Fixed64Type:
		return protowire.AppendFixed64(tag, math.Float64bits(1))
	case protowire.BytesType:
		return protowire.AppendBytes(tag, nil)
	default:
		return protowire.AppendVarint(tag, 1)
	}
}
