package solid

import (
	"fmt"
	"strings"

	"keepclear.example/keepclear/service/internal/frame"
)

// Point is a point or direction in the rig frame, millimetres.
type Point = frame.Vec[frame.Rig]

// Turn is a rotation within the rig frame.
type Turn = frame.Rot[frame.Rig, frame.Rig]

// Motion is a rigid motion within the rig frame.
type Motion = frame.Motion[frame.Rig]

// Kind says what a solid is. The zero Kind is that of the zero Shape, which is no solid.
type Kind uint8

// The kinds.
const (
	NoKind        Kind = iota
	SphereKind         // centre, radius
	CapsuleKind        // everything within a radius of a segment
	CylinderKind       // two axis ends, one radius, flat ends
	FrustumKind        // two axis ends, a radius at each, flat ends; a disc where the ends coincide
	BoxKind            // centre, axes, half sizes
	HullKind           // everything within a radius, most often 0, of the convex hull of points
	numberOfKinds = iota
)

// String returns the word for the kind.
func (k Kind) String() string {
	if k >= numberOfKinds {
		return "no solid"
	}
	return [numberOfKinds]string{"no solid", "sphere", "capsule", "cylinder", "frustum", "box", "hull"}[k]
}

// Shape is one convex solid at one place. It is a value without pointers to anything that changes, about 300 bytes; the zero
// Shape is no solid and nothing can be proven about it.
//
// All its points are kept from the centre, so that rounding goes with the size of the solid and not with how far it stands
// from the origin.
type Shape struct {
	kind   Kind
	centre Point   // of the bounding ball
	ball   float64 // radius of the bounding ball about the centre, rounded up
	a, b   Point   // ends of the axis, from the centre (capsule, cylinder, frustum)
	axis   Point   // unit vector from a to b (cylinder, frustum)
	ra, rb float64 // radii at a and at b; sphere, capsule, hull: both the radius
	turn   Turn    // box, hull: turns own axes into the rig's
	half   Point   // box: half sizes along its own axes
	hull   *cloud  // hull: its points, never written after New
	// Invariant: every point of the solid meant lies within slack of the solid stored, and the reverse: the rounding of all
	// moves since it was made.
	slack float64
}

// cloud is the points of a hull in its own axes, from its centre.
type cloud struct{ points []Point }

// Kind returns what the solid is.
func (s Shape) Kind() Kind { return s.kind }

// Centre returns the centre of the solid's bounding ball; of a sphere and a box the centre itself.
func (s Shape) Centre() Point { return s.centre }

// Axis returns the two ends of the axis of a capsule, cylinder or frustum; of any other solid its centre twice.
func (s Shape) Axis() (a, b Point) { return s.centre.Add(s.a), s.centre.Add(s.b) }

// Facing returns the unit vector along the axis of a cylinder, frustum or disc, from its first end to its second; zero for any
// other solid.
func (s Shape) Facing() Point { return s.axis }

// Radii returns the radii at the two ends of the axis, which are equal but for a frustum; of a hull twice what it is grown by; 0 for
// boxes.
func (s Shape) Radii() (a, b float64) { return s.ra, s.rb }

// HalfSizes returns the half sizes of a box along its own axes and the rotation that makes its axes of the rig's; zero and
// the identity for any other solid.
func (s Shape) HalfSizes() (half Point, axes Turn) {
	if s.kind != BoxKind {
		return Point{}, frame.Identity[frame.Rig]()
	}
	return s.half, s.turn
}

// Points returns the points that a hull is kept as, freshly made: those given, less the ones that lay inside; it may be grown about
// them (Radii). The corners of a box; nil for solids of other kinds.
func (s Shape) Points() []Point {
	switch s.kind {
	case HullKind:
		out := make([]Point, len(s.hull.points))
		for i := range out {
			out[i] = s.centre.Add(s.corner(int32(i)))
		}
		return out
	case BoxKind:
		out := make([]Point, 0, 8)
		for i := range int32(8) {
			out = append(out, s.centre.Add(s.corner(i)))
		}
		return out
	case NoKind, SphereKind, CapsuleKind, CylinderKind, FrustumKind:
	}
	return nil
}

// String describes the solid for a person: its kind, its dimensions and where it stands.
func (s Shape) String() string {
	a, b := s.Axis()
	switch s.kind {
	case SphereKind:
		return fmt.Sprintf("sphere, radius %s mm, at %s", short(s.ra), place(s.centre))
	case CapsuleKind, CylinderKind:
		return fmt.Sprintf("%s, radius %s mm, from %s to %s", s.kind, short(s.ra), place(a), place(b))
	case FrustumKind:
		if a == b {
			return fmt.Sprintf("disc, radius %s mm, at %s, facing %s", short(s.ra), place(a), place(s.axis))
		}
		return fmt.Sprintf("frustum, radius %s mm at %s to %s mm at %s", short(s.ra), place(a), short(s.rb), place(b))
	case BoxKind:
		return fmt.Sprintf("box, %s × %s × %s mm, at %s", short(2*s.half.X), short(2*s.half.Y), short(2*s.half.Z), place(s.centre))
	case HullKind:
		grown := ""
		if s.ra > 0 {
			grown = fmt.Sprintf(", grown by %s mm", short(s.ra))
		}
		return fmt.Sprintf("hull of %d points around %s%s", len(s.hull.points), place(s.centre), grown)
	case NoKind:
	}
	return "no solid"
}

func place(p Point) string { return "(" + short(p.X) + ", " + short(p.Y) + ", " + short(p.Z) + ")" }

// short writes a number with at most three decimals.
func short(v float64) string {
	s := strings.TrimRight(strings.TrimRight(fmt.Sprintf("%.3f", v), "0"), ".")
	if s == "-0" {
		return "0"
	}
	return s
}

// round returns by how much the solid is grown about its core: a sphere is a point grown, a capsule a segment, a hull may be one
// grown; every other solid is its own core.
func (s *Shape) round() float64 {
	if s.kind == SphereKind || s.kind == CapsuleKind || s.kind == HullKind {
		return s.ra
	}
	return 0
}
