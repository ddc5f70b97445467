package reach

import (
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Raster is a map cut to its finest cells all over: 0.25° of each axis.
type Raster struct {
	m     *Map
	cells []Standing // by cell of axis 1, then of axis 2, from angle 0
	// Work is how many cells of the map were looked at.
	Work int
	// Spent tells that the budget was used up: the rest is unknown.
	Spent bool
}

// RasterStep is the side of a raster's cells.
const RasterStep = fineStep

// RasterBudget settles the maps of ordinary rigs many times over. Choice: those of the examples take from 2,000 to 80,000.
const RasterBudget Budget = 4_000_000

// Raster works all of the map out. After each part, a fraction of a
// millisecond most often, it tells how much is done, of how much, and stops where going is false: then it returns nil.
func (m *Map) Raster(left Budget, going func(done, of int) bool) *Raster {
	v := m.visit(left)
	out := &Raster{m: m, cells: make([]Standing, fineCells*fineCells)}
	for i := range rootCells {
		for j := range rootCells {
			out.fill(v, [2]int{i << mapDepth, j << mapDepth}, mapDepth)
			if !going(i*rootCells+j+1, rootCells*rootCells) {
				return nil
			}
		}
	}
	out.Work, out.Spent = v.cells, v.spent()
	return out
}

// fill fills in a square of 1 << size cells a side.
func (r *Raster) fill(v *visit, at [2]int, size int) {
	last := 1<<size - 1
	s := v.over(fineBox{at, [2]int{at[0] + last, at[1] + last}})
	if s == Unknown && size > 0 {
		half := 1 << (size - 1)
		for _, d := range quarters {
			r.fill(v, [2]int{at[0] + d[0]*half, at[1] + d[1]*half}, size-1)
		}
		return
	}
	for i := at[0]; i <= at[0]+last; i++ {
		row := r.cells[i*fineCells+at[1]:]
		for j := range last + 1 {
			row[j] = s
		}
	}
}

// at returns what is known of a cell, counted from angle 0, unreduced.
func (r *Raster) at(i, j int) Standing { return r.cells[reduced(i)*fineCells+reduced(j)] }

// At returns what is known of the cell that holds a pose.
func (r *Raster) At(a rig.Axes) Standing {
	if !a.Finite() {
		return Unknown
	}
	b := finesOf(rect{a, a})
	return r.at(b.low[0], b.low[1])
}

// Extent is an interval of an axis.
type Extent struct {
	Low, High unit.Angle
	Free      bool // as far as a turn either way of where it was begun nothing bounds it
}

// Widest is the largest rectangle of axis space, by area, that is clear all over and holds a pose, itself and what lies within spread of it;
// ok is false where that pose is not clear. It reaches a turn either way of the pose on axis 1 at most, and half a turn on axis 2.
func (r *Raster) Widest(about, spread rig.Axes) (axis1, axis2 Extent, ok bool) {
	at := finesOf(rect{about, about}).low
	const up, most = fineCells/2 + 1, fineCells
	above, ok := r.corridors(at, 1, up, most)
	if !ok {
		return Extent{}, Extent{}, false
	}
	below, _ := r.corridors(at, -1, up, most)
	var best [4]int
	area := -1
	for n, a := range above {
		for k, b := range below {
			w, e := max(a[0], b[0]), min(a[1], b[1])
			if size := (e - w + 1) * (n + k + 1); size > area {
				area, best = size, [4]int{w, e, -k, n}
			}
		}
	}
	axis1 = extent(at[0]+best[0], at[0]+best[1], spread.A1, best[0] <= -most && best[1] >= most)
	axis2 = extent(at[1]+best[2], at[1]+best[3], spread.A2, best[3]-best[2]+1 >= fineCells)
	return axis1, axis2, axis1.holds(about.A1) && axis2.holds(about.A2)
}

func (e Extent) holds(a unit.Angle) bool { return e.Free || e.Low <= a && a <= e.High }

// extent is that of some cells, made less by what lies within spread of its ends, and by the rounding of their edges.
func extent(first, last int, spread unit.Angle, free bool) Extent {
	by := spread + gridFuzz
	return Extent{unit.Angle(first)*fineStep + by, unit.Angle(last+1)*fineStep - by, free}
}

// corridors returns, by how many rows of axis 2 are taken beside that of a cell, up to a number of them one way, how far axis 1 is clear in all
// of them, from and to, relative to the cell; ok is false where not even the first is clear there.
func (r *Raster) corridors(at [2]int, way, rows, most int) (out [][2]int, ok bool) {
	w, e := -most, most
	for n := range rows {
		j := at[1] + way*n
		if r.at(at[0], j) != Clear {
			break
		}
		for i := 0; i >= w; i-- {
			if r.at(at[0]+i, j) != Clear {
				w = i + 1
				break
			}
		}
		for i := 0; i <= e; i++ {
			if r.at(at[0]+i, j) != Clear {
				e = i - 1
				break
			}
		}
		out = append(out, [2]int{w, e})
	}
	return out, len(out) > 0
}

// Band is how far axis 1 may go while axis 2 stays within an interval.
type Band struct {
	Axis2 Extent
	Axis1 Extent
	Clear bool // false: not even at the angle of axis 1 about which it was asked
}

// Bands cuts an interval of axis 2 into bands of a width, the last one perhaps less, and tells of each how far axis 1 may go either way of an
// angle, a turn at most. Poses within spread count too.
func (r *Raster) Bands(about unit.Angle, low, high, width unit.Angle, spread rig.Axes) []Band {
	var out []Band
	for from := low; from < high-gridFuzz; from += width {
		to := min(from+width, high)
		if high-to < gridFuzz {
			to = high
		}
		out = append(out, r.band(about, from, to, spread))
	}
	return out
}

func (r *Raster) band(about, low, high unit.Angle, spread rig.Axes) Band {
	b := finesOf(rect{rig.Axes{A1: about, A2: low - spread.A2}, rig.Axes{A1: about, A2: high + spread.A2}})
	rows, _ := r.corridors([2]int{b.low[0], b.low[1]}, 1, b.high[1]-b.low[1]+1, fineCells)
	out := Band{Axis2: Extent{Low: low, High: high}, Clear: len(rows) == b.high[1]-b.low[1]+1}
	if out.Clear {
		last := rows[len(rows)-1]
		out.Axis1 = extent(b.low[0]+last[0], b.low[0]+last[1], spread.A1, last[0] <= -fineCells && last[1] >= fineCells)
		out.Clear = out.Axis1.holds(about)
	}
	return out
}

// Binds is what bounds a rectangle of axis space on one side: what comes nearest just beyond it. The side is one of axis 1 where axis is 0; dir
// is -1 at its low end and 1 at its high one. What lies within spread of its other two ends bounds it as well: there, beyond a corner, is what keeps
// two sides at once. Nil where nothing does.
func (r *Raster) Binds(axis1, axis2 Extent, axis, dir int, spread rig.Axes) *Approach {
	end, by := [2]Extent{axis1, axis2}[axis], [2]unit.Angle{spread.A1, spread.A2}[axis]
	from, to := end.High+by+gridFuzz, end.High+by+gridFuzz+fineStep // the first row of cells that is not in it
	if dir < 0 {
		from, to = end.Low-by-gridFuzz-fineStep, end.Low-by-gridFuzz
	}
	strip := func(from, to unit.Angle) rect {
		out := rect{rig.Axes{A1: axis1.Low, A2: axis2.Low}.Sub(spread), rig.Axes{A1: axis1.High, A2: axis2.High}.Add(spread)}
		if axis == 0 {
			out.low.A1, out.high.A1 = from, to
		} else {
			out.low.A2, out.high.A2 = from, to
		}
		return out
	}
	if middle := (from + to) / 2; r.clears(finesOf(strip(middle, middle))) {
		return nil
	}
	row := strip(from, to)
	return r.m.nearest(Rectangle(row.low, row.high, rig.Motion{}))
}

// nearest looks for the pair, and the pose of a way, with the least beyond what the map keeps.
func (m *Map) nearest(way Way) *Approach {
	s := m.p.search(way, rig.Axes{}, DefaultBudget)
	defer s.release()
	s.goal(m.share, m.extra)
	if s.why == "" {
		s.closest(tight)
	}
	return s.result().Nearest
}

// clears tells whether every cell of a box is clear.
func (r *Raster) clears(b fineBox) bool {
	for i := b.low[0]; i <= b.high[0]; i++ {
		for j := b.low[1]; j <= b.high[1]; j++ {
			if r.at(i, j) != Clear {
				return false
			}
		}
	}
	return true
}
