package pose

import (
	"slices"
	"time"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Observe takes one sample in.
func Observe(w World, s question.RigState, x question.Sample) (question.RigState, []Notice) {
	t := begin(w, s)
	t.take(x)
	return t.done()
}

// take carries the state over one sample and tells whether it was taken in.
func (t *turn) take(x question.Sample) bool {
	wrong := t.wrongSide(&x)
	if !t.takes(&x) || t.passesBy(&x) {
		t.overheard(&x)
		t.lapse(clock(&x))
		return false
	}
	t.now = read(&x) // what it shows is over with it
	if wrong != "" {
		t.sidesApart(&x, wrong)
	}
	t.unlisted(&x)
	t.restarted(&x)
	was := t.s
	t.before = was.Sample
	t.carry(&x)
	t.compareSources(&was, &x)
	t.life(&x)
	t.partMoves(&x)
	t.lapse(clock(&x))
	t.remember(&x)
	return true
}

// carry brings the pose to a sample.
func (t *turn) carry(x *question.Sample) {
	a := t.s.Anchor
	switch {
	case len(t.s.Anchored) == 0:
		t.lose(orElse(t.s.Doubt, "no homing is on record yet, and nobody stated where the axes are"))
		t.blind(x)
	case a == nil:
		t.firstAnchor(x)
	case a.Still() && x.Still() && t.s.Sample != nil && t.s.Sample.Still() && !t.mayHaveMoved():
		t.quiet(a, x)
	default:
		t.motion(a, x)
	}
}

// blind looks for syncs while the pose is not known, for the sync history and the record.
func (t *turn) blind(x *question.Sample) {
	if t.told != nil {
		t.note(Notice{Kind: SyncSeen, Sentence: "the mount was synced while the pose is unknown"})
	}
}

// firstAnchor makes the first sample after a homing, or after the count was lost, the one to count from. One that moves already shows no zero.
func (t *turn) firstAnchor(x *question.Sample) {
	for i := range t.s.Anchored {
		t.s.Anchored[i] = t.unseen(t.s.Anchored[i], x)
	}
	if !x.Still() {
		t.doubt("the rig moved before a sample at rest showed where it counts from: home again, with a sample at rest in the same report")
		t.say(NothingToCount, "", "%s", t.s.Doubt)
		t.show(t.s.Anchored, rig.Reckoned, x)
		if p := t.s.Permit; p != nil && p.State == question.Withdrawn && p.Arrived == nil {
			at := when(x)
			p.Arrived = &at // it explains nothing of what moves from here on
		}
		return
	}
	t.zero(x)
	t.anchorAt(x, t.s.Anchored, t.best(x, x, t.view(x), t.view(x)))
}

// unseen spreads a place that nothing counts from yet over all to which the rig may have come by a sample, since the last one or since it was
// homed: a mount may come up tracking, and one that tracked when its count was lost may have gone on for any part of that time.
func (t *turn) unseen(c question.Candidate, x *question.Sample) question.Candidate {
	last, from := t.s.Sample, t.s.Pose.At
	if len(t.s.Recent) == 0 { // that one is from before the homing
		last = nil
	}
	if last != nil {
		from = when(last)
	}
	if from.IsZero() {
		return c
	}
	if x.Doing == question.Moving || last != nil && last.Doing == question.Moving && !t.mayHaveMoved() { // else onWay counted it
		c.Sigma = c.Sigma.Add(t.withinReach(t.fastest(&question.Sample{Time: from}, x)))
	}
	if x.Doing == question.Tracking || last != nil && last.Doing == question.Tracking || t.s.Homing == nil && t.mayFollow() {
		c = t.trackedOn(c, from, when(x))
	}
	return c
}

// anchorAt settles the places at a sample and carries on from there.
func (t *turn) anchorAt(x *question.Sample, cands []question.Candidate, source rig.SourceKind) {
	t.misdated(x, cands, source)
	y := *x
	t.s.Anchor, t.s.Lacking = &y, nil
	t.settle(cands, source, x)
}

// zero notes what each source shows at the homing.
func (t *turn) zero(x *question.Sample) {
	h := t.s.Homing
	if h == nil || len(t.s.Anchored) == 0 {
		return
	}
	p := t.s.Anchored[0].Axes
	for _, r := range x.Readings {
		if _, have := h.CountZero[r.Source]; have || !counted(r.Source) {
			continue
		}
		if h.CountZero == nil {
			h.CountZero = map[rig.SourceKind]rig.Axes{}
		}
		h.CountZero[r.Source] = r.Axes.Sub(p)
	}
	if v := t.view(x); v.ok && !v.vague() && h.BeliefAxes == nil {
		b := rig.LiftNear(t.axes(v, [2]unit.Angle{}, t.sideAt(v, [2]unit.Angle{}, p)), p)
		h.BeliefAxes = &b
	}
	if h.RunMark == "" {
		h.RunMark = x.RunMark
	}
}

// remember keeps the sample and what it tells of the mount.
func (t *turn) remember(x *question.Sample) {
	y := *x
	t.s.Sample, t.s.Skipped = &y, false
	t.s.RunMark = orElse(x.RunMark, t.s.RunMark)
	t.s.Forward, t.s.Discounted, t.s.Stepped = 0, 0, t.s.Stepped+t.s.Forward
	if x.Still() {
		t.s.Still = &y
	}
	if x.Site != nil {
		p := *x.Site
		t.s.Site, t.s.SiteAt = &p, when(x)
	}
	if x.Sidereal != nil {
		if m, err := t.w.Moment(when(x)); err == nil {
			d := (*x.Sidereal - m.SiderealTime(t.r.Site.Lon)).Wrapped()
			t.s.Ahead = &d
		}
	}
	t.mark(x)
}

// maxMarks bounds how many past samples are kept.
const maxMarks = 64

// markedMotion is how far a pose may be from following the sky for a run of samples to be kept as its first and last only: a sixth
// of the limit solve/still motion_arcsec, so that thinning hides nothing that a rule would see.
const markedMotion = 5 * unit.Arcsecond

// mark keeps what is needed of a sample to work out where a picture was taken.
func (t *turn) mark(x *question.Sample) {
	if len(t.s.Pose.Candidates) == 0 {
		return
	}
	m := question.SampleMark{Time: when(x), Doing: x.Doing, Axes: t.s.Pose.Candidates[0].Axes, Known: t.s.Pose.State == question.Known}
	if x.Doing == question.Tracking && x.Belief != nil {
		b := x.Belief.Sky
		m.Belief = &b
	}
	n := len(t.s.Recent)
	if n >= 2 && t.sameRun(t.s.Recent[n-2], t.s.Recent[n-1], m) {
		t.s.Recent[n-1] = m
		return
	}
	t.s.Recent = append(t.s.Recent, m)
	if len(t.s.Recent) > maxMarks {
		t.s.Recent = slices.Delete(t.s.Recent, 0, len(t.s.Recent)-maxMarks)
	}
}

// sameRun tells whether b adds nothing between a and c: all known and quiet, and each where following or resting from a puts it.
func (t *turn) sameRun(a, b, c question.SampleMark) bool {
	if a.Doing != b.Doing || b.Doing != c.Doing || !a.Known || !b.Known || !c.Known {
		return false
	}
	if a.Doing != question.AtRest && a.Doing != question.Tracking {
		return false
	}
	for _, m := range []question.SampleMark{b, c} {
		var f rig.Axes
		if a.Doing == question.Tracking {
			f = t.follow(a.Axes, a.Time, m.Time)
		}
		if m.Axes.Sub(a.Axes).Sub(f).Abs().Max() > markedMotion {
			return false
		}
	}
	return true
}

// reset is how far the mount's sidereal time may move against ours between two samples before it was set anew: the limit time/agree
// error_s, 20 s of time.
const reset = 300 * unit.Arcsecond

// moved is how far the mount's site may move before it was set anew: a tenth of a degree, what a site typed by hand may be rounded to.
// Common practice, no source.
const moved = 0.1 * unit.Degree

// restarted looks for a mount that lost its count: a changed run mark voids the homing; without marks a clock or site set anew
// puts the pose in doubt. With an equal mark it was set by somebody, and leave that waits was judged by the one before. (Tracking that begins by itself is looked for in quiet.)
func (t *turn) restarted(x *question.Sample) {
	was, why := t.runMark(), t.resetSigns(x)
	switch {
	case t.rerun(x):
		if t.s.Homing != nil || t.s.Anchor != nil { // else a person told of it
			t.powerless(x, "the run mark changed from "+was+" to "+x.RunMark+": the mount restarted")
		}
	case why == "":
	case x.RunMark != "" && (was != "" || t.s.Sample != nil && t.s.Sample.RunMark == x.RunMark): // homed since, the mark of that homing is not known yet
		t.raised = true
		t.say(ActTaken, "", "%s, and its run mark is the same: it was set anew", why)
	case t.s.Homing != nil:
		t.alarm(Restarted, "", "%s: the mount may have restarted; the pose is in doubt until it is homed or a solve sides with it", why)
		t.doubt("%s: the mount may have restarted", why)
	}
}

// runMark is the mark of the run that the count belongs to: that of the homing, else the last one seen, however many samples since told none. What
// was seen before a homing does not bind the first sample after it.
func (t *turn) runMark() string {
	h := t.s.Homing
	switch {
	case h != nil && h.RunMark != "":
		return h.RunMark
	case h != nil && len(t.s.Recent) == 0:
		return ""
	case t.s.RunMark == "" && t.s.Sample != nil: // a state from before marks were kept
		return t.s.Sample.RunMark
	}
	return t.s.RunMark
}

// overheard keeps the run mark of a sample that is not taken in where none is known of the homing: another one after it tells a restart all
// the same.
func (t *turn) overheard(x *question.Sample) {
	h, last := t.s.Homing, t.s.Sample
	if h == nil || last == nil || len(t.s.Recent) == 0 || t.runMark() != "" || x.HomingID != "" && x.HomingID != h.ID {
		return
	}
	if when(x).After(h.At) && !when(x).After(clock(last).Add(ahead)) {
		t.s.RunMark = x.RunMark
	}
}

// vouched tells whether run marks say that the mount did not restart between two samples: both tell the same, or the later one that of the homing.
// One that first appears says nothing of before, nor does that of a sample which is filled in with what older ones showed.
func (t *turn) vouched(x, y *question.Sample) bool {
	if y.RunMark == "" {
		return false
	}
	h := t.s.Homing
	return h != nil && h.RunMark == y.RunMark || t.s.Lacking == nil && x.RunMark == y.RunMark
}

// resetSigns names a clock or site that was set anew.
func (t *turn) resetSigns(x *question.Sample) string {
	if x.Site != nil && t.s.Site != nil {
		if d := (x.Site.Lat - t.s.Site.Lat).Abs(); d > moved {
			return sprintf("the mount's latitude moved by %.2f°", d.Deg())
		}
		if d := (x.Site.Lon - t.s.Site.Lon).Wrapped().Abs(); d > moved {
			return sprintf("the mount's longitude moved by %.2f°", d.Deg())
		}
	}
	if x.Sidereal == nil || t.s.Ahead == nil {
		return ""
	}
	m, err := t.w.Moment(when(x))
	if err != nil {
		return ""
	}
	now := (*x.Sidereal - m.SiderealTime(t.r.Site.Lon)).Wrapped()
	if d := (now - *t.s.Ahead).Wrapped().Abs(); d > reset && !(t.twoClocks(x) && d <= t.mapTolerance()) {
		why := sprintf("the mount's clock moved by %.0f s, as %s tells it", d.Deg()*240, orElse(x.Asker, "an unnamed asker"))
		if by := t.s.Forward + t.s.Stepped; (d - unit.Angle(by.Seconds())*15*unit.Arcsecond).Abs() <= reset {
			why = sprintf("%s, and this machine's own was changed by %s, which may be all there is to it", why, by.Round(time.Second))
		}
		return why
	}
	return ""
}

// twoClocks tells whether a mount that did not restart is told of by another program than before: each may go by its own computer's clock. What
// is off by more than the mount's map may be is looked at all the same.
func (t *turn) twoClocks(x *question.Sample) bool {
	was, last := t.runMark(), t.s.Sample
	return was != "" && was == x.RunMark && last != nil && last.Asker != x.Asker
}

// unpowered is what an axis may settle by without power, one standard deviation. Source: the project's design, "Details decided".
const unpowered = 2 * unit.Degree

// powerless is what a restart or a loss of power leaves: no count; the last place with more uncertainty where the mount holds
// without power, none where it does not.
func (t *turn) powerless(x *question.Sample, why string) {
	t.raised = true
	remedy := "home the axes, or state where they are"
	if !t.r.Mount.HoldsUnpowered { // nothing moves, homing neither, before somebody said where they are
		remedy = "look where the axes are, and state it"
	}
	t.alarm(Restarted, "", "%s; %s", why, remedy)
	t.s.Homing, t.s.Steps, t.s.Kept = nil, nil, nil // it came up without its syncs
	t.settled()
	t.doubt("%s", why)
	if !t.r.Mount.HoldsUnpowered || len(t.s.Pose.Candidates) == 0 {
		t.lose(why)
		return
	}
	cands := slices.Clone(t.s.Pose.Candidates)
	for i := range cands {
		cands[i] = t.onWay(cands[i], t.s.Sample, x) // firstAnchor adds what it may have followed
		cands[i].Sigma = cands[i].Sigma.Add(rig.Axes{A1: unpowered, A2: unpowered})
	}
	t.s.Anchor, t.s.Anchored = nil, cands
	t.show(cands, rig.Reckoned, nil)
}

// orElse is a unless it is empty.
func orElse(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// seconds is a span in seconds.
func seconds(d time.Duration) float64 { return d.Seconds() }
