package reach

import (
	"math"
	"sync"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// fieldCells bounds the work of one Lowest. When it is used up the bound found so far stands: it is still a bound, only looser.
const fieldCells = 20_000

// Lowest bounds from below how low the tube comes over every pose of the way and its spread, counted from the plane at right angles
// to up: with up the vertical it is the altitude, and 90° plus the Lowest against a direction's opposite is the least angle from
// that direction. The bound is at most the truth and, unless the work runs out, its sine is no more than tolerance (radians) below
// the truth's. The zero Way and one that is no number give the lowest there is, -90°.
//
// Derived: let f(a) = T(a)·up for the tube's direction T. Turning axis i turns T about its line, so every second derivative of f is a
// product of unit vectors and at most 1 in size. Over a rectangle with middle m and half-widths α, β Taylor's theorem gives
// f ≥ f(m) - |f₁(m)|·α - |f₂(m)|·β - (α + β)²/2. Branch and bound: the cell with the smallest bound is split until a pose seen is within
// tolerance of it. What is returned is that smallest bound, so the cells alone make it a true lower bound: together they hold every pose
// of the set, each bound is below f everywhere in its cell, and poses seen only say when to stop.
//
// A stretch of a leg is no rectangle: its poses lie within e of the chord between its ends, e being the spread and what the curve bends
// away from its chord (a·t²/8 of an axis that speeds up or slows down by a for a time t: the error of a chord, by the mean value theorem).
// With the chord's half d, signed, f ≥ f(m) - |f₁(m)·d₁ + f₂(m)·d₂| - |f₁(m)|·e₁ - |f₂(m)|·e₂ - (|d₁| + |d₂| + e₁ + e₂)²/2: where f is
// least along the leg the first term is none.
//
// That stop is tight: poses are seen at the downhill corner of each cell (where f falls by both of its slopes at the middle), and a stop
// comes at three quarters of the tolerance. The corner of a rectangle of the set is in the set, and so is, of a stretch of a leg, the
// pose half way with the spread added downhill. Cells of a stretch thinner than a quarter of the tolerance are split as rectangles, whose
// corners may be outside the set by that much; both first derivatives are products of unit vectors, so f there is lower than at a pose of
// the set by no more than that quarter.
func (w Way) Lowest(chain *rig.Chain, up frame.Vec[frame.Rig], spread rig.Axes, tolerance unit.Angle) unit.Angle {
	if !w.finite() || !spread.Finite() || !up.Finite() {
		return -unit.HalfTurn / 2
	}
	f := fields.Get().(*field)
	defer fields.Put(f)
	*f = field{chain: chain, up: up, spread: spread, tolerance: float64(tolerance), seen: math.Inf(1), cells: f.cells[:0]}
	for i := range w.legs {
		l := &w.legs[i]
		f.look(l, 0, l.lastMark(), hull(l.from, l.to, spread))
	}
	for n := 1; n < fieldCells && f.cells[0].bound < f.seen-0.75*f.tolerance; n++ {
		f.split(f.pop())
	}
	return unit.Angle(math.Asin(max(-1, min(1, f.cells[0].bound))))
}

// fields are used again: the cells of one make most of its work.
var fields = sync.Pool{New: func() any { return new(field) }}

// field is one search. Its cells are a binary heap, smallest bound first.
type field struct {
	chain     *rig.Chain
	up        frame.Vec[frame.Rig]
	spread    rig.Axes
	tolerance float64
	seen      float64 // smallest f at a pose of the set, or within a quarter of the tolerance of one; it bounds nothing
	cells     []fieldCell
}

// fieldCell is a rectangle of axis space; with a leg, the stretch of it between two marks, widened by the spread.
type fieldCell struct {
	leg         *leg // nil: only the rectangle
	first, last float64
	box         rect
	bound       float64
}

// roundingOfField is taken off every bound: fewer than 100 operations on numbers of size 1, each rounded by 2^-53. Derived.
const roundingOfField = 1e-13

// look bounds one cell and keeps it.
func (f *field) look(l *leg, first, last float64, box rect) {
	m := box.middle()
	v, g1, g2 := f.at(m)
	h := box.high.Sub(box.low).Scale(0.5)
	sum := float64(h.A1 + h.A2)
	bound := v - math.Abs(g1)*float64(h.A1) - math.Abs(g2)*float64(h.A2) - sum*sum/2 - roundingOfField
	if l != nil && l.kind == rectLeg {
		l = nil
	}
	if l != nil {
		bound = max(bound, f.alongChord(l, first, last))
	}
	from, by := m, h // a pose of the set, and how far from it the set surely goes each way
	if l != nil {
		from, by = l.point(first+(last-first)/2), f.spread
		v, _, _ = f.at(from)
	}
	downhill, _, _ := f.at(rig.Axes{A1: from.A1 - toward(g1, by.A1), A2: from.A2 - toward(g2, by.A2)})
	f.seen = min(f.seen, v, downhill)
	f.push(fieldCell{l, first, last, box, bound})
}

// alongChord bounds f over a stretch of a leg that is no rectangle.
func (f *field) alongChord(l *leg, first, last float64) float64 {
	a, b := l.point(first), l.point(last)
	d, e := b.Sub(a).Scale(0.5), f.spread.Add(l.bends(last-first))
	if !e.Finite() {
		return math.Inf(-1)
	}
	v, g1, g2 := f.at(a.Add(d))
	sum := float64(d.A1.Abs() + d.A2.Abs() + e.A1 + e.A2)
	return v - math.Abs(g1*float64(d.A1)+g2*float64(d.A2)) - math.Abs(g1)*float64(e.A1) - math.Abs(g2)*float64(e.A2) - sum*sum/2 - roundingOfField
}

// toward gives a size the sign of a slope.
func toward(slope float64, by unit.Angle) unit.Angle {
	return unit.Angle(math.Copysign(float64(by), slope))
}

// at returns f and its two derivatives at a pose.
func (f *field) at(a rig.Axes) (v, g1, g2 float64) {
	one := frame.About(f.chain.Dir1, a.A1)
	axis2 := one.Apply(f.chain.Dir2)
	tube := one.Apply(frame.About(f.chain.Dir2, a.A2).Apply(f.chain.Tube))
	return tube.Dot(f.up), f.chain.Dir1.Cross(tube).Dot(f.up), axis2.Cross(tube).Dot(f.up)
}

// split halves a cell: along its leg while the leg is long in it, then by the longer side of the rectangle.
func (f *field) split(c fieldCell) {
	if c.leg != nil {
		a, b := c.leg.point(c.first), c.leg.point(c.last)
		if d := b.Sub(a).Abs(); float64(d.A1+d.A2) > f.tolerance/4 {
			m := c.first + (c.last-c.first)/2
			p := c.leg.point(m)
			f.look(c.leg, c.first, m, hull(a, p, f.spread))
			f.look(c.leg, m, c.last, hull(p, b, f.spread))
			return
		}
	}
	lower, upper := c.box, c.box
	m := c.box.middle()
	if d := c.box.high.Sub(c.box.low); d.A1 >= d.A2 {
		lower.high.A1, upper.low.A1 = m.A1, m.A1
	} else {
		lower.high.A2, upper.low.A2 = m.A2, m.A2
	}
	f.look(nil, 0, 0, lower)
	f.look(nil, 0, 0, upper)
}

func (f *field) push(c fieldCell) {
	f.cells = append(f.cells, c)
	i := len(f.cells) - 1
	for i > 0 {
		p := (i - 1) / 2
		if f.cells[p].bound <= f.cells[i].bound {
			return
		}
		f.cells[p], f.cells[i] = f.cells[i], f.cells[p]
		i = p
	}
}

func (f *field) pop() fieldCell {
	out := f.cells[0]
	n := len(f.cells) - 1
	f.cells[0] = f.cells[n]
	f.cells = f.cells[:n]
	for i := 0; ; {
		c := 2*i + 1
		if c >= n {
			return out
		}
		if c+1 < n && f.cells[c+1].bound < f.cells[c].bound {
			c++
		}
		if f.cells[i].bound <= f.cells[c].bound {
			return out
		}
		f.cells[i], f.cells[c] = f.cells[c], f.cells[i]
		i = c
	}
}
