package rig

import (
	"strings"
)

// measured is a length from the tape with its reading error, mm: the true one is within ±err of mm.
type measured struct{ mm, err float64 }

// errorSpan bounds reading errors. Choice: a tape read to worse than 5 cm is no measurement.
var errorSpan = from("a reading error", 0, 50, " mm")

// tapeReader is a reader of lengths, which may carry their reading error: "1300 ± 2" or "1300 +- 2".
type tapeReader struct {
	*reader
	err float64 // of a length that states none
}

// length reads a length that has to be there.
func (t tapeReader) length(key string, s span, how string) measured {
	s = s.sized(sizeOf(t.key(key)))
	n := t.needs(key, s.String, how)
	if n == nil {
		return measured{}
	}
	return t.lengthOf(n, t.key(key), s)
}

// lengthOr reads a length that may be left out.
func (t tapeReader) lengthOr(key string, s span, otherwise float64) measured {
	n := t.take(key)
	if n == nil {
		return measured{mm: otherwise}
	}
	return t.lengthOf(n, t.key(key), s.sized(sizeOf(t.key(key))))
}

func (t tapeReader) lengthOf(n *node, key string, s span) measured {
	value, errText, stated := n.text, "", false
	for _, mark := range []string{"±", "+-"} {
		if v, e, found := strings.Cut(n.text, mark); found {
			value, errText, stated = strings.TrimSpace(v), strings.TrimSpace(e), true
		}
	}
	if v, e, found := strings.Cut(n.text, "+/-"); found && n.kind == scalar && !n.quoted {
		t.f.add(n, key, s.String(), n.says(), "write "+strings.TrimSpace(v)+" ± "+strings.TrimSpace(e)+", or +- for ±")
		return measured{}
	}
	if n.kind != scalar || n.quoted || !stated {
		return measured{t.numberOf(n, key, s), t.err}
	}
	bare := *n
	bare.text = value
	out := measured{mm: t.numberOf(&bare, key, s)}
	bare.text = errText
	out.err = t.numberOf(&bare, key+" (after ±)", errorSpan)
	return out
}

// inner opens a block of further lengths.
func (t tapeReader) inner(key string) (tapeReader, bool) {
	b, has := t.block(key)
	return tapeReader{b, t.err}, has
}

// worst adds up reading errors: the lengths of a chain of measurements may all be out to the same side.
func worst(all ...measured) float64 {
	sum := 0.0
	for _, m := range all {
		sum += m.err
	}
	return sum
}
