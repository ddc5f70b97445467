package slow

import (
	"fmt"
	"math"
)

// Which of the ends a play goes to, and by which way.

// choose picks one of the ends, as it is on arrival; of one play in three of many, as it is on the latest arrival of all: a proof may judge them all
// then, when another turn may be one.
func (p *play) choose(n int, wide bool) {
	all := p.endsFrom(p.from, p.wait, p.wait)
	late := wide && p.bySky() && n/len(all)%6 > 3
	if late {
		all = p.endsFrom(p.from, p.wait, p.wait+p.latestArrival())
	}
	for range 3 { // an end later may be one more
		p.take(all, n, late)
		if !p.bySky() || late {
			break
		}
		all = p.endsFrom(p.from, p.wait, p.wait+p.way.seconds())
	}
	if p.bySky() {
		p.more = p.more.add(p.arriving(p.limit("permit start_within_s"))).add(p.arriving(unsure(p.q.At)))
	}
	if !p.bySky() && p.q.State.Sample.Doing == "tracking" { // a proof may count the sky's turning where the motion ends
		p.more = p.more.add(p.arriving(p.limit("permit start_within_s")))
	}
	if p.q.Kind == "track" {
		p.way = motion{[]leg{{p.start, p.start, "straight", p.r.Rate, p.r.Accel, nil}}, []float64{0}}
	}
	p.what = fmt.Sprintf("from %.3f° %.3f° (off by %.3f° %.3f°, begun after %.1f s) to %.3f° %.3f°, %s", p.start[0]/degree, p.start[1]/degree,
		p.wild[0]/degree, p.wild[1]/degree, p.wait, p.end.axes[0]/degree, p.end.axes[1]/degree, p.end.because)
}

// bySky tells whether the sky turns the ends of the motion.
func (j *judging) bySky() bool { return j.q.Sky != nil || j.q.Kind == "flip" }

// take makes the way to one of some ends.
func (p *play) take(all []end, n int, late bool) {
	p.end = all[n%len(all)]
	off := Axes{}
	if p.end.loose && !(p.end.intended && p.q.Kind == "slew" && p.rng.IntN(2) == 0) {
		off = p.wild
	}
	p.end.axes = p.end.axes.add(off)
	if p.beside = p.wild; p.bySky() {
		p.beside = off
	}
	if p.byAsMuch() || p.q.Kind == "track" {
		p.end.axes = p.end.axes.add(p.shift)
	}
	stopsOff := p.end.shift.add(off)
	flips := p.flips(off)
	p.end.maybe = p.end.maybe || late
	if len(p.r.FlipVia) > 0 && p.nearBorder(off) {
		flips, p.end.maybe = n/len(all)%2 == 0, true
	}
	p.way = p.motion(p.start, &p.end, stopsOff, flips)
}

// latestArrival is the latest at which one of the ends is arrived at, seconds from the begin.
func (j *judging) latestArrival() float64 {
	if j.latest > 0 {
		return j.latest
	}
	for range 2 { // an end later may be farther
		for _, e := range j.ends(0, j.latest) {
			m := j.motion(j.places[e.from].Axes, &e, e.shift, true)
			j.latest = max(j.latest, m.seconds())
		}
	}
	return j.latest
}

// lateness adds what an alt-azimuth's axes may turn with the sky between its own arrival and the latest of all ends: a proof may judge them
// all at one instant.
func (j *judging) lateness(p *play) {
	if p.q.Sky == nil && p.q.Kind != "flip" || p.r.equatorial() {
		return
	}
	late := 0.0
	for _, e := range p.ends(p.wait, p.wait) {
		m := p.motion(p.places[e.from].Axes, &e, e.shift, true)
		late = max(late, math.Abs(m.seconds()-p.way.seconds()))
	}
	s := p.limit("permit start_within_s")
	p.more = p.more.add(p.arriving(s).times(Axes{late / s, late / s}))
}

// flips tells whether the mount takes the motion for a change of side.
func (p *play) flips(off Axes) bool {
	from := p.r.side(p.places[p.from].Axes)
	if p.believes && p.rng.IntN(2) == 0 {
		from = p.r.side(p.belief)
	}
	return p.r.side(p.end.axes.sub(off).sub(p.end.shift)) != from
}

// nearBorder tells whether the motion begins or ends, truly or by belief, so near the border of two sides that the mount may take it either way.
func (p *play) nearBorder(off Axes) bool {
	c := p.places[p.from]
	own := p.end.axes.sub(off).sub(p.end.shift)
	for _, a := range []Axes{c.Axes, p.start, p.end.axes, own, p.belief, p.beliefFrom(c.Axes)} {
		border := math.Abs(math.Abs(wrap(a[1])) - math.Pi/2)
		if p.r.Kind == German {
			border = min(math.Abs(wrap(a[1])), math.Pi-math.Abs(wrap(a[1])))
		}
		if border < 4*degree+3*c.Sigma[1]+p.more[1] {
			return true
		}
	}
	return p.r.side(own) != p.r.side(p.end.axes) || p.believes && p.r.side(p.belief) != p.r.side(c.Axes)
}
