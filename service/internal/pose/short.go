package pose

import (
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// had bounds from above how long the axes may have turned when a sample shows them at rest, seconds: since the sample before by the asker's clock, since
// the permit began by the service's; the longer, so that one clock that was set back makes nothing shorter.
func (m *move) had() float64 {
	had := seconds(when(m.y).Sub(when(m.x)))
	if !m.y.Received.IsZero() {
		had = max(had, seconds(m.y.Received.Sub(*m.permit.BegunAt)))
	}
	return had
}

// cutShort tells whether a motion that was stopped, or whose leave was taken back, can have come to none of its ends in the time that it had, from
// any place held.
func (t *turn) cutShort(m *move) bool {
	p := m.permit
	if p.Told != string(Stopped) && p.Told != string(Failed) && p.State != question.Withdrawn || p.Action.Kind == question.Home || len(p.Ends) == 0 {
		return false
	}
	had := max(0, m.had()) + roundness
	far := rig.Axes{A1: unit.Deg(t.r.Motion.RateDeg[0] * rush * had), A2: unit.Deg(t.r.Motion.RateDeg[1] * rush * had)}
	for _, e := range p.Ends {
		past := t.arrivalSlack(p, e).Add(t.r.Motion.Overrun.Abs())
		for _, c := range t.s.Anchored {
			if !beyond(e.Sub(c.Axes), far.Add(past)) {
				return false
			}
		}
	}
	return true
}

// roundness is what the times of two samples may be rounded by together, seconds: whole seconds. Choice, as in fastest.
const roundness = 1

// brief is for how long, seconds, a motion may have gone on for all to which it may have come to be one place: at 3°/s about as wide as what pose/sharp lets
// pass. Choice.
const brief = 2.5

// briefly tells whether a motion was over so soon, by a belief of that time: the sky goes by over a mount at rest, so that one which repeats itself may come
// of a driver that hangs while the axes turn on; nor may a sync leave have been used meanwhile.
func (t *turn) briefly(m *move) bool {
	last := t.s.Sample
	lives := m.y.Doing == question.AtRest && m.believed && last != nil && last.Belief != nil && last.Belief.Sky != m.y.Belief.Sky
	return lives && m.had() <= brief && !t.mayBeUsed(m)
}

// stopped is where a motion rests that was cut short and soon over: where it set out, or as far on its way as the axes may have come since; nil where it was
// not, or what is seen of it lies elsewhere.
func (t *turn) stopped(m *move, seems rig.Axes) []question.Candidate {
	if !t.cutShort(m) || !t.briefly(m) {
		return nil
	}
	var out []question.Candidate
	within := false
	for _, c := range t.s.Anchored {
		b := t.brokenOff(m, c)
		within = within || !beyond(seems.Sub(b.Axes), question.Sigma3(b.Sigma).Add(t.wide(b.Axes, leastMove)))
		out = append(out, b)
	}
	if !within {
		return nil
	}
	return out
}
