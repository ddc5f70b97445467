package pose

import (
	"math"
	"slices"
	"time"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// landing is one place where a permitted motion may have come to rest.
type landing struct {
	question.Candidate
	start rig.Axes // the candidate that it set out from
	end   int      // the predicted end that it fits; -1: none
}

// arrive settles where a permitted motion came to rest, or that it has not begun.
func (t *turn) arrive(m *move) {
	if m.kind == rig.Reckoned {
		t.arriveReckoned(m)
		return
	}
	p := m.permit
	var all []landing
	for _, s := range t.strands(m) {
		all = append(all, t.landings(m, s)...)
	}
	if t.unmoved(m, all) {
		t.quiet(m.x, m.y)
		return
	}
	if !t.strayed(m) && t.jumpedThere(m, all) {
		t.over(m, true)
		return
	}
	sure := t.s.Doubt == "" && len(t.s.Anchored) == 1
	fits := p.Action.Kind == question.Home || len(p.Ends) == 0 || anyFits(all)
	switch {
	case !fits && sure:
		t.offEnd(m, all)
	case sure && t.tooSoon(m, all):
	default:
		t.land(m, all)
	}
	t.over(m, true)
}

// over closes the motion part of the permit.
func (t *turn) over(m *move, moved bool) {
	p, at := m.permit, when(m.y)
	p.Moved, p.Arrived = moved, &at
	t.s.Motions++
	t.s.Crept = rig.Axes{}
	t.leaveLapses(m.y)
}

func anyFits(all []landing) bool {
	for _, l := range all {
		if l.end >= 0 {
			return true
		}
	}
	return false
}

// landings are the places where one candidate may be now: by a source that reads the axes one, by belief one for each side and form
// of keeping, less those that the axes cannot have reached and those that the permit and the samples under way rule out.
func (t *turn) landings(m *move, s strand) []landing {
	var all, out []landing
	reach := t.fastest(m.x, m.y)
	for _, p := range s.places {
		p.Axes = t.lifted(m, p, s.from.Axes)
		l := landing{p, s.from.Axes, t.fit(m, p.Axes)}
		all = append(all, l)
		if !beyond(l.Axes.Sub(s.from.Axes), reach) {
			out = append(out, l)
		}
	}
	switch {
	case counted(m.kind) || len(out) == 0: // further than the axes turn: a jump, seen by jumpedThere
		return all
	case len(t.sidesTold(m)) == 1:
		return t.toldSide(m, out)
	}
	return t.bySide(m, s, out)
}

// toldSide leaves of the places near the end of axis 1, where both sides are looked at though one is told, those that fit an end.
func (t *turn) toldSide(m *move, all []landing) []landing {
	if fit := fitting(all); len(fit) > 0 {
		return fit
	}
	return all
}

// lifted puts a place on the turn that the motion reached: the one that was followed, unless belief, which says nothing of turns by
// itself, was followed out of travel past the end of axis 1; else near a predicted end where it fits one, else within travel.
func (t *turn) lifted(m *move, c question.Candidate, start rig.Axes) rig.Axes {
	a := c.Axes
	followed := t.s.Sample != nil && t.s.Sample.Doing == question.Moving
	if counted(m.kind) || followed && (!t.outsideTravel(c) || t.r.Motion.Way == rig.Shortest) {
		return a
	}
	for _, e := range m.permit.Ends {
		if b := rig.LiftNear(a, e); t.fit(m, b) >= 0 {
			return b
		}
	}
	return t.r.Lifts(a, start)[0]
}

// bySide leaves of both sides what may be: a place that fits no end goes where another fits; a change of sides counts only once it
// is shown, and the side that was kept only until then. Near the end of axis 1 no side was left, so none is changed.
func (t *turn) bySide(m *move, s strand, all []landing) []landing {
	if seen, ok := t.followed(m, s, all); ok {
		return seen
	}
	if !anyFits(all) {
		if own := t.onSide(s.from, all, true); len(own) > 0 {
			return own
		}
		return all
	}
	fit := fitting(all)
	if len(t.onSide(s.from, fit, false)) == 0 || t.nearEnd(s.from.Axes) {
		return fit
	}
	t.say(SideOpen, m.permit.ID, "whether the tube changed sides is not shown (samples show axis 1 turning for %.0f s): more samples during the motion, or a solve with its camera angle, tell", m.permit.MovingS)
	out := fit
	for _, l := range t.onSide(s.from, all, true) {
		if l.end < 0 {
			out = append(out, l)
		}
	}
	for i := range out {
		out[i].Solve = ""
		out[i].Because = "a reported side that is not sensed proves no flip: a solve whose camera angle is known, homing, or a person who looks, tells"
	}
	return out
}

func fitting(all []landing) (out []landing) {
	for _, l := range all {
		if l.end >= 0 {
			out = append(out, l)
		}
	}
	return out
}

// onSide leaves the places on the candidate's own side (or on the other).
func (t *turn) onSide(c question.Candidate, all []landing, own bool) (out []landing) {
	for _, l := range all {
		if (t.r.Kind.SideOf(l.Axes) == t.r.Kind.SideOf(c.Axes)) == own {
			out = append(out, l)
		}
	}
	return out
}

// shownShare is the share of its predicted time for which axis 1 must be seen to turn for a flip to count as shown. Source: the
// project's design, section 3.
const shownShare = 0.5

// followed takes the one place to which samples under way lead, where they showed axis 1 turning for half the time that the way there
// takes: the next place follows from the last within the axes' speed, and no other does.
func (t *turn) followed(m *move, s strand, all []landing) ([]landing, bool) {
	last := t.s.Sample
	if last == nil || last.Doing != question.Moving {
		return nil, false
	}
	var near []landing
	for _, l := range all {
		if !beyond(rig.LiftNear(l.Axes, s.ref).Sub(s.ref), t.fastest(last, m.y)) {
			near = append(near, l)
		}
	}
	if len(near) != 1 {
		return nil, false
	}
	takes := (near[0].Axes.A1 - s.from.Axes.A1).Abs().Deg() / t.r.Motion.RateDeg[0]
	change := len(t.onSide(s.from, near, false)) == 1
	if change && (m.permit.MovingS < shownShare*takes || takes == 0) {
		return nil, false
	}
	if change && !t.nearEnd(s.from.Axes) {
		t.say(SideShown, m.permit.ID, "samples show axis 1 turning for %.0f s of the %.0f s that the change of sides takes", m.permit.MovingS, takes)
	}
	return near, true
}

// arrivalSlack is how far from a predicted end a rest may be: three sigma of the pose that the permit was judged from, and the start
// tolerance on the sky.
func (t *turn) arrivalSlack(p *question.Permit, end rig.Axes) rig.Axes {
	return question.Sigma3(p.Sigma).Add(t.wide(end, t.startTolerance()))
}

// fit returns the predicted end that a place fits, or -1. Ends are predicted for the arrival; a rig that tracks on has followed the
// sky from there.
func (t *turn) fit(m *move, a rig.Axes) int {
	p := m.permit
	best, off := -1, unit.Angle(math.Inf(1))
	for i := range p.Ends {
		if d, fits := t.offOf(m, a, i); fits && d < off {
			best, off = i, d
		}
	}
	return best
}

// offOf is how far a place is off a predicted end, by its number, by the time of the sample, and whether it may be there.
func (t *turn) offOf(m *move, a rig.Axes, end int) (unit.Angle, bool) {
	e := m.permit.Ends[end]
	d := excess(a.Sub(e), t.since(m, end))
	if m.vy.blind() && !counted(m.kind) {
		d.A1 = 0
	}
	return d.Abs().Max(), !beyond(d, t.arrivalSlack(m.permit, e))
}

// since is what following the sky adds to a predicted end, by its number, by the time of the sample.
func (t *turn) since(m *move, end int) [2]rig.Axes {
	p := m.permit
	if !p.Tracks && m.y.Doing != question.Tracking {
		return [2]rig.Axes{}
	}
	due := p.BegunAt.Add(time.Duration(p.Takes(end) * float64(time.Second)))
	f := t.follow(p.Ends[end], due, when(m.y))
	if m.y.Doing == question.Tracking && p.Tracks && p.Action.Kind == question.Slew && p.Action.Sky != nil {
		return [2]rig.Axes{f, f} // it tracks the target that the end was worked out for, whenever it came there
	}
	return [2]rig.Axes{{A1: min(0, f.A1), A2: min(0, f.A2)}, {A1: max(0, f.A1), A2: max(0, f.A2)}}
}

// leastMove is the least turn that counts as having moved, whatever the ends: two minutes of arc, above what guiding does in a
// moment. Common practice, no source.
const leastMove = 2 * unit.Arcminute

// unmoved tells whether the motion has not begun: nothing was seen to move, no place is off the start by half of the way to the nearest
// end, or by the start tolerance where that is less, and none that the axes may have reached is a predicted end: a flip that belief
// does not show may have happened unseen.
func (t *turn) unmoved(m *move, all []landing) bool {
	p := m.permit
	sawMoving := t.s.Sample != nil && t.s.Sample.Doing == question.Moving
	done := p.Told == string(Done) && !beforeLeave(p, m.y)
	if p.Moved || sawMoving || done || len(all) == 0 || t.wentHome(m, all[0].Axes) {
		return false
	}
	stays := false
	for _, l := range all {
		off := t.off(m, l, p)
		if off && l.end >= 0 {
			return false
		}
		stays = stays || !off
	}
	return stays
}

// dithered tells whether the motion of a permit is so small that nothing shows whether it was made.
func (t *turn) dithered(p *question.Permit) bool {
	for _, e := range p.Ends {
		if beyond(e.Sub(p.From), t.wide(p.From, leastMove)) {
			return false
		}
	}
	return len(p.Ends) > 0
}

// off tells whether a landing is off its start.
func (t *turn) off(m *move, l landing, p *question.Permit) bool {
	far := t.startTolerance()
	_, height, _ := t.r.Kind.FromIdeal(l.start, t.r.Site.Lat)
	for _, e := range p.Ends {
		d := e.Sub(l.start)
		far = min(far, max(d.A1.Abs()*unit.Angle(max(height.Cos(), 0.05))/2, d.A2.Abs()/2))
	}
	d := excess(l.Axes.Sub(l.start), t.drift(l.start, m.x, m.y))
	quiet := t.tolerance(l.start, m.x, m.y) // more than this at rest is a motion in any case
	allowed := t.wide(l.start, max(far, leastMove))
	return beyond(d, rig.Axes{A1: min(allowed.A1, quiet.A1), A2: min(allowed.A2, quiet.A2)})
}

// jumpedThere looks for a place that the axes cannot have reached since the last sample.
func (t *turn) jumpedThere(m *move, all []landing) bool {
	if t.s.Sample == nil || len(all) == 0 {
		return false
	}
	for _, l := range all {
		if !t.leaps(m, m.last, l.Axes) {
			return false
		}
	}
	var cands []question.Candidate
	for _, l := range all {
		cands = append(cands, l.Candidate)
	}
	t.jumped(m, cands)
	return true
}

// land settles the places that fit, or all where the pose was in doubt before.
func (t *turn) land(m *move, all []landing) {
	fits := anyFits(all) && t.s.Doubt == ""
	var cands []question.Candidate
	for _, l := range all {
		if fits && l.end < 0 && l.Because == "" && len(t.sidesTold(m)) > 1 && !counted(m.kind) {
			continue
		}
		cands = append(cands, l.Candidate)
	}
	if t.strayed(m) {
		t.doubt("the belief points elsewhere than the rig, so it does not show where a motion went")
		cands = append(cands, t.ends(m)...)
		for _, c := range t.s.Anchored {
			cands = append(cands, t.brokenOff(m, c))
		}
		cands = t.withinTravel(m, cands)
	}
	t.anchorAt(m.y, cands, m.kind)
}

// offEnd: the rig rests where no end was predicted. A source that reads the axes is followed where belief moved along with it;
// else where it should be and where it seems are both places.
func (t *turn) offEnd(m *move, all []landing) {
	p := m.permit
	seems := all[0].Axes
	should, short, stays := t.ends(m), t.cutShort(m), t.stopped(m, seems) // as told, before leave is taken back here
	off := seems.Sub(nearest(should, seems).Axes)
	t.alarm(OffEnd, p.ID, "the rig rests at %s, %s from the nearest predicted end of permit %s", seems, off, p.ID)
	var cands []question.Candidate
	for _, l := range all {
		cands = append(cands, l.Candidate)
	}
	frozen := !t.off(m, all[0], p)
	if frozen && p.Told != string(NotMoved) {
		t.say(Frozen, string(m.kind), "the %s shows no motion though the rig reported one", m.kind)
	}
	follows := counted(m.kind) && !frozen && !t.wentHome(m, seems)
	switch {
	case p.Told == string(NotMoved) && frozen, follows && t.beliefAgrees(m, seems, ""):
	case follows && t.keptOtherwise(m, seems):
	case len(all) == 1 && t.watched(m, seems):
	case stays != nil:
		cands = stays
	default:
		t.doubt("a motion came to rest %s from its predicted end", off)
		if !short { // else its ends count last: they were not reached unless it goes on unseen
			cands = append(should, cands...)
		}
		for _, c := range t.s.Anchored {
			cands = append(cands, t.brokenOff(m, c))
		}
		if short {
			cands = append(cands, should...)
		}
	}
	t.anchorAt(m.y, cands, m.kind)
}

// ends are the predicted ends carried to the sample. Where nothing shows the axes a motion is reckoned to where the mount goes by what it
// believes: the place of the target counts only where that says nothing.
func (t *turn) ends(m *move) []question.Candidate {
	var out []question.Candidate
	p := m.permit
	reckons := m.kind == rig.Reckoned && len(p.Aimed) < len(p.Ends)
	for i, e := range p.Ends {
		if reckons && slices.Contains(p.Aimed, i) {
			continue
		}
		s := t.since(m, i)
		c := question.Candidate{Axes: e.Add(s[0].Add(s[1]).Scale(0.5)), Sigma: m.permit.Sigma.Add(s[1].Sub(s[0]).Scale(1.0 / 6)),
			Because: "where the permitted motion should have ended"}
		out = append(out, c)
	}
	return merge(t.r, out, merged, m.kind == rig.Reckoned)
}

// beliefAgrees tells whether belief, where there is one, turned as the source did; its syncs undone in a form, or as the file says.
func (t *turn) beliefAgrees(m *move, seems rig.Axes, form rig.SyncKeeping) bool {
	if !m.believed {
		return true
	}
	from := t.s.Anchored[0]
	if form != "" {
		from.Kept = form
	}
	for _, c := range t.believedPlaces(m, from) {
		off := rig.LiftNear(c.Axes, seems).Sub(seems)
		if m.blind() {
			off.A1 = 0
		}
		if !beyond(off, t.arrivalSlack(m.permit, seems)) {
			return true
		}
	}
	return false
}

// arriveReckoned takes the predicted ends as the places where the rig may be, if anything shows that it moved.
func (t *turn) arriveReckoned(m *move) {
	p := m.permit
	believed := t.believedPlaces(m, t.s.Anchored[0])
	if t.turnsUnseen(m) {
		believed = nil
	}
	moved := p.Moved || t.s.Sample != nil && t.s.Sample.Doing == question.Moving || p.Told != "" && p.Told != string(NotMoved)
	stay := t.beliefStayed(m, believed)
	moved = moved || len(believed) > 0 && !stay
	if !moved && len(believed) == 0 && !t.after(m.y, p.StartBy) { // nothing tells whether it began, so it may be on its way or there
		var cands []question.Candidate
		for _, c := range t.s.Anchored {
			cands = append(cands, t.brokenOff(m, c))
		}
		t.show(cands, rig.Reckoned, m.y)
		return
	}
	if !moved && (stay || !t.after(m.y, p.StartBy)) {
		t.quiet(m.x, m.y)
		t.mayHaveTurned(m)
		return
	}
	t.reckon(m, moved, believed)
	t.over(m, true)
}

// beliefStayed tells whether belief shows the rig at its start.
func (t *turn) beliefStayed(m *move, believed []question.Candidate) bool {
	start := t.s.Anchored[0].Axes
	for _, c := range believed {
		c.Axes = rig.LiftNear(c.Axes, start)
		if !t.off(m, landing{Candidate: c, start: start}, m.permit) {
			return true
		}
	}
	return false
}

// reckon settles on the predicted ends, each motion adding what it may lose.
func (t *turn) reckon(m *move, moved bool, believed []question.Candidate) {
	p, start := m.permit, t.s.Anchored[0].Axes
	cands := t.ends(m)
	if len(believed) > 0 {
		if stays := t.stopped(m, rig.LiftNear(believed[0].Axes, start)); stays != nil {
			t.anchorAt(m.y, stays, rig.Reckoned)
			return
		}
	}
	lost := larger(t.s.Lost, rig.Axes{A1: lostPerMotion, A2: lostPerMotion})
	for i := range cands {
		c := &cands[i]
		c.Sigma = rig.Axes{A1: hypot(c.Sigma.A1, lost.A1), A2: hypot(c.Sigma.A2, lost.A2)}
		c.Because, c.Solve = "reckoned from the predicted ends", ""
	}
	fits := len(believed) == 0
	for _, c := range believed {
		fits = fits || t.fit(m, t.lifted(m, c, start)) >= 0
	}
	cands = t.borneOut(m, cands, believed)
	if fits {
		t.asBelieved(m, cands, believed)
	}
	short := t.sooner(m) || p.Told == string(Stopped) || p.Told == string(Failed) || p.State == question.Withdrawn
	if !moved || short || !fits {
		t.doubt("a motion without a source of the pose was not shown to reach its end")
		if !fits {
			t.alarm(OffEnd, p.ID, "the belief came to rest at none of the predicted ends of permit %s", p.ID)
			cands = append(cands, believed...)
		}
		for _, c := range t.s.Anchored {
			cands = append(cands, t.brokenOff(m, c))
		}
	}
	t.anchorAt(m.y, cands, rig.Reckoned)
}

// asBelieved makes reckoned ends as unsure as belief rests off them. An end that it fits by what the place set out from may be off is no proof that the motion
// came there: that is off at the start and at the end alike, and what a motion stopped short of its end lacks comes on top.
func (t *turn) asBelieved(m *move, ends, believed []question.Candidate) {
	if len(believed) == 0 {
		return
	}
	for _, c := range t.s.Anchored[1:] {
		believed = append(believed, t.believedPlaces(m, c)...)
	}
	for i := range ends {
		e := &ends[i]
		var least *rig.Axes
		for _, b := range believed {
			d := rig.LiftNear(b.Axes, e.Axes).Sub(e.Axes).Abs()
			if m.blind() {
				d.A1 = 0
			}
			if least == nil || d.Max() < least.Max() {
				least = &d
			}
		}
		if !beyond(*least, t.arrivalSlack(m.permit, e.Axes)) { // else belief fits another end
			e.Sigma = e.Sigma.Add(least.Scale(1.0 / 3))
		}
	}
}

// brokenOff is where a motion may rest that set out from a candidate and may have stopped anywhere on its way.
func (t *turn) brokenOff(m *move, c question.Candidate) question.Candidate {
	return t.between(t.drifted(c, m.x, m.y), m.x, m.y)
}

// after tells whether a sample was both read and received after an instant.
func (t *turn) after(x *question.Sample, at time.Time) bool {
	return when(x).After(at) && clock(x).After(at)
}
