package rules

import (
	"io/fs"
	"slices"
)

// Actions that a question can ask for. "retreat" is a slew by axes to home or to a place of rest in the rig file.
const (
	Slew    = "slew"
	Retreat = "retreat"
	Sync    = "sync"
	Track   = "track"
	Jog     = "jog"
	Creep   = "creep"
	Home    = "home"
	Park    = "park"
	Flip    = "flip"
)

// Traits of a question.
const (
	SkyTarget = "sky_target" // a slew to a place on the sky
	Tracks    = "tracks"     // tracking follows
)

// actions returns every action.
func actions() []string { return []string{Slew, Retreat, Sync, Track, Jog, Creep, Home, Park, Flip} }

// equipment is what a rig may lack, in order, with the rule that judges it where it does not.
var equipment = [...]struct{ thing, rule string }{{"drag", "drag/normal"}, {"neighbours", "neighbour/clear"}, {"roof", "roof/state"}}

// things are the names of what a rig may lack, in order.
func things() []string {
	out := make([]string, len(equipment))
	for i, e := range equipment {
		out[i] = e.thing
	}
	return out
}

// Unjudged returns the equipment that a rig declares to have, by lacking it not, and that no rule among policies judges: such a rig
// does not load (design, section 18), since every motion of it would hold for ever.
func Unjudged(policies fs.FS, lacks []string) []string {
	var out []string
	for _, e := range equipment {
		if _, err := fs.Stat(policies, "rules/"+e.rule); err != nil && !slices.Contains(lacks, e.thing) {
			out = append(out, e.thing)
		}
	}
	return out
}

// The rules that must have judged before a question may be allowed (design, section 18, "Required rules"). A set without
// them does not load.
//
//	every question                  lock/none
//	slew by sky, sync, track,
//	flip, park                      time/agree, mount/map
//	motions                         rig/proven, asker/fallback, clear/path, travel/*, sky/floor, sun/apart,
//	                                and roof/state, neighbour/clear, drag/normal unless the rig lacks roof, neighbours, drag
//	slew, flip, track, park         pose/*, belief/agrees, end/bounded
//	sky targets                     sky/horizon
//	whatever tracks                 track/fits
//	retreat, jog, creep             of pose/* only pose/fresh, no belief/*
//	creep                           clear/opens in the place of clear/path
//	home                            neither
//	sync                            pose/fresh, pose/sharp, solve/*, sync/*, end/bounded

func everyQuestion() []string { return []string{"lock/none"} }

func bySky() []string { return []string{"time/agree", "mount/map"} }

// anyMotion are the rules of all that moves, but for those of its way.
func anyMotion() []string {
	return []string{"rig/proven", "asker/fallback", "travel/axis1", "travel/axis2", "sky/floor", "sun/apart"}
}

func motion() []string {
	return append([]string{"clear/path"}, anyMotion()...)
}

func byBelief() []string {
	return []string{"pose/known", "pose/fresh", "pose/sharp", "belief/agrees", "end/bounded"}
}

func bySolve() []string {
	return []string{
		"pose/fresh", "pose/sharp", "end/bounded",
		"solve/fresh", "solve/still", "solve/optics", "solve/quality", "solve/blind",
		"sync/expected", "sync/second", "sync/jump", "sync/sum", "sync/walk", "sync/given", "sync/rate",
	}
}

// Required returns the ids of the rules that must have judged such a question, and passed, before it may be allowed; by id.
// An action that nobody knows requires every rule that any action requires.
func Required(sub Subject) []string {
	need := everyQuestion()
	switch sub.Action {
	case Sync:
		need = slices.Concat(need, bySky(), bySolve())
	case Slew, Track, Flip, Park:
		need = slices.Concat(need, motion(), byBelief(), sky(sub))
	case Retreat, Jog:
		need = slices.Concat(need, motion(), []string{"pose/fresh"})
	case Creep:
		need = slices.Concat(need, anyMotion(), []string{"clear/opens", "pose/fresh"})
	case Home:
		need = slices.Concat(need, motion())
	default:
		need = slices.Concat(need, motion(), byBelief(), bySky(), bySolve(), []string{"clear/opens", "sky/horizon", "track/fits"})
	}
	if sub.Action == Track || slices.Contains(sub.Traits, Tracks) && slices.Contains([]string{Slew, Retreat, Jog, Flip}, sub.Action) {
		need = append(need, "track/fits")
	}
	return unique(append(need, ofEquipment(sub)...))
}

// sky returns what a question about a place on the sky requires. A slew by axes has none; a park goes to no sky target, but
// by what the mount makes of its clock.
func sky(sub Subject) []string {
	switch {
	case sub.Action == Slew && !slices.Contains(sub.Traits, SkyTarget):
		return nil
	case sub.Action == Park:
		return bySky()
	}
	return append(bySky(), "sky/horizon")
}

// ofEquipment returns the rules of what the rig has, for motions.
func ofEquipment(sub Subject) []string {
	var need []string
	for _, e := range equipment {
		if sub.Action != Sync && !slices.Contains(sub.Lacks, e.thing) {
			need = append(need, e.rule)
		}
	}
	return need
}

// requiredAtLoad returns every id that some question about a bare rig requires.
func requiredAtLoad() []string {
	var need []string
	for _, a := range actions() {
		need = append(need, Required(bare(a))...)
	}
	return unique(need)
}

// bare is the question with all traits about a rig without roof, neighbours or drag reading.
func bare(action string) Subject {
	return Subject{Action: action, Traits: []string{SkyTarget, Tracks}, Lacks: things()}
}

// requiredFor returns the actions that require a rule.
func requiredFor(id string) []string {
	var out []string
	for _, a := range actions() {
		if slices.Contains(Required(Subject{Action: a, Traits: []string{SkyTarget, Tracks}}), id) {
			out = append(out, a)
		}
	}
	return out
}

// unique sorts ids and drops the repeated.
func unique(ids []string) []string {
	slices.Sort(ids)
	return slices.Compact(ids)
}
