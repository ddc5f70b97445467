package facts

import (
	"math"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// follower is what an alt-azimuth's axes follow: a direction that turns about the pole, seen by a chain, with the axes off by a shift.
type follower struct {
	chain rig.Chain
	pole  frame.Vec[frame.Rig]
	side  rig.Side
	shift rig.Axes // pose less what the chain gives
}

// at is where the axes are after some seconds, on the turn nearest to a pose.
func (f *follower) at(kind rig.Kind, start frame.Vec[frame.Rig], t float64, near rig.Axes) rig.Axes {
	dir := turnedAbout(f.pole, -unit.Angle(t)*question.SiderealRate, start)
	return rig.LiftNear(f.chain.Solve(kind, dir, f.side).Add(f.shift), near)
}

// Steps of an alt-azimuth's course, whose axes follow no constant rate. It is cut until its curve is proven to stay within bendGoal of
// the chord. One that is still not, or that is faster than axis 1 can turn, passes so near the zenith that no mount follows it. Choice:
// leastStep settles turning up to 8°/s, faster than such mounts slew; firstStep holds the refraction within bendGoal.
const (
	firstStep = 240.0
	leastStep = 0.25
	bendGoal  = 0.02 * unit.Degree
)

// quarterHigh is how near the zenith or nadir an opening distance from it is worth a new stretch: where the dither box in axis terms is four
// times what it is on the horizon. Choice.
const quarterHigh = 14.5 * unit.Degree

// curved is the course of an alt-azimuth. Stretches end where the distance from the zenith or nadir halves, so that what grows with it at
// most doubles on each.
func (in *Input) curved(h *heaven, c course, f follower, seconds float64) course {
	start := f.chain.Direction(c.journey.end.Axes.Sub(f.shift))
	sinLat := -f.pole.Dot(f.chain.Dir1)
	height := func(a rig.Axes) unit.Angle {
		return (unit.HalfTurn/2 - f.chain.Direction(a.Sub(f.shift)).Angle(f.chain.Dir1.Scale(-1))).Abs()
	}
	off := func(a rig.Axes) unit.Angle { return min(in.off(a), unit.HalfTurn/2-height(a)) }
	pose, step := c.journey.end.Axes, firstStep
	c.curves, c.off = true, off(pose)
	var legs []reach.Way
	began, opened, so := 0.0, c.off, strays{off: c.off}
	cut := func(t float64) {
		if len(legs) > 0 {
			c.stretches = append(c.stretches, stretch{reach.Chain(legs...), began, so})
		}
		opened = off(pose)
		legs, began, so = nil, t, strays{off: opened}
	}
	for t := 0.0; t < seconds; {
		step = math.Min(math.Min(2*step, firstStep), seconds-t)
		next := f.at(in.Rig.Kind, start, t+step, pose)
		by, ok := bow(sinLat, max(height(pose), height(next)), step)
		for !(ok && by.Max() <= bendGoal) && step > leastStep {
			step /= 2
			next = f.at(in.Rig.Kind, start, t+step, pose)
			by, ok = bow(sinLat, max(height(pose), height(next)), step)
		}
		if fast := next.Sub(pose).Abs().A1.Deg() > in.Rig.Motion.RateDeg[0]*step; fast || !ok || by.Max() > bendGoal {
			c.lost = t
			break
		}
		least := min(off(pose), off(next))
		if in.Rig.Mount.Refracts {
			by = by.Add(in.refracted(h, start, f.chain.Direction(next.Sub(f.shift)), least))
		}
		if least < opened/2 || least > 2*so.off && so.off < quarterHigh {
			cut(t)
		}
		so = strays{upper(so.by, by), min(so.off, least)}
		legs = append(legs, reach.Uniform(pose, next, step))
		c.nodes = append(c.nodes, node{t, pose, strays{by, least}})
		t, pose = t+step, next
	}
	last := math.Min(c.lost, seconds)
	cut(last)
	c.nodes = append(c.nodes, node{last, pose, strays{off: off(pose)}})
	return c
}

// refracted bounds how far the axes of a mount whose map includes refraction stray from the course of the direction at its start, at another
// direction that is so far off the zenith: the star itself stands as much below the start as the air lifts that, and keeps that distance on
// the sky (see grown for what it does to axis 1); where it stands by then it is lifted again.
func (in *Input) refracted(h *heaven, start, at frame.Vec[frame.Rig], off unit.Angle) rig.Axes {
	lift := func(v frame.Vec[frame.Rig]) unit.Angle {
		_, alt := seenAltitude(v)
		return (h.air.Observed(alt) - alt).Abs()
	}
	first, swing := lift(start), unit.HalfTurn
	if first < off {
		swing = unit.Angle(math.Asin(math.Min(1, first.Sin()/off.Sin())))
	}
	return rig.Axes{A1: swing, A2: bendGoal + first + lift(at)}
}

// bow bounds how far each axis of an alt-azimuth strays from the chord of a step whose ends stand no higher than top above or below the
// plane of axis 2; ok is false where the zenith may be passed.
//
// Derived: with A the angle of axis 1, a that of the tube over its plane, φ the height of the pole over it and ω the sky's rate, spherical
// trigonometry gives A' = ω(sin φ - cos φ cos A tan a) and |a'| ≤ ω cos φ. Differentiating once more,
// |A"| ≤ ω² cos φ [tan a (|sin φ| + cos φ tan a) + cos φ / cos² a] and |a"| ≤ ω² cos φ (|sin φ| + cos φ tan a). Between its ends a rises
// by no more than half a step's turning. A function strays from its chord by at most max|f"|·step²/8 (Isaacson & Keller, Analysis of
// Numerical Methods, 1966, section 6.1).
func bow(sinLat float64, top unit.Angle, step float64) (by rig.Axes, ok bool) {
	w := float64(question.SiderealRate)
	cosLat := math.Sqrt(math.Max(0, 1-sinLat*sinLat))
	a := float64(top) + w*cosLat*step/2
	if !(a < math.Pi/2) {
		return rig.Axes{}, false
	}
	tan, cos := math.Tan(a), math.Cos(a)
	rate := math.Abs(sinLat) + cosLat*tan
	k := w * w * cosLat * step * step / 8
	return rig.Axes{A1: unit.Angle(k * (tan*rate + cosLat/(cos*cos))), A2: unit.Angle(k * rate)}, true
}
