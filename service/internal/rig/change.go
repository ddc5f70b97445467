package rig

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"math"
	"strconv"
	"strings"
)

// Change is one length or number of a rig file as it might be: "tape.floor_to_crossing_mm=1450", or by how much more or less it might be:
// "tape.floor_to_crossing_mm+=150".
type Change struct {
	Key   string // dotted, list entries counted from 1
	By    bool   // Value is added
	Value float64
	File  string // the class file in which it stands; empty: the rig file itself
}

// ErrChange is the class of changes that cannot be made.
var ErrChange = errors.New("no change that can be tried")

// ReadChange reads a change as it is written.
func ReadChange(text string) (Change, error) {
	key, value, ok := strings.Cut(text, "=")
	c := Change{Key: strings.TrimSpace(key)}
	if k, by := strings.CutSuffix(c.Key, "+"); by {
		c.Key, c.By = strings.TrimSpace(k), true
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(value), 64)
	if !ok || err != nil || math.IsNaN(v) || math.IsInf(v, 0) || c.Key == "" {
		return Change{}, fmt.Errorf("%w: %q; write a key of the file and a number, tape.floor_to_crossing_mm=1450, or how much more, tape.floor_to_crossing_mm+=150", ErrChange, text)
	}
	c.Value = v
	return c, nil
}

// String writes a change as ReadChange reads it.
func (c Change) String() string {
	if c.By {
		return c.Key + "+=" + short(c.Value)
	}
	return c.Key + "=" + short(c.Value)
}

// In returns a file with the change made, all else left as it is. The key has to be in the file itself, as one number that is written plainly.
func (c Change) In(file string, content []byte) ([]byte, error) {
	f := &faults{file: file}
	n := readTree(file, content, f)
	if n == nil || len(f.all) > 0 {
		return nil, fmt.Errorf("%w: %s does not read", ErrChange, file)
	}
	for _, k := range strings.Split(c.Key, ".") {
		n = n.under(k)
	}
	if n == nil || n.kind != scalar || n.quoted || n.line == 0 {
		return nil, fmt.Errorf("%w: %s has no number at %s; name a key that stands in the file itself, with the blocks that hold it: tape.tube_diameter_mm", ErrChange, file, c.Key)
	}
	number, _, _ := strings.Cut(strings.ReplaceAll(n.text, "+-", "±"), "±") // what it was read to stays
	number = strings.TrimSpace(number)
	was, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return nil, fmt.Errorf("%w: %s:%d: %s is %s, no number", ErrChange, file, n.line, c.Key, quote(n.text))
	}
	is := c.Value
	if c.By {
		is += was
	}
	lines := bytes.SplitAfter(content, []byte("\n"))
	at := lines[n.line-1]
	before := len(string([]rune(string(at))[:n.column-1]))
	if !bytes.HasPrefix(at[before:], []byte(number)) {
		return nil, fmt.Errorf("%w: %s:%d: %s is not written as one plain number", ErrChange, file, n.line, c.Key)
	}
	lines[n.line-1] = []byte(string(at[:before]) + strconv.FormatFloat(is, 'f', -1, 64) + string(at[before+len(number):]))
	return bytes.Join(lines, nil), nil
}

// With reads the file that the rig was read from with a change made. Meshes are taken as they were: wrapping them takes longer than all else, and no
// length of the file changes them. A change of its class file is made for this rig alone. Nil where the change cannot be made, or the file does not load with it.
func (r *Rig) With(c Change, file string, content []byte, open Opener) *Rig {
	open, err := c.beside(open)
	if c.File == "" && err == nil {
		content, err = c.In(file, content)
	}
	if err != nil {
		return nil
	}
	known := drawn{maps.Clone(r.drawn.digests), maps.Clone(r.drawn.taken), r.drawn.facets, true}
	out, faults, _ := parse(file, content, func(name string) ([]byte, error) {
		if _, mesh := known.digests[name]; mesh {
			return nil, nil
		}
		if open == nil {
			return nil, errors.New("nothing else can be read here")
		}
		return open(name)
	}, known)
	if len(faults) > 0 {
		return nil
	}
	return out
}

// beside opens the files beside the rig file, the class file with the change made where it stands there.
func (c Change) beside(open Opener) (Opener, error) {
	if c.File == "" || open == nil {
		return open, nil
	}
	was, err := open(c.File)
	if err != nil {
		return nil, err
	}
	is, err := c.In(c.File, was)
	return func(name string) ([]byte, error) {
		if name == c.File {
			return is, nil
		}
		return open(name)
	}, err
}

// under returns a value below: that of a key of a block, or that of a place in a list, counted from 1; nil where there is none.
func (n *node) under(name string) *node {
	switch {
	case n == nil:
	case n.kind == mapping:
		return n.find(name)
	case n.kind == list:
		if i, err := strconv.Atoi(name); err == nil && i >= 1 && i <= len(n.items) {
			return n.items[i-1]
		}
	}
	return nil
}
