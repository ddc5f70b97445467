package solid_test

import (
	"math"
	"sort"

	"keepclear.example/keepclear/service/internal/solid"
)

// The second implementation: distance from the definition, min |a - b| over a in A, b in B, by accelerated projection onto the
// two solids (Beck & Teboulle, SIAM J. Imaging Sciences 2(1) 183, 2009, with the restart of O'Donoghue & Candès, Found. Comput.
// Math. 15 (2015) 715). It shares no code and no idea with the one under test: it knows of a solid how to project a point on
// it and how far it reaches along a direction, from the dimensions that the solid prints. It takes a thousand times as long.

// body is a solid as the second implementation knows it.
type body struct {
	kind   solid.Kind
	a, b   solid.Point // axis ends, or the centre twice
	u      solid.Point // axis
	ra, rb float64
	half   [3]float64
	axes   [3]solid.Point
	points []solid.Point
	size   float64 // of a ball about the centre
	at     solid.Point
}

// bodyOf takes a solid apart.
func bodyOf(s solid.Shape) body {
	o := body{kind: s.Kind()}
	o.at, o.size = s.Ball()
	o.a, o.b = s.Axis()
	o.ra, o.rb = s.Radii()
	switch s.Kind() {
	case solid.CylinderKind, solid.FrustumKind:
		o.u = s.Facing()
	case solid.BoxKind:
		h, r := s.HalfSizes()
		o.half = [3]float64{h.X, h.Y, h.Z}
		o.axes = [3]solid.Point{r.Apply(at(1, 0, 0)), r.Apply(at(0, 1, 0)), r.Apply(at(0, 0, 1))}
	case solid.HullKind:
		o.points = s.Points()
	case solid.NoKind, solid.SphereKind, solid.CapsuleKind:
	}
	return o
}

func clamp(v, low, high float64) float64 { return math.Min(math.Max(v, low), high) }

// onSegment returns the point of the segment nearest p.
func onSegment(p, a, b solid.Point) solid.Point {
	e := b.Sub(a)
	if e.Dot(e) == 0 {
		return a
	}
	return a.Add(e.Scale(clamp(p.Sub(a).Dot(e)/e.Dot(e), 0, 1)))
}

// project returns the point of the body nearest p.
func (o *body) project(p solid.Point) solid.Point {
	switch o.kind {
	case solid.SphereKind, solid.CapsuleKind:
		c := onSegment(p, o.a, o.b)
		d := p.Sub(c)
		if n := d.Norm(); n > o.ra {
			return c.Add(d.Scale(o.ra / n))
		}
		return p
	case solid.CylinderKind, solid.FrustumKind:
		return o.projectOnTaper(p)
	case solid.BoxKind:
		out := o.a
		for i := range 3 {
			out = out.Add(o.axes[i].Scale(clamp(p.Sub(o.a).Dot(o.axes[i]), -o.half[i], o.half[i])))
		}
		return out
	case solid.HullKind:
		c := projectOnHull(p, o.points)
		if d := p.Sub(c); d.Norm() > o.ra {
			return c.Add(d.Scale(o.ra / d.Norm()))
		}
		return p
	case solid.NoKind:
	}
	panic("no body")
}

// projectOnTaper works in the half plane through the axis and p, where a frustum is the trapezoid (0, 0), (l, 0), (l, rb),
// (0, ra).
func (o *body) projectOnTaper(p solid.Point) solid.Point {
	l := o.b.Sub(o.a).Norm()
	x := p.Sub(o.a).Dot(o.u)
	side := p.Sub(o.a).Sub(o.u.Scale(x))
	r := side.Norm()
	if x >= 0 && x <= l && r <= o.ra+(o.rb-o.ra)*x/math.Max(l, 1e-300) {
		return p
	}
	best, bx, br := math.Inf(1), 0.0, 0.0
	corners := [4]solid.Point{at(0, 0, 0), at(0, o.ra, 0), at(l, o.rb, 0), at(l, 0, 0)}
	for i := range 3 {
		q := onSegment(at(x, r, 0), corners[i], corners[i+1])
		if d := math.Hypot(q.X-x, q.Y-r); d < best {
			best, bx, br = d, q.X, q.Y
		}
	}
	out := o.a.Add(o.u.Scale(bx))
	if r > 0 {
		out = out.Add(side.Scale(br / r))
	}
	return out
}

// projectOnHull tries every corner, edge and triangle of the points, and every tetrahedron for the inside.
func projectOnHull(p solid.Point, points []solid.Point) solid.Point {
	best, at := math.Inf(1), p
	try := func(q solid.Point) {
		if d := q.Sub(p).Norm(); d < best {
			best, at = d, q
		}
	}
	n := len(points)
	for i := range n {
		try(points[i])
		for j := i + 1; j < n; j++ {
			try(onSegment(p, points[i], points[j]))
			for k := j + 1; k < n; k++ {
				if q, ok := onTriangle(p, points[i], points[j], points[k]); ok {
					try(q)
				}
				for l := k + 1; l < n; l++ {
					if inTetrahedron(p, points[i], points[j], points[k], points[l]) {
						return p
					}
				}
			}
		}
	}
	return at
}

// onTriangle returns the foot of the perpendicular from p if it falls inside.
func onTriangle(p, a, b, c solid.Point) (solid.Point, bool) {
	e, f := b.Sub(a), c.Sub(a)
	n := e.Cross(f)
	nn := n.Dot(n)
	if nn <= 1e-20*e.Dot(e)*f.Dot(f) {
		return p, false
	}
	d := p.Sub(a)
	s, t := d.Cross(f).Dot(n)/nn, e.Cross(d).Dot(n)/nn
	if s < 0 || t < 0 || s+t > 1 {
		return p, false
	}
	return a.Add(e.Scale(s)).Add(f.Scale(t)), true
}

func inTetrahedron(p, a, b, c, d solid.Point) bool {
	volume := func(a, b, c, d solid.Point) float64 { return b.Sub(a).Cross(c.Sub(a)).Dot(d.Sub(a)) }
	v := volume(a, b, c, d)
	if math.Abs(v) <= 1e-9*b.Sub(a).Norm()*c.Sub(a).Norm()*d.Sub(a).Norm() { // flat: its triangles serve
		return false
	}
	return volume(p, b, c, d)/v >= 0 && volume(a, p, c, d)/v >= 0 && volume(a, b, p, d)/v >= 0 && volume(a, b, c, p)/v >= 0
}

// extent returns the greatest x·u over the body.
func (o *body) extent(u solid.Point) float64 {
	switch o.kind {
	case solid.SphereKind, solid.CapsuleKind:
		return math.Max(o.a.Dot(u), o.b.Dot(u)) + o.ra*u.Norm()
	case solid.CylinderKind, solid.FrustumKind:
		side := u.Cross(o.u).Norm()
		return math.Max(o.a.Dot(u)+o.ra*side, o.b.Dot(u)+o.rb*side)
	case solid.BoxKind:
		h := o.a.Dot(u)
		for i := range 3 {
			h += o.half[i] * math.Abs(o.axes[i].Dot(u))
		}
		return h
	case solid.HullKind:
		h := math.Inf(-1)
		for _, p := range o.points {
			h = math.Max(h, p.Dot(u))
		}
		return h + o.ra*u.Norm()
	case solid.NoKind:
	}
	panic("no body")
}

// apart returns how far the bodies are apart along the unit vector u from B to A: a lower bound of the signed separation.
func apart(a, b *body, u solid.Point) float64 { return -a.extent(u.Scale(-1)) - b.extent(u) }

// slow bounds the distance of two bodies: high from a point of each, low from the best direction met. Overlapping bodies give
// high 0, or nearly.
func slow(a, b *body, mostTurns int) (low, high float64) {
	scale := a.size + b.size + a.at.Sub(b.at).Norm()
	x, y := a.project(b.at), b.project(a.at)
	xx, yy := x, y
	low, high = math.Inf(-1), math.Inf(1)
	t := 1.0
	for turn := range mostTurns {
		mid := xx.Add(yy).Scale(0.5)
		nx, ny := a.project(mid), b.project(mid)
		d := nx.Sub(ny)
		dist := d.Norm()
		high = math.Min(high, dist)
		if dist > 1e-140 { // else its square has lost digits to underflow, and d/dist is no unit vector
			low = math.Max(low, apart(a, b, d.Scale(1/dist)))
		}
		if high-low < 1e-11*scale || dist < 1e-13*scale || turn+1 == mostTurns {
			break
		}
		// Restart where the last step went against the momentum.
		if xx.Sub(nx).Dot(nx.Sub(x))+yy.Sub(ny).Dot(ny.Sub(y)) > 0 {
			t = 1
		}
		next := (1 + math.Sqrt(1+4*t*t)) / 2
		k := (t - 1) / next
		xx, yy = nx.Add(nx.Sub(x).Scale(k)), ny.Add(ny.Sub(y).Scale(k))
		x, y, t = nx, ny, next
	}
	return low, high
}

// climb raises the lower bound of the separation of overlapping bodies over directions: a coarse set, then ever smaller steps
// from the best of it.
func climb(r maker, a, b *body, coarse int) (best float64) {
	type ray struct {
		u   solid.Point
		low float64
	}
	rays := make([]ray, coarse)
	for i := range rays {
		u := r.dir()
		rays[i] = ray{u, apart(a, b, u)}
	}
	sort.Slice(rays, func(i, j int) bool { return rays[i].low > rays[j].low })
	best = math.Inf(-1)
	for _, start := range rays[:min(3, coarse)] {
		for step := 0.2; step > 1e-7; step *= 0.8 {
			for range 8 {
				u := start.u.Add(r.dir().Scale(step)).Unit()
				if low := apart(a, b, u); low > start.low {
					start = ray{u, low}
				}
			}
		}
		best = math.Max(best, start.low)
	}
	return best
}
