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
func (s Shape) Bounds() (lower, upper Point) {
	x, y, z := Point{X: 1}, Point{Y: 1}, Point{Z: 1}
	minus := func(p Point) Point { return p.Scale(-1) }
	lower = Point{X: -s.SupportDistance(minus(x)), Y: -s.SupportDistance(minus(y)), Z: -s.SupportDistance(minus(z))}
	upper = Point{X: s.SupportDistance(x), Y: s.SupportDistance(y), Z: s.SupportDistance(z)}
	return lower, upper
}

// Support returns a point of the solid that lies farthest along dir, of any length; where many do, one of them. For the zero
// vector it returns any point of the solid.
func (s *Shape) Support(dir Point) Point {
	far, _ := s.extreme(dir)
	p := s.centre.Add(far)
	if r := s.round(); r > 0 {
		p = p.Add(dir.Unit().Scale(r))
	}
	return p
}

// SupportDistance returns how far the solid reaches along dir, a unit vector, counted from the origin: no point p of it has
// p·dir greater. Rounding is added; infinite for the zero Shape and for a direction that is none.
func (s *Shape) SupportDistance(dir Point) float64 {
	far, _ := s.extreme(dir)
	h := s.centre.Dot(dir) + far.Dot(dir) + s.round()*dir.Norm()
	h += s.slack + rounding(s.centre, s.ball)
	if s.kind == NoKind || math.IsNaN(h) {
		return math.Inf(1)
	}
	return h
}

// extreme returns, from the centre, a point of the core that lies farthest along u, of any length, and which feature it is on.
func (s *Shape) extreme(u Point) (Point, int32) {
	switch s.kind {
	case CapsuleKind:
		if s.a.Dot(u) > s.b.Dot(u) {
			return s.a, 0
		}
		return s.b, 1
	case CylinderKind, FrustumKind:
		return s.extremeOfRims(u)
	case BoxKind:
		return s.extremeOfBox(u)
	case HullKind:
		return s.extremeOfHull(u)
	case NoKind, SphereKind:
	}
	return Point{}, 0
}

// extremeOfRims finds the point on the farther of the two rims of a frustum.
func (s *Shape) extremeOfRims(u Point) (Point, int32) {
	out, n := s.across(u)
	if s.a.Dot(u)+s.ra*n > s.b.Dot(u)+s.rb*n {
		return s.a.Add(out.Scale(s.ra)), 0
	}
	return s.b.Add(out.Scale(s.rb)), 1
}

// rim returns the centre and radius of a rim of a frustum.
func (s *Shape) rim(feature int32) (centre Point, radius float64) {
	if feature == 0 {
		return s.a, s.ra
	}
	return s.b, s.rb
}

// across returns the unit vector of the part of u at right angles to the axis, and the length of that part; out is zero
// where u runs along the axis.
func (s *Shape) across(u Point) (out Point, n float64) {
	p := u.Sub(s.axis.Scale(u.Dot(s.axis)))
	n = p.Norm()
	// Below the rounding of its parts p points anywhere; the middle of the disc is then as far along u as any other point of it,
	// to r·16·eps.
	if n*n <= 16*eps*16*eps*u.Dot(u) {
		return Point{}, n
	}
	// Where u almost runs along the axis the rounding of p is no longer small against p, and the rim point would leave the plane
	// of its disc. Taking the axis out once more leaves eps·n.
	// Source: Giraud, Langou & Rozložník, Comput. Math. Appl. 50 (2005) 1069: "twice is enough".
	out = p.Scale(1 / n)
	out = out.Sub(s.axis.Scale(out.Dot(s.axis))).Unit()
	return out, n
}

func (s *Shape) extremeOfBox(u Point) (Point, int32) {
	m := &s.turn.M
	var i int32
	if m[0][0]*u.X+m[1][0]*u.Y+m[2][0]*u.Z < 0 {
		i |= 1
	}
	if m[0][1]*u.X+m[1][1]*u.Y+m[2][1]*u.Z < 0 {
		i |= 2
	}
	if m[0][2]*u.X+m[1][2]*u.Y+m[2][2]*u.Z < 0 {
		i |= 4
	}
	return s.corner(i), i
}

func (s *Shape) extremeOfHull(u Point) (Point, int32) {
	own := s.turn.Inverse().Apply(u)
	points := s.hull.points
	best, at := points[0].Dot(own), 0
	for i := 1; i < len(points); i++ {
		if d := points[i].Dot(own); d > best {
			best, at = d, i
		}
	}
	return s.corner(int32(at)), int32(at)
}

// corner returns one of the corners of a core that has corners, from the centre: an end of a capsule's axis; of a box's eight,
// bit k of i picking the side along its axis k; a point of a hull.
func (s *Shape) corner(i int32) Point {
	switch s.kind {
	case CapsuleKind:
		if i == 0 {
			return s.a
		}
		return s.b
	case HullKind:
		return s.turn.Apply(s.hull.points[i])
	case BoxKind:
		c := s.half
		if i&1 != 0 {
			c.X = -c.X
		}
		if i&2 != 0 {
			c.Y = -c.Y
		}
		if i&4 != 0 {
			c.Z = -c.Z
		}
		return s.turn.Apply(c)
	case NoKind, SphereKind, CylinderKind, FrustumKind:
	}
	return Point{}
}
