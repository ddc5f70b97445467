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
	curves    bool       // an alt-azimuth's: from another start it is another curve
	both      bool       // its axes may be true at its start and its counters off by the spread
	off       unit.Angle // of its start: see strays
	kept      float64    // seconds from arrival until which its margins were proven kept, with the spread of its journey
}

// node is a pose of a course, with the strays of what follows it until the next.
type node struct {
	t  float64 // seconds from arrival
	at rig.Axes
	strays
}

// stretch is a piece of a course.
type stretch struct {
	way   reach.Way
	start float64
	strays
}

// strays is what tells how far the true axes may be from a piece of a course.
type strays struct {
	by  rig.Axes   // of an alt-azimuth: the curve less its chords
	off unit.Angle // least angle between the tube and the line of axis 1, [0°, 90°]
}

// DitherBox is how far, on the sky and each way, guide corrections and dithers may carry a tracking tube off its course: they ride on
// the permit, and the proof counts them. Several times a usual dither; common practice, no source.
const DitherBox = 6 * unit.Arcminute

// dither is the box in axis terms so far off the line of axis 1: near it a small angle on the sky is a large one there. It stops at
// twenty times, 3° from the end.
func dither(off unit.Angle) rig.Axes {
	return rig.Axes{A1: DitherBox / unit.Angle(math.Max(off.Sin(), 0.05)), A2: DitherBox}
}

// off is the angle between the tube and the line of axis 1 at a pose, [0°, 90°].
func (in *Input) off(at rig.Axes) unit.Angle { return offLine(&in.Rig.Chain, at) }

func offLine(c *rig.Chain, at rig.Axes) unit.Angle {
	a := c.Direction(at).Angle(c.Dir1)
	return min(a, unit.HalfTurn-a)
}

// onSky bounds how far errors of the axes at the start of a course move the tube on the sky at a pose of it.
func (in *Input) onSky(c *course, at, by rig.Axes) unit.Angle {
	if !c.curves { // only axis 1 turns
		return apart(by, c.off)
	}
	return max(apart(by, in.off(at)), apart(by, c.off))
}

// nearlySame is how little a mount's own map may differ from the rig for its course to count as that of the sky: far below the dithers
// that ride on it. Choice.
const nearlySame = 1e-3 * unit.Degree

// coursesFrom returns how the rig may follow the sky from the end of a journey. The sky turns an equatorial's axis 1 at the sidereal
// rate, whatever it believes. An alt-azimuth goes by its own map: from where belief is right it follows the direction in which its tube
// points, else that in which it believes that it points, its axes off by as much as at the start. One that keeps its syncs on the sky does
// the first; but its belief may be off by a slip as well.
func (in *Input) coursesFrom(h *heaven, s *stand, j *journey, seconds float64) []course {
	after := *j // overruns and searches, which are the sharp part of a spread, are over when tracking begins
	after.spread, after.sharp = upper(j.spread.Sub(j.sharp), rig.Axes{}), rig.Axes{}
	c := course{journey: &after, lost: dayS, ahead: in.aheads(s, j), off: in.off(j.end.Axes)}
	c.both = in.action().Axes != nil && j.stops != nil && !in.Rehearsed
	if t := j.way.Seconds(); !math.IsInf(t, 0) && !math.IsNaN(t) {
		c.arrival = t
	}
	if in.Rig.Kind.Equatorial() {
		to := j.end.Axes.Add(rig.Axes{A1: unit.Angle(seconds) * question.SiderealRate})
		by := strays{off: c.off}
		c.nodes = []node{{0, j.end.Axes, by}, {seconds, to, by}}
		c.stretches = []stretch{{reach.Uniform(j.end.Axes, to, seconds), 0, by}}
		return []course{c}
	}
	sky := follower{chain: in.Rig.Chain, pole: in.Rig.Pole(), side: in.Rig.Kind.SideOf(j.end.Axes)}
	out := []course{in.curved(h, c, sky, seconds)}
	own := follower{pole: frame.Horizon[frame.Rig](0, s.mount.Lat)}
	own.chain.Dir1, own.chain.Dir2, own.chain.Tube = rig.Nominal(in.Rig.Kind, s.mount.Lat)
	same := max(own.pole.Angle(sky.pole), own.chain.Dir1.Angle(sky.chain.Dir1), own.chain.Tube.Angle(sky.chain.Tube)) < nearlySame
	for _, ahead := range c.ahead {
		if same && ahead.Abs().Max() < nearlySame {
			continue
		}
		own.shift, own.side = ahead.Scale(-1), in.Rig.Kind.SideOf(j.end.Axes.Add(ahead))
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
	if j.end.From > 0 { // its counters may be those of the likeliest pose, and a sync be kept on the sky
		out = append(out, rig.LiftNear(s.pose.Candidates[0].Axes, c).Sub(c))
	}
	if j.end.Intended {
		out = append(out, rig.Axes{})
	}
	return out
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

// mostGrown is how wide of axis 1 a box of an alt-azimuth may grow before the course is given up: past it nothing near would be clear.
// Choice.
const mostGrown = 30 * unit.Degree

// grown is how far from a piece of the course one may be that starts within a spread of its start; false where that cannot be bounded.
//
// Who arrives later is on the same curve: that starts no other.
//
// Derived: an equatorial's axes follow the sky at one rate from wherever they start, and so do those of an alt-azimuth that are off its
// counters: they stay within the spread. But counters that start elsewhere follow another direction, by the distance d that the spread is
// on the sky (see apart), and the sky turns as one: the two stay d apart. Of directions d apart, one of them off from the zenith (or
// nadir), the altitudes differ by no more than d and the azimuths by no more than asin(sin d / sin off) (the greatest azimuth that a
// small circle reaches: a right triangle, Napier), if d < off. One sent to mechanical angles may be off in both: there by its axes, it
// follows the course of counters that are off, and its axes are off that course by as much the other way.
func (c *course) grown(spread rig.Axes, s strays) (rig.Axes, bool) {
	if !c.curves {
		return spread, true
	}
	d := apart(upper(spread.Sub(c.journey.timely), rig.Axes{}), c.off)
	if d >= s.off {
		return spread, false
	}
	swing := unit.Angle(math.Asin(math.Min(1, d.Sin()/s.off.Sin())))
	other := rig.Axes{A1: swing, A2: d}
	if c.both {
		return spread.Add(other), swing < mostGrown
	}
	return upper(spread, other), swing < spread.A1+mostGrown
}

// apart bounds how far on the sky a direction moves by a change of both axes, so far off the line of axis 1.
//
// Derived: the haversine of the distance is hav(A2) + sin(off)·sin(off')·hav(A1), off' being no further than A2 from off.
func apart(by rig.Axes, off unit.Angle) unit.Angle {
	one, two := (min(by.A1, unit.HalfTurn) / 2).Sin(), (by.A2 / 2).Sin() // by any turn of axis 1 no farther than by half a turn
	if by.A2 >= unit.HalfTurn {
		return unit.HalfTurn
	}
	hav := two*two + off.Sin()*min(unit.HalfTurn/2, off+by.A2).Sin()*one*one
	return 2 * unit.Angle(math.Asin(math.Min(1, math.Sqrt(hav))))
}

// box is how far the true axes may be from a piece of the course: from a start within a spread, with the strays of the piece and the dithers
// there; false where that cannot be bounded.
func (c *course) box(spread rig.Axes, s strays) (rig.Axes, bool) {
	g, ok := c.grown(spread, s)
	return g.Add(s.by).Add(dither(max(0, s.off-g.A2))), ok
}

// known is how many seconds from arrival it can be told, from a start within a spread, where the axes are; a day: as far as it is looked.
func (c *course) known(spread rig.Axes) float64 {
	for _, s := range c.stretches {
		if _, ok := c.grown(spread, s.strays); !ok {
			return s.start
		}
	}
	return c.lost
}

// until is how long the course keeps something, stretch by stretch, as long as it is known; until from it was proven before, and what comes after to
// is not asked, both seconds from arrival.
func (c *course) until(spread rig.Axes, from, to float64, ask func(w reach.Way, spread rig.Axes, from float64) reach.Until) reach.Until {
	for _, s := range c.stretches {
		box, ok := c.box(spread, s.strays)
		if !ok || s.start >= to {
			break
		}
		way := s.way
		if s.start+way.Seconds() > to {
			way = c.between(s.start, to)
		}
		u := ask(way, box, from-s.start)
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
		box, ok := c.box(c.journey.spread, s.strays)
		if !ok {
			break
		}
		r := p.Prove(c.between(s.start, end), box, reach.Budget(in.Cells))
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

// between is the way of the course from one time to a later one.
func (c *course) between(from, to float64) reach.Way {
	var legs []reach.Way
	last := from
	for _, n := range c.nodes {
		if n.t > from && n.t < to {
			legs, last = append(legs, reach.Uniform(c.at(last), n.at, n.t-last)), n.t
		}
	}
	return reach.Chain(append(legs, reach.Uniform(c.at(last), c.at(to), to-last))...)
}

// spareOf is what a clearance has left of what is wanted, millimetres.
func spareOf(c *question.Clearance) float64 { return c.LowerMM - c.RequiredMM }

// crossing is the first instant from arrival at which what is left, a function of pose and strays that is least at the ends of the even
// stretches between nodes and even along them, is negative; a day where it never is.
func (c *course) crossing(left func(at rig.Axes, s strays) unit.Angle) float64 {
	for i, n := range c.nodes {
		now := left(n.at, n.strays)
		if now < 0 {
			return n.t
		}
		if i+1 == len(c.nodes) {
			break
		}
		next := c.nodes[i+1]
		if then := left(next.at, n.strays); then < 0 {
			return n.t + (next.t-n.t)*float64(now/(now-then))
		}
	}
	return dayS
}
