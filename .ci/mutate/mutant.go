package main

import (
	"fmt"
	"strings"
	"time"
)

// mutant is one change of one place.
type mutant struct {
	id     int    // within its room, from 1
	room   string // name of the room
	file   string // from the root, with slashes
	line   int
	fn     string // the function around it; "" outside of any
	text   string // what stood there
	change string // what was made of it

	outcome outcome
	by      string // the test that noticed, or why it is not viable
	took    time.Duration

	rego string // the changed text of the whole file, for a rule
}

// outcome says what became of a mutant.
type outcome int

// Outcomes.
const (
	untried outcome = iota
	killed
	timedOut
	unviable // it does not build
	survived
)

// key names a mutant whatever stands above it in its file.
func (m *mutant) key() string {
	return strings.Join([]string{m.file, m.fn, m.text, m.change}, " | ")
}

func (m *mutant) place() string { return fmt.Sprintf("%s:%d %s", m.file, m.line, m.fn) }

// clip makes one short line of a piece of source.
func clip(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if r := []rune(s); len(r) > 110 {
		return string(r[:109]) + "…"
	}
	return s
}
