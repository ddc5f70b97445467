package pose

import (
	"fmt"
	"time"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// life carries the open permit over a sample that the pose has been brought to.
func (t *turn) life(x *question.Sample) {
	p := t.s.Permit
	if x.Doing == question.Moving {
		t.leaveLapses(x)
	}
	if p == nil || p.BegunAt == nil {
		return
	}
	if !x.Still() {
		p.Moved = p.Moved || x.Doing == question.Moving && p.Arrived == nil
		return
	}
	if beforeLeave(p, x) {
		return // the motion may have come after it
	}
	if p.State == question.Withdrawn && p.Arrived == nil {
		at := when(x)
		p.Arrived = &at // what it explained is over
	}
	if p.State == question.Begun {
		t.close(p, x)
	}
}

// beforeLeave tells whether a sample shows the rig as it was before a motion that had leave may have begun: before the permit began, or before it was
// taken back, up to when somebody may have begun it.
func beforeLeave(p *question.Permit, x *question.Sample) bool {
	last := *p.BegunAt
	if p.State == question.Withdrawn && p.WithdrawnAt != nil && p.WithdrawnAt.After(last) {
		last = *p.WithdrawnAt
	}
	return read(x).Before(last)
}

// close ends the permit where a quiet sample shows that it is over.
func (t *turn) close(p *question.Permit, x *question.Sample) {
	at := when(x)
	tracking := x.Doing == question.Tracking
	if p.Action.Kind == question.Track && tracking && p.Arrived == nil {
		p.Moved, p.Arrived = true, &at
	}
	if t.after(x, p.StartBy) && !p.Moved && p.Told == "" && tracking && tracks(p) && t.dithered(p) { // it is there, and follows as it was to
		p.Moved, p.Arrived = true, &at
	}
	switch {
	case p.Arrived != nil && tracking && tracks(p) && p.Told == "":
		// the motion is over and the sky is followed, as allowed until stop_by
	case p.Arrived != nil && tracking && !tracks(p):
		t.end(p, question.Ended, "the motion is over")
		t.alarm(UnaskedTracking, p.ID, "the mount tracks after a motion that was to stop (permit %s)", p.ID)
	case p.Arrived != nil:
		t.end(p, question.Ended, fmt.Sprintf("seen at rest at %s", t.here()))
	case p.Told != "":
		t.end(p, question.Ended, "closed by the asker: "+p.Told)
	case t.after(x, p.StartBy) && !p.Moved:
		t.end(p, question.Expired, "seen unmoved after its start_by "+hms(p.StartBy))
	}
}

// end closes a permit.
func (t *turn) end(p *question.Permit, how question.PermitState, why string) {
	p.State, p.Because = how, why
	kind := PermitEnded
	if how == question.Expired {
		kind = PermitExpired
	}
	t.say(kind, p.ID, "permit %s is over: %s", p.ID, why)
}

// here is the likeliest place, for people.
func (t *turn) here() string {
	if len(t.s.Pose.Candidates) == 0 {
		return "an unknown place"
	}
	return t.s.Pose.Candidates[0].Axes.String()
}

// leaveLapses ends a sync leave on any motion but tracking.
func (t *turn) leaveLapses(x *question.Sample) {
	if l := t.s.Leave; l != nil && l.Live {
		l.Live, l.Because = false, "the rig moved at "+hms(when(x))
	}
}

// Lapse ends what time alone ends: granted permits not begun, begun ones past stop_by, leaves not used. now is the service's time, with
// the monotonic reading by which a begun permit ends; where the wall clock was set, what is held is dated anew.
func Lapse(s question.RigState, now time.Time) (question.RigState, []Notice) {
	if !lapses(&s, now) {
		return s, nil
	}
	t := begin(World{}, s)
	t.dated(now)
	t.lapse(now)
	return t.done()
}

// lapses tells whether Lapse has anything to do: mostly it has not, and the state stays as it is.
func lapses(s *question.RigState, now time.Time) bool {
	if x := s.Sample; x != nil && !x.Received.IsZero() {
		if by := walked(x.Received, now); by != 0 || ofRecord(x.Received) || s.Forward != max(0, -s.Discounted) {
			return true
		}
	}
	return s.Pose.State == "" || unused(s.Leave, now) || notBegun(s.Permit, now) || overdue(s.Permit, now)
}

// unused, notBegun and overdue tell what time ends.
func unused(l *question.SyncLeave, now time.Time) bool {
	return l != nil && l.Live && past(now, l.UseBy)
}

func notBegun(p *question.Permit, now time.Time) bool {
	return p != nil && p.State == question.Granted && past(now, p.StartBy)
}

func overdue(p *question.Permit, now time.Time) bool {
	return p != nil && p.State == question.Begun && !p.StopBy.IsZero() && now.After(p.StopBy)
}

func (t *turn) lapse(now time.Time) {
	t.now = now
	if l := t.s.Leave; unused(l, now) {
		l.Live, l.Because = false, "not used by "+hms(l.UseBy)
	}
	p := t.s.Permit
	switch {
	case notBegun(p, now):
		t.end(p, question.Expired, "not begun by "+hms(p.StartBy))
	case overdue(p, now):
		t.alarm(PermitWithdrawn, p.ID, "permit %s is withdrawn: past its stop_by %s and not seen at rest", p.ID, hms(p.StopBy))
	}
}

// Withdraw takes the open permit and the live sync leave back. at is the service's time: only a sample of later shows what became of the motion.
func Withdraw(s question.RigState, why string, at time.Time) question.RigState {
	t := begin(World{}, s)
	t.now = at
	t.takeBack(why)
	if l := t.s.Leave; l != nil && l.Live {
		l.Live, l.Because, t.raised = false, why, true
	}
	s, _ = t.done()
	return s
}

// fresh is how old a sample may be to begin a motion: the limit pose/fresh age_s. Common practice, no source.
const fresh = 10 * time.Second

// Begin begins a granted permit if the sample allows it: afterwards the permit is begun, or a notice says why not. The sample shows
// the rig before it moves.
func Begin(w World, s question.RigState, permit string, x question.Sample) (question.RigState, []Notice) {
	t := begin(w, s)
	taken := t.take(x)
	t.settleEpoch()
	p := t.s.Permit
	if p == nil || p.ID != permit {
		t.say(EventMismatch, permit, notLast+": ask again", permit, t.w.Other)
		return t.done()
	}
	if why := t.unready(p, &x, taken); why != "" {
		t.say(BeginRefused, permit, "permit %s does not begin: %s", permit, why)
		return t.done()
	}
	at := clock(&x)
	p.State, p.BegunAt = question.Begun, &at
	t.say(PermitBegun, permit, "permit %s begins", permit)
	return t.done()
}

// settleEpoch raises the epoch now for what the sample showed, so that the checks after it see it.
func (t *turn) settleEpoch() {
	if t.raised || t.s.Pose.State != t.was {
		t.s.Epoch++
		t.kill()
		t.raised, t.was = false, t.s.Pose.State
	}
}

// unready says why a permit may not begin on a sample; empty: it may.
func (t *turn) unready(p *question.Permit, x *question.Sample, taken bool) string {
	last := t.s.Sample
	switch {
	case p.State != question.Granted:
		if p.Because == "" {
			return fmt.Sprintf("it is %s already", p.State)
		}
		return fmt.Sprintf("it is %s (%s)", p.State, p.Because)
	case !taken && (last == nil || !when(last).Equal(when(x)) || !alike(x, last)):
		return "its sample was not taken in"
	case p.Epoch != t.s.Epoch:
		return fmt.Sprintf("it is of epoch %d and the rig is at %d: something about the rig changed since it was granted, as the record tells; ask again", p.Epoch, t.s.Epoch)
	case past(clock(x), p.StartBy):
		return "its start_by " + hms(p.StartBy) + " has passed"
	case x.Time.IsZero() || clock(x).Sub(x.Time) > fresh:
		return "its sample is not fresh"
	case !x.Still():
		return "the rig is moving"
	case p.Homing != "" && (t.s.Homing == nil || t.s.Homing.ID != p.Homing):
		return "the rig was homed anew since it was judged"
	}
	for _, why := range []string{t.otherParts(p, x), t.unshown(p, x), t.offMap(p.Action, x)} {
		if why != "" {
			return why
		}
	}
	return t.offStart(p, x)
}

// offStart says why the pose is not the one that the permit was judged from.
func (t *turn) offStart(p *question.Permit, x *question.Sample) string {
	if len(t.s.Pose.Candidates) == 0 {
		if p.Action.Kind == question.Home {
			return ""
		}
		return "the pose is not known"
	}
	if t.s.Pose.State != question.Known && !judgedFromCandidates(p.Action.Kind) {
		return "the pose is not known: " + t.s.Pose.Because
	}
	c := t.s.Pose.Candidates[0].Axes
	drift := [2]rig.Axes{}
	if x.Doing == question.Tracking {
		drift[1] = t.follow(c, p.Asked, clock(x)).Abs()
		drift[0] = drift[1].Scale(-1)
	}
	tol := t.startTolerance()
	off := excess(c.Sub(p.From), drift)
	if beyond(off, rig.Axes{A1: tol, A2: tol}) {
		return fmt.Sprintf("the rig is %s from the start that was judged; at most %.2f° is allowed", off, tol.Deg())
	}
	return ""
}

// judgedFromCandidates tells whether a kind of action may be allowed while the pose is several candidates.
func judgedFromCandidates(k question.Kind) bool {
	return k == question.Home || k == question.Retreat || k == question.Jog || k == question.Creep
}

// End takes the asker's word that a motion is over. The permit stays open until a sample shows rest, which may be the one that
// comes with it.
func End(w World, s question.RigState, permit string, how EndKind, x *question.Sample) (question.RigState, []Notice) {
	t := begin(w, s)
	if p := t.s.Permit; p != nil && p.ID == permit {
		if p.State == question.Begun || p.State == question.Withdrawn && p.Arrived == nil {
			p.Told = string(how)
		}
		if p.State == question.Granted {
			t.end(p, question.Ended, "closed by the asker before it began")
		}
		t.noReference(p, how)
	} else {
		t.say(EventMismatch, permit, notLast+"; its end is noted and changes nothing", permit, t.w.Other)
	}
	if x != nil {
		t.take(*x)
	}
	return t.done()
}

// noReference: a homing that failed found no reference, so nothing vouches any more for what the axes are counted from.
func (t *turn) noReference(p *question.Permit, how EndKind) {
	if p.Action.Kind != question.Home || how != Failed {
		return
	}
	t.alarm(Closure, p.ID, "the homing failed: no reference was found")
	t.doubt("the homing failed: no reference was found; home again, or have a person state where the axes are")
	if t.s.Pose.State == question.Known {
		t.s.Pose.State, t.s.Pose.Because = question.Candidates, t.s.Doubt
	}
}

// notLast is what is said of a permit that a rig does not hold, with what the record tells of it.
const notLast = "permit %s is not the rig's last one%s"

// homeSigma is the uncertainty of a place that a person attests, one standard deviation: ±3° is three of them. Source: the project's
// design, section 18.
const homeSigma = 1 * unit.Degree

// eyeSigma is the least uncertainty of such a place, one standard deviation: nobody reads marks or a circle finer by eye, whatever is told.
// Common practice, no source.
const eyeSigma = 0.05 * unit.Degree
