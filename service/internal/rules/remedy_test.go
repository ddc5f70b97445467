package rules

import (
	"regexp"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/verdict"
)

// foreign are words of a remedy that an action has nothing of: homing has no target, a flip cannot flip first.
func foreign() map[string]*regexp.Regexp {
	return map[string]*regexp.Regexp{
		Slew:    regexp.MustCompile(`flip`),
		Retreat: regexp.MustCompile(`target|other side|flip`),
		Sync:    regexp.MustCompile(`target|other side|shorter track|flip|place of rest`),
		Track:   regexp.MustCompile(`another target|higher target|other side|place of rest`),
		Jog:     regexp.MustCompile(`target|other side|flip|place of rest`),
		Creep:   regexp.MustCompile(`target|other side|flip|place of rest|[Jj]og`),
		Home:    regexp.MustCompile(`target|other side|track|flip|[Hh]ome the rig|home instead|place of rest`),
		Park:    regexp.MustCompile(`target|other side|track|flip`),
		Flip:    regexp.MustCompile(`flip|other side`),
	}
}

// TestRemediesFitTheAction wants of every hold and deny, for every action that its rule judges, a remedy that this action has.
func TestRemediesFitTheAction(t *testing.T) {
	s := loaded(t)
	for _, r := range s.lib.rules {
		for _, action := range r.Actions {
			for name, m := range r.codes {
				if m.effect == "pass" {
					continue
				}
				got := s.decided(r, answer{leaf: leaf{m.effect, name}}, m, action, s.lib.read(good()), good())
				assert.NotRegexpf(t, foreign()[action], got.Remedy, "%s %s, asked to %s", r.ID, name, action)
				assert.Regexp(t, `^[A-Z].*\.$`, got.Remedy, "%s %s", r.ID, name)
				for _, n := range got.Needs {
					assert.Equal(t, got.Remedy, n.Sentence, "%s %s: the need says the same", r.ID, name)
				}
			}
		}
	}
}

// TestRefusedHomingSaysWhatHomingCanDo: a homing that is denied names another order of the axes, and one without a pose asks for a
// person's word, not for homing and not for somebody who is there already.
func TestRefusedHomingSaysWhatHomingCanDo(t *testing.T) {
	s := loaded(t)
	f := good()
	f.Number("clearance_sharp_spare_mm", -69.5, facts.Computed, "south-west leg", "camera")
	f.Number("clearance_spare_mm", -72, facts.Computed, "south-west leg", "camera")
	home := Subject{Action: Home, Lacks: []string{"roof", "neighbours", "drag"}}
	got := of(t, s.Judge(t.Context(), home, f, noon()), "clear/path")
	assert.Equal(t, verdict.Denies, got.Effect)
	assert.Equal(t, "Home with the axes in another order, or jog clear first (out of a margin: creep).", got.Remedy)

	f = good()
	f.Lack("clearance_spare_mm", "a clutch was opened", "attendance")
	f.Lack("unstopped_spare_s", "a clutch was opened", "attendance")
	worst, ok := verdict.Gravest(s.Judge(t.Context(), home, f, noon()))
	assert.True(t, ok)
	assert.Equal(t, "The room left on the way is not known: a clutch was opened.", worst.Sentence, "not first what would stop it")
	assert.Equal(t, "A person looks at the rig and states where its axes stand; then ask again.", worst.Remedy)
}

// TestUnknownClockNamesWhatAPersonCanDo: whether nothing bounds the clock's error or too little does, the word that a person can
// give is named as it is given.
func TestUnknownClockNamesWhatAPersonCanDo(t *testing.T) {
	s := loaded(t)
	unknown, wide := good(), good()
	unknown.Lack("clock_error_s", "nothing bounds the error of this machine's clock", "clock")
	wide.Number("clock_error_s", 300, facts.Computed)
	slew := Subject{Action: Slew, Traits: []string{SkyTarget}, Lacks: []string{"roof", "neighbours", "drag"}}
	for name, f := range map[string]facts.Set{"unknown": unknown, "too wide": wide} {
		got := of(t, s.Judge(t.Context(), slew, f, noon()), "time/agree")
		assert.Equal(t, verdict.Holds, got.Effect, name)
		assert.Contains(t, got.Remedy, "serve --clock-within SECONDS", name)
	}
}

// TestPhrasesAreSetApart: what is told of a wrong clock reads as phrases, and parts as names.
func TestPhrasesAreSetApart(t *testing.T) {
	f := good()
	f.Number("mount_map_error_deg", 15.04, facts.Told, "the mount's sidereal time 04:41:33, ours 03:41:23", "looks like one hour: summer time or zone")
	got := of(t, loaded(t).Judge(t.Context(), slew(), f, noon()), "mount/map")
	assert.Equal(t, "By its own clock and site the mount would turn its axes 15.04° wrong; 0.5° is the most "+
		"(the mount's sidereal time 04:41:33, ours 03:41:23; looks like one hour: summer time or zone).", got.Sentence)
	assert.Equal(t, "hub, tube and camera", listed([]string{"hub", "tube", "camera"}))
}

// TestRemediesAreOfActions refuses a remedy for an action that the rule does not judge, and one without words.
func TestRemediesAreOfActions(t *testing.T) {
	c := metaCheck{rule: &rule{custom: custom{Actions: []string{Home}}, source: source{order: []string{"x"}}}}
	m := code{Fact: "x", Remedies: map[string]string{"dance": "Stop.", Home: ""}, effect: "pass"}
	c.code("some", m)
	assert.Len(t, c.faults, 2)
	assert.True(t, slices.ContainsFunc(c.faults, func(f Fault) bool { return f.Got == "dance" }), "%v", c.faults)
}
