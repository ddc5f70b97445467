package rules

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/open-policy-agent/opa/v1/ast"
	"github.com/open-policy-agent/opa/v1/rego"
	"github.com/open-policy-agent/opa/v1/topdown"
)

// patience is how long rules may take.
type patience struct {
	query    time.Duration // one query
	question time.Duration // all queries of a question
}

// usualPatience: ours. A question takes about 0.1 ms; this leaves a small machine under load a factor of thousands, seconds without the
// processor included (a hold that nothing but a busy machine made is needless), and still answers within the 8 s for which the Go library
// repeats a question; one try of it, 2 s, may end before.
func usualPatience() patience {
	return patience{query: time.Second, question: 3 * time.Second}
}

// answer is what one rule said, before it is turned into a finding.
type answer struct {
	leaf
	err error // it did not answer, or not in the shape of an answer
}

// Reasons why a rule has no answer.
var (
	errLate          = errors.New("it did not answer in time")
	errShape         = errors.New("its answer has not the shape of one")
	errContradiction = errors.New("it passes and does not pass")
	errUnproven      = errors.New("the conditions under which rules pass are not proven yet")
)

// ask puts the question to the rules that want to be asked: first which of them pass, then each of the others by itself, in full. The
// result has an answer for every index at which wanted is true.
func (b *binding) ask(ctx context.Context, in input, wanted []bool, at time.Time) []answer {
	answers, err := b.passed(ctx, in.values, wanted)
	left := make([]int, 0, len(wanted))
	for i, want := range wanted {
		if want && (err != nil || answers[i] == answer{}) {
			left = append(left, i)
		}
	}
	if err != nil {
		answers = make([]answer, len(wanted))
	}
	if len(left) > 0 {
		b.askEach(ctx, left, in.document(), at, answers)
	}
	for _, i := range left {
		if answers[i].effect == "pass" && (err == nil || b.unsound[i].Load()) {
			answers[i] = answer{err: errContradiction}
		}
	}
	return answers
}

// askEach asks rules one by one and fills their answers in; those that are left when the question's time is over are late.
func (b *binding) askEach(ctx context.Context, which []int, in ast.Value, at time.Time, answers []answer) {
	late := topdown.NewCancel()
	defer time.AfterFunc(b.patience.question, late.Cancel).Stop()
	for _, i := range which {
		if late.Cancelled() {
			answers[i] = answer{err: errLate}
			continue
		}
		answers[i] = b.askOne(ctx, i, in, at)
	}
}

// askOne asks one rule by itself.
func (b *binding) askOne(ctx context.Context, i int, in ast.Value, at time.Time) answer {
	q, err := b.full[i]()
	if err != nil {
		return answer{err: err}
	}
	v, err := b.evaluate(ctx, q, in, at)
	if err != nil {
		return answer{err: err}
	}
	obj, ok := v.(ast.Object)
	if !ok || obj.Len() != 2 {
		return answer{err: errShape}
	}
	l := leaf{stringOf(obj.Get(ast.InternedTerm("effect"))), stringOf(obj.Get(ast.InternedTerm("code")))}
	if l.effect == "" || l.code == "" {
		return answer{err: errShape}
	}
	return answer{leaf: l}
}

// evaluate runs one query under a cancel of its own: OPA ignores the context once a cancel is given, and a cancel that has
// fired stays fired.
func (b *binding) evaluate(ctx context.Context, q rego.PreparedEvalQuery, in ast.Value, at time.Time) (v any, err error) {
	defer func() { // OPA panics on numbers that it cannot compare; none gets here, but if one did it is a hold
		if p := recover(); p != nil {
			v, err = nil, fmt.Errorf("evaluating: %v", p)
		}
	}()
	if ctx.Err() != nil {
		return nil, errLate
	}
	stop := topdown.NewCancel()
	defer time.AfterFunc(b.patience.query, stop.Cancel).Stop()
	defer context.AfterFunc(ctx, stop.Cancel)()
	rs, err := q.Eval(ctx, rego.EvalParsedInput(in), rego.EvalTime(at), rego.EvalExternalCancel(stop))
	switch {
	case stop.Cancelled():
		return nil, errLate
	case err != nil:
		return nil, fmt.Errorf("evaluating: %w", err)
	case len(rs) != 1 || len(rs[0].Expressions) != 1:
		return nil, errShape
	}
	return rs[0].Expressions[0].Value, nil
}

// sortedKeys returns the keys of a map in order.
func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }
