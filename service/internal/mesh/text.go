package mesh

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
)

// words gives the words of a text one after the other, and the line on which each stands.
type words struct {
	rest []byte
	line int
	word []byte // the last one taken; empty at the end
	at   int    // its line
	read int    // facets so far
}

// next takes a word; empty at the end.
func (w *words) next() []byte {
	i := 0
	for ; i < len(w.rest) && w.rest[i] <= ' '; i++ {
		if w.rest[i] == '\n' {
			w.line++
		}
	}
	j := i
	for j < len(w.rest) && w.rest[j] > ' ' {
		j++
	}
	w.word, w.rest, w.at = w.rest[i:j], w.rest[j:], w.line
	return w.word
}

// skipLine leaves out what else stands on the line: a name.
func (w *words) skipLine() {
	i := bytes.IndexByte(w.rest, '\n')
	if i < 0 {
		i = len(w.rest)
	}
	w.rest = w.rest[i:]
}

// is tells whether the last word is a word of the form; capitals count as small letters.
func (w *words) is(word string) bool { return bytes.EqualFold(w.word, []byte(word)) }

// want takes words of the form.
func (w *words) want(form ...string) error {
	for _, f := range form {
		if w.next(); !w.is(f) {
			return w.fault("want the word " + f)
		}
	}
	return nil
}

// fault says what stands where something else should.
func (w *words) fault(want string) Fault {
	f := Fault{Line: w.at, Byte: -1, Remedy: again}
	switch {
	case len(w.word) == 0:
		f.What = fmt.Sprintf("the text ends after %d whole facets, %s: cut short", w.read, want)
	default:
		f.Facet, f.What = w.read+1, fmt.Sprintf("%s, got %s", want, strconv.Quote(string(w.word[:min(len(w.word), 40)])))
	}
	return f
}

// readText reads the text form: one solid, or several one after the other, which count as one mesh.
func readText(content []byte) (*Mesh, error) {
	w := &words{rest: content, line: 1}
	b := newBuilder(0)
	for w.next(); len(w.word) > 0; w.next() {
		if !w.is("solid") {
			return nil, w.fault("want nothing more, or the word solid")
		}
		w.skipLine()
		if err := w.facets(b); err != nil {
			return nil, err
		}
		w.skipLine()
	}
	return b.done()
}

// facets reads the facets of a solid and its end.
func (w *words) facets(b *builder) error {
	for w.next(); !w.is("endsolid"); w.next() {
		if !w.is("facet") {
			return w.fault("want the word facet or endsolid")
		}
		if w.read == MostFacets {
			return tooMany(MostFacets + 1)
		}
		f, err := w.facet()
		if err != nil {
			return err
		}
		b.add(f)
		w.read++
	}
	return nil
}

// facet reads one facet, from behind its first word. Its normal is not looked at: of facets without area it is none, and some
// programs write it as nan.
func (w *words) facet() (f [3]Corner, err error) {
	if err := w.want("normal"); err != nil {
		return f, err
	}
	for range 3 {
		w.next()
	}
	if err := w.want("outer", "loop"); err != nil {
		return f, err
	}
	for i := range f {
		if err := w.want("vertex"); err != nil {
			return f, err
		}
		for _, v := range [3]*float64{&f[i].X, &f[i].Y, &f[i].Z} {
			if *v, err = w.number(); err != nil {
				return f, err
			}
		}
	}
	return f, w.want("endloop", "endfacet")
}

// number takes a coordinate.
func (w *words) number() (float64, error) {
	if bytes.IndexByte(w.next(), ',') >= 0 {
		f := w.fault("want a number with a point, not a comma")
		f.Remedy = "export it under a setting of the machine that writes decimal points"
		return 0, f
	}
	// ParseFloat takes inf, nan and 0x10 too.
	plain := !bytes.ContainsFunc(w.word, func(r rune) bool {
		return !(r >= '0' && r <= '9' || r == '.' || r == '-' || r == '+' || r == 'e' || r == 'E')
	})
	v, err := strconv.ParseFloat(string(w.word), 64)
	if err != nil || !plain || math.IsNaN(v) || !inRange(v) {
		return 0, w.fault(fmt.Sprintf("want a number within ±%g", float64(farthest)))
	}
	return v, nil
}
