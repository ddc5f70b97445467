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
	File  string // the class file in which it stands; empty: the rig file itself, or where Changed finds it
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
		return c.Key + "+=" + plainly(c.Value)
	}
	return c.Key + "=" + plainly(c.Value)
}

// Together writes what is changed together.
func Together(all []Change) string {
	var words []string
	for _, c := range all {
		words = append(words, c.String())
	}
	return strings.Join(words, " and ")
}

// In returns a file with the change made, all else left as it is. The key has to be in the file itself, as one number that is written plainly, or be a
// length of the form that may be left out. What comes out is in UTF-8, whatever went in.
func (c Change) In(file string, content []byte) ([]byte, error) {
	f := &faults{file: file}
	content = plainText(content)
	n := readTree(file, content, f)
	if n == nil || len(f.all) > 0 {
		return nil, fmt.Errorf("%w: %s does not read", ErrChange, file)
	}
	form := n.under("tape")
	if n = n.below(c.Key); n == nil && form != nil && len(form.entries) > 0 && c.mayBeAdded() {
		return c.addedTo(file, form, content)
	}
	if n == nil || n.kind != scalar || n.quoted || n.line == 0 {
		return nil, c.noNumber(file)
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
	lines := linesOf(content)
	before, after, ok := cutAt(lines, n)
	if !ok || !bytes.HasPrefix(after, []byte(number)) {
		return nil, fmt.Errorf("%w: %s:%d: %s is not written as one plain number", ErrChange, file, n.line, c.Key)
	}
	lines[n.line-1] = []byte(before + plainly(is) + string(after[len(number):]))
	return bytes.Join(lines, nil), nil
}

// cutAt cuts the line of a value before it; lines are counted from 1, and columns in letters from 1. False where there is no such place.
func cutAt(lines [][]byte, n *node) (before string, after []byte, ok bool) {
	if n.line < 1 || n.line > len(lines) {
		return "", nil, false
	}
	line := lines[n.line-1]
	letters := []rune(string(line))
	if n.column < 1 || n.column > len(letters) {
		return "", nil, false
	}
	before = string(letters[:n.column-1])
	return before, line[len(before):], true
}

func plainly(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// noNumber says what to write where a key has no number.
func (c Change) noNumber(file string) error {
	remedy := "name a key that stands in the file, with the blocks that hold it: tape.tube_diameter_mm"
	if _, ok := mayBeLeftOut[c.Key]; ok && c.By {
		remedy = "the file leaves it out, so there is nothing to add to: write " + c.Key + "=NUMBER"
	}
	return fmt.Errorf("%w: %s has no number at %s; %s", ErrChange, file, c.Key, remedy)
}

// mayBeLeftOut are the lengths of the form that a file need not have, with whether they are nothing then: to a shield that is not there nothing can
// be added.
var mayBeLeftOut = map[string]bool{
	"tape.crossing_east_of_hub_mm": true, "tape.axes_apart_mm": true, "tape.head_diameter_mm": true, "tape.crossing_to_tube_mm": true,
	"tape.shield_diameter_mm": false, "tape.shield_from_mm": false, "tape.camera_radius_mm": false, "tape.camera_from_mm": false,
}

// mayBeAdded tells whether a change may write in what a form leaves out.
func (c Change) mayBeAdded() bool {
	nothing, ok := mayBeLeftOut[c.Key]
	return ok && (nothing || !c.By)
}

// addedTo writes the key as the first of the form.
func (c Change) addedTo(file string, form *node, content []byte) ([]byte, error) {
	lines := linesOf(content)
	first := form.entries[0].place
	before, after, ok := cutAt(lines, first)
	if !ok {
		return nil, c.noNumber(file)
	}
	_, key, _ := strings.Cut(c.Key, ".")
	added := key + ": " + plainly(c.Value)
	if strings.TrimSpace(before) == "" {
		added += "\n" + before
	} else {
		added += ", " // in braces
	}
	lines[first.line-1] = []byte(before + added + string(after))
	return bytes.Join(lines, nil), nil
}

// Changed returns a rig file, and what opens the files beside it, as they would be with changes made one after the other. What stands in the class file
// is changed there, for this rig alone.
func Changed(file string, content []byte, open Opener, all ...Change) ([]byte, Opener, error) {
	for _, c := range all {
		if c.File == "" {
			c.File = c.classFile(file, content, open)
		}
		var err error
		if c.File == "" {
			content, err = c.In(file, content)
		} else {
			open, err = c.beside(open)
		}
		if err != nil {
			return nil, nil, err
		}
	}
	return content, open, nil
}

// classFile names the class file where a key stands, or the form that leaves it out; empty: it is the rig file's.
func (c Change) classFile(file string, content []byte, open Opener) string {
	f := &faults{file: file}
	own := readTree(file, content, f)
	if own == nil || len(f.all) > 0 {
		return ""
	}
	class, _ := readClass(own, open, f)
	if class == nil || len(f.all) > 0 {
		return ""
	}
	whole := under(own, class)
	n := whole.below(c.Key)
	if _, ok := mayBeLeftOut[c.Key]; n == nil && ok {
		n = whole.under("tape")
	}
	if n == nil || n.file == file {
		return ""
	}
	return n.file
}

// With reads the file that the rig was read from with a change made. Meshes are taken as they were: wrapping them takes longer than all else, and no
// length of the file changes them. A change of its class file is made for this rig alone. Nil where the change cannot be made, or the file does not load with it.
func (r *Rig) With(c Change, file string, content []byte, open Opener) *Rig {
	content, open, err := Changed(file, content, open, c)
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
	if open == nil {
		return nil, fmt.Errorf("%w: %s stands in %s, which cannot be read here", ErrChange, c.Key, c.File)
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

// below returns the value at a dotted key, list entries counted from 1; nil where there is none.
func (n *node) below(key string) *node {
	for k := range strings.SplitSeq(key, ".") {
		n = n.under(k)
	}
	return n
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
