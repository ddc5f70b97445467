package main

import (
	"fmt"
	"io"
	"os"
	"sort"
	"strings"
	"time"
)

// survivors is the list of mutants that no test needs to notice, each with the reason: key to reason.
type survivors map[string]string

// readSurvivors reads the list: a line "reason: …" and below it, indented, the keys that it holds for. "#" begins a remark.
func readSurvivors(path string) (survivors, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	out, reason := survivors{}, ""
	for i, line := range strings.Split(string(text), "\n") {
		trimmed := strings.TrimSpace(line)
		switch {
		case trimmed == "" || strings.HasPrefix(trimmed, "#"):
		case strings.HasPrefix(line, "reason:"):
			reason = strings.TrimSpace(strings.TrimPrefix(line, "reason:"))
		case reason == "" || trimmed == line:
			return nil, fmt.Errorf("%s:%d: an entry stands indented below its reason", path, i+1)
		case out[trimmed] != "":
			return nil, fmt.Errorf("%s:%d: listed twice", path, i+1)
		default:
			out[trimmed] = reason
		}
	}
	return out, nil
}

// vanished names the entries of the rooms that are no mutant any more.
func (s survivors) vanished(all []*mutant, rooms []room, out io.Writer) int {
	there := map[string]bool{}
	for _, m := range all {
		there[m.key()] = true
	}
	var gone []string
	for key := range s {
		for _, r := range rooms {
			if strings.HasPrefix(key, r.dir+"/") && !there[key] {
				gone = append(gone, key)
			}
		}
	}
	sort.Strings(gone)
	for _, key := range gone {
		fmt.Fprintf(out, "VANISHED: .ci/survivors lists what is no longer there: %s\n", key)
	}
	return len(gone)
}

// judge counts one mutant whose outcome is not what the list says, and names it.
func (s survivors) judge(m *mutant, out io.Writer) int {
	_, listed := s[m.key()]
	switch {
	case m.outcome == survived && !listed:
		fmt.Fprintf(out, "SURVIVOR: %s   (line %d) %s\n", m.key(), m.line, m.by)
	case m.outcome != survived && m.outcome != unviable && listed:
		fmt.Fprintf(out, "KILLED: .ci/survivors lists what %s notices: %s\n", m.by, m.key())
	default:
		return 0
	}
	return 1
}

// summary prints one line a room.
func summary(tried, all []*mutant, s survivors, took time.Duration, out io.Writer) {
	type counts struct {
		all, listed int
		by          map[outcome]int
	}
	rooms := map[string]*counts{}
	var names []string
	at := func(room string) *counts {
		if rooms[room] == nil {
			rooms[room], names = &counts{by: map[outcome]int{}}, append(names, room)
		}
		return rooms[room]
	}
	for _, m := range all {
		at(m.room).all++
	}
	for _, m := range tried {
		c := at(m.room)
		c.by[m.outcome]++
		if s[m.key()] != "" && m.outcome == survived {
			c.listed++
		}
	}
	fmt.Fprintf(out, "%-10s %8s %8s %8s %8s %8s %9s %7s\n", "room", "mutants", "tried", "killed", "late", "unviable", "survived", "listed")
	for _, n := range names {
		c := rooms[n]
		sum := 0
		for _, k := range c.by {
			sum += k
		}
		fmt.Fprintf(out, "%-10s %8d %8d %8d %8d %8d %9d %7d\n", n, c.all, sum, c.by[killed], c.by[timedOut], c.by[unviable], c.by[survived], c.listed)
	}
	fmt.Fprintf(out, "%d tried in %s\n", len(tried), took.Round(time.Second))
}
