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
// A stretch of a leg is no rectangle: its poses lie within e of the chord between its ends, e being what is added of the spread and what the
// curve bends away from its chord (a·t²/8 of an axis that speeds up or slows down by a for a time t: the error of a chord, by the mean value
// theorem). With the chord's half d, signed, f ≥ f(m) - |f₁(m)·d₁ + f₂(m)·d₂| - |f₁(m)|·e₁ - |f₂(m)|·e₂ - (|d₁| + |d₂| + e₁ + e₂)²/2: where
// f is least along the leg the first term is none. What is added of the spread is a rectangle of the cell's own, so that a cell is split along
// the leg or across the spread, whichever is longer in it: what falls steadily across a wide spread is then known from a few cells.
//
// That stop is tight: poses are seen at the downhill corner of each cell (where f falls by both of its slopes at the middle), and a stop
// comes at three quarters of the tolerance. The corner of a rectangle of the set is in the set, and so is, of a stretch of a leg, the
// pose half way with the corner of what is added downhill.
func (w Way) Lowest(chain *rig.Chain, up frame.Vec[frame.Rig], spread rig.Axes, tolerance unit.Angle) unit.Angle {
	if !w.finite() || !spread.Finite() || !up.Finite() {
		return -unit.HalfTurn / 2
	}
	f := fields.Get().(*field)
	defer fields.Put(f)
	*f = field{by: shares(chain, up), tolerance: float64(tolerance), seen: math.Inf(1), cells: f.cells[:0]}
	return f.lowest(w, spread)
}

// lowest is the work of Lowest.
func (f *field) lowest(w Way, spread rig.Axes) unit.Angle {
	for i := range w.legs {
		l := &w.legs[i]
		if l.kind == rectLeg {
			f.look(fieldCell{box: hull(l.from, l.to, spread)})
			continue
		}
		f.look(fieldCell{leg: l, last: l.lastMark(), box: hull(rig.Axes{}, rig.Axes{}, spread)})
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
	by        [3][3]float64 // f by (1, cos a₁, sin a₁) and (1, cos a₂, sin a₂)
	tolerance float64
	seen      float64 // smallest f at a pose of the set; it bounds nothing
	cells     []fieldCell
}

// fieldCell is a rectangle of axis space; with a leg, the stretch of it between two marks and a rectangle that is added to each of its poses.
type fieldCell struct {
	leg         *leg // nil: only the rectangle
	first, last float64
	box         rect
	bound       float64
}

// ends returns the poses at the ends of the stretch; none is zero.
func (c *fieldCell) ends() (a, b rig.Axes) {
	if c.leg == nil {
		return rig.Axes{}, rig.Axes{}
	}
	return c.leg.point(c.first), c.leg.point(c.last)
}

// half returns the mark half way.
func (c *fieldCell) half() float64 { return c.first + (c.last-c.first)/2 }

// roundingOfField is taken off every bound: fewer than 100 operations on numbers of size 1, each rounded by 2^-53. Derived.
const roundingOfField = 1e-13

// look bounds one cell and keeps it.
func (f *field) look(c fieldCell) {
	a, b := c.ends()
	d, m, h := b.Sub(a).Scale(0.5), c.box.middle(), c.box.high.Sub(c.box.low).Scale(0.5)
	v, g1, g2 := f.at(a.Add(d).Add(m))
	all := d.Abs().Add(h)
	sum := float64(all.A1 + all.A2)
	c.bound = v - math.Abs(g1)*float64(all.A1) - math.Abs(g2)*float64(all.A2) - sum*sum/2 - roundingOfField
	from := m // of the set, and h from it the set surely goes each way
	if c.leg == nil {
		f.seen = min(f.seen, v)
	} else {
		from = c.leg.point(c.half()).Add(m)
		if e := h.Add(c.leg.bends(c.last - c.first)); e.Finite() {
			sum := float64(d.A1.Abs() + d.A2.Abs() + e.A1 + e.A2)
			c.bound = max(c.bound, v-math.Abs(g1*float64(d.A1)+g2*float64(d.A2))-math.Abs(g1)*float64(e.A1)-math.Abs(g2)*float64(e.A2)-sum*sum/2-roundingOfField)
		}
	}
	downhill, _, _ := f.at(rig.Axes{A1: from.A1 - toward(g1, h.A1), A2: from.A2 - toward(g2, h.A2)})
	f.seen = min(f.seen, downhill)
	f.push(c)
}

// toward gives a size the sign of a slope.
func toward(slope float64, by unit.Angle) unit.Angle {
	return unit.Angle(math.Copysign(float64(by), slope))
}

// shares returns what f is made of. Derived: turning by a about a unit axis k takes v to (k·v)k + cos a·(v - (k·v)k) + sin a·(k × v)
// (Rodrigues), and T(a)·up is the tube turned about axis 2 by a₂, times up turned about axis 1 by -a₁.
func shares(chain *rig.Chain, up frame.Vec[frame.Rig]) (out [3][3]float64) {
	parts := func(k, v frame.Vec[frame.Rig], sign float64) [3]frame.Vec[frame.Rig] {
		along := k.Scale(k.Dot(v))
		return [3]frame.Vec[frame.Rig]{along, v.Sub(along), k.Cross(v).Scale(sign)}
	}
	ups, tubes := parts(chain.Dir1, up, -1), parts(chain.Dir2, chain.Tube, 1)
	for i, u := range ups {
		for k, t := range tubes {
			out[i][k] = u.Dot(t)
		}
	}
	return out
}

// at returns f and its two derivatives at a pose.
func (f *field) at(a rig.Axes) (v, g1, g2 float64) {
	s1, c1 := math.Sincos(float64(a.A1))
	s2, c2 := math.Sincos(float64(a.A2))
	var w, d [3]float64
	for k := range w {
		w[k] = f.by[0][k] + c1*f.by[1][k] + s1*f.by[2][k]
		d[k] = c1*f.by[2][k] - s1*f.by[1][k]
	}
	return w[0] + c2*w[1] + s2*w[2], d[0] + c2*d[1] + s2*d[2], c2*w[2] - s2*w[1]
}

// split halves a cell: along its leg while the leg is longer in it than the rectangle, else by the longer side of that.
func (f *field) split(c fieldCell) {
	a, b := c.ends()
	lower, upper, side := c, c, c.box.high.Sub(c.box.low)
	m := c.box.middle()
	switch d := b.Sub(a).Abs(); {
	case d.A1+d.A2 > side.Max():
		lower.last, upper.first = c.half(), c.half()
	case side.A1 >= side.A2:
		lower.box.high.A1, upper.box.low.A1 = m.A1, m.A1
	default:
		lower.box.high.A2, upper.box.low.A2 = m.A2, m.A2
	}
	f.look(lower)
	f.look(upper)
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
