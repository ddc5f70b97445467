package solid_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/solid"
)

func TestWhatMakesNoSolid(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	skew := frame.Identity[frame.Rig]()
	skew.M[0][1] = 0.1
	for _, c := range []struct {
		name string
		err  func() error
		says string
	}{
		{"sphere of NaN", func() error { _, err := solid.Sphere(at(nan, 0, 0), 1); return err }, "the centre is (NaN, 0, 0)"},
		{"negative sphere", func() error { _, err := solid.Sphere(at(0, 0, 0), -1); return err }, "the radius is -1 mm, want one in [0, 1e+09]"},
		{"endless capsule", func() error { _, err := solid.Capsule(at(inf, 0, 0), at(0, 0, 0), 1); return err }, "the first end is (+Inf, 0, 0)"},
		{"cylinder of radius NaN", func() error { _, err := solid.Cylinder(at(0, 0, 0), at(1, 0, 0), nan); return err }, "the radius is NaN"},
		{"cylinder without length", func() error { _, err := solid.Cylinder(at(2, 0, 0), at(2, 0, 0), 1); return err }, "give two ends, or a disc"},
		{"frustum of two faults", func() error { _, err := solid.Frustum(at(0, 0, 0), at(0, 0, 1), -1, inf); return err }, "at the second end is +Inf"},
		{"disc facing nowhere", func() error { _, err := solid.Disc(at(0, 0, 0), at(0, 0, 0), 1); return err }, "the direction is zero"},
		{"skew box", func() error { _, err := solid.Box(at(0, 0, 0), skew, at(1, 1, 1)); return err }, "three unit vectors at right angles"},
		{"box of no axes", func() error { _, err := solid.Box(at(0, 0, 0), solid.Turn{}, at(1, 1, 1)); return err }, "three unit vectors"},
		{"box inside out", func() error { _, err := solid.Box(at(0, 0, 0), upright, at(1, -1, 1)); return err }, "the second half size is -1"},
		{"hull of nothing", func() error { _, err := solid.Hull(nil); return err }, "it has 0 points"},
		{"hull grown by NaN", func() error { _, err := solid.GrownHull([]solid.Point{at(0, 0, 0)}, nan); return err }, "the radius is NaN"},
		{"hull too far", func() error { _, err := solid.Hull([]solid.Point{at(0, 0, 0), at(0, 2e9, 0)}); return err }, "point 1 is (0, 2e+09, 0)"},
	} {
		err := c.err()
		require.ErrorIs(t, err, solid.ErrShape, c.name)
		assert.Contains(t, err.Error(), c.says, c.name)
	}
	_, err := solid.Frustum(at(0, 0, 0), at(0, 0, 1), -1, inf)
	assert.Equal(t, 2, strings.Count(err.Error(), "want one in"), "both faults are named: %v", err)
}

func TestSolidsDescribeThemselves(t *testing.T) {
	for want, s := range map[string]solid.Shape{
		"no solid":                            {},
		"sphere, radius 2.5 mm, at (1, 2, 3)": sphere(at(1, 2, 3), 2.5),
		"capsule, radius 1 mm, from (0, 0, -5) to (0, 0, 5)":     capsule(at(0, 0, 0), upright, 10, 1),
		"cylinder, radius 1 mm, from (0, 0, 0) to (0, 0, 9.123)": must(solid.Cylinder(at(0, 0, 0), at(0, 0, 9.1234), 1)),
		"frustum, radius 3 mm at (0, 0, 0) to 1 mm at (0, 0, 4)": must(solid.Frustum(at(0, 0, 0), at(0, 0, 4), 3, 1)),
		"disc, radius 3 mm, at (0, 0, 0), facing (0, 0, 1)":      must(solid.Disc(at(0, 0, 0), at(0, 0, 7), 3)),
		"box, 1 × 2 × 3 mm, at (4, 5, 6)":                        box(at(4, 5, 6), upright, 1, 2, 3),
		"hull of 2 points around (1, 0, 0)":                      must(solid.Hull([]solid.Point{at(0, 0, 0), at(2, 0, 0)})),
		"hull of 1 points around (5, 0, 0), grown by 0.25 mm":    must(solid.GrownHull([]solid.Point{at(5, 0, 0)}, 0.25)),
	} {
		assert.Equal(t, want, s.String())
	}
	assert.Equal(t, "frustum", solid.FrustumKind.String())
	assert.Equal(t, "no solid", solid.Kind(99).String())
	assert.Len(t, box(at(4, 5, 6), upright, 1, 2, 3).Points(), 8)
	assert.Nil(t, sphere(at(0, 0, 0), 1).Points())
}

// Nothing is proven about what is no solid, or was moved to no place.
func TestNothingIsProvenAboutNoSolid(t *testing.T) {
	good := sphere(at(1000, 0, 0), 1)
	lost := good.Moved(frame.Motion[frame.Rig]{R: upright, T: at(math.NaN(), 0, 0)})
	away := box(at(0, 0, 0), upright, 1, 1, 1).Moved(frame.Motion[frame.Rig]{R: solid.Turn{M: [3][3]float64{{math.Inf(1)}}}})
	for _, bad := range []solid.Shape{{}, lost, away} {
		g := solid.Distance(good, bad)
		assert.Equal(t, math.Inf(-1), g.Lower)
		assert.Equal(t, math.Inf(1), g.Upper)
		assert.False(t, solid.AtLeast(good, bad, -1e9))
		assert.False(t, solid.AtLeast(bad, good, math.Inf(-1)))
		assert.Equal(t, math.Inf(-1), solid.Along(bad, good, at(1, 0, 0)))
		assert.Equal(t, math.Inf(1), bad.Reach(at(0, 0, 0), at(0, 0, 1)))
		assert.Equal(t, math.Inf(1), bad.SupportDistance(at(0, 0, 1)))
	}
	assert.Equal(t, math.Inf(1), good.Reach(at(0, 0, 0), at(0, 0, 0)), "a line without direction")
	assert.Equal(t, math.Inf(1), good.Reach(at(0, math.NaN(), 0), at(0, 0, 1)))
	assert.Equal(t, math.Inf(-1), solid.Along(good, good, at(0, 0, 0)))
	_, radius := solid.Shape{}.Ball()
	assert.Equal(t, math.Inf(1), radius)
}

// pick returns a random point of the solid, on its surface mostly.
func pick(r maker, s solid.Shape, o *body) solid.Point {
	if r.IntN(3) > 0 {
		return s.Support(r.dir())
	}
	return o.project(o.at.Add(r.at(2 * o.size)))
}

// slowReach finds the point farthest from a line by the definition: at corners and ends, and along rims by trying 720 places and
// narrowing down around the best.
func slowReach(o *body, point, axis solid.Point) (far float64) {
	off := func(p solid.Point) float64 { return p.Sub(point).Cross(axis).Norm() }
	switch o.kind {
	case solid.CylinderKind, solid.FrustumKind:
		e := o.u.Cross(at(o.u.Y, o.u.Z, -o.u.X)).Unit()
		f := o.u.Cross(e)
		for _, rim := range []struct {
			c solid.Point
			r float64
		}{{o.a, o.ra}, {o.b, o.rb}} {
			place := func(angle float64) float64 {
				return off(rim.c.Add(e.Scale(rim.r * math.Cos(angle))).Add(f.Scale(rim.r * math.Sin(angle))))
			}
			best, step := 0.0, math.Pi/360
			for i := range 720 {
				if place(float64(i)*step) > place(best) {
					best = float64(i) * step
				}
			}
			for ; step > 1e-9; step /= 2 {
				for _, next := range [2]float64{best - step, best + step} {
					if place(next) > place(best) {
						best = next
					}
				}
			}
			far = max(far, place(best))
		}
	case solid.BoxKind:
		for i := range 8 {
			p := o.a
			for k := range 3 {
				p = p.Add(o.axes[k].Scale(o.half[k] * float64(2*(i>>k&1)-1)))
			}
			far = max(far, off(p))
		}
	case solid.HullKind:
		for _, p := range o.points {
			far = max(far, off(p)+o.ra)
		}
	case solid.NoKind, solid.SphereKind, solid.CapsuleKind:
		far = max(off(o.a), off(o.b)) + o.ra
	}
	return far
}

// Ball, bounds, supports and reach hold every point of the solid; the reach is reached.
func TestNoPointLiesOutside(t *testing.T) {
	for _, k := range kinds {
		r := newMaker(3, uint64(k))
		for m := range long(150) {
			var s solid.Shape
			if m%3 == 0 {
				s = r.whole(k)
			} else {
				s = r.random(k, r.at(1500), r.log(1, 1000)).Moved(frame.Motion[frame.Rig]{R: r.turn(), T: r.at(500)})
			}
			o := bodyOf(s)
			centre, radius := s.Ball()
			low, high := s.Bounds()
			point, axis, dir := r.at(1500), r.dir(), r.dir()
			if m%5 == 0 {
				point, axis = s.Centre(), r.dir() // through it
			}
			if m%7 == 0 && s.Facing() != (solid.Point{}) {
				axis = s.Facing()
			}
			reach, far := s.Reach(point, axis), s.SupportDistance(dir)
			tol := 1e-12 * (2000 + radius)
			for range 60 {
				p := pick(r, s, &o)
				assert.LessOrEqual(t, p.Sub(centre).Norm(), radius+tol, "%s: ball", s)
				assert.LessOrEqual(t, p.Dot(dir), far+tol, "%s: support", s)
				assert.LessOrEqual(t, p.Sub(point).Cross(axis).Norm(), reach+tol, "%s: reach", s)
				assert.True(t, p.X >= low.X-tol && p.Y >= low.Y-tol && p.Z >= low.Z-tol && p.X <= high.X+tol && p.Y <= high.Y+tol && p.Z <= high.Z+tol, "%s: bounds", s)
			}
			assert.InDelta(t, slowReach(&o, point, axis), reach, 1e-9*(radius+reach)+tol, "%s: reach from the line through %v along %v", s, point, axis)
			assert.InDelta(t, far, s.Support(dir).Dot(dir), tol, "%s: support", s)
		}
	}
}
