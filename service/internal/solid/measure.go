package solid

import "math"

// Ball returns a ball that holds the whole solid; the least one for all kinds but hulls. Nothing bounds the zero Shape: its
// radius is infinite.
func (s Shape) Ball() (centre Point, radius float64) {
	if s.kind == NoKind {
		return Point{}, math.Inf(1)
	}
	return s.centre, s.ball + s.slack
}

// Bounds returns the corners of an upright box that holds the whole solid.
func (s Shape) Bounds() (low, high Point) {
	x, y, z := Point{X: 1}, Point{Y: 1}, Point{Z: 1}
	minus := func(p Point) Point { return p.Scale(-1) }
	low = Point{X: -s.SupportDistance(minus(x)), Y: -s.SupportDistance(minus(y)), Z: -s.SupportDistance(minus(z))}
	high = Point{X: s.SupportDistance(x), Y: s.SupportDistance(y), Z: s.SupportDistance(z)}
	return low, high
}

// Support returns a point of the solid that lies farthest along dir, of any length; where many do, one of them. For the zero
// vector it returns any point of the solid.
func (s Shape) Support(dir Point) Point {
	p := s.centre.Add(s.extreme(dir))
	if r := s.round(); r > 0 {
		p = p.Add(dir.Unit().Scale(r))
	}
	return p
}

// SupportDistance returns how far the solid reaches along dir, a unit vector, counted from the origin: no point p of it has
// p·dir greater. Rounding is added; infinite for the zero Shape and for a direction that is none.
func (s Shape) SupportDistance(dir Point) float64 {
	h := s.centre.Dot(dir) + s.extreme(dir).Dot(dir) + s.round()*dir.Norm()
	h += s.slack + rounding(s.centre, s.ball)
	if s.kind == NoKind || math.IsNaN(h) {
		return math.Inf(1)
	}
	return h
}

// extreme returns, from the centre, a point of the core that lies farthest along u, of any length.
func (s *Shape) extreme(u Point) Point {
	switch s.kind {
	case CapsuleKind:
		if s.a.Dot(u) > s.b.Dot(u) {
			return s.a
		}
		return s.b
	case CylinderKind, FrustumKind:
		return s.extremeOfRims(u)
	case BoxKind:
		return s.extremeOfBox(u)
	case HullKind:
		return s.extremeOfHull(u)
	case NoKind, SphereKind:
	}
	return Point{}
}

// extremeOfRims finds the point on the farther of the two rims of a frustum.
func (s *Shape) extremeOfRims(u Point) Point {
	out, n := s.across(u)
	if s.a.Dot(u)+s.ra*n > s.b.Dot(u)+s.rb*n {
		return s.a.Add(out.Scale(s.ra))
	}
	return s.b.Add(out.Scale(s.rb))
}

// across returns the unit vector of the part of u at right angles to the axis, and the length of that part; zeros where u
// runs along the axis.
func (s *Shape) across(u Point) (out Point, n float64) {
	p := u.Sub(s.axis.Scale(u.Dot(s.axis)))
	n = p.Norm()
	if n == 0 {
		return Point{}, 0
	}
	// Where u almost runs along the axis the rounding of p is no longer small against p, and the rim point would leave the plane
	// of its disc. Taking the axis out once more leaves eps·n.
	// Source: Giraud, Langou & Rozložník, Comput. Math. Appl. 50 (2005) 1069: "twice is enough".
	out = p.Scale(1 / n)
	out = out.Sub(s.axis.Scale(out.Dot(s.axis))).Unit()
	return out, n
}

func (s *Shape) extremeOfBox(u Point) Point {
	m := &s.turn.M
	h := s.half
	if m[0][0]*u.X+m[1][0]*u.Y+m[2][0]*u.Z < 0 {
		h.X = -h.X
	}
	if m[0][1]*u.X+m[1][1]*u.Y+m[2][1]*u.Z < 0 {
		h.Y = -h.Y
	}
	if m[0][2]*u.X+m[1][2]*u.Y+m[2][2]*u.Z < 0 {
		h.Z = -h.Z
	}
	return s.turn.Apply(h)
}

func (s *Shape) extremeOfHull(u Point) Point {
	own := s.turn.Inverse().Apply(u)
	points := s.hull.points
	best, at := points[0].Dot(own), 0
	for i := 1; i < len(points); i++ {
		if d := points[i].Dot(own); d > best {
			best, at = d, i
		}
	}
	return s.turn.Apply(points[at])
}
