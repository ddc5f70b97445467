package reach

import (
	"math"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// Least bounds the spare at one pose, without any spread, to rounding: Prove is content with a millimetre or a thirtieth of the gap. Every pair is put in
// order by what its balls show; the one that may be nearest is looked at more closely, by rods and then exactly, until none may be nearer than what was seen.
// What it returns goes by scene and pose alone.
func (p *Prover) Least(at rig.Axes) Result {
	l, used := p.leasts.Get().(*least)
	if !used {
		l = newLeast(p)
	}
	defer p.leasts.Put(l)
	return l.at(at)
}

// least is the work of Least, kept for the next.
type least struct {
	p      *Prover
	rods   []rod
	motion [classes]solid.Motion // of the moving body of a pair
	stamp  int64                 // numbers the poses
	placed [classes][]heldBody   // the moving bodies, by class and body
	order  []lead                // a binary heap, least bound first
}

// heldBody is a body at the pose of the stamp beside each.
type heldBody struct {
	centreAt, rodAt, shapeAt int64
	centre                   point // of its ball
	rod                      rod
	shape                    solid.Shape
}

// lead is what is known of a pair: the least spare that it may have.
type lead struct {
	spare float64
	pair  int32
	class class
	rods  bool // known by rods, and not by balls alone
}

func newLeast(p *Prover) *least {
	l := &least{p: p, rods: make([]rod, len(p.bodies))}
	for i := range l.rods {
		l.rods[i] = rodOf(&p.bodies[i].shape)
	}
	for k := range classes {
		if len(p.of[k]) > 0 {
			l.placed[k] = make([]heldBody, len(p.bodies))
		}
	}
	return l
}

// at is Least.
func (l *least) at(at rig.Axes) Result {
	out := Result{Lower: unit.Length(math.Inf(-1)), Upper: unit.Length(math.Inf(1)), Why: l.p.why, Cells: 1}
	if out.Why == "" && !at.Finite() {
		out.Why = "the pose is no number"
	}
	if out.Why != "" {
		return out
	}
	l.begin(at)
	best := seen{pair: -1, pose: at, spare: math.Inf(1)}
	low := math.Inf(1)
	for len(l.order) > 0 && l.order[0].spare < low {
		if top := &l.order[0]; !top.rods {
			top.rods, top.spare = true, max(top.spare, l.byRods(top))
			l.sink(0)
			continue
		}
		low = min(low, l.exactly(l.pop(), low, &best))
	}
	out.Lower, out.Upper = unit.Length(low), unit.Length(best.spare)
	if best.pair >= 0 {
		q := &l.p.pairs[best.pair]
		out.Nearest = &Approach{
			Parts: [2]string{l.p.name(q.a), l.p.name(q.b)}, Pair: int(best.pair), Pose: at,
			Lower: unit.Length(best.lower), Upper: unit.Length(best.upper), Required: unit.Length(q.required),
		}
	}
	if out.Decided = out.Lower >= 0 || out.Upper < 0; !out.Decided {
		out.Why = "what is required is kept or not by less than rounding"
	}
	return out
}

// begin puts the pairs in order by their balls.
func (l *least) begin(at rig.Axes) {
	l.stamp++
	c := &l.p.chain
	l.motion[groundAxis1] = frame.Turning(c.Point1, c.Dir1, at.A1)
	l.motion[axis1Axis2] = frame.Turning(c.Point2, c.Dir2, at.A2)
	l.motion[groundAxis2] = l.motion[axis1Axis2].Before(l.motion[groundAxis1])
	l.order = l.order[:0]
	for k := range classes {
		for _, i := range l.p.of[k] {
			q := &l.p.pairs[i]
			a, b, held := &l.p.bodies[q.a], &l.p.bodies[q.b], &l.placed[k][q.b]
			if held.centreAt != l.stamp {
				held.centreAt, held.centre = l.stamp, l.motion[k].Point(b.centre)
			}
			apart := held.centre.Sub(a.centre).Norm() - a.radius - b.radius
			l.order = append(l.order, lead{apart - q.required - l.p.allowance, i, k, false})
		}
	}
	for i := len(l.order)/2 - 1; i >= 0; i-- {
		l.sink(i)
	}
}

// byRods is the least spare that a pair may have by its rods.
func (l *least) byRods(d *lead) float64 {
	q := &l.p.pairs[d.pair]
	b := &l.placed[d.class][q.b]
	if b.rodAt != l.stamp {
		b.rodAt, b.rod = l.stamp, l.rods[q.b].moved(&l.motion[d.class])
	}
	if low := l.rods[q.a].apart(&b.rod) - q.required - l.p.allowance; low == low {
		return low
	}
	return math.Inf(-1)
}

// exactly looks at a pair as closely as shows that it has no less spare than low, or what it has, which is noted where it is the best seen.
func (l *least) exactly(d lead, low float64, best *seen) float64 {
	q := &l.p.pairs[d.pair]
	b := &l.placed[d.class][q.b]
	if b.shapeAt != l.stamp {
		b.shapeAt = l.stamp
		solid.Place(&b.shape, &l.p.bodies[q.b].shape, &l.motion[d.class])
	}
	g := solid.Against(&l.p.bodies[q.a].shape, &b.shape, math.NaN(), low+q.required+l.p.allowance)
	if spare := g.Upper - q.required; spare < best.spare {
		best.spare, best.pair, best.lower, best.upper = spare, d.pair, g.Lower, g.Upper
	}
	return g.Lower - q.required - l.p.allowance
}

// pop takes the lead that may have the least spare.
func (l *least) pop() lead {
	top, n := l.order[0], len(l.order)-1
	l.order[0] = l.order[n]
	l.order = l.order[:n]
	l.sink(0)
	return top
}

// sink moves a lead down to its place.
func (l *least) sink(i int) {
	for {
		c := 2*i + 1
		if c >= len(l.order) {
			return
		}
		if c+1 < len(l.order) && l.order[c+1].spare < l.order[c].spare {
			c++
		}
		if l.order[i].spare <= l.order[c].spare {
			return
		}
		l.order[i], l.order[c] = l.order[c], l.order[i]
		i = c
	}
}
