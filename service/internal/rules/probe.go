package rules

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"github.com/open-policy-agent/opa/v1/ast"
)

// Probes. Whenever rules are bound to limits, the conditions of each rule are held against its full query, which OPA evaluates
// plainly, on facts at the edges of these very limits. Each comparison is made to come out both ways, by a fact on its limit and one
// next to it, in every combination with the others; and for each condition every fact of the rule in turn is missing, of a wrong
// type or far off while the others fulfil it. Conditions know a fact by its type and by how its comparisons come out, and by nothing
// else. Where one comes out otherwise than OPA says, that is a fault, and nothing is bound.
//
// It costs some ten milliseconds for each set of limits.

// edges are values of facts, by name, on both sides of everything that they are compared with.
type edges map[string][]ast.Value

// edgesOf returns the edges of all comparisons of these lines.
func edgesOf(lines []line) edges {
	e, tests := edges{}, map[test]bool{}
	for _, l := range lines {
		maps.Copy(tests, l.tests)
	}
	for t := range tests {
		for _, v := range bothSides(t.operator, valueOf(t.literal)) {
			if !slices.ContainsFunc(e[t.fact], func(was ast.Value) bool { return was.Compare(v) == 0 }) {
				e[t.fact] = append(e[t.fact], v)
			}
		}
	}
	return e
}

// bothSides returns a value for which a comparison is true and one for which it is false, as near to each other as facts can be.
func bothSides(operator string, literal ast.Value) []ast.Value {
	switch v := literal.(type) {
	case ast.Boolean:
		return []ast.Value{v, !v}
	case ast.String:
		return []ast.Value{v, v + "?"}
	case ast.Number:
		limit, _ := v.Float64() // OPA wrote it from a limit that is finite
		side := upward
		if operator == "gte" {
			side = downward
		}
		_, beyond := round(math.Nextafter(limit, math.Inf(int(side))), side)
		return []ast.Value{v, ast.Number(beyond)}
	}
	return nil
}

// probing is the work of probing one rule.
type probing struct {
	library    *library
	bound      *binding
	rule       int
	conditions []condition // of the rule
}

// probe holds the conditions of a rule against its full query; the error names the facts on which they differ.
func (p probing) probe(ctx context.Context, e edges) error {
	fulfil := make([][]ast.Value, len(p.conditions)) // facts for each condition
	err := p.combine(e, slices.Sorted(maps.Keys(e)), p.nothing(), func(values []ast.Value) error {
		for i := range p.conditions {
			if fulfil[i] == nil && p.conditions[i].hold(values) {
				fulfil[i] = slices.Clone(values)
			}
		}
		return p.compare(ctx, values)
	})
	for _, values := range fulfil {
		for fact := range e {
			if err == nil && values != nil {
				err = p.stray(ctx, slices.Clone(values), fact)
			}
		}
	}
	return err
}

// nothing is facts of which none is known.
func (p probing) nothing() []ast.Value { return make([]ast.Value, len(p.library.facts)) }

// combine visits every combination of the values of these facts.
func (p probing) combine(e edges, names []string, values []ast.Value, visit func([]ast.Value) error) error {
	if len(names) == 0 {
		return visit(values)
	}
	for _, v := range e[names[0]] {
		values[p.library.place[names[0]]] = v
		if err := p.combine(e, names[1:], values, visit); err != nil {
			return err
		}
	}
	return nil
}

// stray compares with one fact missing, of every type, and at both ends of the numbers.
func (p probing) stray(ctx context.Context, values []ast.Value, fact string) error {
	for _, v := range []ast.Value{nil, ast.Null{}, ast.Boolean(true), ast.Number("-1e300"), ast.Number("1e300"), ast.String("")} {
		values[p.library.place[fact]] = v
		if err := p.compare(ctx, values); err != nil {
			return err
		}
	}
	return nil
}

// compare asks both ways.
func (p probing) compare(ctx context.Context, values []ast.Value) error {
	in := input{lib: p.library, values: values}
	plain := p.bound.askOne(ctx, p.rule, in.document(), time.Unix(0, 0)) // rules know no time
	if plain.err != nil {
		return fmt.Errorf("evaluating it plainly on %v: %w", in.document(), plain.err)
	}
	want, got := "", ""
	if plain.effect == "pass" {
		want = plain.code
	}
	for i := range p.conditions {
		switch c := &p.conditions[i]; {
		case !c.hold(values):
		case got != "" && got != c.code: // which of them counts would hang on their order
			return fmt.Errorf("its conditions pass it as %q and as %q, on %v", got, c.code, in.document())
		default:
			got = c.code
		}
	}
	if got != want {
		return fmt.Errorf("its conditions pass it as %q where plain evaluation passes it as %q, on %v", got, want, in.document())
	}
	return nil
}
