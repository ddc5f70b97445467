package rig

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
)

// Length is one length that a rig file states, or its class file for it, to be tried otherwise by a Change.
type Length struct {
	Key  string  // as Change takes it
	MM   float64 // as stated
	Err  float64 // its reading error, mm: the true one is within ±Err; 0: none is stated
	File string  // the class file in which it stands; empty: the rig file itself
}

// String names it for a person.
func (l Length) String() string {
	if l.File != "" {
		return l.Key + " (" + l.File + ")"
	}
	return l.Key
}

// mostLengths bounds what Lengths tells. Choice: the form of a fork on a pier with some parts of its own.
const mostLengths = 60

// Lengths are the lengths that stand in the file or that its class file gives it: those of the tape-measure form, then those of its parts; the file's
// own first, each in the order of its file. A margin is no length. Nil where one of the files does not read.
func Lengths(file string, content []byte, open Opener) []Length {
	f := &faults{file: file}
	own := readTree(file, content, f)
	if own == nil || len(f.all) > 0 {
		return nil
	}
	class, _ := readClass(own, open, f)
	if len(f.all) > 0 {
		return nil
	}
	n := under(own, class)
	all := lengths{err: readingError(n.find("tape")), own: own.file}
	for _, block := range []string{"tape", "parts"} {
		before := len(all.found)
		all.under(block, n.find(block), false)
		slices.SortStableFunc(all.found[before:], func(a, b Length) int { return cmp.Compare(min(len(a.File), 1), min(len(b.File), 1)) })
	}
	return all.found[:min(len(all.found), mostLengths)]
}

// lengths collects lengths of a tree.
type lengths struct {
	found []Length
	err   float64 // of one that states none
	own   string  // the rig file
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
		if n.file != l.own {
			one.File = n.file
		}
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
