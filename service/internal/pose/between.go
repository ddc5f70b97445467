package pose

import (
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

// between spreads a place, held at sample x while a permitted motion was under way or about to be, over all to which the motion may have
// come by sample y: toward the ends of what was checked, by no more than the axes turn in that time. A motion that was broken off (power
// lost, a belief that jumped) rests at none of its ends. Without both samples the whole way counts.
func (t *turn) between(c question.Candidate, x, y *question.Sample) question.Candidate {
	if !t.mayHaveMoved() {
		return c
	}
	far := rig.Axes{A1: unit.Turn, A2: unit.Turn}
	if x != nil && y != nil {
		far = t.fastest(x, y)
	}
	low, high := t.checked(t.s.Permit)
	low = smaller(c.Axes, larger(low, c.Axes.Sub(far)))
	high = larger(c.Axes, smaller(high, c.Axes.Add(far)))
	return over(c, low, high)
}

// trackedOn spreads a place last seen while the rig tracked over all to which tracking may have brought it by a sample: it may have stopped
// at any time.
func (t *turn) trackedOn(c question.Candidate, y *question.Sample) question.Candidate {
	x := t.s.Sample
	if x == nil || y == nil || x.Doing != question.Tracking {
		return c
	}
	there := c.Axes.Add(t.follow(c.Axes, when(x), when(y)))
	return over(c, smaller(c.Axes, there), larger(c.Axes, there))
}

// over puts a candidate in the middle of a box, three of its standard deviations reaching the box's edges beside its own.
func over(c question.Candidate, low, high rig.Axes) question.Candidate {
	half := high.Sub(low).Scale(0.5)
	c.Axes, c.Sigma = low.Add(half), c.Sigma.Add(half.Scale(1.0/3))
	return c
}
