package rules

import (
	"math"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/verdict"
)

func of(t testing.TB, findings []verdict.Finding, rule string) verdict.Finding {
	t.Helper()
	i := slices.IndexFunc(findings, func(f verdict.Finding) bool { return f.Rule == rule })
	require.GreaterOrEqualf(t, i, 0, "no finding of %s", rule)
	return findings[i]
}

// TestGoodFactsAllowEveryAction judges the same good facts for every action.
func TestGoodFactsAllowEveryAction(t *testing.T) {
	s := loaded(t)
	for _, action := range actions() {
		for _, traits := range [][]string{nil, {SkyTarget}, {Tracks}, {SkyTarget, Tracks}} {
			sub := Subject{Action: action, Traits: traits, Lacks: []string{"roof", "neighbours", "drag"}}
			got := s.Judge(t.Context(), sub, good(), noon())
			require.Len(t, got, 30)
			assert.Equalf(t, verdict.Allow, verdict.Combine(got, s.IDs(), Required(sub)), "%s %v: %+v", action, traits, got)
		}
	}
}

// TestWithoutOneFactNothingNeededPasses takes each fact away in turn: every finding of a rule that reads it is a hold that
// names it, unless the rule has a stand-in and passes without.
func TestWithoutOneFactNothingNeededPasses(t *testing.T) {
	s := loaded(t)
	for _, r := range s.lib.rules {
		for _, fact := range r.source.order {
			for what, f := range lacking(fact) {
				got := of(t, s.Judge(t.Context(), everything(), f, noon()), r.ID)
				if what == "gone" && optional(r, fact) {
					continue // TestOptionalFacts
				}
				if what == "text" && r.source.checked[fact] == wordKind || what == "number" && r.source.checked[fact] == numberKind || what == "truth" && r.source.checked[fact] == truthKind {
					continue
				}
				assert.Equalf(t, verdict.Holds, got.Effect, "%s without %s (%s): %+v", r.ID, fact, what, got)
				if assert.NotNil(t, got.Fact) {
					assert.Equalf(t, fact, got.Fact.Name, "%s without %s (%s)", r.ID, fact, what)
				}
				assert.Containsf(t, got.Sentence, s.lib.titles[fact], "%s without %s (%s)", r.ID, fact, what)
				assert.NotEmpty(t, got.Remedy)
				assert.NotEmpty(t, got.Needs)
			}
		}
	}
}

// lacking returns good facts with one of them damaged, each in another way.
func lacking(fact string) map[string]facts.Set {
	out := map[string]facts.Set{}
	for _, what := range []string{"gone", "never asked for", "text", "truth", "number", "NaN", "infinite", "huge", "two at once", "empty"} {
		out[what] = good()
	}
	nan, inf, huge, word := math.NaN(), math.Inf(-1), -2e300, "x"
	out["gone"].Lack(fact, "the sample does not say", "sample")
	delete(out["never asked for"], fact)
	out["text"].Word(fact, "known", facts.Told)
	out["truth"].Truth(fact, true, facts.Told)
	out["number"].Number(fact, 0, facts.Told)
	out["NaN"][fact] = facts.Fact{Number: &nan}
	out["infinite"][fact] = facts.Fact{Number: &inf}
	out["huge"][fact] = facts.Fact{Number: &huge}
	out["two at once"][fact] = facts.Fact{Number: &huge, Word: &word}
	out["empty"][fact] = facts.Fact{}
	for _, what := range []string{"never asked for", "NaN", "infinite", "huge", "two at once", "empty"} {
		if slices.Contains([]string{"hint_radius_deg", "offset_d2", "proof_residual_mm", "proof_age_days"}, fact) || strings.Contains(fact, "sharp") {
			delete(out, what) // the same as gone, and optional
		}
	}
	return out
}

// TestOptionalFacts tells what a rule makes of a fact that may be missing.
func TestOptionalFacts(t *testing.T) {
	s := loaded(t)
	num := func(name string, v float64) func(facts.Set) {
		return func(f facts.Set) { f.Number(name, v, facts.Computed) }
	}
	truth := func(name string, v bool) func(facts.Set) {
		return func(f facts.Set) { f.Truth(name, v, facts.Told) }
	}
	gone := func(names ...string) func(facts.Set) {
		return func(f facts.Set) {
			for _, n := range names {
				f.Lack(n, "never measured", "")
			}
		}
	}
	cases := []struct {
		what, rule string
		change     []func(facts.Set)
		effect     verdict.Effect
		code, fact string
	}{
		{"never proven, somebody there", "rig/proven", []func(facts.Set){gone("proof_residual_mm", "proof_age_days"), truth("attended", true)}, verdict.Passes, "attended", "attended"},
		{"never proven, nobody there", "rig/proven", []func(facts.Set){gone("proof_residual_mm", "proof_age_days")}, verdict.Holds, "fact_missing", "proof_residual_mm"},
		{"age of the proof lost", "rig/proven", []func(facts.Set){gone("proof_age_days")}, verdict.Holds, "fact_missing", "proof_age_days"},
		{"first solve without scatter", "sync/expected", []func(facts.Set){gone("offset_d2"), truth("sync_is_first", true)}, verdict.Holds, "fact_missing", "offset_d2"},
		{"first solve, far by its scatter", "sync/expected", []func(facts.Set){num("offset_d2", 20), truth("sync_is_first", true)}, verdict.Holds, "first_unlike", "offset_d2"},
		{"later solve without scatter", "sync/expected", []func(facts.Set){gone("offset_d2")}, verdict.Holds, "fact_missing", "offset_d2"},
		{"later solve without scatter, far off", "sync/expected", []func(facts.Set){gone("offset_d2"), num("expected_offset_arcmin", 700), num("expected_offset_sharp_arcmin", 700)}, verdict.Denies, "solve_false", "expected_offset_sharp_arcmin"},
		{"far off, nearest not worked out", "sync/expected", []func(facts.Set){gone("expected_offset_sharp_arcmin"), num("expected_offset_arcmin", 700)}, verdict.Holds, "pose_in_doubt", "expected_offset_arcmin"},
		{"no hint known, harmless", "solve/blind", []func(facts.Set){gone("hint_radius_deg"), truth("hint_matters", false)}, verdict.Passes, "hint_harmless", "hint_matters"},
		{"no hint known, it matters", "solve/blind", []func(facts.Set){gone("hint_radius_deg")}, verdict.Holds, "fact_missing", "hint_radius_deg"},
		{"clear, sharp not worked out", "clear/path", []func(facts.Set){gone("clearance_sharp_spare_mm")}, verdict.Passes, "way_clear", "clearance_spare_mm"},
		{"not clear, sharp not worked out", "clear/path", []func(facts.Set){gone("clearance_sharp_spare_mm"), num("clearance_spare_mm", -80)}, verdict.Holds, "way_tight", "clearance_spare_mm"},
		{"past the end, sharp not worked out", "travel/axis1", []func(facts.Set){gone("axis1_sharp_max_deg"), num("axis1_travel_max_deg", 200)}, verdict.Holds, "axis1_near_high", "axis1_travel_max_deg"},
		{"below the floor, sharp not worked out", "sky/floor", []func(facts.Set){gone("altitude_sharp_min_deg"), num("altitude_min_deg", -20)}, verdict.Holds, "near_floor", "altitude_min_deg"},
		{"near the Sun, sharp not worked out", "sun/apart", []func(facts.Set){gone("sun_separation_sharp_deg"), num("sun_separation_deg", 2)}, verdict.Holds, "sun_uncertain", "sun_separation_deg"},
		{"too long, sharp not worked out", "track/fits", []func(facts.Set){gone("track_spare_sharp_s"), num("track_spare_s", -2)}, verdict.Holds, "track_tight", "track_spare_s"},
	}
	for _, c := range cases {
		f := good()
		for _, change := range c.change {
			change(f)
		}
		got := of(t, s.Judge(t.Context(), everything(), f, noon()), c.rule)
		assert.Equal(t, c.effect, got.Effect, c.what)
		assert.Equal(t, c.code, got.Code, c.what)
		assert.Equal(t, c.fact, got.Fact.Name, c.what)
	}
}

// TestFactsThatContradict names them instead of calling one missing.
func TestFactsThatContradict(t *testing.T) {
	s := loaded(t)
	got := s.lib.unknown(s.lib.find("pose/known"), s.lib.read(good()), good())
	assert.Equal(t, "facts_contradict", got.Code)
	assert.Equal(t, verdict.Holds, got.Effect)
}

// TestNotApplicable says why.
func TestNotApplicable(t *testing.T) {
	s := loaded(t)
	got := s.Judge(t.Context(), Subject{Action: Slew, Lacks: []string{"roof", "neighbours", "drag"}}, good(), noon())
	assert.Equal(t, "not_of_this_action", of(t, got, "solve/fresh").Code)
	assert.Equal(t, "not_sky_target", of(t, got, "sky/horizon").Code)
	assert.Equal(t, "not_tracks", of(t, got, "track/fits").Code)
	assert.Equal(t, verdict.NotApplicable, of(t, got, "track/fits").Effect)
	r := *s.lib.find("lock/none")
	r.custom.Needs = []string{"drag"}
	assert.Equal(t, "needs_no_drag", r.applies(slew()))
	assert.Empty(t, r.applies(Subject{Action: Slew}))
}

// TestEquipmentThatNobodyJudges holds, and says so.
func TestEquipmentThatNobodyJudges(t *testing.T) {
	s := loaded(t)
	sub := slew()
	sub.Lacks = []string{"neighbours", "drag"}
	got := s.Judge(t.Context(), sub, good(), noon())
	f := of(t, got, "roof/state")
	assert.Equal(t, verdict.Holds, f.Effect)
	assert.Equal(t, "rule_not_loaded", f.Code)
	assert.Contains(t, f.Sentence, "roof")
	assert.Equal(t, verdict.Hold, verdict.Combine(got, s.IDs(), Required(sub)))
	assert.True(t, slices.IsSortedFunc(got, func(a, b verdict.Finding) int { return strings.Compare(a.Rule, b.Rule) }))
}

// TestUnknownActionIsJudgedByAll never lets a word of tomorrow past a rule.
func TestUnknownActionIsJudgedByAll(t *testing.T) {
	s := loaded(t)
	for _, f := range s.Judge(t.Context(), Subject{Action: "leap"}, good(), noon()) {
		assert.NotEqual(t, verdict.NotApplicable, f.Effect, f.Rule)
	}
	assert.Subset(t, Required(Subject{Action: ""}), s.IDs())
}

// TestAbsentShows keeps the origin of what is not learnt yet.
func TestAbsentShows(t *testing.T) {
	f := good()
	f.Number("rotation_error_deg", 0, facts.Origin("absent"))
	f.Number("scale_error_ratio", 0, facts.Origin("absent"))
	got := of(t, loaded(t).Judge(t.Context(), everything(), f, noon()), "solve/optics")
	assert.Equal(t, verdict.Passes, got.Effect)
	assert.Equal(t, facts.Origin("absent"), got.Fact.Origin)
}

// TestFindingNamesWhatDecided shows fact, limit, unit, parts, instant and words of some findings.
func TestFindingNamesWhatDecided(t *testing.T) {
	f := good()
	v, at := -12.345, time.Date(2026, 11, 25, 21, 32, 5, 0, time.UTC)
	f["clearance_sharp_spare_mm"] = facts.Fact{Number: &v, Origin: facts.Computed, About: []string{"north leg", "dew shield"}, Instant: &at}
	f.Number("clearance_spare_mm", -14.2, facts.Computed, "north leg", "dew shield")
	f.Number("pose_sigma_axis2_deg", 1.2000001, facts.Computed, "axis 2")
	f.Number("track_spare_s", 45, facts.Computed)
	f.Number("clock_skew_s", 3600.2, facts.Told)
	f.Number("expected_offset_arcmin", 301.2, facts.Computed)
	f.Number("expected_offset_sharp_arcmin", 301.2, facts.Computed)
	f.Number("offset_d2", 41.5, facts.Computed)
	f.Number("lock_count", 2, facts.Computed, "lock-7", "lock-9")
	f.Lack("belief_error_sky_deg", "the mount has not said where it believes it points", "sample")
	got := loaded(t).Judge(t.Context(), everything(), f, noon())
	for rule, want := range map[string]string{
		"clear/path":     "deny way_blocked clearance_sharp_spare_mm: On this way north leg and dew shield would come 12.3 mm nearer than they may (at 21:32:05 UTC). | Choose another target, the other side if the mount uses both, or a way round.",
		"pose/sharp":     "hold axis2_blurred pose_sigma_axis2_deg: Axis 2 is known only to 1.2000001° (one standard deviation); 1.2° is the most. | Home the rig: that sharpens both axes. Where the next slew blurs them again, home it once more, let the mount itself take where it then stands for its home, by its own homing or by a start anew there (tell RIG act controller-restarted …), then state that it is home (tell RIG homed …).",
		"track/fits":     "hold track_tight track_spare_s: With the uncertainty of the pose counted, this track is 15 s too long, the spare of 60 s included: a limit. | Ask for a shorter track, or home the rig to sharpen the pose.",
		"time/agree":     "hold clocks_differ clock_skew_s: The asker's clock and the clock here differ by 60 min; 5 s is the most (set one of them). | Set both clocks by the network or by satellite.",
		"sync/expected":  "hold solve_far offset_d2: This solve lies 5.02° from where it is expected, which is 41.5 in squared sigmas; 13.8 is the most: no known mistake explains it. | Solve a second picture on another field; if it says the same, see whether a clutch was opened, the tripod moved or the polar axis stands degrees off, report that, or home the rig (other marks: and how sure they are).",
		"lock/none":      "hold locked lock_count: This rig is locked (lock-7 and lock-9). | A named person looks at the rig and releases what locks it, with a reason.",
		"belief/agrees":  "hold fact_missing belief_error_sky_deg: The angle between belief and pose is not known: the mount has not said where it believes it points. | Send a sample of the mount that tells what is missing, with the question or in a report, and ask again.",
		"asker/fallback": "pass stop_in_time unstopped_spare_s:  | ",
	} {
		x := of(t, got, rule)
		assert.Equal(t, want, string(x.Effect)+" "+x.Code+" "+x.Fact.Name+": "+x.Sentence+" | "+x.Remedy, rule)
	}
	locked := of(t, got, "lock/none")
	assert.Equal(t, []verdict.Need{{Kind: verdict.NeedRelease, Sentence: locked.Remedy, About: "lock-7"}, {Kind: verdict.NeedRelease, Sentence: locked.Remedy, About: "lock-9"}}, locked.Needs)
	blocked := of(t, got, "clear/path")
	assert.Equal(t, "mm", blocked.Unit)
	assert.Equal(t, -12.345, *blocked.Fact.Number)
	assert.Equal(t, 0.0, *blocked.Limit)
	assert.Equal(t, []string{"north leg", "dew shield"}, blocked.About)
	assert.Equal(t, at, *blocked.Instant)
}

// TestEveryCodeHasItsWords fills every hold and deny in: one sentence that ends, no hole left, the value and the limit in it.
func TestEveryCodeHasItsWords(t *testing.T) {
	s := loaded(t)
	in := s.lib.read(good())
	left := regexp.MustCompile(`[{}]|not known`)
	for _, r := range s.lib.rules {
		for name, m := range r.codes {
			f := s.decided(r, answer{leaf: leaf{m.effect, name}}, m, "everything", in, good())
			if m.effect == "pass" {
				assert.Empty(t, f.Sentence, name)
				continue
			}
			assert.NotRegexp(t, left, f.Sentence, name)
			assert.Regexp(t, `^[A-Z].*\.$`, f.Sentence, name)
			assert.Regexp(t, `^[A-Z].*\.$`, f.Remedy, name)
			if _, named := m.Limit.(string); named {
				// Value and limit, or by how much the one misses the other.
				assert.Regexpf(t, `\{value\}.*\{limit\}|\{miss\}|\{limit\}.*\{value\}`, m.Sentence, "%s %s", r.ID, name)
			}
			if m.effect == "hold" {
				assert.NotEmpty(t, f.Needs, name)
			}
			assert.NotRegexp(t, `\. [A-Z]`, f.Sentence, "one sentence")
		}
	}
	for _, k := range verdict.NeedKinds() {
		assert.Regexp(t, `^[A-Z].*\.$`, remedyOf(k), k)
	}
}

// TestLimitsOfEachRig binds the same rules to several rigs, at once, and shares what is equal.
func TestLimitsOfEachRig(t *testing.T) {
	s := loaded(t)
	again, err := s.With(testLimits(t))
	require.NoError(t, err)
	assert.Same(t, s.bound, again.bound, "equal limits are worked out once")
	strict, err := s.With(testLimits(t, limits.Entry{Rule: "sky/floor", Name: "altitude_deg", Value: 25}))
	require.NoError(t, err)
	assert.NotNil(t, strict.bound.conditions.Load(), "proven, as the first are")
	unproven, err := Read(dirFS(), testLimits(t))
	require.NoError(t, err)
	other, err := unproven.With(testLimits(t, limits.Entry{Rule: "sky/floor", Name: "altitude_deg", Value: 25}))
	require.NoError(t, err)
	assert.Nil(t, other.bound.conditions.Load(), "unproven, as the first are")
	assert.Equal(t, s.Digest(), strict.Digest())
	assert.NotEqual(t, s.Limits().Digest(), strict.Limits().Digest())
	strict.bound.patience = s.bound.patience
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			assert.Equal(t, verdict.Passes, of(t, s.Judge(t.Context(), slew(), good(), noon()), "sky/floor").Effect)
			got := of(t, strict.Judge(t.Context(), slew(), good(), noon()), "sky/floor")
			assert.Equal(t, verdict.Denies, got.Effect, "23.2° even without the uncertainty")
			assert.Equal(t, 25.0, *got.Limit)
		})
	}
	wg.Wait()
}

// TestLimitThatIsMissing refuses limits that lack what a rule compares with.
func TestLimitThatIsMissing(t *testing.T) {
	s := loaded(t)
	_, err := s.With(limits.Set{})
	require.ErrorIs(t, err, ErrFaulty)
	require.ErrorContains(t, err, "sky/floor altitude_deg")
}

// TestRulesSayWhatTheyAre lists them for people.
func TestRulesSayWhatTheyAre(t *testing.T) {
	s := loaded(t)
	all := s.Rules()
	require.Len(t, all, 30)
	for _, r := range all {
		assert.NotEmpty(t, r.Title)
		assert.NotEmpty(t, r.Facts)
		assert.NotEmptyf(t, r.RequiredFor, "%s is required by no action", r.ID)
	}
	assert.Len(t, s.Facts(), len(good()), "good() has every fact that a rule reads, and no other")
}

// TestRequired holds the table of the design.
func TestRequired(t *testing.T) {
	lacks := []string{"roof", "neighbours", "drag"}
	motion := []string{"asker/fallback", "clear/path", "lock/none", "rig/proven", "sky/floor", "sun/apart", "travel/axis1", "travel/axis2"}
	belief := []string{"belief/agrees", "end/bounded", "pose/fresh", "pose/known", "pose/sharp"}
	clock := []string{"mount/map", "time/agree"}
	solve := []string{"end/bounded", "lock/none", "pose/fresh", "pose/sharp", "solve/blind", "solve/fresh", "solve/optics", "solve/quality", "solve/still", "sync/expected", "sync/given", "sync/jump", "sync/rate", "sync/second", "sync/sum", "sync/walk"}
	for _, c := range []struct {
		sub  Subject
		want []string
	}{
		{Subject{Action: Slew, Lacks: lacks}, slices.Concat(motion, belief)},
		{Subject{Action: Slew, Lacks: lacks, Traits: []string{SkyTarget}}, slices.Concat(motion, belief, clock, []string{"sky/horizon"})},
		{Subject{Action: Slew, Lacks: lacks, Traits: []string{SkyTarget, Tracks}}, slices.Concat(motion, belief, clock, []string{"sky/horizon", "track/fits"})},
		{Subject{Action: Retreat, Lacks: lacks}, slices.Concat(motion, []string{"pose/fresh"})},
		{Subject{Action: Jog, Lacks: lacks, Traits: []string{Tracks}}, slices.Concat(motion, []string{"pose/fresh", "track/fits"})},
		{Subject{Action: Home, Lacks: lacks}, motion},
		{Subject{Action: Park, Lacks: lacks}, slices.Concat(motion, belief, clock)},
		{Subject{Action: Flip, Lacks: lacks}, slices.Concat(motion, belief, clock, []string{"sky/horizon"})},
		{Subject{Action: Track, Lacks: lacks}, slices.Concat(motion, belief, clock, []string{"sky/horizon", "track/fits"})},
		{Subject{Action: Sync}, slices.Concat(solve, clock)},
		{Subject{Action: Home}, slices.Concat(motion, []string{"drag/normal", "neighbour/clear", "roof/state"})},
	} {
		assert.Equalf(t, unique(c.want), Required(c.sub), "%+v", c.sub)
	}
}

// TestJudgeIsStable gives the same bytes again, and does not change the facts.
func TestJudgeIsStable(t *testing.T) {
	s := loaded(t)
	f := good()
	first := s.Judge(t.Context(), everything(), f, noon())
	for range 20 {
		require.Equal(t, first, s.Judge(t.Context(), everything(), f, noon()))
	}
	assert.Equal(t, good(), f)
}
