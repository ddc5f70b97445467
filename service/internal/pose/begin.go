package pose

import (
	"fmt"
	"slices"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// unshown says what the sample of a begin leaves out of what its permit was judged by; empty: nothing.
func (t *turn) unshown(p *question.Permit, x *question.Sample) string {
	kind := p.Action.Kind
	switch {
	case kind == question.Home:
	case x.Belief == nil && !judgedFromCandidates(kind):
		return "its sample does not say where the mount believes it points, by which the motion goes"
	case p.Source != "" && t.rank(t.s.Pose.Source) > t.rank(p.Source):
		return t.leftTo(p, x)
	}
	return ""
}

// otherParts says which part the sample of a begin leaves in another state than its permit was judged in; empty: none.
func (t *turn) otherParts(p *question.Permit, x *question.Sample) string {
	switch part, was, is := t.r.Unjudged(p.Parts, x.Parts); {
	case part == "":
		return ""
	case is == "":
		return fmt.Sprintf("it was judged with %s, and its sample does not say how %s stands: tell it with the begin", was, part)
	default:
		return fmt.Sprintf("it was judged with %s, and its sample says %s: ask again with the parts as they stand", was, is)
	}
}

// partMoves takes a begun permit back where a sample says that a part stands in another state than the permit was judged in. One that names no
// state of the part says nothing of it.
func (t *turn) partMoves(x *question.Sample) {
	p := t.s.Permit
	if p == nil || p.State != question.Begun {
		return
	}
	shown := slices.Clone(x.Parts)
	for _, judged := range p.Parts {
		if !slices.ContainsFunc(x.Parts, func(s rig.PartState) bool { return s.Part == judged.Part }) {
			shown = append(shown, judged)
		}
	}
	if _, was, is := t.r.Unjudged(p.Parts, shown); is != "" {
		t.alarm(PartMoved, p.ID, "the sample of %s says %s, and permit %s was judged with %s: stop it", orElse(x.Asker, "an unnamed asker"), is, p.ID, was)
	}
}

// leftTo says which sample leaves the pose to a lesser source than the permit was judged by: that of the begin, or the one before it.
func (t *turn) leftTo(p *question.Permit, x *question.Sample) string {
	source := orElse(string(t.s.Pose.Source), "nothing")
	if _, shown := reading(x, p.Source); shown && t.before != nil {
		if _, before := reading(t.before, p.Source); !before {
			return fmt.Sprintf("it was judged by %s, which the sample of %s before this one did not read, and that leaves the pose to %s: begin with a further sample, or ask again",
				p.Source, orElse(t.before.Asker, "an unnamed asker"), source)
		}
	}
	return fmt.Sprintf("it was judged by %s, and its sample leaves the pose to %s: tell the same of the rig as when asking", p.Source, source)
}

// rank is the place of a source in the order of the file, best first; one that is not in it is the last.
func (t *turn) rank(k rig.SourceKind) int {
	i := slices.IndexFunc(t.r.Sources, func(s rig.Source) bool { return s.Kind == k })
	if i < 0 {
		return len(t.r.Sources)
	}
	return i
}

// offMap says in how far the mount's own clock and site forbid a motion that goes by its own map, as the rule mount/map would if it were
// asked now; empty: not at all.
func (t *turn) offMap(a question.Action, x *question.Sample) string {
	if !byMap(a) {
		return ""
	}
	if x.Sidereal == nil && t.r.Mount.TellsSidereal {
		return "its sample does not tell the mount's sidereal time"
	}
	m, err := t.w.Moment(when(x))
	if err != nil {
		return "the sky at its sample is not known: " + err.Error()
	}
	off, of := unit.Angle(0), "sidereal time"
	switch {
	case x.Sidereal != nil:
		off = (*x.Sidereal - m.SiderealTime(t.r.Site.Lon)).Wrapped()
	case t.s.Ahead != nil: // of a mount that cannot tell it, as somebody did
		off = *t.s.Ahead
	}
	if s := t.s.Site; s != nil {
		if d := (s.Lon - t.r.Site.Lon).Wrapped(); d.Abs() > off.Abs() {
			off, of = d, "longitude"
		}
		if d := s.Lat - t.r.Site.Lat; d.Abs() > off.Abs() {
			off, of = d, "latitude"
		}
	}
	if most := t.mapTolerance(); off.Abs() > most {
		return fmt.Sprintf("the mount's %s is %.2f° off ours; at most %.2f° is allowed: set it right", of, off.Abs().Deg(), most.Deg())
	}
	return ""
}

// byMap tells whether an action goes by the mount's own map of the sky: those that the rule mount/map judges.
func byMap(a question.Action) bool {
	switch a.Kind {
	case question.Slew:
		return a.Sky != nil
	case question.Track, question.Park, question.Flip, question.Sync:
		return true
	case question.Retreat, question.Jog, question.Creep, question.Home:
	}
	return false
}

// mapTolerance is the limit mount/map axis_deg.
func (t *turn) mapTolerance() unit.Angle {
	if t.w.MapTolerance > 0 {
		return t.w.MapTolerance
	}
	return 0.5 * unit.Degree
}
