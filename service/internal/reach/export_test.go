package reach

import (
	"math"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/rig"
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
	out := lows{spare: 1e300}
	for k := range classes {
		out = out.least(p.known.over(k, rect{low, high}))
	}
	return out.spare
}

// SharesGrid tells whether two provers know the same.
func (p *Prover) SharesGrid(o *Prover) bool { return p.known == o.known }

// Bars tells whether it is proven that no way leads from one pose to another within travel.
func (p *Prover) Bars(from, to rig.Axes, travel rig.Travel, budget Budget) bool {
	w := walk{p: p, v: p.mapped().visit(budget), from: from, to: to, travel: travel, budget: budget}
	return w.barred()
}

// LeastAt is the least spare at one pose, to rounding, as a cell of the grid that is one pose gets it.
func (p *Prover) LeastAt(at rig.Axes) float64 {
	out := math.Inf(1)
	for k := range classes {
		if len(p.of[k]) > 0 {
			out = min(out, p.overCell(k, rect{at, at}).spare)
		}
	}
	return out
}
