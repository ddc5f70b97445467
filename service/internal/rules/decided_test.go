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
// counted; a denial the sharp twin, where there is one: what fails even so.
func TestCodesNameWhatDecided(t *testing.T) {
	s := loaded(t)
	tight, err := s.With(testLimits(t, // the limits of exceptions tighter than the rule
		limits.Entry{Rule: "sync/jump", Name: "axis_expected_deg", Value: 2}, limits.Entry{Rule: "solve/quality", Name: "matched_expected", Value: 20}))
	require.NoError(t, err)
	tight.bound.patience = s.bound.patience
	random := rand.New(rand.NewSource(20261129))
	for i, r := range s.lib.rules {
		seen := map[string]map[string]bool{} // by code: what the fact named there came to
		for code := range r.codes {
			seen[code] = map[string]bool{}
		}
		for _, s := range []*Set{s, tight} {
			for range 250 {
				in := atEdges(random, r, s.Limits())
				code := s.bound.askOne(t.Context(), i, in, noon()).code
				m := r.codes[code]
				if v := in.Get(ast.StringTerm(m.Fact)); v != nil { // else the default, or an optional fact, which then is missing
					seen[code][truths(r, m, v.Value, s.Limits())] = true
				}
			}
		}
		sharps := slices.ContainsFunc(r.source.order, sharp)
		for code, m := range r.codes {
			got := slices.Sorted(maps.Keys(seen[code]))
			if m.Limit != nil {
				assert.Equalf(t, []string{fmt.Sprint(m.effect == "pass")}, got, "%s of %s: whether %s is within %v", code, r.ID, m.Fact, m.Limit)
			} else if assert.Lenf(t, got, 1, "%s of %s: what %s comes to", code, r.ID, m.Fact) {
				assert.NotEmptyf(t, got[0], "%s of %s: no truth of %s", code, r.ID, m.Fact)
			}
			switch m.effect {
			case "pass":
				assert.Falsef(t, sharp(m.Fact), "%s of %s passes by %s alone", code, r.ID, m.Fact)
			case "deny":
				assert.Equalf(t, sharps, sharp(m.Fact), "%s of %s denies by %s", code, r.ID, m.Fact)
			}
		}
	}
}

func sharp(fact string) bool { return strings.Contains(fact, "_sharp_") }

// truths are those of the lookup that the fact and the limit of a code decide.
func truths(r *rule, m code, v ast.Value, lim limits.Set) string {
	var out []string
	for _, k := range keysOf(r) {
		ordered := k.operator == "gte" || k.operator == "lte"
		if k.fact == m.Fact && (m.Limit == nil && !ordered || m.Limit != nil && ordered && k.limit == fmt.Sprint(m.Limit)) {
			out = append(out, fmt.Sprint(k.of(v, r, lim)))
		}
	}
	return strings.Join(out, " ")
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
		v := numberTerm(edges[random.Intn(len(edges))] + float64(random.Intn(3)-1)/1000)
		switch r.source.checked[fact] {
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
		"ends_spread":     {verdict.NeedHoming, verdict.NeedClock, verdict.NeedSite},
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
