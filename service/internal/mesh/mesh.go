package mesh

import (
	"errors"
	"fmt"
	"math"

	"keepclear.example/keepclear/service/internal/frame"
)

// Bounds on a mesh.
const (
	// MostFacets is the largest number of triangles of one mesh. Choice: ten times what a fine export of one part has; such a mesh is
	// read and wrapped in about two seconds, and coarser ones give the same hull.
	MostFacets = 1_000_000
	// LargestFile is the largest file taken, bytes: a million facets as text take some 200 MB.
	LargestFile = 256 << 20
	// farthest is the largest coordinate taken, in the unit of the file. Choice: a thousand kilometres in mm; products of three stay
	// finite.
	farthest = 1e9
)

// Drawing is the frame of a mesh: the directions and the origin of its file.
type Drawing struct{}

// Corner is a point of a mesh.
type Corner = frame.Vec[Drawing]

// Mesh is a mesh as its file has it, in the file's unit.
//
// Invariant: every coordinate is finite and within ±farthest; no two corners are equal; at least one facet has an area.
type Mesh struct {
	corners   []Corner
	facets    [][3]int32 // corners of each triangle, in the order of the file
	flat      int        // facets without area
	low, high Corner
}

// Facets returns the number of triangles, and how many of them have no area: corners in one place or on one line. Those are kept:
// what is drawn as a line is there.
func (m *Mesh) Facets() (all, flat int) { return len(m.facets), m.flat }

// Size returns the longest side of the least upright box around the mesh, in the unit of the file.
func (m *Mesh) Size() float64 {
	d := m.high.Sub(m.low)
	return max(d.X, d.Y, d.Z)
}

// ErrMesh is the class of every error of this package.
var ErrMesh = errors.New("mesh cannot be taken")

// Fault is what is wrong with a mesh, and where.
type Fault struct {
	Facet  int   // from 1; 0: not in one
	Line   int   // of a text, from 1; 0: not in one
	Byte   int64 // of a binary file, from 0; -1: not in one
	What   string
	Remedy string
}

// Error gives place and fault as one line.
func (f Fault) Error() string {
	place := ""
	switch {
	case f.Line > 0:
		place = fmt.Sprintf("line %d: ", f.Line)
	case f.Byte >= 0:
		place = fmt.Sprintf("byte %d: ", f.Byte)
	}
	if f.Facet > 0 {
		place = fmt.Sprintf("facet %d, %s", f.Facet, place)
	}
	return place + f.What
}

// Unwrap makes every fault one of ErrMesh.
func (f Fault) Unwrap() error { return ErrMesh }

// again is the remedy for files that were damaged on their way.
const again = "export or copy it again"

// nowhere is a fault of the whole mesh.
func nowhere(remedy, what string, args ...any) Fault {
	return Fault{Byte: -1, What: fmt.Sprintf(what, args...), Remedy: remedy}
}

// builder puts a mesh together, facet by facet.
type builder struct {
	m    Mesh
	seen table
}

func newBuilder(facets int) *builder {
	b := &builder{}
	b.m.facets = make([][3]int32, 0, facets)
	b.m.low = Corner{X: math.Inf(1), Y: math.Inf(1), Z: math.Inf(1)}
	b.m.high = b.m.low.Scale(-1)
	return b
}

// add takes in a facet, whose coordinates are known to be in range.
func (b *builder) add(f [3]Corner) {
	var at [3]int32
	for i, c := range f {
		c = c.Add(Corner{}) // -0 is 0
		b.m.low = Corner{X: min(b.m.low.X, c.X), Y: min(b.m.low.Y, c.Y), Z: min(b.m.low.Z, c.Z)}
		b.m.high = Corner{X: max(b.m.high.X, c.X), Y: max(b.m.high.Y, c.Y), Z: max(b.m.high.Z, c.Z)}
		at[i], b.m.corners = b.seen.put(b.m.corners, c)
	}
	b.m.facets = append(b.m.facets, at)
	if flat(f) {
		b.m.flat++
	}
}

// flatness is the height of a triangle, in units of its longest side, below which it has no area. Choice: some times the rounding
// of float32, in which binary meshes are written.
const flatness = 1e-6

func flat(f [3]Corner) bool {
	a, b, c := f[1].Sub(f[0]), f[2].Sub(f[1]), f[0].Sub(f[2])
	long := max(a.Norm(), b.Norm(), c.Norm())
	return a.Cross(b).Norm() <= flatness*long*long
}

// done hands the mesh over. One of lines alone is refused: no part is, so that its export has failed, while a few facets without
// area among others are ordinary.
func (b *builder) done() (*Mesh, error) {
	switch n := len(b.m.facets); {
	case n == 0:
		return nil, nowhere(again, "0 facets, want 1 to %d", MostFacets)
	case b.m.flat == n:
		return nil, nowhere(again, "none of its %d facets has an area", n)
	}
	return &b.m, nil
}

// inRange tells whether a coordinate is a number and near enough.
func inRange(v float64) bool { return math.Abs(v) <= farthest }
