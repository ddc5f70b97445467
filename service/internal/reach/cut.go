package reach

import (
	"math"
	"slices"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// mostPieces bounds the cells of the grid in the rectangle between a leg's ends: as many as a turn of both axes has. Of a larger one nothing
// is looked up. Choice.
const mostPieces = gridCells * gridCells

// cut cuts the way into pieces no longer than a cell of the grid and queues those of them that are not settled by what is known there.
// Where the least spare is wanted, the piece with the least spare known is first looked at, at the pair that has it: the others have only
// to be as good.
func (s *search) cut() {
	s.pieces, s.uncut = s.pieces[:0], s.uncut[:0]
	for i := range s.way.legs {
		s.cutLeg(int32(i))
	}
	slices.Reverse(s.uncut)
	if s.aim == tight {
		s.probe()
	}
	for i := range s.pieces {
		s.enqueue(&s.pieces[i])
	}
}

// enqueue queues a piece that is not settled by what is known of it.
func (s *search) enqueue(c *cell) {
	if c.low >= s.enough() {
		s.settled = min(s.settled, c.low)
		return
	}
	c.key = c.low
	if s.aim == soonest {
		c.key = s.way.legs[c.leg].earliest(c, s.spread)
	}
	s.queue.push(*c)
}

func (s *search) cutLeg(i int32) {
	l := &s.way.legs[i]
	d := l.to.Sub(l.from).Abs().Add(s.spread)
	across, along := math.Ceil(float64(d.A1/cellStep))+2, math.Ceil(float64(d.A2/cellStep))+2
	whole := hull(l.from, l.to, s.spread.Add(l.fuzz()))
	switch {
	case !(across*along < mostPieces):
		s.known(cell{box: whole, last: l.lastMark(), leg: i}, true)
	case l.kind == rectLeg:
		s.cutBox(i, whole)
	default:
		s.cutStretch(i, 0, l.lastMark())
	}
}

// cutStretch halves a stretch of a leg until neither axis moves by more than a cell. Where the soonest instant is wanted, what comes after
// the first piece that is queued waits until all before it is settled.
func (s *search) cutStretch(i int32, first, last float64) {
	l := &s.way.legs[i]
	if l.time(last, l.to) < s.from {
		return // kept, as was proven before
	}
	if s.aim == soonest && len(s.queue) > 0 && s.queue[0].key <= l.time(first, l.from) {
		s.uncut = append(s.uncut, stretch{i, first, last})
		return
	}
	from, to := l.point(first), l.point(last)
	if s.aim == soonest && s.clears(hull(from, to, s.spread.Add(l.fuzz()))) {
		return
	}
	if m := first + (last-first)/2; to.Sub(from).Abs().Max() > cellStep && m > first && m < last {
		s.cutStretch(i, first, m)
		s.cutStretch(i, m, last)
		return
	}
	if first = s.after(l, first); first > 0 {
		from = l.point(first)
	}
	s.known(cell{box: hull(from, to, s.spread.Add(l.fuzz())), first: first, last: last, leg: i}, false)
}

// mostAtOnce bounds the cells of the grid that are looked up of a stretch longer than a piece: most of a day's course is kept by far. Choice: by
// measurement.
const mostAtOnce = 20

// clears tells whether what is known of a rectangle keeps all pairs, of one that has few cells of the grid.
func (s *search) clears(box rect) bool {
	d := box.high.Sub(box.low)
	if !(math.Ceil(float64(d.A1/cellStep))*math.Ceil(float64(d.A2/cellStep)) <= mostAtOnce) {
		return false
	}
	low := math.Inf(1)
	for k := range classes {
		if low = min(low, s.p.known.over(k, box, -s.beyond(k)).spare+s.beyond(k)); !(low >= 0) {
			return false
		}
	}
	s.settled = min(s.settled, low)
	return true
}

// after returns a mark, or that until which a leg of a line or a curve was proven kept before, whichever comes last.
func (s *search) after(l *leg, mark float64) float64 {
	if l.kind != rectLeg && l.time(mark, l.from) < s.from {
		return max(mark, l.mark(s.from-l.start))
	}
	return mark
}

// stretch is a piece of a line or a curve that is not cut yet.
type stretch struct {
	leg         int32
	first, last float64
}

// more cuts what the motion may reach before the first of the queue; false where nothing is left. What is left waits in order of time, the
// first at the end.
func (s *search) more() bool {
	for n := len(s.uncut) - 1; n >= 0; n = len(s.uncut) - 1 {
		next := s.uncut[n]
		l := &s.way.legs[next.leg]
		if at := l.time(next.first, l.from); len(s.queue) > 0 && s.queue[0].key <= at || s.best.found && s.best.time <= at {
			break
		}
		s.uncut = s.uncut[:n]
		s.cutStretch(next.leg, next.first, next.last)
		slices.Reverse(s.uncut[n:])
	}
	return len(s.queue) > 0
}

// cutBox cuts a rectangle along the lines of the grid. A strip may be empty where a line falls on an edge.
func (s *search) cutBox(i int32, whole rect) {
	rows, columns := strips(whole.low.A1, whole.high.A1), strips(whole.low.A2, whole.high.A2)
	for r := 1; r < len(rows); r++ {
		for c := 1; c < len(columns); c++ {
			box := rect{rig.Axes{A1: rows[r-1], A2: columns[c-1]}, rig.Axes{A1: rows[r], A2: columns[c]}}
			s.known(cell{box: box, last: 1, leg: i}, false)
		}
	}
}

// strips returns an interval's ends and the lines of the grid between them, ascending.
func strips(low, high unit.Angle) []unit.Angle {
	out := []unit.Angle{low}
	for n := int(math.Floor(float64(low / cellStep))); ; n++ {
		line := unit.Angle(n) * cellStep
		if line >= high {
			return append(out, high)
		}
		if line > low {
			out = append(out, line)
		}
	}
}

// known makes a piece for each class of pairs, with what is known of it; nothing of one that is too large to look up. What is enough goes by
// the others only where the least spare is wanted: else no list of them is kept.
func (s *search) known(c cell, tooLarge bool) {
	c.fresh = true
	for k := range classes {
		if len(s.p.of[k]) == 0 {
			continue
		}
		c.class, c.low, c.rest = k, math.Inf(-1), math.Inf(-1)
		if !tooLarge {
			l := s.p.known.over(k, c.box, math.Inf(-1))
			c.at, c.low, c.rest = l.pair, l.spare+s.beyond(k), l.rest+s.beyond(k)
		}
		if s.aim == tight {
			s.pieces = append(s.pieces, c)
		} else {
			s.enqueue(&c)
		}
	}
}

// beyond is by how much more than what the grid knows the spare of the goal is at least.
func (s *search) beyond(k class) float64 {
	if s.share == 0 { // of the gap, whatever is required
		return s.p.leastRequired[k] - s.extra
	}
	return -s.extra
}

// probe looks at one pair of the piece with the least spare known: the one that has it, or, where the scene is another than the fullest,
// the one whose balls are nearest each other.
func (s *search) probe() {
	if len(s.pieces) == 0 {
		return
	}
	c := &s.pieces[0]
	for i := range s.pieces {
		if s.pieces[i].low < c.low {
			c = &s.pieces[i]
		}
	}
	s.stamp++
	v := s.sight(c)
	at := c.at
	if !s.p.fullest || at < 0 || math.IsInf(c.low, -1) { // which pair is nearest is not told
		least := math.Inf(1)
		for _, i := range s.p.of[c.class] {
			if low := s.ballBound(&v, &s.p.pairs[i], 0) - s.need[i]; low < least {
				at, least = i, low
			}
		}
	}
	s.distance(&v, at, 0)
}
