package pose

import (
	"math"
	"slices"
	"strings"
	"time"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/pointing"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// still is what two quiet samples show of the likeliest candidate.
type still struct {
	x, y     *question.Sample
	vx, vy   view
	kind     rig.SourceKind
	at       rig.Axes    // the likeliest place at x
	drift    [2]rig.Axes // what following the sky explains
	allowed  rig.Axes
	source   rig.Axes  // what the source turned beyond drift; counted sources only
	belief   rig.Axes  // what belief turned beyond drift
	believed bool      // there is a belief in both
	since    time.Time // of what x shows, where it is older than x; see lacking
}

// quiet carries the pose over a time in which nothing but tracking may have moved it.
func (t *turn) quiet(x, y *question.Sample) {
	q := still{x: x, y: y, at: t.s.Anchored[0].Axes}
	if l := t.s.Lacking; l != nil {
		q.x, q.since = &l.Sample, l.Since
	}
	x = q.x
	q.vx, q.vy = t.view(x), t.view(y)
	q.kind = t.best(x, y, q.vx, q.vy)
	if q.kind == rig.Reckoned && q.vx.vague() && q.vy.vague() && !q.blind() && t.declares(rig.UnsyncedBelief) && t.mapTold(x) && t.mapTold(y) && t.syncsKnown(x, y) {
		q.kind = rig.UnsyncedBelief // what little it turns from sample to sample it tells well: the same place of the sky errs alike
	}
	q.drift, q.allowed = t.drift(q.at, x, y), t.tolerance(q.at, x, y)
	if q.believed = q.vx.ok && q.vy.ok; q.believed {
		q.belief = excess(t.turned(q.at, rig.KeptOnAxes, q.vx, q.vy, t.quietSide(q.at, rig.KeptOnAxes, q.vx, q.vy)), q.drift)
		if q.blind() {
			q.belief.A1 = 0
		}
	}
	t.trackingBegan(&q)
	if counted(q.kind) {
		a, _ := reading(x, q.kind)
		b, _ := reading(y, q.kind)
		q.source = excess(b.Sub(a), q.drift)
		if q.blind() { // it neither bears out nor denies what the source says
			q.belief.A1 = q.source.A1
		}
		t.quietCounted(&q)
	} else {
		t.quietBelieved(&q)
	}
	t.selfFlip(&q)
	t.sideTurned(&q)
}

// blind tells whether belief says nothing of how axis 1 turned between the samples.
func (q *still) blind() bool { return q.vx.blind() || q.vy.blind() }

// mistake names what the reading that came looks like.
func (q *still) mistake() string {
	came, _ := reading(q.y, q.kind)
	return likely(came.Sub(q.source), came)
}

// quietCounted: the source follows motions and no syncs; belief follows both.
func (t *turn) quietCounted(q *still) {
	turned, synced := beyond(q.source, q.allowed), t.isSync(q)
	alike := q.believed && beyond(q.source, q.allowed) && !beyond(q.source.Sub(q.belief), rig.Axes{A1: q.allowed.A1 / 2, A2: q.allowed.A2 / 2})
	switch {
	case t.atHomeAgain(q.kind, q.x, q.y, q.source):
		t.alarm(Restarted, string(q.kind), "the %s stands as at home, %s from where it was, without a permit, and no run mark tells a restart: the mount may have lost its count", q.kind, q.source.Scale(-1))
		t.doubt("the %s went back to home without a permit: the mount may have restarted", q.kind)
		t.fork(q, t.stayed, t.byCount)
		turned = true
	case turned && alike && (synced || !q.blind() && t.tooFast(q.belief, q)): // belief that is blind says nothing of haste, and a sync is one all the same
		t.demote(q)
	case turned && t.tooFast(q.source, q):
		t.alarm(Jump, string(q.kind), "the %s moved by %s within %.1f s at rest, faster than the axes turn", q.kind, q.source, t.dt(q))
		t.doubt("the %s jumped by %s%s", q.kind, q.source, q.mistake())
		t.fork(q, t.byCount, t.stayed)
	case turned && q.believed && !alike && q.kind == rig.MotorCount:
		t.alarm(UnaskedMotion, string(q.kind), "the motor count moved by %s at rest and the belief did not: which of them is right is not known", q.source)
		t.doubt("the motor count moved by %s without the belief%s", q.source, q.mistake())
		t.fork(q, t.byCount, t.stayed)
	case turned:
		t.alarm(UnaskedMotion, string(q.kind), "the axes moved by %s without a permit (%s)", q.source, q.kind)
		if q.believed && !alike {
			t.part(rig.UnsyncedBelief, sprintf("it did not move with the %s at %s", q.kind, hms(when(q.y))))
		}
		t.fork(q, t.byCount)
	default:
		t.creep(q, q.source)
		t.fork(q, t.byCount)
	}
	if turned {
		t.forgetClock(q.y)
	}
	if !turned && q.believed && (synced || beyond(q.belief, q.allowed)) {
		t.sync(q, q.belief.Sub(q.source))
	}
}

// quietBelieved: what belief turned is a sync or a motion, and only a leave, a count or haste tells which. Reckoned poses use
// belief only to notice.
func (t *turn) quietBelieved(q *still) {
	moved := q.believed && beyond(q.belief, q.allowed)
	reckoned := q.kind == rig.Reckoned
	switch {
	case q.believed && t.isSync(q):
		t.sync(q, q.belief)
		t.fork(q, t.stayed)
	case moved && t.tooFast(q.belief, q) && !t.crossed(q):
		t.sync(q, q.belief)
		if !reckoned {
			t.doubt("an unasked sync of %s: others sync this mount, so its belief is no source of the pose", q.belief)
		}
		t.fork(q, t.stayed)
	case moved && !reckoned && t.countSaysMotion(q) && t.vouched(q.x, q.y) && !t.mayBeClock(q): // a mount that restarted counts no syncs either, and takes itself to be elsewhere
		t.alarm(UnaskedMotion, "", "the axes moved by %s without a permit (the mount counted no sync)", q.belief)
		ways := []way{t.byBelief}
		if t.mayHaveCrossed(q) {
			t.doubt("the axes moved by %s without a permit, and nothing tells on which side the tube is since", q.belief)
			ways = append(ways, t.byOther)
		}
		t.fork(q, ways...)
	case moved && !reckoned && t.countSaysMotion(q) && t.vouched(q.x, q.y) && !beyond(q.belief, rig.Axes{A1: nudge, A2: nudge}) && !t.mayHaveCrossed(q):
		t.alarm(UnaskedMotion, "", "the axes moved by %s without a permit, or the mount's clock or site was set (it counted no sync)", q.belief)
		t.fork(q, t.byNudge)
	case moved:
		what := "a motion or a sync"
		if t.countSaysMotion(q) && t.mayBeClock(q) {
			what = "a motion, or the mount's clock or site was set"
		}
		t.alarm(UnaskedMotion, "", "the belief moved by %s at rest without leave: %s, which cannot be told", q.belief, what)
		t.doubt("the belief moved by %s at rest: %s", q.belief, what)
		t.fork(q, t.whereTo(q)...)
	case reckoned:
		t.fork(q, t.stayed)
	default:
		t.creep(q, q.belief)
		t.fork(q, t.byLittle)
	}
}

// way carries one candidate over a quiet time by one supposition.
type way func(q *still, c question.Candidate) question.Candidate

func (t *turn) stayed(q *still, c question.Candidate) question.Candidate {
	return t.drifted(c, q.x, q.y)
}

func (t *turn) byCount(q *still, c question.Candidate) question.Candidate {
	a, _ := reading(q.x, q.kind)
	b, _ := reading(q.y, q.kind)
	c.Axes = c.Axes.Add(b.Sub(a))
	return c
}

func (t *turn) byBelief(q *still, c question.Candidate) question.Candidate {
	forms := t.forms(c)
	side := t.quietSide(c.Axes, forms[0], q.vx, q.vy)
	turn := t.turned(c.Axes, forms[0], q.vx, q.vy, side)
	for _, f := range forms[1:] { // which form is right shows at the next motion; until then the difference is small
		c.Sigma = c.Sigma.Add(t.turned(c.Axes, f, q.vx, q.vy, t.quietSide(c.Axes, f, q.vx, q.vy)).Sub(turn).Abs().Scale(1.0 / 3))
	}
	c.Axes = c.Axes.Add(turn)
	return c
}

// byLittle follows what belief moves within its tolerance. Near the end of axis 1 that is more than guiding does, and may as well have been a
// sync or a clock that was set: three standard deviations then reach back to where the place would have stayed.
func (t *turn) byLittle(q *still, c question.Candidate) question.Candidate {
	d := t.byBelief(q, c)
	drift, by := t.drift(c.Axes, q.x, q.y), d.Axes.Sub(c.Axes)
	off := larger(by.Sub(drift[0]).Abs(), by.Sub(drift[1]).Abs())                                // it may have followed the sky for any part of the time
	if excess(by, drift).A1.Abs() > q.allowed.A2 || off.A1 > q.allowed.A2 && t.nearEnd(c.Axes) { // what is allowed on the sky, as axis 2 has it
		d.Sigma.A1 += off.A1 / 3
	}
	if q.vy.vague() { // over a night its error goes round
		d.Sigma.A1 = max(d.Sigma.A1, 2*Blur(t.r, q.y, d.Axes)/3)
	}
	return d
}

// nudge is how far a step may be that is a motion or a clock that was set, and both are one place: a place that holds both, three standard deviations each,
// stays sharp. Choice.
const nudge = 0.5 * unit.Degree

// byNudge is a place wide enough for where the axes stayed and for where belief moved them.
func (t *turn) byNudge(q *still, c question.Candidate) question.Candidate {
	return covering(t.byBelief(q, c), t.stayed(q, c))
}

// byOther is byBelief with the tube taken across the end of axis 1 meanwhile.
func (t *turn) byOther(q *still, c question.Candidate) question.Candidate {
	c.Axes = c.Axes.Add(t.across(q, c.Axes))
	return c
}

// across is what belief turned if the tube changed sides meanwhile.
func (t *turn) across(q *still, a rig.Axes) rig.Axes {
	return t.turned(a, rig.KeptOnAxes, q.vx, q.vy, t.quietSide(a, rig.KeptOnAxes, q.vx, q.vy).Other())
}

// crossed tells whether a step that is too fast on the one side may be a motion to the other.
func (t *turn) crossed(q *still) bool {
	return t.r.Kind.Equatorial() && !t.tooFast(excess(t.across(q, q.at), q.drift), q)
}

// onHand is how far somebody turns a mount by hand to centre a star; who turns it farther may have slewed it to the other side. Choice.
const onHand = 10 * unit.Degree

// mayHaveCrossed tells whether a motion that nobody asked for may have led to the other side: no sensed side tells, and it was a long one or near the end of
// axis 1, where the two sides meet.
func (t *turn) mayHaveCrossed(q *still) bool {
	if !t.crossed(q) {
		return false
	}
	to := q.at.Add(q.belief)
	near := t.nearEnd(q.at) || t.nearEnd(to) || t.nearEnd(q.at.Add(t.across(q, q.at)))
	told := t.r.Mount.SideSensed && q.y.Belief.Side != ""
	return near || !told && beyond(q.belief, rig.Axes{A1: onHand, A2: onHand})
}

// whereTo is every place that a belief which moved at rest may stand for.
func (t *turn) whereTo(q *still) []way {
	out := []way{t.stayed}
	if !t.tooFast(q.belief, q) {
		out = append(out, t.byBelief)
	}
	if t.crossed(q) {
		out = append(out, t.byOther)
	}
	return out
}

// fork carries every candidate by each of the suppositions and counts on from the later sample.
func (t *turn) fork(q *still, ways ...way) {
	var out []question.Candidate
	for _, w := range ways {
		for _, c := range t.s.Anchored {
			out = append(out, w(q, c))
		}
	}
	by := out[0].Axes.Sub(t.s.Anchored[0].Axes)
	t.anchorAt(q.y, out, q.kind)
	t.lacking(q, by)
}

// dt is the time between two quiet samples, seconds.
func (t *turn) dt(q *still) float64 { return seconds(when(q.y).Sub(when(q.x))) }

// tooFast tells whether a turn is more than the axes can do between the samples.
func (t *turn) tooFast(turn rig.Axes, q *still) bool {
	x := q.x
	if !q.since.IsZero() {
		x = &question.Sample{Time: q.since}
	}
	return beyond(turn, t.fastest(x, q.y))
}

// creep sums what guiding and dithers move; more than the start tolerance since the last motion is a motion that nobody asked for.
func (t *turn) creep(q *still, off rig.Axes) {
	t.s.Crept = t.s.Crept.Add(off)
	if !beyond(t.s.Crept, t.wide(q.at, t.startTolerance())) {
		return
	}
	t.alarm(UnaskedMotion, string(q.kind), "small movements that nobody asked for add up to %s since the last motion", t.s.Crept)
	if !counted(q.kind) && !t.countSaysMotion(q) {
		t.doubt("small movements of the belief add up to %s: motions or syncs", t.s.Crept)
		back := t.s.Crept.Scale(-1)
		for _, c := range t.s.Anchored {
			c.Axes = c.Axes.Add(back)
			t.s.Anchored = append(t.s.Anchored, c)
		}
	}
	t.s.Crept = rig.Axes{}
}

// mayBeClock tells whether a clock or a site that was set in a mount that does not tell them may be what moved its belief: by the clock, or the longitude,
// right ascension alone. Of an alt-azimuth the latitude moves declination too.
func (t *turn) mayBeClock(q *still) bool {
	if t.r.Kind == rig.AltAzimuth && (q.x.Site == nil || q.y.Site == nil) {
		return true
	}
	return (q.x.Sidereal == nil || q.y.Sidereal == nil) && (q.vy.dec-q.vx.dec).Abs() <= wiggle
}

// countSaysMotion tells whether the mount counts its syncs and counted none between the samples.
func (t *turn) countSaysMotion(q *still) bool {
	return t.r.Mount.CountsSyncs && q.x.SyncCount != nil && q.y.SyncCount != nil && *q.x.SyncCount == *q.y.SyncCount
}

// syncsCounted is by how many syncs the mount's count grew; 0 where it does not count.
func (t *turn) syncsCounted(x, y *question.Sample) int {
	if !t.r.Mount.CountsSyncs || x.SyncCount == nil || y.SyncCount == nil || *y.SyncCount < *x.SyncCount {
		return 0
	}
	return int(*y.SyncCount - *x.SyncCount)
}

// isSync tells whether what belief did between the samples is a sync for certain: told, counted, or under a live leave nearer to
// what that sync does than to nothing.
func (t *turn) isSync(q *still) bool {
	if t.told != nil && !t.told.refused {
		return true
	}
	if t.syncsCounted(q.x, q.y) > 0 {
		return true
	}
	l := t.liveLeave(q.y)
	if l == nil {
		return false
	}
	given, ok := t.given(l, q.y)
	return ok && q.vy.toward().Angle(given) < q.vx.toward().Angle(given)/2
}

// toward is the belief as a direction of date.
func (v view) toward() frame.Vec[frame.Date] { return frame.FromLonLat[frame.Date](v.ra, v.dec) }

// liveLeave is the sync leave that may be used at a sample.
func (t *turn) liveLeave(x *question.Sample) *question.SyncLeave {
	if l := t.s.Leave; l != nil && l.Live && !past(clock(x), l.UseBy) {
		return l
	}
	return nil
}

// sync puts a step of belief on record as seen between two quiet samples, and says how it compares with what had leave.
func (t *turn) sync(q *still, step rig.Axes) {
	t.raised = true
	l := t.liveLeave(q.y)
	if t.told != nil {
		l = t.told.leave
	}
	t.record(q, step, l != nil)
	n := t.syncsCounted(q.x, q.y)
	if l == nil {
		t.alarm(UnaskedSync, "", "the belief moved by %s within %.1f s without leave: a sync that nobody asked for", step, t.dt(q))
		t.doubtBelief(q, step)
		return
	}
	l.Live, l.Because = false, "used at "+hms(when(q.y))
	if n > 1 {
		t.alarm(UnaskedSync, l.ID, "the mount counted %d syncs where leave %s was for one", n, l.ID)
	}
	if !t.asGiven(q, l, step) {
		t.doubtBelief(q, step)
		return
	}
	t.accept(l)
}

// doubtBelief: a sync told that had no leave puts the pose in doubt where belief is its source.
func (t *turn) doubtBelief(q *still, step rig.Axes) {
	if t.told != nil && !counted(q.kind) {
		t.doubt("a sync of %s without leave", step)
	}
}

// atEnd tells whether belief, before a step or after, or a place held is within 10° of the line of axis 1: twice what any belief may be
// off that a motion goes by (the hard bound of belief/agrees sky_deg), the one for the pose, the other for belief.
func (t *turn) atEnd(q *still) bool {
	const near = 10 * unit.Degree
	end := unit.HalfTurn/2 - max(q.vx.dec.Abs(), q.vy.dec.Abs())
	for _, c := range t.s.Anchored {
		off := direction(t.r, c.Axes).Angle(t.r.Chain.Dir1)
		end = min(end, off, unit.HalfTurn-off)
	}
	return !(end > near)
}

// record adds a step to the syncs since homing, in both forms.
func (t *turn) record(q *still, step rig.Axes, asked bool) {
	sky := [2]unit.Angle{(q.vy.ra - q.vx.ra).Wrapped(), q.vy.dec - q.vx.dec}
	sky[0] = unit.Angle(math.Remainder(float64(sky[0]-t.restGrowth(q)), 2*math.Pi))
	if len(t.s.Steps) >= mostSyncs { // the oldest two become one: sums stay
		a, b := t.s.Steps[0], t.s.Steps[1]
		b.Axes, b.Sky = a.Axes.Add(b.Axes), [2]unit.Angle{a.Sky[0] + b.Sky[0], a.Sky[1] + b.Sky[1]}
		b.AtEnd = a.AtEnd || b.AtEnd
		t.s.Steps = append([]question.Step{b}, t.s.Steps[2:]...)
	}
	t.s.Steps = append(t.s.Steps, question.Step{At: when(q.y), Axes: step, Sky: sky, Asked: asked, AtEnd: t.atEnd(q)})
	before := t.offset(q.vx, q.at)
	nearer := math.Hypot(float64(before.A1+step.A1), float64(before.A2+step.A2)) < math.Hypot(float64(before.A1), float64(before.A2))
	t.s.Syncs = addSync(t.s.Syncs, question.SyncDone{At: when(q.y), Axes: step, Nearer: nearer})
}

// mostSyncs bounds what is kept of the syncs since homing, one by one. Choice: a night's at the most that sync/rate lets pass is 432.
const mostSyncs = 256

// addSync adds a sync to those kept. Where there are too many the oldest two become one, and what they add stays: a walk in steps however small
// is not forgotten at its far end.
func addSync(all []question.SyncDone, s question.SyncDone) []question.SyncDone {
	if len(all) >= mostSyncs {
		a, b := all[0], all[1]
		switch {
		case b.Nearer && !a.Nearer:
			b = question.SyncDone{At: b.At, Axes: a.Axes}
		case !b.Nearer && !a.Nearer:
			b.Axes = a.Axes.Add(b.Axes)
		}
		all = append([]question.SyncDone{b}, all[2:]...)
	}
	return append(all, s)
}

// restGrowth is by how much right ascension grew between two quiet samples without any sync: none while tracking, the sidereal rate
// at rest, and between the two what brings axis 1's excess to none.
func (t *turn) restGrowth(q *still) unit.Angle {
	if q.x.Doing == question.Tracking && q.y.Doing == question.Tracking {
		return 0
	}
	all := q.vy.sky.Sidereal - q.vx.sky.Sidereal
	if t.rested(q.x, q.y) {
		return all.Wrapped()
	}
	return all.Wrapped() / 2
}

// offset is M(belief) less a pose.
func (t *turn) offset(v view, a rig.Axes) rig.Axes {
	return rig.LiftNear(t.axes(v, [2]unit.Angle{}, t.sideAt(v, [2]unit.Angle{}, a)), a).Sub(a)
}

// accept marks the leave's solve as accepted and learns from it.
func (t *turn) accept(l *question.SyncLeave) {
	t.s.Solves = slices.Clone(t.s.Solves)
	for i := range t.s.Solves {
		j := &t.s.Solves[i]
		if j.RequestID == l.RequestID && j.Verdict != question.Accepted {
			j.Verdict, t.s.Before = question.Accepted, nil
			t.learn(*j)
		}
	}
}

// learn takes an accepted solve into the offsets of its side and into the pointing model of its optics.
func (t *turn) learn(j question.JudgedSolve) {
	if j.Side == "" || !j.Good || j.Against {
		return
	}
	o := t.s.Learnt[j.Side]
	off := j.Solved.Sub(j.Pose)
	o.Axes = o.Axes.Scale(float64(o.Count)).Add(off).Scale(1 / float64(o.Count+1))
	o.Count++
	if t.s.Learnt == nil {
		t.s.Learnt = map[rig.Side]question.Offsets{}
	}
	t.s.Learnt[j.Side] = o
	if t.learntFrom(j) {
		return
	}
	m := t.pointing(j.Optics)
	t.pinned(j, &m)
	if j.Confirmed {
		m = m.Shifted(j.OffsetSky)
	}
	m = m.Learnt(t.mount(), j.Pose, j.Sigma, direction(t.r, j.Solved))
	if !m.Finite() {
		return
	}
	if t.s.Pointing == nil {
		t.s.Pointing = map[string]pointing.Model{}
	}
	t.s.Pointing[j.Optics] = m
}

// learntFrom tells whether another accepted solve is of the same picture: it teaches once.
func (t *turn) learntFrom(j question.JudgedSolve) bool {
	for _, o := range t.s.Solves {
		if o.RequestID != j.RequestID && o.Verdict == question.Accepted && o.Optics == j.Optics && (o.Mid.Equal(j.Mid) || j.Picture != "" && o.Picture == j.Picture) {
			return true
		}
	}
	return false
}

func (t *turn) mount() pointing.Mount { return pointing.MountOf(t.r) }

func (t *turn) pointing(optics string) pointing.Model { return PointingModel(t.r, t.s, optics) }

// PointingModel is what was learnt of the mount's errors through one of a rig's optics; where nothing was, or with axis 1 elsewhere by the file, that
// nothing is known.
func PointingModel(r *rig.Rig, s question.RigState, optics string) pointing.Model {
	mount := pointing.MountOf(r)
	if m, ok := s.Pointing[optics]; ok && m.Of(mount) {
		return m
	}
	if s.Homing == nil {
		return pointing.New(mount, rig.Axes{})
	}
	m := pointing.New(mount, s.Homing.Sigma)
	m.OnSensor, m.OnMarks = s.Homing.Sensed, !s.Homing.Sensed && s.Homing.Axes == r.Home
	return m
}

// lean is what was learnt of the pointing in axis terms, where a solve was taken.
func (t *turn) lean(j question.JudgedSolve) rig.Axes {
	m := t.pointing(j.Optics)
	return m.Lean(t.mount(), j.Pose)
}

// repoint changes the pointing models of all optics.
func (t *turn) repoint(change func(pointing.Model) pointing.Model) {
	for name, m := range t.s.Pointing {
		t.s.Pointing[name] = change(m)
	}
}

// demote stops trusting a source that moved with a sync.
func (t *turn) demote(q *still) {
	if t.s.Demoted == nil {
		t.s.Demoted = map[rig.SourceKind]string{}
	}
	t.s.Demoted[q.kind] = sprintf("moved by %s with a sync at %s", q.source, hms(when(q.y)))
	t.raised = true
	t.alarm(Demoted, string(q.kind), "the %s moved by %s together with a sync: it is no source of the pose from now on; %s", q.kind, q.source, strings.Replace(howTrusted, "RIG", t.r.ID, 1))
	t.doubt("the %s moved with a sync of %s", q.kind, q.source)
	l := t.liveLeave(q.y)
	if t.told != nil {
		l = t.told.leave
	}
	t.record(q, q.belief, l != nil)
	if l != nil {
		l.Live, l.Because = false, "used at "+hms(when(q.y))
	}
	t.fork(q, t.stayed, t.byCount)
}

// trackingBegan notices tracking that nobody asked for. Where only belief tells the pose and no run mark tells a restart, it may be
// what a mount does after power-up.
func (t *turn) trackingBegan(q *still) {
	if q.x.Doing != question.AtRest || q.y.Doing != question.Tracking || t.mayTrack(q.y) {
		return
	}
	t.alarm(UnaskedTracking, "", "the mount began to track without a permit")
	if !counted(q.kind) && !t.vouched(q.x, q.y) {
		t.doubt("the mount began to track by itself, as after a restart")
	}
}

// mayTrack tells whether a permit explains that the rig follows the sky.
func (t *turn) mayTrack(x *question.Sample) bool {
	p := t.s.Permit
	if p == nil || p.BegunAt == nil || !tracks(p) {
		return false
	}
	return p.StopBy.IsZero() || !clock(x).After(p.StopBy)
}
