package wire

import (
	"strings"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/reflect/protoreflect"

	keepclearv1 "keepclear.example/keepclear/api/keepclear/v1"
)

// maxGlimpse bounds a text that is taken from a request not understood, in bytes: a rig id has at most 63, an asker 128
// characters of at most 4 bytes.
const maxGlimpse = 512

// Whose is what can be told of a request that was not understood: enough to hold the right rig and to record who asked.
type Whose struct {
	RequestID string // empty: not told, or not readable
	Rig       string // likewise
	Asker     string // likewise
}

// Glimpse reads whose request it is from bytes that need not be a whole message. Of a field sent twice it takes the last, as a
// decoder does. A text that could not stand in a log is left out.
func Glimpse(raw []byte, desc protoreflect.MessageDescriptor) Whose {
	return Whose{
		RequestID: glimpse(raw, desc, "request_id"),
		Rig:       glimpse(raw, desc, "rig"),
		Asker:     glimpse(raw, desc, "asker"),
	}
}

// glimpse reads one text of a message as far as its bytes can be read.
func glimpse(raw []byte, desc protoreflect.MessageDescriptor, name protoreflect.Name) string {
	fd := desc.Fields().ByName(name)
	if fd == nil || fd.Kind() != protoreflect.StringKind || fd.IsList() {
		return ""
	}
	all := texts(raw, fd.Number())
	if len(all) == 0 {
		return ""
	}
	last := all[len(all)-1]
	if len(last) > maxGlimpse || !utf8.ValidString(last) || strings.ContainsFunc(last, unprintable) {
		return ""
	}
	return last
}

// texts returns every text of one field number, in order, up to the first byte that cannot be read.
func texts(raw []byte, want protowire.Number) []string {
	var out []string
	for len(raw) > 0 {
		num, typ, n := protowire.ConsumeTag(raw)
		if n < 0 {
			return out
		}
		size := protowire.ConsumeFieldValue(num, typ, raw[n:])
		if size < 0 {
			return out
		}
		if num == want && typ == protowire.BytesType {
			inner, _ := protowire.ConsumeBytes(raw[n:])
			out = append(out, string(inner))
		}
		raw = raw[n+size:]
	}
	return out
}

// readWithdraw reads what can be read of a withdrawal. Where it is not plain which rig is meant (bytes cut short, two rigs, no
// UTF-8) it means all: taking back too much costs a question, too little a telescope.
func readWithdraw(raw []byte, w *keepclearv1.WithdrawRequest) {
	rigs := texts(raw, 1)
	if len(rigs) == 1 && utf8.ValidString(rigs[0]) {
		w.Rig = rigs[0]
	}
	w.Asker = legible(texts(raw, 2))
	w.Reason = legible(texts(raw, 3))
}

// legible joins texts into one line of UTF-8, bounded, every other character replaced.
func legible(all []string) string {
	s := strings.ToValidUTF8(strings.Join(all, " "), "\uFFFD")
	s = strings.Map(func(r rune) rune {
		if unprintable(r) {
			return '\uFFFD'
		}
		return r
	}, s)
	if runes := []rune(s); len(runes) > maxGlimpse {
		return string(runes[:maxGlimpse])
	}
	return s
}
