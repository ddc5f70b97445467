package mesh_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/mesh"
)

// nearest returns the point of a triangle nearest p. Source: Ericson, Real-Time Collision Detection (2005) 5.1.5, by regions.
func nearest(p, a, b, c mesh.Corner) mesh.Corner {
	best, far := a, math.Inf(1)
	try := func(q mesh.Corner) {
		if d := q.Sub(p).Norm(); d < far {
			best, far = q, d
		}
	}
	for _, e := range [3][2]mesh.Corner{{a, b}, {b, c}, {c, a}} {
		d := e[1].Sub(e[0])
		t := 0.0
		if n := d.Dot(d); n > 0 {
			t = min(max(p.Sub(e[0]).Dot(d)/n, 0), 1)
		}
		try(e[0].Add(d.Scale(t)))
	}
	n := b.Sub(a).Cross(c.Sub(a))
	if n.Norm() == 0 {
		return best
	}
	foot := p.Sub(n.Scale(p.Sub(a).Dot(n) / n.Dot(n)))
	inside := func(u, v mesh.Corner) bool { return v.Sub(u).Cross(foot.Sub(u)).Dot(n) >= 0 }
	if inside(a, b) && inside(b, c) && inside(c, a) {
		try(foot)
	}
	return best
}

// slowHull is the hull of a few points by the definition: a triangle of three of them is on it if all others lie on one side. Of many
// points in one plane the triangles at the first of them do. It shares nothing with the hull under test.
type slowHull struct {
	points []mesh.Corner
	faces  [][3]mesh.Corner
	planes []mesh.Corner // outward unit normal of each
	tol    float64
}

func newSlowHull(points []mesh.Corner) *slowHull {
	h := &slowHull{points: points}
	for _, p := range points {
		h.tol = max(h.tol, 1e-12*p.Sub(points[0]).Norm())
	}
	n := len(points)
	for i := range n {
		for j := i + 1; j < n; j++ {
			for k := j + 1; k < n; k++ {
				h.consider(i, points[i], points[j], points[k])
			}
		}
	}
	return h
}

func (h *slowHull) consider(first int, a, b, c mesh.Corner) {
	normal := b.Sub(a).Cross(c.Sub(a))
	if normal.Norm() == 0 {
		return
	}
	normal = normal.Unit()
	above, below := false, false
	for i, p := range h.points {
		d := p.Sub(a).Dot(normal)
		above, below = above || d > h.tol, below || d < -h.tol
		if above && below || i < first && math.Abs(d) <= h.tol {
			return
		}
	}
	if above {
		normal = normal.Scale(-1)
	}
	h.faces, h.planes = append(h.faces, [3]mesh.Corner{a, b, c}), append(h.planes, normal)
}

// off returns how far a point is outside; 0 inside.
func (h *slowHull) off(p mesh.Corner) float64 {
	outside := len(h.faces) == 0
	for i, f := range h.faces {
		outside = outside || p.Sub(f[0]).Dot(h.planes[i]) > 0
	}
	if !outside {
		return 0
	}
	far := math.Inf(1)
	for _, f := range h.faces {
		far = min(far, nearest(p, f[0], f[1], f[2]).Sub(p).Norm())
	}
	for i, a := range h.points { // all on one line
		for _, b := range h.points[:i+1] {
			if len(h.faces) == 0 {
				far = min(far, nearest(p, a, b, b).Sub(p).Norm())
			}
		}
	}
	return far
}

// wrapped reads and wraps facets as one text file.
func wrapped(t *testing.T, facets []facet, scale float64, together bool) *mesh.Wrapped {
	t.Helper()
	m, err := mesh.Read(textSTL(facets))
	require.NoError(t, err)
	w, err := m.Wrap(scale, together)
	require.NoError(t, err)
	return w
}

// reach is the support of points along a unit vector.
func reach(points []mesh.Corner, u mesh.Corner) float64 {
	far := math.Inf(-1)
	for _, p := range points {
		far = max(far, p.Dot(u))
	}
	return far
}

// A mesh needs an area; this one adds little to a cloud that has none.
func withArea(points []mesh.Corner) []facet {
	p := points[0]
	return append(cloud(points), facet{p, p.Add(at(1e-3, 0, 0)), p.Add(at(0, 1e-3, 0))})
}

// Every corner of every cloud lies within the growth of the hull of the points kept, by a hull of another making; and the support of
// the solid is that of all corners: never less, and no more than it was grown by.
func TestHullHoldsEveryCorner(t *testing.T) {
	for kind := range cloudKinds {
		for n, count := range []int{3, 4, 5, 8, 30, 250} {
			r := newMaker(uint64(kind), uint64(n))
			facets := withArea(r.points(kind, count))
			w := wrapped(t, facets, 1, true)
			require.Len(t, w.Pieces, 1)
			p := w.Pieces[0]
			all := corners(facets)
			require.LessOrEqual(t, len(p.Points), 200)
			h := newSlowHull(p.Points)
			for _, c := range all {
				assert.LessOrEqual(t, h.off(c), p.Grown, "cloud %d of %d: %v", kind, count, c)
			}
			for range 300 {
				u := r.dir()
				far, solid := reach(all, u), reach(p.Points, u)+p.Grown
				assert.GreaterOrEqual(t, solid, far, "cloud %d of %d", kind, count)
				assert.LessOrEqual(t, solid-p.Grown, far+1e-9, "cloud %d of %d", kind, count)
			}
			if len(p.Points) < 200 {
				assert.Less(t, p.Grown, 0.0101, "cloud %d of %d: nothing was simplified", kind, count)
			}
			t.Logf("cloud %d of %d: %d points, grown by %.3g", kind, count, len(p.Points), p.Grown)
		}
	}
}

func corners(facets []facet) (out []mesh.Corner) {
	for _, f := range facets {
		out = append(out, f[:]...)
	}
	return out
}
