package pose

import (
	"fmt"
	"math"
	"slices"

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
	t.s.SideTold = nil
	t.syncWhileMoving(&m)
	t.clockKept(&m)
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

// strand is one candidate under one form of keeping syncs, carried to the sample: one place for a source that reads the axes, one
// for each side that the belief may mean.
type strand struct {
	from   question.Candidate
	ref    rig.Axes // where it was at the last sample
	places []question.Candidate
}

// strands carries every candidate to the sample by the best source. With no source there are none.
func (t *turn) strands(m *move) []strand {
	var out []strand
	for _, c := range t.s.Anchored {
		switch {
		case counted(m.kind):
			a, _ := reading(m.x, m.kind)
			b, _ := reading(m.y, m.kind)
			d := c
			d.Axes = c.Axes.Add(b.Sub(a))
			out = append(out, strand{from: c, places: []question.Candidate{d}})
		case m.kind == rig.UnsyncedBelief:
			out = append(out, t.believedStrands(m, c)...)
		}
	}
	t.refer(m, out)
	if m.kind == rig.UnsyncedBelief { // belief says nothing of turns: the one nearest to where it was
		for _, s := range out {
			for i := range s.places {
				s.places[i].Axes = rig.LiftNear(s.places[i].Axes, s.ref)
			}
		}
	}
	return out
}

// refer notes where each strand was at the last sample: the places shown then stand in the order of the candidates at the start of a
// motion; under way in that of the strands, with what else counts behind them.
func (t *turn) refer(m *move, all []strand) {
	shown := t.s.Pose.Candidates
	for i := range all {
		all[i].ref = m.last
		switch k := slices.Index(t.s.Anchored, all[i].from); {
		case len(shown) == len(t.s.Anchored) && len(shown) != len(all) && k >= 0:
			all[i].ref = shown[k].Axes
		case len(shown) >= len(all):
			all[i].ref = shown[i].Axes
		}
	}
}

// believedStrands carries one candidate by belief, whether or not belief is a source of the pose here.
func (t *turn) believedStrands(m *move, c question.Candidate) []strand {
	if !m.believed {
		return nil
	}
	forms := t.forms(c)
	var out []strand
	for _, f := range forms {
		s := strand{from: c}
		d := c
		if len(forms) > 1 {
			d.Kept = f
		}
		for _, a := range t.turnedTo(m, c.Axes, f) {
			d.Axes = a
			s.places = append(s.places, d)
		}
		out = append(out, s)
	}
	return out
}

// turnedTo is everywhere that belief may say a pose turned to: on each side that it may mean, near the end of axis 1 on both, for there the
// sides meet, whichever of the two places lies there.
func (t *turn) turnedTo(m *move, a rig.Axes, f rig.SyncKeeping) (out []rig.Axes) {
	sides := t.sidesTold(m)
	for _, side := range sides {
		for _, by := range t.turns(a, f, m.vx, m.vy, side) {
			out = append(out, a.Add(by))
		}
	}
	if m.y.Still() { // what is under way is followed by the likeliest
		out = append(out, t.turnedAcross(m, a, f)...)
	}
	if len(sides) > 1 {
		return out
	}
	for _, by := range t.turns(a, f, m.vx, m.vy, sides[0].Other()) {
		if there := a.Add(by); t.nearEnd(there) || t.nearEnd(out[0]) {
			out = append(out, there)
		}
	}
	return out
}

// turnedAcross is everywhere that a pose may have turned to where belief may have stood across the end of axis 1 from it.
func (t *turn) turnedAcross(m *move, a rig.Axes, f rig.SyncKeeping) (out []rig.Axes) {
	from, ok := t.standsAcross(a, f, m.vx)
	if !ok {
		return nil
	}
	for _, side := range t.sidesTold(m) {
		for _, by := range t.turnsFrom(from, f, m.vy, side) {
			out = append(out, a.Add(by))
		}
	}
	return out
}

// believedPlaces are all places of one candidate by belief.
func (t *turn) believedPlaces(m *move, c question.Candidate) []question.Candidate {
	var out []question.Candidate
	for _, s := range t.believedStrands(m, c) {
		out = append(out, s.places...)
	}
	return out
}

// sidesTold are the sides that a belief may mean after a motion: the sensed one, else both; but a mount that only uses the first means that one
// wherever it goes by a permit. By hand it may be taken over the top.
func (t *turn) sidesTold(m *move) []rig.Side {
	if side := m.y.Belief.Side; t.r.Mount.SideSensed && side != "" {
		return []rig.Side{side}
	}
	both := t.r.Kind.Sides()
	if t.r.Mount.Chooses == rig.FirstOnly && m.permit != nil && !t.heldOn(both[1]) {
		return both[:1]
	}
	return both[:]
}

// underWay shows the pose while the rig moves; nothing is settled before it rests.
func (t *turn) underWay(m *move) {
	var cands []question.Candidate
	for _, s := range t.strands(m) {
		c := nearest(s.places, s.ref)
		if m.kind == rig.UnsyncedBelief && t.nearEnd(c.Axes) { // which way past the end of axis 1 cannot be told there
			c.Sigma.A2 += 2 * t.zone() / 3
		}
		if t.r.Kind == rig.AltAzimuth && m.believed && unit.HalfTurn/2-m.vy.dec.Abs() < t.zone() && t.zone() > polar { // nor past the celestial pole
			c.Sigma = c.Sigma.Add(t.wide(c.Axes, 2*t.zone()/3))
		}
		cands = append(cands, c)
	}
	if len(cands) == 0 {
		t.reckonedUnderWay(m)
		return
	}
	t.axisTurns(m, cands[0].Axes)
	if t.allLeap(m, cands) {
		t.jumped(m, cands)
		return
	}
	t.offWay(m, cands[0].Axes)
	switch {
	case m.permit == nil:
		cands = t.unaskedUnderWay(m, cands)
	case t.strayed(m):
		for _, c := range t.s.Anchored {
			cands = append(cands, t.between(c, m.x, m.y))
		}
	}
	t.show(cands, m.kind, m.y)
}

// allLeap tells whether every strand went further since the last sample than the axes turn.
func (t *turn) allLeap(m *move, cands []question.Candidate) bool {
	for i, s := range t.strands(m) {
		if i < len(cands) && !t.leaps(m, s.ref, cands[i].Axes) {
			return false
		}
	}
	return true
}

// leaps tells whether a turn since the last sample is more than the axes can do. Near the end of axis 1 belief says little of that
// axis, and nothing of which way past the end the tube is.
func (t *turn) leaps(m *move, from, to rig.Axes) bool {
	if t.s.Sample == nil {
		return false
	}
	allowed := t.fastest(t.s.Sample, m.y)
	if counted(m.kind) {
		return beyond(to.Sub(from), allowed)
	}
	if t.nearEnd(from) || t.nearEnd(to) {
		allowed = rig.Axes{A1: unit.Turn, A2: allowed.A2 + 2*t.zone()}
	}
	return beyond(rig.LiftNear(to, from).Sub(from), allowed) // belief says nothing of turns
}

// nearest takes the place nearest to a reference.
func nearest(at []question.Candidate, ref rig.Axes) question.Candidate {
	best, off := at[0], math.Inf(1)
	for _, c := range at {
		d := c.Axes.Sub(ref)
		if n := math.Hypot(float64(d.A1), float64(d.A2)); n < off {
			best, off = c, n
		}
	}
	return best
}

// reckonedUnderWay: with no source the axes are anywhere that they can have reached.
func (t *turn) reckonedUnderWay(m *move) {
	far := t.withinReach(t.fastest(m.x, m.y))
	var cands []question.Candidate
	for _, c := range t.s.Anchored {
		c.Sigma = c.Sigma.Add(far)
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
	far := t.fastest(m.x, m.y)
	for _, c := range t.s.Anchored {
		cands = append(cands, t.drifted(c, m.x, m.y))
		for _, f := range t.forms(c) {
			for _, a := range t.turnedAcross(m, c.Axes, f) {
				if d := c; !beyond(a.Sub(c.Axes), far) {
					d.Axes = a
					cands = append(cands, d)
				}
			}
		}
	}
	return cands
}

// jumped: the source moved faster than the axes turn. Both places stay, the old one with all to which the motion under way may have come
// since, and the count goes on from here.
func (t *turn) jumped(m *move, cands []question.Candidate) {
	step := cands[0].Axes.Sub(m.last)
	dt := seconds(when(m.y).Sub(when(t.s.Sample)))
	if counted(m.kind) {
		t.alarm(Jump, string(m.kind), "the %s moved by %s within %.1f s, faster than the axes turn", m.kind, step, dt)
		t.doubt("the %s jumped by %s%s", m.kind, step, likely(m.last, m.last.Add(step)))
	} else {
		t.raised = true
		t.alarm(UnaskedSync, "", "the belief moved by %s within %.1f s while the rig moved, faster than the axes turn: a sync that nobody asked for", step, dt)
		t.doubt("the belief jumped by %s while the rig moved", step)
	}
	both := t.withinTravel(m, cands)
	shown := t.s.Pose.Candidates
	all := t.strands(m)
	for i, s := range all {
		c := question.Candidate{Axes: s.ref, Sigma: s.from.Sigma, Because: s.from.Because, Kept: s.from.Kept, Solve: s.from.Solve}
		if len(shown) == len(all) {
			c.Sigma = shown[i].Sigma
		}
		both = append(both, t.between(c, t.s.Sample, m.y))
	}
	t.anchorAt(m.y, both, m.kind)
}

// withinTravel drops of several places by a belief under a permit those near the end of axis 1 that lie outside travel, where the other place
// half a turn away for which the belief stands as well lies within: no permitted motion led to one that the rig cannot reach. What was pushed
// by hand goes beyond travel, and a reading of the axes is one place.
func (t *turn) withinTravel(m *move, cands []question.Candidate) []question.Candidate {
	if m.permit == nil || counted(m.kind) {
		return cands
	}
	var out []question.Candidate
	for _, c := range cands {
		if !t.outsideTravel(c) || !t.nearEnd(c.Axes) || !t.mirrored(c, cands) {
			out = append(out, c)
		}
	}
	return out
}

// mirrored tells whether some place within travel points where a place near the end of axis 1 does.
func (t *turn) mirrored(c question.Candidate, cands []question.Candidate) bool {
	for _, d := range cands {
		if !t.outsideTravel(d) && t.nearEnd(d.Axes) && direction(t.r, c.Axes).Angle(direction(t.r, d.Axes)) <= t.zone() {
			return true
		}
	}
	return false
}

// outsideTravel tells whether a place lies where the rig cannot be, its uncertainty and a degree allowed for.
func (t *turn) outsideTravel(c question.Candidate) bool {
	slack := question.Sigma3(c.Sigma).Add(rig.Axes{A1: unit.Degree, A2: unit.Degree})
	return beyond(excess(c.Axes, [2]rig.Axes{t.r.Travel.Low, t.r.Travel.High}), slack)
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
	low, high := t.checked(p)
	slack := t.arrivalSlack(p, now).Add(t.r.Motion.Overrun.Abs()).Add(t.follow(now, when(m.x), when(m.y)).Abs())
	if beyond(excess(now, [2]rig.Axes{low, high}), slack) {
		t.alarm(OffWay, p.ID, "the rig is at %s, outside the way from %s that permit %s checked: stop it", now, p.From, p.ID)
		if !counted(m.kind) {
			t.doubt("the belief left the permitted way at %s", now)
		}
	}
}
