package wire

import (
	"errors"
	"fmt"
	"strings"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/durationpb"

	keepclearv1 "keepclear.example/keepclear/api/keepclear/v1"
)

// broken turns what protovalidate found into faults of ours. An error that is no list of violations means that nothing was
// checked: a fault, never a pass.
func broken(msg proto.Message, err error) Faults {
	if err == nil {
		return nil
	}
	var found *protovalidate.ValidationError
	if !errors.As(err, &found) || len(found.Violations) == 0 {
		return Faults{{
			Reason: keepclearv1.ErrorReason_ERROR_REASON_BUG, Wanted: "rules that can be checked", Got: shown(err.Error()),
			Remedy: "report this: the service could not check the request",
		}}
	}
	out := make(Faults, 0, len(found.Violations))
	for _, v := range found.Violations {
		out = append(out, violation(msg, v))
	}
	return out
}

// violation turns one broken rule into a fault.
func violation(msg proto.Message, v *protovalidate.Violation) FieldFault {
	f := FieldFault{Path: protovalidate.FieldPathString(v.Proto.GetField()), Reason: keepclearv1.ErrorReason_ERROR_REASON_FIELD_INVALID}
	fd := v.FieldDescriptor
	if fd == nil { // the rule of a oneof
		one := oneofAt(msg.ProtoReflect().Descriptor(), f.Path)
		f.Wanted, f.Got, f.Remedy = "exactly one of "+one, "none", "send the one that is meant"
		return f
	}
	element := fd.IsList() && strings.HasSuffix(f.Path, "]")
	f.Wanted, f.Got, f.Remedy = wanted(fd, element), got(fd, v, element), remedy(fd)
	return f
}

// oneofAt lists the members of the oneof that a path ends in.
func oneofAt(desc protoreflect.MessageDescriptor, path string) string {
	steps := strings.Split(path, ".")
	for _, step := range steps[:len(steps)-1] {
		name, _, _ := strings.Cut(step, "[")
		fd := desc.Fields().ByName(protoreflect.Name(name))
		if fd == nil || fd.Message() == nil {
			return "its fields"
		}
		desc = fd.Message()
	}
	one := desc.Oneofs().ByName(protoreflect.Name(steps[len(steps)-1]))
	if one == nil {
		return "its fields"
	}
	return members(one)
}

// got says in one phrase what was there.
func got(fd protoreflect.FieldDescriptor, v *protovalidate.Violation, element bool) string {
	if strings.HasSuffix(v.Proto.GetRuleId(), "required") || !v.FieldValue.IsValid() {
		return "nothing"
	}
	if fd.IsList() && !element {
		return gotList(v)
	}
	switch fd.Kind() {
	case protoreflect.DoubleKind, protoreflect.FloatKind:
		return number(v.FieldValue.Float())
	case protoreflect.StringKind:
		return gotText(v)
	case protoreflect.BytesKind:
		return fmt.Sprintf("%d bytes", len(v.FieldValue.Bytes()))
	case protoreflect.EnumKind:
		return gotEnum(fd, v.FieldValue.Enum())
	case protoreflect.MessageKind:
		if d, ok := v.FieldValue.Message().Interface().(*durationpb.Duration); ok {
			return span(d)
		}
		return "another message"
	default:
		return fmt.Sprint(v.FieldValue.Interface())
	}
}

// gotList says how many elements there were, or that two are the same.
func gotList(v *protovalidate.Violation) string {
	if strings.HasSuffix(v.Proto.GetRuleId(), "unique") {
		return "one of them twice"
	}
	return fmt.Sprint(v.FieldValue.List().Len())
}

// gotText shows a text, or counts its characters where its length is what is wrong.
func gotText(v *protovalidate.Violation) string {
	s := v.FieldValue.String()
	if strings.HasSuffix(v.Proto.GetRuleId(), "_len") {
		return fmt.Sprintf("%d characters", len([]rune(s)))
	}
	return shown(s)
}

// gotEnum names an enum value.
func gotEnum(fd protoreflect.FieldDescriptor, n protoreflect.EnumNumber) string {
	if v := fd.Enum().Values().ByNumber(n); v != nil {
		return string(v.Name())
	}
	return fmt.Sprintf("number %d", n)
}
