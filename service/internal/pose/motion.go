package pose

import (
	"fmt"
	"math"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// move is a time in which the axes may have turned: from the anchor to a sample.
type move struct {
	x, y     *question.Sample
	vx, vy   view
	kind     rig.SourceKind
	last     rig.Axes         // the likeliest place at the last sample
	permit   *question.Permit // that explains it; nil: none does
	believed bool
}

// motion carries the pose over a time in which the axes may have turned.
func (t *turn) motion(x, y *question.Sample) {
	m := move{x: x, y: y, vx: t.view(x), vy: t.view(y), last: t.s.Anchored[0].Axes}
	m.kind, m.believed = t.best(x, y, m.vx, m.vy), m.vx.ok && m.vy.ok
	if c := t.s.Pose.Candidates; len(c) > 0 {
		m.last = c[0].Axes
	}
	if t.mayHaveMoved() {
		m.permit = t.s.Permit
	}
	t.syncWhileMoving(&m)
	switch {
	case !y.Still():
		t.underWay(&m)
	case m.permit == nil:
		t.unasked(&m)
	default:
		t.arrive(&m)
	}
}

// mayHaveMoved tells whether a permit explains that the axes turn: begun, and not yet seen over. One taken back explains what turns
// until a sample shows it still.
func (t *turn) mayHaveMoved() bool {
	p := t.s.Permit
	return p != nil && p.BegunAt != nil && p.Arrived == nil && p.Action.Kind != question.Track &&
		(p.State == question.Begun || p.State == question.Withdrawn)
}

// tracks tells whether a permit lets the rig follow the sky.
func tracks(p *question.Permit) bool { return p.Tracks || p.Action.Kind == question.Track }

// syncWhileMoving notices a counted sync between samples of which one moves: its step cannot be seen apart from the motion.
func (t *turn) syncWhileMoving(m *move) {
	n := t.syncsCounted(t.s.Sample, m.y)
	if n == 0 {
		return
	}
	t.raised = true
	t.alarm(UnaskedSync, "", "the mount counted %d syncs while it moved: their steps cannot be told from the motion", n)
	if !counted(m.kind) {
		t.doubt("the mount was synced while it moved")
	}
}

// places carries one candidate to the sample by the best source: one place for a source that reads the axes, one for each side and
// each form of keeping a sync that the belief may mean.
func (t *turn) places(m *move, c question.Candidate) []question.Candidate {
	if counted(m.kind) {
		a, _ := reading(m.x, m.kind)
		b, _ := reading(m.y, m.kind)
		c.Axes = c.Axes.Add(b.Sub(a))
		return []question.Candidate{c}
	}
	if m.kind != rig.UnsyncedBelief {
		return nil
	}
	return t.believedPlaces(m, c)
}

// believedPlaces is places by belief, whether or not belief is a source of the pose here.
func (t *turn) believedPlaces(m *move, c question.Candidate) []question.Candidate {
	if !m.believed {
		return nil
	}
	forms := t.forms(c)
	var out []question.Candidate
	for _, f := range forms {
		for _, side := range t.sidesTold(m) {
			d := c
			d.Axes = c.Axes.Add(t.turned(c.Axes, f, m.vx, m.vy, side))
			if len(forms) > 1 {
				d.Kept = f
			}
			out = append(out, d)
		}
	}
	return out
}

// sidesTold are the sides that a belief may mean after a motion: the sensed one, else both.
func (t *turn) sidesTold(m *move) []rig.Side {
	if side := m.y.Belief.Side; t.r.Mount.SideSensed && side != "" {
		return []rig.Side{side}
	}
	both := t.r.Kind.Sides()
	return both[:]
}

// underWay shows the pose while the rig moves; nothing is settled before it rests.
func (t *turn) underWay(m *move) {
	var cands []question.Candidate
	for i, c := range t.s.Anchored {
		ref := m.last
		if p := t.s.Pose.Candidates; i < len(p) && len(p) == len(t.s.Anchored) {
			ref = p[i].Axes
		}
		if at := t.places(m, c); len(at) > 0 {
			cands = append(cands, nearest(at, ref))
		}
	}
	if len(cands) == 0 {
		t.reckonedUnderWay(m)
		return
	}
	t.axisTurns(m, cands[0].Axes)
	if t.s.Sample != nil && beyond(cands[0].Axes.Sub(m.last), t.fastest(t.s.Sample, m.y)) {
		t.jumped(m, cands)
		return
	}
	t.offWay(m, cands[0].Axes)
	if m.permit == nil {
		cands = t.unaskedUnderWay(m, cands)
	}
	t.show(cands, m.kind, m.y)
}

// nearest takes the place nearest to where the axes were a moment ago, each lifted to the turn nearest to it.
func nearest(at []question.Candidate, ref rig.Axes) question.Candidate {
	best, off := at[0], math.Inf(1)
	for _, c := range at {
		c.Axes = rig.LiftNear(c.Axes, ref)
		d := c.Axes.Sub(ref)
		if n := math.Hypot(float64(d.A1), float64(d.A2)); n < off {
			best, off = c, n
		}
	}
	return best
}

// reckonedUnderWay: with no source the axes are anywhere that they can have reached.
func (t *turn) reckonedUnderWay(m *move) {
	far := t.fastest(m.x, m.y).Scale(1.0 / 3)
	var cands []question.Candidate
	for _, c := range t.s.Anchored {
		c.Sigma = c.Sigma.Add(rig.Axes{A1: min(far.A1, unit.HalfTurn/3), A2: min(far.A2, unit.HalfTurn/3)})
		cands = append(cands, c)
	}
	if m.permit == nil && m.y.Doing == question.Moving {
		t.noticeMotion("the rig reports that it moves")
		t.doubt("the rig moved without a permit, and nothing shows how far")
	}
	t.show(cands, rig.Reckoned, m.y)
}

// noticeMotion notes an unasked motion once, when it begins.
func (t *turn) noticeMotion(what string) {
	if t.s.Sample != nil && t.s.Sample.Doing == question.Moving {
		return
	}
	t.alarm(UnaskedMotion, "", "%s without a permit", what)
}

// unaskedUnderWay: a source that reads the axes is followed; belief may as well have been synced, so the old place stays one.
func (t *turn) unaskedUnderWay(m *move, cands []question.Candidate) []question.Candidate {
	c := t.s.Anchored[0]
	off := excess(cands[0].Axes.Sub(c.Axes), t.drift(c.Axes, m.x, m.y))
	moved := beyond(off, t.tolerance(c.Axes, m.x, m.y))
	if moved || m.y.Doing == question.Moving {
		t.noticeMotion(fmt.Sprintf("the rig moves (%s so far)", off))
	}
	if !moved || counted(m.kind) {
		return cands
	}
	t.doubt("the belief moved by %s without a permit: a motion or a sync", off)
	for _, c := range t.s.Anchored {
		cands = append(cands, t.drifted(c, m.x, m.y))
	}
	return cands
}

// jumped: the source moved faster than the axes turn. Both places stay, and the count goes on from here.
func (t *turn) jumped(m *move, cands []question.Candidate) {
	step := cands[0].Axes.Sub(m.last)
	dt := seconds(when(m.y).Sub(when(t.s.Sample)))
	if counted(m.kind) {
		t.alarm(Jump, string(m.kind), "the %s moved by %s within %.1f s, faster than the axes turn", m.kind, step, dt)
		t.doubt("the %s jumped by %s", m.kind, step)
	} else {
		t.raised = true
		t.alarm(UnaskedSync, "", "the belief moved by %s within %.1f s while the rig moved, faster than the axes turn: a sync that nobody asked for", step, dt)
		t.doubt("the belief jumped by %s while the rig moved", step)
	}
	both := cands
	for _, c := range cands {
		c.Axes = c.Axes.Sub(step)
		both = append(both, c)
	}
	t.anchorAt(m.y, both, m.kind)
}

// axisTurns adds up for how long samples show axis 1 turning: at a tenth of its rate or more.
func (t *turn) axisTurns(m *move, now rig.Axes) {
	last := t.s.Sample
	if m.permit == nil || last == nil || last.Doing != question.Moving || m.y.Doing != question.Moving {
		return
	}
	dt := seconds(when(m.y).Sub(when(last)))
	if (now.A1-m.last.A1).Abs().Deg() >= 0.1*t.r.Motion.RateDeg[0]*dt && dt > 0 {
		m.permit.MovingS += dt
	}
}

// offWay takes the permit back when the rig is outside the box around all that was checked. Homing searches: it has no such box.
func (t *turn) offWay(m *move, now rig.Axes) {
	p := m.permit
	if p == nil || p.State != question.Begun || p.Action.Kind == question.Home || len(t.s.Anchored) > 1 || len(p.Ends) == 0 {
		return
	}
	low, high := p.From, p.From
	grow := func(a rig.Axes) {
		low = rig.Axes{A1: min(low.A1, a.A1), A2: min(low.A2, a.A2)}
		high = larger(high, a)
	}
	for _, e := range p.Ends {
		grow(e)
	}
	for _, l := range p.Legs {
		grow(l.From)
		grow(l.To)
	}
	for _, v := range append(append([]rig.Axes(nil), t.r.Motion.Via...), t.r.Motion.FlipVia...) {
		grow(v)
	}
	slack := t.arrivalSlack(p, now).Add(t.r.Motion.Overrun.Abs()).Add(t.follow(now, when(m.x), when(m.y)).Abs())
	if beyond(excess(now, [2]rig.Axes{low, high}), slack) {
		t.alarm(OffWay, p.ID, "the rig is at %s, outside the way from %s that permit %s checked: stop it", now, p.From, p.ID)
		if !counted(m.kind) {
			t.doubt("the belief left the permitted way at %s", now)
		}
	}
}

// unasked settles where a motion without a permit came to rest.
func (t *turn) unasked(m *move) {
	var cands []question.Candidate
	for _, c := range t.s.Anchored {
		for _, p := range t.places(m, c) {
			p.Axes = rig.LiftNear(p.Axes, m.last)
			cands = append(cands, p)
		}
	}
	c := t.s.Anchored[0]
	if len(cands) > 0 && counted(m.kind) {
		t.unaskedCounted(m, cands)
		return
	}
	cands = t.sameSide(cands)
	drift, allowed := t.drift(c.Axes, m.x, m.y), t.tolerance(c.Axes, m.x, m.y)
	if len(cands) > 0 && !beyond(excess(nearest(cands, c.Axes).Axes.Sub(c.Axes), drift), allowed) && t.s.Doubt == "" {
		t.anchorAt(m.y, []question.Candidate{nearest(cands, c.Axes)}, m.kind) // it said that it moved, and is where it was
		return
	}
	if len(cands) > 0 {
		t.noticeMotion("the belief moved")
		t.doubt("the belief moved without a permit: a motion or a sync")
	}
	for _, c := range t.s.Anchored {
		cands = append(cands, t.drifted(c, m.x, m.y))
	}
	t.s.Motions++
	t.anchorAt(m.y, cands, m.kind)
}

// unaskedCounted follows what a source that reads the axes shows.
func (t *turn) unaskedCounted(m *move, cands []question.Candidate) {
	if t.s.Sample != nil && beyond(cands[0].Axes.Sub(m.last), t.fastest(t.s.Sample, m.y)) {
		t.jumped(m, cands)
		return
	}
	t.s.Motions, t.s.Crept = t.s.Motions+1, rig.Axes{}
	t.anchorAt(m.y, cands, m.kind)
}

// sameSide drops, where nothing meant to change sides, the places on another side than any anchored one. The mount's own flips are
// looked for apart.
func (t *turn) sameSide(cands []question.Candidate) []question.Candidate {
	if t.r.Mount.FlipsItself {
		return cands
	}
	var out []question.Candidate
	for _, c := range cands {
		for _, a := range t.s.Anchored {
			if t.r.Kind.SideOf(a.Axes) == t.r.Kind.SideOf(c.Axes) || t.nearEnd(a.Axes) {
				out = append(out, c)
				break
			}
		}
	}
	return out
}

// selfFlip keeps both sides where a mount that flips by itself passed the hour angle of its flip unseen.
func (t *turn) selfFlip(q *still) {
	if !t.r.Mount.FlipsItself || t.r.Kind != rig.German || counted(q.kind) || q.y.Doing != question.Tracking {
		return
	}
	if t.r.Mount.SideSensed && q.y.Belief != nil && q.y.Belief.Side != "" {
		return
	}
	cands := t.s.Anchored
	for _, c := range t.s.Anchored {
		h, dec, side := t.r.Kind.FromIdeal(c.Axes, t.r.Site.Lat)
		past := (h - t.r.Mount.FlipAt).Wrapped()
		dt := t.follow(c.Axes, when(q.x), when(q.y)).A1
		if past < 0 || past > dt+2*wiggle || side != rig.West {
			continue
		}
		other := t.r.Lifts(t.r.Kind.Ideal(h, dec, t.r.Site.Lat, rig.East), c.Axes)
		c.Axes, c.Because = other[0], "the mount may have flipped by itself: a sensed side, a count or a solve's camera angle tells"
		cands = append(cands, c)
	}
	if len(cands) > len(t.s.Anchored) {
		t.say(SideOpen, "", "the mount may have flipped by itself at hour angle %.1f°", t.r.Mount.FlipAt.Deg())
		t.anchorAt(q.y, cands, q.kind)
	}
}
