package rules

import (
	"fmt"
	"slices"
	"testing"

	"github.com/open-policy-agent/opa/v1/ast"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/limits"
)

// TestProbesFindEveryDamage is the canary of the probes: it damages each part of every condition, one at a time, and wants the probes to
// find each.
func TestProbesFindEveryDamage(t *testing.T) {
	s := loaded(t)
	store, err := storeOf(s.Limits())
	require.NoError(t, err)
	count := 0
	for i, r := range s.lib.rules {
		lines, err := s.lib.passing(t.Context(), store, i)
		require.NoError(t, err)
		e := edgesOf(lines)
		own := slices.DeleteFunc(slices.Clone(*s.bound.conditions.Load()), func(c condition) bool { return c.rule != i })
		p := probing{library: s.lib, bound: s.bound, rule: i, conditions: own}
		require.NoErrorf(t, p.probe(t.Context(), e), "%s as it is", r.ID)
		for k := range own {
			for what, worse := range damaged(own[k]) {
				p.conditions = slices.Clone(own)
				p.conditions[k] = worse
				assert.Errorf(t, p.probe(t.Context(), e), "%s, condition %d with %s", r.ID, k, what)
				count++
			}
		}
		p.conditions = own[1:]
		require.Errorf(t, p.probe(t.Context(), e), "%s without its first condition", r.ID)
	}
	t.Logf("%d damages", count)
	assert.Greater(t, count, 400)
}

// damaged returns a condition with one thing wrong, each in another way.
func damaged(c condition) map[string]condition {
	out := map[string]condition{}
	alter := func(what string, change func(*condition)) {
		d := condition{rule: c.rule, code: c.code, reads: slices.Clone(c.reads), tests: slices.Clone(c.tests)}
		change(&d)
		out[what] = d
	}
	alter("another code", func(d *condition) { d.code += "?" })
	for i, r := range c.reads {
		tested := slices.ContainsFunc(c.tests, func(t comparison) bool { return t.read == i })
		if !tested && i == len(c.reads)-1 {
			alter(fmt.Sprint("no check of fact ", i), func(d *condition) { d.reads = d.reads[:i] })
		}
		if !tested && r.standIn != nil {
			alter(fmt.Sprint("no stand-in of fact ", i), func(d *condition) { d.reads[i].standIn = nil })
		}
		if r.standIn == nil {
			alter(fmt.Sprint("a stand-in for fact ", i), func(d *condition) { d.reads[i].standIn = standInFor(c, i) })
		}
		for _, k := range []kind{numberKind, wordKind, truthKind} {
			if k != r.kind {
				alter(fmt.Sprint("fact ", i, " checked as ", k), func(d *condition) { d.reads[i].kind = k })
			}
		}
	}
	for i, test := range c.tests {
		if implied(c, i) {
			continue
		}
		alter(fmt.Sprint("no comparison ", i), func(d *condition) { d.tests = slices.Delete(d.tests, i, i+1) })
		alter(fmt.Sprint("the opposite of comparison ", i), func(d *condition) { d.tests[i].want = !test.want })
		for _, op := range []string{"gte", "lte"} {
			alter(fmt.Sprint("comparison ", i, " with the next literal by ", op), func(d *condition) { d.tests[i].literal = bothSides(op, test.literal)[1] })
		}
		for _, op := range []string{"gte", "lte", "equal"} {
			if op != test.operator && test.operator != "equal" {
				alter(fmt.Sprint("comparison ", i, " by ", op), func(d *condition) { d.tests[i].operator = op })
			}
		}
	}
	return out
}

// standInFor is a value of a fact with which all its comparisons come out as they should.
func standInFor(c condition, read int) ast.Value {
	for _, v := range around(c, read) {
		if !slices.ContainsFunc(c.tests, func(t comparison) bool { return t.read == read && t.outcome(v) != t.want }) {
			return v
		}
	}
	return map[kind]ast.Value{numberKind: ast.Number("0"), wordKind: ast.String(""), truthKind: ast.Boolean(true)}[c.reads[read].kind]
}

// around is values of a fact on both sides of each of its comparisons.
func around(c condition, read int) []ast.Value {
	var out []ast.Value
	for _, t := range c.tests {
		if t.read == read {
			out = append(out, bothSides(t.operator, t.literal)...)
		}
	}
	return out
}

// implied tells whether a comparison comes out as it should wherever the others of its fact do (at most 2 s, so at most 10 s): without
// it the condition is the same.
func implied(c condition, i int) bool {
	for _, v := range around(c, c.tests[i].read) {
		others := true
		for k, t := range c.tests {
			others = others && (k == i || t.read != c.tests[i].read || t.outcome(v) == t.want)
		}
		if others && c.tests[i].outcome(v) != c.tests[i].want {
			return false
		}
	}
	return true
}

// TestProbesCompareWithTheLimitsInForce gives partial evaluation other limits than plain evaluation.
func TestProbesCompareWithTheLimitsInForce(t *testing.T) {
	s := loaded(t)
	store, err := storeOf(testLimits(t, limits.Entry{Rule: "sky/floor", Name: "altitude_deg", Value: 25}))
	require.NoError(t, err)
	i := slices.Index(s.IDs(), "sky/floor")
	_, err = s.lib.proven(t.Context(), store, s.bound, i)
	require.ErrorContains(t, err, "altitude_min_deg", "conditions by one set of limits, plain evaluation by another")
	require.ErrorContains(t, err, `pass it as "" where plain evaluation passes it as "above_floor"`)
}

// TestProbesTakeAnyLimits binds limits of every kind of number that a rig file may state: a probe that saw a difference where there is
// none would keep the service from starting.
func TestProbesTakeAnyLimits(t *testing.T) {
	s := loaded(t)
	defs, err := limits.Read(dirFS())
	require.NoError(t, err)
	for _, v := range []float64{0, 1e-9, 0.1 + 0.2, 1.0 / 3, 95, 99.99999999999999, 1234.567890123456, 3598.9999999999995, 1e-300, 5e-324} {
		rig := limits.Layer{Name: "rig invented", File: "invented.yaml", Entries: []limits.Entry{
			{Rule: "travel/axis1", Name: "low_deg", Value: -v}, {Rule: "travel/axis1", Name: "high_deg", Value: v + 1},
			{Rule: "travel/axis2", Name: "low_deg", Value: -v - 1}, {Rule: "travel/axis2", Name: "high_deg", Value: v},
		}}
		lim, err := limits.Merge(defs, rig)
		require.NoErrorf(t, err, "%v", v)
		_, err = s.With(lim)
		assert.NoErrorf(t, err, "%v", v)
	}
}
