package solid

import (
	"cmp"
	"slices"
)

// Leaving out points of a hull.
const (
	// mostPruned is the number of points with which each further one is compared; a rounder cloud keeps a few too many. Choice:
	// bounds the making of a hull of mostPoints to about a second.
	mostPruned = 1024
	// negligible is how far outside the others, in units of the size, a point may lie and still be left out. It is added to the
	// slack, so that nothing is lost. Choice: above the rounding of points in a plane, 1e-13.
	negligible = 1e-12
)

// prune returns the points without those that lie in the hull of others, farthest first, and the slack that covers what was
// left out. The points are counted from the centre, size is that of the farthest; it may reorder them.
func prune(points []Point, size float64) (kept []Point, slack float64) {
	slices.SortFunc(points, func(a, b Point) int {
		return cmp.Or(cmp.Compare(b.Dot(b), a.Dot(a)), cmp.Compare(a.X, b.X), cmp.Compare(a.Y, b.Y), cmp.Compare(a.Z, b.Z))
	})
	others := Shape{kind: HullKind, ball: up(size), turn: identity(), hull: &cloud{points: points[:1]}}
	kept = append(kept, points[0])
	for _, p := range points[1:] {
		if miss := others.misses(p, negligible*size); miss < negligible*size {
			slack = max(slack, miss)
			continue
		}
		kept = append(kept, p)
		others.hull.points = kept[:min(len(kept), mostPruned)]
	}
	return kept, slack
}

// misses returns an upper bound of the distance of a point, counted from the centre of s, from s; it may be rough once it is
// settled whether the distance is at least want.
func (s *Shape) misses(at Point, want float64) float64 {
	p := Shape{kind: SphereKind, centre: s.centre.Add(at)}
	return max(distance(&p, s, goal{want, want}).Upper, 0)
}
