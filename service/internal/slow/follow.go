package slow

import (
	"fmt"
	"math"
	"slices"
)

// ditherBox is how far on the sky, each way, guiding and dithers may carry a tube that follows it: they ride on a permit within a declared box.
const ditherBox = 6.0 / 60 * degree

const day = 86400.0

// course is where the axes are some seconds after the arrival of one play.
type course struct {
	*play
	start   Axes
	lacks   Axes // true axes less the mount's counters
	arrival float64
	ra, dec float64
	side    string
}

// newCourse follows the sky from the end of a play: by the mount's own counters, which are off as its belief is, or right.
func (p *play) newCourse() course {
	c := course{play: p, start: p.end.axes, arrival: p.wait + p.way.seconds()}
	c.lacks = p.end.shift.add(p.wild)
	if p.rng.IntN(2) == 0 || !p.end.loose {
		c.lacks = Axes{}
	}
	if p.believes && (p.end.intended || p.q.Kind == "track") && p.rng.IntN(3) == 0 {
		at := p.places[p.from].Axes
		c.lacks = p.wild.add(at.sub(p.beliefFrom(at)))
		// Sent elsewhere, belief may still be off as now, for all that a proof knows; one that stays believes what it says.
		p.end.maybe = p.end.maybe || p.q.Kind != "track" || p.r.Sync != "axes" && p.r.Sync != "none"
	}
	m := p.mount.after(c.arrival)
	c.ra, c.dec, c.side = p.r.ToSky(m.lst, m.lat, c.start.sub(c.lacks))
	return c
}

// at is the pose after some seconds, near one of before.
func (c *course) at(t float64, before Axes) Axes {
	if c.r.equatorial() {
		return c.start.add(Axes{t * siderealRate, 0})
	}
	return c.r.toAxes(c.mount.after(c.arrival+t), c.ra, c.dec, c.side).near(before.sub(c.lacks)).add(c.lacks)
}

// dither is the box of dithers in axis terms at a pose.
func (c *course) dither(a Axes) Axes {
	off := math.Abs(math.Sin(c.r.direction(a).angle(c.r.d1)))
	return Axes{ditherBox / max(off, 0.05), ditherBox}
}

// astray is what a proof may add at a pose of a course: of an alt-azimuth another start is another curve, which axis 1 may be off by the more
// the nearer it comes to the zenith; it may take a whole stretch, until the distance from there halves or is 14.5°, as where that
// comes nearest; and the most that air lifts anywhere on the way.
func (c *course) astray(a Axes) Axes {
	out := c.dither(a).add(c.more)
	if !c.r.equatorial() {
		d, off := c.disc(a), math.Abs(math.Sin(c.r.direction(a).angle(c.r.d1)))
		if c.r.Refracts {
			d += c.r.lift(0) + c.r.lift(c.r.Altitude(c.start)) - c.r.Altitude(c.start)
		}
		off = math.Sin(max(1e-6, min(math.Asin(min(1, off))/2, 14.5*degree)))
		out = out.add(Axes{math.Asin(min(1, math.Sin(min(d, math.Pi/2))/off)) + ditherBox/max(off-d, 0.05), d})
	}
	return out
}

// follow looks at what follows the motion: as long as it was asked for, and until the first contact of a day.
func (p *play) follow(e Effort) {
	c := p.newCourse()
	if blur := max(p.blur(p.belief), p.blur(c.start)); blur > 0.1*degree { // where it begins on its circle is known no better
		p.more[0] += blur
	}
	if p.about("track/fits") {
		p.keeps(&c, e.Points)
	}
	if (p.rng.IntN(3) == 0 || e.Day > 200) && p.about("asker/fallback") {
		p.untilContact(&c, e.Day)
	}
}

// margin is how much longer than what is asked and must be spare is looked at, s.
const margin = 600.0

// keeps takes in the first instant at which tracking breaks a limit.
func (p *play) keeps(c *course, points int) {
	least := p.q.Follow + p.limit("track/fits spare_s")
	p.took("track/fits", margin, c.start, c.arrival, false)
	last := c.start
	for i := range 2 * points {
		t := (float64(i) + p.rng.Float64()) / float64(2*points) * (least + margin)
		if i == 0 {
			t = 0
		}
		at := c.at(t, last)
		if p.tooFast(c, t, last, at, (least+margin)/float64(points)) {
			p.took("track/fits", t-least, at, c.arrival+t, true)
			return
		}
		if p.byBelief(c, at) {
			p.took("track/fits", t-least, at, c.arrival+t, true)
		}
		last = at
		if why := p.breaks(c, at, t, -surely); why != "" {
			p.what += ", " + why
			p.took("track/fits", t-least, at, c.arrival+t, false)
			return
		}
		near, all, box := at, []Axes{p.outward()}, c.astray(at)
		if i == 0 {
			all = []Axes{{1, 1}, {1, -1}, {-1, 1}, {-1, -1}}
			if !p.sharp { // wherever in the pose's uncertainty it begins
				near, box = at.sub(p.wild), box.add(p.places[p.from].Sigma.times(Axes{3, 3}))
			}
		}
		for _, u := range all {
			if why := p.breaks(c, near.add(u.times(box)), t, 2*ditherBox+p.disc(at)); why != "" {
				p.took("track/fits", t-least, at, c.arrival+t, true)
			}
		}
	}
}

// tooFast tells whether an alt-azimuth passes too near the zenith to be told where it is.
func (p *play) tooFast(c *course, t float64, last, at Axes, step float64) bool {
	return !p.r.equatorial() && (p.high(at) || math.Abs(at[0]-last[0]) > p.r.Rate[0]*step/2)
}

// high tells whether a pose is so near the zenith that axis 1 may have to turn faster than it can.
func (p *play) high(at Axes) bool {
	_, alt := p.r.direction(at).azAlt()
	return math.Abs(alt) > 85*degree-4*p.disc(at)
}

// byBelief tells whether an alt-azimuth is that high by its counters or, as a proof may have it, by what its belief is off now.
func (p *play) byBelief(c *course, at Axes) bool {
	here := p.places[p.from].Axes
	return !p.r.equatorial() && (p.high(at.sub(c.lacks)) || p.believes && p.high(at.sub(here).add(p.beliefFrom(here))))
}

// surely is by how much a limit must be broken while tracking to count as broken: the sky's formulas are good to half of it.
const surely = 0.03 * degree

// breaks says which limit a pose of a course breaks, where it may be off by some angle on the sky: less than nothing where it must be broken
// by so much.
func (p *play) breaks(c *course, a Axes, t, by float64) string {
	r := p.r
	for axis := range 2 {
		if a[axis] < r.Low[axis]+min(by, surely) || a[axis] > r.High[axis]-min(by, surely) {
			return fmt.Sprintf("axis %d out of travel", axis+1)
		}
	}
	_, alt := r.direction(a).azAlt()
	if alt-by < p.limit("sky/floor altitude_deg")*degree {
		return "below the floor"
	}
	if (p.q.Sky != nil || p.q.Kind == "flip" || p.q.Kind == "track") && p.aboveSkyline(a)-by < p.limit("sky/horizon above_deg")*degree {
		return "behind the horizon"
	}
	doubt := 0.0
	if by > 0 {
		doubt = unsure(p.q.At) * siderealRate
	}
	if sun, up := r.sunAt(p.q.At, c.arrival+t, doubt); up && r.direction(a).angle(sun)-by-doubt < p.limit("sun/apart separation_deg")*degree {
		return "near the Sun"
	}
	if high := p.scene.spare(a, 1); high < 0 && (by >= 0 || high < -1) {
		return "a pair too near"
	}
	if r.FlipsItself && p.flipsAt(c, a, t, by) {
		return "it flips by itself"
	}
	return ""
}

// flipsAt tells whether a mount that flips by itself does so: its counters west, past the hour angle of its flip, that they had not passed
// before.
func (p *play) flipsAt(c *course, a Axes, t, by float64) bool {
	counters := a.sub(c.lacks)
	if p.r.side(counters) != West {
		return by > 0 && math.Abs(wrap(counters[1])) < 3*degree
	}
	hour, _, _ := p.r.unideal(counters)
	began := wrap(hour - t*siderealRate)
	if by > 0 { // its clock or its pose may be off
		return hour > p.r.FlipAt-0.6*degree-by-3*p.places[p.from].Sigma[0]
	}
	return began < p.r.FlipAt && hour > p.r.FlipAt+0.1*degree && hour < math.Pi/2
}

// untilContact takes in how long after the stop of the rig its first contact comes, within a day.
func (p *play) untilContact(c *course, points int) {
	f, least := p.answer["asker/fallback"], p.limit("asker/fallback unstopped_spare_s")
	stop, latest := p.stops(c)
	last, told := c.start, false
	step := day / float64(points)
	if points > 200 && p.rng.IntN(4) == 0 {
		p.grazes(c, points, func(t float64, at Axes) { p.took("asker/fallback", t-latest-least, at, c.arrival+t, true) })
	}
	for i := range points {
		t := (float64(i) + p.rng.Float64()) * step
		if i == 0 {
			t = 0
		}
		at := c.at(t, last)
		if p.tooFast(c, t, last, at, step) {
			f.Wide = min(f.Wide, t-latest-least)
			return
		}
		if p.byBelief(c, at) {
			f.Wide = min(f.Wide, t-latest-least)
		}
		last = at
		if p.scene.touches(at, 0.02) {
			p.took("asker/fallback", t-stop-least, at, c.arrival+t, false)
			return
		}
		wide := at.add(p.outward().times(c.astray(at)))
		if !told && (p.r.FlipsItself || p.scene.touches(wide, 0.5)) {
			told = true
			p.took("asker/fallback", t-latest-least, wide, c.arrival+t, true)
		}
	}
}

// grazes looks for contacts that only just are, in some part of all that a proof may add: where parts come nearest in a day.
func (p *play) grazes(c *course, points int, found func(t float64, at Axes)) {
	type seen struct{ t, gap float64 }
	step, last, all := day/float64(points), c.start, []seen(nil)
	for i := range points {
		t := float64(i) * step
		at := c.at(t, last)
		if p.tooFast(c, t, last, at, step) {
			break
		}
		last, all = at, append(all, seen{t, p.scene.least(at, 200)})
	}
	slices.SortStableFunc(all, func(a, b seen) int { return compare(a.gap, b.gap) })
	for _, from := range all[:min(len(all), 8)] {
		pose := func(at *place) (float64, Axes) {
			t := max(0, from.t+(at.one-0.5)*4*step)
			a := c.at(t, last)
			return t, a.add(at.off.times(c.astray(a)))
		}
		at := descend(place{one: 0.5}, false, true, func(at *place) float64 {
			_, a := pose(at)
			return p.scene.least(a, 200)
		})
		if t, a := pose(&at); p.scene.least(a, 200) < 0.5 {
			found(t, a)
		}
	}
}

// stops is when what is declared stops a rig whose asker died, seconds from arrival, two days where nothing does: of this play, and the
// latest that belief leaves open.
func (p *play) stops(c *course) (this, latest float64) {
	s, limit := p.r.Stop, p.r.Stop.Limit
	seen := s.Seen
	if p.q.State.Limit != nil {
		limit, seen = *p.q.State.Limit, true
	}
	switch {
	case s.Kind == "power relay":
		return p.q.Follow + s.After, p.q.Follow + s.After
	case s.Kind != "mount limit" || !seen || !p.believes:
		return 2 * day, 2 * day
	}
	ahead := p.beliefFrom(p.places[p.from].Axes).sub(p.places[p.from].Axes)
	arrived := c.start.sub(p.beside)
	latest = max(p.limitActs(c, limit, Axes{}, arrived), p.limitActs(c, limit, ahead, arrived))
	if p.end.intended {
		ahead = Axes{}
	}
	began := p.start.sub(p.wild) // one that is crossed on the way acts too, but need not be counted on
	if p.r.equatorial() {
		began = arrived // that has only ever been seen to act on an axis that grows
	}
	return p.limitActs(c, limit, ahead, began), latest
}

// limitActs is when belief, so far ahead of the pose that the counters make, reaches a limit in the mount that it is not beyond at a start, with what
// syncs may still take from it.
func (p *play) limitActs(c *course, limit float64, ahead, start Axes) float64 {
	axis, later := p.r.Stop.Axis, p.limit("sync/sum axis_deg")*degree
	began := start.add(ahead)[axis]
	last := c.start
	for t := 0.0; t < day; t += 120 {
		at := c.at(t, last)
		last = at
		b := at.sub(p.beside).add(ahead)[axis]
		if began <= limit && b > limit+later || began > limit && b < limit-later {
			return t
		}
	}
	return 2 * day
}
