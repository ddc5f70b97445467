package reach

import (
	"math"
	"slices"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// LowestCells is how many cells are left of what Lowest looked at.
func (w Way) LowestCells(chain *rig.Chain, up frame.Vec[frame.Rig], spread rig.Axes, tolerance unit.Angle) int {
	f := field{by: shares(chain, up), tolerance: float64(tolerance), seen: math.Inf(1)}
	f.lowest(w, spread)
	return len(f.cells)
}

// WithGrid makes the prover of a scene as a Shelf keeps it: with what is known of the axis space, of the scene itself or of a fuller one.
func WithGrid(s, fullest *rig.Scene) *Prover {
	p := New(s)
	p.known, p.fullest = newKnown(New(fullest)), s == fullest
	return p
}

// Known is the least spare that the grid knows over a rectangle, of all pairs.
func (p *Prover) Known(low, high rig.Axes) float64 {
	out := none
	for k := range classes {
		out = out.least(p.known.over(k, rect{low, high}, math.Inf(-1)))
	}
	return out.spare
}

// KnownRest is the least spare that the grid knows over a rectangle of the pairs that both axes move, but for one, and that one.
func (p *Prover) KnownRest(low, high rig.Axes) (pair int, rest float64) {
	l := p.known.over(groundAxis2, rect{low, high}, math.Inf(-1))
	return int(l.pair), l.rest
}

// SharesGrid tells whether two provers know the same.
func (p *Prover) SharesGrid(o *Prover) bool { return p.known == o.known }

// Bars tells whether it is proven that no way leads from one pose to another within travel.
func (p *Prover) Bars(from, to rig.Axes, travel rig.Travel, budget Budget) bool {
	w := walk{p: p, v: p.mapped().visit(budget), from: from, to: to, travel: travel, budget: budget}
	return w.barred()
}

// RodOf makes the rod of a solid, carried along by a motion: Holds tells whether a point lies in it, to within so much.
func RodOf(s solid.Shape, m solid.Motion) Rod {
	r := rodOf(&s)
	return Rod{r.moved(&m)}
}

// Rod is a simpler solid that holds a body.
type Rod struct{ r rod }

// Holds tells whether a point lies in the rod, or within so much of it.
func (r Rod) Holds(x point, within float64) bool {
	for _, s := range r.r.slabs[:r.r.n] {
		if d := s.out.Dot(x); d < s.low-within || d > s.high+within {
			return false
		}
	}
	u, t := r.r.b.Sub(r.r.a), 0.0
	if u.Dot(u) > 0 {
		t = share(x.Sub(r.r.a).Dot(u) / u.Dot(u))
	}
	return x.Sub(r.r.a).Sub(u.Scale(t)).Norm() <= r.r.round+within
}

// Apart is what two rods show of how far their bodies are apart, and what their lines alone do.
func (r Rod) Apart(o Rod) (apart, lines float64) {
	return r.r.apart(&o.r), between(r.r.a, r.r.b, o.r.a, o.r.b) - r.r.round - o.r.round
}

// Between bounds the distance of two segments.
func Between(a, b, c, d point) float64 { return between(a, b, c, d) }

// RasterAt is Raster by a map that is cut so many times only: to cells of 8° over 2 to that power.
func (m *Map) RasterAt(depth int) *Raster {
	v := m.visit(RasterBudget)
	v.depth = depth
	out := &Raster{m: m, cells: make([]Standing, fineCells*fineCells)}
	for i := range rootCells {
		for j := range rootCells {
			out.fill(v, [2]int{i << mapDepth, j << mapDepth}, mapDepth)
		}
	}
	out.Work = v.cells
	return out
}

// MapDepth is how often a map's cells are halved.
const MapDepth = mapDepth

// Careless is Creeps by a bound that counts a share only of what the way of a gap may be off: no proof, for tests that are to find that.
func (p *Prover) Careless(from, by, spread rig.Axes, slack float64, budget Budget, share float64) Creep {
	return p.creeps(from, by, spread, slack, budget, share)
}

// Widens bounds how fast the gap of a pair widens while an axis turns, mm per radian, and the gap, over a rectangle of poses; share is 1.
func (p *Prover) Widens(pair int, low, high rig.Axes, axis int, forth bool, share float64) (rate, least, most float64) {
	s := p.search(Hold(low), rig.Axes{}, 1)
	defer s.release()
	c := creeping{search: s, axis: int8(axis), dir: -1, slack: -1e300, doubt: share}
	if forth {
		c.dir = 1
	}
	for k := range classes {
		if slices.Contains(p.of[k], int32(pair)) {
			v := c.sightOf(part{rect{low, high}, k, int32(pair)})
			g := c.gap(&v, int32(pair))
			q := &p.pairs[pair]
			w := c.widens(&v, &p.bodies[q.a].shape, c.shape(&v, q.b), &g, math.Inf(1))
			return w.rate, w.low, w.high
		}
	}
	return math.Inf(-1), math.Inf(-1), math.Inf(1)
}

// Slopes is what the gap of a pair a little farther on says of how fast it widens, all over a rectangle, by a share of what it may bend; and the axis to cut.
func (p *Prover) Slopes(pair int, low, high rig.Axes, axis int, forth bool, share float64) (rate float64, long int) {
	s := p.search(Hold(low), rig.Axes{}, 1)
	defer s.release()
	c := creeping{search: s, axis: int8(axis), dir: -1, doubt: share}
	if forth {
		c.dir = 1
	}
	for k := range classes {
		if slices.Contains(p.of[k], int32(pair)) {
			v := c.sightOf(part{rect{low, high}, k, int32(pair)})
			g := c.gap(&v, int32(pair))
			r, l := c.slope(&v, int32(pair), &g, func(body int32) *solid.Shape { return c.layered(0, body) })
			return r, int(l)
		}
	}
	return math.Inf(-1), axis
}
