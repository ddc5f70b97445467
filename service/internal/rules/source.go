package rules

import (
	"fmt"
	"slices"

	"github.com/open-policy-agent/opa/v1/ast"
)

// The source lint. Partial evaluation is sound only for rules of one narrow shape: two bodies that disagree, an else, a
// "not" or an iteration would each read as a pass where plain evaluation errs or holds. So a rule file holds exactly
//
//	default finding := {"effect": "hold", "code": "fact_missing"}
//	finding := outcome[comparison or truth]…[…] if { type checks; optional facts with a stand-in }
//	outcome := nested object, true and false → … → name of a leaf
//	leaf := {"effect": …, "code": …}
//
// and nothing else. Everything that Go needs to know of the comparisons is read from here, so that no name is typed twice.

// Effects and codes that every rule has by its shape.
const missingCode = "fact_missing"

// kind is the type of a fact, by the built-in that checks it.
type kind string

const (
	numberKind kind = "number"
	wordKind   kind = "string"
	truthKind  kind = "boolean"
)

// danger is the side on which a fact becomes dangerous.
type danger int

const (
	upward   danger = 1  // compared as fact <= limit: round up
	downward danger = -1 // compared as fact >= limit: round down
)

// leaf is one effect with its code.
type leaf struct{ effect, code string }

// source is what the lint learnt of a rule.
type source struct {
	checked map[string]kind   // facts with a type check
	order   []string          // facts in the order in which the lookup reads them
	danger  map[string]danger // of compared numbers
	limits  []string          // names below the rule's own limits
	cells   []leaf            // leaves of the table, each as often as it stands there
}

// linter is the work of one lint.
type linter struct {
	file     string
	id       string
	source   source
	vars     map[string]string // name of a local → fact
	leaves   map[string]leaf
	checkedL []string // limits with a type check
	faults   Faults
}

// readSource lints a module and says what it reads and may answer.
func readSource(file, id string, m *ast.Module) (source, Faults) {
	r := &linter{file: file, id: id, vars: map[string]string{}, leaves: map[string]leaf{}}
	r.source.checked, r.source.danger = map[string]kind{}, map[string]danger{}
	r.imports(m)
	def, body, table := r.rules(m)
	if def == nil || body == nil || table == nil {
		r.bad(nil, "one default finding, one finding with a body, and one outcome", "a part of them missing")
		return r.source, r.faults
	}
	r.body(body)
	depth := r.lookup(body)
	r.table(table.Head.Value, depth)
	r.everythingChecked(body)
	return r.source, r.faults
}

func (r *linter) bad(loc *ast.Location, wanted, got string) {
	f := Fault{File: r.file, Wanted: wanted, Got: got, Remedy: asDelivered}
	if loc != nil {
		f.Line = loc.Row
	}
	r.faults = append(r.faults, f)
}

// imports allows none but the rule's own limits, as "limits".
func (r *linter) imports(m *ast.Module) {
	own := ast.Ref{ast.DefaultRootDocument, ast.StringTerm("limits")}
	for _, part := range idParts(r.id) {
		own = own.Append(ast.StringTerm(part))
	}
	for _, imp := range m.Imports {
		if ref, ok := imp.Path.Value.(ast.Ref); !ok || !ref.Equal(own) || imp.Alias != "limits" {
			r.bad(imp.Location, "no import but the rule's own limits", imp.String())
		}
	}
}

// rules sorts the module's rules into the three that matter and the leaves.
func (r *linter) rules(m *ast.Module) (def, body, table *ast.Rule) {
	for _, rule := range m.Rules {
		name := rule.Head.Ref().String()
		switch {
		case rule.Else != nil, len(rule.Head.Args) > 0, rule.Head.Key != nil, rule.Head.Value == nil:
			r.bad(rule.Location, "no else, no function, no set", rule.Head.String())
		case name == "finding" && rule.Default && def == nil:
			def = rule
		case name == "finding" && !rule.Default && body == nil:
			body = rule
		case name == "outcome" && table == nil && constant(rule):
			table = rule
		case name != "finding" && name != "outcome" && constant(rule):
			r.leaf(name, rule)
		default:
			r.bad(rule.Location, "each rule once, and only leaves beside finding and outcome", rule.Head.String())
		}
	}
	if def != nil && !def.Head.Value.Equal(missing()) {
		r.bad(def.Location, "the default finding to hold as "+missingCode, def.Head.Value.String())
	}
	return def, body, table
}

// missing is {"effect": "hold", "code": "fact_missing"}.
func missing() *ast.Term {
	word := ast.StringTerm
	return ast.ObjectTerm(ast.Item(word("effect"), word("hold")), ast.Item(word("code"), word(missingCode)))
}

// constant tells whether a rule has no body of its own.
func constant(rule *ast.Rule) bool {
	return !rule.Default && rule.Body.Equal(ast.NewBody(ast.NewExpr(ast.BooleanTerm(true))))
}

// leaf reads {"effect": …, "code": …}; the name of the leaf is its code.
func (r *linter) leaf(name string, rule *ast.Rule) {
	obj, ok := rule.Head.Value.Value.(ast.Object)
	if !ok || obj.Len() != 2 || r.leaves[name] != (leaf{}) {
		r.bad(rule.Location, `one leaf {"effect": …, "code": …}`, rule.Head.String())
		return
	}
	effect, code := stringOf(obj.Get(ast.StringTerm("effect"))), stringOf(obj.Get(ast.StringTerm("code")))
	if code != name || !slices.Contains([]string{"pass", "hold", "deny"}, effect) {
		r.bad(rule.Location, "effect pass, hold or deny, and a code that is the leaf's name", rule.Head.String())
		return
	}
	r.leaves[name] = leaf{effect, code}
}

// body reads the type checks and the optional facts.
func (r *linter) body(rule *ast.Rule) {
	for _, e := range rule.Body {
		if e.Negated || len(e.With) > 0 || !e.IsCall() && !e.IsAssignment() {
			r.bad(e.Location, "type checks and optional facts only", e.String())
			continue
		}
		if e.IsAssignment() {
			r.optional(e)
			continue
		}
		r.check(e)
	}
}

// optional reads name := object.get(input, "fact", number or limit).
func (r *linter) optional(e *ast.Expr) {
	local, isVar := e.Operand(0).Value.(ast.Var)
	call, isCall := e.Operand(1).Value.(ast.Call)
	if !isVar || !isCall || len(call) != 4 || call[0].String() != "object.get" || !call[1].Equal(ast.InputRootDocument) && call[1].String() != "input" {
		r.bad(e.Location, `name := object.get(input, "fact", stand-in)`, e.String())
		return
	}
	fact := stringOf(call[2])
	_, literal := call[3].Value.(ast.Number)
	if fact == "" || !literal && r.limitName(call[3]) == "" || r.vars[string(local)] != "" {
		r.bad(e.Location, "a fact's name and a number or a limit as stand-in, each local once", e.String())
		return
	}
	r.vars[string(local)] = fact
}

// check reads is_number(x), is_string(x), is_boolean(x).
func (r *linter) check(e *ast.Expr) {
	var k kind
	switch e.Operator().String() {
	case "is_number":
		k = numberKind
	case "is_string":
		k = wordKind
	case "is_boolean":
		k = truthKind
	}
	if k == "" || len(e.Operands()) != 1 {
		r.bad(e.Location, "is_number, is_string or is_boolean", e.String())
		return
	}
	if limit := r.limitName(e.Operand(0)); limit != "" && k == numberKind {
		r.checkedL = append(r.checkedL, limit)
		return
	}
	fact := r.factName(e.Operand(0))
	if fact == "" || r.source.checked[fact] != "" {
		r.bad(e.Location, "a fact or a limit, each checked once", e.String())
		return
	}
	r.source.checked[fact] = k
}

// lookup reads the head: outcome, then one truth after the other. It returns how many.
func (r *linter) lookup(rule *ast.Rule) int {
	ref, ok := rule.Head.Value.Value.(ast.Ref)
	if !ok || len(ref) < 2 || ref[0].String() != "outcome" {
		r.bad(rule.Location, "finding := outcome[…]", rule.Head.String())
		return 0
	}
	for _, key := range ref[1:] {
		switch v := key.Value.(type) {
		case ast.Call:
			r.comparison(key, v)
		case ast.Ref:
			r.truth(key)
		default:
			r.bad(rule.Location, "a comparison or a fact that is true or false", key.String())
		}
	}
	return len(ref) - 1
}

// comparison reads fact >= limit, fact <= limit, fact == "word".
func (r *linter) comparison(key *ast.Term, call ast.Call) {
	if len(call) != 3 {
		r.bad(key.Location, "a fact, a comparison and a limit", key.String())
		return
	}
	fact := r.factName(call[1])
	_, word := call[2].Value.(ast.String)
	_, number := call[2].Value.(ast.Number)
	limit := r.limitName(call[2])
	side, ordered := map[string]danger{"gte": downward, "lte": upward}[call[0].String()]
	switch {
	case fact == "", ordered && !number && limit == "", !ordered && (call[0].String() != "equal" || !word):
		r.bad(key.Location, "fact >= limit, fact <= limit or fact == \"word\"", key.String())
		return
	case ordered && r.source.danger[fact] == -side:
		r.bad(key.Location, "one dangerous side for each fact", key.String())
	case ordered:
		r.source.danger[fact] = side
	}
	if limit != "" && !slices.Contains(r.source.limits, limit) {
		r.source.limits = append(r.source.limits, limit)
	}
	wanted := numberKind
	if !ordered {
		wanted = wordKind
	}
	r.use(key, fact, wanted)
}

// truth reads a fact that is itself true or false.
func (r *linter) truth(key *ast.Term) {
	fact := r.factName(key)
	if fact == "" {
		r.bad(key.Location, "a fact that is true or false", key.String())
		return
	}
	r.use(key, fact, truthKind)
}

// use notes a fact that the lookup reads, and wants its type check.
func (r *linter) use(key *ast.Term, fact string, k kind) {
	if r.source.checked[fact] != k {
		r.bad(key.Location, "is_"+string(k)+" on "+fact, "no such check")
	}
	if !slices.Contains(r.source.order, fact) {
		r.source.order = append(r.source.order, fact)
	}
}

// everythingChecked wants a check on every limit that is compared, and a comparison of everything that is checked.
func (r *linter) everythingChecked(rule *ast.Rule) {
	for _, l := range r.source.limits {
		if !slices.Contains(r.checkedL, l) {
			r.bad(rule.Location, "is_number on limits."+l, "no such check")
		}
	}
	for _, fact := range sortedKeys(r.source.checked) {
		if !slices.Contains(r.source.order, fact) {
			r.bad(rule.Location, "only facts that are compared", "a check on "+fact)
		}
	}
}

// table reads the nested outcome down to the leaves. Cells may be left out: there the default holds.
func (r *linter) table(t *ast.Term, depth int) {
	if depth == 0 {
		name, ok := t.Value.(ast.Var)
		if l := r.leaves[string(name)]; ok && l != (leaf{}) {
			r.source.cells = append(r.source.cells, l)
			return
		}
		r.bad(t.Location, "the name of a leaf", t.String())
		return
	}
	obj, ok := t.Value.(ast.Object)
	if !ok {
		r.bad(t.Location, fmt.Sprintf("%d more levels of true and false", depth), t.String())
		return
	}
	obj.Foreach(func(k, v *ast.Term) {
		if _, isTruth := k.Value.(ast.Boolean); !isTruth {
			r.bad(k.Location, "true or false", k.String())
			return
		}
		r.table(v, depth-1)
	})
}

// factName reads input.name or a local that stands for a fact; empty for anything else.
func (r *linter) factName(t *ast.Term) string {
	switch v := t.Value.(type) {
	case ast.Var:
		return r.vars[string(v)]
	case ast.Ref:
		if len(v) == 2 && v[0].Equal(ast.InputRootDocument) {
			return stringOf(v[1])
		}
	}
	return ""
}

// limitName reads limits.name.
func (r *linter) limitName(t *ast.Term) string {
	ref, ok := t.Value.(ast.Ref)
	if !ok || len(ref) != 2 || ref[0].String() != "limits" {
		return ""
	}
	return stringOf(ref[1])
}

// stringOf returns the text of a string term; empty for anything else.
func stringOf(t *ast.Term) string {
	if t == nil {
		return ""
	}
	s, _ := t.Value.(ast.String)
	return string(s)
}
