package rules

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/open-policy-agent/opa/v1/ast"
)

// The residual lint. What is left of a rule's pass after the limits are folded in may hold only type checks of facts and
// comparisons of checked facts with literals; it is read into the form below, and what is asked at run time is
// made anew from that form. Anything else (a "not", a call, a support rule, a comparison without its check) is refused:
// "not" on a missing fact passes, and a limit that folded away unseen would pass everything.

// line is one set of conditions under which a rule passes with one code.
type line struct {
	rule    int // index into the library's rules
	code    string
	checks  map[string]kind   // fact → type
	standIn map[string]string // fact → what counts where it is missing: object.get(input, "name", stand-in); empty for input.name
	tests   map[test]bool     // comparison → what it must come out as
}

// test is one comparison of a fact with a literal.
type test struct{ fact, operator, literal string }

// readResidual reads the body that partial evaluation left.
func readResidual(index int, code string, body ast.Body) (line, error) {
	l := line{rule: index, code: code, checks: map[string]kind{}, standIn: map[string]string{}, tests: map[test]bool{}}
	for _, e := range body {
		if err := l.expr(e); err != nil {
			return line{}, err
		}
	}
	for t := range l.tests {
		if l.checks[t.fact] != wantedKind(t) {
			return line{}, fmt.Errorf("%s is compared (%s %s) without is_%s", t.fact, t.operator, t.literal, wantedKind(t))
		}
	}
	if len(l.tests) == 0 {
		return line{}, fmt.Errorf("nothing is compared: it would pass always")
	}
	return l, nil
}

// wantedKind is the type that a comparison needs.
func wantedKind(t test) kind {
	switch {
	case t.operator != "equal":
		return numberKind
	case t.literal == "true":
		return truthKind
	}
	return wordKind
}

// expr reads one expression of a residual body.
func (l *line) expr(e *ast.Expr) error {
	refused := fmt.Errorf("%s is neither a type check nor a comparison of a fact with a literal", e)
	if e.Negated || len(e.With) > 0 {
		return refused
	}
	if bare, ok := e.Terms.(*ast.Term); ok { // the fact itself must be true
		return l.test(test{l.fact(bare), "equal", "true"}, true, refused)
	}
	if !e.IsCall() {
		return refused
	}
	name, args := e.Operator().String(), e.Operands()
	if k, isCheck := map[string]kind{"is_number": numberKind, "is_string": wordKind, "is_boolean": truthKind}[name]; isCheck && len(args) == 1 {
		fact := l.fact(args[0])
		if fact == "" || l.checks[fact] != "" && l.checks[fact] != k {
			return refused
		}
		l.checks[fact] = k
		return nil
	}
	return l.comparison(name, args, refused)
}

// comparison reads gte(fact, literal, truth), also without the third operand, and fact = truth.
func (l *line) comparison(name string, args []*ast.Term, refused error) error {
	if name == "eq" && len(args) == 2 {
		if _, left := args[0].Value.(ast.Boolean); left {
			args[0], args[1] = args[1], args[0]
		}
		truth, ok := args[1].Value.(ast.Boolean)
		if !ok {
			return refused
		}
		return l.test(test{l.fact(args[0]), "equal", "true"}, bool(truth), refused)
	}
	want := ast.Boolean(true)
	if len(args) == 3 {
		var ok bool
		if want, ok = args[2].Value.(ast.Boolean); !ok {
			return refused
		}
	}
	if len(args) < 2 || len(args) > 3 || !slices.Contains([]string{"gte", "lte", "equal"}, name) || !literal(args[1]) {
		return refused
	}
	return l.test(test{l.fact(args[0]), name, args[1].String()}, bool(want), refused)
}

// literal accepts a number or a word.
func literal(t *ast.Term) bool {
	switch t.Value.(type) {
	case ast.Number, ast.String:
		return true
	}
	return false
}

// test notes a comparison; the same one with two outcomes can never hold, which no table says.
func (l *line) test(t test, want bool, refused error) error {
	if was, twice := l.tests[t]; t.fact == "" || twice && was != want {
		return refused
	}
	l.tests[t] = want
	return nil
}

// fact reads input.name or object.get(input, "name", number); empty for anything else.
func (l *line) fact(t *ast.Term) string {
	var name, standIn string
	switch v := t.Value.(type) {
	case ast.Ref:
		if len(v) == 2 && v[0].Equal(ast.InputRootDocument) {
			name = stringOf(v[1])
		}
	case ast.Call:
		if len(v) == 4 && v[0].String() == "object.get" && v[1].String() == "input" && literal(v[3]) {
			name, standIn = stringOf(v[2]), v[3].String()
		}
	}
	if was, seen := l.standIn[name]; name == "" || seen && was != standIn {
		return ""
	}
	l.standIn[name] = standIn
	return name
}

// merge joins lines of one rule and code that differ in the outcome of one comparison only: as both sides of a comparison
// are checked to be numbers, one of its two outcomes always holds, and it can be left out. The type checks stay.
func merge(lines []line) []line {
	for i := 0; i < len(lines); i++ {
		for j := i + 1; j < len(lines); j++ {
			if t, ok := differ(lines[i], lines[j]); ok {
				delete(lines[i].tests, t)
				return merge(slices.Delete(lines, j, j+1))
			}
		}
	}
	return lines
}

// differ finds the one comparison whose outcome tells two lines apart.
func differ(a, b line) (test, bool) {
	var apart []test
	if a.rule != b.rule || a.code != b.code || len(a.tests) != len(b.tests) || !maps.Equal(a.checks, b.checks) || !maps.Equal(a.standIn, b.standIn) {
		return test{}, false
	}
	for t, want := range a.tests {
		other, there := b.tests[t]
		if !there {
			return test{}, false
		}
		if other != want {
			apart = append(apart, t)
		}
	}
	if len(apart) != 1 || len(a.tests) == 1 {
		return test{}, false
	}
	return apart[0], true
}

// condition is the line as it is asked of facts in the library's order.
func (l line) condition(place map[string]int) (condition, error) {
	c := condition{rule: l.rule, code: l.code}
	at := map[string]int{}
	for i, fact := range slices.Sorted(maps.Keys(l.checks)) {
		p, known := place[fact]
		if !known {
			return condition{}, fmt.Errorf("%s is read, which the source does not check", fact)
		}
		r := read{place: p, kind: l.checks[fact]}
		if text := l.standIn[fact]; text != "" {
			r.standIn = valueOf(text)
		}
		c.reads, at[fact] = append(c.reads, r), i
	}
	for _, t := range slices.SortedFunc(maps.Keys(l.tests), func(a, b test) int { return strings.Compare(fmt.Sprint(a), fmt.Sprint(b)) }) {
		c.tests = append(c.tests, comparison{read: at[t.fact], operator: t.operator, literal: valueOf(t.literal), want: l.tests[t]})
	}
	return c, nil
}

// valueOf reads a literal back that OPA wrote.
func valueOf(literal string) ast.Value { return ast.MustParseTerm(literal).Value }
