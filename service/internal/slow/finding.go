package slow

import (
	"fmt"
	"math"
	"slices"
)

// Finding is what is thought of one rule: spares in the unit of its limit, negative where it is broken.
type Finding struct {
	// Seen is the least spare of any play: below zero the rule must not pass.
	Seen float64
	// Wide is the least spare with all that a proof may add: overruns, waits and dithers anywhere on the way. Well above zero, the rule
	// should pass, as far as enough was played.
	Wide float64
	// Sharp and SharpWide are the same without the pose's uncertainty, of the place where the rig may be that has the greatest: below zero
	// the rule should deny, well above it must not.
	Sharp, SharpWide float64
	// Denies: broken as it stands, the rule denies.
	Denies bool
	// Missing: what the rule needs is not known, so that it must hold.
	Missing string
	// Slack is what a lawful proof may leave unsaid beside Wide: a disc on the sky in the place of a box of the axes, say.
	Slack float64
	// Said is the play that has the least spare.
	Said string

	sharp, sharpWide map[int]float64
}

// Answer is what is thought of a question: a finding of every rule that judges it.
type Answer map[string]*Finding

// take takes one spare in: of a place where the rig may be, without its uncertainty or not, as it was played or widened.
func (f *Finding) take(spare float64, from int, sharp, wide bool, say func() string) {
	if !wide && spare < f.Seen {
		f.Seen = spare
		if spare < 0 {
			f.Said = say()
		}
	}
	f.Wide = min(f.Wide, spare)
	if !sharp {
		return
	}
	if old, ok := f.sharpWide[from]; !ok || spare < old {
		f.sharpWide[from] = spare
	}
	if old, ok := f.sharp[from]; !wide && (!ok || spare < old) {
		f.sharp[from] = spare
	}
}

// settle works out the best of the places.
func (f *Finding) settle() {
	f.Sharp, f.SharpWide = best(f.sharp), best(f.sharpWide)
	if len(f.sharp) < len(f.sharpWide) { // of some place only what may be was played
		f.Sharp = math.Inf(1)
	}
}

func best(places map[int]float64) float64 {
	if len(places) == 0 {
		return math.Inf(1)
	}
	most := math.Inf(-1)
	for _, v := range places {
		most = max(most, v)
	}
	return most
}

// exact is the finding of a rule about plain numbers.
func exact(spare float64) *Finding {
	return &Finding{Seen: spare, Wide: spare, Sharp: spare, SharpWide: spare, Said: fmt.Sprintf("%.4g to spare", spare)}
}

func missing(why string) *Finding {
	f := exact(math.Inf(-1))
	f.Missing, f.Said = why, why
	return f
}

func played() *Finding {
	return &Finding{Seen: math.Inf(1), Wide: math.Inf(1), sharp: map[int]float64{}, sharpWide: map[int]float64{}}
}

// Rules is which rules judge a question: design, section 18. The names of the first list are those of all motions.
func Rules(kind string, sky, follows bool) []string {
	out := []string{"lock/none"}
	is := func(kinds ...string) bool { return slices.Contains(kinds, kind) }
	if is("slew") && sky || is("sync", "track", "flip", "park") {
		out = append(out, "time/agree", "mount/map")
	}
	if kind != "sync" {
		clear := "clear/path"
		if kind == "creep" {
			clear = "clear/opens"
		}
		out = append(out, "rig/proven", "asker/fallback", clear, "travel/axis1", "travel/axis2", "sky/floor", "sun/apart")
	}
	switch {
	case is("slew", "flip", "track", "park"):
		out = append(out, "pose/known", "pose/fresh", "pose/sharp", "belief/agrees", "end/bounded")
	case is("retreat", "jog", "creep"):
		out = append(out, "pose/fresh")
	case kind == "sync":
		out = append(out, "pose/fresh", "pose/sharp", "end/bounded", "solve/fresh", "solve/still", "solve/optics", "solve/quality", "solve/blind",
			"sync/expected", "sync/second", "sync/jump", "sync/sum", "sync/walk", "sync/given", "sync/rate")
	}
	if is("slew") && sky || is("track", "flip") {
		out = append(out, "sky/horizon")
	}
	if kind == "track" || follows && kind != "sync" && kind != "home" && kind != "park" {
		out = append(out, "track/fits")
	}
	return out
}

// Defaults are the limits of section 19 by rule and name. Travel is the rig's own.
func Defaults() map[string]float64 {
	return map[string]float64{
		"pose/fresh age_s": 10, "pose/fresh moving_age_s": 2, "pose/sharp sigma_deg": 1.2, "belief/agrees sky_deg": 3, "end/bounded spread_deg": 5,
		"clear/path part_mm": 10, "clear/path general_mm": 10, "clear/opens closing_mm_per_deg": 0.02, "sky/floor altitude_deg": -3, "sky/horizon above_deg": 0, "sun/apart separation_deg": 30,
		"track/fits spare_s": 60, "asker/fallback unstopped_spare_s": 600, "solve/fresh age_s": 120, "solve/still motion_arcsec": 30,
		"solve/optics scale_ratio": 0.02, "solve/optics rotation_deg": 3, "solve/quality matched": 12, "solve/quality residual_ratio": 1,
		"solve/quality altitude_deg": 15, "solve/blind hint_deg": 10, "sync/expected first_arcmin": 180, "sync/expected d2": 13.8,
		"sync/expected deny_arcmin": 600, "sync/second agree_arcmin": 10, "sync/jump axis_deg": 3, "sync/jump axis_expected_deg": 5, "sync/sum axis_deg": 5, "sync/rate per_10min": 6, "sync/given off_arcmin": 15, "sync/walk walk_sigma": 4, "sync/walk run_sigma": 8, "sync/walk drift_sigma": 4, "sync/walk taken_arcmin": 20, "solve/quality matched_expected": 4,
		"time/agree skew_s": 5, "time/agree error_s": 20, "mount/map axis_deg": 0.5, "rig/proven residual_mm": 10, "rig/proven age_days": 365,
		"permit start_within_s": 10, "permit start_tolerance_deg": 0.5,
	}
}
