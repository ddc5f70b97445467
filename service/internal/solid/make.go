package solid

import (
	"errors"
	"fmt"
	"math"

	"keepclear.example/keepclear/service/internal/frame"
)

// ErrShape is the class of every error of this package: what was given makes no solid.
var ErrShape = errors.New("no solid")

// Bounds on what is given.
const (
	// farthest is the largest coordinate and size taken, mm. Choice: a thousand kilometres, so that no product of three lengths
	// comes near the end of float64 and a metre typed as a nanometre is noticed.
	farthest = 1e9
	// skewest is by how much the axes of a box may miss being orthonormal. Choice: far above the drift of a million composed
	// rotations (1e-16 each), far below any typing error.
	skewest = 1e-9
	// mostPoints is the largest number of points of one hull. Choice: keeps the making of one hull within about a second.
	mostPoints = 200_000
	// eps is the unit roundoff of float64, 2^-53.
	eps = 0x1p-53
)

// faults gathers everything wrong with one solid.
type faults struct {
	kind Kind
	all  []error
}

func (f *faults) add(format string, args ...any) {
	f.all = append(f.all, fmt.Errorf("%w: %s: %s", ErrShape, f.kind, fmt.Sprintf(format, args...)))
}

func (f *faults) point(name string, p Point) {
	if !p.Finite() || math.Abs(p.X) > farthest || math.Abs(p.Y) > farthest || math.Abs(p.Z) > farthest {
		f.add("%s is (%v, %v, %v), want coordinates in mm within ±%g", name, p.X, p.Y, p.Z, float64(farthest))
	}
}

func (f *faults) length(name string, v float64) {
	if !(v >= 0 && v <= farthest) {
		f.add("%s is %v mm, want one in [0, %g]", name, v, float64(farthest))
	}
}

func (f *faults) err() error { return errors.Join(f.all...) }

// Sphere makes the ball of a radius about a centre; radius 0 is a point.
func Sphere(centre Point, radius float64) (Shape, error) {
	f := faults{kind: SphereKind}
	f.point("the centre", centre)
	f.length("the radius", radius)
	if err := f.err(); err != nil {
		return Shape{}, err
	}
	return Shape{kind: SphereKind, centre: centre, ball: radius, ra: radius, rb: radius}, nil
}

// Capsule makes everything within a radius of the segment from a to b: its whole length is |b - a| + 2·radius. Radius 0 is a
// needle, a = b a sphere.
func Capsule(a, b Point, radius float64) (Shape, error) {
	f := faults{kind: CapsuleKind}
	f.point("the first end", a)
	f.point("the second end", b)
	f.length("the radius", radius)
	if err := f.err(); err != nil {
		return Shape{}, err
	}
	s := Shape{kind: CapsuleKind, centre: a.Add(b).Scale(0.5), ra: radius, rb: radius}
	s.a, s.b = a.Sub(s.centre), b.Sub(s.centre)
	s.ball = up(max(s.a.Norm(), s.b.Norm()) + radius)
	s.slack = rounding(s.centre, s.ball)
	return s, nil
}

// Cylinder makes a cylinder with flat ends at a and b; radius 0 is a needle. Ends that coincide give no direction: for a flat
// one use Disc.
func Cylinder(a, b Point, radius float64) (Shape, error) {
	f := faults{kind: CylinderKind}
	f.length("the radius", radius)
	return tapered(&f, a, b, radius, radius)
}

// Frustum makes the piece of a cone with flat ends, of radius ra at a and rb at b; one of them 0 is a pointed cone. Ends that
// coincide give no direction: for a flat one use Disc.
func Frustum(a, b Point, ra, rb float64) (Shape, error) {
	f := faults{kind: FrustumKind}
	f.length("the radius at the first end", ra)
	f.length("the radius at the second end", rb)
	return tapered(&f, a, b, ra, rb)
}

func tapered(f *faults, a, b Point, ra, rb float64) (Shape, error) {
	f.point("the first end", a)
	f.point("the second end", b)
	along := b.Sub(a)
	if along.Norm() == 0 {
		f.add("both ends are at (%v, %v, %v), which leaves its direction open; give two ends, or a disc with its direction", a.X, a.Y, a.Z)
	}
	if err := f.err(); err != nil {
		return Shape{}, err
	}
	s := Shape{kind: f.kind, axis: direction(along), ra: ra, rb: rb}
	// The least ball about two coaxial circles: its centre is as far from both rims, t from a, or the centre of the larger.
	// Derived: t² + ra² = (l - t)² + rb².
	l := along.Norm()
	t := min(max((l+(rb-ra)*((rb+ra)/l))/2, 0), l)
	s.centre = a.Add(along.Scale(t / l))
	s.a, s.b = a.Sub(s.centre), b.Sub(s.centre)
	s.ball = up(max(math.Hypot(s.a.Norm(), ra), math.Hypot(s.b.Norm(), rb)))
	s.slack = rounding(s.centre, s.ball)
	return s, nil
}

// Disc makes a flat round plate of no thickness about a centre, facing along normal (of any length but 0). Its kind is
// FrustumKind.
func Disc(centre, normal Point, radius float64) (Shape, error) {
	f := faults{kind: FrustumKind}
	f.point("the centre", centre)
	f.point("the direction", normal)
	f.length("the radius", radius)
	if normal.Norm() == 0 { // of a subnormal length too
		f.add("the direction is zero, want the way the disc faces")
	}
	if err := f.err(); err != nil {
		return Shape{}, err
	}
	return Shape{kind: FrustumKind, centre: centre, ball: radius, axis: direction(normal), ra: radius, rb: radius}, nil
}

// Box makes a box about its centre. axes turns x, y, z into the box's own axes (its columns are they); half holds the half
// sizes along them; any may be 0 (a rectangle, a needle, a point).
func Box(centre Point, axes Turn, half Point) (Shape, error) {
	f := faults{kind: BoxKind}
	f.point("the centre", centre)
	f.length("the first half size", half.X)
	f.length("the second half size", half.Y)
	f.length("the third half size", half.Z)
	if !orthonormal(axes) {
		f.add("its axes are %v, want three unit vectors at right angles to within %g", axes.M, skewest)
	}
	if err := f.err(); err != nil {
		return Shape{}, err
	}
	// A box whose axes are out by skewest is larger than its half sizes by as much.
	return Shape{kind: BoxKind, centre: centre, ball: up(half.Norm() * (1 + 3*skewest)), turn: axes, half: half}, nil
}

func orthonormal(r Turn) bool {
	back := frame.Then(r, r.Inverse())
	for i := range 3 {
		for j := range 3 {
			want := 0.0
			if i == j {
				want = 1
			}
			if !(math.Abs(back.M[i][j]-want) <= skewest) {
				return false
			}
		}
	}
	return true
}

// Hull makes the convex hull of points, which may lie in one plane, on one line or in one place. Those inside the hull of the
// others are left out. A support costs a look at every point kept: some thousands are a lot.
func Hull(points []Point) (Shape, error) { return GrownHull(points, 0) }

// GrownHull makes everything within a radius of the convex hull of points: what a hull is to a point, this is to a sphere.
func GrownHull(points []Point, radius float64) (Shape, error) {
	f := faults{kind: HullKind}
	f.length("the radius", radius)
	if len(points) == 0 || len(points) > mostPoints {
		f.add("it has %d points, want 1 to %d", len(points), mostPoints)
	}
	for i, p := range points {
		if f.point(fmt.Sprintf("point %d", i), p); len(f.all) > 10 {
			f.add("and perhaps more")
			break
		}
	}
	if err := f.err(); err != nil {
		return Shape{}, err
	}
	s := Shape{kind: HullKind, turn: identity(), centre: middle(points), ra: radius, rb: radius}
	own, size := make([]Point, len(points)), 0.0
	for i, p := range points {
		own[i] = p.Sub(s.centre)
		size = max(size, own[i].Norm())
	}
	size = up(size)
	s.ball = up(size + radius)
	s.slack = rounding(s.centre, s.ball)
	kept, slack := prune(own, size)
	s.hull = &cloud{points: kept}
	s.slack += slack
	return s, nil
}

// middle returns the centre of the least upright box around the points.
func middle(points []Point) Point {
	least, most := points[0], points[0]
	for _, p := range points {
		least = Point{X: min(least.X, p.X), Y: min(least.Y, p.Y), Z: min(least.Z, p.Z)}
		most = Point{X: max(most.X, p.X), Y: max(most.Y, p.Y), Z: max(most.Z, p.Z)}
	}
	return least.Add(most).Scale(0.5)
}

// direction returns the unit vector along v, also where the squares of its components underflow or lose digits to that; zero for
// the zero vector.
func direction(v Point) Point {
	m := max(math.Abs(v.X), math.Abs(v.Y), math.Abs(v.Z))
	if m == 0 {
		return Point{}
	}
	if m < 0x1p-500 { // 1/m may be infinite
		v, m = v.Scale(0x1p600), m*0x1p600
	}
	return v.Scale(1 / m).Unit()
}

// up returns a length made a little larger, by more than the rounding of the few operations that it came from.
func up(v float64) float64 { return v * (1 + 16*eps) }

// rounding bounds by how much rounding shifts the points of a solid that is made about, or moved to, a centre.
// Derived: each coordinate is the outcome of at most 9 operations on numbers no larger than |centre| + size, and the three of
// them differ by at most √3 · 9 eps < 16 eps times that.
func rounding(centre Point, size float64) float64 { return 16 * eps * (centre.Norm() + size) }

func identity() Turn { return frame.Identity[frame.Rig]() }
