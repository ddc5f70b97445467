package solid

import "math"

// Core is the solid less its outer layer: a solid inside of it whose faces lie depth farther in, or as far as it is thick enough for
// that. Of a cone the rims may lie half as much farther in, or its side less, of a hull its points go toward their mean and its faces by less than depth. Of solids
// that overlap by little the cores stand apart, so that it can be told which way leads out.
func (s Shape) Core(depth float64) Shape {
	if !(depth > 0) {
		return s
	}
	out := s
	switch s.kind {
	case SphereKind, CapsuleKind:
		out.ra = s.ra - min(depth, s.ra)
		out.rb = out.ra
	case CylinderKind, FrustumKind:
		out.a, out.b, out.ra, out.rb = s.within(depth)
	case BoxKind:
		out.half = Point{X: s.half.X - min(depth, s.half.X), Y: s.half.Y - min(depth, s.half.Y), Z: s.half.Z - min(depth, s.half.Z)}
	case HullKind:
		out = s.shrunk(depth)
	case NoKind:
	}
	return out
}

// drawnIn bounds by how much more than depth the rim of a cone is drawn in for its side to stand depth farther in. Choice: the core of a flat
// cone, of which a needle would be left, is to be like it.
const drawnIn = 1.5

// within is the axis and the radii of a cone whose ends stand depth farther in, at most to near its middle, and its side too.
func (s *Shape) within(depth float64) (a, b Point, ra, rb float64) {
	along := s.b.Sub(s.a)
	l := along.Norm()
	if l == 0 {
		return s.a, s.b, s.ra - min(depth, s.ra), s.rb - min(depth, s.rb)
	}
	t := min(depth/l, 0.49)
	slant := min(drawnIn, math.Hypot(l, s.rb-s.ra)/l)
	at := func(t float64) float64 { return max(0, s.ra+(s.rb-s.ra)*t-depth*slant) }
	return s.a.Add(along.Scale(t)), s.b.Sub(along.Scale(t)), at(t), at(1 - t)
}

// shrunk is a hull less its radius first, and then drawn together about the mean of its points.
func (s *Shape) shrunk(depth float64) Shape {
	out := *s
	off := min(depth, s.ra)
	out.ra, out.rb = s.ra-off, s.ra-off
	mean, far := Point{}, 0.0
	for _, p := range s.hull.points {
		mean = mean.Add(p.Scale(1 / float64(len(s.hull.points))))
	}
	for _, p := range s.hull.points {
		far = max(far, p.Sub(mean).Norm())
	}
	if depth == off || far == 0 {
		return out
	}
	share := max(0, 1-(depth-off)/far)
	points := make([]Point, len(s.hull.points))
	for i, p := range s.hull.points {
		points[i] = mean.Add(p.Sub(mean).Scale(share))
	}
	out.hull = &cloud{points: points}
	out.slack += rounding(Point{}, s.ball)
	return out
}
