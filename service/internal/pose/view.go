package pose

import (
	"math"
	"time"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// view is one sample's belief as the mount's own map sees it.
type view struct {
	x       *question.Sample
	sky     rig.MountSky
	ra, dec unit.Angle // of date
	ok      bool       // there is a belief and a sky to map it with
	fromEnd unit.Angle // see there
}

// view maps a sample's belief; a sample without one, or without a sky, gives a view that is not ok.
func (t *turn) view(x *question.Sample) view {
	v := view{x: x, fromEnd: unit.HalfTurn}
	if x == nil || x.Belief == nil {
		return v
	}
	sky, ok := t.mountSky(x)
	if !ok {
		return v
	}
	v.sky = sky
	v.ra, v.dec, v.ok = t.ofDate(x.Belief.Sky, when(x))
	v.fromEnd = t.fromEnd(v)
	return v
}

// ofDate returns a sky position as right ascension and declination of date.
func (t *turn) ofDate(s question.Sky, at time.Time) (ra, dec unit.Angle, ok bool) {
	switch s.Frame {
	case question.OfDate:
		return s.RA, s.Dec, true
	case question.ICRS:
		m, err := t.w.Moment(at)
		if err != nil {
			return 0, 0, false
		}
		ra, dec = m.Apparent(frame.FromLonLat[frame.ICRS](s.RA, s.Dec)).LonLat()
		return ra, dec, true
	}
	return 0, 0, false
}

// mountSky is what the mount's map goes by: its own sidereal time and site where they are told, ours with what was last told
// of them where not.
func (t *turn) mountSky(x *question.Sample) (rig.MountSky, bool) {
	site := question.Place{Lat: t.r.Site.Lat, Lon: t.r.Site.Lon}
	if x.Site != nil {
		site = *x.Site
	} else if t.s.Site != nil {
		site = *t.s.Site
	}
	m := rig.MountSky{Lat: site.Lat}
	if t.r.Mount.Refracts {
		air := t.r.Air()
		m.Lift, m.Sink = air.Observed, air.True
	}
	if x.Sidereal != nil {
		m.Sidereal = *x.Sidereal
		return m, true
	}
	sky, err := t.w.Moment(when(x))
	if err != nil {
		return m, false
	}
	m.Sidereal = sky.SiderealTime(site.Lon)
	if t.s.Ahead != nil {
		m.Sidereal = sky.SiderealTime(t.r.Site.Lon) + *t.s.Ahead
	}
	return m, true
}

// axes returns M(belief less shift) on a side; shift is what syncs added to right ascension and declination.
func (t *turn) axes(v view, shift [2]unit.Angle, side rig.Side) rig.Axes {
	ra, dec := v.ra-shift[0], v.dec-shift[1]
	if dec.Abs() > unit.HalfTurn/2 { // over the pole
		ra, dec = ra+unit.HalfTurn, unit.Angle(math.Copysign(math.Pi, float64(dec)))-dec
	}
	return t.r.Map(v.sky, ra, dec, side)
}

// overPole is the view of a belief that a shift on the sky pushed over the pole, declination counted on beyond it; false where the shift
// does not reach from the pole to there. An alt-azimuth passes the pole as it passes any other place.
func (t *turn) overPole(v view, shift [2]unit.Angle) (view, bool) {
	if shift[1] == 0 || !t.r.Kind.Equatorial() {
		return v, false
	}
	v.ra, v.dec = v.ra+unit.HalfTurn, unit.Angle(math.Copysign(math.Pi, float64(shift[1])))-v.dec
	return v, (v.dec - shift[1]).Abs() <= unit.HalfTurn/2+polarRound
}

// polarRound is how far beyond the pole the roundness of a belief may put it: the least move that counts.
const polarRound = leastMove

// polar is how near the end of axis 1 the two sides cannot be told apart by where the tube points: the belief's own roundness and
// the first errors after homing. Common practice, no source.
const polar = 1 * unit.Degree

// zone is how near the end of axis 1 a pose by belief is not told from its mirror: polar, and twice what syncs kept on the sky
// moved declination, for a position pushed over the pole and wrapped there has no inverse.
func (t *turn) zone() unit.Angle {
	if t.r.Mount.Sync.MaybeOnSky() {
		return polar + 2*max(t.shift()[1].Abs(), t.undo(rig.KeptSince)[1].Abs())
	}
	return polar
}

// nearEnd tells whether a pose points within the zone around the end of axis 1.
func (t *turn) nearEnd(a rig.Axes) bool {
	_, height, _ := t.r.Kind.FromIdeal(a, t.r.Site.Lat)
	return unit.HalfTurn/2-height.Abs() < t.zone()
}

// sideAt is the side on which a belief stands for a pose held: the pose's own; no farther from the end of axis 1 than a lawful belief may be
// off, across which it may stand, the one told, else the nearer; and where the sides meet, the one that gives the nearer axis 1.
func (t *turn) sideAt(v view, shift [2]unit.Angle, a rig.Axes) rig.Side {
	own := t.r.Kind.SideOf(a)
	if t.nearEnd(a) {
		return t.sideNearest(v, shift, a)
	}
	if !t.astrayReaches(a) {
		return own
	}
	if told := v.x.Belief.Side; t.r.Mount.SideSensed && told != "" {
		return told
	}
	off := func(s rig.Side) unit.Angle { return rig.LiftNear(t.axes(v, shift, s), a).Sub(a).Abs().Max() }
	if other := own.Other(); off(other) < off(own) {
		return other
	}
	return own
}

// astrayReaches tells whether the end of axis 1 lies no farther from a pose than a lawful belief may be off.
func (t *turn) astrayReaches(a rig.Axes) bool {
	_, height, _ := t.r.Kind.FromIdeal(a, t.r.Site.Lat)
	return unit.HalfTurn/2-height.Abs() <= astray
}

// sideNearest is the side on which a belief stands nearer to a pose on axis 1.
func (t *turn) sideNearest(v view, shift [2]unit.Angle, a rig.Axes) rig.Side {
	both := t.r.Kind.Sides()
	best, off := both[0], unit.Turn
	for _, s := range both {
		if d := (t.axes(v, shift, s).A1 - a.A1).Wrapped().Abs(); d < off {
			best, off = s, d
		}
	}
	return best
}

// follow is by how much a pose turns while it follows the sky from one instant to another. Equatorial: axis 1 at the sidereal
// rate, in both hemispheres. Alt-azimuth: both axes by the sky of our own clock and site.
func (t *turn) follow(a rig.Axes, from, to time.Time) rig.Axes {
	dt := to.Sub(from).Seconds()
	if t.r.Kind.Equatorial() {
		return rig.Axes{A1: question.SiderealRate * unit.Angle(dt)}
	}
	then, err1 := t.w.Moment(from)
	now, err2 := t.w.Moment(to)
	if err1 != nil || err2 != nil {
		return rig.Axes{}
	}
	lon, lat := t.r.Site.Lon, t.r.Site.Lat
	plain := *t.r
	plain.Mount.Refracts = false
	ra, dec, side := plain.Unmap(rig.MountSky{Sidereal: then.SiderealTime(lon), Lat: lat}, a)
	b := plain.Map(rig.MountSky{Sidereal: now.SiderealTime(lon), Lat: lat}, ra, dec, side)
	return rig.LiftNear(b, a).Sub(a)
}

// drift is by how much a pose that nobody moves turns between two samples, as [least, most] of each axis: following the sky in
// both, it follows; at rest throughout, it stays; else anything between.
func (t *turn) drift(a rig.Axes, x, y *question.Sample) [2]rig.Axes {
	f := t.follow(a, when(x), when(y))
	switch {
	case x.Doing == question.Tracking && y.Doing == question.Tracking:
		return [2]rig.Axes{f, f}
	case t.rested(x, y):
		return [2]rig.Axes{}
	}
	return [2]rig.Axes{{A1: min(0, f.A1), A2: min(0, f.A2)}, {A1: max(0, f.A1), A2: max(0, f.A2)}}
}

// rested tells whether nothing turns between two samples unless somebody moves it: at rest in both, and no permit to follow the sky has begun
// of which nothing was seen yet.
func (t *turn) rested(x, y *question.Sample) bool {
	return x.Doing == question.AtRest && y.Doing == question.AtRest && !(t.mayFollow() && t.s.Permit.Action.Kind == question.Track)
}

// drifted is a pose carried over a quiet time, and what is not known of it added to its uncertainty.
func (t *turn) drifted(c question.Candidate, x, y *question.Sample) question.Candidate {
	d := t.drift(c.Axes, x, y)
	c.Axes = c.Axes.Add(d[0].Add(d[1]).Scale(0.5))
	c.Sigma = c.Sigma.Add(d[1].Sub(d[0]).Scale(1.0 / 6)) // half the width is three sigma
	return c
}

// excess is what of a turn the drift does not explain.
func excess(turned rig.Axes, drift [2]rig.Axes) rig.Axes {
	return rig.Axes{
		A1: turned.A1 - min(max(turned.A1, drift[0].A1), drift[1].A1),
		A2: turned.A2 - min(max(turned.A2, drift[0].A2), drift[1].A2),
	}
}

// beyond tells whether either axis is off by more than allowed.
func beyond(off, allowed rig.Axes) bool {
	return off.Beyond(allowed)
}

// wiggle is the movement between two quiet samples that is taken for guiding, dither and the roundness of readings: several times
// a usual dither. Common practice, no source.
const wiggle = 0.1 * unit.Degree

// offRate is how far from the sidereal rate a mount may follow the sky: the Moon's rate is 2.4 % slower (Meeus, Astronomical
// Algorithms, 2nd ed. 1998, ch. 47: 13.18° a day).
const offRate = 0.03

// tolerance is what two quiet samples may differ by, per axis: a wiggle and the slack of the rate.
func (t *turn) tolerance(a rig.Axes, x, y *question.Sample) rig.Axes {
	dt := unit.Angle(math.Abs(when(y).Sub(when(x)).Seconds()))
	slack := unit.Angle(offRate) * question.SiderealRate * dt
	if t.rested(x, y) {
		slack = 0
	}
	if !t.r.Kind.Equatorial() { // our site and clock against the mount's: the rates differ with the place on the sky
		slack *= 4
	}
	return t.wide(a, wiggle+slack)
}

// wide spreads an angle on the sky over the axes: near the end of axis 1 a small angle on the sky is a large one there. It stops at
// twenty times, 3° from the end, for nearer a bound on axis 1 would bind nothing.
func (t *turn) wide(a rig.Axes, sky unit.Angle) rig.Axes {
	_, height, _ := t.r.Kind.FromIdeal(a, t.r.Site.Lat)
	return rig.Axes{A1: sky / unit.Angle(max(math.Abs(height.Cos()), 0.05)), A2: sky}
}

// rush is how much faster than its file says an axis may turn before a reading cannot be a motion: rates in files are rounded and
// depend on load and voltage. Common practice, no source.
const rush = 1.25

// fastest is the furthest that the axes can turn between two samples: the file's rates, and the roundness of the samples' times
// (a whole second where both are whole, else a fifth).
func (t *turn) fastest(x, y *question.Sample) rig.Axes {
	dt := math.Abs(when(y).Sub(when(x)).Seconds())
	if when(x).Nanosecond() == 0 && when(y).Nanosecond() == 0 {
		dt += 0.8
	}
	dt += 0.2
	m := t.r.Motion
	return rig.Axes{A1: unit.Deg(m.RateDeg[0] * rush * dt), A2: unit.Deg(m.RateDeg[1] * rush * dt)}
}

// withinReach is what a turn of so much each way adds to a standard deviation: no more than all of travel, which may be several turns, and no
// less than half a turn, which is every direction of a rig that was pushed out of it.
func (t *turn) withinReach(far rig.Axes) rig.Axes {
	all := larger(t.r.Travel.High.Sub(t.r.Travel.Low), rig.Axes{A1: unit.HalfTurn, A2: unit.HalfTurn})
	return smaller(far, all).Scale(1.0 / 3)
}

// startTolerance is the limit permit start_tolerance_deg.
func (t *turn) startTolerance() unit.Angle {
	if t.w.StartTolerance > 0 {
		return t.w.StartTolerance
	}
	return 0.5 * unit.Degree
}
