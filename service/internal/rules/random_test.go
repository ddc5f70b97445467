package rules

import (
	"encoding/json"
	"fmt"
	"math/rand"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/open-policy-agent/opa/v1/ast"
	"github.com/stretchr/testify/require"
)

// TestFastWayEqualsPlainEvaluation asks random questions both ways: partially evaluated, all rules at once, as Judge does; and
// plainly, each rule by itself. Facts are good, on an edge, beside it, absurd, missing, or of a wrong type.
//
// In a plain run 30,000 inputs are compared, on one rule each, chosen at random; with KEEPCLEAR_LONG=1 50,000 on every rule.
func TestFastWayEqualsPlainEvaluation(t *testing.T) {
	const seed = 20261125
	inputs, rulesEach := 30_000, 1
	if underRace {
		inputs = 2_000 // ten times slower, and nothing here runs at once
	}
	if os.Getenv("KEEPCLEAR_LONG") != "" {
		inputs, rulesEach = 50_000, 30
	}
	s := loaded(t)
	r := rand.New(rand.NewSource(seed))
	facts, all := everyFact(t, s), allOf(s)
	seen := map[string]int{}
	for n := range inputs {
		chosen := r.Perm(len(s.lib.rules))[:rulesEach]
		in := randomInput(r, facts, s.lib.rules[chosen[0]].source.checked)
		passed, err := s.bound.passed(t.Context(), inputOf(s.lib, in).values, all)
		require.NoError(t, err, "input %d: %v", n, in)
		for _, i := range chosen {
			plain := s.bound.askOne(t.Context(), i, in, noon())
			require.NoErrorf(t, plain.err, "input %d, seed %d: %s by itself, on %v", n, seed, s.lib.rules[i].ID, in)
			seen[plain.code]++
			if plain.effect != "pass" {
				plain = answer{}
			}
			require.Equalf(t, plain, passed[i], "input %d, seed %d: %s by itself (wanted) and among all (got), on %v", n, seed, s.lib.rules[i].ID, in)
		}
	}
	for _, rule := range s.lib.rules {
		for code := range rule.codes {
			if underRace {
				break
			}
			require.NotZerof(t, seen[code], "no random input led to %s of %s: the inputs are too tame", code, rule.ID)
		}
	}
}

// candidate is a fact with values that pass and edges at which it stops passing.
type candidate struct {
	name  string
	kind  kind
	good  *ast.Term
	edges []float64
}

// everyFact lists the facts that rules read, with the limits that they are held against.
func everyFact(t *testing.T, s *Set) []candidate {
	t.Helper()
	in := s.lib.read(good()).document()
	var out []candidate
	for _, k := range s.lib.facts {
		c := candidate{name: k.name, good: in.(ast.Object).Get(k.key)}
		for _, r := range s.lib.rules {
			if c.kind == "" {
				c.kind = r.source.checked[k.name]
			}
			for _, name := range r.source.limits {
				if v, ok := s.bound.limits.Value(r.ID, name); ok && r.source.checked[k.name] != "" {
					c.edges = append(c.edges, v, 0)
				}
			}
		}
		if len(c.edges) == 0 {
			c.edges = []float64{0}
		}
		require.NotNilf(t, c.good, "good() has no %s", k.name)
		out = append(out, c)
	}
	return out
}

// randomInput makes facts of which most are good, so that passes and failures both happen; more often bad are those in focus.
func randomInput(r *rand.Rand, facts []candidate, focus map[string]kind) ast.Value {
	obj := ast.NewObject()
	for _, c := range facts {
		v := c.good
		if _, in := focus[c.name]; r.Intn(4) == 0 || in && r.Intn(2) == 0 {
			v = randomValue(r, c)
		}
		if v != nil {
			obj.Insert(ast.StringTerm(c.name), v)
		}
	}
	for _, c := range facts { // a twin is often the same
		if of := obj.Get(ast.StringTerm(strings.Replace(c.name, "_sharp", "", 1))); of != nil && r.Intn(3) == 0 {
			obj.Insert(ast.StringTerm(c.name), of)
		}
		if of := obj.Get(ast.StringTerm(strings.Replace(c.name, "axis2", "axis1", 1))); of != nil && r.Intn(3) == 0 { // so is the other axis
			obj.Insert(ast.StringTerm(c.name), of)
		}
	}
	return obj
}

// randomValue makes one value: nil stands for a missing fact.
func randomValue(r *rand.Rand, c candidate) *ast.Term {
	edge := c.edges[r.Intn(len(c.edges))]
	if c.kind == truthKind && r.Intn(4) > 0 {
		return ast.BooleanTerm(r.Intn(2) == 0)
	}
	switch r.Intn(14) {
	case 0:
		return nil
	case 1:
		return []*ast.Term{ast.StringTerm("0.5"), ast.StringTerm(""), ast.StringTerm("unknown"), ast.StringTerm("candidates")}[r.Intn(4)]
	case 2:
		return []*ast.Term{ast.NullTerm(), ast.ArrayTerm(), ast.ArrayTerm(ast.NumberTerm("1")), ast.ObjectTerm(), ast.SetTerm()}[r.Intn(5)]
	case 3, 4:
		return ast.BooleanTerm(r.Intn(2) == 0)
	case 5:
		return numberTerm(edge)
	case 6: // between two edges
		return numberTerm((edge + c.edges[r.Intn(len(c.edges))]) / 2)
	case 7:
		return numberTerm(edge * (1 + 1e-14))
	case 8:
		return numberTerm(edge * (1 - 1e-14))
	case 9:
		return numberTerm(edge + []float64{1e-9, -1e-9, 100, -100}[r.Intn(4)])
	case 10:
		return numberTerm(edge * (2*r.Float64() + 0.01))
	case 11:
		return numberTerm((r.Float64() - 0.5) * 2000)
	case 12:
		return numberTerm([]float64{1e300, -1e300, 1e15, 0, 1e-15}[r.Intn(5)])
	}
	if c.kind == wordKind {
		return ast.StringTerm([]string{"known", "candidates", "unknown"}[r.Intn(3)])
	}
	return numberTerm(float64(r.Intn(1000) - 500))
}

func numberTerm(v float64) *ast.Term {
	return ast.NumberTerm(json.Number(strconv.FormatFloat(v, 'g', -1, 64)))
}

// TestEveryFactOfWrongTypeHolds puts every fact of every rule as missing, text, null, list, map and truth, before both ways.
func TestEveryFactOfWrongTypeHolds(t *testing.T) {
	s := loaded(t)
	base := s.lib.read(good()).document().(ast.Object)
	wrong := map[string]*ast.Term{"gone": nil, "text": ast.StringTerm("12"), "null": ast.NullTerm(), "list": ast.ArrayTerm(ast.NumberTerm("12")), "map": ast.ObjectTerm(), "truth": ast.BooleanTerm(true), "number": ast.NumberTerm("12")}
	for i, r := range s.lib.rules {
		for _, fact := range r.source.order {
			for what, v := range wrong {
				if what == "truth" && r.source.checked[fact] == truthKind || what == "number" && r.source.checked[fact] == numberKind || what == "text" && r.source.checked[fact] == wordKind {
					continue
				}
				in := ast.NewObject()
				base.Foreach(func(k, old *ast.Term) {
					if !k.Equal(ast.StringTerm(fact)) {
						in.Insert(k, old)
					} else if v != nil {
						in.Insert(k, v)
					}
				})
				wanted := make([]bool, len(s.lib.rules))
				wanted[i] = true
				got := s.bound.ask(t.Context(), inputOf(s.lib, in), wanted, noon())[i]
				plain := s.bound.askOne(t.Context(), i, in, noon())
				require.Equalf(t, plain, got, "%s with %s %s: both ways", r.ID, fact, what)
				if what == "gone" && optional(r, fact) {
					continue // a stand-in: TestOptionalFacts
				}
				require.Equalf(t, answer{leaf: leaf{"hold", missingCode}}, got, "%s with %s %s", r.ID, fact, what)
			}
		}
	}
}

// optional tells whether a rule has a stand-in for a fact.
func optional(r *rule, fact string) bool {
	for _, m := range r.module.Rules {
		for _, e := range m.Body {
			if e.IsAssignment() && e.Operand(1).Value.(ast.Call)[2].String() == fmt.Sprintf("%q", fact) {
				return true
			}
		}
	}
	return false
}
