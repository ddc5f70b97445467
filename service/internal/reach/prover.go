package reach

import (
	"math"
	"sync"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
)

type point = frame.Vec[frame.Rig]

// class says on which axes the gap of a pair depends.
type class uint8

const (
	groundAxis1 class = iota // on axis 1 alone
	axis1Axis2               // on axis 2 alone: seen from axis 1, only axis 2 turns
	groundAxis2              // on both
	classes
)

// turns tells which axes move the pairs of a class.
func (c class) turns() (axis1, axis2 bool) { return c != axis1Axis2, c != groundAxis1 }

// body is a body with what is asked of it often.
type body struct {
	shape  solid.Shape // at the zero pose
	centre point       // of a ball that holds it, at the zero pose
	radius float64
	part   int
}

// pair is a pair of bodies of different links; a stands still and b moves, in the frame of the lower link.
type pair struct {
	a, b     int32
	required float64
	// reach1 and reach2 bound how fast the gap changes with an axis, mm per radian. Turning b about an axis by an angle changes the
	// gap as turning a back by it does, so the smaller reach of the two counts. For groundAxis2 reach1 is that of a alone: that of b
	// depends on axis 2.
	reach1, reach2 float64
}

// Prover answers questions about one scene. What it answers never changes, and several goroutines may use it.
type Prover struct {
	chain  rig.Chain
	names  []string
	bodies []body
	pairs  []pair
	of     [classes][]int32 // indices of pairs
	// allowance is taken off every bound for rounding, mm. Derived: a bound comes from fewer than 100 operations on lengths up to
	// scale and on rotations out by less than 1e-13 (see straight), each rounded by 2^-53 of its size: 1.2e-13·scale. Taken as 1e-12.
	allowance float64
	why       string // what makes the scene unusable
	known     *known // what is proven of all of its axis space; nil: nothing beforehand
	fullest   bool   // this is the scene that is known
	// leastRequired is the least gap that pairs of a class require.
	leastRequired [classes]float64
	scratch       *sync.Pool // of *search, shared with other provers of a shelf
	leasts        sync.Pool
	mapped        func() *Map // of this scene, made when first asked for
}

// straight is by how much the length of an axis direction may miss 1. Choice: a hundred times the rounding of its making.
const straight = 1e-13

// New makes the prover of a scene. Of a scene that makes no sense (a body of no shape, an axis that is none) nothing can be proven.
func New(scene *rig.Scene) *Prover {
	p := &Prover{chain: *scene.Chain, names: scene.Names, scratch: new(sync.Pool)}
	p.mapped = sync.OnceValue(p.NewMap)
	c := &p.chain
	if !(math.Abs(c.Dir1.Norm()-1) <= straight && math.Abs(c.Dir2.Norm()-1) <= straight && c.Point1.Finite() && c.Point2.Finite()) {
		p.why = "an axis of the rig is no line"
		return p
	}
	scale := c.Point1.Norm() + c.Point2.Norm()
	for _, b := range scene.Bodies {
		centre, radius := b.Shape.Ball()
		p.bodies = append(p.bodies, body{shape: b.Shape, centre: centre, radius: radius, part: b.Part})
		scale = max(scale, centre.Norm()+radius+c.Point1.Norm()+c.Point2.Norm())
	}
	p.allowance = 1e-12 * scale
	for i, q := range scene.Pairs {
		p.add(int32(i), q, scene)
	}
	if math.IsInf(scale, 0) || math.IsNaN(scale) {
		p.why = "a part of the rig is no solid"
	}
	return p
}

func (p *Prover) add(i int32, q rig.Pair, scene *rig.Scene) {
	a, b := &scene.Bodies[q.A], &scene.Bodies[q.B]
	c := &p.chain
	out := pair{a: int32(q.A), b: int32(q.B), required: float64(q.Required)}
	kind := groundAxis2
	switch {
	case a.Link == rig.Ground && b.Link == rig.OnAxis1:
		kind = groundAxis1
		out.reach1 = min(reachOf(&a.Shape, c.Point1, c.Dir1), reachOf(&b.Shape, c.Point1, c.Dir1))
	case a.Link == rig.OnAxis1 && b.Link == rig.OnAxis2:
		kind = axis1Axis2
		out.reach2 = min(reachOf(&a.Shape, c.Point2, c.Dir2), reachOf(&b.Shape, c.Point2, c.Dir2))
	case a.Link == rig.Ground && b.Link == rig.OnAxis2:
		out.reach1 = reachOf(&a.Shape, c.Point1, c.Dir1)
		out.reach2 = reachOf(&b.Shape, c.Point2, c.Dir2)
	default:
		p.why = "a pair of parts does not name the lower link first"
	}
	if !(out.required > math.Inf(-1)) || math.IsInf(out.required, 1) {
		p.why = "a required gap is no number"
	}
	if len(p.of[kind]) == 0 || out.required < p.leastRequired[kind] {
		p.leastRequired[kind] = out.required
	}
	p.pairs = append(p.pairs, out)
	p.of[kind] = append(p.of[kind], i)
}

// reachOf returns the reach of a solid from a line, of one with rims at most: the exact reach of a rim takes a search, and what this
// adds (the sag of a rim that stands askew) the plane bound makes good.
func reachOf(s *solid.Shape, at, dir point) float64 {
	switch s.Kind() {
	case solid.CylinderKind, solid.FrustumKind:
	case solid.NoKind, solid.SphereKind, solid.CapsuleKind, solid.BoxKind, solid.HullKind:
		return s.Reach(at, dir)
	}
	a, b := s.Axis()
	ra, rb := s.Radii()
	return max(a.Sub(at).Cross(dir).Norm()+ra, b.Sub(at).Cross(dir).Norm()+rb)
}
