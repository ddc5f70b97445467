package pose

import (
	"math"
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
	for _, c := range t.s.Anchored {
		all = append(all, t.landings(m, c)...)
	}
	if t.unmoved(m, all) {
		t.quiet(m.x, m.y)
		return
	}
	if t.jumpedThere(m, all) {
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
func (t *turn) landings(m *move, c question.Candidate) []landing {
	var out []landing
	reach := t.fastest(m.x, m.y)
	for _, p := range t.places(m, c) {
		p.Axes = t.lifted(m, p.Axes, c.Axes)
		l := landing{p, c.Axes, t.fit(m, p.Axes)}
		if counted(m.kind) || !beyond(l.Axes.Sub(c.Axes), reach) {
			out = append(out, l)
		}
	}
	if len(out) == 0 && m.kind == rig.UnsyncedBelief { // further than the axes turn: a sync, seen by jumpedThere
		for _, p := range t.places(m, c) {
			p.Axes = t.lifted(m, p.Axes, c.Axes)
			out = append(out, landing{p, c.Axes, t.fit(m, p.Axes)})
		}
	}
	if counted(m.kind) || len(t.sidesTold(m)) == 1 {
		return out
	}
	return t.bySide(m, c, out)
}

// lifted puts a place on the turn that the motion reached: near a predicted end where it fits one, else within travel.
func (t *turn) lifted(m *move, a, start rig.Axes) rig.Axes {
	if counted(m.kind) {
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
func (t *turn) bySide(m *move, c question.Candidate, all []landing) []landing {
	if !anyFits(all) {
		return t.keptSide(c, all)
	}
	var fit, kept []landing
	change := false
	for _, l := range all {
		same := t.r.Kind.SideOf(l.Axes) == t.r.Kind.SideOf(c.Axes)
		if l.end >= 0 {
			fit = append(fit, l)
			change = change || !same
		} else if same {
			kept = append(kept, l)
		}
	}
	if !change || t.nearEnd(c.Axes) {
		return fit
	}
	if t.shown(m, c, all) {
		return t.otherSide(c, fit)
	}
	t.say(SideOpen, m.permit.ID, "whether the tube changed sides is not shown: samples during the motion (%.0f s of them show axis 1 turning) or a solve with its camera angle tell", m.permit.MovingS)
	out := append(fit, kept...)
	for i := range out {
		out[i].Because = "a reported side that is not sensed proves no flip: a solve with its camera angle, or homing, tells"
	}
	return out
}

// keptSide leaves the places on the candidate's own side, where there are any.
func (t *turn) keptSide(c question.Candidate, all []landing) []landing {
	var out []landing
	for _, l := range all {
		if t.r.Kind.SideOf(l.Axes) == t.r.Kind.SideOf(c.Axes) {
			out = append(out, l)
		}
	}
	if len(out) == 0 {
		return all
	}
	return out
}

func (t *turn) otherSide(c question.Candidate, all []landing) []landing {
	var out []landing
	for _, l := range all {
		if t.r.Kind.SideOf(l.Axes) != t.r.Kind.SideOf(c.Axes) {
			out = append(out, l)
		}
	}
	return out
}

// shownShare is the share of its predicted time for which axis 1 must be seen to turn for a flip to count as shown. Source: the
// project's design, section 3.
const shownShare = 0.5

// shown tells whether the samples under way show a change of sides: axis 1 turning for half the predicted time of the shortest such
// change, and longer than any motion that keeps the side would take.
func (t *turn) shown(m *move, c question.Candidate, all []landing) bool {
	rate := t.r.Motion.RateDeg[0]
	change, keep := math.Inf(1), 0.0
	for _, l := range all {
		s := (l.Axes.A1 - c.Axes.A1).Abs().Deg() / rate
		if t.r.Kind.SideOf(l.Axes) == t.r.Kind.SideOf(c.Axes) {
			keep = max(keep, s)
		} else if l.end >= 0 {
			change = min(change, s)
		}
	}
	ok := m.permit.MovingS >= shownShare*change && m.permit.MovingS > rush*keep+2 // 2 s: starting, stopping, whole seconds
	if ok {
		t.say(SideShown, m.permit.ID, "samples show axis 1 turning for %.0f s of the %.0f s that the change of sides takes", m.permit.MovingS, change)
	}
	return ok
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
	for i, e := range p.Ends {
		d := excess(a.Sub(e), t.since(m, e))
		if !beyond(d, t.arrivalSlack(p, e)) && d.Abs().Max() < off {
			best, off = i, d.Abs().Max()
		}
	}
	return best
}

// since is what following the sky adds to a predicted end by the time of the sample.
func (t *turn) since(m *move, end rig.Axes) [2]rig.Axes {
	p := m.permit
	if !p.Tracks && m.y.Doing != question.Tracking {
		return [2]rig.Axes{}
	}
	due := p.BegunAt.Add(time.Duration(p.MotionS * float64(time.Second)))
	f := t.follow(end, due, when(m.y))
	if m.y.Doing == question.Tracking && p.Tracks && p.Action.Kind == question.Slew && p.Action.Sky != nil {
		return [2]rig.Axes{f, f} // it tracks the target that the end was worked out for, whenever it came there
	}
	return [2]rig.Axes{{A1: min(0, f.A1), A2: min(0, f.A2)}, {A1: max(0, f.A1), A2: max(0, f.A2)}}
}

// leastMove is the least turn that counts as having moved, whatever the ends: two minutes of arc, above what guiding does in a
// moment. Common practice, no source.
const leastMove = 2 * unit.Arcminute

// unmoved tells whether the motion has not begun: nothing was seen to move, and no place is off the start by half of the way to the
// nearest end, or by the start tolerance where that is less.
func (t *turn) unmoved(m *move, all []landing) bool {
	p := m.permit
	sawMoving := t.s.Sample != nil && t.s.Sample.Doing == question.Moving
	if p.Moved || sawMoving || p.Told == string(Done) || len(all) == 0 {
		return false
	}
	for _, l := range all {
		if !t.off(m, l, p) {
			return true
		}
	}
	return false
}

// off tells whether a landing is off its start.
func (t *turn) off(m *move, l landing, p *question.Permit) bool {
	far := t.startTolerance()
	for _, e := range p.Ends {
		d := e.Sub(l.start)
		far = min(far, max(d.A1.Abs()*unit.Angle(l.start.A2.Cos())/2, d.A1.Abs()/20, d.A2.Abs()/2))
	}
	d := excess(l.Axes.Sub(l.start), t.drift(l.start, m.x, m.y))
	return beyond(d, t.wide(l.start, max(far, leastMove)))
}

// jumpedThere looks for a place that the axes cannot have reached since the last sample.
func (t *turn) jumpedThere(m *move, all []landing) bool {
	if t.s.Sample == nil || len(all) == 0 {
		return false
	}
	for _, l := range all {
		if !beyond(l.Axes.Sub(m.last), t.fastest(t.s.Sample, m.y)) {
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
	t.anchorAt(m.y, cands, m.kind)
}

// soonShare is the share of its predicted time that a motion takes at least. Source: the project's design, section 3.
const soonShare = 0.8

// tooSoon tells, and puts in doubt, whether the rig came to rest sooner than the motion takes. Two clocks bound its time from above:
// the asker's, since the sample before it, and the service's, since the permit began.
func (t *turn) tooSoon(m *move, all []landing) bool {
	p := m.permit
	if p.Action.Kind == question.Home || len(all) == 0 || all[0].end < 0 {
		return false
	}
	needs := p.MotionS
	if all[0].end > 0 {
		d := p.Ends[all[0].end].Sub(p.From).Abs()
		needs = max(d.A1.Deg()/t.r.Motion.RateDeg[0], d.A2.Deg()/t.r.Motion.RateDeg[1])
	}
	took := seconds(when(m.y).Sub(when(m.x)))
	if !m.y.Received.IsZero() {
		took = min(took, seconds(m.y.Received.Sub(*p.BegunAt)))
	}
	if took+0.5 >= soonShare*needs { // half a second: whole seconds, and the permit's own way to the asker
		return false
	}
	t.alarm(TooSoon, p.ID, "the rig rests at its end %.1f s after permit %s began; the motion takes %.1f s", took, p.ID, needs)
	t.doubt("a motion of %.1f s was over after %.1f s", needs, took)
	var cands []question.Candidate
	for _, l := range all {
		cands = append(cands, l.Candidate)
	}
	for _, c := range t.s.Anchored {
		cands = append(cands, t.drifted(c, m.x, m.y))
	}
	t.anchorAt(m.y, cands, m.kind)
	return true
}

// offEnd: the rig rests where no end was predicted. A source that reads the axes is followed where belief moved along with it;
// else where it should be and where it seems are both places.
func (t *turn) offEnd(m *move, all []landing) {
	p := m.permit
	seems := all[0].Axes
	should := t.ends(m)
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
	switch {
	case p.Told == string(NotMoved) && frozen, counted(m.kind) && !frozen && t.beliefAgrees(m, seems):
	default:
		t.doubt("a motion came to rest %s from its predicted end", off)
		cands = append(should, cands...)
	}
	t.anchorAt(m.y, cands, m.kind)
}

// ends are the predicted ends carried to the sample.
func (t *turn) ends(m *move) []question.Candidate {
	var out []question.Candidate
	for _, e := range m.permit.Ends {
		s := t.since(m, e)
		c := question.Candidate{Axes: e.Add(s[0].Add(s[1]).Scale(0.5)), Sigma: m.permit.Sigma.Add(s[1].Sub(s[0]).Scale(1.0 / 6)),
			Because: "where the permitted motion should have ended"}
		out = append(out, c)
	}
	return merge(t.r, out)
}

// beliefAgrees tells whether belief, where there is one, turned as the source did.
func (t *turn) beliefAgrees(m *move, seems rig.Axes) bool {
	if !m.believed {
		return true
	}
	for _, c := range t.believedPlaces(m, t.s.Anchored[0]) {
		if !beyond(rig.LiftNear(c.Axes, seems).Sub(seems), t.arrivalSlack(m.permit, seems)) {
			return true
		}
	}
	return false
}

// arriveReckoned takes the predicted ends as the places where the rig may be, if anything shows that it moved.
func (t *turn) arriveReckoned(m *move) {
	p := m.permit
	believed := t.believedPlaces(m, t.s.Anchored[0])
	moved := p.Moved || t.s.Sample != nil && t.s.Sample.Doing == question.Moving || p.Told != "" && p.Told != string(NotMoved)
	stay := t.beliefStayed(m, believed)
	moved = moved || len(believed) > 0 && !stay
	if !moved && (stay || !t.after(m.y, p.StartBy)) {
		t.quiet(m.x, m.y)
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
	p := m.permit
	cands := t.ends(m)
	lost := larger(t.s.Lost, rig.Axes{A1: lostPerMotion, A2: lostPerMotion})
	for i := range cands {
		c := &cands[i]
		c.Sigma = rig.Axes{A1: hypot(c.Sigma.A1, lost.A1), A2: hypot(c.Sigma.A2, lost.A2)}
		c.Because = "reckoned from the predicted ends"
	}
	fits := len(believed) == 0
	for _, c := range believed {
		fits = fits || t.fit(m, t.lifted(m, c.Axes, t.s.Anchored[0].Axes)) >= 0
	}
	short := p.Told == string(Stopped) || p.Told == string(Failed) || p.State == question.Withdrawn
	if !moved || short || !fits {
		t.doubt("a motion without a source of the pose was not shown to reach its end")
		if !fits {
			t.alarm(OffEnd, p.ID, "the belief came to rest at none of the predicted ends of permit %s", p.ID)
			cands = append(cands, believed...)
		}
		for _, c := range t.s.Anchored {
			cands = append(cands, t.drifted(c, m.x, m.y))
		}
	}
	t.anchorAt(m.y, cands, rig.Reckoned)
}

// after tells whether a sample was both read and received after an instant.
func (t *turn) after(x *question.Sample, at time.Time) bool {
	return when(x).After(at) && clock(x).After(at)
}
