package solid

import "math"

// Within returns the radius of a ball about a point that the solid holds, which is no larger than the largest, and that but for rounding; -Inf where
// the point is not in it.
func (s Shape) Within(p Point) float64 {
	r := s.inner(p.Sub(s.centre)) - s.slack - rounding(s.centre, s.ball)
	if !(r >= 0) {
		return math.Inf(-1)
	}
	return r
}

// inner is Within of a point counted from the centre, negative outside, without rounding.
func (s *Shape) inner(p Point) float64 {
	switch s.kind {
	case SphereKind:
		return s.ra - p.Norm()
	case CapsuleKind:
		d := s.b.Sub(s.a)
		t := 0.0
		if dd := d.Dot(d); dd > 0 {
			t = min(max(p.Sub(s.a).Dot(d)/dd, 0), 1)
		}
		return s.ra - p.Sub(s.a).Sub(d.Scale(t)).Norm()
	case CylinderKind, FrustumKind:
		return s.withinCone(p)
	case BoxKind:
		own := s.turn.Inverse().Apply(p)
		return min(s.half.X-math.Abs(own.X), s.half.Y-math.Abs(own.Y), s.half.Z-math.Abs(own.Z))
	case HullKind:
		at, core := Shape{kind: SphereKind, centre: s.centre.Add(p)}, *s
		core.ra, core.rb = 0, 0
		return s.ra - distance(&at, &core, closely()).Upper
	case NoKind:
	}
	return math.Inf(-1)
}

// withinCone is how far a point lies from the ends and from the side of a cone, whichever is nearer.
func (s *Shape) withinCone(p Point) float64 {
	low, high := p.Sub(s.a).Dot(s.axis), s.b.Sub(p).Dot(s.axis)
	l := low + high
	if !(l > 0) {
		return math.Inf(-1)
	}
	off := p.Sub(s.a)
	off = off.Sub(s.axis.Scale(low))
	side := (s.ra + (s.rb-s.ra)*low/l - off.Norm()) * l / math.Hypot(l, s.rb-s.ra)
	return min(low, high, side)
}

// Round returns by how much the solid is grown about its core, mm: a sphere is a point grown, a capsule a segment, a hull may be one grown;
// every other solid is its own core.
func (s Shape) Round() float64 { return s.round() }
