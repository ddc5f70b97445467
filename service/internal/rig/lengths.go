package rig

import (
	"strconv"
	"strings"
)

// Length is one length that a rig file states, to be tried otherwise by a Change.
type Length struct {
	Key string  // as Change takes it
	MM  float64 // as stated
	Err float64 // its reading error, mm: the true one is within ±Err; 0: none is stated
}

// mostLengths bounds what Lengths tells. Choice: the form of a fork on a pier with some parts of its own.
const mostLengths = 60

// Lengths are the lengths that stand in the file itself: those of the tape-measure form, then those of its parts, in the order of the file. A
// margin is no length, nor is what a class file gives: that is changed in the class file. Nil where the file does not read.
func Lengths(file string, content []byte) []Length {
	f := &faults{file: file}
	n := readTree(file, content, f)
	if n == nil || len(f.all) > 0 {
		return nil
	}
	form := n.find("tape")
	all := lengths{err: readingError(form)}
	all.under("tape", form, false)
	all.under("parts", n.find("parts"), false)
	return all.found[:min(len(all.found), mostLengths)]
}

// lengths collects lengths of a tree.
type lengths struct {
	found []Length
	err   float64 // of one that states none
}

// under collects what stands below a key; long says that the key is that of a length, or of a place in them.
func (l *lengths) under(key string, n *node, long bool) {
	switch {
	case n == nil:
	case n.kind == mapping:
		for _, e := range n.entries {
			l.under(join(key, e.key), e.value, strings.HasSuffix(e.key, "_mm") && e.key != "reading_error_mm" && e.key != "margin_mm" && e.key != "between_mm")
		}
	case n.kind == list:
		for i, item := range n.items {
			l.under(join(key, strconv.Itoa(i+1)), item, long)
		}
	case long && n.kind == scalar && !n.quoted:
		value, errText, stated := strings.Cut(strings.ReplaceAll(n.text, "+-", "±"), "±")
		one := Length{Key: key, Err: l.err}
		var bad, worse error
		one.MM, bad = strconv.ParseFloat(strings.TrimSpace(value), 64)
		if stated {
			one.Err, worse = strconv.ParseFloat(strings.TrimSpace(errText), 64)
		}
		if bad == nil && worse == nil {
			l.found = append(l.found, one)
		}
	}
}

// readingError is that of lengths of a form that state none.
func readingError(form *node) float64 {
	if form == nil || form.kind != mapping {
		return 0
	}
	n := form.find("reading_error_mm")
	if n == nil || n.kind != scalar {
		return 0
	}
	v, err := strconv.ParseFloat(n.text, 64)
	if err != nil {
		return 0
	}
	return v
}
