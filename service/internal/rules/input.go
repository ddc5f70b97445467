package rules

import (
	"encoding/json"
	"math"
	"strconv"

	"github.com/open-policy-agent/opa/v1/ast"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/verdict"
)

// input is the facts of one question as the rules see them, with what a finding shows of each.
type input struct {
	value    ast.Value
	readings map[string]verdict.Reading
}

// read turns facts into what OPA judges. A fact that is missing, not finite, too large for any telescope, or says two things
// at once is left out, with the reason in its reading: to a rule it is missing.
func (l *library) read(set facts.Set) input {
	in := input{readings: make(map[string]verdict.Reading, len(l.facts))}
	pairs := make([][2]*ast.Term, 0, len(l.facts))
	for _, known := range l.facts {
		f, ok := set[known.name]
		r, v := reading(known.name, f, known.danger)
		if !ok {
			r.Missing = "nobody worked it out"
		}
		in.readings[known.name] = r
		if v != nil && ok {
			pairs = append(pairs, [2]*ast.Term{known.key, v})
		}
	}
	in.value = ast.NewObject(pairs...)
	return in
}

// reading says what a fact is worth, and gives its value as a term: nil where there is none.
func reading(name string, f facts.Fact, side danger) (verdict.Reading, *ast.Term) {
	r := verdict.Reading{Name: name, Missing: f.Missing, Origin: f.Origin}
	switch {
	case f.Missing != "":
		return r, nil
	case f.Number != nil && f.Word == nil && f.Truth == nil:
		if math.IsNaN(*f.Number) || math.Abs(*f.Number) > largest {
			r.Missing = "came out as no finite number"
			return r, nil
		}
		v := round(*f.Number, side)
		r.Number = &v
		return r, ast.NumberTerm(json.Number(strconv.FormatFloat(v, 'g', -1, 64)))
	case f.Word != nil && f.Number == nil && f.Truth == nil:
		r.Word = f.Word
		return r, ast.StringTerm(*f.Word)
	case f.Truth != nil && f.Number == nil && f.Word == nil:
		r.Truth = f.Truth
		return r, ast.InternedTerm(*f.Truth)
	}
	r.Missing = "says nothing, or two things at once"
	return r, nil
}

// kindOf returns the type of a reading, empty for a missing one.
func kindOf(r verdict.Reading) kind {
	switch {
	case r.Number != nil:
		return numberKind
	case r.Word != nil:
		return wordKind
	case r.Truth != nil:
		return truthKind
	}
	return ""
}
