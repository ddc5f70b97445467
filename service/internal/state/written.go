package state

import (
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"keepclear.example/keepclear/service/internal/question"
)

// Write appends the body of the chain's next entry to bytes that may be written over. Requires the chain as it stands before that entry.
func (c Chain) Write(to []byte, b Body) ([]byte, error) {
	b.V = Version
	after := b.Event.After
	switch {
	case b.Snapshot != nil && after != nil:
		others := after.Solves
		if !slices.Equal(others, b.Snapshot.Rig.Solves) {
			b.Kept, others = c.kept(others)
		}
		changed, err := changes(&b.Snapshot.Rig, after, others)
		if err != nil {
			return nil, fmt.Errorf("encoding an entry's state: %w", err)
		}
		b.Event.Changed, b.Event.After = changed, nil
		if b.SolvesBefore = c.holds(b.Snapshot.Rig.Solves); b.SolvesBefore {
			lean := *b.Snapshot
			lean.Rig.Solves = nil
			b.Snapshot = &lean
		}
	case after != nil:
		lean := *after
		b.Kept, lean.Solves = c.kept(after.Solves)
		b.Event.After = &lean
	}
	out, err := b.append(to)
	if err != nil {
		return nil, fmt.Errorf("encoding an entry's body: %w", err)
	}
	return out, nil
}

// holds tells whether solves are those of the chain. Equal ones that were made anew count as others, which costs room and nothing else.
func (c Chain) holds(solves []question.JudgedSolve) bool {
	return len(solves) > 0 && slices.Equal(solves, c.Rig.Solves)
}

// kept finds what of solves is what the chain has, from one index up to another, and returns the others behind it.
func (c Chain) kept(solves []question.JudgedSolve) (span [2]int, others []question.JudgedSolve) {
	if len(solves) == 0 {
		return span, solves
	}
	from := slices.Index(c.Rig.Solves, solves[0])
	if from < 0 {
		return span, solves
	}
	to := from
	for others = solves; len(others) > 0 && to < len(c.Rig.Solves) && others[0] == c.Rig.Solves[to]; others = others[1:] {
		to++
	}
	return [2]int{from, to}, others
}

// Fill puts back what the body of the chain's next entry leaves out. Requires the chain as it stands before that entry; an error where
// it is another one.
func (c Chain) Fill(b Body) (Body, error) {
	if b.SolvesBefore && b.Snapshot != nil {
		s := *b.Snapshot
		s.Rig.Solves = c.Rig.Solves
		b.Snapshot = &s
	}
	if b.Event.After == nil {
		return b, nil
	}
	solves := b.Event.After.Solves
	switch _, others := b.Event.Changed["solves"]; {
	case b.Kept != [2]int{}:
		from, to := b.Kept[0], b.Kept[1]
		if from < 0 || from >= to || to > len(c.Rig.Solves) {
			return Body{}, fmt.Errorf("an entry keeps solves %d to %d of a chain that holds %d: it is of another chain", from, to, len(c.Rig.Solves))
		}
		solves = slices.Concat(c.Rig.Solves[from:to], solves)
	case b.SolvesBefore && !others:
		solves = c.Rig.Solves
	default:
		return b, nil
	}
	after := *b.Event.After
	after.Solves = solves
	b.Event.After = &after
	return b, nil
}

// Decode reads a body. Its Event.After is whole, but for solves that SolvesBefore and Kept say are left out.
func Decode(body []byte) (Body, error) {
	var b Body
	return b.read(json.Unmarshal(body, &b))
}

// read is what is left to do of reading a body, which ended with an error or none.
func (b *Body) read(err error) (Body, error) {
	if b.V > Version { // told first: what else is in it is not ours to judge
		return Body{}, fmt.Errorf("%w: the entry's body is of version %d, this program knows %d", ErrNewer, b.V, Version)
	}
	if err == nil && len(b.Event.Changed) > 0 {
		err = b.change()
	}
	if err != nil {
		return Body{}, fmt.Errorf("reading an entry's body: %w", err)
	}
	return *b, nil
}

// change makes Event.After of the snapshot and what changed.
func (b *Body) change() error {
	if b.Snapshot == nil || b.Event.After != nil {
		return fmt.Errorf("it says what changed, and not since when")
	}
	after := b.Snapshot.Rig
	v := reflect.ValueOf(&after).Elem()
	for name, raw := range b.Event.Changed {
		i, known := fieldNamed(v.Type(), name)
		if !known {
			return fmt.Errorf("it changes %q, which no state of a rig has", name)
		}
		v.Field(i).SetZero() // or what is read would be put into what the snapshot points to
		if err := json.Unmarshal(raw, v.Field(i).Addr().Interface()); err != nil {
			return fmt.Errorf("what became of %q: %w", name, err)
		}
	}
	b.Event.After = &after
	return nil
}

// changes are the fields of a rig's state that are not as they were, encoded, of solves those named: null where a field that may be absent is
// empty.
func changes(was, is *question.RigState, solves []question.JudgedSolve) (map[string]json.RawMessage, error) {
	out := map[string]json.RawMessage{}
	a, b := reflect.ValueOf(was).Elem(), reflect.ValueOf(is).Elem()
	written := *is
	written.Solves = solves
	o := object{b: slices.Grow([]byte(nil), usualChange)}
	for i, field := range rigFields {
		name := field.name
		f := b.Field(i)
		if name != "epoch" && (same(a.Field(i), f) || name == "solves" && slices.Equal(was.Solves, is.Solves) || name != "solves" && reflect.DeepEqual(a.Field(i).Interface(), f.Interface())) {
			continue // solves as Write tells them apart, or what it keeps of them counts twice; the epoch always, so that it is told apart from no change at all
		}
		from := len(o.b)
		if field.write(&o, name, &written); o.err != nil {
			return nil, fmt.Errorf("%s: %w", name, o.err)
		}
		out[name] = json.RawMessage("null")
		if len(o.b) > from {
			out[name] = o.b[from+len(`,"":`)+len(name):]
		}
	}
	return out, nil
}

// usualChange is a little more than what changes by a granted motion, bytes.
const usualChange = 2 << 10

// same tells at a glance whether two fields are the same memory, as most are: states are values, and nothing in them is written in place.
func same(a, b reflect.Value) bool {
	switch a.Kind() {
	case reflect.Pointer, reflect.Map:
		return a.Pointer() == b.Pointer()
	case reflect.Slice:
		return a.Len() == b.Len() && a.Pointer() == b.Pointer()
	}
	return false
}

// fieldNamed finds a field by its name in JSON.
func fieldNamed(t reflect.Type, name string) (int, bool) {
	for i := range t.NumField() {
		if n, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ","); n == name {
			return i, true
		}
	}
	return 0, false
}
