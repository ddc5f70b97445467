package rules

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/verdict"
)

// TestReadingSaysWhyAFactIsNone: whatever is no one finite number, word or truth is missing to every rule, with its reason.
func TestReadingSaysWhyAFactIsNone(t *testing.T) {
	n, nan, inf, most, over, word, truth := 3.0, math.NaN(), math.Inf(-1), 1e300, math.Nextafter(1e300, math.Inf(1)), "known", false
	s := loaded(t)
	for what, c := range map[string]struct {
		fact  *facts.Fact
		why   string
		value string
	}{
		"never worked out":  {nil, "nobody worked it out", ""},
		"told to be gone":   {&facts.Fact{Missing: "the wire fell off", Number: &n}, "the wire fell off", ""},
		"nothing":           {&facts.Fact{}, "says nothing, or two things at once", ""},
		"number and word":   {&facts.Fact{Number: &n, Word: &word}, "says nothing, or two things at once", ""},
		"number and truth":  {&facts.Fact{Number: &n, Truth: &truth}, "says nothing, or two things at once", ""},
		"word and truth":    {&facts.Fact{Word: &word, Truth: &truth}, "says nothing, or two things at once", ""},
		"all at once":       {&facts.Fact{Number: &n, Word: &word, Truth: &truth}, "says nothing, or two things at once", ""},
		"no number":         {&facts.Fact{Number: &nan}, "came out as no finite number", ""},
		"beyond all":        {&facts.Fact{Number: &inf}, "came out as no finite number", ""},
		"beyond the most":   {&facts.Fact{Number: &over}, "came out as no finite number", ""},
		"the most there is": {&facts.Fact{Number: &most}, "", "1e+300"},
		"a number":          {&facts.Fact{Number: &n}, "", "3e+00"},
		"a word":            {&facts.Fact{Word: &word}, "", `"known"`},
		"a truth":           {&facts.Fact{Truth: &truth}, "", "false"},
	} {
		f := good()
		delete(f, "pose_age_s")
		if c.fact != nil {
			c.fact.Origin = facts.Told
			f["pose_age_s"] = *c.fact
		}
		in := s.lib.read(f)
		value, got := in.values[s.lib.place["pose_age_s"]], in.reading("pose_age_s")
		assert.Equal(t, c.why, got.Missing, what)
		assert.Equal(t, "pose_age_s", got.Name, what)
		if c.fact != nil {
			assert.Equal(t, facts.Told, got.Origin, what)
		}
		if c.value == "" {
			assert.Nil(t, value, what)
			assert.Empty(t, kindOf(got), what)
			continue
		}
		assert.Equal(t, c.value, value.String(), what)
	}
	assert.Equal(t, &verdict.Reading{Name: "of_no_rule"}, s.lib.read(good()).reading("of_no_rule"))
}

// TestFirstMissingFactIsNamed, with the need that it has, or else its rule.
func TestFirstMissingFactIsNamed(t *testing.T) {
	s := loaded(t)
	f := good()
	f.Lack("clock_skew_s", "the asker did not say when", "")
	f.Lack("clock_error_s", "nothing bounds it", "site")
	got := of(t, s.Judge(t.Context(), everything(), f, noon()), "time/agree")
	assert.Equal(t, "clock_skew_s", got.Fact.Name, "the first in the order of the rule")
	assert.Equal(t, []verdict.Need{{Kind: verdict.NeedClock, Sentence: remedyOf(verdict.NeedClock)}}, got.Needs, "what METADATA says")
	f.Number("clock_skew_s", 0, facts.Told)
	got = of(t, s.Judge(t.Context(), everything(), f, noon()), "time/agree")
	assert.Equal(t, "clock_error_s", got.Fact.Name)
	assert.Equal(t, []verdict.Need{{Kind: verdict.NeedSite, Sentence: remedyOf(verdict.NeedSite)}}, got.Needs, "what the fact says")
	f.Lack("clock_error_s", "nothing bounds it", "luck")
	got = of(t, s.Judge(t.Context(), everything(), f, noon()), "time/agree")
	assert.Equal(t, verdict.NeedClock, got.Needs[0].Kind, "a need that nobody knows is none")
}

// TestMissingFactMayBringItsRemedy: of what is usual for its need nothing is said then.
func TestMissingFactMayBringItsRemedy(t *testing.T) {
	s := loaded(t)
	f := good()
	f["clock_error_s"] = facts.Fact{Missing: "it cannot be read", Need: "sample", Remedy: "Read it off the display."}
	got := of(t, s.Judge(t.Context(), everything(), f, noon()), "time/agree")
	assert.Equal(t, "Read it off the display.", got.Remedy)
	assert.Equal(t, []verdict.Need{{Kind: verdict.NeedSample, Sentence: "Read it off the display."}}, got.Needs)
	assert.Contains(t, got.Sentence, "it cannot be read")
}

// TestPassHasNothingToMend: no sentence, no remedy, no need, whenever it was.
func TestPassHasNothingToMend(t *testing.T) {
	s := loaded(t)
	f, at, v := good(), noon().Add(time.Minute), 84.5
	f["clearance_spare_mm"] = facts.Fact{Number: &v, About: []string{"post"}, Instant: &at, Origin: facts.Computed}
	got := of(t, s.Judge(t.Context(), everything(), f, noon()), "clear/path")
	zero := 0.0
	assert.Equal(t, verdict.Finding{
		Rule: "clear/path", Effect: verdict.Passes, Code: "way_clear", Limit: &zero, Unit: "mm", About: []string{"post"}, Instant: &at,
		Fact: &verdict.Reading{Name: "clearance_spare_mm", Number: &v, Origin: facts.Computed},
	}, got)
}

// TestAnswersThatMETADATADoesNotKnow hold; and a pass may lack a fact that a hold would need.
func TestAnswersThatMETADATADoesNotKnow(t *testing.T) {
	s := loaded(t)
	f := good()
	f.Lack("clearance_sharp_spare_mm", "never worked out", "")
	in := s.lib.read(f)
	r := *s.lib.find("clear/path")
	for _, a := range []leaf{{"deny", "way_clear"}, {"pass", "way_blocked"}, {"pass", "novel"}, {"", "novel"}} {
		got := s.finding(&r, answer{leaf: a}, Slew, in, f)
		assert.Equal(t, verdict.Holds, got.Effect, "%v", a)
		assert.Equal(t, "rule_malformed", got.Code, "%v", a)
	}
	c := r.codes["way_clear"]
	c.Fact = "clearance_sharp_spare_mm"
	r.codes = map[string]code{"way_clear": c, "way_blocked": r.codes["way_blocked"]}
	assert.Equal(t, verdict.Passes, s.finding(&r, answer{leaf: leaf{"pass", "way_clear"}}, Slew, in, f).Effect)
	got := s.finding(&r, answer{leaf: leaf{"deny", "way_blocked"}}, Slew, in, f)
	assert.Equal(t, verdict.Holds, got.Effect, "no denial on what is not known")
	assert.Equal(t, missingCode, got.Code)
}

// TestNotLoadedSaysWhatIsNotJudged.
func TestNotLoadedSaysWhatIsNotJudged(t *testing.T) {
	for id, want := range map[string]string{
		"roof/state":      "The rig does not declare that it lacks roof, and no loaded rule judges that (roof/state).",
		"neighbour/clear": "The rig does not declare that it lacks neighbours, and no loaded rule judges that (neighbour/clear).",
		"drag/normal":     "The rig does not declare that it lacks drag, and no loaded rule judges that (drag/normal).",
		"sky/floor":       "The rule sky/floor, which this question requires, is not loaded.",
	} {
		got := notLoaded(id)
		assert.Equal(t, want, got.Sentence)
		assert.Equal(t, []verdict.Need{{Kind: verdict.NeedRepair, Sentence: got.Remedy, About: id}}, got.Needs)
	}
}

// TestNeedsAreOneByOne for locks and open permits alone.
func TestNeedsAreOneByOne(t *testing.T) {
	about := []string{"a", "b"}
	assert.Equal(t, []verdict.Need{{Kind: verdict.NeedHoming, Sentence: "Do."}, {Kind: verdict.NeedRelease, Sentence: "Do.", About: "a"}, {Kind: verdict.NeedRelease, Sentence: "Do.", About: "b"}},
		needs([]verdict.NeedKind{verdict.NeedHoming, verdict.NeedRelease}, "Do.", about))
	assert.Equal(t, []verdict.Need{{Kind: verdict.NeedPermitEnd, Sentence: "Do.", About: "a"}, {Kind: verdict.NeedPermitEnd, Sentence: "Do.", About: "b"}}, needs([]verdict.NeedKind{verdict.NeedPermitEnd}, "Do.", about))
	assert.Equal(t, []verdict.Need{{Kind: verdict.NeedRelease, Sentence: "Do."}}, needs([]verdict.NeedKind{verdict.NeedRelease}, "Do.", nil))
	require.Empty(t, needs(nil, "Do.", about))
}
