package rules

import (
	"context"
	"fmt"

	"github.com/open-policy-agent/opa/v1/ast"
)

// Conditions. What partial evaluation leaves of a rule's pass, once the residual lint has read it, is type checks of facts and
// comparisons of the checked ones with literals, and nothing else. That needs no evaluator: Go walks it, checking types and comparing
// values as OPA's built-ins of those names do (a type switch; the order of ast.Value, which is OPA's own). Asked of OPA in one query it
// is some 130 expressions and fifty times as slow, and slower again on the new goroutine of a request, whose stack has to grow for it.
//
// A fact that is missing fails its check, unless it has a stand-in.

// condition is a line as it is asked.
type condition struct {
	rule  int // index into the library's rules
	code  string
	reads []read
	tests []comparison
}

// read is one fact with its type check.
type read struct {
	place   int       // among the library's facts
	standIn ast.Value // where the fact is missing; nil: none
	kind    kind
}

// comparison is one comparison of a fact that was read with a literal.
type comparison struct {
	read     int // index into the condition's reads
	operator string
	literal  ast.Value
	want     bool
}

// hold tells whether a rule passes with the condition's code, by facts in the order of the library's.
func (c *condition) hold(values []ast.Value) bool {
	for i := range c.reads {
		if !c.reads[i].kind.of(c.reads[i].value(values)) {
			return false
		}
	}
	for i := range c.tests {
		t := &c.tests[i]
		if t.outcome(c.reads[t.read].value(values)) != t.want {
			return false
		}
	}
	return true
}

// value is the fact, or its stand-in; nil where there is neither.
func (r *read) value(values []ast.Value) ast.Value {
	if v := values[r.place]; v != nil {
		return v
	}
	return r.standIn
}

// of tells whether a value is of the type: is_number, is_string, is_boolean.
func (k kind) of(v ast.Value) bool {
	switch v.(type) {
	case ast.Number:
		return k == numberKind
	case ast.String:
		return k == wordKind
	case ast.Boolean:
		return k == truthKind
	}
	return false
}

// outcome compares as gte, lte and equal do.
func (t *comparison) outcome(v ast.Value) bool {
	order := v.Compare(t.literal)
	switch t.operator {
	case "gte":
		return order >= 0
	case "lte":
		return order <= 0
	}
	return order == 0
}

// passed returns a pass for every wanted rule that passes, and nothing for the others. With an error nothing is known of any.
func (b *binding) passed(ctx context.Context, values []ast.Value, wanted []bool) (out []answer, err error) {
	defer func() { // OPA's order panics on a number that is none; none gets here, but if one did each rule is asked by itself
		if p := recover(); p != nil {
			out, err = nil, fmt.Errorf("comparing: %v", p)
		}
	}()
	if ctx.Err() != nil {
		return nil, errLate
	}
	proven := b.conditions.Load()
	if proven == nil {
		return nil, errUnproven
	}
	out = make([]answer, len(b.full))
	for i := range *proven {
		c := &(*proven)[i]
		if !wanted[c.rule] || !c.hold(values) {
			continue
		}
		if was := out[c.rule].code; was != "" && was != c.code {
			out[c.rule].err = errContradiction
		}
		out[c.rule].leaf = leaf{"pass", c.code}
	}
	return out, nil
}
