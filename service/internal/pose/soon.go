package pose

import (
	"math"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// soonShare is the share of its predicted time that a motion takes at least. Source: the project's design, section 3.
const soonShare = 0.8

// soonFor tells whether seconds are too few for a motion that needs so many; what is no number is. Half a second: whole seconds, and the permit's own way
// to the asker.
func soonFor(took, needs float64) bool { return !(took+0.5 >= soonShare*needs) }

// took bounds the time of a motion from above, by two clocks: the asker's, since the sample before it, and the service's, since the permit began.
func (m *move) took() float64 {
	took := seconds(when(m.y).Sub(when(m.x)))
	if !m.y.Received.IsZero() {
		took = min(took, seconds(m.y.Received.Sub(*m.permit.BegunAt)))
	}
	return took
}

// atRate is how many seconds a permitted motion to an end takes at the least: both axes at once, at their usual rates all along.
func (t *turn) atRate(p *question.Permit, end rig.Axes) float64 {
	d := end.Sub(p.From).Abs()
	return max(d.A1.Deg()/t.r.Motion.RateDeg[0], d.A2.Deg()/t.r.Motion.RateDeg[1])
}

// tooSoon tells, and puts in doubt, whether the rig came to rest sooner than the motion takes.
func (t *turn) tooSoon(m *move, all []landing) bool {
	p := m.permit
	if p.Action.Kind == question.Home || len(all) == 0 || all[0].end < 0 {
		return false
	}
	needs, took := t.needs(m, all), m.took()
	if !soonFor(took, needs) {
		return false
	}
	t.alarm(TooSoon, p.ID, "the rig rests at its end %.1f s after permit %s began; the motion takes %.1f s", took, p.ID, needs)
	t.doubt("a motion of %.1f s was over after %.1f s", needs, took)
	var cands []question.Candidate
	for _, l := range all {
		cands = append(cands, l.Candidate)
	}
	for _, c := range t.s.Anchored { // broken off on its way
		cands = append(cands, t.brokenOff(m, c))
	}
	t.anchorAt(m.y, cands, m.kind)
	return true
}

// needs is how many seconds a motion takes to the ends at which the rig may rest, to the nearest of them in time: another end of the same permit,
// as across the meridian, may take far longer.
func (t *turn) needs(m *move, all []landing) float64 {
	p, least := m.permit, math.Inf(1)
	for _, l := range all {
		for i, e := range p.Ends {
			if _, fits := t.offOf(m, l.Axes, i); !fits {
				continue
			}
			takes := p.Takes(i)
			if t.r.Motion.Sharing == rig.AnyOrder || i > 0 && len(p.EndS) != len(p.Ends) { // in any order may be both at once
				takes = t.atRate(p, e)
			}
			least = min(least, takes)
		}
	}
	return least
}

// sooner tells whether a motion whose end nothing shows was over before the axes can have come to any of its ends.
func (t *turn) sooner(m *move) bool {
	p := m.permit
	if p.Action.Kind == question.Home || len(p.Ends) == 0 {
		return false
	}
	needs := math.Inf(1)
	for _, e := range p.Ends {
		needs = min(needs, t.atRate(p, e))
	}
	return soonFor(m.took(), needs)
}
