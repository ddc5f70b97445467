package pose

import (
	"math"
	"slices"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// inferSlack is how far on the sky a mount may change the side that it infers from where we take it to change it: what its clock may be off
// unnoticed, refraction, and the precession of a position of another equinox. Common practice, no source.
const inferSlack = 2 * unit.Degree

// sideTurned looks, where nothing reads the axes, for a side told that changes where no inference changes it: the tube was turned over beside every
// leave, or the mount tells nonsense, and belief, which names a place on the sky, tells neither. Where an inferred side changes by itself it says
// nothing. A sensed one that changes sooner than the axes turn leaves the same two places.
func (t *turn) sideTurned(q *still) {
	before := t.sideBefore(q)
	t.s.SideTold = nil
	now, ok := sideOf(q.vy)
	if !ok {
		t.s.SideTold = before
		return
	}
	if before == nil || before.Side == now.Side || counted(q.kind) || t.mayBeOn(q, now.Side) || t.mayTurnTo(now.Side) {
		return
	}
	if !t.r.Mount.SideSensed && t.inferred(before, now, q.vy.dec) {
		return
	}
	t.raised = true
	t.alarm(UnaskedMotion, "", "the mount tells that the tube is on the %s side, and told %s before, at hour angle %.0f°, where no side changes by itself: it was turned over without a permit, or what it tells is wrong",
		now.Side, before.Side, now.Hour.Deg())
	t.doubt("the mount told another side (%s) with nothing permitted to move: it may have been turned over", now.Side)
	cands := slices.Clone(t.s.Anchored)
	for _, c := range t.s.Anchored {
		cands = append(cands, t.otherSide(q, c, now.Side)...)
	}
	t.settle(cands, q.kind, q.y)
}

// sideBefore is the side last told before the later of two quiet samples, nothing having moved since; nil: none was.
func (t *turn) sideBefore(q *still) *question.ToldSide {
	if s, ok := sideOf(q.vx); ok {
		return s
	}
	return t.s.SideTold
}

// sideOf is the side that a view's sample tells, and where its mount takes itself to be then.
func sideOf(v view) (*question.ToldSide, bool) {
	if !v.ok || v.x.Belief.Side == "" {
		return nil, false
	}
	return &question.ToldSide{Side: v.x.Belief.Side, Hour: (v.sky.Sidereal - v.ra).Wrapped(), Asker: v.x.Asker}, true
}

// inferred tells whether a side may be another than before because it is worked out anew from the hour angle: the mount came past where that
// changes, is near it, or is told of by another program, which may infer where the first one read it.
func (t *turn) inferred(before, now *question.ToldSide, dec unit.Angle) bool {
	if t.nearChange(before.Hour, dec) || t.nearChange(now.Hour, dec) || usual(rig.German, before.Hour) != usual(rig.German, now.Hour) {
		return true
	}
	return before.Asker != now.Asker && now.Side == usual(t.r.Kind, now.Hour)
}

// usual is the side inferred from an hour angle.
func usual(k rig.Kind, hour unit.Angle) rig.Side {
	both := k.Sides()
	if k == rig.German && hour < 0 {
		return rig.West
	}
	return both[0]
}

// nearChange tells whether a mount may change the side that it infers at an hour angle: from the meridian to where the file has its slews or itself
// change sides, under the pole too; near the pole, where a small angle on the sky is a large one of hour angle, anywhere.
func (t *turn) nearChange(hour, dec unit.Angle) bool {
	m := t.r.Mount
	ends := []unit.Angle{0, m.MeridianDelay}
	if m.FlipsItself {
		ends = append(ends, m.FlipAt)
	}
	slack := inferSlack / unit.Angle(max(math.Abs(dec.Cos()), 0.01))
	for _, at := range []unit.Angle{0, unit.HalfTurn} {
		for _, e := range ends {
			past := (hour - at).Wrapped()
			if past > min(0, e)-slack && past < max(0, e)+slack {
				return true
			}
		}
	}
	return false
}

// mayBeOn tells whether a place held lies on a side, or it or belief near the end of axis 1, where the sides meet.
func (t *turn) mayBeOn(q *still, side rig.Side) bool {
	met := t.r.Kind.Equatorial() && unit.HalfTurn/2-max(q.vx.dec.Abs(), q.vy.dec.Abs()) < t.zone()
	return met || t.heldOn(side) || slices.ContainsFunc(t.s.Anchored, func(c question.Candidate) bool { return t.nearEnd(c.Axes) })
}

// mayTurnTo tells whether a permitted motion, not yet seen over, may have led to a side.
func (t *turn) mayTurnTo(side rig.Side) bool {
	if !t.mayHaveMoved() {
		return false
	}
	for _, e := range t.s.Permit.Ends {
		if t.r.Kind.SideOf(e) == side {
			return true
		}
	}
	return len(t.s.Permit.Ends) == 0
}

// otherSide is everywhere that a place held at the later of two quiet samples may be if the tube was turned over to a side meanwhile.
func (t *turn) otherSide(q *still, c question.Candidate, side rig.Side) (out []question.Candidate) {
	forms := t.forms(c)
	for _, f := range forms {
		d := c
		if len(forms) > 1 {
			d.Kept = f
		}
		d.Axes = t.r.Lifts(c.Axes.Add(t.turned(c.Axes, f, q.vy, q.vy, side)), c.Axes)[0]
		if q.kind == rig.Reckoned {
			lost := larger(t.s.Lost, rig.Axes{A1: lostPerMotion, A2: lostPerMotion})
			d.Sigma = rig.Axes{A1: hypot(d.Sigma.A1, lost.A1), A2: hypot(d.Sigma.A2, lost.A2)}
		}
		d.Because = "the mount may have been turned over: a sensed side, a count or a solve's camera angle tells"
		out = append(out, d)
	}
	return out
}
