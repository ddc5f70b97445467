package rules

import (
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/open-policy-agent/opa/v1/ast"
	"github.com/open-policy-agent/opa/v1/rego"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/verdict"
)

// askew is the shape that the lint wants, with room for what it does not.
const askew = badHead + `default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.lock_count <= 0] if is_number(input.lock_count)

outcome := {true: fine, false: bad}

fine := {"effect": "pass", "code": "fine"}

bad := {"effect": "deny", "code": "bad"}
`

// TestUnprovableRulesSayWhy: what a load let through that partial evaluation does not reduce to comparisons, fact by fact.
func TestUnprovableRulesSayWhy(t *testing.T) {
	for what, c := range map[string]struct{ old, new, want string }{
		"never passes":            {`"effect": "pass"`, `"effect": "deny"`, "it can never pass"},
		"a body more":             {"\noutcome :=", "\nfinding := fine if input.lock_count >= 5\n\noutcome :=", "fine leaves 2 conditions and 0 further rules where its table has 1 cells"},
		"rules that are left":     {"\nfinding := outcome[input.lock_count <= 0] if is_number(input.lock_count)", "\ndefault few := false\n\nfew if input.lock_count <= 5\n\nfinding := outcome[input.lock_count <= 0] if {\n\tis_number(input.lock_count)\n\tfew\n}", "fine leaves 1 conditions and 1 further rules where its table has 1 cells"},
		"an unchecked comparison": {"if is_number(input.lock_count)", "if true", "fine: lock_count is compared (lte 0) without is_number"},
		"another comparison":      {"input.lock_count <= 0", "input.lock_count < 1", "fine: lt(input.lock_count, 1, true) is neither a type check nor a comparison"},
	} {
		files := copied(t)
		require.Contains(t, askew, c.old, what)
		files[badFile] = &fstest.MapFile{Data: []byte(strings.Replace(askew, c.old, c.new, 1))}
		lib, err := load(files, false)
		require.NoError(t, err, what)
		s, err := lib.withLimits(testLimits(t))
		require.NoError(t, err, what)
		lib.lint = true
		err = s.Prove()
		require.ErrorIs(t, err, ErrFaulty, what)
		require.ErrorContains(t, err, badFile+": wanted a rule that partial evaluation reduces to comparisons, got ", what)
		assert.ErrorContains(t, err, c.want, what)
		assert.NotContains(t, err.Error(), "rules/lock/none/", "%s: the others are proven", what)
	}
}

// TestRuleThatIsNoQueryIsAFault when it is proven, and holds when it is asked.
func TestRuleThatIsNoQueryIsAFault(t *testing.T) {
	s, err := Read(dirFS(), testLimits(t))
	require.NoError(t, err)
	s.lib.find("lock/none").module = &ast.Module{Package: &ast.Package{Path: ast.Ref{ast.VarTerm("nowhere")}}}
	err = s.Prove()
	require.ErrorIs(t, err, ErrFaulty)
	require.ErrorContains(t, err, "rules/lock/none/none.rego: ")
	require.ErrorContains(t, err, "nowhere is unsafe")
	require.NotContains(t, err.Error(), "evaluating it plainly", "it does not come to that")
	got := of(t, s.Judge(t.Context(), everything(), good(), noon()), "lock/none")
	assert.Equal(t, verdict.Holds, got.Effect)
	assert.Equal(t, "rule_failed", got.Code)
	assert.Contains(t, got.Sentence, "preparing lock/none: ")
	assert.Contains(t, got.Sentence, "nowhere is unsafe")
}

// TestFactThatTheLibraryDoesNotKnowIsAFault of the rule that reads it.
func TestFactThatTheLibraryDoesNotKnowIsAFault(t *testing.T) {
	s, err := Read(dirFS(), testLimits(t))
	require.NoError(t, err)
	delete(s.lib.place, "lock_count")
	err = s.Prove()
	require.ErrorContains(t, err, "rules/lock/none/none.rego: ")
	require.ErrorContains(t, err, "no_lock: lock_count is read, which the source does not check")
}

// TestPanicInAProofNamesTheRule instead of ending the service.
func TestPanicInAProofNamesTheRule(t *testing.T) {
	s, err := Read(dirFS(), testLimits(t))
	require.NoError(t, err)
	s.bound.full = nil
	err = s.Prove()
	require.ErrorContains(t, err, "rules/lock/none/none.rego: ")
	require.ErrorContains(t, err, "got proving: runtime error")
	assert.Len(t, strings.Split(err.Error(), "\n"), len(s.IDs()), "each rule is a fault of its own")
}

// TestConditionsThatContradict: a rule that would pass with two codes passes with none; twice with one it passes.
func TestConditionsThatContradict(t *testing.T) {
	s := loaded(t)
	conditions := *s.bound.conditions.Load()
	for i, r := range s.lib.rules {
		if r.ID != "lock/none" {
			continue
		}
		for _, c := range conditions {
			if c.rule == i {
				again, other := c, c
				other.code = "another"
				for what, more := range map[string]condition{"pass": again, "hold": other} {
					all := append([]condition{more}, conditions...)
					s.bound.conditions.Store(&all)
					got := of(t, s.Judge(t.Context(), everything(), good(), noon()), "lock/none")
					assert.Equal(t, verdict.Effect(what), got.Effect)
					if what == "hold" {
						assert.Equal(t, "rule_contradicts_itself", got.Code)
					}
				}
			}
		}
	}
}

// TestPassedIsOfTheWantedAlone, and of none before the conditions are proven.
func TestPassedIsOfTheWantedAlone(t *testing.T) {
	s := loaded(t)
	for i := range s.lib.rules {
		wanted := make([]bool, len(s.lib.rules))
		wanted[i] = true
		got, err := s.bound.passed(t.Context(), s.lib.read(good()).values, wanted)
		require.NoError(t, err)
		for k, a := range got {
			assert.Equal(t, k == i, a.effect == "pass", "%s asked, of %s", s.lib.rules[i].ID, s.lib.rules[k].ID)
		}
	}
	unproven, err := Read(dirFS(), testLimits(t))
	require.NoError(t, err)
	_, err = unproven.bound.passed(t.Context(), unproven.lib.read(good()).values, allOf(unproven))
	require.ErrorIs(t, err, errUnproven)
}

// TestRuleThatCannotBeProbedIsAFault: without plain evaluation there is nothing to hold its conditions against.
func TestRuleThatCannotBeProbedIsAFault(t *testing.T) {
	s, err := Read(dirFS(), testLimits(t))
	require.NoError(t, err)
	i := slices.Index(s.IDs(), "lock/none")
	s.bound.full[i] = func() (rego.PreparedEvalQuery, error) { return rego.PreparedEvalQuery{}, errShape }
	require.ErrorContains(t, s.Prove(), "rules/lock/none/none.rego: wanted a rule that partial evaluation reduces to comparisons, got evaluating it plainly on ")
	assert.True(t, s.bound.unsound[i].Load())
}
