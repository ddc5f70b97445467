package reach

import (
	"math"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Way is the set of poses that a motion sweeps, with the times at which it does where those are known. It is made by the
// functions below and never changed. The zero Way sweeps nothing and cannot be proven.
type Way struct {
	legs []leg
	end  float64 // seconds; infinite where a rate is not known
}

// Hold is a way that stays at a pose.
func Hold(at rig.Axes) Way { return wayOf(leg{kind: lineLeg, from: at, to: at}) }

// Straight goes from a to b along the straight line in axis space, both axes starting and ending together: neither exceeds its
// own rate or acceleration, and one of them reaches it.
func Straight(a, b rig.Axes, m rig.Motion) Way {
	rate, accel := math.Inf(1), math.Inf(1)
	d := b.Sub(a).Abs()
	for i, whole := range [2]float64{float64(d.A1), float64(d.A2)} {
		if whole > 0 {
			rate = min(rate, radians(m.RateDeg[i])/whole)
			accel = min(accel, radians(m.AccelDeg[i])/whole)
		}
	}
	l := leg{kind: lineLeg, from: a, to: b}
	if d != (rig.Axes{}) {
		l.laws[0] = newLaw(1, rate, accel)
	}
	return wayOf(l)
}

// Uniform goes from a to b along the straight line in axis space at constant speed: tracking.
func Uniform(a, b rig.Axes, seconds float64) Way {
	return wayOf(leg{kind: lineLeg, from: a, to: b, laws: [2]law{newLaw(1, 1/seconds, math.Inf(1))}})
}

// Profiles goes from a to b with both axes starting together, each by a trapezoid of its own rate and acceleration: a curve.
// Where a rate is not known it is the rectangle.
func Profiles(a, b rig.Axes, m rig.Motion) Way {
	l := leg{kind: curveLeg, from: a, to: b, laws: axisLaws(a, b, m)}
	if math.IsInf(l.seconds(), 1) {
		l.kind = rectLeg
	}
	return wayOf(l)
}

// InTurn goes from a to b one axis after the other.
func InTurn(a, b rig.Axes, m rig.Motion, axis1First bool) Way {
	corner := rig.Axes{A1: a.A1, A2: b.A2}
	if axis1First {
		corner = rig.Axes{A1: b.A1, A2: a.A2}
	}
	return Chain(Straight(a, corner, m), Straight(corner, b, m))
}

// Rectangle is every monotone way from a to b, in whatever order the axes move; it fills the rectangle between them. Its time is
// that of one axis after the other.
func Rectangle(a, b rig.Axes, m rig.Motion) Way {
	return wayOf(leg{kind: rectLeg, from: a, to: b, laws: axisLaws(a, b, m)})
}

// Chain is one way after the other.
func Chain(ways ...Way) Way {
	var out Way
	for _, w := range ways {
		for _, l := range w.legs {
			l.start += out.end
			out.legs = append(out.legs, l)
		}
		out.end += w.end
	}
	return out
}

// WayOf is the way from a to b of a mount whose axes share a motion in this manner. A manner that is not known is any order.
func WayOf(sharing rig.Sharing, m rig.Motion, a, b rig.Axes) Way {
	switch sharing {
	case rig.Straight:
		return Straight(a, b, m)
	case rig.Independent:
		return Profiles(a, b, m)
	case rig.Axis1First, rig.Axis2First:
		return InTurn(a, b, m, sharing == rig.Axis1First)
	case rig.AnyOrder:
	}
	return Rectangle(a, b, m)
}

// Through is the way through several poses in order, each stretch in the manner of sharing.
func Through(sharing rig.Sharing, m rig.Motion, poses ...rig.Axes) Way {
	var ways []Way
	for i := 1; i < len(poses); i++ {
		ways = append(ways, WayOf(sharing, m, poses[i-1], poses[i]))
	}
	return Chain(ways...)
}

func wayOf(l leg) Way { return Way{legs: []leg{l}, end: l.seconds()} }

func axisLaws(a, b rig.Axes, m rig.Motion) [2]law {
	d := b.Sub(a).Abs()
	return [2]law{
		newLaw(float64(d.A1), radians(m.RateDeg[0]), radians(m.AccelDeg[0])),
		newLaw(float64(d.A2), radians(m.RateDeg[1]), radians(m.AccelDeg[1])),
	}
}

func radians(deg float64) float64 { return float64(unit.Deg(deg)) }

// Seconds returns how long the motion takes; infinite where a rate is not known.
func (w Way) Seconds() float64 { return w.end }

// At returns a pose of the way at a time; before the start and after the end the nearest of those. Within a rectangle, and where
// the time is infinite, it is one of the poses possible.
func (w Way) At(seconds float64) rig.Axes {
	if len(w.legs) == 0 {
		return rig.Axes{}
	}
	i := 0
	for i < len(w.legs)-1 && seconds >= w.legs[i+1].start {
		i++
	}
	l := &w.legs[i]
	return l.point(l.mark(seconds - l.start))
}

// Ends returns where the way begins and ends.
func (w Way) Ends() (from, to rig.Axes) {
	if len(w.legs) == 0 {
		return rig.Axes{}, rig.Axes{}
	}
	return w.legs[0].from, w.legs[len(w.legs)-1].to
}

// Swept returns the least rectangle of axis space that holds every pose of the way: what travel limits are judged by.
func (w Way) Swept() (low, high rig.Axes) {
	for i, l := range w.legs {
		lo := rig.Axes{A1: min(l.from.A1, l.to.A1), A2: min(l.from.A2, l.to.A2)}
		hi := rig.Axes{A1: max(l.from.A1, l.to.A1), A2: max(l.from.A2, l.to.A2)}
		if i > 0 {
			lo = rig.Axes{A1: min(lo.A1, low.A1), A2: min(lo.A2, low.A2)}
			hi = rig.Axes{A1: max(hi.A1, high.A1), A2: max(hi.A2, high.A2)}
		}
		low, high = lo, hi
	}
	return low, high
}

// finite tells whether every pose of the way is a number.
func (w Way) finite() bool {
	for _, l := range w.legs {
		if !l.from.Finite() || !l.to.Finite() {
			return false
		}
	}
	return len(w.legs) > 0
}
