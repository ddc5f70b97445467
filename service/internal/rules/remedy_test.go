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

// TestWhereHomingIsNoRemedy: what a homing would leave as it is names what else helps, and needs that; on either side of the edge, and only where
// it is known what a homing leaves.
func TestWhereHomingIsNoRemedy(t *testing.T) {
	s := loaded(t)
	for _, c := range []struct {
		rule, action, fact, sharp string
		at, best                  float64 // with the uncertainty, and without it
		edge                      float64 // the part of the uncertainty that would just do
		with, without             string
	}{
		{"pose/sharp", Slew, "pose_sigma_axis1_deg", "", 4.8, 0, 0.25, "Home the rig", "Have a person state where the axes stand and how exactly"},
		{"pose/sharp", Sync, "pose_sigma_axis2_deg", "", 2.4, 0, 0.5, "Home the rig", "Have a person state where the axes stand and how exactly"},
		{"sun/apart", Slew, "sun_separation_deg", "sun_separation_sharp_deg", 26, 34, 0.5, "Home the rig", "Choose a target or a way farther from the Sun"},
		{"sun/apart", Park, "sun_separation_deg", "sun_separation_sharp_deg", 26, 34, 0.5, "Home the rig", "Wait until the Sun has set"},
		{"sun/apart", Home, "sun_separation_deg", "sun_separation_sharp_deg", 26, 34, 0.5, "Jog away from there first, or have", "Jog away from there first, wait"},
		{"sky/horizon", Flip, "above_horizon_deg", "above_horizon_sharp_deg", -3, 1, 0.25, "Home the rig", "Choose a target that stands higher, or have a person state"},
		{"clear/path", Retreat, "clearance_spare_mm", "clearance_sharp_spare_mm", -10, 30, 0.75, "Home the rig", "Choose another way"},
	} {
		for leaves, want := range map[float64]string{c.edge - 0.01: c.with, c.edge: c.with, c.edge + 0.01: c.without, 1: c.without, 5: c.without, -1: c.with} {
			f := good()
			f.Number(c.fact, c.at, facts.Computed)
			if c.sharp != "" {
				f.Number(c.sharp, c.best, facts.Computed)
			}
			if leaves >= 0 {
				f.Number("homing_leaves_ratio", leaves, facts.Computed)
			}
			got := of(t, s.Judge(t.Context(), Subject{Action: c.action, Traits: []string{SkyTarget, Tracks}, Lacks: things()}, f, noon()), c.rule)
			assert.Equal(t, verdict.Holds, got.Effect, "%s %s", c.rule, c.action)
			assert.Contains(t, got.Remedy, want, "%s %s, of which a homing leaves %v", c.rule, c.action, leaves)
			need := verdict.NeedHoming
			if want == c.without {
				need = verdict.NeedAttendance
				assert.Contains(t, got.Remedy, "--sigma DEGREES", c.rule)
			}
			assert.Equal(t, []verdict.Need{{Kind: need, Sentence: got.Remedy}}, got.Needs, "%s %s", c.rule, c.action)
		}
	}
}

// TestWhatIsSharpWithoutTwin: where the fact without uncertainty is not known, homing may help.
func TestWhatIsSharpWithoutTwin(t *testing.T) {
	f := good()
	f.Number("sun_separation_deg", 26, facts.Computed)
	f.Lack("sun_separation_sharp_deg", "nobody knows", "sample")
	f.Number("homing_leaves_ratio", 1, facts.Computed)
	got := of(t, loaded(t).Judge(t.Context(), slew(), f, noon()), "sun/apart")
	assert.Equal(t, verdict.Holds, got.Effect)
	assert.Contains(t, got.Remedy, "Home the rig")
}

// TestRemediesWithoutHomingFitTheAction as the others do.
func TestRemediesWithoutHomingFitTheAction(t *testing.T) {
	tried := 0
	for _, r := range loaded(t).lib.rules {
		for _, action := range r.Actions {
			for name, m := range r.codes {
				if m.Homed == nil {
					continue
				}
				tried++
				got := remedyFor(action, m.Homed.Remedies, m.Homed.Remedy)
				assert.NotRegexpf(t, foreign()[action], got, "%s %s, asked to %s", r.ID, name, action)
				assert.Regexp(t, `^[A-Z].*\.$`, got, "%s %s", r.ID, name)
			}
		}
	}
	assert.Positive(t, tried)
}

// TestHomedIsReadAndChecked: each thing that may be wrong with it is named, and nothing of one that is right.
func TestHomedIsReadAndChecked(t *testing.T) {
	says := func(h homed, effect string, limit any) []string {
		c := metaCheck{rule: &rule{custom: custom{Actions: []string{Home}}, source: source{order: []string{"x", "y"}}}}
		c.homed("some", code{Fact: "x", Limit: limit, Homed: &h, effect: effect})
		var out []string
		for _, f := range c.faults {
			out = append(out, f.Wanted)
		}
		return out
	}
	right := homed{Sharp: "y", Remedy: "Wait.", Remedies: map[string]string{Home: "Stay."}, Need: []verdict.NeedKind{verdict.NeedTime}}
	assert.Empty(t, says(right, "hold", 0.0))
	assert.Equal(t, []string{"some: homed on a hold that a limit makes"}, says(right, "deny", 0.0))
	assert.Equal(t, []string{"some: homed on a hold that a limit makes"}, says(right, "hold", nil))
	wrong := right
	wrong.Sharp = "z"
	assert.Equal(t, []string{"some: homed: a sharp fact that the rule reads"}, says(wrong, "hold", 0.0))
	wrong = right
	wrong.Sharp = ""
	assert.Empty(t, says(wrong, "hold", 0.0))
	wrong.Remedies = map[string]string{"dance": "Stop."}
	assert.Equal(t, []string{"some: homed: remedies: some of [home]"}, says(wrong, "hold", 0.0))
	wrong = right
	wrong.Remedy = ""
	assert.Equal(t, []string{"some: homed: a remedy and a need"}, says(wrong, "hold", 0.0))
	wrong = right
	wrong.Need = nil
	assert.Equal(t, []string{"some: homed: a remedy and a need"}, says(wrong, "hold", 0.0))
	wrong.Need = []verdict.NeedKind{"luck"}
	assert.Equal(t, []string{"some: homed: a known need"}, says(wrong, "hold", 0.0))
}

// TestHomingHelpsWhereNothingTellsOtherwise: a finding with no number or no limit keeps its usual remedy.
func TestHomingHelpsWhereNothingTellsOtherwise(t *testing.T) {
	f := facts.Set{}
	f.Number("homing_leaves_ratio", 2, facts.Computed)
	n, limit := 3.0, 1.0
	in := loaded(t).lib.read(good())
	number, none := &verdict.Reading{Name: "x", Number: &n}, &verdict.Reading{Name: "x"}
	assert.True(t, (&homed{}).holds(verdict.Finding{Fact: number, Limit: &limit}, in, f))
	assert.False(t, (&homed{}).holds(verdict.Finding{Fact: none, Limit: &limit}, in, f))
	assert.False(t, (&homed{}).holds(verdict.Finding{Fact: number}, in, f))
	assert.False(t, (&homed{}).holds(verdict.Finding{Fact: number, Limit: &limit}, in, facts.Set{}))
	assert.False(t, (&homed{Sharp: "pose_state"}).holds(verdict.Finding{Fact: number, Limit: &limit}, in, f), "a word is no number")
}

// TestRemediesNameTheCommands: who lets the mount take its home anew is told how that is reported; who creeps or jogs from beyond the travel is
// not sent farther out; and what is rare does not come first.
func TestRemediesNameTheCommands(t *testing.T) {
	s := loaded(t)
	said := func(rule, code, action string) string {
		for _, r := range s.lib.rules {
			if r.ID == rule {
				return remedyFor(action, r.codes[code].Remedies, r.codes[code].Remedy)
			}
		}
		return ""
	}
	for _, c := range [][3]string{
		{"belief/agrees", "belief_off", Park}, {"end/bounded", "ends_spread", Slew}, {"end/bounded", "ends_spread", Sync}, {"end/bounded", "ends_spread", Flip},
		{"pose/sharp", "axis1_blurred", Slew}, {"pose/sharp", "axis2_blurred", Sync}, {"sync/jump", "axis1_leaps", Sync}, {"sync/jump", "axis2_leaps", Sync},
	} {
		assert.Regexp(t, `a start anew there \(tell RIG act controller-restarted …\), then state that it is home \(tell RIG homed …\)\.`, said(c[0], c[1], c[2]), "%v", c)
	}
	assert.Regexp(t, `^See that .* about a turn apart, choose another target instead\.$`, said("end/bounded", "ends_spread", Slew))
	for _, action := range []string{Retreat, Track, Jog, Creep, Home, Park} { // nothing may lead out of there but a hand
		assert.Contains(t, said("sun/apart", "sun_near", action), "Where the tube points there already, cover it at once, turn it away by hand without looking through it", action)
	}
	for action, word := range map[string]string{Creep: "creep", Jog: "jog"} {
		assert.Contains(t, said("sky/floor", "below_floor", action), "Where it points below the floor already, "+word+" it farther up, or turn it up by hand")
	}
	for _, axis := range []string{"1", "2"} {
		for _, end := range []string{"low", "high"} {
			for action, word := range map[string]string{Creep: "creep", Jog: "jog"} {
				want := "Where axis " + axis + " stands beyond its travel already, " + word + " it farther back in, or turn it back by hand"
				assert.Contains(t, said("travel/axis"+axis, "axis"+axis+"_past_"+end, action), want)
			}
		}
	}
}
