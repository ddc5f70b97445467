package facts_test

import (
	"math"
	"math/rand/v2"
	"time"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/unit"
)

// This file plays a mount that does what the design says that mounts do, step by step: from a pose somewhere within its uncertainty, begun
// somewhere within the time that leave waits, by its own clock, site and belief. It shares nothing with the facts but the map from sky to
// axes, the chain and the distance of two solids.

// mount is what a play makes up about a mount and its question; all of it is lawful, much of it unlikely.
type mount struct {
	at     time.Time // of the question
	told   rig.Axes  // the likeliest candidate, as of then
	wild   rig.Axes  // where it truly is, less that
	off    rig.Axes  // belief less told
	shift  rig.Axes  // what it moves by before the motion begins
	wait   float64   // seconds until then
	clock  unit.Angle
	lat    unit.Angle
	onSky  bool // keeps its syncs as an offset on the sky
	turns  bool // told mechanical angles it turns by what its counters lack; else it ends there
	counts bool // keeping its syncs on the sky, it has counters that are off as the pose told is; else they are right
	early  bool // chooses its side by the hour angle at the start; else by that on arrival
	pick   float64
}

// played is one play of a question.
type played struct {
	mount
	rng    *rand.Rand
	r      *rig.Rig
	scene  *rig.Scene
	moment *sky.Moment
	place  sky.Place
	air    sky.Air
	finds  []string
	near   map[string]float64 // how near each fact came to what was seen, least
}

// start is where the motion begins; belief what the mount's counters say then.
func (p *played) start() rig.Axes  { return p.told.Add(p.wild).Add(p.shift) }
func (p *played) belief() rig.Axes { return p.told.Add(p.off).Add(p.shift) }

// sky is what the mount goes by some seconds after the question.
func (p *played) sky(seconds float64) rig.MountSky {
	lst := p.moment.SiderealTime(p.r.Site.Lon) + unit.Angle(seconds)*question.SiderealRate
	return rig.MountSky{Sidereal: lst + p.clock, Lat: p.lat, Lift: p.air.Observed, Sink: p.air.True}
}

// goal is where the mount's program sends it, by which poses, arriving some seconds after the question.
func (p *played) goal(a question.Action, arrival float64) []rig.Axes {
	start, belief := p.start(), p.belief()
	lacks := start.Sub(belief) // what a mount that goes by its counters is off by everywhere
	if p.onSky {
		lacks = p.wild
	}
	switch a.Kind {
	case question.Jog, question.Creep:
		return []rig.Axes{start, start.Add(*a.Axes)}
	case question.Track:
		return []rig.Axes{start}
	case question.Home:
		return []rig.Axes{start, p.home()}
	case question.Park:
		return p.by(start, lacks, p.r.Rests[0].Axes.Add(lacks))
	case question.Slew, question.Retreat:
		switch {
		case a.Axes == nil:
		case p.turns:
			return p.by(start, p.wild, a.Axes.Add(p.wild))
		default:
			return p.by(start, rig.Axes{}, *a.Axes)
		}
	case question.Flip, question.Sync:
	}
	return p.by(start, lacks, p.toSky(a, arrival))
}

// home is where a homing ends.
func (p *played) home() rig.Axes {
	switch by := p.r.Homing.By; {
	case by == rig.BySensor || by == rig.ByPerson && !p.turns:
		return p.r.Home
	case by == rig.ByBelief && p.r.Mount.Sync != rig.KeptOnSky:
		return p.r.Home.Add(p.wild).Sub(p.off)
	}
	return p.r.Home.Add(p.wild)
}

// toSky is where a slew to the sky, or a flip, ends.
func (p *played) toSky(a question.Action, arrival float64) rig.Axes {
	begin, then := p.sky(p.wait), p.sky(arrival)
	start, b := p.start(), p.belief()
	side := a.Side
	var ra, dec unit.Angle
	if a.Kind == question.Flip {
		ra, dec, _ = p.r.Unmap(p.sky(0), p.told.Add(p.off))
		side = p.r.Kind.SideOf(p.told).Other()
	} else {
		ra, dec = a.Sky.RA, a.Sky.Dec // of date in these questions
	}
	hour := then.Sidereal - ra
	if p.early {
		hour = begin.Sidereal - ra
	}
	goes := p.side(side, hour)
	if p.onSky {
		bRA, bDec, _ := p.r.Unmap(p.sky(0), p.told.Add(p.off))
		pRA, pDec, _ := p.r.Unmap(p.sky(0), p.told)
		ra, dec = ra-(bRA-pRA), dec-(bDec-pDec)
		if dec.Abs() > unit.HalfTurn/2 {
			ra, dec = ra+unit.HalfTurn, unit.Angle(math.Copysign(math.Pi, float64(dec)))-dec
		}
		turns := p.r.Lifts(p.r.Map(then, ra, dec, goes), p.told.Add(p.shift))
		return turns[int(p.pick*float64(len(turns)))].Add(p.wild)
	}
	turns := p.r.Lifts(p.r.Map(then, ra, dec, goes), b)
	return start.Add(turns[int(p.pick*float64(len(turns)))].Sub(b))
}

// side is the one to which the mount goes of those that its habits leave open. One that goes by the hour angle changes at its delay, and
// under the pole at 180° or at that and its delay.
func (p *played) side(asked rig.Side, hour unit.Angle) rig.Side {
	if p.r.Mount.Chooses == rig.ByHourAngle && p.r.Kind == rig.German {
		past := (hour - p.r.Mount.MeridianDelay).Wrapped()
		if p.turns {
			past = hour.Wrapped() - p.r.Mount.MeridianDelay
		}
		if past > 0 {
			return rig.East
		}
		return rig.West
	}
	sides := p.r.SidesFor(asked, hour)
	if asked != "" && p.r.Mount.Chooses == rig.FirstOnly {
		return rig.First
	}
	return sides[int(p.pick*float64(len(sides)))]
}

// by is a slew by the poses that the mount always goes by, all off by as much.
func (p *played) by(start, off, end rig.Axes) []rig.Axes {
	out := []rig.Axes{start}
	for _, v := range p.r.Motion.Via {
		out = append(out, v.Add(off))
	}
	k := p.r.Kind
	from := k.SideOf(p.told)
	if p.pick < 0.5 {
		from = k.SideOf(p.belief())
	}
	if k.SideOf(end.Sub(off)) != from {
		for _, v := range p.r.Motion.FlipVia {
			out = append(out, v.Add(off))
		}
	}
	return append(out, end)
}

// trapezoid is how far an axis has come after a time (Lynch & Park, Modern Robotics 2017, section 9.2.2.2).
func trapezoid(whole, rate, accel, t float64) float64 {
	ramp := math.Min(rate/accel, math.Sqrt(whole/accel))
	top := accel * ramp
	total := ramp + whole/math.Max(top, 1e-300)
	switch {
	case whole == 0 || t >= total:
		return whole
	case t < ramp:
		return accel * t * t / 2
	case t > total-ramp:
		return whole - accel*(total-t)*(total-t)/2
	}
	return accel*ramp*ramp/2 + top*(t-ramp)
}

func trapezoidTime(whole, rate, accel float64) float64 {
	ramp := math.Min(rate/accel, math.Sqrt(whole/accel))
	if whole == 0 {
		return 0
	}
	return ramp + whole/(accel*ramp)
}

// stretch plays a motion from a pose to another in steps, in the manner of its sharing, and tells how long it takes.
func (p *played) stretch(m rig.Motion, sharing rig.Sharing, from, to rig.Axes, steps int) ([]rig.Axes, float64) {
	d := to.Sub(from)
	w1, w2 := d.A1.Abs().Deg(), d.A2.Abs().Deg()
	t1, t2 := trapezoidTime(w1, m.RateDeg[0], m.AccelDeg[0]), trapezoidTime(w2, m.RateDeg[1], m.AccelDeg[1])
	lean := math.Exp(2 * p.rng.NormFloat64())
	var out []rig.Axes
	for i := range steps + 1 {
		s := float64(i) / float64(steps)
		var one, two float64
		switch sharing {
		case rig.Straight:
			one, two = s, s
		case rig.Axis1First:
			one, two = math.Min(1, 2*s), math.Max(0, 2*s-1)
		case rig.Axis2First:
			one, two = math.Max(0, 2*s-1), math.Min(1, 2*s)
		case rig.AnyOrder:
			one, two = math.Pow(s, lean), math.Pow(s, 1/lean)
		case rig.Independent:
			t := s * math.Max(t1, t2)
			one = trapezoid(w1, m.RateDeg[0], m.AccelDeg[0], t) / math.Max(w1, 1e-12)
			two = trapezoid(w2, m.RateDeg[1], m.AccelDeg[1], t) / math.Max(w2, 1e-12)
		}
		out = append(out, from.Add(rig.Axes{A1: d.A1 * unit.Angle(one), A2: d.A2 * unit.Angle(two)}))
	}
	if sharing == rig.Independent || sharing == rig.Straight {
		return out, math.Max(t1, t2)
	}
	return out, t1 + t2
}

// way plays a whole motion: every stretch, and at the end the overrun of its approach, or the sweep of a search. It tells how long the
// motion takes without that, and where it ends.
func (p *played) way(a question.Action, poses []rig.Axes) (way []rig.Axes, end rig.Axes, took float64) {
	m, sharing := p.r.Motion, p.r.Motion.Sharing
	over := m.Overrun
	switch {
	case a.Kind == question.Home:
		sharing, over = p.r.Homing.Order, over.Add(p.r.Homing.Search)
	case a.Kind == question.Jog && a.Rate != nil:
		for i := range m.RateDeg {
			m.RateDeg[i] = min(m.RateDeg[i], a.Rate.Deg())
		}
	}
	end = poses[len(poses)-1]
	if len(poses) == 1 {
		return poses, end, 0
	}
	for i := 1; i < len(poses); i++ {
		w, s := p.stretch(m, sharing, poses[i-1], poses[i], 16)
		way, took = append(way, w...), took+s
	}
	return append(way, end.Add(rig.Axes{A1: over.A1 * unit.Angle(corner(p.rng)), A2: over.A2 * unit.Angle(corner(p.rng))})), end, took
}

// corner is in [-1, 1], at its ends half of the time: there most bounds are sharpest.
func corner(rng *rand.Rand) float64 {
	switch rng.IntN(4) {
	case 0:
		return -1
	case 1:
		return 1
	}
	return rng.Float64()*2 - 1
}

// believed is what the mount's counters say at a pose.
func (p *played) believed(at rig.Axes) rig.Axes {
	if p.onSky {
		return at.Sub(p.wild)
	}
	return at.Sub(p.wild).Add(p.off)
}

// follow is where a mount that follows the sky from a pose is after some seconds. An alt-azimuth goes by its own map, which is played step
// by step.
func (p *played) follow(start rig.Axes, arrival, s float64) rig.Axes {
	if p.r.Kind.Equatorial() {
		return start.Add(rig.Axes{A1: unit.Angle(s) * question.SiderealRate})
	}
	b := start // one that keeps its syncs on the sky may have right counters
	if p.counts || !p.onSky {
		b = p.believed(start)
	}
	lacks := start.Sub(b)
	ra, dec, side := p.r.Unmap(p.sky(arrival), b)
	for k := 1; k <= 200; k++ {
		b = rig.LiftNear(p.r.Map(p.sky(arrival+s*float64(k)/200), ra, dec, side), b)
	}
	return b.Add(lacks)
}
