package rig

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
)

// ErrFaulty is the class of every fault of a rig file.
var ErrFaulty = errors.New("rig file is faulty")

// Fault is one thing wrong with a rig file, for which it does not load.
type Fault struct {
	File   string
	Line   int    // from 1; 0: the file as a whole
	Column int    // from 1; 0: not known
	Key    string // dotted, list entries counted from 1: "tape.legs.foot_radius_mm", "parts.2.name"
	Wanted string
	Got    string
	Remedy string
}

// Error gives the fault as one line for a person.
func (f Fault) Error() string {
	place := f.File
	if f.Line > 0 {
		place = fmt.Sprintf("%s:%d", f.File, f.Line)
	}
	if f.Key != "" {
		place += ": " + f.Key
	}
	s := fmt.Sprintf("%s: wanted %s, got %s", place, f.Wanted, f.Got)
	if f.Remedy != "" {
		s += "; " + f.Remedy
	}
	return s
}

// Unwrap makes every fault one of ErrFaulty.
func (f Fault) Unwrap() error { return ErrFaulty }

// faults gathers what is wrong, in the order in which it is found.
type faults struct {
	file    string
	all     []Fault
	broken  bool // part of a file could not be read at all: what seems missing then may not be
	notices []Find
}

// add notes a fault at a value; at none, it is one of the file as a whole.
func (f *faults) add(n *node, key, wanted, got, remedy string) {
	f.all = append(f.all, f.at(n, key, wanted, got, remedy))
}

// notice notes what a person should look at again.
func (f *faults) notice(kind FindKind, n *node, key, wanted, got, remedy string) {
	f.notices = append(f.notices, noticed(kind, n, key, wanted, got, remedy))
}

func noticed(kind FindKind, n *node, key, wanted, got, remedy string) Find {
	return Find{File: n.file, Line: n.line, Key: key, Kind: kind, Words: "wanted " + wanted + ", got " + got, Remedy: remedy}
}

func (f *faults) at(n *node, key, wanted, got, remedy string) Fault {
	if n == nil {
		n = &node{file: f.file}
	}
	return Fault{n.file, n.line, n.column, key, wanted, got, remedy}
}

// sorted returns the faults by file and line; those of one line stay in the order in which they were found.
func (f *faults) sorted() []Fault {
	slices.SortStableFunc(f.all, func(a, b Fault) int {
		return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	return f.all
}
