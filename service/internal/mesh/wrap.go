package mesh

import (
	"math"
	"slices"

	"keepclear.example/keepclear/service/internal/solid"
)

// Bounds on what a mesh is wrapped in.
const (
	// mostPoints is the largest number of points of one hull: a distance costs a look at each in every step. Choice, by measurement:
	// a tube 200 mm across is then grown by at most 0.12 mm, the roundest thing, a ball as large, by 2 mm.
	mostPoints = 200
	// nearEnough is how far a corner may stand out before another point is kept for it, mm. Choice: below what a tape shows.
	nearEnough = 0.01
	// mostPieces is the largest number of hulls of one mesh, mostParts that of pieces looked at, most of which must then lie within
	// others. Choice: each hull is a body of every scene.
	mostPieces = 64
	mostParts  = 10_000
	// mostTurns is how often a point is added that the hull on whole numbers thought to be near enough. Choice: it is needed for
	// thin pieces alone, and then once or twice.
	mostTurns = 8
	// outmost is the largest coordinate, mm. Choice: a kilometre; what lies farther from its origin never comes near a rig.
	outmost = 1e6
	// placing is added to what a hull is grown by, mm: a nanometre covers the rounding of putting points within outmost elsewhere, some
	// 16·2^-53 of it for each of two changes of place.
	placing = 1e-6
)

// Wrapped is a mesh as it will be judged.
type Wrapped struct {
	Pieces []Piece // in the order of the file
	Within int     // further pieces, left out since they lie within the solid of one of those
}

// Wrap wraps each piece of a mesh, or with together the whole of it, in the hull of a few points, scale millimetres being one unit of
// its file. The union of the pieces' solids holds every facet of the mesh.
func (m *Mesh) Wrap(scale float64, together bool) (*Wrapped, error) {
	if far := max(m.high.X, m.high.Y, m.high.Z, -m.low.X, -m.low.Y, -m.low.Z) * scale; !(far <= outmost) {
		return nil, nowhere("move its origin nearer, or look at the unit", "a corner %.3g mm from its origin, want at most %g", far, float64(outmost))
	}
	parts := m.sorted(together)
	if len(parts) > mostParts {
		return nil, tooManyPieces(len(parts), mostParts)
	}
	pieces, points := make([]Piece, len(parts)), make([][]Corner, len(parts))
	for i := range parts {
		pieces[i], points[i] = parts[i].piece(m, scale)
	}
	return wrapAll(pieces, points)
}

func tooManyPieces(n, most int) Fault {
	return nowhere("write pieces: together, export fewer, or let the program join what is one", "%d pieces that share no corner, want at most %d", n, most)
}

// wrapAll wraps pieces, largest first, and leaves out those that lie within one that is wrapped.
func wrapAll(pieces []Piece, points [][]Corner) (*Wrapped, error) {
	out := &Wrapped{}
	keep := make([]bool, len(pieces))
	var cores []core
	for _, i := range bySize(pieces) {
		p := &pieces[i]
		if heldByOne(cores, p, points[i]) {
			out.Within++
			continue
		}
		if len(cores) == mostPieces {
			return nil, tooManyPieces(len(pieces)-out.Within, mostPieces)
		}
		hull, err := p.wrap(points[i])
		if err != nil {
			return nil, err
		}
		keep[i], cores = true, append(cores, core{hull, p})
	}
	for i, p := range pieces {
		if keep[i] {
			out.Pieces = append(out.Pieces, p)
		}
	}
	return out, nil
}

// core is a piece that is wrapped, with the hull of its points.
type core struct {
	hull  solid.Shape
	piece *Piece
}

// heldByOne tells whether a piece lies within the solid of one that is wrapped.
func heldByOne(cores []core, p *Piece, points []Corner) bool {
	for _, c := range cores {
		if c.mayHold(p) && c.holds(points) {
			return true
		}
	}
	return false
}

// mayHold compares the upright boxes.
func (c core) mayHold(p *Piece) bool {
	g, low, high := c.piece.Grown, c.piece.Low, c.piece.High
	return p.Low.X >= low.X-g && p.Low.Y >= low.Y-g && p.Low.Z >= low.Z-g &&
		p.High.X <= high.X+g && p.High.Y <= high.Y+g && p.High.Z <= high.Z+g
}

func (c core) holds(points []Corner) bool {
	grown := c.piece.Grown - placing/2
	for _, p := range points {
		if off := offHull(p, c.hull, grown); !(off <= grown) {
			return false
		}
	}
	return true
}

// wrap fills in the points and the growth of a piece and what they enclose. The growth is no estimate: it is the largest of the
// proven upper bounds of the distance of every corner from the hull of the points.
func (p *Piece) wrap(points []Corner) (solid.Shape, error) {
	c := choose(points)
	for turn := 0; ; turn++ {
		hull, err := solid.Hull(c.few())
		if err != nil {
			return solid.Shape{}, err
		}
		worst, off := c.outmost(hull)
		if off > nearEnough && len(c.chosen) < mostPoints && turn < mostTurns && c.take(worst) {
			continue
		}
		for _, i := range c.chosen {
			p.Points = append(p.Points, points[i])
		}
		p.Grown = off + placing
		p.Hull, p.Skin = c.polytope.measure(points)
		return hull, nil
	}
}

// offHull bounds from above how far a corner stands out from a hull, mm; roughly, where it is less than enough.
func offHull(c Corner, hull solid.Shape, enough float64) float64 {
	point, err := solid.Sphere(solid.Point(c), 0)
	if err != nil {
		return math.Inf(1)
	}
	return solid.Against(&point, &hull, enough, math.Inf(1)).Upper
}

// choice is the points of a piece, and which of them are chosen.
type choice struct {
	points   []Corner
	polytope *polytope
	chosen   []int32
}

// choose picks the points that stand out most from the hull of those chosen before.
func choose(points []Corner) *choice {
	at, step := grid(points)
	c := &choice{points: points}
	c.polytope, c.chosen = newPolytope(at)
	for len(c.chosen) < mostPoints {
		i, high := c.polytope.farthest()
		if high*step <= nearEnough {
			break
		}
		c.polytope.grow(i)
		c.chosen = append(c.chosen, i)
	}
	return c
}

func (c *choice) few() (out []solid.Point) {
	for _, i := range c.chosen {
		out = append(out, solid.Point(c.points[i]))
	}
	return out
}

// outmost finds the point that stands out most from the hull of those chosen, and an upper bound of how far any does, mm.
func (c *choice) outmost(hull solid.Shape) (worst int32, off float64) {
	look := func(i int32) {
		if o := offHull(c.points[i], hull, off); o > off {
			worst, off = i, o
		}
	}
	for _, f := range c.polytope.faces { // the likely worst first: the others are then soon known to be nearer
		if f.high > 0 {
			look(f.far)
		}
	}
	for i := range c.points {
		look(int32(i))
	}
	return worst, off
}

// take chooses one point more; false where it is chosen already.
func (c *choice) take(i int32) bool {
	if slices.Contains(c.chosen, i) {
		return false
	}
	c.polytope.grow(i)
	c.chosen = append(c.chosen, i)
	return true
}
