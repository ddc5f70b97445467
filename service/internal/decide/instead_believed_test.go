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
	off := func(v verdict.Verdict, code string, ends int) *Answer {
		return &Answer{Verdict: v, Ends: make([]facts.End, ends), Findings: []verdict.Finding{
			{Rule: "sky/floor", Effect: verdict.Denies, Code: "below_floor", Remedy: "Choose a higher target."}, {Rule: "a/rule", Effect: verdict.Holds, Code: code, Remedy: "Sync it."},
		}}
	}
	sky, axes := question.Action{Kind: question.Slew, Sky: &question.Sky{}}, question.Action{Kind: question.Slew, Axes: &rig.Axes{}}
	for code, where := range map[string]string{"belief_off": "only where what the mount falsely believes leads", "ends_spread": "only one of the places where this could end"} {
		want := "what is denied may be " + where + ": do first what a/rule says; before that, to ask for something else may not help"
		for _, ends := range []int{1, 2} {
			assert.Equal(t, want, misled(sky, off(verdict.Deny, code, ends)), code)
		}
		assert.Empty(t, misled(sky, off(verdict.Hold, code, 2)), "the hold says it itself")
		assert.Empty(t, misled(axes, off(verdict.Deny, code, 1)), "the angles asked for are what is denied")
		assert.Equal(t, want, misled(axes, off(verdict.Deny, code, 2)))
		assert.Empty(t, misled(question.Action{Kind: question.Sync}, off(verdict.Deny, code, 2)), "a sync leads nowhere")
	}
	assert.Empty(t, misled(sky, off(verdict.Deny, "locked", 2)))
}
