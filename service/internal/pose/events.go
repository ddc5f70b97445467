package pose

import (
	"fmt"
	"math"
	"slices"

	"keepclear.example/keepclear/service/internal/pointing"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// stuck is how far from home, beside its search and three sigma, the counts may say that a home sensor answers before one of the two
// is taken to be broken and a person must look. Common practice, no source.
const stuck = 10 * unit.Degree

// Homed sets a new homing: h has its id, instant, whether it was sensed, the person, the axes (both zero and no sigma: the
// rig's home; to state the zero pose itself, give sigma), sigma (zero: the rig file's when sensed, 1° when attested; no less than eyeSigma then) and the closure
// error where it is known. A sensed home far from where the counts put it is refused, and only a person's statement homes then.
func Homed(w World, s question.RigState, h question.Homing, x *question.Sample) (question.RigState, []Notice) {
	t := begin(w, s)
	if why := t.badHoming(&h); why != "" {
		t.say(EventMismatch, h.ID, "the homing is not taken in: %s", why)
		return t.done()
	}
	if h.Axes == (rig.Axes{}) && h.Sigma == (rig.Axes{}) {
		h.Axes = w.Rig.Home
	}
	if h.Sigma == (rig.Axes{}) && !(h.Sensed && w.Rig.Homing.Sigma != (rig.Axes{})) {
		h.Sigma = rig.Axes{A1: homeSigma, A2: homeSigma}
	}
	if h.Sensed { // no asker knows a sensor better than the file
		h.Sigma = larger(h.Sigma, w.Rig.Homing.Sigma)
	} else {
		h.Sigma = larger(h.Sigma, rig.Axes{A1: eyeSigma, A2: eyeSigma})
	}
	t.ownCount(&h)
	if h.Sensed && t.sensorLies(&h, x) {
		return t.done()
	}
	t.contradicts(&h)
	t.closure(&h)
	t.home(h, x)
	return t.done()
}

// badHoming says what makes a homing useless; empty: nothing.
func (t *turn) badHoming(h *question.Homing) string {
	switch {
	case h.ID == "":
		return "it has no id"
	case !h.Axes.Finite() || !h.Sigma.Finite() || h.Sigma.A1 < 0 || h.Sigma.A2 < 0 || h.Axes.Abs().Max() > farthest:
		return "an angle is no number or out of all range"
	case h.Closure != nil && !h.Closure.Finite():
		return "its closure is no number"
	case h.Sensed && t.r.Homing.By != rig.BySensor:
		return fmt.Sprintf("no sensor homes this rig, says its file (by: %s): report it as attested, with the person who saw it", t.r.Homing.By)
	case !h.Sensed && h.Person == "":
		return "a home that was not sensed needs the person who saw it"
	}
	return ""
}

// ownCount brings a closure to the count as it is held here: a mount's own counters may have kept another zero since a person stated where
// the axes are. Counts that lost their reference close on nothing.
func (t *turn) ownCount(h *question.Homing) {
	if h.Closure == nil {
		return
	}
	if t.s.Homing == nil {
		h.Closure = nil
		return
	}
	for _, s := range t.r.Sources {
		if zero, ok := t.s.Homing.CountZero[s.Kind]; ok && counted(s.Kind) {
			off := h.Closure.Sub(zero)
			h.Closure = &off
			return
		}
	}
}

// sensorLies refuses a sensed home that the counts, or where they are not told the places held, put far away. The counts may have been set
// by it, so from then on they count from anew.
func (t *turn) sensorLies(h *question.Homing, x *question.Sample) bool {
	allowed := t.r.Homing.Search.Abs().Add(question.Sigma3(h.Sigma)).Add(rig.Axes{A1: stuck, A2: stuck})
	off, what := t.farFromHome(h), "pose"
	if h.Closure != nil && beyond(*h.Closure, allowed) {
		off, what = *h.Closure, "counts"
	}
	if !beyond(off, allowed) {
		return false
	}
	t.raised = true
	t.alarm(Closure, "", "the home sensor answered where the %s had the axes %s from home (at most %s is taken): the sensor or the %s is wrong; a person must see and state where the axes are", what, off, allowed, what)
	t.s.Homing = nil
	t.doubt("the home sensor and the %s disagree by %s", what, off)
	cands := slices.Clone(t.s.Pose.Candidates)
	for i := range cands {
		cands[i] = t.onWay(cands[i], t.s.Sample, x) // firstAnchor adds what it may have followed
	}
	t.s.Anchor, t.s.Anchored = nil, cands
	t.show(cands, rig.Reckoned, nil)
	if x != nil {
		t.take(*x)
	}
	return true
}

// contradicts tells a person who states where the axes are that they were held to be elsewhere by far, where no motion with leave explains it: it may be the
// other rig, or the angles were left out. It is taken in all the same: who looked at the rig knows better.
func (t *turn) contradicts(h *question.Homing) {
	last := t.s.Sample
	if h.Sensed || last == nil || len(t.s.Pose.Candidates) == 0 || t.mayHaveMoved() {
		return
	}
	nearest := unit.Angle(math.Inf(1))
	var held rig.Axes
	for _, c := range t.s.Pose.Candidates {
		at := c.Axes
		if !counted(t.s.Pose.Source) { // belief says nothing of turns
			at = rig.LiftNear(at, h.Axes)
		}
		may := question.Sigma3(c.Sigma).Add(question.Sigma3(h.Sigma)).Add(rig.Axes{A1: stuck, A2: stuck})
		if last.Doing == question.Tracking {
			may.A1 += question.SiderealRate * unit.Angle(max(0, h.At.Sub(clock(last)).Seconds()))
		}
		off := at.Sub(h.Axes)
		if !beyond(off, may) {
			return
		}
		if off.Abs().Max() < nearest {
			nearest, held = off.Abs().Max(), at
		}
	}
	t.say(Closure, "", "until now the axes were held to be at %s by %s, as of %s; %s is stated, %.0f° from there: see that this is the rig, and that these are its angles",
		held, t.s.Pose.Source, hms(when(last)), h.Axes, nearest.Deg())
}

// farFromHome is how far the places held stand from home when a sensor answers, the nearest of them, less its uncertainty and all that the
// axes may have turned since the last sample; nothing where no place is held.
func (t *turn) farFromHome(h *question.Homing) (off rig.Axes) {
	last := t.s.Sample
	if last == nil {
		return off
	}
	for i, c := range t.s.Pose.Candidates {
		at := c.Axes
		if !counted(t.s.Pose.Source) { // belief says nothing of turns
			at = rig.LiftNear(at, h.Axes)
		}
		reach := t.fastest(last, &question.Sample{Time: h.At}).Add(question.Sigma3(c.Sigma))
		d := excess(at.Sub(h.Axes), [2]rig.Axes{reach.Scale(-1), reach})
		if i == 0 || d.Abs().Max() < off.Abs().Max() {
			off = d
		}
	}
	return off
}

// closure learns from what the counts showed at the mark: within three sigma the source is proven by it, beyond it steps were lost,
// and what a reckoned motion may lose follows.
func (t *turn) closure(h *question.Homing) {
	if h.Closure == nil || !h.Sensed {
		return
	}
	var own rig.Axes
	for _, s := range t.r.Sources {
		if counted(s.Kind) {
			own = s.Sigma
			break
		}
	}
	sigma := rig.Axes{A1: hypot(own.A1, h.Sigma.A1), A2: hypot(own.A2, h.Sigma.A2)}
	if t.s.Homing != nil {
		sigma = rig.Axes{A1: hypot(sigma.A1, t.s.Homing.Sigma.A1), A2: hypot(sigma.A2, t.s.Homing.Sigma.A2)}
	}
	n := max(t.s.Motions, 1)
	t.s.Lost = h.Closure.Abs().Scale(1 / float64(n))
	if beyond(*h.Closure, question.Sigma3(sigma)) {
		t.say(Closure, h.ID, "the counts were off by %s at home after %s, more than three sigma %s: steps were lost", *h.Closure, motions(n), question.Sigma3(sigma))
		return
	}
	t.say(ClosedTrue, h.ID, "the counts closed within %s at home after %s", *h.Closure, motions(n))
}

func motions(n int) string {
	if n == 1 {
		return "one motion"
	}
	return fmt.Sprintf("%d motions", n)
}

// home starts a new count: nothing from before it holds.
func (t *turn) home(h question.Homing, x *question.Sample) {
	t.raised = true
	if p := t.s.Permit; p.Open() {
		if p.Action.Kind == question.Home {
			t.end(p, question.Ended, "homed")
			p.Moved, p.Arrived = true, &h.At
		} else {
			t.alarm(PermitWithdrawn, p.ID, "permit %s is withdrawn: the rig was homed", p.ID)
		}
	}
	t.settleEpoch()
	h.CountZero, h.BeliefAxes = nil, nil
	t.rezero(&h, x)
	t.s.Homing = &h
	t.settled()
	t.s.Against, t.s.Motions, t.s.Crept, t.s.Taught = 0, 0, rig.Axes{}, rig.Axes{}
	kept, form := t.kept(&h, x)
	t.s.Kept = kept
	t.s.Steps, t.s.Syncs, t.s.Solves, t.s.Learnt, t.s.Recent = nil, nil, nil, nil, nil
	t.s.Anchor, t.s.Ahead, t.s.SideTold = nil, nil, nil
	t.s.Forward, t.s.Discounted, t.s.Stepped = 0, t.s.Discounted+t.s.Forward, 0 // the sample held is from before
	t.s.Parted = nil
	t.s.Anchored = []question.Candidate{{Axes: h.Axes, Sigma: h.Sigma, Kept: form}}
	how := "sensed"
	if !h.Sensed {
		how = "attested by " + h.Person
	}
	t.say(HomedAt, h.ID, "homed (%s): the axes are at %s ± %s", how, h.Axes, question.Sigma3(h.Sigma))
	if t.disproved() {
		t.say(HomedAt, h.ID, "samples showed that the mount does not keep its syncs as the rig file says (%s): until the file is mended both ways count", offsetOf(t.w.Rig.Mount.Sync))
	}
	t.show(t.s.Anchored, rig.Reckoned, nil)
	t.s.Pose.At = h.At
	t.was = t.s.Pose.State
	if x == nil {
		return
	}
	y := *x
	y.HomingID = "" // the asker cannot know the id that this report makes
	t.take(y)
}

// Synced takes the word that the mount was told a position, with a leave or (empty) without; refused: the mount declined it. The
// sample shows the belief afterwards.
func Synced(w World, s question.RigState, leave string, refused bool, x *question.Sample) (question.RigState, []Notice) {
	t := begin(w, s)
	l := t.s.Leave
	switch {
	case leave != "" && (l == nil || l.ID != leave):
		t.raised = true
		t.alarm(EventMismatch, leave, "sync leave %s is not the rig's last one: its sync counts as one without leave", leave)
		t.told = &told{refused: refused}
	case leave == "":
		t.raised = true
		t.told = &told{refused: refused}
	case refused:
		l.Live, l.Because, t.raised = false, "the mount refused it", true
		t.say(SyncMissed, leave, "the mount refused the sync of leave %s", leave)
	case l.Live:
		t.raised = true
		t.told = &told{leave: l}
	case t.usedAlready(l):
		// a sample showed it before the asker said so
	default:
		t.raised = true
		t.alarm(UnaskedSync, leave, "sync leave %s was over (%s) when the mount was told: its sync counts as one without leave", leave, l.Because)
		t.told = &told{}
	}
	t.settleEpoch()
	if t.told != nil && t.told.refused {
		t.told = nil
	}
	t.afterSync(x)
	return t.done()
}

// usedAlready tells whether the step of a leave has been seen.
func (t *turn) usedAlready(l *question.SyncLeave) bool {
	n := len(t.s.Steps)
	return n > 0 && t.s.Steps[n-1].Asked && !t.s.Steps[n-1].At.Before(l.Asked)
}

// afterSync brings the state to the sample beside the word of a sync. Where no two quiet samples stand around the sync its step
// cannot be seen: then what counts on seeing it is in doubt.
func (t *turn) afterSync(x *question.Sample) {
	seen := x != nil && x.Still() && t.s.Sample != nil && t.s.Sample.Still() && x.Belief != nil && t.s.Sample.Belief != nil
	if t.told != nil && !seen {
		if l := t.told.leave; l != nil {
			l.Live, l.Because = false, "used, its step not seen"
			t.accept(l)
		}
		t.alarm(UnaskedSync, "", "the mount was synced with no quiet sample on both sides of it: its step was not seen")
		if t.byBeliefOnly() {
			t.doubt("a sync whose step was not seen")
			t.show(t.s.Anchored, t.s.Pose.Source, nil)
		}
		t.told = nil
	}
	if x != nil {
		t.take(*x)
	}
	t.told = nil
}

// byBeliefOnly tells whether the pose rests on belief.
func (t *turn) byBeliefOnly() bool { return !counted(t.s.Pose.Source) }

// Acted takes an act in and makes void what it makes void.
func Acted(w World, s question.RigState, a Act, x *question.Sample) (question.RigState, []Notice) {
	t := begin(w, s)
	t.raised = true
	t.say(ActTaken, a.Person, "%s%s", a.Kind, by(a.Person))
	switch a.Kind {
	case ClutchOpened:
		t.clutch()
	case ControllerRestarted, PowerLost:
		t.s.RunMark = "" // of the run that is over
		t.powerless(x, string(a.Kind))
	case PayloadChanged:
		t.s.Learnt, t.s.Before, t.s.Drifts = nil, nil, nil
		t.unshow()
		t.repoint(func(m pointing.Model) pointing.Model {
			return m.Loosened(pointing.Index2, pointing.Cone, pointing.Tube, pointing.Shaft)
		})
		t.stale("the payload changed")
	case Rebalanced: // the drag baseline alone, which is not kept here
		t.notes[0].Sentence += "; nothing that is held here goes by the balance, so nothing changes but the epoch"
	case PolarAxisAdjusted:
		t.unlearn()
		t.repoint(pointing.Model.Aligned)
	case TripodMoved:
		t.unlearn()
		t.repoint(pointing.Model.Turned)
		t.stale("the tripod moved")
	case ClockSet, SiteSet:
		t.setAnew(a.Kind)
	case DragStop:
		t.dragStop()
	default: // an act that this version does not know may be anything
		t.s.Homing, t.s.Pointing, t.s.Before, t.s.Drifts = nil, nil, nil, nil
		t.lose("an act that is not understood: " + string(a.Kind))
	}
	t.settleEpoch()
	if x != nil {
		t.take(*x)
	}
	return t.done()
}

// Unrecorded takes in that entries of the rig's chain are gone from the record: acts, homings, syncs and motions may have been among them.
func Unrecorded(w World, s question.RigState, why string) (question.RigState, []Notice) {
	t := begin(w, s)
	t.raised = true
	t.alarm(PoseLost, "", "%s: where the axes are is not known; look where they are, and state it", why)
	t.notes[len(t.notes)-1].Code = EntriesGone
	t.s.Homing, t.s.Pointing, t.s.Recent, t.s.RunMark = nil, nil, nil, ""
	t.unlearn()
	t.stale(why)
	t.lose(why)
	t.settleEpoch()
	return t.done()
}

// Counted brings a state to a rig file that may count the axes otherwise than the one before: what was known of them by that is nothing by this. A state
// from before it was noted is taken to be counted by this one.
func Counted(w World, s question.RigState) (question.RigState, []Notice) {
	was, now := s.Zero, w.Rig.Zero()
	s.Zero = &now
	why := ""
	if was != nil {
		why = now.Since(*was)
	}
	if why == "" {
		return s, nil
	}
	if s.Homing == nil && len(s.Pose.Candidates) == 0 { // nothing is lost but what was learnt by the other
		t := begin(w, s)
		t.s.Pointing, t.s.Recent, t.s.Limits = nil, nil, nil
		t.unlearn()
		return t.done()
	}
	why = "the rig file counts the axes otherwise than when they were last seen: " + why
	t := begin(w, s)
	t.raised = true
	t.alarm(PoseLost, "", "%s; where the axes are is not known: look, and state it", why)
	t.s.Homing, t.s.Pointing, t.s.Recent, t.s.Limits = nil, nil, nil, nil
	t.unlearn()
	t.lose(why)
	return t.done()
}

// by names a person.
func by(person string) string {
	if person == "" {
		return ""
	}
	return " (" + person + ")"
}

// clutch: what reads on the motor side lost the axes; an encoder on the axis goes on.
func (t *turn) clutch() {
	for _, s := range t.r.Sources {
		_, gone := t.s.Demoted[s.Kind]
		if s.Kind != rig.AxisEncoder || s.MotorSide || gone || t.s.Anchor == nil || t.s.Homing == nil {
			continue
		}
		if _, ok := reading(t.s.Anchor, s.Kind); ok {
			if !t.r.Mount.Sync.MaybeOnSky() {
				t.s.Steps = nil // the belief counts from nothing now; an offset on the sky stays
			}
			t.partMotorSide("a clutch was opened")
			return
		}
	}
	t.alarm(PoseLost, "", "a clutch was opened: where the axes are is not known; look where they are, and state it")
	t.s.Homing, t.s.Drifts = nil, nil
	t.lose("a clutch was opened")
}

// stale makes the proof of the rig file stale.
func (t *turn) stale(why string) {
	if t.s.Proof != nil {
		p := *t.s.Proof
		p.Stale = why
		t.s.Proof = &p
	}
}

// unshow drops what pictures showed of the optics, which may be others now, or turned; where they were solved still tells of the pose.
func (t *turn) unshow() {
	t.s.Solves = slices.Clone(t.s.Solves)
	for i := range t.s.Solves {
		j := &t.s.Solves[i]
		j.Rotation, j.Camera, j.Pixel, j.Mirrored = nil, nil, nil, nil
	}
}

// unlearn drops what was learnt of the pointing, and solves from before: they cannot be compared with those to come. Places that such solves alone put
// the axes at go with them, where axis 1 may have leaned so far: the next solve would else settle on one by itself.
func (t *turn) unlearn() {
	if t.s.Against > 0 {
		t.unsolve()
	}
	t.s.Learnt, t.s.Solves, t.s.Before, t.s.Drifts = nil, nil, nil, nil
}

// unsolve drops the places that solves put the axes at, no farther from the likeliest than a polar axis may lean. Where two had shown a leaning axis, that
// is settled with it; where one alone lay off, something may have slipped all the same. Where there are other places, a solve goes on telling against the pose.
func (t *turn) unsolve() {
	t.s.Against = 0
	if len(t.s.Anchored) == 0 {
		return
	}
	var kept []question.Candidate
	first := direction(t.r, t.s.Anchored[0].Axes)
	for i, c := range t.s.Anchored {
		solved := i > 0 && bySolve(c)
		if solved && direction(t.r, c.Axes).Angle(first) <= polarPrior {
			continue
		}
		if solved {
			t.s.Against = 1
		}
		kept = append(kept, c)
	}
	switch of := t.doubtOf(); { // a doubt of another cause is not the axis' to explain
	case len(kept) > 1:
	case of == question.PolarDoubt:
		t.settled()
	case of == question.SolveDoubt:
		t.s.DoubtOf = ""
		t.s.Doubt = "a solve lay off the pose before the polar axis or the base was set anew, which may have been why: a picture that lies as expected settles it"
	}
	t.again(kept)
}

// setAnew: the mount's clock or site was set, so its belief before and after cannot be compared; the axes did not move.
func (t *turn) setAnew(k ActKind) {
	t.s.Syncs, t.s.Ahead, t.s.Lacking, t.s.Learnt, t.s.Before, t.s.Drifts = nil, nil, nil, nil, nil, nil
	t.repoint(func(m pointing.Model) pointing.Model { // as seen by another clock, or from another place
		return m.Loosened(pointing.Index1, pointing.TiltA, pointing.TiltB)
	})
	if k == SiteSet {
		t.s.Site = nil
	}
	if t.s.Anchor != nil {
		a := *t.s.Anchor
		a.Belief = nil
		t.s.Anchor = &a
	}
	if t.s.Sample != nil {
		a := *t.s.Sample
		a.Belief = nil
		t.s.Sample = &a
	}
}

// dragStop: something was touched, so the counts may be off; the place stays as last seen, to be homed after a person looked.
func (t *turn) dragStop() {
	t.alarm(ActTaken, "", "a drag stop: the rig is locked until a person looked, and must be homed")
	t.notes[len(t.notes)-1].Locks = true
	t.s.Homing = nil
	t.doubt("a drag stop: steps may have been lost")
	t.show(slices.Clone(t.s.Anchored), t.s.Pose.Source, nil)
}
