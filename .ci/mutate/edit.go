package main

import (
	"sort"
	"strings"
)

// edit puts text in the place of [from, to) of a file. Edits never overlap but may meet: those of an inner expression stand
// between those of the outer one.
type edit struct {
	from, to int
	text     string
	closing  bool // stands at the end of what it belongs to
	order    int  // of its making: outer expressions come before inner ones
	site     int
}

// apply makes all edits whose site is not left out. No line moves.
func apply(text []byte, edits []edit, without map[int]bool) string {
	sorted := make([]edit, 0, len(edits))
	for _, e := range edits {
		if !without[e.site] {
			sorted = append(sorted, e)
		}
	}
	sort.Slice(sorted, func(i, j int) bool { return before(sorted[i], sorted[j]) })
	var b strings.Builder
	at := 0
	for _, e := range sorted {
		b.Write(text[at:e.from])
		b.WriteString(e.text)
		at = e.to
	}
	b.Write(text[at:])
	return b.String()
}

func before(a, b edit) bool {
	switch {
	case a.from != b.from:
		return a.from < b.from
	case a.closing != b.closing:
		return a.closing
	case a.closing:
		return a.order > b.order
	default:
		return a.order < b.order
	}
}
