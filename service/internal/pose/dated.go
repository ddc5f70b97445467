package pose

import (
	"slices"
	"time"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// stepped is how far the wall clock may walk from the monotonic one, between two instants that carry both, before it counts as set: 2 s
// and 500 ppm, the fastest that a kernel slews. Common practice, no source.
const (
	stepped  = 2 * time.Second
	slewsOne = 2000 // part in so many
)

// walked is how far the wall clock was set forward between two instants, by their monotonic readings: positive also where the machine
// slept, for then the monotonic clock stood still. Zero where it was not set, or one of them carries no monotonic reading.
func walked(from, to time.Time) time.Duration {
	mono := to.Sub(from)
	by := to.Round(0).Sub(from.Round(0)) - mono
	if by.Abs() <= stepped+mono.Abs()/slewsOne {
		return 0
	}
	return by
}

// past tells whether an instant is over by either clock.
func past(now, by time.Time) bool { return now.After(by) || now.Round(0).After(by.Round(0)) }

// dated brings a state that was dated by the clock of before to the clock as it reads now. After a step back every instant held moves with
// it, so that the last sample keeps its age, and the next one of the same machine comes after it; where the last sample is of before a restart,
// as the record has it, it is as old as it must be at the least, and too old for anything to begin on. A step forward moves nothing, since the
// machine may as well have slept: what was held is then as old as the wall clock says, and how long it followed the sky is open. Requires
// a turn of its own: it changes what begin copied.
func (t *turn) dated(now time.Time) {
	x := t.s.Sample
	if x == nil || x.Received.IsZero() {
		return
	}
	by := walked(x.Received, now)
	if back := x.Received.Sub(now.Round(0)); by == 0 && ofRecord(x.Received) && back > stepped {
		by = -back - staleBy
		t.timeLost("this machine's clock was set back while the service was down")
	}
	t.s.Forward = max(0, by-t.s.Discounted)
	if by > 0 {
		t.s.Skipped = true
	}
	if by >= 0 {
		return
	}
	t.redate(by, now)
}

// redate moves every instant held by what the clock was set by. Requires a turn of its own.
func (t *turn) redate(by time.Duration, now time.Time) {
	t.s.Stepped += by.Abs()
	t.s.Discounted = 0
	move := func(at *time.Time) {
		switch {
		case at == nil || at.IsZero():
		case *at != at.Round(0): // by its own monotonic reading
			*at = now.Add(at.Sub(now))
		default:
			*at = at.Add(by)
		}
	}
	t.moveSamples(move)
	t.moveLeave(move)
	t.moveHistory(move)
}

// ofRecord tells whether an instant was read from the record: it carries no monotonic reading.
func ofRecord(at time.Time) bool { return at == at.Round(0) }

// staleBy is how old a sample of before a restart is taken to be, of which nothing tells how old it is: older than the loosest limit pose/fresh
// age_s, 30 s, and the loosest permit start_within_s, 60 s. Choice.
const staleBy = 2 * time.Minute

// Resumed brings a state that the record holds to the clock as it reads now. Where the machine's own count of time goes on from before, it tells what
// the wall clock was set by since the last sample, as the monotonic one does while the service runs. Where the machine was started anew and
// nothing bounded its clock's error before, or does now, it may have taken up where it left off, hours before, or been set right since: nothing
// then tells how long ago that sample was.
func Resumed(s question.RigState, now time.Time, up *question.Uptime) question.RigState {
	x := s.Sample
	if x == nil || x.Received.IsZero() || x.Up == nil || up == nil {
		return s
	}
	t := begin(World{}, s)
	wall, passed := now.Round(0).Sub(x.Received.Round(0)), up.For-x.Up.For
	switch by := wall - passed; {
	case up.Boot != x.Up.Boot && up.Bounded && x.Up.Bounded:
		return s
	case up.Boot != x.Up.Boot:
		t.redate(-staleBy, now)
		t.timeLost("the machine that this runs on was started anew, and nothing tells whether its clock was right before and is now")
	case by.Abs() <= stepped+passed.Abs()/slewsOne:
		return s
	case by < 0:
		t.redate(by, now)
	default: // or a machine within another was stopped, and its count with it: as old as the wall clock says, as in dated
		t.s.Stepped, t.s.Skipped = t.s.Stepped+by, true
	}
	y := *t.s.Sample // taken in once, and not at each start: by the count of now it is as old as its date says
	y.Up = &question.Uptime{Boot: up.Boot, For: up.For - now.Round(0).Sub(y.Received.Round(0)), Bounded: up.Bounded}
	t.s.Sample = &y
	s, _ = t.done() // what is in doubt says so in each answer
	return s
}

// timeLost: nothing tells how long ago the last sample was, and nobody watched. A count goes by no time, nor does a rig at rest; what else turned
// meanwhile is open.
func (t *turn) timeLost(why string) {
	t.s.Skipped = true
	if counted(t.s.Pose.Source) || t.s.Sample.Doing == question.AtRest || t.s.Pose.State == question.Unknown {
		return
	}
	why += ", so how long the rig went on meanwhile is not known"
	t.raised = true
	t.alarm(OurClock, "", "%s; home it, or state where it is", why)
	t.doubt("%s", why)
	if t.s.Pose.State == question.Known {
		t.s.Pose.State, t.s.Pose.Because = question.Candidates, t.s.Doubt
	}
}

// misdated spreads the places of a sample over what a clock that was set since the anchor leaves open, in place. The dates of the two are then of
// two clocks, or the machine slept between them: how long the sky was followed is known no better than by the step, and belief, which names a
// place on the sky, names the axes no better than by what the sky turns in it. A mount that tells its own time may have it of this machine. A
// count, and a rig that rested under a pose that is reckoned, go by no time. Leave that waits was judged on the sharper pose.
func (t *turn) misdated(x *question.Sample, cands []question.Candidate, source rig.SourceKind) {
	a, by := t.s.Anchor, t.s.Forward+t.s.Stepped
	rested := source == rig.Reckoned && a != nil && a.Doing == question.AtRest && x.Doing == question.AtRest
	if by == 0 || counted(source) {
		return
	}
	if !rested {
		most := t.spreadByStep(cands, source, when(x))
		t.raised = true
		t.say(OurClock, string(source), "this machine's clock was changed (in all by %s), or it slept, since the rig was last seen: its axes are known less well by up to %.1f°; home it to be sure again",
			by.Round(time.Second), most.Deg())
	}
	if clock(x).Sub(when(x)).Abs() <= sameClock { // else the next sample may be of another clock again
		t.s.Forward, t.s.Stepped, t.s.Discounted = 0, 0, t.s.Discounted+t.s.Forward
	}
}

// sameClock is within how much of its coming a sample is dated that goes by the clock here. Choice: the limit time/agree skew_s twice.
const sameClock = 10 * time.Second

// spreadByStep spreads places, in place, over what the steps of the clock leave open at an instant, and returns by how much at most.
func (t *turn) spreadByStep(cands []question.Candidate, source rig.SourceKind, at time.Time) (most unit.Angle) {
	by := t.s.Forward + t.s.Stepped
	if by == 0 || counted(source) {
		return 0
	}
	for i, c := range cands {
		var far rig.Axes
		for _, d := range []question.Candidate{t.trackedOn(c, at, at.Add(by)), t.trackedOn(c, at, at.Add(-by))} {
			far = larger(far, d.Axes.Sub(c.Axes).Abs().Add(d.Sigma.Sub(c.Sigma).Scale(3)))
		}
		cands[i].Sigma = c.Sigma.Add(far.Scale(1.0 / 3))
		most = max(most, far.Max())
	}
	return most
}

// moveSamples moves the samples held, each once however often it is held.
func (t *turn) moveSamples(move func(*time.Time)) {
	moved := map[*question.Sample]*question.Sample{}
	for _, held := range []**question.Sample{&t.s.Sample, &t.s.Still, &t.s.Anchor} {
		if *held == nil {
			continue
		}
		if moved[*held] == nil {
			x := **held
			move(&x.Time)
			move(&x.Received)
			move(&x.Read)
			moved[*held] = &x
		}
		*held = moved[*held]
	}
	if t.s.Lacking != nil {
		l := *t.s.Lacking
		move(&l.Sample.Time)
		move(&l.Sample.Received)
		move(&l.Sample.Read)
		move(&l.Since)
		t.s.Lacking = &l
	}
	for i := range t.s.Recent {
		move(&t.s.Recent[i].Time)
	}
	move(&t.s.Pose.At)
	move(&t.s.SiteAt)
}

// moveLeave moves the instants of permit and leave; their durations stay.
func (t *turn) moveLeave(move func(*time.Time)) {
	if p := t.s.Permit; p != nil {
		for _, at := range []**time.Time{&p.FirstContact, &p.BegunAt, &p.WithdrawnAt, &p.Arrived} {
			if *at != nil {
				x := **at
				move(&x)
				*at = &x
			}
		}
		move(&p.Asked)
		move(&p.StartBy)
		move(&p.StopBy)
	}
	if l := t.s.Leave; l != nil {
		move(&l.Asked)
		move(&l.UseBy)
	}
}

// moveHistory moves what was seen and solved since homing.
func (t *turn) moveHistory(move func(*time.Time)) {
	t.s.Steps, t.s.Syncs = slices.Clone(t.s.Steps), slices.Clone(t.s.Syncs)
	t.s.Solves, t.s.Before = slices.Clone(t.s.Solves), slices.Clone(t.s.Before)
	for i := range t.s.Steps {
		move(&t.s.Steps[i].At)
	}
	for i := range t.s.Syncs {
		move(&t.s.Syncs[i].At)
	}
	for _, all := range [][]question.JudgedSolve{t.s.Solves, t.s.Before} {
		for i := range all {
			move(&all[i].At)
			move(&all[i].Mid)
		}
	}
	t.redrift(func(d *question.Drift) { d.Mid, d.FromMid = time.Time{}, time.Time{} }) // where it solved to went by the other clock
}
