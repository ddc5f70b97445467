package solid

// vertex is one point w of the difference of two cores (points of A less points of B), with the point of A that it came from,
// counted from the centre of A, and the features (see extreme) that the two points are on.
type vertex struct {
	w, a   Point
	fa, fb int32
}

// simplex is the one to four vertices whose hull holds the point of the difference nearest the origin found so far.
//
// Invariant: share is not negative and sums to 1 to rounding; near is the point nearest the origin of the hull of the vertices.
type simplex struct {
	v     [4]vertex
	share [4]float64 // of each vertex in near
	n     int
	near  Point
}

// flattest is the sine of the angle below which a triangle counts as a segment. Choice: at it the normal is known to about
// eps/1e-13 = 1e-3, still good enough to choose a side by; below it only its edges are used.
const flattest = 1e-13

// nearest replaces the simplex, whose newest vertex is the last, by the face of it that holds the point nearest the origin.
// Only faces with the newest vertex can. It tells whether the origin lies inside a tetrahedron, which is then kept whole.
func (s *simplex) nearest() (inside bool) {
	best := candidate{square: s.v[s.n-1].w.Dot(s.v[s.n-1].w), n: 1, near: s.v[s.n-1].w}
	best.at[0], best.share[0] = s.n-1, 1
	last := s.n - 1
	for i := range last {
		best.trySegment(s, last, i)
		for j := i + 1; j < last; j++ {
			best.tryTriangle(s, last, i, j)
		}
	}
	if s.n == 4 && s.encloses() {
		return true
	}
	s.keep(&best)
	return false
}

// candidate is the best face found so far.
type candidate struct {
	square float64 // of its distance from the origin
	near   Point
	at     [3]int
	share  [3]float64
	n      int
}

// trySegment considers the inside of one edge.
func (c *candidate) trySegment(s *simplex, i, j int) {
	p, q := &s.v[i].w, &s.v[j].w
	e := q.Sub(*p)
	square := e.Dot(e)
	t := -p.Dot(e)
	if !(t > 0 && t < square) {
		return
	}
	t /= square
	near := p.Add(e.Scale(t))
	near = near.Sub(e.Scale(near.Dot(e) / square)) // the right angle to the edge decides how tight the lower bound is
	if d := near.Dot(near); d < c.square {
		*c = candidate{square: d, near: near, at: [3]int{i, j}, share: [3]float64{1 - t, t}, n: 2}
	}
}

// tryTriangle considers the inside of one face.
// Source: Ericson, Real-Time Collision Detection (2005), 3.4: barycentric shares as quotients of areas.
func (c *candidate) tryTriangle(s *simplex, i, j, k int) {
	p, q, r := &s.v[i].w, &s.v[j].w, &s.v[k].w
	e, f := q.Sub(*p), r.Sub(*p)
	n := e.Cross(f)
	square := n.Dot(n)
	if square <= flattest*flattest*e.Dot(e)*f.Dot(f) {
		return
	}
	shareR := p.Cross(e).Dot(n)
	shareQ := f.Cross(*p).Dot(n)
	shareP := square - shareQ - shareR
	if !(shareP > 0 && shareQ > 0 && shareR > 0) {
		return
	}
	near := n.Scale(p.Dot(n) / square)
	if d := near.Dot(near); d < c.square {
		*c = candidate{square: d, near: near, at: [3]int{i, j, k}, n: 3,
			share: [3]float64{shareP / square, shareQ / square, shareR / square}}
	}
}

// encloses tells whether the origin lies inside the tetrahedron, by the signs of the five volumes; if so it sets shares and
// nearest point.
func (s *simplex) encloses() bool {
	p, q, r, t := &s.v[0].w, &s.v[1].w, &s.v[2].w, &s.v[3].w
	qr, rt := q.Cross(*r), r.Cross(*t)
	// Six times the volume with the origin in place of each vertex in turn.
	vp := q.Dot(rt)
	vq := -p.Dot(rt)
	vr := p.Cross(*q).Dot(*t)
	vt := -p.Dot(qr)
	all := vp + vq + vr + vt
	if all < 0 {
		vp, vq, vr, vt, all = -vp, -vq, -vr, -vt, -all
	}
	if !(vp >= 0 && vq >= 0 && vr >= 0 && vt >= 0 && all > 0) {
		return false
	}
	s.share = [4]float64{vp / all, vq / all, vr / all, vt / all}
	s.near = s.witness()
	return true
}

// keep makes the candidate the simplex.
func (s *simplex) keep(c *candidate) {
	var v [3]vertex
	for i := range c.n {
		v[i] = s.v[c.at[i]]
	}
	for i := range c.n {
		s.v[i], s.share[i] = v[i], c.share[i]
	}
	s.n, s.near = c.n, c.near
}

// witness returns the point of the difference that the shares name.
func (s *simplex) witness() Point {
	var w Point
	for i := range s.n {
		w = w.Add(s.v[i].w.Scale(s.share[i]))
	}
	return w
}

// witnessA returns the point of A, from its centre, that the shares name.
func (s *simplex) witnessA() Point {
	var a Point
	for i := range s.n {
		a = a.Add(s.v[i].a.Scale(s.share[i]))
	}
	return a
}

// holds tells whether w is a vertex already.
func (s *simplex) holds(w Point) bool {
	for i := range s.n {
		if s.v[i].w == w {
			return true
		}
	}
	return false
}
