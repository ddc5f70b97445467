package state

import (
	"cmp"
	"encoding"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"keepclear.example/keepclear/service/internal/question"
)

// What is asked, held and changed is written by plans: for each type worked out once how encoding/json writes it, and then done without its
// detours, of which the one for an instant alone takes longer than the rest of a sample. A type that wants more than is planned for here is
// left to encoding/json. append_test.go holds every field of every body to it.

// plan appends a value of one type.
type plan func(p *planned, v reflect.Value) error

// planned is the text under way. What one pointer led to is copied when the same comes again: a sample is the last one, the last one at rest
// and the one that the pose is carried on from, all at once.
type planned struct {
	b    []byte
	seen []seen
}

// seen is where the text of a value stands.
type seen struct {
	of       uintptr // what is pointed at stays where it is: the body holds it
	from, to int
}

// member is a field of a struct as encoding/json takes it.
type member struct {
	index int
	name  string
	key   string // with quotes and colon
	empty func(reflect.Value) bool
	plan  plan
}

// plans are made once a program, at the first entry.
var (
	planQuestion = sync.OnceValue(func() plan { return planOf(reflect.TypeFor[question.Question]()) })
	planSnapshot = sync.OnceValue(func() plan { return planOf(reflect.TypeFor[question.Snapshot]()) })
	planRigState = sync.OnceValue(func() []member { return membersOf(reflect.TypeFor[question.RigState]()) })
)

// planOf works out how a type is written.
func planOf(t reflect.Type) plan {
	switch {
	case t == reflect.TypeFor[time.Time]():
		return planInstant
	case reflect.PointerTo(t).Implements(reflect.TypeFor[json.Marshaler]()) || reflect.PointerTo(t).Implements(reflect.TypeFor[encoding.TextMarshaler]()):
		return leave
	}
	switch t.Kind() {
	case reflect.Struct:
		if slices.ContainsFunc(reflect.VisibleFields(t), func(f reflect.StructField) bool { return f.Anonymous }) {
			return leave // its fields are taken in by rules of their own
		}
		return planStruct(membersOf(t))
	case reflect.Pointer:
		return planPointer(t)
	case reflect.Slice, reflect.Array:
		return planList(t)
	case reflect.Map:
		return planMap(t)
	case reflect.String:
		return func(p *planned, v reflect.Value) error { p.b = appendText(p.b, v.String()); return nil }
	case reflect.Bool:
		return func(p *planned, v reflect.Value) error { p.b = strconv.AppendBool(p.b, v.Bool()); return nil }
	case reflect.Float64:
		return planNumber
	case reflect.Int, reflect.Int64:
		return func(p *planned, v reflect.Value) error { p.b = strconv.AppendInt(p.b, v.Int(), 10); return nil }
	case reflect.Uint8, reflect.Uint32, reflect.Uint64:
		return func(p *planned, v reflect.Value) error { p.b = strconv.AppendUint(p.b, v.Uint(), 10); return nil }
	}
	return leave
}

// leave leaves a value to encoding/json.
func leave(p *planned, v reflect.Value) error {
	out, err := json.Marshal(v.Interface())
	p.b = append(p.b, out...)
	return err
}

func planInstant(p *planned, v reflect.Value) error {
	t, ok := v.Interface().(time.Time)
	if !ok || t.Location() != time.UTC || t.Year() < 0 || t.Year() > 9999 { // other zones and years want care
		return leave(p, v)
	}
	p.b = append(t.AppendFormat(append(p.b, '"'), time.RFC3339Nano), '"')
	return nil
}

func planNumber(p *planned, v reflect.Value) error {
	x := v.Float()
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return fmt.Errorf("%g is no number that JSON knows", x)
	}
	p.b = appendNumber(p.b, x)
	return nil
}

func planPointer(t reflect.Type) plan {
	to, sample := planOf(t.Elem()), t == reflect.TypeFor[*question.Sample]()
	return func(p *planned, v reflect.Value) error {
		switch {
		case v.IsNil():
			p.b = append(p.b, "null"...)
			return nil
		case sample && p.again(v.Pointer()):
			return nil
		}
		from := len(p.b)
		err := to(p, v.Elem())
		if sample {
			p.seen = append(p.seen, seen{v.Pointer(), from, len(p.b)})
		}
		return err
	}
}

// again appends once more what a pointer led to before, if it did.
func (p *planned) again(to uintptr) bool {
	for _, s := range p.seen {
		if s.of == to {
			p.b = append(p.b, p.b[s.from:s.to]...)
			return true
		}
	}
	return false
}

func planList(t reflect.Type) plan {
	if t.Kind() == reflect.Slice && t.Elem().Kind() == reflect.Uint8 {
		return leave // encoding/json writes bytes as base64
	}
	of, mayBeNil := planOf(t.Elem()), t.Kind() == reflect.Slice
	return func(p *planned, v reflect.Value) error {
		if mayBeNil && v.IsNil() {
			p.b = append(p.b, "null"...)
			return nil
		}
		p.b = append(p.b, '[')
		for i := range v.Len() {
			if i > 0 {
				p.b = append(p.b, ',')
			}
			if err := of(p, v.Index(i)); err != nil {
				return err
			}
		}
		p.b = append(p.b, ']')
		return nil
	}
}

func planMap(t reflect.Type) plan {
	if t.Key().Kind() != reflect.String {
		return leave
	}
	of := planOf(t.Elem())
	return func(p *planned, v reflect.Value) error {
		if v.IsNil() {
			p.b = append(p.b, "null"...)
			return nil
		}
		keys := v.MapKeys()
		slices.SortFunc(keys, func(a, b reflect.Value) int { return strings.Compare(a.String(), b.String()) })
		p.b = append(p.b, '{')
		for i, k := range keys {
			if i > 0 {
				p.b = append(p.b, ',')
			}
			p.b = append(appendText(p.b, k.String()), ':')
			if err := of(p, v.MapIndex(k)); err != nil {
				return err
			}
		}
		p.b = append(p.b, '}')
		return nil
	}
}

// membersOf works out the fields of a struct. None of ours has an option but these two; one that had would be told by the tests.
func membersOf(t reflect.Type) (out []member) {
	for i := range t.NumField() {
		f := t.Field(i)
		tag, option, _ := strings.Cut(f.Tag.Get("json"), ",")
		if !f.IsExported() || tag == "-" {
			continue
		}
		m := member{index: i, name: cmp.Or(tag, f.Name), plan: planOf(f.Type)}
		m.key = string(appendText(nil, m.name)) + ":"
		switch option {
		case "omitempty":
			m.empty = empty
		case "omitzero":
			m.empty = reflect.Value.IsZero
		}
		out = append(out, m)
	}
	return out
}

// empty is what encoding/json leaves out by omitempty.
func empty(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.Struct:
		return false
	case reflect.Array, reflect.Map, reflect.Slice, reflect.String:
		return v.Len() == 0
	}
	return v.IsZero()
}

func planStruct(members []member) plan {
	return func(p *planned, v reflect.Value) error {
		p.b = append(p.b, '{')
		begun := false
		for i := range members {
			m := &members[i]
			f := v.Field(m.index)
			if m.empty != nil && m.empty(f) {
				continue
			}
			if begun {
				p.b = append(p.b, ',')
			}
			begun = true
			p.b = append(p.b, m.key...)
			if err := m.plan(p, f); err != nil {
				return fmt.Errorf("%s: %w", m.name, err)
			}
		}
		p.b = append(p.b, '}')
		return nil
	}
}
