package wire

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/reflect/protoreflect"

	keepclearv1 "keepclear.example/keepclear/api/keepclear/v1"
)

// unknownFields returns a fault for each field that the decoder kept aside. CheckRaw has named them before; this is for messages
// that came another way, and the second lock on the same door.
func unknownFields(at *trail, m protoreflect.Message) Faults {
	var out Faults
	for raw := m.GetUnknown(); len(raw) > 0 && len(out) <= maxFaults; {
		num, _, n := protowire.ConsumeField(raw)
		if n < 0 {
			return append(out, unknownField(at, 0))
		}
		out = append(out, unknownField(at, num))
		raw = raw[n:]
	}
	return out
}

// unknownField tells of a field number that this version does not know.
func unknownField(at *trail, num protowire.Number) FieldFault {
	return FieldFault{
		Path: at.field(fmt.Sprintf("#%d", num)).String(), Reason: keepclearv1.ErrorReason_ERROR_REASON_FIELD_UNKNOWN,
		Wanted: "fields that this server knows", Got: fmt.Sprintf("field number %d", num),
		Remedy: "leave it out, or use a server of the client's version",
	}
}

// enumNumber returns a fault where the number is none of the enum's.
func enumNumber(at *trail, fd protoreflect.FieldDescriptor, n protoreflect.EnumNumber) Faults {
	if fd.Enum().Values().ByNumber(n) != nil {
		return nil
	}
	return Faults{unknownEnum(at, fd, fmt.Sprint(n))}
}

// unknownEnum tells of an enum number that this version does not know.
func unknownEnum(at *trail, fd protoreflect.FieldDescriptor, number string) FieldFault {
	return FieldFault{
		Path: at.String(), Reason: keepclearv1.ErrorReason_ERROR_REASON_FIELD_UNKNOWN,
		Wanted: "one of " + words(fd.Enum(), nil), Got: "number " + number,
		Remedy: "use a word that this server knows",
	}
}

// words lists the names of an enum that a request may use: all but 0, or those of the list where there is one.
func words(e protoreflect.EnumDescriptor, only []int32) string {
	var out []string
	for i := range e.Values().Len() {
		v := e.Values().Get(i)
		if v.Number() != 0 && allowed(int32(v.Number()), only) {
			out = append(out, string(v.Name()))
		}
	}
	return strings.Join(out, ", ")
}

// allowed tells whether n is in the list; an empty list allows all.
func allowed(n int32, only []int32) bool {
	for _, o := range only {
		if o == n {
			return true
		}
	}
	return len(only) == 0
}

// members lists the fields of a oneof.
func members(one protoreflect.OneofDescriptor) string {
	out := make([]string, one.Fields().Len())
	for i := range out {
		out[i] = string(one.Fields().Get(i).Name())
	}
	return strings.Join(out, ", ")
}
