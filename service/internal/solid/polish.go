package solid

import "math"

const (
	// mostTurns bounds the Newton steps of one polish. They converge quadratically, from 1e-2 in about four; where the direction
	// runs almost along an axis, the distance from it grows by a factor of 1.5 a step first.
	mostTurns = 24
	// leastShare is the share below which a pair of features is left out. Choice: smaller ones change nothing but by rounding.
	leastShare = -1e-8
	// steepest is the least length of the part of a direction across an axis at which a rim point still turns smoothly with it;
	// nearer the axis the flat end faces along it, and the axis itself is tried as the direction. Choice: the error of a rim
	// point there is eps/1e-8 of its radius, along the rim, and is squared in the bounds.
	steepest = 1e-8
)

// edge is one pair of features (a corner or a rim of each solid) in the course of a polish.
type edge struct {
	vertex
	bend  [2]Point   // along which the vertex moves as the direction turns: tangents of the rims of A and of B
	speed [2]float64 // and how far per radian
}

// polish sharpens direction and point where rims meet. The descent converges but linearly there, because it knows a rim only
// by its points; here the pairs of features that it ended on are followed as the direction turns.
//
// Derived: the separation is the greatest, over unit vectors u, of the least of w(u)·u over all pairs of features, w(u) being
// the point of the difference that they have farthest against u. With shares l of the pairs that are least together, the
// conditions of Karush, Kuhn and Tucker are
//
//	sum l·w(u) = m·u,  w(u)·u = d for each,  sum l = 1,  u·u = 1
//
// and since d(w·u) = w·du, Newton's method needs but the bend of the rims, dw = -speed·bend·(bend·du). A pair whose share turns
// out negative holds the others apart instead of being held, and is left out. A wrong set of features or too rough a start
// only gives bounds that are no better than those known; they are bounds all the same.
//
// It starts from the simplex and the unit vector u and notes the lower bound; t is the simplex at the direction found, where
// there is one.
func (p *pair) polish(s *simplex, u Point) (t simplex, ok bool) {
	var e [4]edge
	n, share := features(s, &e)
	for range mostTurns {
		for i := range n {
			if !p.follow(&e[i], u) {
				return t, false
			}
		}
		du, next, ok := turn(e[:n], u, share)
		size := du.Dot(du)
		if !ok || !(size < 0.25) { // half a radian: the start was no start
			return t, false
		}
		u, share = u.Add(du).Unit(), next
		if size > 1e-20 { // at 1e-10 the next step is 1e-20, nothing
			continue
		}
		worst := lowest(share[:n])
		if share[worst] >= leastShare {
			break
		}
		n--
		e[worst], share[worst] = e[n], share[n]
	}
	_, low := p.look(u)
	p.note(u, low)
	return p.settle(e[:n], share, u)
}

// lowest returns the index of the least value.
func lowest(v []float64) int {
	at := 0
	for i := range v {
		if v[i] < v[at] {
			at = i
		}
	}
	return at
}

// features gathers the different pairs of features of the simplex, with their shares.
func features(s *simplex, e *[4]edge) (n int, share [4]float64) {
	for i := range s.n {
		j := 0
		for j < n && (e[j].fa != s.v[i].fa || e[j].fb != s.v[i].fb) {
			j++
		}
		if j == n {
			e[n].vertex = s.v[i]
			n++
		}
		share[j] += s.share[i]
	}
	return n, share
}

// follow moves the vertex to where its features have it for the direction u; false where a rim turns too fast to follow.
func (p *pair) follow(e *edge, u Point) bool {
	a, okA := p.a.follow(e.fa, u.Scale(-1), &e.bend[0], &e.speed[0])
	b, okB := p.b.follow(e.fb, u, &e.bend[1], &e.speed[1])
	e.a, e.w = a, a.Sub(b).Add(p.between)
	return okA && okB
}

// follow returns the point that one feature has farthest along the unit vector u, and how it moves as u turns.
func (s *Shape) follow(feature int32, u Point, bend *Point, speed *float64) (at Point, ok bool) {
	switch s.kind {
	case CylinderKind, FrustumKind:
		out, n := s.across(u)
		if n < steepest {
			return Point{}, false
		}
		c, r := s.rim(feature)
		*bend, *speed = s.axis.Cross(out), r/n
		return c.Add(out.Scale(r)), true
	case CapsuleKind, BoxKind, HullKind:
		return s.corner(feature), true
	case NoKind, SphereKind:
	}
	return Point{}, true
}

// turn solves one Newton step of polish for the change of u and the new shares.
func turn(e []edge, u Point, share [4]float64) (du Point, next [4]float64, ok bool) {
	var m system
	n := len(e)
	m.n = n + 5
	along := 0.0 // m of the conditions, to first order
	for i := range e {
		w := &e[i].w
		along += share[i] * w.Dot(u)
		m.couple(3+i, *w)
		m.a[3+i][3+n], m.a[3+n][3+i] = -1, 1
		for k := range 2 {
			m.bendBy(e[i].bend[k], share[i]*e[i].speed[k])
		}
	}
	for k := range 3 {
		m.a[k][k] -= along
	}
	m.couple(4+n, u)
	for k := range 3 { // the last column carries -m, so that the matrix is symmetric
		m.a[k][4+n] = -m.a[k][4+n]
	}
	for i := range e {
		m.a[3+i][9] = -e[i].w.Dot(u)
	}
	m.a[3+n][9] = 1
	x, ok := m.solve()
	copy(next[:], x[3:3+n])
	return Point{X: x[0], Y: x[1], Z: x[2]}, next, ok
}

// system is up to nine linear equations; column 9 is the right side.
type system struct {
	a [9][10]float64
	n int
}

// couple puts w into row and column i of the first three unknowns.
func (m *system) couple(i int, w Point) {
	m.a[0][i], m.a[1][i], m.a[2][i] = w.X, w.Y, w.Z
	m.a[i][0], m.a[i][1], m.a[i][2] = w.X, w.Y, w.Z
}

// bendBy takes k·u·uᵀ from the first three rows and columns.
func (m *system) bendBy(u Point, k float64) {
	v := [3]float64{u.X, u.Y, u.Z}
	for i := range 3 {
		for j := range 3 {
			m.a[i][j] -= k * v[i] * v[j]
		}
	}
}

// solve eliminates with the largest pivot of each column; false where there is none.
func (m *system) solve() (x [9]float64, ok bool) {
	for c := range m.n {
		best := c
		for r := c + 1; r < m.n; r++ {
			if math.Abs(m.a[r][c]) > math.Abs(m.a[best][c]) {
				best = r
			}
		}
		m.a[c], m.a[best] = m.a[best], m.a[c]
		pivot := m.a[c][c]
		if pivot == 0 {
			return x, false
		}
		for r := c + 1; r < m.n; r++ {
			if k := m.a[r][c] / pivot; k != 0 {
				for j := c + 1; j < m.n; j++ {
					m.a[r][j] -= k * m.a[c][j]
				}
				m.a[r][9] -= k * m.a[c][9]
			}
		}
	}
	for r := m.n - 1; r >= 0; r-- {
		v := m.a[r][9]
		for j := r + 1; j < m.n; j++ {
			v -= m.a[r][j] * x[j]
		}
		x[r] = v / m.a[r][r]
	}
	return x, true
}

// settle makes the simplex of the pairs of features at the direction u.
func (p *pair) settle(e []edge, share [4]float64, u Point) (t simplex, ok bool) {
	t.n = len(e)
	sum := 0.0
	for i := range e {
		if !p.follow(&e[i], u) {
			return t, false
		}
		t.v[i], t.share[i] = e[i].vertex, max(share[i], 0)
		sum += t.share[i]
	}
	for i := range e {
		t.share[i] /= sum
	}
	t.near = t.witness()
	return t, t.near.Finite()
}
