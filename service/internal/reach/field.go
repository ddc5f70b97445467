package reach

import (
	"container/heap"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// fieldCells bounds the work of one Least. When it is used up the bound found so far stands: it is still a bound, only looser.
const fieldCells = 20_000

// Least bounds from below the least value that a field of angles takes over every pose of the way and its spread. The field may
// change by no more than the two axes turn together, as an altitude or the distance from a direction does. The bound is at most the
// truth and, unless the work runs out, no more than tolerance below it. The zero Way and one that is no number give the smallest
// angle there is.
//
// Derived: over a rectangle with half-widths α and β the field is at least its value at the middle less α + β.
// Branch and bound: the cell with the smallest bound is split until a pose of the set is within tolerance of it.
func (w Way) Least(spread rig.Axes, tolerance unit.Angle, value func(rig.Axes) unit.Angle) unit.Angle {
	if !w.finite() || !spread.Finite() {
		return -unit.Angle(1e9)
	}
	f := field{value: value, spread: spread, tolerance: tolerance}
	for i := range w.legs {
		l := &w.legs[i]
		f.push(l, 0, l.lastMark(), hull(l.from, l.to, spread))
	}
	for n := 0; n < fieldCells; n++ {
		c := heap.Pop(&f).(fieldCell)
		if c.bound >= f.seen-tolerance || n == fieldCells-1 {
			return c.bound
		}
		f.split(c)
	}
	return -unit.Angle(1e9) // not reached: the loop returns at its last turn
}

// field is one search; it is a heap of cells, smallest bound first.
type field struct {
	value     func(rig.Axes) unit.Angle
	spread    rig.Axes
	tolerance unit.Angle
	seen      unit.Angle // smallest value at a pose of the set, or within tolerance of one
	any       bool
	cells     []fieldCell
}

// fieldCell is a rectangle of axis space; with a leg, the stretch of it between two marks, widened by the spread.
type fieldCell struct {
	leg         *leg // nil: only the rectangle
	first, last float64
	box         rect
	bound       unit.Angle
}

func (f *field) push(l *leg, first, last float64, box rect) {
	middle := box.middle()
	v := f.value(middle)
	half := box.high.Sub(box.low).Scale(0.5)
	seen := v
	if l != nil && l.kind != rectLeg {
		seen = f.value(l.point(first + (last-first)/2))
	} else {
		l = nil
	}
	if !f.any || seen < f.seen {
		f.seen, f.any = seen, true
	}
	heap.Push(f, fieldCell{l, first, last, box, v - half.A1 - half.A2})
}

// split halves a cell: along its leg while the leg is long in it, then by the longer side of the rectangle.
func (f *field) split(c fieldCell) {
	if c.leg != nil {
		a, b := c.leg.point(c.first), c.leg.point(c.last)
		if d := b.Sub(a).Abs(); d.A1+d.A2 > f.tolerance/2 {
			m := c.first + (c.last-c.first)/2
			p := c.leg.point(m)
			f.push(c.leg, c.first, m, hull(a, p, f.spread))
			f.push(c.leg, m, c.last, hull(p, b, f.spread))
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
	f.push(nil, 0, 0, lower)
	f.push(nil, 0, 0, upper)
}

// Len, Less, Swap, Push and Pop are container/heap's.
func (f *field) Len() int { return len(f.cells) }

// Less orders by bound.
func (f *field) Less(i, j int) bool { return f.cells[i].bound < f.cells[j].bound }

// Swap exchanges two cells.
func (f *field) Swap(i, j int) { f.cells[i], f.cells[j] = f.cells[j], f.cells[i] }

// Push adds a cell.
func (f *field) Push(x any) { f.cells = append(f.cells, x.(fieldCell)) }

// Pop takes the last cell.
func (f *field) Pop() any {
	last := f.cells[len(f.cells)-1]
	f.cells = f.cells[:len(f.cells)-1]
	return last
}
