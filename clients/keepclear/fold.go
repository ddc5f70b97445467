package main

import (
	"io"
	"strings"
	"unicode/utf8"
)

// Columns of a page, and how far what is folded stands in. Common practice: a terminal has 80 columns, and so has a phone on its side.
const (
	columns = 79
	indent  = 12
)

// folded writes whole lines, folded at spaces so that none is wider than a page; a word that is wider stays whole, to be copied.
type folded struct {
	to   io.Writer
	rest string // of a line that has not ended
	err  error
}

// Write takes text in and writes the lines that have ended.
func (f *folded) Write(p []byte) (int, error) {
	f.rest += string(p)
	for {
		line, rest, ended := strings.Cut(f.rest, "\n")
		if !ended {
			return len(p), f.err
		}
		f.rest = rest
		f.line(line)
	}
}

// flush writes a line that never ended.
func (f *folded) flush() {
	if f.rest != "" {
		f.line(f.rest)
		f.rest = ""
	}
}

func (f *folded) line(s string) {
	for utf8.RuneCountInString(s) > columns {
		at := f.breakOf(s)
		if at < 0 {
			break
		}
		f.put(strings.TrimRight(s[:at], " "))
		s = strings.Repeat(" ", indent) + strings.TrimLeft(s[at:], " ")
	}
	f.put(s)
}

// breakOf is the last space, past the leading ones, at which the line fits; else the first after that; -1: there is none.
func (f *folded) breakOf(s string) int {
	start := len(s) - len(strings.TrimLeft(s, " "))
	best, column := -1, 0
	for i, r := range s {
		if r == ' ' && i > start {
			if column > columns && best >= 0 {
				return best
			}
			best = i
			if column > columns {
				return best
			}
		}
		column++
	}
	return best
}

func (f *folded) put(line string) {
	if _, err := io.WriteString(f.to, line+"\n"); err != nil && f.err == nil {
		f.err = err
	}
}
