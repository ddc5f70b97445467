package practice

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Camera takes pictures through a mount's optics and solves them. Its solves scatter by a few arcseconds, as real ones do, from a
// seed: the same night gives the same numbers.
type Camera struct {
	mount  *Mount
	optics rig.Optics
	rng    *rand.Rand
	n      int
}

// NewCamera makes the camera of the mount's first optics.
func NewCamera(m *Mount, seed uint64) *Camera {
	c := &Camera{mount: m, rng: rand.New(rand.NewPCG(seed, 7))}
	if len(m.rig.Optics) > 0 {
		c.optics = m.rig.Optics[0]
	}
	return c
}

// solveScatter is the standard deviation of a solve. Invented.
const solveScatter = 3 * unit.Arcsecond

// Picture exposes from an instant for so long and solves blind: where the camera truly looked at mid-exposure.
func (c *Camera) Picture(start time.Time, exposure time.Duration) question.Solve {
	mid := start.Add(exposure / 2)
	ra, dec := c.looks(mid, rig.Axes{})
	return c.solve(start, exposure, ra, dec, 60+c.rng.IntN(40))
}

// False is a false solve: it says that the camera looked where the axes, turned by so much, would point it.
func (c *Camera) False(start time.Time, exposure time.Duration, off rig.Axes, matched int) question.Solve {
	ra, dec := c.looks(start.Add(exposure/2), off)
	return c.solve(start, exposure, ra, dec, matched)
}

// Anywhere is a false solve of any place on the sky (ICRS), wherever the camera looks: a match on noise.
func (c *Camera) Anywhere(start time.Time, exposure time.Duration, ra, dec unit.Angle, matched int) question.Solve {
	return c.solve(start, exposure, ra, dec, matched)
}

// looks is the ICRS direction of the camera with the axes turned by so much more.
func (c *Camera) looks(at time.Time, turned rig.Axes) (ra, dec unit.Angle) {
	ra, dec, _, _ = c.mount.looks(at, c.mount.Axes(at).Add(c.mount.Boresight).Add(turned))
	return ra, dec
}

func (c *Camera) solve(start time.Time, exposure time.Duration, ra, dec unit.Angle, matched int) question.Solve {
	c.n++
	pixel := unit.Arcsec(1.55)
	if c.optics.PixelArcsec != nil {
		pixel = unit.Arcsec(*c.optics.PixelArcsec)
	}
	residual, blind, mirrored := unit.Arcsec(0.6+0.4*c.rng.Float64()), unit.HalfTurn, false
	scatter := func() unit.Angle { return unit.Angle(c.rng.NormFloat64()) * solveScatter }
	rotation := unit.Deg(92)
	if c.mount.rig.Kind == rig.German && c.mount.rig.Kind.SideOf(c.mount.Axes(start)) == rig.West {
		rotation += unit.HalfTurn
	}
	if c.mount.rig.Kind == rig.AltAzimuth {
		rotation += c.fieldTurn(start.Add(exposure / 2))
	}
	v := question.Solve{
		Sky:   question.Sky{RA: (ra + scatter()/unit.Angle(max(0.01, dec.Cos()))).Positive(), Dec: dec + scatter(), Frame: question.ICRS},
		Start: start, Exposure: exposure, Optics: c.optics.Name, Pixel: &pixel, Rotation: &rotation, Mirrored: &mirrored,
		Matched: &matched, Residual: &residual, Radius: &blind, Picture: fmt.Sprintf("picture-%03d", c.n),
	}
	if c.optics.WidthDeg != nil {
		w := unit.Deg(*c.optics.WidthDeg)
		v.Width = &w
	}
	return v
}

// fieldTurn is the position angle of axis 2, from north through east, seen along the tube: the sky turns in an alt-azimuth's picture by
// the change of the parallactic angle. Derived: north is the part of the pole at right angles to the line of sight, east is pole × sight.
func (c *Camera) fieldTurn(at time.Time) unit.Angle {
	r, a := c.mount.rig, c.mount.Axes(at).Add(c.mount.Boresight)
	sight, pole := r.Chain.Direction(a), r.Pole()
	carried := frame.About(r.Chain.Dir1, a.A1).Apply(r.Chain.Dir2)
	east := pole.Cross(sight)
	north := sight.Cross(east)
	return unit.Angle(math.Atan2(carried.Dot(east), carried.Dot(north)))
}
