package rules

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"testing/fstest"

	"github.com/open-policy-agent/opa/v1/ast"
	"github.com/open-policy-agent/opa/v1/rego"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/verdict"
)

// fullOf makes the full query of every rule this one.
func fullOf(s *Set, query string) {
	for i := range s.bound.full {
		s.bound.full[i] = func() (rego.PreparedEvalQuery, error) {
			return rego.New(rego.Query(query), raw()).PrepareForEval(context.Background())
		}
	}
}

// TestRuleThatCannotBeAskedHolds, with the reason in its sentence.
func TestRuleThatCannotBeAskedHolds(t *testing.T) {
	s := loaded(t)
	for i := range s.bound.full {
		s.bound.full[i] = func() (rego.PreparedEvalQuery, error) {
			return rego.PreparedEvalQuery{}, errors.New("no store to read from")
		}
	}
	f := good()
	f.Number("lock_count", 1, "computed")
	got := of(t, s.Judge(t.Context(), everything(), f, noon()), "lock/none")
	assert.Equal(t, verdict.Holds, got.Effect)
	assert.Equal(t, "rule_failed", got.Code)
	assert.Contains(t, got.Sentence, "no store to read from")
}

// TestRuleThatDoesNotApplyIsNotAsked: of a rule that judges no such question nothing is worked out, and where all pass none is asked in full.
func TestRuleThatDoesNotApplyIsNotAsked(t *testing.T) {
	s := loaded(t)
	var asked []string
	for i, r := range s.lib.rules {
		full := s.bound.full[i]
		s.bound.full[i] = func() (rego.PreparedEvalQuery, error) {
			asked = append(asked, r.ID)
			return full()
		}
	}
	s.Judge(t.Context(), slew(), good(), noon())
	assert.Empty(t, asked, "all pass")
	f := good()
	f.Number("lock_count", 1, "computed")
	f.Number("sync_10min_count", 1000, "computed") // of a rule that judges no slew
	s.Judge(t.Context(), slew(), f, noon())
	assert.Equal(t, []string{"lock/none"}, asked)
}

// TestAnswersOutsideTheShape are refused where they are read, whatever is made of them later.
func TestAnswersOutsideTheShape(t *testing.T) {
	s := loaded(t)
	for _, query := range []string{
		`"pass"`, `{"effect": "pass"}`, `{"effect": "pass", "code": "fine", "by": 1}`, `{"effect": true, "code": "fine"}`, `{"effect": "pass", "code": 3}`,
		`{"effect": "", "code": "fine"}`, `{"effect": "pass", "cod": "fine"}`, `{"effect": "pass", "code": "fine"}; true`, `x := [{"effect": "pass", "code": "fine"}, 1][_]`, `false; 1`,
	} {
		fullOf(s, query)
		got := s.bound.askOne(t.Context(), 0, s.lib.read(good()).document(), noon())
		assert.Equal(t, leaf{}, got.leaf, query)
		assert.ErrorIs(t, got.err, errShape, query)
	}
	fullOf(s, `{"effect": "pass", "code": "fine"}`)
	got := s.bound.askOne(t.Context(), 0, s.lib.read(good()).document(), noon())
	assert.Equal(t, answer{leaf: leaf{"pass", "fine"}}, got)
	for _, query := range []string{`1; 2`, `x := [1, 2][_]`, `x := 1; x == 2`} {
		q, err := rego.New(rego.Query(query), raw()).PrepareForEval(t.Context())
		require.NoError(t, err)
		v, err := s.bound.evaluate(t.Context(), q, ast.NewObject(), noon())
		assert.ErrorIs(t, err, errShape, query)
		assert.Nil(t, v, query)
	}
}

// TestPanicOfOPAIsAHold: a number that is none gets past nothing here; if one did, the rule that meets it holds.
func TestPanicOfOPAIsAHold(t *testing.T) {
	s := loaded(t)
	in := s.lib.read(good())
	in.values[s.lib.place["lock_count"]] = ast.Number("many")
	i := slices.Index(s.IDs(), "lock/none")
	_, err := s.bound.passed(t.Context(), in.values, allOf(s))
	require.ErrorContains(t, err, "comparing: ")
	got := s.bound.ask(t.Context(), in, allOf(s), noon())
	assert.Equal(t, leaf{}, got[i].leaf)
	assert.ErrorContains(t, got[i].err, "evaluating: ")
}

// TestEmptyLimitsAreNotBound, even by rules that compare with none.
func TestEmptyLimitsAreNotBound(t *testing.T) {
	none := &library{bound: map[[32]byte]*binding{}}
	_, err := none.withLimits(limits.Set{})
	require.ErrorContains(t, err, "reading limits: ")
	assert.Empty(t, none.bound, "and not remembered")
}

// TestBindingsAreRememberedUpToALimit: beyond it the memory starts anew, and what was bound goes on judging.
func TestBindingsAreRememberedUpToALimit(t *testing.T) {
	s, err := Read(fstest.MapFS(copied(t)), testLimits(t))
	require.NoError(t, err)
	first := s.bound
	other, err := s.With(testLimits(t, limits.Entry{Rule: "sky/floor", Name: "altitude_deg", Value: 30}))
	require.NoError(t, err)
	same, err := s.With(testLimits(t))
	require.NoError(t, err)
	assert.Same(t, first, same.bound, "remembered while another is bound")
	assert.NotSame(t, first, other.bound)
	for n := range 3 * mostBound {
		_, err := s.With(testLimits(t, limits.Entry{Rule: "sky/floor", Name: "altitude_deg", Value: 1 + float64(n)/100}))
		require.NoError(t, err)
		require.LessOrEqual(t, len(s.lib.bound), mostBound, fmt.Sprint(n, " bound"))
	}
	again, err := s.With(testLimits(t))
	require.NoError(t, err)
	assert.NotSame(t, first, again.bound)
	assert.Equal(t, s.Judge(t.Context(), everything(), good(), noon()), again.Judge(t.Context(), everything(), good(), noon()))
}
