package wire

import (
	"fmt"
	"math"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/reflect/protoreflect"

	keepclearv1 "keepclear.example/keepclear/api/keepclear/v1"
)

// CheckRaw reads the bytes of a request as they came and finds what decoding hides: a single field or oneof sent twice (the
// decoder keeps the last, or mixes the two), numbers cut to 32 bits, text that is not UTF-8, and bytes that are no message. It
// finds unknown fields and enum numbers too, by path and number. Ranges are Check's.
func CheckRaw(raw []byte, desc protoreflect.MessageDescriptor) Faults {
	return tidy(scanned(raw, desc).faults)
}

// scanned is CheckRaw before sorting.
func scanned(raw []byte, desc protoreflect.MessageDescriptor) *scan {
	if len(raw) > MaxBytes(desc) {
		return &scan{faults: Faults{tooLarge(len(raw), desc)}, heavy: true}
	}
	s := &scan{}
	s.message(nil, raw, desc, 0)
	return s
}

// scan gathers the faults of one request.
type scan struct {
	faults Faults
	// heavy: too much of something, so that decoding and judging the rest could cost more than it is worth. Measured before this
	// guard: half a megabyte of empty receipts kept a processor busy for 8 s.
	heavy bool
}

// full tells that enough was found: the rest of a message of junk is not worth the memory. One more than maxFaults, so that
// tidy says that there are more.
func (s *scan) full() bool { return s.heavy || len(s.faults) > maxFaults }

// tooMany notes a list with more elements than its rule allows.
func (s *scan) tooMany(at *trail, fd protoreflect.FieldDescriptor) {
	s.heavy = true
	s.add(at.field(string(fd.Name())), keepclearv1.ErrorReason_ERROR_REASON_FIELD_INVALID, wanted(fd, false), "more", remedy(fd))
}

// add notes a fault.
func (s *scan) add(at *trail, reason keepclearv1.ErrorReason, wanted, got, remedy string) {
	if len(s.faults) <= maxFaults {
		s.faults = append(s.faults, FieldFault{at.String(), reason, wanted, got, remedy})
	}
}

// message reads one message, and stops at the first byte that cannot be read: nothing behind it means anything.
func (s *scan) message(at *trail, raw []byte, desc protoreflect.MessageDescriptor, depth int) {
	if depth > maxDepth {
		s.faults, s.heavy = append(s.faults, tooDeep(at)), true
		return
	}
	var few [48]int // more than the fields of any message of this version; on the stack
	seen := sightings(few[:])
	if n := desc.Fields().Len() + desc.Oneofs().Len(); n <= len(few) {
		seen = seen[:n]
	} else {
		seen = make(sightings, n)
	}
	for len(raw) > 0 && !s.full() {
		num, typ, n := protowire.ConsumeTag(raw)
		if n < 0 {
			s.damaged(at, n)
			return
		}
		size := protowire.ConsumeFieldValue(num, typ, raw[n:])
		if size < 0 {
			s.damaged(at, size)
			return
		}
		value := raw[n : n+size]
		raw = raw[n+size:]
		fd := desc.Fields().ByNumber(num)
		if fd == nil || !fits(fd, typ) {
			s.unknown(at, num, typ, fd)
			continue
		}
		here := seen.note(s, at, fd)
		s.field(&here, fd, typ, value, depth)
	}
}

// damaged tells of bytes that are no message.
func (s *scan) damaged(at *trail, code int) {
	s.add(at, keepclearv1.ErrorReason_ERROR_REASON_FIELD_INVALID, "protobuf bytes", protowire.ParseError(code).Error(),
		"send the message as the generated code writes it")
}

// unknown tells of a field number, or of a way of encoding it, that this version does not know.
func (s *scan) unknown(at *trail, num protowire.Number, typ protowire.Type, fd protoreflect.FieldDescriptor) {
	if fd != nil {
		s.add(at.field(string(fd.Name())), keepclearv1.ErrorReason_ERROR_REASON_FIELD_UNKNOWN,
			"a "+fd.Kind().String(), fmt.Sprintf("wire type %d", typ), "use the proto files of this server's version")
		return
	}
	s.faults = append(s.faults, unknownField(at, num))
}

// field reads the value of a known field.
func (s *scan) field(at *trail, fd protoreflect.FieldDescriptor, typ protowire.Type, value []byte, depth int) {
	if typ != protowire.BytesType {
		s.number(at, fd, value)
		return
	}
	inner, _ := protowire.ConsumeBytes(value)
	if most := longest(fd); len(inner) > most {
		s.heavy = true
		s.add(at, keepclearv1.ErrorReason_ERROR_REASON_TOO_MUCH, fmt.Sprintf("at most %d bytes", most), fmt.Sprint(len(inner)), "send less")
		return
	}
	switch fd.Kind() {
	case protoreflect.MessageKind:
		on := *at // of its own memory, which the way to a plain value needs none of
		s.message(&on, inner, fd.Message(), depth+1)
	case protoreflect.StringKind:
		if !utf8.Valid(inner) {
			s.add(at, keepclearv1.ErrorReason_ERROR_REASON_FIELD_INVALID, "text in UTF-8", "other bytes", "encode the text as UTF-8")
		}
	case protoreflect.BytesKind:
	default:
		s.packed(at, fd, inner)
	}
}

// longest is the most bytes of a text that is worth reading, and of bytes that state how long they may be: what is longer breaks its rule, and
// to copy it would cost more than to say so.
func longest(fd protoreflect.FieldDescriptor) int {
	switch fd.Kind() {
	case protoreflect.StringKind:
		return defaultMaxBytes
	case protoreflect.BytesKind:
		if most := rulesOf(fd).GetBytes().GetMaxLen(); most > 0 {
			return max(int(most), defaultMaxBytes)
		}
	default:
	}
	return math.MaxInt
}

// packed reads the numbers of a packed repeated field.
func (s *scan) packed(at *trail, fd protoreflect.FieldDescriptor, raw []byte) {
	for n := uint64(0); len(raw) > 0 && !s.full(); n++ {
		if n == rulesOf(fd).GetRepeated().GetMaxItems() {
			s.tooMany(at.up, fd)
			return
		}
		size := protowire.ConsumeFieldValue(1, wireType(fd.Kind()), raw)
		if size < 0 {
			s.damaged(at, size)
			return
		}
		s.number(at, fd, raw[:size])
		raw = raw[size:]
	}
}

// number looks for varints that a decoder would cut: 2^32 + 1 is read as 1.
func (s *scan) number(at *trail, fd protoreflect.FieldDescriptor, value []byte) {
	v, n := protowire.ConsumeVarint(value)
	if n < 0 {
		return // fixed width: nothing is cut
	}
	switch fd.Kind() {
	case protoreflect.EnumKind:
		if v != uint64(int64(int32(v))) || fd.Enum().Values().ByNumber(protoreflect.EnumNumber(int32(v))) == nil {
			s.faults = append(s.faults, unknownEnum(at, fd, fmt.Sprint(int64(v))))
		}
	case protoreflect.Int32Kind:
		if v != uint64(int64(int32(v))) {
			s.cut(at, int64(v))
		}
	case protoreflect.Uint32Kind, protoreflect.Sint32Kind:
		if v > math.MaxUint32 {
			s.cut(at, int64(v))
		}
	default:
	}
}

// cut tells of a number too long for its field.
func (s *scan) cut(at *trail, v int64) {
	s.add(at, keepclearv1.ErrorReason_ERROR_REASON_FIELD_INVALID, "a number of 32 bits", fmt.Sprint(v), "send a number that fits")
}

// sightings counts what was seen of each field, and of each oneof behind them, in one message, by their indexes.
type sightings []int

// note counts a field and returns the way to it; a second sighting of a single field or of its oneof is a fault.
func (seen sightings) note(s *scan, at *trail, fd protoreflect.FieldDescriptor) trail {
	name := string(fd.Name())
	count := seen[fd.Index()]
	seen[fd.Index()]++
	if fd.IsList() {
		if uint64(count) == rulesOf(fd).GetRepeated().GetMaxItems() {
			s.tooMany(at, fd)
		}
		return trail{up: at, name: name, index: count}
	}
	here := trail{up: at, name: name, index: -1}
	if one := fd.ContainingOneof(); one != nil && !one.IsSynthetic() {
		n := len(seen) - one.Parent().(protoreflect.MessageDescriptor).Oneofs().Len() + one.Index()
		seen[n]++
		if seen[n] > 1 {
			s.add(at.field(string(one.Name())), keepclearv1.ErrorReason_ERROR_REASON_FIELD_REPEATED, "one of "+members(one),
				"several of them, or one of them twice", "send the one that is meant")
		}
		return here
	}
	if count > 0 {
		s.add(&here, keepclearv1.ErrorReason_ERROR_REASON_FIELD_REPEATED, "it once", "it twice or more", "send it once")
	}
	return here
}

// fits tells whether a field may come in this wire type: its own, or packed where it is a list of numbers.
func fits(fd protoreflect.FieldDescriptor, typ protowire.Type) bool {
	own := wireType(fd.Kind())
	return typ == own || fd.IsList() && typ == protowire.BytesType && own != protowire.StartGroupType
}

// wireType returns the wire type of a kind. Source: protobuf's encoding page, table of wire types.
func wireType(k protoreflect.Kind) protowire.Type {
	switch k {
	case protoreflect.DoubleKind, protoreflect.Fixed64Kind, protoreflect.Sfixed64Kind:
		return protowire.Fixed64Type
	case protoreflect.FloatKind, protoreflect.Fixed32Kind, protoreflect.Sfixed32Kind:
		return protowire.Fixed32Type
	case protoreflect.StringKind, protoreflect.BytesKind, protoreflect.MessageKind:
		return protowire.BytesType
	case protoreflect.GroupKind:
		return protowire.StartGroupType
	default:
		return protowire.VarintType
	}
}
