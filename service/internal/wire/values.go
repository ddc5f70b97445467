package wire

import (
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	keepclearv1 "keepclear.example/keepclear/api/keepclear/v1"
)

// finite refuses NaN and the infinities in every number, whether or not the proto file states a range: one of them in a
// comparison of a rule is neither below nor above its limit.
func finite(at *trail, fd protoreflect.FieldDescriptor, v float64) Faults {
	if !math.IsNaN(v) && !math.IsInf(v, 0) {
		return nil
	}
	return invalid(at, wanted(fd, false), number(v), "leave the field out where the figure is not known")
}

// oneLine refuses texts that could break a log line, hide in one or name nobody.
func oneLine(at *trail, s string) Faults {
	if !utf8.ValidString(s) {
		return invalid(at, "text in UTF-8", "other bytes", "encode the text as UTF-8")
	}
	if strings.ContainsFunc(s, unprintable) {
		return invalid(at, "one line without control characters", shown(s), "take out line breaks, NULs and the like")
	}
	if s != "" && strings.TrimSpace(s) == "" {
		return invalid(at, "a text that says something", shown(s), "leave the field out where there is nothing to say")
	}
	return nil
}

// unprintable tells the characters that a name, note or id may not have: control characters (Unicode category Cc), line and
// paragraph separators (Zl, Zp), and the marks that turn the direction of writing (Unicode Standard Annex 9, section 2), with
// which a text can be made to read as another.
func unprintable(r rune) bool {
	if r < utf8.RuneSelf { // most texts are no other; of these only Cc has any
		return r < ' ' || r == 0x7f
	}
	return unicode.In(r, unicode.Cc, unicode.Zl, unicode.Zp, unicode.Bidi_Control)
}

// OneLine returns a text as one line of UTF-8 that can hide nothing in a log: whatever oneLine would refuse becomes a space.
func OneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if unprintable(r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
}

// instants refuses timestamps and durations outside protobuf's own range or with nanoseconds of the wrong size or sign.
func instants(at *trail, m proto.Message) Faults {
	switch t := m.(type) {
	case *timestamppb.Timestamp:
		if err := t.CheckValid(); err != nil {
			return invalid(at, "an instant of the years 1 to 9999, nanoseconds in [0, 1000000000)", seconds(t.GetSeconds(), t.GetNanos()),
				"send UTC seconds since 1970 and nanoseconds")
		}
	case *durationpb.Duration:
		if err := t.CheckValid(); err != nil {
			return invalid(at, "a duration with seconds and nanoseconds of one sign, nanoseconds in (-1000000000, 1000000000)",
				seconds(t.GetSeconds(), t.GetNanos()), "send it as the generated code writes it")
		}
	}
	return nil
}

// invalid makes the fault of a field that is known and wrong.
func invalid(at *trail, wanted, got, remedy string) Faults {
	return Faults{{at.String(), keepclearv1.ErrorReason_ERROR_REASON_FIELD_INVALID, wanted, got, remedy}}
}
