package reach

import (
	"math"

	"keepclear.example/keepclear/service/internal/rig"
)

// This file narrows a cell down to the instant at which the motion breaks what it is to keep, where it goes along a line or a curve. Halving
// would take a look for each binary digit of the instant. But the plane that was best for a pair tells, along the way, about when its spare is used up:
// what the plane proves kept until then is left behind, what comes after a break that was seen is cut off, and the next look is taken where the
// two all but meet, at the corner of the spread that is worst. A plane bound misses by the square of what lies between, and so does
// the next instant: Newton's method, from the safe side.

// corner is an edge of a cell for each axis: -1 the lower, 1 the higher, 0 neither: its middle.
type corner [2]int8

// at returns the pose of a corner of a cell.
func (k corner) at(box rect) rig.Axes {
	out := box.middle()
	switch k[0] {
	case -1:
		out.A1 = box.low.A1
	case 1:
		out.A1 = box.high.A1
	}
	switch k[1] {
	case -1:
		out.A2 = box.low.A2
	case 1:
		out.A2 = box.high.A2
	}
	return out
}

// nearly is how far into what is left of a cell it is next looked at, as a share. Choice: by measurement.
const nearly = 1.0 / 8

// ahead returns the mark from which a cell is looked at: near its first, but no nearer than an instant is wanted.
func (s *search) ahead(c *cell) float64 {
	l := &s.way.legs[c.leg]
	fine := l.mark(l.time(c.first, l.from)-l.start+0.9*s.resolution()) - c.first
	return c.first + min(max(nearly*(c.last-c.first), fine), c.last-c.first)
}

// narrow works on a cell of a line or a curve: it leaves behind what the planes prove kept, and looks again at the rest; where that is
// more than half it is split. False where it is too small for that.
func (s *search) narrow(c *cell) bool {
	was := c.last - c.first
	if s.advance(c) {
		return true
	}
	if c.last-c.first >= was/2 { // a stretch of no length too: from its one corner it would be looked at for ever
		return s.splitStretch(c)
	}
	s.offer(*c, s.open[c.at:c.at+c.n])
	return true
}

// mostAdvances is how often the instant is reckoned anew from one plane, at most until a tenth of what was spare is left. Choice: by measurement.
const mostAdvances = 3

// advance moves a cell's last mark back to the first break seen, and its first as far as the planes last seen prove its pairs kept; it tells
// whether nothing is left.
func (s *search) advance(c *cell) bool {
	low := c.low
	if s.breaks(c) && c.last > s.best.mark {
		c.last = s.best.mark
		if c.first >= c.last {
			return true
		}
		if low, _ = s.over(c, c.last); low >= 0 {
			s.settled = min(s.settled, low)
			return true
		}
	}
	spare, pair := s.over(c, c.first)
	if pair < 0 {
		return false
	}
	to, much := c.last, spare
	for range mostAdvances {
		next := c.first + (to-c.first)*spare/(spare-low)
		if !(spare > much/10 && next > c.first) {
			break
		}
		if then, _ := s.over(c, next); then >= 0 {
			s.settled = min(s.settled, then)
			c.first, spare = next, then
		} else {
			to, low = next, then
		}
	}
	c.corner = s.worst(c, pair)
	return false
}

// breaks tells whether the first break seen is on the leg of a cell.
func (s *search) breaks(c *cell) bool { return s.best.found && s.best.leg == c.leg }

// swept returns what is swept of a cell from its first mark to another.
func (s *search) swept(c *cell, last float64) rect {
	l := &s.way.legs[c.leg]
	return c.box.meet(hull(l.point(c.first), l.point(last), s.spread.Add(l.fuzz())))
}

// over bounds the spare of a cell's unsettled pairs from its first mark to another by the planes last seen, and tells which pair has the least; -1
// where nothing is known or nothing is there.
func (s *search) over(c *cell, last float64) (low float64, pair int32) {
	box := s.swept(c, last)
	if !(box.low.A1 <= box.high.A1 && box.low.A2 <= box.high.A2) {
		return math.Inf(1), -1
	}
	v := sight{cell: &cell{box: box, class: c.class}}
	low, pair = math.Inf(1), -1
	for _, i := range s.open[c.at : c.at+c.n] {
		n := s.towards[i]
		if n == (point{}) {
			return math.Inf(-1), -1
		}
		spare := s.plane(&v, &s.p.pairs[i], n) - s.need[i] - s.p.allowance
		if math.IsNaN(spare) {
			return math.Inf(-1), -1
		}
		if spare < low {
			low, pair = spare, i
		}
	}
	return low, pair
}

// worst tells at which corner of what a cell has from its first mark on a pair is nearest, by the plane last seen.
func (s *search) worst(c *cell, pair int32) corner {
	v := sight{cell: &cell{box: s.swept(c, c.last), class: c.class}}
	if !s.arcs(&v) {
		return corner{}
	}
	return s.p.worst(&s.p.pairs[pair], s.towards[pair], &v.arc1, &v.arc2)
}

// splitStretch cuts a cell in two: at the end of which a break was seen, in the middle of its stretch, where that is wider than the spread. Else, as
// any other, across its longer side: what is swept at one time is mostly what is swept a little later.
func (s *search) splitStretch(c *cell) bool {
	if s.breaks(c) && c.last == s.best.mark {
		l := &s.way.legs[c.leg]
		goes := l.point(c.last).Sub(l.point(c.first)).Abs()
		if side := c.box.high.Sub(c.box.low).Sub(goes); goes.Max() >= side.Max() && s.halveStretch(c) {
			return true
		}
	} else {
		c.corner = corner{}
	}
	return s.split(c) || s.halveStretch(c)
}

// halveStretch cuts a cell in the middle of its stretch; the later half is only looked at when its turn comes.
func (s *search) halveStretch(c *cell) bool {
	m := c.first + (c.last-c.first)/2
	if m <= c.first || m >= c.last {
		return false
	}
	a, b := *c, *c
	a.last, b.first = m, m
	s.offer(a, s.open[c.at:c.at+c.n])
	b.fresh, b.key = true, s.way.legs[c.leg].earliest(&b, s.spread)
	s.queue.push(b)
	return true
}
