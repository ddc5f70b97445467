package facts

import (
	"math"
	"sort"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// course is how the axes follow the sky from the end of one motion, for up to a day.
type course struct {
	stretches []stretch
	nodes     []node     // the poses between which the axes turn evenly; at least one
	arrival   float64    // seconds after the question
	lost      float64    // seconds from arrival from which on it cannot be told where the axes are; a day: never
	ahead     []rig.Axes // belief less pose, of a rig whose belief is known: all that it may be
	journey   *journey
}

// node is a pose of a course, with the stray of the stretch that follows it.
type node struct {
	t    float64 // seconds from arrival
	at   rig.Axes
	bend rig.Axes
}

// stretch is a piece of a course with how far the true course may stray from it: dithers, and the curve of an alt-azimuth.
type stretch struct {
	way   reach.Way
	start float64
	bend  rig.Axes
}

// Steps of an alt-azimuth's course, whose axes follow no constant rate. It is cut until its curve is proven to stay within bendGoal of
// the chord. One that is still not, or that is faster than axis 1 can turn, passes so near the zenith that no mount follows it. Choice:
// leastStep settles turning up to 8°/s, faster than such mounts slew; firstStep holds the refraction within bendGoal.
const (
	firstStep = 240.0
	leastStep = 0.25
	bendGoal  = 0.02 * unit.Degree
)

// DitherBox is how far, on the sky and each way, guide corrections and dithers may carry a tracking tube off its course: they ride on
// the permit, and the proof counts them. Several times a usual dither; common practice, no source.
const DitherBox = 6 * unit.Arcminute

// dither is the box in axis terms at a pose: near the end of axis 1 a small angle on the sky is a large one there. It stops at twenty
// times, 3° from the end.
func (in *Input) dither(at rig.Axes) rig.Axes {
	return rig.Axes{A1: DitherBox / unit.Angle(math.Max(in.sine(at), 0.05)), A2: DitherBox}
}

// sine is that of the angle between tube and axis 1: what a turn of axis 1 is worth on the sky.
func (in *Input) sine(at rig.Axes) float64 {
	return in.Rig.Chain.Direction(at).Angle(in.Rig.Chain.Dir1).Sin()
}

// onSky bounds how far axis errors move the tube on the sky at a pose.
func (in *Input) onSky(at, by rig.Axes) unit.Angle {
	return by.A1*unit.Angle(in.sine(at)) + by.A2 + by.A1*by.A2
}

// coursesFrom returns how the rig may follow the sky from the end of a journey. The sky turns an equatorial's axis 1 at the sidereal
// rate, whatever it believes. An alt-azimuth goes by its own map: from where belief is right it follows the direction in which its tube
// points, else that in which it believes that it points, its axes off by as much as at the start.
func (in *Input) coursesFrom(h *heaven, s *stand, j *journey, seconds float64) []course {
	c := course{journey: j, lost: dayS, ahead: in.aheads(s, j)}
	if t := j.way.Seconds(); !math.IsInf(t, 0) && !math.IsNaN(t) {
		c.arrival = t
	}
	if in.Rig.Kind.Equatorial() {
		to := j.end.Axes.Add(rig.Axes{A1: unit.Angle(seconds) * question.SiderealRate})
		bend := in.dither(j.end.Axes)
		c.nodes = []node{{0, j.end.Axes, bend}, {seconds, to, bend}}
		c.stretches = []stretch{{reach.Uniform(j.end.Axes, to, seconds), 0, bend}}
		return []course{c}
	}
	sky := follower{chain: in.Rig.Chain, pole: in.Rig.Pole(), side: in.Rig.Kind.SideOf(j.end.Axes)}
	out := []course{in.curved(h, c, sky, seconds)}
	for _, ahead := range c.ahead {
		if ahead.Abs().Max() < 1e-3*unit.Degree || in.Rig.Mount.Sync == rig.KeptOnSky {
			continue
		}
		own := follower{pole: frame.Horizon[frame.Rig](0, s.mount.Lat), shift: ahead.Scale(-1), side: in.Rig.Kind.SideOf(j.end.Axes.Add(ahead))}
		own.chain.Dir1, own.chain.Dir2, own.chain.Tube = rig.Nominal(in.Rig.Kind, s.mount.Lat)
		out = append(out, in.curved(h, c, own, seconds))
	}
	return out
}

// aheads is what belief less pose may be at the end of a journey: as now, and none where the journey ends as intended.
func (in *Input) aheads(s *stand, j *journey) []rig.Axes {
	if in.Rehearsed {
		return []rig.Axes{{}}
	}
	if !s.believes {
		return nil
	}
	c := s.pose.Candidates[j.end.From].Axes
	out := []rig.Axes{rig.LiftNear(s.belief, c).Sub(c)}
	if j.end.Intended {
		out = append(out, rig.Axes{})
	}
	return out
}

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

// curved is the course of an alt-azimuth. Stretches end where the dither box in axis terms doubles.
func (in *Input) curved(h *heaven, c course, f follower, seconds float64) course {
	start := f.chain.Direction(c.journey.end.Axes.Sub(f.shift))
	sinLat := -f.pole.Dot(f.chain.Dir1)
	height := func(a rig.Axes) unit.Angle {
		return (unit.HalfTurn/2 - f.chain.Direction(a.Sub(f.shift)).Angle(f.chain.Dir1.Scale(-1))).Abs()
	}
	pose, step := c.journey.end.Axes, firstStep
	var legs []reach.Way
	var stray rig.Axes
	began, bend := 0.0, in.dither(pose)
	cut := func(t float64) {
		if len(legs) > 0 {
			c.stretches = append(c.stretches, stretch{reach.Chain(legs...), began, bend.Add(stray)})
		}
		legs, stray, began, bend = nil, rig.Axes{}, t, in.dither(pose)
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
		if in.Rig.Mount.Refracts {
			by.A2 += bendGoal + in.refraction(h, start, f.chain.Direction(next.Sub(f.shift)))
		}
		if d := in.dither(next).A1; d > 2*bend.A1 || d < bend.A1/2 && bend.A1 > 4*DitherBox {
			cut(t)
		}
		bend = upper(bend, in.dither(next))
		legs, stray = append(legs, reach.Uniform(pose, next, step)), upper(stray, by)
		c.nodes = append(c.nodes, node{t, pose, bend.Add(by)})
		t, pose = t+step, next
	}
	last := math.Min(c.lost, seconds)
	cut(last)
	c.nodes = append(c.nodes, node{last, pose, bend})
	return c
}

// refraction is by how much more or less the air lifts one direction than another.
func (in *Input) refraction(h *heaven, a, b frame.Vec[frame.Rig]) unit.Angle {
	lift := func(v frame.Vec[frame.Rig]) unit.Angle {
		_, alt := seenAltitude(v)
		return h.air.Observed(alt) - alt
	}
	return (lift(a) - lift(b)).Abs()
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

// seconds is how long the course is known.
func (c *course) seconds() float64 { return c.nodes[len(c.nodes)-1].t }

// at is the pose at a time from arrival.
func (c *course) at(t float64) rig.Axes {
	i := sort.Search(len(c.nodes), func(i int) bool { return c.nodes[i].t >= t })
	if i == 0 || i == len(c.nodes) {
		return c.nodes[min(i, len(c.nodes)-1)].at
	}
	a, b := c.nodes[i-1], c.nodes[i]
	return a.at.Add(b.at.Sub(a.at).Scale((t - a.t) / (b.t - a.t)))
}

// until is how long the whole course keeps something, stretch by stretch.
func (c *course) until(spread rig.Axes, ask func(w reach.Way, spread rig.Axes) reach.Until) reach.Until {
	for _, s := range c.stretches {
		u := ask(s.way, spread.Add(s.bend))
		if !u.Whole {
			u.Clear, u.Broken = u.Clear+s.start, u.Broken+s.start
			return u
		}
	}
	return reach.Until{Whole: true, Decided: true, Clear: c.seconds(), Broken: math.Inf(1)}
}

// nearest is the closest approach, by what is spare, in so many seconds of the course; nil where no pair can come near.
func (in *Input) nearest(p *reach.Prover, c *course, seconds float64) *question.Clearance {
	var out *question.Clearance
	for _, s := range c.stretches {
		if s.start >= seconds {
			break
		}
		end := math.Min(seconds, s.start+s.way.Seconds())
		r := p.Prove(reach.Uniform(c.at(s.start), c.at(end), end-s.start), c.journey.spread.Add(s.bend), reach.Budget(in.Cells))
		if r.Nearest == nil {
			continue
		}
		r.Nearest.Seconds += c.arrival + s.start
		if x := in.approach(r, c.journey); x != nil && (out == nil || spareOf(x) < spareOf(out)) {
			out = x
		}
	}
	return out
}

// spareOf is what a clearance has left of what is wanted, millimetres.
func spareOf(c *question.Clearance) float64 { return c.LowerMM - c.RequiredMM }

// crossing is the first instant from arrival at which what is left, a function of pose and stray that is least at the ends of the even
// stretches between nodes and even along them, is negative; a day where it never is.
func (c *course) crossing(left func(at, bend rig.Axes) unit.Angle) float64 {
	for i, n := range c.nodes {
		now := left(n.at, n.bend)
		if now < 0 {
			return n.t
		}
		if i+1 == len(c.nodes) {
			break
		}
		next := c.nodes[i+1]
		if then := left(next.at, n.bend); then < 0 {
			return n.t + (next.t-n.t)*float64(now/(now-then))
		}
	}
	return dayS
}
