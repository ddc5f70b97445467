package reach

import (
	"cmp"
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

// LeastAt is the least spare at one pose to rounding: Prove is content with a millimetre. Pairs whose balls are nearest are looked at first,
// the others only as closely as shows that they are not nearer.
func (p *Prover) LeastAt(at rig.Axes) float64 {
	s := p.search(Hold(at), rig.Axes{}, 1)
	defer s.release()
	s.aim = verdict
	s.stamp++
	best := math.Inf(1)
	for k := range classes {
		c := cell{box: rect{at, at}, class: k}
		v := s.sightFrom(&c, at)
		pairs := slices.Clone(p.of[k])
		balls := make(map[int32]float64, len(pairs))
		for _, i := range pairs {
			balls[i] = s.ballBound(&v, &p.pairs[i], 0) - p.pairs[i].required
		}
		slices.SortFunc(pairs, func(i, j int32) int { return cmp.Compare(balls[i], balls[j]) })
		for _, i := range pairs {
			q := &p.pairs[i]
			if balls[i] >= best {
				break
			}
			s.need[i] = q.required + min(best, 1e9)
			if math.IsInf(best, 1) || s.bound(&v, i, q, 0) < 0 {
				g := solid.Distance(p.bodies[q.a].shape, *s.shape(&v, q.b))
				best = min(best, g.Lower-q.required)
			}
		}
	}
	return best
}
