package solid

import "math"

// Sizes of the polytope.
const (
	// mostCorners bounds its vertices, and with them the work: enough for the exact depth of boxes and small hulls, and for 1e-10
	// of the size at most rims. Left open between the bounds, with one solid deep inside another, is 1e-2 of it at times, and a
	// tenth where rounding folds the surface early.
	mostCorners = 64
	// mostFacets is the number of triangles of a closed surface of that many vertices (Euler: 2v - 4).
	mostFacets = 2*mostCorners - 4
	// slack is the height above a facet, in units of scale, below which a vertex counts as in it. Choice: a few times the error of
	// the normal of a facet 1e-3 wide, so that facets that are almost one plane are not folded over one another.
	slack = 1e-12
	// slackOfRims is the width between the bounds, in units of scale, at which rims are near enough: each quarter of it costs
	// another vertex.
	slackOfRims = 1e-10
	// flat is the thickness of the difference, in units of scale, below which it counts as flat; the bounds at right angles to it
	// are then no further apart than that.
	flat = 1e-13
)

// facet is one triangle of the surface of the polytope, anticlockwise seen from outside.
type facet struct {
	at  [3]int
	out Point // unit normal, outward; zero for a triangle without area
	// off is a lower bound of how far the triangle is from the origin, negative where the origin is outside it.
	off float64
}

// polytope is a polytope within the difference that grows toward its surface.
//
// Invariant: facets form a closed surface; every vertex belongs to the difference.
type polytope struct {
	v  [mostCorners]vertex
	f  [mostFacets]facet
	nv int
	nf int
}

// deepen bounds the penetration depth of cores that share a point (or nearly so), starting from the simplex found around or at
// the origin, and leaves in s the triangle where the way out is shortest.
// Source: the expanding polytope (van den Bergen, Collision Detection in Interactive 3D Environments, 2004, 4.3.8).
func (p *pair) deepen(s *simplex, want goal) {
	var q polytope
	whole := *s
	if !p.inflate(&whole) || !q.wrap(&whole) {
		return
	}
	within, rough := slack*p.scale, firstPolish
	if p.rims {
		within = slackOfRims * p.scale
	}
	inner := math.Inf(-1)
	for {
		f := q.nearest()
		// The nearest facet of a growing polytope moves outward; if not, rounding has folded it, and what was found before holds.
		if f < 0 || !(q.f[f].off >= inner-within) {
			break
		}
		if q.f[f].off > inner {
			inner = q.f[f].off
			q.leave(f, &whole)
		}
		if inner > 0 && p.settled(-inner, want) {
			break
		}
		u := q.f[f].out.Scale(-1)
		v, low := p.look(u)
		p.note(u, low)
		gain := -low - q.f[f].off
		if p.rims && gain < rough*p.scale {
			rough /= nextPolish
			p.along(u)
			p.polish(&whole, u)
		}
		if min(gain, -p.low-inner) <= within || q.nv == mostCorners || !q.grow(v, p.scale) {
			break
		}
	}
	if inner > 0 {
		p.high, *s = -inner, whole
	}
}

// inflate adds vertices to the simplex until it is a tetrahedron; false where the difference is flat. Every look on the way
// gives a bound, so that flat ones are bounded too.
func (p *pair) inflate(s *simplex) bool {
	for s.n < 4 {
		var ways [3]Point
		switch s.n {
		case 1:
			ways = [3]Point{{X: 1}, {Y: 1}, {Z: 1}}
		case 2:
			ways = square(s.v[1].w.Sub(s.v[0].w))
		case 3:
			n := s.v[1].w.Sub(s.v[0].w).Cross(s.v[2].w.Sub(s.v[0].w))
			n = direction(n)
			ways = [3]Point{n, n, n}
		}
		v, far := p.farthest(s, ways)
		if !(far > flat*p.scale) {
			return false
		}
		s.v[s.n] = v
		s.n++
	}
	return true
}

// square returns two unit vectors at right angles to e and to one another, and the first again.
func square(e Point) [3]Point {
	e = direction(e)
	x, y, z := math.Abs(e.X), math.Abs(e.Y), math.Abs(e.Z)
	pick := Point{X: 1}
	if y <= x && y <= z {
		pick = Point{Y: 1}
	} else if z <= x && z <= y {
		pick = Point{Z: 1}
	}
	f := e.Cross(pick).Unit()
	return [3]Point{f, e.Cross(f), f}
}

// farthest looks along some ways and against them for the vertex farthest from the simplex, as measured along the way.
func (p *pair) farthest(s *simplex, ways [3]Point) (best vertex, far float64) {
	for _, way := range ways {
		for _, u := range [2]Point{way, way.Scale(-1)} {
			v, low := p.look(u)
			p.note(u, low)
			if d := math.Abs(v.w.Sub(s.v[0].w).Dot(u)); d > far {
				best, far = v, d
			}
		}
	}
	return best, far
}

// wrap makes the surface of the tetrahedron; false where it has no volume.
func (q *polytope) wrap(s *simplex) bool {
	q.nv = copy(q.v[:], s.v[:])
	e, f, g := q.v[1].w.Sub(q.v[0].w), q.v[2].w.Sub(q.v[0].w), q.v[3].w.Sub(q.v[0].w)
	volume := e.Cross(f).Dot(g)
	if volume == 0 || math.IsNaN(volume) {
		return false
	}
	if volume < 0 { // make 0, 1, 2 anticlockwise seen from outside, where 3 is not
		q.v[1], q.v[2] = q.v[2], q.v[1]
	}
	for _, t := range [4][3]int{{0, 2, 1}, {0, 1, 3}, {1, 2, 3}, {2, 0, 3}} {
		q.add(t)
	}
	return true
}

// add puts a triangle on the surface.
func (q *polytope) add(at [3]int) {
	a, b, c := q.v[at[0]].w, q.v[at[1]].w, q.v[at[2]].w
	f := facet{at: at, off: math.Inf(1)}
	if n := b.Sub(a).Cross(c.Sub(a)); n != (Point{}) {
		f.out = direction(n)
		// Any unit vector gives a bound in this way, however badly a slender triangle's normal is known.
		f.off = min(f.out.Dot(a), f.out.Dot(b), f.out.Dot(c))
	}
	q.f[q.nf] = f
	q.nf++
}

// nearest returns the triangle nearest the origin; -1 where none has an area.
func (q *polytope) nearest() int {
	best, at := math.Inf(1), -1
	for i := range q.nf {
		if q.f[i].off < best {
			best, at = q.f[i].off, i
		}
	}
	return at
}

// grow takes a vertex outside the surface into the polytope; false where it is not outside, or no room is left.
func (q *polytope) grow(v vertex, scale float64) bool {
	var rim [3 * mostFacets][2]int // directed edges of the triangles that see v, less those shared by two
	edges, kept := 0, 0
	var keep [mostFacets]facet
	for i := range q.nf {
		f := &q.f[i]
		if f.out.Dot(v.w.Sub(q.v[f.at[0]].w)) <= slack*scale {
			keep[kept] = *f
			kept++
			continue
		}
		for j := range 3 {
			edges = toggle(rim[:], edges, f.at[j], f.at[(j+1)%3])
		}
	}
	if edges < 3 || kept+edges > mostFacets {
		return false
	}
	q.nf = copy(q.f[:], keep[:kept])
	q.v[q.nv] = v
	for _, e := range rim[:edges] {
		q.add([3]int{e[0], e[1], q.nv})
	}
	q.nv++
	return true
}

// toggle adds the directed edge from i to j, or takes its reverse away.
func toggle(rim [][2]int, n, i, j int) int {
	for k := range n {
		if rim[k] == [2]int{j, i} {
			rim[k] = rim[n-1]
			return n - 1
		}
	}
	rim[n] = [2]int{i, j}
	return n + 1
}

// leave makes s the triangle f, with the shares of its point nearest the origin.
func (q *polytope) leave(f int, s *simplex) {
	t := q.f[f].at
	*s = simplex{n: 3}
	for i := range 3 {
		s.v[i] = q.v[t[i]]
	}
	s.nearest()
}
