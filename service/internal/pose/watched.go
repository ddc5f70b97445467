package pose

import (
	"time"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// watchedEvery is how far apart samples under way may be that show a motion all along. Choice: at 3°/s 15° of a way.
const watchedEvery = 5 * time.Second

// watched tells whether samples under way show by belief alone that a permitted motion stopped where it now rests, short of its ends: belief went
// along the way without a halt, it cannot have come to an end since the last of them, and nothing else moves it. No sync by what the file declares
// (best), no restart by the run mark; no side in question, and no place where belief tells little of the axes.
func (t *turn) watched(m *move, seems rig.Axes) bool {
	p := m.permit
	switch {
	case m.kind != rig.UnsyncedBelief || p.BegunAt == nil || p.Told == string(Done) || p.Told == string(NotMoved) || t.strayed(m):
		return false
	case m.y.RunMark == "" || m.x.RunMark != m.y.RunMark:
		return false
	case t.s.Sample == nil || t.s.Sample.Belief == nil || m.y.Belief == nil || t.s.Sample.Belief.Sky == m.y.Belief.Sky:
		return false // a belief that repeats itself shows no stop: at rest the sky goes by
	case t.mayBeUsed(m):
		return false
	case t.r.Mount.FlipsItself || !t.keptAlike(m, seems) || !t.plain(m, seems):
		return false
	}
	for _, e := range p.Ends {
		if t.r.Kind.SideOf(e) != t.r.Kind.SideOf(seems) {
			return false
		}
	}
	return t.wentAlong(m, seems)
}

// mayBeUsed tells whether a sync leave that waited when the motion began may have been used in it, and nobody told: its step cannot be told from the motion.
func (t *turn) mayBeUsed(m *move) bool {
	l := t.s.Leave
	return l != nil && l.UseBy.After(when(m.x)) && !t.usedAlready(l)
}

// keptAlike tells whether belief says the same of where the rig rests in whatever form the mount keeps its syncs.
func (t *turn) keptAlike(m *move, seems rig.Axes) bool {
	return (len(t.s.Steps) == 0 || t.beliefAgrees(m, seems, rig.KeptOnAxes) && t.beliefAgrees(m, seems, rig.KeptOnSky)) &&
		(t.s.Kept == nil || t.beliefAgrees(m, seems, rig.KeptAnew) && t.beliefAgrees(m, seems, rig.KeptSince))
}

// plain tells whether belief tells the axes at a place: on the side of the start, away from the end of axis 1, and where the mount's map turns
// about the pole from that too.
func (t *turn) plain(m *move, a rig.Axes) bool {
	if !t.r.Kind.Equatorial() && unit.HalfTurn/2-m.vy.dec.Abs() < t.zone() {
		return false
	}
	return !t.nearEnd(a) && t.r.Kind.SideOf(a) == t.r.Kind.SideOf(t.s.Anchored[0].Axes)
}

// wentAlong tells whether the samples since a permit began show the rig going on, each within the way checked and soon after the last, to where no
// end lies within reach of what was not seen.
func (t *turn) wentAlong(m *move, seems rig.Axes) bool {
	p := m.permit
	low, high := t.mayRest(p)
	on := func(a rig.Axes) bool {
		return t.plain(m, a) && !beyond(excess(a, [2]rig.Axes{low, high}), t.arrivalSlack(p, a))
	}
	var last question.SampleMark
	seen, at := 0, p.From
	for _, s := range t.s.Recent {
		if s.Doing != question.Moving || s.Time.Before(*p.BegunAt) {
			continue
		}
		if !on(s.Axes) || !beyond(s.Axes.Sub(at), rig.Axes{A1: leastMove, A2: leastMove}) || seen > 0 && s.Time.Sub(last.Time) > watchedEvery {
			return false
		}
		last, at = s, s.Axes
		seen++
	}
	if seen < 2 || !on(seems) || when(m.y).Sub(last.Time) > watchedEvery {
		return false
	}
	reach := t.fastest(&question.Sample{Time: last.Time}, m.y)
	if beyond(seems.Sub(last.Axes), reach) {
		return false
	}
	for _, e := range p.Ends {
		past := t.arrivalSlack(p, e).Add(t.r.Motion.Overrun.Abs())
		if !beyond(e.Sub(last.Axes), reach.Add(past)) {
			return false
		}
	}
	return true
}
