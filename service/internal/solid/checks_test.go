package solid_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

func at(x, y, z float64) solid.Point { return solid.Point{X: x, Y: y, Z: z} }

// upright is the rotation that changes nothing.
var upright = frame.Identity[frame.Rig]()

func turned(axis solid.Point, deg float64) solid.Turn { return frame.About(axis.Unit(), unit.Deg(deg)) }

func box(centre solid.Point, axes solid.Turn, x, y, z float64) solid.Shape {
	return must(solid.Box(centre, axes, at(x/2, y/2, z/2)))
}

// capsule makes one with an axis along z, turned about its centre.
func capsule(centre solid.Point, axes solid.Turn, length, radius float64) solid.Shape {
	half := axes.Apply(at(0, 0, length/2))
	return must(solid.Capsule(centre.Sub(half), centre.Add(half), radius))
}

func sphere(centre solid.Point, radius float64) solid.Shape {
	return must(solid.Sphere(centre, radius))
}

// known is a pair whose separation is published or derived elsewhere.
type known struct {
	name   string
	a, b   solid.Shape
	want   float64
	within float64
}

func (k known) check(t *testing.T) {
	t.Helper()
	for _, g := range []solid.Gap{solid.Distance(k.a, k.b), solid.Distance(k.b, k.a)} {
		// The published figure is itself rounded: half a digit of it is within the tolerance.
		assert.InDelta(t, k.want, (g.Lower+g.Upper)/2, k.within, "%s: %s to %s = [%.17g, %.17g], want %.17g", k.name, k.a, k.b, g.Lower, g.Upper, k.want)
		assert.Less(t, g.Upper-g.Lower, max(2*k.within, 1e-13), "%s: width", k.name)
	}
	assert.True(t, solid.AtLeast(k.a, k.b, k.want-2*k.within-1e-13), "%s: at least what it is", k.name)
	assert.False(t, solid.AtLeast(k.a, k.b, k.want+2*k.within+1e-13), "%s: at least more than it is", k.name)
}

// Source: Eberly, Robust Computation of Distance Between Line Segments (Geometric Tools), test pairs; distances verified with
// mpmath. In the second the textbook's unclamped formula says 0.43258688.
func TestNeedlesOfEberly(t *testing.T) {
	needle := func(a, b solid.Point) solid.Shape { return must(solid.Capsule(a, b, 0)) }
	for _, k := range []known{
		{
			"E1, crossing at 1e-6 radians",
			needle(at(-1.0264718499965966, 9.6163341007195407e-7, 0), at(.91950808032415809, -1.0094441192690283e-6, 0)),
			needle(at(-1.0629447383806110, 9.2709540082141753e-7, 0), at(1.0811583868227901, -1.0670017179567367e-6, 0)),
			0, 1e-9,
		},
		{
			"E2, nearly parallel",
			needle(at(-1.0896217473782599, 9.7236145595088601e-7, 0), at(.91220578597858548, -9.4369829432107506e-7, 0)),
			needle(at(-.90010447502136237, 9.0671446351334441e-7, 0), at(1.0730877178721130, -9.8185787633992740e-7, 0)),
			1.1575046138574e-7, 1e-12,
		},
		{
			"E3, in general position",
			needle(at(.77998990099877119, .61192502360790968, -.22703111823648214), at(.53215344529598951, .85724585503339767, -.10102437809109688)),
			needle(at(-.21277333982288837, .35091548087075353, -.49557160679250956), at(.11881479667499661, .022494725417345762, -.66426620958372951)),
			.98292397116488733, 1e-15,
		},
	} {
		k.check(t)
	}
}

// Source: the example of openGJK (Montanari, Petrinic & Barbieri, ACM Trans. Graphics 36(3), 2017), verified with a duality gap
// below 1e-15.
func TestHullsOfMontanari(t *testing.T) {
	points := []solid.Point{
		at(0, 5.5, 0), at(2.3, 1, -2), at(8.1, 4, 2.4), at(4.3, 5, 2.2), at(2.5, 1, 2.3), at(7.1, 1, 2.4), at(1, 1.5, .3), at(3.3, .5, .3), at(6, 1.4, .2),
	}
	other := []solid.Point{
		at(0, -5.5, 0), at(-2.3, -1, 2), at(-8.1, -4, -2.4), at(-4.3, -5, -2.2), at(-2.5, -1, -2.3), at(-7.1, -1, -2.4), at(-1, -1.5, -.3),
		at(-3.3, -.5, -.3), at(-6, -1.4, -.2),
	}
	k := known{"C2", must(solid.Hull(points)), must(solid.Hull(other)), 3.653649722294501, 1e-12}
	k.check(t)
	g := solid.Distance(k.a, k.b)
	want := at(1.0251728907, 1.4903181189, .2554633472)
	assert.InDelta(t, 0, g.A.Sub(want).Norm(), 1e-10, "nearest of the first: got %v, want %v", g.A, want)
	assert.InDelta(t, 0, g.B.Add(want).Norm(), 1e-10, "nearest of the second: got %v, want -%v", g.B, want)
}

// Sources: C3-C5, C7, C8: the published tests of hpp-fcl and FCL (box_box_distance, capsules, capsule and box), verified with a
// duality gap or by hand. C6, C10: derived. C9: FCL's test of signed distance.
func TestKnownPairs(t *testing.T) {
	sixTenTwo := box(at(0, 0, 0), upright, 6, 10, 2)
	edge1, edge2 := box(at(-2, 1, .5), turned(at(0, 0, 1), 45), 1, 1, 1), box(at(2, .5, .5), turned(at(0, 1, 0), 45), 1, 1, 1)
	w, v := .435952844074, at(-.718287018243, .310622451066, .444435113443) // a unit quaternion
	moved := frame.Motion[frame.Rig]{R: frame.About(v.Unit(), unit.Angle(2*math.Atan2(v.Norm(), w))), T: at(4, 5, 6)}
	onCorner := frame.About(at(1, -1, 0).Unit(), unit.Angle(math.Acos(1/math.Sqrt(3))))
	upCapsule := capsule(at(0, 0, 0), upright, 10, 5)
	smallBox := box(at(0, 0, 0), upright, 1, 2, 4)
	lying := turned(at(0, 1, 0), 90)
	point := func(x, y, z float64) solid.Shape { return sphere(at(x, y, z), 0) }
	for _, k := range []known{
		{"C3", sixTenTwo, box(at(25, 20, 5), upright, 2, 2, 2), math.Sqrt(21*21 + 14*14 + 3*3), 1e-9},
		{"C4", sixTenTwo, box(at(0, 0, 10), turned(at(1, 1, 1), 45), 2, 2, 2), 7.378765564948, 1e-9},
		{"C5", edge1, edge2, 4 - math.Sqrt2, 1e-9},
		{"C5 moved", edge1.Moved(moved), edge2.Moved(moved), 4 - math.Sqrt2, 1e-9},
		{
			"C6 edge to edge", box(at(0, 0, 0), turned(at(1, 0, 0), 45), 2, 2, 2), box(at(0, 0, 4), turned(at(0, 1, 0), 45), 2, 2, 2),
			4 - 2*math.Sqrt2, 1e-9,
		},
		{"C6 face to corner", box(at(0, 0, 0), upright, 10, 10, 2), box(at(0, 0, 5), onCorner, 2, 2, 2), 4 - math.Sqrt(3), 1e-9},
		{"C6 edge to corner", box(at(0, 0, 0), upright, 2, 2, 2), box(at(4, 0, 4), onCorner, 2, 2, 2), 3.017895815728, 1e-9},
		{"C7 abreast", upCapsule, capsule(at(20.1, 0, 0), upright, 10, 5), 10.1, 1e-9},
		{"C7 aslant", upCapsule, capsule(at(20, 20, 0), upright, 10, 5), math.Sqrt(800) - 10, 1e-9},
		{"C7 in line", upCapsule, capsule(at(0, 0, 20.1), upright, 10, 5), .1, 1e-9},
		{"C7 across", upCapsule, capsule(at(0, 0, 25.1), lying, 10, 5), 10.1, 1e-9},
		{"C8 beside", capsule(at(3, 0, 0), upright, 4, 2), smallBox, .5, 1e-9},
		{"C8 above", capsule(at(0, 0, 8), upright, 4, 2), smallBox, 2, 1e-9},
		{"C8 pointing", capsule(at(-10, 0, 0), lying, 4, 2), smallBox, 5.5, 1e-9},
		{"C9 apart", sphere(at(0, 0, 0), 20), sphere(at(40, 0, 0), 10), 10, 1e-9},
		{"C9 overlapping", sphere(at(0, 0, 0), 20), sphere(at(25, 0, 0), 10), -5, 1e-9},
		{"C10 box corner", sphere(at(4, 5, 6), 1), box(at(0, 0, 0), upright, 2, 4, 6), math.Sqrt(27) - 1, 1e-12},
		{"C10 cylinder rim", must(solid.Cylinder(at(0, 0, -5), at(0, 0, 5), 2)), sphere(at(5, 0, 9), 1), 4, 1e-12},
		// The foot lies at radius 2.8, height .4: the distance from (6, 2) to the slant from (3, 0) to (1, 4) is 8/√5.
		{"C10 slant", must(solid.Frustum(at(0, 0, 0), at(0, 0, 4), 3, 1)), sphere(at(6, 0, 2), 1), 8/math.Sqrt(5) - 1, 1e-12},
		{"C10 disc", must(solid.Disc(at(0, 0, 0), at(0, 0, 1), 2)), point(3, 4, 3), math.Sqrt(18), 1e-12},
		// The circles are 5 apart, which is the slant of the frustum between them; the discs that they bound are 4 apart.
		{"C10 coaxial discs", must(solid.Disc(at(0, 0, 0), at(0, 0, 1), 5)), must(solid.Disc(at(0, 0, 4), at(0, 0, 1), 2)), 4, 1e-12},
	} {
		k.check(t)
	}
}

// The slant of the frustum between the coaxial circles of C10 is 5 long: r 5 and r 2, 4 apart. Source: derived.
func TestRimToRimOfCoaxialCircles(t *testing.T) {
	f := must(solid.Frustum(at(0, 0, 0), at(0, 0, 4), 5, 2))
	foot, top := f.Support(at(1, 0, -1e-9)), f.Support(at(1e-9, 0, 1))
	assert.InDelta(t, 5, top.Sub(foot).Norm(), 1e-12)
}

// C3 names the nearest points too.
func TestNearestPointsOfBoxes(t *testing.T) {
	g := solid.Distance(box(at(0, 0, 0), upright, 6, 10, 2), box(at(25, 20, 5), upright, 2, 2, 2))
	assert.InDelta(t, 0, g.A.Sub(at(3, 5, 1)).Norm(), 1e-9)
	assert.InDelta(t, 0, g.B.Sub(at(24, 19, 4)).Norm(), 1e-9)
}

// C11, derived: a turn by an angle moves no point further than reach times the angle (the arc), and the point at the reach by
// the chord 2·r·sin(angle/2).
func TestReachBoundsTheChord(t *testing.T) {
	for _, c := range []struct{ radius, deg, arc, chord float64 }{
		{1000, 1, 17.453293, 17.453071},
		{1000, 10, 174.532925, 174.311485},
		{500, 45, 392.699082, 382.683432},
	} {
		p := sphere(at(c.radius, 0, 70), 0)
		reach := p.Reach(at(0, 0, -3), at(0, 0, 1))
		require.InDelta(t, c.radius, reach, 1e-9)
		angle := unit.Deg(c.deg)
		moved := p.Moved(frame.Turning(at(0, 0, 5), at(0, 0, 1), angle)).Centre().Sub(p.Centre()).Norm()
		assert.InDelta(t, c.arc, reach*float64(angle), 1e-6)
		assert.InDelta(t, c.chord, moved, 1e-6)
		assert.GreaterOrEqual(t, reach*float64(angle), moved, "bound against the way moved")
	}
}
