package rules

import (
	"math"

	"github.com/open-policy-agent/opa/v1/ast"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/verdict"
)

// input is the facts of one question as the rules see them, with what a finding shows of each. Both slices are in the order of the
// library's facts; findings point into readings.
type input struct {
	lib      *library
	values   []ast.Value // nil: missing
	readings []verdict.Reading
}

// read turns facts into what is judged. A fact that is missing, not finite, too large for any telescope, or says two things
// at once is left out, with the reason in its reading: to a rule it is missing.
func (l *library) read(set facts.Set) input {
	in := input{lib: l, values: make([]ast.Value, len(l.facts)), readings: make([]verdict.Reading, len(l.facts))}
	numbers := make([]float64, len(l.facts))
	for i, known := range l.facts {
		f, ok := set[known.name]
		r := &in.readings[i]
		*r = verdict.Reading{Name: known.name, Missing: f.Missing, Origin: f.Origin}
		if !ok {
			r.Missing = "nobody worked it out"
			continue
		}
		in.values[i] = reading(r, f, known.danger, &numbers[i])
	}
	return in
}

// reading says what a fact is worth, and gives its value: nil where there is none. The number, if it is one, is kept in number.
func reading(r *verdict.Reading, f facts.Fact, side danger, number *float64) ast.Value {
	switch {
	case f.Missing != "":
		return nil
	case f.Number != nil && f.Word == nil && f.Truth == nil:
		if math.IsNaN(*f.Number) || math.Abs(*f.Number) > largest {
			r.Missing = "came out as no finite number"
			return nil
		}
		v, text := round(*f.Number, side)
		*number, r.Number = v, number
		return ast.Number(text)
	case f.Word != nil && f.Number == nil && f.Truth == nil:
		r.Word = f.Word
		return ast.String(*f.Word)
	case f.Truth != nil && f.Number == nil && f.Word == nil:
		r.Truth = f.Truth
		return ast.InternedTerm(*f.Truth).Value
	}
	r.Missing = "says nothing, or two things at once"
	return nil
}

// reading returns what is known of a fact; of one that no rule reads, nothing.
func (in input) reading(name string) *verdict.Reading {
	if i, ok := in.lib.place[name]; ok {
		return &in.readings[i]
	}
	return &verdict.Reading{Name: name}
}

// document is the facts as OPA reads them: one object, the missing left out.
func (in input) document() ast.Value {
	terms := make([]ast.Term, len(in.values))
	pairs := make([][2]*ast.Term, 0, len(in.values))
	for i, v := range in.values {
		if v != nil {
			terms[i].Value = v
			pairs = append(pairs, [2]*ast.Term{in.lib.facts[i].key, &terms[i]})
		}
	}
	return ast.NewObject(pairs...)
}

// kindOf returns the type of a reading, empty for a missing one.
func kindOf(r *verdict.Reading) kind {
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
