package rules

import (
	"fmt"
	"maps"
	"math/rand"
	"slices"
	"strings"
	"testing"

	"github.com/open-policy-agent/opa/v1/ast"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/verdict"
)

// key is one truth of a rule's lookup: a comparison of a fact with a limit, a number or a word, or the fact itself.
type key struct{ fact, operator, limit string }

// keysOf reads the lookup of a rule by itself, without what readSource makes of it.
func keysOf(r *rule) []key {
	var body *ast.Rule
	for _, rule := range r.module.Rules {
		if rule.Head.Name == "finding" && !rule.Default {
			body = rule
		}
	}
	local := map[string]string{}
	for _, e := range body.Body {
		if e.IsAssignment() {
			local[e.Operand(0).String()] = stringOf(e.Operand(1).Value.(ast.Call)[2])
		}
	}
	fact := func(t *ast.Term) string {
		if name := local[t.String()]; name != "" {
			return name
		}
		return strings.TrimPrefix(t.String(), "input.")
	}
	var out []key
	for _, k := range body.Head.Value.Value.(ast.Ref)[1:] {
		if call, ok := k.Value.(ast.Call); ok {
			out = append(out, key{fact(call[1]), call[0].String(), strings.TrimPrefix(call[2].String(), "limits.")})
			continue
		}
		out = append(out, key{fact: fact(k)})
	}
	return out
}

// of tells the truth by a value of the fact.
func (k key) of(v ast.Value, r *rule, lim limits.Set) bool {
	order := 0
	switch limit, isLimit := lim.Value(r.ID, k.limit); {
	case k.operator == "":
		return v.Compare(ast.Boolean(true)) == 0
	case isLimit:
		order = v.Compare(numberTerm(limit).Value)
	default:
		order = v.Compare(ast.MustParseTerm(k.limit).Value)
	}
	return map[string]bool{"gte": order >= 0, "lte": order <= 0, "equal": order == 0}[k.operator]
}

// TestCodesNameWhatDecided: the fact that METADATA names for a code, held against the limit named there, always comes out the same where
// the rule gives this code: within the limit where it passes, past it where it does not. A pass shows the fact with the uncertainty
// counted; a denial the sharp twin, where there is one: what fails even so. A truth or a word decides only if the other way was seen to
// come with the other answer.
func TestCodesNameWhatDecided(t *testing.T) {
	s := loaded(t)
	turned, err := s.With(testLimits(t, // of two limits of one fact the other is the tighter
		limits.Entry{Rule: "sync/jump", Name: "axis_expected_deg", Value: 2}, limits.Entry{Rule: "solve/quality", Name: "matched_expected", Value: 20},
		limits.Entry{Rule: "pose/fresh", Name: "age_s", Value: 1}, limits.Entry{Rule: "sync/expected", Name: "deny_arcmin", Value: 60}))
	require.NoError(t, err)
	turned.bound.patience = s.bound.patience
	random := rand.New(rand.NewSource(20261129))
	for i, r := range s.lib.rules {
		drawn := answeredAtEdges(t, random, i, s, turned)
		sharps := slices.ContainsFunc(r.source.order, sharp)
		for name, m := range r.codes {
			what := fmt.Sprintf("%s of %s, by %s within %v", name, r.ID, m.Fact, m.Limit)
			passes := m.effect == "pass"
			got := comesTo(r, m, drawn, func(a answered) bool { return a.code == name })
			others := comesTo(r, m, drawn, func(a answered) bool { return (r.codes[a.code].effect == "pass") != passes })
			if m.Limit != nil {
				assert.Equal(t, []string{fmt.Sprint(passes)}, got, what)
			} else if assert.Len(t, got, 1, what) {
				assert.NotEmpty(t, got[0], what)
				assert.True(t, slices.ContainsFunc(others, func(o string) bool { return o != got[0] }), what)
			}
			switch m.effect {
			case "pass":
				assert.False(t, sharp(m.Fact), what)
			case "deny":
				assert.Equal(t, sharps, sharp(m.Fact), what)
			}
		}
	}
}

// TestExceptionsNameWhatNeedsThem: an axis that may turn farther because the solve is expected is the one that is shown.
func TestExceptionsNameWhatNeedsThem(t *testing.T) {
	s := loaded(t)
	for _, fact := range []string{"sync_jump_axis1_deg", "sync_jump_axis2_deg"} {
		f := good()
		f.Truth("solve_expected", true, facts.Computed)
		f.Number(fact, 4, facts.Computed)
		got := of(t, s.Judge(t.Context(), everything(), f, noon()), "sync/jump")
		assert.Equal(t, verdict.Passes, got.Effect, fact)
		assert.Equal(t, fact, got.Fact.Name)
		assert.InDelta(t, 5.0, *got.Limit, 0, fact)
	}
}

func sharp(fact string) bool { return strings.Contains(fact, "_sharp_") }

// answered is what a rule said to some facts under some limits.
type answered struct {
	in   ast.Object
	lim  limits.Set
	code string
}

// answeredAtEdges asks one rule of each set about drawn facts, and leaves out where one that it needs was missing.
func answeredAtEdges(t *testing.T, random *rand.Rand, i int, sets ...*Set) []answered {
	t.Helper()
	var out []answered
	for _, s := range sets {
		for range 1000 {
			a := answered{in: atEdges(random, s.lib.rules[i], s.Limits()), lim: s.Limits()}
			got := s.bound.askOne(t.Context(), i, a.in, noon())
			require.NoError(t, got.err)
			if a.code = got.code; a.code != missingCode {
				out = append(out, a)
			}
		}
	}
	return out
}

// comesTo lists what the truths of the lookup that the fact and the limit of a code decide came to, in some of the answers.
func comesTo(r *rule, m code, drawn []answered, among func(answered) bool) []string {
	seen := map[string]bool{}
	for _, a := range drawn {
		v := a.in.Get(ast.StringTerm(m.Fact))
		if v == nil || !among(a) { // an optional fact, which then is missing
			continue
		}
		var truths []string
		for _, k := range keysOf(r) {
			ordered := k.operator == "gte" || k.operator == "lte"
			if k.fact == m.Fact && (m.Limit == nil && !ordered || m.Limit != nil && ordered && k.limit == fmt.Sprint(m.Limit)) {
				truths = append(truths, fmt.Sprint(k.of(v.Value, r, a.lim)))
			}
		}
		seen[strings.Join(truths, " ")] = true
	}
	return slices.Sorted(maps.Keys(seen))
}

// atEdges draws the facts of one rule, each on one of its limits, beside it or, one in ten, missing.
func atEdges(random *rand.Rand, r *rule, lim limits.Set) ast.Object {
	edges := []float64{0}
	for _, name := range r.source.limits {
		v, _ := lim.Value(r.ID, name)
		edges = append(edges, v)
	}
	in := ast.NewObject()
	for _, fact := range r.source.order {
		var v *ast.Term
		switch r.source.checked[fact] {
		case numberKind:
			v = numberTerm(edges[random.Intn(len(edges))] + float64(random.Intn(3)-1)/1000)
		case truthKind:
			v = ast.BooleanTerm(random.Intn(2) == 0)
		case wordKind:
			v = ast.StringTerm([]string{"known", "candidates", "unknown"}[random.Intn(3)])
		}
		if random.Intn(10) > 0 {
			in.Insert(ast.StringTerm(fact), v)
		}
	}
	return in
}

// TestHoldsThatSeveralThingsEnd: each of them is told to a program as it is to a person.
func TestHoldsThatSeveralThingsEnd(t *testing.T) {
	want := map[string][]verdict.NeedKind{
		"belief_off":      {verdict.NeedSecondSolve, verdict.NeedHoming},
		"first_far":       {verdict.NeedSecondSolve, verdict.NeedHoming},
		"pose_in_doubt":   {verdict.NeedSecondSolve, verdict.NeedHoming},
		"pose_candidates": {verdict.NeedHoming, verdict.NeedSecondSolve},
		"ends_spread":     {verdict.NeedSecondSolve, verdict.NeedHoming, verdict.NeedClock, verdict.NeedSite},
		"map_wrong":       {verdict.NeedClock, verdict.NeedSite},
		"proof_coarse":    {verdict.NeedRigProof, verdict.NeedAttendance},
		"proof_old":       {verdict.NeedRigProof, verdict.NeedAttendance},
	}
	s, got := loaded(t), map[string][]verdict.NeedKind{}
	for _, r := range s.lib.rules {
		for name, m := range r.codes {
			var needs []verdict.NeedKind
			for _, n := range s.decided(r, answer{leaf: leaf{m.effect, name}}, m, r.Actions[0], s.lib.read(good()), good()).Needs {
				needs = append(needs, n.Kind)
			}
			if len(needs) > 1 {
				got[name] = needs
			}
		}
	}
	assert.Equal(t, want, got)
}

// TestMissingFactsNameWhoSuppliesThem, where the fact itself does not say: pictures the figures of solves, most others a sample.
func TestMissingFactsNameWhoSuppliesThem(t *testing.T) {
	byArea := map[string]verdict.NeedKind{"solve": verdict.NeedSecondSolve, "sync": verdict.NeedSecondSolve, "time": verdict.NeedClock, "mount": verdict.NeedClock}
	byRule := map[string]verdict.NeedKind{
		"pose/known": verdict.NeedHoming, "pose/sharp": verdict.NeedHoming, "rig/proven": verdict.NeedRigProof, "lock/none": verdict.NeedRepair,
		"sync/jump": verdict.NeedSample, "sync/sum": verdict.NeedSample, // what the mount believes
		"sync/rate": verdict.NeedTime,
	}
	s := loaded(t)
	for _, r := range s.lib.rules {
		want := verdict.NeedSample
		if k, is := byArea[idParts(r.ID)[0]]; is {
			want = k
		}
		if k, is := byRule[r.ID]; is {
			want = k
		}
		f := good()
		for _, name := range r.source.order {
			f.Lack(name, "nobody said", "")
		}
		got := s.finding(r, answer{leaf: leaf{"hold", missingCode}}, r.Actions[0], s.lib.read(f), f)
		assert.Equal(t, missingCode, got.Code, r.ID)
		assert.Equal(t, []verdict.Need{{Kind: want, Sentence: remedyOf(want)}}, got.Needs, r.ID)
	}
}
