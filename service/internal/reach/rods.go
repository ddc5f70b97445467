package reach

import (
	"math"

	"keepclear.example/keepclear/service/internal/solid"
)

// This file holds bodies in simpler solids, whose gaps take some ten operations each: lower bounds by which pairs are put in order before any is looked
// at exactly. A tube beside a leg, or above the ground, is hardly farther from it than its rod is; the balls that hold them may well run through each other.

// rod holds a body: everything within round of the segment from a to b, and between each of its pairs of planes.
type rod struct {
	a, b  point
	round float64
	slabs [3]slab
	n     int8 // how many of those there are
}

// slab is everything between two planes: low ≤ x·out ≤ high, out being a unit vector.
type slab struct {
	out       point
	low, high float64
}

// rodOf makes the rod of a body at the zero pose. Its line is the axis of what has one, else the way between two points that lie far apart.
func rodOf(s *solid.Shape) rod {
	a, b := s.Axis()
	switch s.Kind() {
	case solid.SphereKind, solid.CapsuleKind:
		along := b.Sub(a).Unit()
		if along == (point{}) {
			along = point{X: 1}
		}
		return rod{a: a, b: b, round: s.Reach(a, along)}
	case solid.CylinderKind, solid.FrustumKind:
		out := rod{a: a, b: b, round: s.Reach(a, s.Facing())}
		out.add(s, s.Facing())
		return out
	case solid.BoxKind:
		_, turn := s.HalfSizes()
		axes := [3]point{}
		for i := range 3 {
			axes[i] = point{X: turn.M[0][i], Y: turn.M[1][i], Z: turn.M[2][i]}.Unit()
		}
		return rodAlong(s, axes)
	case solid.HullKind:
		return rodAlong(s, axesOf(s))
	case solid.NoKind:
	}
	return rod{round: math.Inf(1)}
}

// add adds the slab of a body along a unit vector.
func (r *rod) add(s *solid.Shape, out point) {
	r.slabs[r.n] = slab{out, -s.SupportDistance(out.Scale(-1)), s.SupportDistance(out)}
	r.n++
}

// rodAlong makes the rod of a body along whichever of three unit vectors, at right angles to each other, it is longest.
func rodAlong(s *solid.Shape, axes [3]point) rod {
	var out rod
	for _, axis := range axes {
		out.add(s, axis)
	}
	longest := 0
	for i := range out.slabs {
		if l := &out.slabs[i]; l.high-l.low > out.slabs[longest].high-out.slabs[longest].low {
			longest = i
		}
	}
	c := point{}
	for i := range out.slabs {
		c = c.Add(axes[i].Scale((out.slabs[i].low + out.slabs[i].high) / 2))
	}
	half := axes[longest].Scale((out.slabs[longest].high - out.slabs[longest].low) / 2)
	out.a, out.b, out.round = c.Sub(half), c.Add(half), s.Reach(c, axes[longest])
	return out
}

// axesOf are three unit vectors at right angles along which a body is long, less so, and least: from a point of it as far from its middle as any to one as
// far from that, and so on across.
func axesOf(s *solid.Shape) [3]point {
	x := farWay(s, point{X: 1})
	y := farWay(s, anyAcross(x))
	y = y.Sub(x.Scale(y.Dot(x))).Unit()
	if !(y.Norm() > 0.5) || !(math.Abs(y.Dot(x)) < 1e-9) {
		y = anyAcross(x)
	}
	return [3]point{x, y, x.Cross(y).Unit()}
}

// farWay is the direction between two points of a body that lie far apart, sought from some direction on; that direction itself where they do not.
func farWay(s *solid.Shape, from point) point {
	out := from
	for range 3 {
		d := s.Support(out).Sub(s.Support(out.Scale(-1)))
		if !(d.Norm() > shortest) {
			return from
		}
		out = d.Unit()
	}
	return out
}

// anyAcross is some unit vector at right angles to another.
func anyAcross(u point) point {
	pick := point{X: 1}
	if math.Abs(u.X) > 0.6 {
		pick = point{Y: 1}
	}
	return u.Cross(pick).Unit()
}

// moved is a rod carried along.
func (r *rod) moved(m *solid.Motion) rod {
	out := rod{a: m.Point(r.a), b: m.Point(r.b), round: r.round, n: r.n}
	for i := range r.n {
		s := &r.slabs[i]
		o := m.Dir(s.out)
		by := o.Dot(m.T)
		out.slabs[i] = slab{o, s.low + by, s.high + by}
	}
	return out
}

// apart bounds from below, but for rounding, how far the bodies of two rods are apart: negative or none where that is not seen.
func (r *rod) apart(o *rod) float64 {
	out := between(r.a, r.b, o.a, o.b) - r.round - o.round
	for i := range r.n {
		out = max(out, r.slabs[i].off(o))
	}
	for i := range o.n {
		out = max(out, o.slabs[i].off(r))
	}
	return out
}

// off is how far a rod lies outside of a slab.
func (s *slab) off(r *rod) float64 {
	a, b := s.out.Dot(r.a), s.out.Dot(r.b)
	return max(min(a, b)-r.round-s.high, s.low-max(a, b)-r.round)
}

// between bounds from below, but for rounding, the distance of the segments from a to b and from c to d: how far they are apart along the way
// between their nearest points. Of segments nearly parallel rounding spoils those (checks.md C1, E2), and the bound is less than it could be.
//
// Source: Ericson, Real-Time Collision Detection (2005), 5.1.9.
func between(a, b, c, d point) float64 {
	u, v, w := b.Sub(a), d.Sub(c), a.Sub(c)
	uu, vv, uv, uw, vw := u.Dot(u), v.Dot(v), u.Dot(v), u.Dot(w), v.Dot(w)
	s, t := 0.0, 0.0
	if det := uu*vv - uv*uv; det > 0 {
		s = share((uv*vw - uw*vv) / det)
	}
	switch t = (uv*s + vw) / vv; {
	case !(t > 0): // or the second is a point
		t, s = 0, share(-uw/uu)
	case t > 1:
		t, s = 1, share((uv-uw)/uu)
	}
	way := w.Add(u.Scale(s)).Sub(v.Scale(t))
	far := way.Norm()
	if !(far > shortest) {
		return 0
	}
	way = way.Scale(1 / far)
	along := w.Dot(way) // of a from c
	return along + min(0, u.Dot(way)) - max(0, v.Dot(way))
}

// share keeps a number within [0, 1]; one that is none counts as 0.
func share(v float64) float64 {
	if !(v > 0) {
		return 0
	}
	return min(v, 1)
}
