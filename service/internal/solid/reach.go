package solid

import "math"

// Reach returns the greatest distance of any point of the solid from the line through point along the unit vector axis. It is
// never below the true one and above it by no more than 1e-12 of the solid's size and place. Infinite where the solid or the
// line is none.
func (s Shape) Reach(point, axis Point) float64 {
	r := s.reach(s.centre.Sub(point), axis)
	r += s.slack + rounding(s.centre, s.ball) + rounding(point, 0)
	n := axis.Norm()
	// A direction that is not of length 1 to 1e-9 was not meant as one.
	if s.kind == NoKind || math.IsNaN(r) || !(math.Abs(n-1) < 1e-9) {
		return math.Inf(1)
	}
	// The line of an axis a little too short or long is the same line; the distances below are out by its square.
	return r * (1 + 4*math.Abs(n-1))
}

// reach works from the centre of the solid, given from a point of the line.
func (s *Shape) reach(centre, axis Point) float64 {
	switch s.kind {
	case SphereKind, CapsuleKind:
		return max(off(centre.Add(s.a), axis), off(centre.Add(s.b), axis)) + s.ra
	case CylinderKind, FrustumKind:
		return max(s.reachOfRim(centre.Add(s.a), axis, s.ra), s.reachOfRim(centre.Add(s.b), axis, s.rb))
	case BoxKind:
		far := 0.0
		for i := range int32(8) {
			far = max(far, off(centre.Add(s.corner(i)), axis))
		}
		return far
	case HullKind:
		far := 0.0
		for _, p := range s.hull.points {
			far = max(far, off(centre.Add(s.turn.Apply(p)), axis))
		}
		return far + s.ra
	case NoKind:
	}
	return math.Inf(1)
}

// off returns the distance of p from the line through the origin along the unit vector axis.
func off(p, axis Point) float64 { return p.Cross(axis).Norm() }

// reachOfRim returns the greatest distance of a circle of radius r about centre, facing along the solid's axis, from the line
// through the origin along the unit vector axis.
//
// Derived: with q the part of centre at right angles to the line, w a unit vector in the plane of the circle and s the sine
// between the axis of the circle and the line, the squared distance of centre + r·w is |q|² + r² + 2·r·q·w - (r·s·w1)², w1
// counted along the shadow of the line on the plane. For every k > 0 it is no more than
// |q|² + r² + k + (r·q1)²/(k + r²s²) + (r·q2)²/k (weak duality of the constraint |w| = 1), with equality at the best k, where
// the slope is zero. Any k gives an upper bound, so that stopping early is safe.
func (s *Shape) reachOfRim(centre, axis Point, r float64) float64 {
	q := centre.Sub(axis.Scale(centre.Dot(axis)))
	far := q.Norm() + r // the triangle inequality
	e1, sine := s.across(axis)
	if e1 == (Point{}) || r == 0 {
		return far
	}
	e2 := s.axis.Cross(e1)
	q1, q2 := r*math.Abs(q.Dot(e1)), r*math.Abs(q.Dot(e2))
	rs2 := (r * sine) * (r * sine)
	if rs2 == 0 {
		return far
	}
	bound := func(k float64) float64 {
		v := k + q1*q1/(k+rs2)
		if q2 > 0 {
			v += q2 * q2 / k
		}
		return v
	}
	k := bestMultiplier(q1, q2, rs2)
	return min(far, math.Sqrt(q.Dot(q)+r*r+bound(k)))
}

// bestMultiplier finds the k ≥ 0 where (q1/(k + rs2))² + (q2/k)² = 1, by halving; 0 where there is none.
func bestMultiplier(q1, q2, rs2 float64) float64 {
	low, high := q2, q1+q2 // at q2 the sum is at least 1, at q1+q2 at most 1
	if q2 == 0 {
		return max(q1-rs2, 0)
	}
	for range 60 {
		k := low + (high-low)/2
		a, b := q1/(k+rs2), q2/k
		if a*a+b*b > 1 {
			low = k
		} else {
			high = k
		}
	}
	return high
}
