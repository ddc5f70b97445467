package reach

import (
	"math"
	"slices"
	"sync/atomic"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// This file keeps what is once proven of the whole axis space, cell by cell of a fixed grid, so that of a way only the pieces near the
// least spare need a proof of their own. What is proven of a grid cell is proven of every pose in it, hence of a piece of a way that lies
// in a few cells. It is worked out when first asked for, by a procedure that looks at nothing but the scene and the cell: whichever
// question comes first, every later one finds the same, and so a replay gives the same.
//
// A grid is made for the scene with every part in all of its states. Solids of another scene of the rig are among those, so what is
// proven holds for it too: one grid serves all states.

// gridCells is how many cells a turn is cut into, per axis: 3° each. Choice: with the plane bound a cell of 3° misses by millimetres where a
// tube of a metre is near, and smaller ones take more time to work out, by the square.
const gridCells = 120

const cellStep = unit.Turn / gridCells

// gridFuzz widens each cell by far more than the rounding of an angle that is reduced by whole turns. Choice: 1e-6 mm at 1 m.
const gridFuzz unit.Angle = 1e-9

// known is what was proven of each cell of the grid: for pairs that both axes move, a row for each cell of axis 1; for the others the
// cells of their one axis.
//
// Invariant: a value is 0 (not worked out yet) or the packed lows of all pairs of its class over the cell.
type known struct {
	p     *Prover // of the fullest scene, without a grid
	cells [classes][]atomic.Uint64
}

func newKnown(p *Prover) *known {
	k := &known{p: p}
	for c := range classes {
		n := gridCells
		if c == groundAxis2 {
			n *= gridCells
		}
		k.cells[c] = make([]atomic.Uint64, n)
	}
	return k
}

// lows is the least spare that is proven over some poses of a class of pairs, the pair of the fullest scene that has it, and what is proven of
// all others.
type lows struct {
	spare float64
	pair  int32
	rest  float64
}

// least is what holds of both; one that is no number is the least.
func (a lows) least(b lows) lows {
	if !(a.spare <= b.spare || math.IsNaN(a.spare)) {
		a, b = b, a
	}
	if a.pair != b.pair { // of another pair than a's is b's least
		b.rest = b.spare
	}
	if !(a.rest <= b.rest) {
		a.rest = b.rest
	}
	return a
}

// none is what is known of no pairs.
var none = lows{spare: math.Inf(1), rest: math.Inf(1)}

// over returns what is known of a rectangle of axis space; of one in which less is known than enough, perhaps of a part of it.
func (k *known) over(c class, box rect, enough float64) lows {
	out := none
	if len(k.p.of[c]) == 0 {
		return out
	}
	first, last := gridSpan(box.low.A1, box.high.A1)
	from, to := gridSpan(box.low.A2, box.high.A2)
	turns1, turns2 := c.turns()
	if !turns1 {
		first, last = 0, 0
	}
	if !turns2 {
		from, to = 0, 0
	}
	for i := first; i <= last; i++ {
		for j := from; j <= to; j++ {
			if out = out.least(k.at(c, wrapIndex(i), wrapIndex(j))); out.spare < enough {
				return out
			}
		}
	}
	return out
}

// gridSpan returns the first and last cell that an interval meets, a turn at most.
func gridSpan(low, high unit.Angle) (first, last int) {
	if !(high-low < unit.Turn) {
		return 0, gridCells - 1
	}
	f := math.Floor(float64(low) * cellsPerRadian)
	first = wrapIndex(int(f))
	return first, first + int(math.Floor(float64(high)*cellsPerRadian)-f)
}

const cellsPerRadian = gridCells / (2 * math.Pi)

func wrapIndex(i int) int {
	if i >= 0 && i < gridCells {
		return i
	}
	return ((i % gridCells) + gridCells) % gridCells
}

// at returns what is known of one cell, which is worked out where it is not yet. Two at once may both do it: they find the same.
func (k *known) at(c class, i, j int) lows {
	n := i
	switch c {
	case groundAxis2:
		n = i*gridCells + j
	case axis1Axis2:
		n = j
	case groundAxis1, classes:
	}
	slot := &k.cells[c][n]
	if v := slot.Load(); v != 0 {
		return unpack(v)
	}
	box := rect{gridPose(i, j), gridPose(i+1, j+1)}
	box.low, box.high = box.low.Sub(rig.Axes{A1: gridFuzz, A2: gridFuzz}), box.high.Add(rig.Axes{A1: gridFuzz, A2: gridFuzz})
	v := pack(k.p.overCell(c, box))
	slot.Store(v)
	return unpack(v)
}

func gridPose(i, j int) rig.Axes {
	return rig.Axes{A1: unit.Angle(i) * cellStep, A2: unit.Angle(j) * cellStep}
}

// mostPacked is how many pairs a packed number tells apart; of one beyond them nothing is told but the least spare.
const mostPacked = 1<<16 - 1

// pack puts lows, the spares rounded down, into a number that is not 0: 32 bits the least, 16 bits what is proven of the rest, 16 bits the pair.
func pack(l lows) uint64 {
	if l.pair >= mostPacked {
		l.pair, l.rest = -1, math.Inf(-1)
	}
	rest := math.Float32bits(below(l.rest))
	if rest>>31 == 1 && rest&(1<<16-1) != 0 { // to cut the digits off a negative number is to round it up
		rest += 1 << 16
	}
	return uint64(math.Float32bits(below(l.spare)))<<32 | uint64(rest&^(1<<16-1)) | uint64(l.pair+1)
}

func unpack(v uint64) lows {
	return lows{
		spare: float64(math.Float32frombits(uint32(v >> 32))),
		pair:  int32(uint16(v)) - 1,
		rest:  float64(math.Float32frombits(uint32(v) &^ (1<<16 - 1))),
	}
}

// below returns the nearest number of that size that is no greater; -Inf of one that is none.
func below(v float64) float32 {
	if math.IsNaN(v) {
		return float32(math.Inf(-1))
	}
	f := float32(v)
	if float64(f) > v {
		f = math.Nextafter32(f, float32(math.Inf(-1)))
	}
	return f
}

// overCell bounds the pairs of a class over a cell of axis space from below, those closely that may have the least spare; where that is negative,
// those too that else might be.
func (p *Prover) overCell(k class, box rect) lows {
	if p.why != "" {
		return lows{spare: math.Inf(-1), rest: math.Inf(-1)}
	}
	m := box.middle()
	s := p.search(Hold(m), rig.Axes{}, 1)
	defer s.release()
	s.aim = everything
	s.stamp++
	c := cell{box: box, class: k}
	v := s.sightFrom(&c, m)
	pairs := p.of[k]
	spares, moves := make([]float64, len(pairs)), make([]float64, len(pairs))
	for n, i := range pairs {
		q := &p.pairs[i]
		r1, r2 := s.reaches(&v, q)
		moves[n] = r1*v.chord1 + r2*v.chord2
		spares[n] = s.ballBound(&v, q, moves[n]) - s.need[i] - p.allowance
	}
	closely := make([]bool, len(pairs))
	for {
		n := leastOf(spares, -1)
		if closely[n] {
			if n = leastOf(spares, n); n < 0 || closely[n] || !(slices.Min(spares) < 0 && spares[n] < 0) {
				break
			}
		}
		i := pairs[n]
		spares[n], closely[n] = s.bound(&v, i, &p.pairs[i], moves[n]), true
	}
	n := leastOf(spares, -1)
	out := lows{spare: spares[n], pair: pairs[n], rest: math.Inf(1)}
	if n = leastOf(spares, n); n >= 0 {
		out.rest = spares[n]
	}
	return out
}

// leastOf returns the index of the least number but one; of one that is none, its own; -1 where there is none.
func leastOf(v []float64, but int) int {
	at := -1
	for i := range v {
		if i != but && (at < 0 || v[i] < v[at] || math.IsNaN(v[i])) {
			at = i
		}
	}
	return at
}
