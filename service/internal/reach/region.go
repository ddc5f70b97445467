package reach

import (
	"cmp"
	"math"
	"slices"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Region is a part of axis space, clear all over, from whose every pose each other one of it can be reached.
type Region struct {
	Share float64  // of the poses looked at
	Pose  rig.Axes // one of it, far from its edge where it has such a one
}

// Regions returns the clear parts of an interval of each axis that a motion cannot reach from a pose without leaving what is clear, largest
// first, and what share it can reach. Parts of less than a square degree in all are left out. Cells that meet at a corner alone are not joined.
// It keeps a byte for each cell of the intervals, and stops where going is false, which is asked now and then: ok is false then.
func (r *Raster) Regions(t rig.Travel, from rig.Axes, going func() bool) (reached float64, apart []Region, ok bool) {
	c := newCover(r, finesOf(rect{t.Low, t.High}), going)
	at := finesOf(rect{from, from}).low
	if x, y := at[0]-c.box.low[0], at[1]-c.box.low[1]; x >= 0 && y >= 0 && x < c.rows && y < c.columns && r.at(at[0], at[1]) == Clear {
		reached = c.share(c.over(int32(x*c.columns+y), untouched, whole, func(int, int) {}))
	}
	for n := range c.marks {
		if c.stopped {
			break
		}
		if c.marks[n] == untouched && c.clear(n/c.columns, n%c.columns) {
			apart = c.region(int32(n), apart)
		}
	}
	if c.stopped {
		return 0, nil, false
	}
	slices.SortStableFunc(apart, func(a, b Region) int { return cmp.Compare(b.Share, a.Share) })
	return reached, apart, true
}

// mark is how far a cell has been looked at.
type mark byte

const (
	untouched mark = iota
	counted        // of the region that is looked at
	whole          // of one that has been
)

// cover goes over regions of a raster, from the edge of what it has covered alone: travel of three turns either way has 75 million cells.
type cover struct {
	r             *Raster
	box           fineBox
	rows, columns int
	marks         []mark
	edge, next    []int32 // cells
	going         func() bool
	looked        int // cells since the start
	stopped       bool
}

func newCover(r *Raster, b fineBox, going func() bool) *cover {
	c := &cover{r: r, box: b, rows: b.high[0] - b.low[0] + 1, columns: b.high[1] - b.low[1] + 1, going: going}
	c.marks = make([]mark, c.rows*c.columns)
	return c
}

func (c *cover) clear(i, j int) bool { return c.r.at(c.box.low[0]+i, c.box.low[1]+j) == Clear }

func (c *cover) share(cells int) float64 { return float64(cells) / float64(len(c.marks)) }

// stride is after how many cells it is asked whether to go on. Choice: a fraction of a millisecond.
const stride = 1 << 16

// over covers the clear region about a cell: each cell of it goes from one mark to another and is told once, the nearest first.
func (c *cover) over(start int32, from, to mark, tell func(i, j int)) (cells int) {
	c.marks[start] = to
	c.edge = append(c.edge[:0], start)
	for len(c.edge) > 0 && !c.stopped {
		c.next = c.next[:0]
		for _, n := range c.edge {
			i, j := int(n)/c.columns, int(n)%c.columns
			tell(i, j)
			cells++
			c.spread(i, j, from, to)
		}
		c.edge, c.next = c.next, c.edge
	}
	return cells
}

// spread covers what meets a cell on a side.
func (c *cover) spread(i, j int, from, to mark) {
	if c.looked++; c.looked%stride == 0 && !c.going() {
		c.stopped = true
	}
	for _, d := range [4][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
		x, y := i+d[0], j+d[1]
		if x < 0 || y < 0 || x >= c.rows || y >= c.columns || c.marks[x*c.columns+y] != from || !c.clear(x, y) {
			continue
		}
		c.marks[x*c.columns+y] = to
		c.next = append(c.next, int32(x*c.columns+y))
	}
}

// region adds the region about a cell to others, where it is large enough. Its pose is the cell that lies nearest the mean of their places.
func (c *cover) region(start int32, all []Region) []Region {
	const least = int(unit.Degree/fineStep) * int(unit.Degree/fineStep)
	var si, sj float64 // below 2^53: exact
	cells := c.over(start, untouched, counted, func(i, j int) { si, sj = si+float64(i), sj+float64(j) })
	if cells < least {
		return all
	}
	si, sj = si/float64(cells), sj/float64(cells)
	mid, nearest := [2]int{}, math.Inf(1)
	c.over(start, counted, whole, func(i, j int) {
		if d := math.Hypot(float64(i)-si, float64(j)-sj); d < nearest {
			mid, nearest = [2]int{i, j}, d
		}
	})
	pose := rig.Axes{A1: (unit.Angle(c.box.low[0]+mid[0]) + 0.5) * fineStep, A2: (unit.Angle(c.box.low[1]+mid[1]) + 0.5) * fineStep}
	return append(all, Region{c.share(cells), pose})
}
