package reach

import (
	"math"
	"sync"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// This file cuts the whole axis space into cells, each with what is proven of the least spare over it: a lower bound, which makes it clear
// where it is not negative, and an upper bound, which makes it barred where it is. A cell that is neither is cut in four, down to the finest
// ones; parts inherit only the pairs that are not settled over the whole. Pairs that one axis alone moves are settled along that axis. What
// holds at a pose holds whole turns away from it, so that one turn of each axis is all there is.
//
// A cell is worked out when first asked for, from the scene, the cell and the cells that hold it, whoever asks and in whatever order.

const (
	rootCells = 45 // a turn in cells of 8°
	mapDepth  = 5  // halvings of those
	// fineCells is how many of the finest cells make a turn: of 0.25° each.
	fineCells = rootCells << mapDepth
	fineStep  = unit.Turn / fineCells
)

// Standing is what is proven of some poses.
type Standing uint8

// Standings. What was never worked out is unknown.
const (
	Unknown Standing = iota // neither is proven
	Clear                   // every one keeps what all pairs require
	Barred                  // none of them does
)

// node is a cell of one class of pairs.
type node struct {
	low, high float32 // every pose of the cell has at least low to spare, and at most high; low is no number where it was not looked at
	rest      float32 // the pairs that are settled over the cell, or over one that holds it, have at least so much, and not less than 0
	pair      int32   // the pair of low, or of high where that is negative; -1: none
	kids      int32   // the first of the cells that it is cut into; 0: none yet
}

func (n *node) standing() Standing {
	switch {
	case n.high < 0:
		return Barred
	case n.low >= 0:
		return Clear
	}
	return Unknown
}

// chart holds the cells of one class of pairs.
type chart struct {
	nodes []node
	open  map[int32][]int32 // of cells that may still be cut: the pairs that are not settled over them
}

// Map is what is proven of all axis space for one scene. Safe for concurrent use.
type Map struct {
	p            *Prover
	share, extra float64 // as of search.goal
	mu           sync.Mutex
	charts       [classes]chart
}

// NewMap returns the map of the spare: what each pair has beyond what it requires. Nothing of it is worked out yet.
func (p *Prover) NewMap() *Map { return p.newMap(1, 0) }

// NewMapOfGap returns the map of the gaps beyond one gap for all pairs, whatever they require.
func (p *Prover) NewMapOfGap(gap unit.Length) *Map { return p.newMap(0, float64(gap)) }

func (p *Prover) newMap(share, extra float64) *Map {
	m := &Map{p: p, share: share, extra: extra}
	for k := range classes {
		n := rootCells
		if k == groundAxis2 {
			n *= rootCells
		}
		c := &m.charts[k]
		c.nodes, c.open = make([]node, n), map[int32][]int32{}
		for i := range c.nodes {
			c.nodes[i] = unseen
		}
	}
	return m
}

var unseen = node{low: float32(math.NaN()), high: float32(math.Inf(1)), rest: float32(math.Inf(1)), pair: -1}

// fineBox is a rectangle of the finest cells, counted from angle 0, unreduced; last ones included.
type fineBox struct{ low, high [2]int }

// finesOf returns the least box of the finest cells that holds a rectangle.
func finesOf(r rect) fineBox {
	return fineBox{
		[2]int{int(math.Floor(float64(r.low.A1 / fineStep))), int(math.Floor(float64(r.low.A2 / fineStep)))},
		[2]int{int(math.Floor(float64(r.high.A1 / fineStep))), int(math.Floor(float64(r.high.A2 / fineStep)))},
	}
}

// visit is one question's use of a map: it counts the cells that it looks at, each once, whether they were worked out before or not, so that
// what is found within a budget is the same whatever was asked before.
type visit struct {
	m     *Map
	seen  [classes][]uint64 // bits by cell
	cells int
	depth int // how far cells are cut
	left  Budget
}

func (m *Map) visit(left Budget) *visit { return &visit{m: m, left: left, depth: mapDepth} }

// finest is the size of the cells that are cut no further: of pairs that one axis alone moves the least there is, since they are few.
func (v *visit) finest(k class) int {
	if turns1, turns2 := k.turns(); turns1 && turns2 {
		return mapDepth - v.depth
	}
	return 0
}

// spent tells whether the budget is used up: then everything is unknown.
func (v *visit) spent() bool { return v.cells >= int(v.left) }

// over returns what is proven of a box as a whole.
func (v *visit) over(b fineBox) Standing {
	v.m.mu.Lock()
	defer v.m.mu.Unlock()
	if v.m.p.why != "" {
		return Unknown
	}
	out := Clear
	for k := range classes {
		if len(v.m.p.of[k]) == 0 {
			continue
		}
		switch v.class(k, b) {
		case Barred:
			return Barred
		case Unknown:
			out = Unknown
		case Clear:
		}
	}
	return out
}

// clears tells whether a box is clear, which is sooner known than what it is else.
func (v *visit) clears(b fineBox) bool {
	v.m.mu.Lock()
	defer v.m.mu.Unlock()
	for k := range classes {
		if len(v.m.p.of[k]) > 0 && v.class(k, b) != Clear {
			return false
		}
	}
	return v.m.p.why == ""
}

// class returns what is proven of a box for one class of pairs. It stops at the first cell that is not clear, unless all so far are barred.
func (v *visit) class(k class, b fineBox) Standing {
	low, high := b.low, b.high
	for axis := range 2 {
		if high[axis]-low[axis] >= fineCells-1 {
			low[axis], high[axis] = 0, fineCells-1
		}
	}
	if turns1, turns2 := k.turns(); !turns1 || !turns2 {
		axis := 0
		if !turns2 {
			axis = 1
		}
		low[axis], high[axis] = 0, 0
	}
	clears, bars := 0, 0
	for i := low[0] >> mapDepth; i <= high[0]>>mapDepth; i++ {
		for j := low[1] >> mapDepth; j <= high[1]>>mapDepth; j++ {
			switch v.root(k, i, j, fineBox{low, high}) {
			case Clear:
				clears++
			case Barred:
				bars++
			case Unknown:
				return Unknown
			}
			if clears > 0 && bars > 0 {
				return Unknown
			}
		}
	}
	return ofAll(clears, bars)
}

// ofAll is what is proven of several cells of which so many are clear and so many barred, and of which not both are; of none nothing is.
func ofAll(clears, bars int) Standing {
	switch {
	case bars > 0:
		return Barred
	case clears > 0:
		return Clear
	}
	return Unknown
}

// root is below for one of the largest cells, which may be whole turns away.
func (v *visit) root(k class, i, j int, b fineBox) Standing {
	n := int32(rootOf(i)*rootCells + rootOf(j))
	switch turns1, turns2 := k.turns(); {
	case !turns2:
		n = int32(rootOf(i))
	case !turns1:
		n = int32(rootOf(j))
	}
	if !v.look(k, n) {
		return Unknown
	}
	if c := &v.m.charts[k]; c.nodes[n].low != c.nodes[n].low {
		var open []int32
		c.nodes[n], open = v.m.settle(k, boxOf([2]int{rootOf(i) << mapDepth, rootOf(j) << mapDepth}, 1<<mapDepth), v.m.p.of[k], unseen)
		c.keep(n, open)
	}
	return v.below(k, n, [2]int{i << mapDepth, j << mapDepth}, mapDepth, b)
}

func rootOf(i int) int { return ((i % rootCells) + rootCells) % rootCells }

// look counts a cell; false where the budget is used up and it was not counted yet.
func (v *visit) look(k class, n int32) bool {
	word, bit := n>>6, uint64(1)<<(n&63)
	for int(word) >= len(v.seen[k]) {
		v.seen[k] = append(v.seen[k], make([]uint64, len(v.seen[k])+16)...)
	}
	if v.seen[k][word]&bit != 0 {
		return true
	}
	if v.spent() {
		return false
	}
	v.seen[k][word] |= bit
	v.cells++
	return true
}

// below returns what is proven of that part of a box that lies in a cell, which begins at at and has 1 << size of the finest cells a side.
func (v *visit) below(k class, n int32, at [2]int, size int, b fineBox) Standing {
	if s := v.m.charts[k].nodes[n].standing(); s != Unknown || size <= v.finest(k) || v.spent() {
		return s
	}
	v.m.cut(k, n, at, size)
	clears, bars := 0, 0
	turns1, turns2 := k.turns()
	half, kid := 1<<(size-1), v.m.charts[k].nodes[n].kids
	for _, d := range parts(turns1, turns2) {
		to := [2]int{at[0] + d[0]*half, at[1] + d[1]*half}
		this := kid
		kid++
		if turns1 && (to[0] > b.high[0] || to[0]+half <= b.low[0]) || turns2 && (to[1] > b.high[1] || to[1]+half <= b.low[1]) {
			continue
		}
		if !v.look(k, this) {
			return Unknown
		}
		switch v.below(k, this, to, size-1, b) {
		case Clear:
			clears++
		case Barred:
			bars++
		case Unknown:
			return Unknown
		}
		if clears > 0 && bars > 0 {
			return Unknown
		}
	}
	return ofAll(clears, bars)
}

var (
	quarters = [][2]int{{0, 0}, {0, 1}, {1, 0}, {1, 1}}
	halves1  = [][2]int{{0, 0}, {1, 0}}
	halves2  = [][2]int{{0, 0}, {0, 1}}
)

// parts are the places of the cells that one is cut into.
func parts(turns1, turns2 bool) [][2]int {
	switch {
	case turns1 && turns2:
		return quarters
	case turns1:
		return halves1
	}
	return halves2
}

// Standing tells what is proven of a rectangle of axis space as a whole.
func (m *Map) Standing(low, high rig.Axes, left Budget) Standing {
	if !low.Finite() || !high.Finite() || !(low.A1 <= high.A1 && low.A2 <= high.A2) {
		return Unknown
	}
	return m.visit(left).over(finesOf(rect{low, high}))
}
