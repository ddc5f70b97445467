package wire

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/durationpb"
)

// wanted says in one phrase what the proto file wants of a field, or of each element of a list.
func wanted(fd protoreflect.FieldDescriptor, element bool) string {
	rules := rulesOf(fd)
	if fd.IsList() && !element {
		return wantedList(fd, rules.GetRepeated())
	}
	if element {
		rules = rules.GetRepeated().GetItems()
	}
	switch fd.Kind() {
	case protoreflect.DoubleKind, protoreflect.FloatKind:
		return "a number" + within(doubleRange(rules.GetDouble()), unitOf(fd))
	case protoreflect.Int32Kind:
		r := rules.GetInt32()
		return fmt.Sprintf("a whole number in [%d, %d]", r.GetGte(), r.GetLte())
	case protoreflect.Uint32Kind, protoreflect.Uint64Kind:
		return wantedCount(rules)
	case protoreflect.BoolKind:
		return "true"
	case protoreflect.StringKind:
		return wantedText(rules.GetString())
	case protoreflect.BytesKind:
		return wantedBytes(rules.GetBytes())
	case protoreflect.EnumKind:
		return "one of " + words(fd.Enum(), rules.GetEnum().GetIn())
	case protoreflect.MessageKind:
		return wantedMessage(fd, rules)
	default:
		return "a " + fd.Kind().String()
	}
}

// rulesOf returns the protovalidate rules of a field; none: an empty set.
func rulesOf(fd protoreflect.FieldDescriptor) *validate.FieldRules {
	rules, ok := proto.GetExtension(fd.Options(), validate.E_Field).(*validate.FieldRules)
	if !ok {
		return nil
	}
	return rules
}

// within appends an interval and its unit to "a number", where there are any.
func within(interval, unit string) string {
	if interval != "" {
		interval = " in " + interval
	}
	if unit != "" {
		unit = " " + unit
	}
	return interval + unit
}

// doubleRange spells the interval of a number with its ends; no rule: the empty word.
func doubleRange(r *validate.DoubleRules) string {
	if r == nil || !r.HasGreaterThan() || !r.HasLessThan() {
		return ""
	}
	low, high := "["+number(r.GetGte()), number(r.GetLte())+"]"
	if r.HasGt() {
		low = "(" + number(r.GetGt())
	}
	if r.HasLt() {
		high = number(r.GetLt()) + ")"
	}
	return low + ", " + high
}

// wantedList says how many elements a list may have.
func wantedList(fd protoreflect.FieldDescriptor, r *validate.RepeatedRules) string {
	phrase := fmt.Sprintf("at most %d", r.GetMaxItems())
	if r.GetMinItems() > 0 {
		phrase = fmt.Sprintf("%d to %d", r.GetMinItems(), r.GetMaxItems())
	}
	if r.GetUnique() {
		phrase += " different"
	}
	return phrase + " " + strings.ReplaceAll(string(fd.Name()), "_", " ")
}

// wantedCount says what a whole number may be.
func wantedCount(rules *validate.FieldRules) string {
	in := rules.GetUint32().GetIn()
	if len(in) == 0 {
		return "a whole number from 1"
	}
	out := make([]string, len(in))
	for i, n := range in {
		out[i] = strconv.FormatUint(uint64(n), 10)
	}
	return strings.Join(out, " or ")
}

// wantedText says what a text must look like.
func wantedText(r *validate.StringRules) string {
	if r.GetPattern() != "" {
		return "a text like " + strings.TrimSuffix(strings.TrimPrefix(r.GetPattern(), "^"), "$")
	}
	if r.GetMaxLen() == 0 {
		return "a text"
	}
	return fmt.Sprintf("1 to %d characters", r.GetMaxLen())
}

// wantedBytes says how long a field of bytes must be.
func wantedBytes(r *validate.BytesRules) string {
	if r.GetLen() > 0 {
		return fmt.Sprintf("%d bytes", r.GetLen())
	}
	return fmt.Sprintf("1 to %d bytes", r.GetMaxLen())
}

// wantedMessage says what belongs in a field that holds a message.
func wantedMessage(fd protoreflect.FieldDescriptor, rules *validate.FieldRules) string {
	r := rules.GetDuration()
	if r == nil {
		return article(string(fd.Message().Name()))
	}
	low, high := "["+span(r.GetGte()), span(r.GetLte())+"]"
	if r.HasGt() {
		low = "(" + span(r.GetGt())
	}
	if r.HasLt() {
		high = span(r.GetLt()) + ")"
	}
	return "a duration in " + low + ", " + high
}

// article puts "a" or "an" before the name of a message.
func article(name string) string {
	if strings.ContainsAny(name[:1], "AEIO") {
		return "an " + name
	}
	return "a " + name
}

// unitOf reads the unit from a field's suffix, in the word for it; a pure number has none. The suffixes are a closed list.
func unitOf(fd protoreflect.FieldDescriptor) string {
	name := string(fd.Name())
	for _, u := range [...]struct{ suffix, word string }{
		{"_deg_per_s2", "degrees per second squared"}, {"_deg_per_s", "degrees per second"}, {"_deg", "degrees"},
		{"_arcsec", "arcseconds"}, {"_arcmin", "arcminutes"}, {"_mm", "millimetres"}, {"_m", "metres"}, {"_s", "seconds"},
		{"_hpa", "hectopascals"}, {"_celsius", "degrees Celsius"}, {"_days", "days"}, {"_ratio", "as a share"},
	} {
		if strings.HasSuffix(name, u.suffix) {
			return u.word
		}
	}
	return ""
}

// number spells a number so that reading it gives the same number: 360, not 360.000000; NaN and the infinities by name.
func number(v float64) string {
	if math.Abs(v) >= 1e-4 && math.Abs(v) < 1e7 || v == 0 {
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	return strconv.FormatFloat(v, 'g', -1, 64)
}

// span spells a duration in seconds, as JSON does.
func span(d *durationpb.Duration) string { return seconds(d.GetSeconds(), d.GetNanos()) }

// seconds spells seconds and nanoseconds; those that are no duration side by side.
func seconds(s int64, ns int32) string {
	switch {
	case ns == 0:
		return fmt.Sprintf("%d s", s)
	case ns > 0 && ns < 1e9 && s >= 0:
		return strings.TrimRight(fmt.Sprintf("%d.%09d", s, ns), "0") + " s"
	default:
		return fmt.Sprintf("%d s and %d ns", s, ns)
	}
}
