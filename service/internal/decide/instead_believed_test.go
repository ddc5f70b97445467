package decide

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/verdict"
)

// A belief that would not bring the mount there now brings it there from no other place: what is named goes by axes alone, or is one question.
func TestNoSeriesGoesByABeliefThatIsOff(t *testing.T) {
	home, sky := question.Action{Kind: question.Slew, Axes: &rig.Axes{}}, question.Action{Kind: question.Slew, Sky: &question.Sky{}}
	one, two, axes := facts.Proposal{Steps: []question.Action{sky}}, facts.Proposal{Steps: []question.Action{home, sky}}, facts.Proposal{Steps: []question.Action{home, home}}
	all := []facts.Proposal{two, one, axes}
	for _, c := range []struct {
		rule   string
		effect verdict.Effect
		off    bool
	}{
		{"belief/agrees", verdict.Holds, true},
		{"belief/agrees", verdict.Denies, true},
		{"end/bounded", verdict.Holds, true},
		{"end/bounded", verdict.Denies, true},
		{"belief/agrees", verdict.Passes, false},
		{"end/bounded", verdict.NotApplicable, false},
		{"clear/path", verdict.Denies, false},
	} {
		got := believed(all, []verdict.Finding{{Rule: "lock/none", Effect: verdict.Passes}, {Rule: c.rule, Effect: c.effect}})
		if c.off {
			assert.Equal(t, []facts.Proposal{one, axes}, got, "%s %s", c.rule, c.effect)
		} else {
			assert.Equal(t, all, got, "%s %s", c.rule, c.effect)
		}
	}
	assert.Equal(t, []facts.Proposal{two, one, axes}, all, "what was proposed stays")
}

// What is denied where belief leads is denied of each other target too: what mends belief is told, and only of a denial.
func TestADenialByAFalseBeliefSaysWhatMendsIt(t *testing.T) {
	off := func(code string) []verdict.Finding {
		return []verdict.Finding{{Rule: "sky/floor", Effect: verdict.Denies, Code: "below_floor", Remedy: "Choose a higher target."}, {Effect: verdict.Holds, Code: code, Remedy: "Sync it."}}
	}
	for _, code := range []string{"belief_off", "ends_spread"} {
		assert.Contains(t, misled(verdict.Deny, off(code)), "another target may not help. Sync it.", code)
		assert.Empty(t, misled(verdict.Hold, off(code)), "the hold says it itself")
	}
	assert.Empty(t, misled(verdict.Deny, off("locked")))
}
