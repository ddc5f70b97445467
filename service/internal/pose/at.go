package pose

import (
	"time"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// At carries the pose to an instant: following the sky if the rig was seen to, staying if it was at rest, growing in uncertainty at
// the axes' full speed while it moves or a motion that has leave may have begun, and over all that it may have followed where it may have
// begun or stopped since. Its At stays the instant of the sample that it
// rests on: the age is t less that. An instant before the sample gives the pose at the sample.
func At(w World, s question.RigState, t time.Time) question.Pose {
	p := s.Pose
	p.Candidates = append([]question.Candidate(nil), p.Candidates...)
	if s.Sample == nil || len(p.Candidates) == 0 {
		return p
	}
	from := when(s.Sample)
	c := &turn{w: w, r: AsShown(w.Rig, s), s: s}
	if !t.After(from) { // by an asker's clock that is ahead of ours: what it tells of time is that no time went by
		if s.Sample.Still() && !c.startedUnseen() {
			return p
		}
		from = t
	}
	for i := range p.Candidates {
		c.carryTo(&p.Candidates[i], from, t)
	}
	return p
}

// carryTo carries one candidate from the last sample to an instant.
func (t *turn) carryTo(c *question.Candidate, from, to time.Time) {
	switch tracking := t.s.Sample.Doing == question.Tracking; {
	case t.s.Anchor == nil && t.s.Pose.At.After(from): // homed since that sample: whether it tracks from there is not shown
		*c = t.trackedOn(*c, t.s.Pose.At, to)
		from = t.s.Pose.At
	case t.lost() && tracking, t.mayFollow() && !tracking && (t.lost() || t.s.Permit.Action.Kind == question.Track):
		*c = t.trackedOn(*c, from, to)
	case tracking && t.s.Skipped:
		*c = t.trackedOn(*c, from, to)
	case tracking:
		f := t.follow(c.Axes, from, to)
		c.Axes = c.Axes.Add(f)
		c.Sigma = c.Sigma.Add(f.Abs().Scale(offRate / 3)) // another rate than the stars' is three sigma
	}
	if !t.s.Sample.Still() || t.startedUnseen() {
		dt := max(to.Sub(from), to.Sub(clock(t.s.Sample))).Seconds() // a sample may be dated ahead of when it came
		if t.startedUnseen() {
			dt = max(dt, to.Sub(read(t.s.Sample)).Seconds())
		}
		m := t.r.Motion
		c.Sigma = c.Sigma.Add(t.withinReach(rig.Axes{A1: unit.Deg(m.RateDeg[0] * dt), A2: unit.Deg(m.RateDeg[1] * dt)}))
	}
}

// startedUnseen tells whether a motion may have begun since the last sample.
func (t *turn) startedUnseen() bool {
	return t.mayHaveMoved() && (!clock(t.s.Sample).After(*t.s.Permit.BegunAt) || beforeLeave(t.s.Permit, t.s.Sample))
}

// lost tells whether the count was lost since the last sample: power, or a restart.
func (t *turn) lost() bool { return t.s.Homing == nil && t.s.Anchor == nil }
