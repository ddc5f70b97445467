package rig

import (
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// symmetry tells about which axes, at the zero pose, a solid may turn without taking up other space.
type symmetry struct{ about1, about2 bool }

func (c *Chain) symmetryOf(s solid.Shape) symmetry {
	return symmetry{round(s, c.Point1, c.Dir1), round(s, c.Point2, c.Dir2)}
}

// coaxial is how far a solid's own axis may stand off a mount's axis and still count as on it, mm: rounding of the expansion,
// far below anything that matters to a gap.
const coaxial = 1e-6

// round tells whether a solid is one of revolution about a line: a sphere with its centre there, or a capsule, cylinder or
// cone whose axis lies there. A disc does not tell its direction and never counts, nor do boxes and hulls.
func round(s solid.Shape, point, dir frame.Vec[frame.Rig]) bool {
	a, b := s.Axis()
	switch s.Kind() {
	case solid.SphereKind:
	case solid.CapsuleKind, solid.CylinderKind, solid.FrustumKind:
		if a == b {
			return false
		}
	case solid.NoKind, solid.BoxKind, solid.HullKind:
		return false
	}
	off := func(p solid.Point) float64 { return p.Sub(point).Cross(dir).Norm() }
	return off(a) <= coaxial && off(b) <= coaxial
}

// settled tells whether the gap of two bodies is the same at every pose; a's link is the lower.
//
// Derived: with R1, R2 the turns of the axes from zero, the gap of ground and axis 1 is that of A and R1·B, of axis 1 and
// axis 2 that of A and R2·B (R1 moves both), of ground and axis 2 that of A and R1·R2·B. A turn falls out where it leaves B
// as it is, or, applied backward, A.
func settled(a, b Link, of, to symmetry) bool {
	switch {
	case a == Ground && b == OnAxis1:
		return of.about1 || to.about1
	case a == OnAxis1 && b == OnAxis2:
		return of.about2 || to.about2
	case a == Ground && b == OnAxis2:
		return to.about2 && (of.about1 || to.about1) || of.about1 && of.about2
	}
	return false
}

// Settled is a pair of parts whose gap no motion changes, in any of their states.
type Settled struct {
	A, B string
	Gap  unit.Length // the proven lower bound
	Need unit.Length // their own margins and reading errors, where the file states them
}

// Settled returns the pairs of parts whose every gap is the same at every pose, less those that always touch.
func (r *Rig) Settled() []Settled {
	var out []Settled
	for i := range r.Parts {
		for j := range r.Parts {
			a, b := &r.Parts[i], &r.Parts[j]
			if a.Link >= b.Link || r.touches(i, j) || !r.Chain.allSettled(a, b) {
				continue
			}
			_, least := overlap(a, b, func(s, o solid.Shape) float64 { return solid.Distance(s, o).Lower }) // at zero, as at every pose
			out = append(out, Settled{a.Name, b.Name, unit.Length(least), a.Margin + a.Reading + b.Margin + b.Reading + r.placing(a.Link)})
		}
	}
	return out
}

// allSettled tells whether every two bodies of two parts are settled.
func (c *Chain) allSettled(a, b *Part) bool {
	others := b.taken(nil)
	for _, s := range a.taken(nil) {
		for _, o := range others {
			if !settled(a.Link, b.Link, c.symmetryOf(s), c.symmetryOf(o)) {
				return false
			}
		}
	}
	return true
}
