package reach

import (
	"math"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// This file works out one cell of a map.

// boxOf returns the rectangle of a cell, widened by far more than the rounding of an angle that is reduced by whole turns.
func boxOf(at [2]int, side int) rect {
	low := rig.Axes{A1: unit.Angle(at[0]) * fineStep, A2: unit.Angle(at[1]) * fineStep}
	high := rig.Axes{A1: unit.Angle(at[0]+side) * fineStep, A2: unit.Angle(at[1]+side) * fineStep}
	by := rig.Axes{A1: gridFuzz, A2: gridFuzz}
	return rect{low.Sub(by), high.Add(by)}
}

// cut makes the parts of a cell that is neither clear nor barred, if it has none yet.
func (m *Map) cut(k class, n int32, at [2]int, size int) {
	c := &m.charts[k]
	if c.nodes[n].kids != 0 {
		return
	}
	pairs, whole := c.open[n], c.nodes[n]
	delete(c.open, n)
	kids, half := int32(len(c.nodes)), 1<<(size-1)
	for i, d := range parts(k.turns()) {
		c.nodes = append(c.nodes, unseen)
		this := kids + int32(i)
		box := boxOf([2]int{reduced(at[0]) + d[0]*half, reduced(at[1]) + d[1]*half}, half)
		if size == 1 { // it is cut no further
			c.nodes[this] = m.finest(k, box, pairs, whole)
			continue
		}
		var open []int32
		c.nodes[this], open = m.settle(k, box, pairs, whole)
		c.keep(this, open)
	}
	c.nodes[n].kids = kids
}

// keep notes the pairs that are not settled over a cell that may be cut.
func (c *chart) keep(n int32, open []int32) {
	if len(open) > 0 {
		c.open[n] = open
	}
}

// mostSlices is how often one of the finest cells is halved for pairs that one axis alone moves: there are but 1440 of them on an axis, and where such
// a pair's gap hardly changes and lies near what is required, all of a wide band would stay open. Choice: to 1/64°; a tenth of a millimetre at
// 0.5 m.
const mostSlices = 4

// finest works out one of the finest cells.
func (m *Map) finest(k class, box rect, pairs []int32, whole node) node {
	out, open := m.settle(k, box, pairs, whole)
	if turns1, turns2 := k.turns(); len(open) == 0 || turns1 && turns2 {
		return out
	}
	return m.slice(k, box, open, out, mostSlices)
}

// slice cuts a cell of pairs that one axis alone moves, which are not settled over it, along that axis, and puts what is proven of its parts
// together.
func (m *Map) slice(k class, box rect, pairs []int32, whole node, times int) node {
	axis, ends := int8(0), [2]rect{box, box}
	if turns1, _ := k.turns(); !turns1 {
		axis = 1
	}
	if times == 0 || !halve(&ends[0], &ends[1], axis) {
		return whole
	}
	var halves [2]node
	for i, end := range ends {
		n, open := m.settle(k, end, pairs, whole)
		if len(open) > 0 {
			n = m.slice(k, end, open, n, times-1)
		}
		if n.standing() == Unknown || i == 1 && n.standing() != halves[0].standing() {
			return whole
		}
		halves[i] = n
	}
	a, b := halves[0], halves[1]
	if b.low < a.low {
		a.low, a.pair = b.low, b.pair
	}
	a.high, a.rest = max(a.high, b.high), min(a.rest, b.rest)
	return a
}

func reduced(i int) int { return ((i % fineCells) + fineCells) % fineCells }

// settle works out a cell from the pairs that are not settled over the cell that holds it, and returns those that are not over this one.
func (m *Map) settle(k class, box rect, pairs []int32, whole node) (out node, open []int32) {
	p := m.p
	at := box.middle()
	s := p.search(Hold(at), rig.Axes{}, 1)
	defer s.release()
	s.goal(m.share, m.extra)
	s.aim, s.atMost = whether, math.Inf(1)
	s.stamp++
	c := cell{box: box, class: k}
	v := s.sightFrom(&c, at)
	out = node{low: whole.rest, high: float32(math.Inf(1)), rest: whole.rest, pair: whole.pair}
	for _, i := range pairs {
		q := &p.pairs[i]
		r1, r2 := s.reaches(&v, q)
		low := below(s.bound(&v, i, q, r1*v.chord1+r2*v.chord2))
		if s.atMost < 0 {
			return node{low: low, high: above(s.atMost), pair: i}, nil
		}
		if !(low >= out.low) { // one that is no number is below -Inf, and is that
			out.low, out.pair = low, i
		}
		if low >= 0 {
			out.rest = min(out.rest, low)
		} else {
			open = append(open, i)
		}
	}
	return out, open
}

// above returns the nearest number of that size that is no less.
func above(v float64) float32 { return -below(-v) }
