package pose

import (
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// atHomeAgain tells whether a count that turned, nobody having asked for that, reads as it does at home while no run mark vouches for it: a
// mount that restarted takes itself to be at home, and its belief goes there with its count. It may as well have gone home.
func (t *turn) atHomeAgain(k rig.SourceKind, x, y *question.Sample, turned rig.Axes) bool {
	here, ok := reading(y, k)
	if !ok || t.vouched(x, y) || !beyond(turned, rig.Axes{A1: leastMove, A2: leastMove}) {
		return false
	}
	homes := []rig.Axes{{}, t.r.Home} // a count that begins anew, of zero or of home; and the one that is counted from
	if h := t.s.Homing; h != nil {
		homes = append(homes, t.r.Home.Add(h.CountZero[k]))
	}
	was, _ := reading(x, k)
	near := rig.Axes{A1: leastMove, A2: leastMove}
	for _, home := range homes {
		if !beyond(here.Sub(home), near) && beyond(was.Sub(home), near) {
			return true
		}
	}
	return false
}

// wentHome tells whether a count went home under a permit that has another end.
func (t *turn) wentHome(m *move, to rig.Axes) bool {
	from := t.s.Anchored[0].Axes
	return counted(m.kind) && t.atHomeAgain(m.kind, m.x, m.y, excess(to.Sub(from), t.drift(from, m.x, m.y)))
}

// mayHaveTurned spreads the places held, where nothing but belief tells, over the ends of a permitted motion that belief cannot tell from
// its start, for both lie near the end of axis 1: at rest it may not have begun, be over, or be broken off between.
func (t *turn) mayHaveTurned(m *move) {
	var ends []question.Candidate
	for _, e := range t.ends(m) {
		if t.nearEnd(e.Axes) {
			ends = append(ends, e)
		}
	}
	var cands []question.Candidate
	for _, c := range t.s.Anchored {
		if t.nearEnd(c.Axes) {
			for _, e := range ends {
				past := question.Sigma3(e.Sigma).Add(t.r.Motion.Overrun.Abs())
				if m.permit.Action.Kind == question.Home {
					past = past.Add(t.r.Homing.Search.Abs())
				}
				c = reaching(c, e.Axes.Sub(past), e.Axes.Add(past))
			}
		}
		cands = append(cands, c)
	}
	t.anchorAt(m.y, cands, rig.Reckoned)
}

// reaching stretches a candidate until its three standard deviations reach over a box too; one that does already stays.
func reaching(c question.Candidate, low, high rig.Axes) question.Candidate {
	wide := question.Sigma3(c.Sigma)
	from, to := c.Axes.Sub(wide), c.Axes.Add(wide)
	low, high = smaller(low, from), larger(high, to)
	if low == from && high == to {
		return c
	}
	c.Axes, c.Sigma = low.Add(high).Scale(0.5), high.Sub(low).Scale(1.0/6)
	return c
}
