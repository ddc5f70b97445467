package reach

import (
	"math"

	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// This file puts together what opening.go finds of a gap: how fast it widens at least.

// widening is what is proven of a gap all over a part.
type widening struct {
	rate      float64 // mm per radian, wherever the gap is no wider than it need be
	low, high float64 // of the gap
	long      int8    // the axis to cut where that is too little
}

// unproven is what is known of a gap of which nothing is.
var unproven = widening{math.Inf(-1), math.Inf(-1), math.Inf(1), 0}

// widens bounds a gap of two bodies, a as it stands and b in its place, and how fast it widens; need is the gap from which on nobody asks.
func (c *creeping) widens(v *sight, a, b *solid.Shape, g *solid.Gap, need float64) widening {
	out := unproven
	o, ok := c.opening(v, a, b, g)
	if out.long = o.longest(v.cell.class); !ok {
		return out
	}
	views := o.views(v.cell.class)
	for _, f := range views {
		is := o.find(&f)
		out.low, out.high = max(out.low, is.low), min(out.high, is.high)
		if out.rate >= -c.slack || !(is.off < 1) {
			continue
		}
		apart := max(0, min(need, is.high)) + o.a.round + o.b.round
		onA, onB := o.lever(&f)
		for try := 0; try < 2 && out.rate < -c.slack; try++ {
			if try > 0 {
				o.a.radius, o.b.radius = o.local(&o.a, onA, &is), o.local(&o.b, onB, &is)
			}
			out.rate = max(out.rate, o.rate(&o.b, &o.a, onB, onA, &is, apart))
			if out.rate < -c.slack {
				out.rate = max(out.rate, o.rate(&o.a, &o.b, onA, onB, &is, apart))
			}
		}
		o.a.radius, o.b.radius = o.a.whole, o.b.whole
	}
	if math.IsNaN(out.rate) || math.IsNaN(out.low) || math.IsNaN(out.high) {
		return unproven
	}
	if t1, t2 := v.cell.class.turns(); out.rate < -c.slack && t1 && t2 {
		if by1, by2 := o.alone(&views[0], 0), o.alone(&views[0], 1); by1 != by2 {
			out.long = int8(b2i(by2 > by1))
		}
	}
	return out
}

// alone is how far off the way of a gap may be where one axis alone turns.
func (o *opening) alone(f *from, k int) float64 {
	one := from{a: byAxis{k == 0 && f.a[0], k == 1 && f.a[1]}, b: byAxis{k == 0 && f.b[0], k == 1 && f.b[1]}}
	if k == 0 {
		one.off = f.off
	}
	return o.find(&one).off
}

// longest is the axis by which a body moves most, or the one that turns.
func (o *opening) longest(k class) int8 {
	if t1, t2 := k.turns(); !t1 || !t2 {
		return int8(b2i(t2))
	}
	return int8(b2i(o.half[1] > o.half[0]))
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// views are where a pair may be seen from.
func (o *opening) views(k class) [2]from {
	t1, t2 := k.turns()
	ground, axis1 := from{b: byAxis{t1, t2}}, from{a: byAxis{t1, false}, b: byAxis{false, t2}}
	if o.axis == 1 {
		ground.off = chord(unit.Angle(o.half[0]))
		return [2]from{axis1, ground}
	}
	return [2]from{ground, axis1}
}

// lever tells what turns the places where the gap ends, seen from where the creep turns about a line at rest.
func (o *opening) lever(f *from) (a, b byAxis) {
	if o.axis == 1 {
		return byAxis{f.a[0] || f.b[0], false}, byAxis{false, f.b[1]}
	}
	return f.a, f.b
}

// rate bounds how fast the gap widens by its place on x; turned tells what turns x and y.
func (o *opening) rate(x, y *carried, turned, other byAxis, is *found, apart float64) float64 {
	e, arm := o.n.Cross(o.turn), x.centre.Sub(o.fixed)
	vel, rest := o.moves(x, turned)
	out, moved := e.Dot(arm)-e.Norm()*rest, rest
	for k := range o.half {
		out -= math.Abs(e.Dot(vel[k])) * o.half[k]
		moved += vel[k].Norm() * o.half[k]
	}
	speed := o.turn.Cross(arm)
	across := speed.Cross(o.n).Norm() + moved + x.radius
	reach := reachOf(x.shape, o.fixed, o.turn) + o.swung(x, turned)
	out -= is.off*min(across, reach) + is.off*is.off/2*reach // n - n0 is z²/2 along n0 and no more than z across
	best := out - o.place(x, e.Scale(-1), turned, is)
	tx, ty := o.length(x), o.n.Cross(o.length(y))
	if k := ty.Dot(tx); best < -o.slack && math.Abs(k) > leastCross {
		l := ty.Scale(e.Dot(tx) / k)
		best = max(best, out-o.place(x, l.Sub(e), turned, is)-o.place(y, l.Scale(-1), other, is)-l.Norm()*(apart*is.off+is.side))
	}
	return best
}

// leastCross is the sine of the angle at which two long bodies cross from which on their crossing is asked for. Choice.
const leastCross = 0.05

// swung bounds how far a body is moved by axes other than the creep's.
func (o *opening) swung(x *carried, turns byAxis) (far float64) {
	for k, l := range o.lines {
		if turns[k] && int8(k) != o.axis {
			far += reachOf(x.shape, l.at, l.dir) * chord(unit.Angle(o.half[k]))
		}
	}
	return far
}

// place bounds how far along a way, from the centre, the gap can end on a body, less what it is grown by.
func (o *opening) place(x *carried, w point, turns byAxis, is *found) float64 {
	if w == (point{}) {
		return 0
	}
	ball := x.ball - x.round - is.off*x.radius
	best := math.Inf(1)
	for _, k := range [5]float64{0, 0.5, 2, 8, 32} {
		u := w.Add(x.out.Scale(k))
		best = min(best, o.farthest(x, u, turns)-x.round*u.Norm()-k*ball)
	}
	return best
}

// local bounds how far from the centre of its ball the gap can end on a body, all ways round: what is known of that makes it known better.
func (o *opening) local(x *carried, turns byAxis, is *found) float64 {
	was := *x
	t1 := o.n.Cross(o.lines[o.axis].dir)
	if l := t1.Norm(); l > 0.1 {
		t1 = t1.Scale(1 / l)
	} else {
		return x.radius
	}
	t2 := o.n.Cross(t1)
	for range mostLocal {
		square := 0.0
		for _, w := range [3]point{t1, t2, o.n} {
			far := max(0, o.place(&was, w, turns, is), o.place(&was, w.Scale(-1), turns, is))
			square += far * far
		}
		far := math.Sqrt(square)
		if !(far < 0.9*was.radius) {
			break
		}
		was.radius = far
	}
	return was.radius
}

// mostLocal is how often. Choice: from the length of a pier to the breadth of its rim takes two.
const mostLocal = 3

// length is the way in which a body is long, as far as that lies across the gap; zero where it has none.
func (o *opening) length(x *carried) point {
	a, b := x.shape.Axis()
	d := b.Sub(a)
	if x.shape.Kind() == solid.BoxKind {
		h, t := x.shape.HalfSizes()
		switch max(h.X, h.Y, h.Z) {
		case h.X:
			d = t.Apply(point{X: 1})
		case h.Y:
			d = t.Apply(point{Y: 1})
		default:
			d = t.Apply(point{Z: 1})
		}
	}
	if l := d.Norm(); l > 0 {
		d = d.Scale(1 / l)
	}
	return d.Sub(o.n.Scale(d.Dot(o.n)))
}
