package mesh

import (
	"cmp"
	"math"
	"slices"
)

// Piece is what of a mesh shares corners, in millimetres, and the solid that takes its place: everything within Grown of the hull of
// Points.
type Piece struct {
	Points []Corner // corners of it, as many as its hull needs, at most mostPoints
	Grown  float64  // every corner lies within so much of the hull of Points
	Hull   float64  // volume of that hull, mm³, without what it is grown by; 0 of a flat one
	Skin   float64  // its surface, mm²; 0 of a flat one

	Facets    int     // triangles drawn
	Corners   int     // corners drawn
	Low, High Corner  // the least upright box around them
	Closed    bool    // its facets close around what they enclose, all facing the same way
	Volume    float64 // what a closed one encloses, mm³; negative where the facets face inward; 0 of others
}

// Filled returns the share of the solid that the drawing does not fill, [0, 1): what is hollow or open in it. False where that cannot
// be told: flat pieces, and those that are not closed.
func (p *Piece) Filled() (share float64, ok bool) {
	solid := p.Hull + p.Skin*p.Grown
	if !p.Closed || p.Hull <= 0 {
		return 0, false
	}
	return min(max(1-math.Abs(p.Volume)/solid, 0), 1), true
}

// measured is what one pass over the facets tells of a piece, in the unit of the file.
type measured struct {
	facets  int
	six     float64 // six times the signed volume against its first corner
	edges   uint64  // sum over directed edges: 0 where each is met by its reverse
	corners []int32
}

// sorted returns the pieces in the order in which the file comes upon them; with together there is one.
func (m *Mesh) sorted(together bool) []measured {
	of, n := m.connected()
	if together {
		clear(of)
		n = 1
	}
	out := make([]measured, n)
	count := make([]int, n)
	for _, p := range of {
		count[p]++
	}
	all := make([]int32, len(of))
	for i, c := range count {
		out[i].corners, all = all[:0:c], all[c:]
	}
	for c, p := range of {
		out[p].corners = append(out[p].corners, int32(c))
	}
	for _, f := range m.facets {
		out[of[f[0]]].add(m, f)
	}
	return out
}

// add takes in a facet.
//
// The volume of a closed surface is Σ a·(b×c)/6 over its facets (the divergence theorem), from whichever point. It is closed, and
// its facets agree on which side is out, where every directed edge is met by its reverse; the sum of a hash of each edge, with its
// sign, is then 0, and by chance else once in 2^64.
func (p *measured) add(m *Mesh, f [3]int32) {
	at := m.corners[p.corners[0]]
	a, b, c := m.corners[f[0]].Sub(at), m.corners[f[1]].Sub(at), m.corners[f[2]].Sub(at)
	p.six += a.Dot(b.Cross(c))
	p.facets++
	for i, from := range f {
		switch to := f[(i+1)%3]; {
		case from < to:
			p.edges += mixed(uint64(from)<<32 | uint64(to))
		case from > to:
			p.edges -= mixed(uint64(to)<<32 | uint64(from))
		}
	}
}

// connected numbers the piece of each corner, in the order of the corners.
func (m *Mesh) connected() (of []int32, pieces int) {
	parent := make([]int32, len(m.corners))
	for i := range parent {
		parent[i] = int32(i)
	}
	for _, f := range m.facets {
		a := root(parent, f[0])
		for _, c := range f[1:] {
			b := root(parent, c) // the smaller number stands for both, so that the order is that of the file
			parent[max(a, b)], a = min(a, b), min(a, b)
		}
	}
	of = make([]int32, len(m.corners))
	for i := range of {
		if r := root(parent, int32(i)); int(r) == i {
			of[i] = int32(pieces)
			pieces++
		} else {
			of[i] = of[r]
		}
	}
	return of, pieces
}

// root finds the corner that stands for a piece, shortening the way for the next to ask.
func root(parent []int32, i int32) int32 {
	for parent[i] != i {
		parent[i] = parent[parent[i]]
		i = parent[i]
	}
	return i
}

// piece makes a piece of what was measured, without its hull; points are its corners in millimetres.
func (p *measured) piece(m *Mesh, scale float64) (out Piece, points []Corner) {
	points = make([]Corner, len(p.corners))
	for i, c := range p.corners {
		points[i] = m.corners[c].Scale(scale)
	}
	out = Piece{Facets: p.facets, Corners: len(points), Low: points[0], High: points[0], Closed: p.edges == 0}
	for _, c := range points {
		out.Low = Corner{X: min(out.Low.X, c.X), Y: min(out.Low.Y, c.Y), Z: min(out.Low.Z, c.Z)}
		out.High = Corner{X: max(out.High.X, c.X), Y: max(out.High.Y, c.Y), Z: max(out.High.Z, c.Z)}
	}
	if out.Closed {
		out.Volume = p.six / 6 * scale * scale * scale
	}
	return out, points
}

// bySize orders pieces by their longest diagonal, largest first; those of one size stay in the order of the file.
func bySize(pieces []Piece) []int {
	order := make([]int, len(pieces))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Compare(pieces[b].diagonal(), pieces[a].diagonal())
	})
	return order
}

func (p *Piece) diagonal() float64 { return p.High.Sub(p.Low).Norm() }
