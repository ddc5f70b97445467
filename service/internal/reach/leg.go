package reach

import (
	"math"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// legKind says what a leg sweeps.
type legKind uint8

const (
	lineLeg  legKind = iota // the straight line between its ends; its mark is the share of the line, [0, 1]
	curveLeg                // the curve of its two laws; its mark is the time, [0, seconds]
	rectLeg                 // the whole rectangle between its ends; it has no mark
)

// leg is one piece of a way on which both axes are monotone.
type leg struct {
	kind     legKind
	from, to rig.Axes
	start    float64 // seconds from the start of the way
	laws     [2]law  // line: the first, over [0, 1]; else of each axis, over its angle in radians
}

// seconds returns how long the leg takes.
func (l *leg) seconds() float64 {
	switch l.kind {
	case lineLeg:
		return l.laws[0].end
	case curveLeg:
		return max(l.laws[0].end, l.laws[1].end)
	case rectLeg:
	}
	return l.laws[0].end + l.laws[1].end
}

// mover is the axis that tells best when the leg may be at a pose: 0 or 1. Where the axes go each by its own law it is the one that is there
// last, else the one that the leg turns farther.
func (l *leg) mover(at, spread rig.Axes) int8 {
	if l.kind == rectLeg {
		d := at.Sub(l.from).Abs().Sub(spread)
		if l.laws[1].when(max(0, float64(d.A2))) > l.laws[0].when(max(0, float64(d.A1))) {
			return 1
		}
		return 0
	}
	if d := l.to.Sub(l.from).Abs(); d.A2 > d.A1 {
		return 1
	}
	return 0
}

// lastMark returns the mark of the leg's end.
func (l *leg) lastMark() float64 {
	switch l.kind {
	case lineLeg:
		return 1
	case curveLeg:
		return l.seconds()
	case rectLeg:
	}
	return 0
}

// mark returns the mark at a time from the leg's start.
func (l *leg) mark(seconds float64) float64 {
	switch l.kind {
	case lineLeg:
		return l.laws[0].done(seconds)
	case curveLeg:
		return min(max(seconds, 0), l.seconds())
	case rectLeg:
	}
	if s := l.seconds(); s > 0 && seconds > 0 && !math.IsInf(s, 1) {
		return min(seconds/s, 1)
	}
	return 0
}

// point returns the pose at a mark; of a rectangle, the pose at that share of the time if the axes moved together, which is one
// that they can have reached by then in whatever order.
func (l *leg) point(mark float64) rig.Axes {
	switch {
	case l.kind == curveLeg:
		return l.curve(mark)
	case mark >= 1:
		return l.to
	case l.kind == rectLeg:
		return l.curve(mark * max(l.laws[0].end, l.laws[1].end))
	}
	return l.from.Add(l.to.Sub(l.from).Scale(mark))
}

// curve returns where each axis is by its own law at a time.
func (l *leg) curve(seconds float64) rig.Axes {
	return rig.Axes{A1: along(l.from.A1, l.to.A1, l.laws[0].done(seconds)), A2: along(l.from.A2, l.to.A2, l.laws[1].done(seconds))}
}

func along(from, to unit.Angle, done float64) unit.Angle {
	if to < from {
		return from - unit.Angle(done)
	}
	return from + unit.Angle(done)
}

// bends bounds how far each axis is from the chord of a stretch between two marks so far apart; infinite where an axis changes its speed
// at once.
func (l *leg) bends(marks float64) rig.Axes {
	if l.kind != curveLeg {
		return rig.Axes{}
	}
	return rig.Axes{A1: l.laws[0].bends(marks), A2: l.laws[1].bends(marks)}
}

// time returns when, from the start of the way, the motion may be at a pose: at the mark, or, within a rectangle, the earliest.
func (l *leg) time(mark float64, at rig.Axes) float64 {
	switch l.kind {
	case lineLeg:
		return l.start + l.laws[0].when(mark)
	case curveLeg:
		return l.start + mark
	case rectLeg:
	}
	d := at.Sub(l.from).Abs()
	return l.start + max(l.laws[0].when(float64(d.A1)), l.laws[1].when(float64(d.A2)))
}

// marks returns the interval of marks within which an axis lies in [low, high]; ok is false where it never does.
func (l *leg) marks(axis int, low, high float64) (first, last float64, ok bool) {
	from, to := float64(l.from.A1), float64(l.to.A1)
	if axis == 1 {
		from, to = float64(l.from.A2), float64(l.to.A2)
	}
	near, far := low-from, high-from // as distances from the start
	if to < from {
		near, far = from-high, from-low
	}
	whole := math.Abs(to - from)
	if far < 0 || near > whole {
		return 0, 0, false
	}
	end := l.lastMark()
	if near > 0 {
		first = l.when(axis, near, whole)
	}
	if last = end; far < whole {
		last = l.when(axis, far, whole)
	}
	return first, last, true
}

// when returns the mark at which an axis that moves by whole has moved by done.
func (l *leg) when(axis int, done, whole float64) float64 {
	if l.kind == lineLeg {
		return done / whole
	}
	return l.laws[axis].when(done)
}

// rect is a rectangle of axis space, edges included.
type rect struct{ low, high rig.Axes }

// hull returns the rectangle between two poses, widened on every side.
func hull(a, b, by rig.Axes) rect {
	return rect{
		rig.Axes{A1: min(a.A1, b.A1) - by.A1, A2: min(a.A2, b.A2) - by.A2},
		rig.Axes{A1: max(a.A1, b.A1) + by.A1, A2: max(a.A2, b.A2) + by.A2},
	}
}

func (r rect) meet(o rect) rect {
	return rect{
		rig.Axes{A1: max(r.low.A1, o.low.A1), A2: max(r.low.A2, o.low.A2)},
		rig.Axes{A1: min(r.high.A1, o.high.A1), A2: min(r.high.A2, o.high.A2)},
	}
}

func (r rect) middle() rig.Axes {
	return rig.Axes{A1: r.low.A1 + (r.high.A1-r.low.A1)/2, A2: r.low.A2 + (r.high.A2-r.low.A2)/2}
}

// clip returns the least rectangle known to hold every pose of the cell that lies within spread of the leg, and the interval of
// marks from which those poses come; ok is false where there are none.
//
// Derived: a pose x = p(u) + e with |e| ≤ spread lies in the cell only if p(u) lies in the cell widened by spread, on both axes.
// Each axis being monotone, that holds on an interval of marks [first, last]; on it p stays within the rectangle between p(first)
// and p(last), so x stays in that rectangle widened by spread. fuzz widens both steps by more than the rounding of marks and
// points, so that cells that share an edge lose nothing between them.
func (l *leg) clip(cell rect, spread rig.Axes) (out rect, first, last float64, ok bool) {
	by := spread.Add(l.fuzz())
	if l.kind == rectLeg {
		out = cell.meet(hull(l.from, l.to, by))
		return out, 0, 1, out.low.A1 <= out.high.A1 && out.low.A2 <= out.high.A2
	}
	f1, l1, ok1 := l.marks(0, float64(cell.low.A1-by.A1), float64(cell.high.A1+by.A1))
	f2, l2, ok2 := l.marks(1, float64(cell.low.A2-by.A2), float64(cell.high.A2+by.A2))
	first, last = max(f1, f2), min(l1, l2)
	if !ok1 || !ok2 || first > last {
		return rect{}, 0, 0, false
	}
	out = cell.meet(hull(l.point(first), l.point(last), by))
	return out, first, last, out.low.A1 <= out.high.A1 && out.low.A2 <= out.high.A2
}

// fuzz is an angle far above the rounding of marks and points and far below anything that matters. Derived: those are a few
// operations on numbers up to the angles themselves, each rounded by 2^-53, so under 1e-15 of the angles; 64 times that is taken.
// At ten turns and 10 m of reach it is 4e-8 mm.
func (l *leg) fuzz() rig.Axes {
	const share = 64e-15
	return rig.Axes{
		A1: share * (1 + l.from.A1.Abs() + l.to.A1.Abs()),
		A2: share * (1 + l.from.A2.Abs() + l.to.A2.Abs()),
	}
}

// within returns the pose of the swept set that a cell is looked at from: as near a pose of the cell as spread lets one come that starts from
// the way at mark.
func (l *leg) within(c rig.Axes, mark float64, spread rig.Axes) rig.Axes {
	if l.kind == rectLeg {
		return c
	}
	p := l.point(mark)
	return rig.Axes{A1: p.A1 + clamp(c.A1-p.A1, spread.A1), A2: p.A2 + clamp(c.A2-p.A2, spread.A2)}
}

func clamp(v, size unit.Angle) unit.Angle { return min(max(v, -size), size) }
