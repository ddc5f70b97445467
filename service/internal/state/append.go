package state

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/verdict"
)

// What every answer writes most of (facts, findings, the bytes exchanged) is appended here; encoding/json takes several times as long for it
// and writes the same bytes, which append_test.go holds it to, field by field.

// object is a JSON object that is being written. After the first error it writes nothing that counts.
type object struct {
	b     []byte
	begun bool
	err   error
}

// key begins a field. Requires a name of ours, in which nothing wants care.
func (o *object) key(name string) {
	sep := byte(',')
	if !o.begun {
		sep, o.begun = '{', true
	}
	o.b = append(append(append(o.b, sep, '"'), name...), '"', ':')
}

// given begins a field whose name may be anything.
func (o *object) given(name string) {
	o.key("")
	o.b = append(appendText(o.b[:len(o.b)-len(`"":`)], name), ':')
}

func (o *object) end() {
	if !o.begun {
		o.b = append(o.b, '{')
	}
	o.b, o.begun = append(o.b, '}'), true
}

// any writes a value as encoding/json does.
func (o *object) any(name string, v any) {
	out, err := json.Marshal(v)
	if err != nil {
		o.err = fmt.Errorf("%s: %w", name, err)
		return
	}
	o.key(name)
	o.b = append(o.b, out...)
}

func (o *object) text(name, s string) {
	o.key(name)
	o.b = appendText(o.b, s)
}

// optional writes a text that is left out where it is empty.
func (o *object) optional(name, s string) {
	if s != "" {
		o.text(name, s)
	}
}

func (o *object) number(name string, v *float64) {
	if v == nil {
		return
	}
	o.key(name)
	if math.IsNaN(*v) || math.IsInf(*v, 0) {
		o.err = fmt.Errorf("%s: %g is no number that JSON knows", name, *v)
		return
	}
	o.b = appendNumber(o.b, *v)
}

// reals writes a list of numbers that is left out where it is empty.
func (o *object) reals(name string, list []float64) {
	if len(list) == 0 {
		return
	}
	o.key(name)
	for i, v := range list {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			o.err = fmt.Errorf("%s: %g is no number that JSON knows", name, v)
			return
		}
		sep := byte(',')
		if i == 0 {
			sep = '['
		}
		o.b = appendNumber(append(o.b, sep), v)
	}
	o.b = append(o.b, ']')
}

func (o *object) word(name string, v *string) {
	if v != nil {
		o.text(name, *v)
	}
}

func (o *object) truth(name string, v *bool) {
	if v != nil {
		o.key(name)
		o.b = strconv.AppendBool(o.b, *v)
	}
}

func (o *object) texts(name string, list []string) {
	if len(list) == 0 {
		return
	}
	o.key(name)
	for i, s := range list {
		sep := byte(',')
		if i == 0 {
			sep = '['
		}
		o.b = appendText(append(o.b, sep), s)
	}
	o.b = append(o.b, ']')
}

// instant writes what time.Time's MarshalJSON does, in place.
func (o *object) instant(name string, t *time.Time) {
	if t == nil {
		return
	}
	o.key(name)
	text, err := t.AppendText(append(o.b, '"'))
	if err != nil {
		o.err = fmt.Errorf("%s: %w", name, err)
		return
	}
	o.b = append(text, '"')
}

// open begins an object within; end ends it.
func (o *object) open(name string) {
	o.key(name)
	o.begun = false
}

// wantsCare are the bytes that encoding/json writes otherwise than they are, or may.
var wantsCare = func() (care [256]bool) {
	for c := range care {
		care[c] = c < ' ' || c >= utf8.RuneSelf || strings.IndexByte(`"\<>&`, byte(c)) >= 0
	}
	return care
}()

func (o *object) openGiven(name string) {
	o.given(name)
	o.begun = false
}

// appendText writes a text as encoding/json does: plain where nothing in it wants care, else by its own hand.
func appendText(b []byte, s string) []byte {
	for i := 0; i < len(s); {
		c := s[i]
		if !wantsCare[c] {
			i++
			continue
		}
		if c < utf8.RuneSelf {
			return appendCareful(b, s)
		}
		r, size := utf8.DecodeRuneInString(s[i:])
		if r == utf8.RuneError || r == '\u2028' || r == '\u2029' {
			return appendCareful(b, s)
		}
		i += size
	}
	return append(append(append(b, '"'), s...), '"')
}

func appendCareful(b []byte, s string) []byte {
	out, _ := json.Marshal(s) // of a string: never fails
	return append(b, out...)
}

// appendNumber writes a finite number as encoding/json does: the shortest text that reads back, as in ECMAScript.
func appendNumber(b []byte, v float64) []byte {
	if a := math.Abs(v); a != 0 && (a < 1e-6 || a >= 1e21) {
		b = strconv.AppendFloat(b, v, 'e', -1, 64)
		if n := len(b); b[n-3] == '-' && b[n-2] == '0' { // e-09 is e-9
			b[n-2] = b[n-1]
			b = b[:n-1]
		}
		return b
	}
	return strconv.AppendFloat(b, v, 'f', -1, 64)
}

func (o *object) facts(set facts.Set) {
	if len(set) == 0 {
		return
	}
	o.open("facts")
	for _, name := range set.Names() {
		f := set[name]
		o.openGiven(name)
		o.number("number", f.Number)
		o.word("word", f.Word)
		o.truth("truth", f.Truth)
		o.optional("missing", f.Missing)
		o.optional("need", f.Need)
		o.optional("remedy", f.Remedy)
		o.optional("origin", string(f.Origin))
		o.texts("about", f.About)
		o.instant("instant", f.Instant)
		o.end()
	}
	o.end()
}

func (o *object) finding(f *verdict.Finding) {
	o.text("rule", f.Rule)
	o.text("effect", string(f.Effect))
	o.text("code", f.Code)
	if r := f.Fact; r != nil {
		o.open("fact")
		o.text("name", r.Name)
		o.number("number", r.Number)
		o.word("word", r.Word)
		o.truth("truth", r.Truth)
		o.optional("missing", r.Missing)
		o.optional("origin", string(r.Origin))
		o.end()
	}
	o.number("limit", f.Limit)
	o.optional("unit", f.Unit)
	o.texts("about", f.About)
	o.instant("instant", f.Instant)
	o.optional("sentence", f.Sentence)
	o.optional("remedy", f.Remedy)
	if len(f.Needs) > 0 {
		o.any("needs", f.Needs)
	}
}

func (o *object) notice(n *pose.Notice) {
	o.text("kind", string(n.Kind))
	o.text("sentence", n.Sentence)
	o.yes("withdraws", n.Withdraws)
	o.yes("locks", n.Locks)
	o.texts("about", n.About)
	o.optional("code", string(n.Code))
}

func (o *object) exchanged(name string, x Exchanged) {
	if x.Type == "" && x.Bytes == nil {
		return
	}
	o.open(name)
	o.optional("type", x.Type)
	o.bytes("bytes", x.Bytes)
	o.end()
}

func (o *object) words(name string, m map[string]string) {
	if len(m) == 0 {
		return
	}
	o.open(name)
	for _, k := range slices.Sorted(maps.Keys(m)) {
		o.given(k)
		o.b = appendText(o.b, m[k])
	}
	o.end()
}

func (o *object) event(e *Event) {
	o.open("event")
	if e.After != nil {
		if o.state("after", e.After); o.err != nil {
			o.err = fmt.Errorf("after: %w", o.err)
		}
	}
	if len(e.Set) > 0 {
		o.any("set", e.Set)
	}
	o.texts("released", e.Released)
	if len(e.Changed) > 0 {
		o.open("changed")
		for _, name := range slices.Sorted(maps.Keys(e.Changed)) {
			o.given(name)
			o.b = append(o.b, e.Changed[name]...) // never empty: one that is gone is null
		}
		o.end()
	}
	o.end()
}

// append writes a body with the fields in the order of the type, as encoding/json would.
func (b *Body) append(to []byte) ([]byte, error) {
	o := object{b: to}
	o.long("v", time.Duration(b.V))
	o.event(&b.Event)
	if b.Question != nil {
		o.question("question", b.Question)
	}
	if b.Snapshot != nil {
		o.snapshot("snapshot", b.Snapshot)
	}
	o.facts(b.Facts)
	list(&o, "findings", b.Findings, (*object).finding)
	list(&o, "notices", b.Notices, (*object).notice)
	o.texts("taken", b.Taken)
	o.words("revisions", b.Revs)
	o.exchanged("request", b.Request)
	o.exchanged("response", b.Response)
	o.whole("count", b.Count)
	o.yes("solves_before", b.SolvesBefore)
	if b.Kept != [2]int{} {
		o.any("solves_kept", b.Kept)
	}
	o.end()
	return o.b, o.err
}
