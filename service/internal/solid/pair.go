package solid

import "math"

// pair is one question: two solids, and the best lower bound so far. It works on cores (the solids without what they are grown
// by) and on their difference, the set of all points of A less all points of B; the distance of the cores is that of the
// difference from the origin.
type pair struct {
	a, b      *Shape
	between   Point   // centre of A less centre of B
	grown     float64 // sum of the radii by which the cores are grown
	scale     float64 // length that bounds every intermediate result
	allowance float64 // what rounding may add to or take from a bound

	low  float64 // best lower bound of the signed separation of the cores, before the allowance
	dir  Point   // the unit vector from B to A that gave it
	high float64 // best upper bound, likewise

	rims bool // a solid has rims, which have no corners
}

// Rounding of one bound.
const (
	// perBound is the rounding of one bound in units of eps·scale. Derived, to first order in eps: the scalar product of a vertex
	// and a unit vector 3, of the length of the unit vector 3, a vertex itself 9 (the turning of a box corner or hull point, 6,
	// or a rim point; two sums), choosing the second best vertex 9, the middle of a disc for its rim 16: 40; taken as 48.
	perBound = 48
	// underflow covers squares of lengths that are lost below 1e-308, mm.
	underflow = 1e-140
)

func newPair(a, b *Shape) pair {
	p := pair{a: a, b: b, between: a.centre.Sub(b.centre), grown: a.round() + b.round()}
	p.scale = p.between.Norm() + a.ball + b.ball
	p.allowance = perBound*eps*p.scale + a.slack + b.slack + underflow
	p.rims = a.rims() || b.rims()
	p.low, p.high = math.Inf(-1), math.Inf(1)
	return p
}

// look returns the vertex of the difference that lies least far along the unit vector u, and how far that is: a lower bound of
// the separation of the cores, whichever u is.
func (p *pair) look(u Point) (vertex, float64) {
	a, fa := p.a.extreme(u.Scale(-1))
	b, fb := p.b.extreme(u)
	w := a.Sub(b).Add(p.between)
	return vertex{w: w, a: a, fa: fa, fb: fb}, w.Dot(u)
}

// note keeps a lower bound if it is the best.
func (p *pair) note(u Point, low float64) {
	if low > p.low {
		p.low, p.dir = low, u
	}
}

func (s *Shape) rims() bool { return s.kind == CylinderKind || s.kind == FrustumKind }
