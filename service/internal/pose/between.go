package pose

import (
	"math"
	"slices"
	"time"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// checked is the box around all that a permit checked: its start, its ends, its legs and the poses that the mount goes by.
func (t *turn) checked(p *question.Permit) (low, high rig.Axes) {
	low, high = p.From, p.From
	grow := func(a rig.Axes) {
		low, high = smaller(low, a), larger(high, a)
	}
	for _, e := range p.Ends {
		grow(e)
	}
	for _, l := range p.Legs {
		grow(l.From)
		grow(l.To)
	}
	for _, v := range append(append([]rig.Axes(nil), t.r.Motion.Via...), t.r.Motion.FlipVia...) {
		grow(v)
	}
	return low, high
}

// smaller takes the smaller of each axis.
func smaller(a, b rig.Axes) rig.Axes { return rig.Axes{A1: min(a.A1, b.A1), A2: min(a.A2, b.A2)} }

// mayRest is the box of all that a permitted motion may rest at once it is broken off: what was checked, the approach's run past each end, the
// sweep of a homing, and each pose that the mount goes by as a belief that is off shifts it (Derived in facts/journey.go, straightTo).
func (t *turn) mayRest(p *question.Permit) (low, high rig.Axes) {
	low, high = t.checked(p)
	past := t.r.Motion.Overrun.Abs()
	if p.Action.Kind == question.Home {
		past = past.Add(t.r.Homing.Search.Abs())
	}
	for _, e := range p.Ends {
		low, high = smaller(low, e.Sub(past)), larger(high, e.Add(past))
		shift := rig.LiftNear(e, p.Ends[0]).Sub(p.Ends[0])
		for _, v := range slices.Concat(t.r.Motion.Via, t.r.Motion.FlipVia) {
			low, high = smaller(low, v.Add(shift)), larger(high, v.Add(shift))
		}
	}
	return low, high
}

// onWay spreads a place, held at sample x while a permitted motion was under way or about to be, over all to which the motion may have
// come by sample y: toward the ends of what was checked, by no more than the axes turn in that time. A motion that was broken off (power
// lost, a belief that jumped) rests at none of its ends. Without both samples the whole way counts.
func (t *turn) onWay(c question.Candidate, x, y *question.Sample) question.Candidate {
	if !t.mayHaveMoved() {
		return c
	}
	far := rig.Axes{A1: unit.Angle(math.Inf(1)), A2: unit.Angle(math.Inf(1))}
	if x != nil && y != nil {
		far = t.fastest(x, y)
	}
	low, high := t.mayRest(t.s.Permit)
	low = smaller(c.Axes, larger(low, c.Axes.Sub(far)))
	high = larger(c.Axes, smaller(high, c.Axes.Add(far)))
	return over(c, low, high)
}

// between is onWay, and where the permit lets the rig follow the sky from its end, all to which that may have brought it by sample y.
func (t *turn) between(c question.Candidate, x, y *question.Sample) question.Candidate {
	c = t.onWay(c, x, y)
	if t.mayHaveMoved() && tracks(t.s.Permit) && x != nil && y != nil {
		c = t.trackedOn(c, when(x), when(y))
	}
	return c
}

// mayFollow tells whether a permit has the rig follow the sky, and no sample showed yet that it does or that it rests.
func (t *turn) mayFollow() bool {
	p := t.s.Permit
	return p != nil && p.BegunAt != nil && p.Arrived == nil && tracks(p) && (p.State == question.Begun || p.State == question.Withdrawn)
}

// followStep is the longest step in which the course of an alt-azimuth is looked at: 1.25° of the sky. Choice.
const followStep = 5 * time.Minute

// followSteps bounds the steps.
const followSteps = 48

// trackedOn spreads a place over all to which following the sky may have brought it between two instants: it may have begun and stopped at
// any time. An alt-azimuth turns by another angle at each place, and back, so its course is looked at from all edges of what is held.
func (t *turn) trackedOn(c question.Candidate, from, to time.Time) question.Candidate {
	low, high := c.Axes, c.Axes
	if t.r.Kind.Equatorial() {
		there := c.Axes.Add(t.follow(c.Axes, from, to))
		return over(c, smaller(low, there), larger(high, there))
	}
	span := to.Sub(from)
	steps := min(int(span.Abs()/followStep)+1, followSteps)
	wide := question.Sigma3(c.Sigma)
	for _, start := range []rig.Axes{{}, wide, wide.Scale(-1), {A1: wide.A1, A2: -wide.A2}, {A1: -wide.A1, A2: wide.A2}} {
		a := c.Axes.Add(start)
		for i := range steps {
			a = a.Add(t.follow(a, from.Add(span*time.Duration(i)/time.Duration(steps)), from.Add(span*time.Duration(i+1)/time.Duration(steps))))
			low, high = smaller(low, a.Sub(start)), larger(high, a.Sub(start))
		}
	}
	return over(c, low, high)
}

// over puts a candidate in the middle of a box, three of its standard deviations reaching the box's edges beside its own.
func over(c question.Candidate, low, high rig.Axes) question.Candidate {
	half := high.Sub(low).Scale(0.5)
	c.Axes, c.Sigma = low.Add(half), c.Sigma.Add(half.Scale(1.0/3))
	return c
}
