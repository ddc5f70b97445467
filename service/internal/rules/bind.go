package rules

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"sync"
	"sync/atomic"
	"time"

	"github.com/open-policy-agent/opa/v1/ast"
	"github.com/open-policy-agent/opa/v1/rego"
	"github.com/open-policy-agent/opa/v1/storage"
	"github.com/open-policy-agent/opa/v1/storage/inmem"

	"keepclear.example/keepclear/service/internal/limits"
)

// binding is the rules of a library with one set of limits folded in.
type binding struct {
	limits     limits.Set
	store      storage.Store
	full       []full // of each rule: its finding
	patience   patience
	conditions atomic.Pointer[[]condition] // under which rules pass; nil: not proven yet
	unsound    []atomic.Bool               // of each rule: the proof found a fault, so it passes nothing
	proof      sync.Once
	fault      error // of the proof
}

// full is the full query of a rule, prepared when it is first asked: a site with many rigs, each with limits of its own, would wait for all of
// them before its first answer.
type full func() (rego.PreparedEvalQuery, error)

// mostBound is how many sets of limits a library remembers. Ours: more rigs than one service serves; beyond it the cache
// starts anew, which costs time and nothing else.
const mostBound = 64

// bind returns the binding to a set of limits, working it out if no equal set came before.
func (l *library) bind(lim limits.Set) (*binding, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if b, ok := l.bound[lim.Digest()]; ok {
		return b, nil
	}
	if err := l.limitsThere(lim); err != nil {
		return nil, err
	}
	b, err := l.newBinding(lim)
	if err != nil {
		return nil, err
	}
	if len(l.bound) >= mostBound {
		clear(l.bound)
	}
	l.bound[lim.Digest()] = b
	return b, nil
}

// limitsThere wants a finite number for every limit that a rule compares with.
func (l *library) limitsThere(lim limits.Set) error {
	var faults Faults
	for _, r := range l.rules {
		for _, name := range r.source.limits {
			if v, ok := lim.Value(r.ID, name); !ok || math.IsNaN(v) || math.IsInf(v, 0) {
				faults = append(faults, Fault{File: r.file, Wanted: "the limit " + r.ID + " " + name + " as a finite number", Got: "none", Remedy: "define it in limits/" + idParts(r.ID)[0] + ".yaml"})
			}
		}
	}
	return faults.err("binding rules to limits")
}

// newBinding makes a binding of which nothing is proven yet.
func (l *library) newBinding(lim limits.Set) (*binding, error) {
	store, err := storeOf(lim)
	if err != nil {
		return nil, err
	}
	b := &binding{limits: lim, store: store, patience: usualPatience(), unsound: make([]atomic.Bool, len(l.rules))}
	for _, r := range l.rules {
		b.full = append(b.full, sync.OnceValues(func() (rego.PreparedEvalQuery, error) {
			q, err := rego.New(rego.Query(r.query()), rego.Compiler(l.compiler), rego.Store(store), rego.StrictBuiltinErrors(true), raw()).PrepareForEval(context.Background())
			if err != nil {
				err = fmt.Errorf("preparing %s: %w", r.ID, err)
			}
			return q, err
		}))
	}
	return b, nil
}

// prove works out the conditions under which each rule passes, once, and lets questions use them. Where it finds a fault they go on without, and
// the rule passes nothing any more.
func (l *library) prove(ctx context.Context, b *binding) error {
	b.proof.Do(func() {
		var faults Faults
		all := make([]condition, 0, 2*len(l.rules))
		for i, r := range l.rules {
			conditions, err := l.guarded(ctx, b, i)
			if err != nil && !l.lint {
				continue
			}
			if err != nil {
				b.unsound[i].Store(true)
				faults = append(faults, Fault{File: r.file, Wanted: "a rule that partial evaluation reduces to comparisons", Got: err.Error(), Remedy: asDelivered})
			}
			all = append(all, conditions...)
		}
		if b.fault = faults.err("binding rules to limits"); b.fault == nil {
			b.conditions.Store(&all)
		}
	})
	return b.fault
}

// guarded is proven, of which a panic is a fault like another: a service that answers already must not end by it.
func (l *library) guarded(ctx context.Context, b *binding, index int) (conditions []condition, err error) {
	defer func() {
		if p := recover(); p != nil {
			conditions, err = nil, fmt.Errorf("proving: %v", p)
		}
	}()
	return l.proven(ctx, b.store, b, index)
}

// query asks for a rule's finding.
func (r *rule) query() string { return r.module.Package.Path.String() + ".finding" }

// storeOf puts the limits where Rego reads them.
func storeOf(lim limits.Set) (storage.Store, error) {
	dec := json.NewDecoder(bytes.NewReader(lim.JSON()))
	dec.UseNumber()
	var tree map[string]any
	if err := dec.Decode(&tree); err != nil {
		return nil, fmt.Errorf("reading limits: %w", err)
	}
	return inmem.NewFromObject(map[string]any{"limits": tree}), nil
}

// proven returns the conditions under which a rule passes, after holding them against its full query.
func (l *library) proven(ctx context.Context, store storage.Store, b *binding, index int) ([]condition, error) {
	lines, err := l.passing(ctx, store, index)
	if err != nil {
		return nil, err
	}
	patient := &binding{full: b.full, patience: patience{query: time.Minute}} // nobody's question waits for a probe
	p, e := probing{library: l, bound: patient, rule: index}, edgesOf(lines)  // before merge drops comparisons
	for _, one := range merge(lines) {
		c, err := one.condition(l.place)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", one.code, err)
		}
		p.conditions = append(p.conditions, c)
	}
	return p.conditions, p.probe(ctx, e)
}

// passing works out under which conditions a rule passes: one line for each cell of its table that passes.
func (l *library) passing(ctx context.Context, store storage.Store, index int) ([]line, error) {
	r := l.rules[index]
	cells := map[string]int{}
	for _, c := range r.source.cells {
		if c.effect == "pass" {
			cells[c.code]++
		}
	}
	var lines []line
	for _, code := range sortedKeys(cells) {
		query := fmt.Sprintf(`%s = {"effect": "pass", "code": %q}`, r.query(), code)
		p, err := rego.New(rego.Query(query), rego.Compiler(l.compiler), rego.Store(store), rego.StrictBuiltinErrors(true), rego.Unknowns([]string{"input"})).Partial(ctx)
		if err != nil {
			return nil, err
		}
		if len(p.Support) > 0 || len(p.Queries) != cells[code] {
			return nil, fmt.Errorf("%s leaves %d conditions and %d further rules where its table has %d cells", code, len(p.Queries), len(p.Support), cells[code])
		}
		for _, body := range p.Queries {
			one, err := readResidual(index, code, body)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", code, err)
			}
			lines = append(lines, one)
		}
	}
	if len(lines) == 0 {
		return nil, fmt.Errorf("it can never pass")
	}
	return lines, nil
}

// raw lets a query return OPA's own value instead of turning it into JSON.
func raw() func(*rego.Rego) {
	return rego.GenerateJSON(func(t *ast.Term, _ *rego.EvalContext) (any, error) { return t.Value, nil })
}
