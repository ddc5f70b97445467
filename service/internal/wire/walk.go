package wire

import (
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// walk visits a message and everything in it that is set, and returns what its own checks find: unknown fields, unknown enum
// numbers, numbers that are not finite, times that are none, texts that are not one line, and contradictions.
func walk(at *trail, m protoreflect.Message, depth int) Faults {
	if depth > maxDepth {
		return Faults{tooDeep(at)}
	}
	out := unknownFields(at, m)
	out = append(out, instants(at, m.Interface())...)
	out = append(out, contradictions(at, m.Interface())...)
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		out = append(out, walkField(at, fd, v, depth)...)
		return len(out) <= maxFaults
	})
	return out
}

// walkField visits one field, each element of it where it is a list. Requests have no maps (a test says so).
func walkField(at *trail, fd protoreflect.FieldDescriptor, v protoreflect.Value, depth int) Faults {
	name := string(fd.Name())
	switch plain := fd.Message() == nil; {
	case fd.IsList():
	case plain && walkValue(nil, fd, v, depth) == nil: // most are: nobody asks for the way there
		return nil
	default:
		return walkValue(at.field(name), fd, v, depth)
	}
	var out Faults
	list := v.List()
	for i := 0; i < list.Len() && len(out) <= maxFaults; i++ {
		out = append(out, walkValue(at.element(name, i), fd, list.Get(i), depth)...)
	}
	return out
}

// walkValue checks one value by its kind.
func walkValue(at *trail, fd protoreflect.FieldDescriptor, v protoreflect.Value, depth int) Faults {
	switch fd.Kind() {
	case protoreflect.MessageKind, protoreflect.GroupKind:
		return walk(at, v.Message(), depth+1)
	case protoreflect.EnumKind:
		return enumNumber(at, fd, v.Enum())
	case protoreflect.DoubleKind, protoreflect.FloatKind:
		return finite(at, fd, v.Float())
	case protoreflect.StringKind:
		return oneLine(at, v.String())
	default:
		return nil
	}
}

// own walks a whole request.
func own(msg proto.Message) Faults { return walk(nil, msg.ProtoReflect(), 0) }
