package pose

import (
	"slices"
	"time"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
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
// it, so that the last sample keeps its age, and the next one of the same machine comes after it. A step forward moves nothing, since the
// machine may as well have slept: what was held is then as old as the wall clock says, and how long it followed the sky is open. Requires
// a turn of its own: it changes what begin copied.
func (t *turn) dated(now time.Time) {
	x := t.s.Sample
	if x == nil || x.Received.IsZero() {
		return
	}
	by := walked(x.Received, now)
	if by > 0 {
		t.s.Skipped, t.s.Forward = true, by
	}
	if by >= 0 {
		return
	}
	t.s.ClockSet -= by
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

// misdated spreads the places of a sample over what a clock that was set since the anchor leaves open, in place. The dates of the two are then of
// two clocks, or the machine slept between them: how long the sky was followed is known no better than by the step, and belief, which names a
// place on the sky, names the axes no better than by what the sky turns in it. A count, and a rig that rested under a pose that is reckoned, go by no time.
func (t *turn) misdated(x *question.Sample, cands []question.Candidate, source rig.SourceKind) {
	by := t.s.Forward + t.s.ClockSet
	t.s.Forward, t.s.ClockSet = 0, 0
	a := t.s.Anchor
	switch {
	case by == 0 || counted(source):
		return
	case source == rig.Reckoned && a != nil && a.Doing == question.AtRest && x.Doing == question.AtRest:
		return
	case source == rig.UnsyncedBelief && a != nil && a.Sidereal != nil && x.Sidereal != nil: // the mount tells the time that its map goes by
		return
	}
	for i, c := range cands {
		d := t.trackedOn(c, when(x), when(x).Add(by))
		far := d.Axes.Sub(c.Axes).Abs().Add(d.Sigma.Sub(c.Sigma).Scale(3)) // to one side, and as far to the other
		cands[i].Sigma = c.Sigma.Add(far.Scale(1.0 / 3))
	}
	t.say(OurClock, string(source), "the clock here was set by %s, or slept, since the rig was last seen: by as much of the sky's turn the pose is less sure; home it to be sure again", by.Round(time.Second))
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
			moved[*held] = &x
		}
		*held = moved[*held]
	}
	if t.s.Lacking != nil {
		l := *t.s.Lacking
		move(&l.Sample.Time)
		move(&l.Sample.Received)
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
		for _, at := range []**time.Time{&p.FirstContact, &p.BegunAt, &p.Arrived} {
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
	t.s.Steps, t.s.Syncs, t.s.Solves = slices.Clone(t.s.Steps), slices.Clone(t.s.Syncs), slices.Clone(t.s.Solves)
	for i := range t.s.Steps {
		move(&t.s.Steps[i].At)
	}
	for i := range t.s.Syncs {
		move(&t.s.Syncs[i].At)
	}
	for i := range t.s.Solves {
		move(&t.s.Solves[i].At)
		move(&t.s.Solves[i].Mid)
	}
}
