package season

import (
	_ "embed"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

//go:embed table.yaml
var tableText []byte

// TableText is the table of all figures that practice nights are drawn from, as committed.
func TableText() []byte { return slices.Clone(tableText) }

// Table holds the figures that practice nights are drawn from. It is read once and never changed.
type Table struct {
	entries map[string]entry
	asked   func(key string) // tests: which figures are used; nil: nobody asks
}

// entry is one figure: a draw, or the shares of several words.
type entry struct {
	Title  string         `yaml:"title"`
	Unit   string         `yaml:"unit"`
	Draw   string         `yaml:"draw"`
	Share  map[string]num `yaml:"share"`
	Remark string         `yaml:"remark"`

	draws []draw
	words []string // of Share, in order of the alphabet, so that a seed means the same everywhere
}

type num = float64

// draw is one distribution, and in which share of cases it is the one.
type draw struct {
	share float64
	law   law
	a, b  float64
	of    []float64
}

// law is the form of a distribution.
type law int

const (
	always law = iota
	uniform
	logUniform
	normal
	oneOf
)

// ReadTable reads a table and checks all of it: each figure has a title, a unit, a remark, and either a draw or shares.
func ReadTable(text []byte) (*Table, error) {
	t := &Table{}
	if err := yaml.Unmarshal(text, &t.entries); err != nil {
		return nil, fmt.Errorf("the table of practice nights: %w", err)
	}
	for _, key := range slices.Sorted(maps.Keys(t.entries)) {
		e := t.entries[key]
		if err := e.read(); err != nil {
			return nil, fmt.Errorf("the table of practice nights: %s: %w", key, err)
		}
		t.entries[key] = e
	}
	return t, nil
}

func (e *entry) read() error {
	if e.Title == "" || e.Unit == "" || e.Remark == "" {
		return fmt.Errorf("a figure wants title, unit and remark")
	}
	if (e.Draw == "") == (len(e.Share) == 0) {
		return fmt.Errorf("a figure wants either a draw or shares")
	}
	if len(e.Share) > 0 {
		e.words = slices.Sorted(maps.Keys(e.Share))
		var sum float64
		for _, w := range e.words {
			sum += e.Share[w]
		}
		if math.Abs(sum-1) > 1e-9 {
			return fmt.Errorf("the shares come to %g, want 1", sum)
		}
		return nil
	}
	rest := 1.0
	for i, s := range strings.Split(e.Draw, ";") {
		d, err := readDraw(s, i > 0)
		if err != nil {
			return err
		}
		if i > 0 {
			rest -= d.share
		}
		e.draws = append(e.draws, d)
	}
	if e.draws[0].share = rest; rest < 0 {
		return fmt.Errorf("the shares of its draws come to more than 1")
	}
	return nil
}

// readDraw reads "uniform 1 to 2", with its share before a colon where it is not the first.
func readDraw(s string, shared bool) (d draw, err error) {
	if shared {
		share, rest, ok := strings.Cut(s, ":")
		if d.share, err = strconv.ParseFloat(strings.TrimSpace(share), 64); err != nil || !ok || !(d.share > 0 && d.share < 1) {
			return d, fmt.Errorf("%q wants a share, a colon and a draw", s)
		}
		s = rest
	}
	s = strings.TrimSpace(s)
	for name, l := range map[string]law{"always ": always, "uniform ": uniform, "log uniform ": logUniform, "normal ": normal, "one of ": oneOf} {
		if rest, ok := strings.CutPrefix(s, name); ok {
			d.law = l
			return d, d.numbers(rest)
		}
	}
	return d, fmt.Errorf("there is no draw %q", s)
}

// numbers reads what stands behind the name of a law.
func (d *draw) numbers(s string) error {
	sep := map[law]string{uniform: " to ", logUniform: " to ", normal: " about ", oneOf: ","}[d.law]
	parts := []string{s}
	if sep != "" {
		parts = strings.Split(s, sep)
	}
	for _, p := range parts {
		v, err := strconv.ParseFloat(strings.TrimSpace(p), 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("%q is no number", p)
		}
		d.of = append(d.of, v)
	}
	d.a = d.of[0]
	if len(d.of) > 1 {
		d.b = d.of[1]
	}
	n := len(d.of)
	ranges := d.law == uniform || d.law == logUniform
	if ranges && (n != 2 || d.a >= d.b) || d.law == logUniform && d.a <= 0 || d.law == normal && (n > 2 || d.a <= 0) {
		return fmt.Errorf("%q is no such range", s)
	}
	return nil
}

// from draws a number.
func (d draw) from(g *rand.Rand) float64 {
	switch d.law {
	case uniform:
		return d.a + (d.b-d.a)*g.Float64()
	case logUniform:
		return d.a * math.Pow(d.b/d.a, g.Float64())
	case normal:
		return d.b + d.a*g.NormFloat64()
	case oneOf:
		return d.of[g.IntN(len(d.of))]
	case always:
	}
	return d.a
}

// figure is an entry by its key. A key that is not there is a mistake of this program, which the tests find.
func (t *Table) figure(key string) entry {
	e, ok := t.entries[key]
	if !ok {
		panic(fmt.Sprintf("season: the table has no figure %q", key))
	}
	if t.asked != nil {
		t.asked(key)
	}
	return e
}

// draw draws a figure in its unit.
func (t *Table) draw(g *rand.Rand, key string) float64 {
	e := t.figure(key)
	at := g.Float64()
	for _, d := range e.draws[1:] {
		if at < d.share {
			return d.from(g)
		}
		at -= d.share
	}
	return e.draws[0].from(g)
}

// chance throws a coin with a figure's share.
func (t *Table) chance(g *rand.Rand, key string) bool { return g.Float64() < t.draw(g, key) }

// word draws one of a figure's words.
func (t *Table) word(g *rand.Rand, key string) string {
	e := t.figure(key)
	at := g.Float64()
	for _, w := range e.words {
		if at < e.Share[w] {
			return w
		}
		at -= e.Share[w]
	}
	return e.words[len(e.words)-1]
}
