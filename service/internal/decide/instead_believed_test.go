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
