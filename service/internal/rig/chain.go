// Package rig is one validated rig: what stands where, what moves with which axis, and what its mount does with a target.
//
// A Rig is made from a file by Parse and is immutable from then on. It answers three kinds of question, all pure: where every
// part is at a pose of the two axes (Place), which axis angles reach a direction and which direction a pose gives (Chain), and
// where a mount told to go somewhere may end (ends.go). Frames and signs are those fixed for the whole project: rig frame east,
// north, up in millimetres; axis angles in radians from the rig's zero, unreduced; hour angle positive west; latitude north
// positive.
//
// It keeps no clock, knows no sample and proves nothing about motions: that is reach.
package rig

import (
	"fmt"
	"math"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/unit"
)

// Kind is the kind of mount.
type Kind string

// Kinds of mount.
const (
	German     Kind = "german equatorial"
	Fork       Kind = "fork equatorial"
	AltAzimuth Kind = "alt-azimuth"
)

// Equatorial tells whether axis 1 is the polar axis.
func (k Kind) Equatorial() bool { return k == German || k == Fork }

// Side names one of the two axis solutions of a direction.
type Side string

// Sides. East and West are the German equatorial's, First and Second those of forks and alt-azimuths.
const (
	East   Side = "east"   // tube east of the pier
	West   Side = "west"   // tube west of the pier
	First  Side = "first"  // upright
	Second Side = "second" // over the top
)

// Sides returns the two solutions of a kind.
func (k Kind) Sides() [2]Side {
	if k == German {
		return [2]Side{East, West}
	}
	return [2]Side{First, Second}
}

// Other returns the opposite solution.
func (s Side) Other() Side {
	switch s {
	case East:
		return West
	case West:
		return East
	case First:
		return Second
	case Second:
		return First
	}
	return ""
}

// Axes is a pose: the mechanical angles of the two axes from the rig's zero, unreduced (370° is not 10°).
type Axes struct {
	A1 unit.Angle `json:"axis1_rad"`
	A2 unit.Angle `json:"axis2_rad"`
}

// Add returns a + b.
func (a Axes) Add(b Axes) Axes { return Axes{a.A1 + b.A1, a.A2 + b.A2} }

// Sub returns a - b.
func (a Axes) Sub(b Axes) Axes { return Axes{a.A1 - b.A1, a.A2 - b.A2} }

// Scale returns k·a.
func (a Axes) Scale(k float64) Axes { return Axes{a.A1 * unit.Angle(k), a.A2 * unit.Angle(k)} }

// Abs returns the sizes of both angles.
func (a Axes) Abs() Axes { return Axes{a.A1.Abs(), a.A2.Abs()} }

// Max returns the larger of the two angles.
func (a Axes) Max() unit.Angle { return max(a.A1, a.A2) }

// Beyond tells whether the size of either angle is more than is allowed of it.
func (a Axes) Beyond(allowed Axes) bool { return a.A1.Abs() > allowed.A1 || a.A2.Abs() > allowed.A2 }

// Finite tells whether both angles are numbers.
func (a Axes) Finite() bool { return a.A1.Finite() && a.A2.Finite() }

// DegAxes makes a pose from degrees.
func DegAxes(a1, a2 float64) Axes { return Axes{unit.Deg(a1), unit.Deg(a2)} }

// String gives the pose for people.
func (a Axes) String() string { return fmt.Sprintf("(%.2f°, %.2f°)", a.A1.Deg(), a.A2.Deg()) }

// Chain is the mount as kinematics: two axes, each a point and a right-handed unit direction at the zero pose, and the
// direction of the tube at zero. Axis 2 is carried by axis 1; the axes need not cross. Rig frame, millimetres.
type Chain struct {
	Point1, Dir1 frame.Vec[frame.Rig]
	Point2, Dir2 frame.Vec[frame.Rig]
	Tube         frame.Vec[frame.Rig]
}

// Tilt is the polar-axis error: where axis 1's elevated end stands less where it should.
type Tilt struct {
	East unit.Angle `json:"east_rad"` // azimuth error, toward east positive, counted along the horizon: on the sky it is less, times the cosine of the latitude
	Up   unit.Angle `json:"up_rad"`   // altitude error, up positive
}

// Nominal returns the directions of a kind at zero for a latitude (north positive): axis 1, axis 2, tube.
//
// Equatorial: axis 1 is the direction of the south celestial pole in both hemispheres, so that axis 1 grows as it tracks. German:
// axis 2 is perpendicular to it in the meridian plane, toward the saddle in the north and away from it in the south; the tube
// points at the elevated pole. Fork: axis 2 is west, the tube points at the meridian on the equator. Alt-azimuth: axis 1 is
// straight down, axis 2 east, the tube points north on the horizon.
func Nominal(k Kind, lat unit.Angle) (dir1, dir2, tube frame.Vec[frame.Rig]) {
	s, c := math.Sincos(float64(lat))
	north := frame.Vec[frame.Rig]{Y: c, Z: s} // the north celestial pole
	up := frame.Vec[frame.Rig]{Y: -s, Z: c}   // the meridian's point of the equator
	switch k {
	case German:
		if lat >= 0 {
			return north.Scale(-1), up, north
		}
		return north.Scale(-1), up.Scale(-1), north.Scale(-1)
	case Fork:
		return north.Scale(-1), frame.Vec[frame.Rig]{X: -1}, up
	case AltAzimuth:
		return frame.Vec[frame.Rig]{Z: -1}, frame.Vec[frame.Rig]{X: 1}, frame.Vec[frame.Rig]{Y: 1}
	}
	panic(fmt.Sprintf("rig: mount kind %q has no directions", k))
}

// tilted returns the rotation that a polar-axis error makes of the nominal mount: up about west in the north (about east in the
// south, where the elevated end is the other one), then east about straight down.
func (t Tilt) rotation(lat unit.Angle) frame.Rot[frame.Rig, frame.Rig] {
	west := frame.Vec[frame.Rig]{X: -1}
	up := t.Up
	if lat >= 0 {
		up = -up
	}
	lift := frame.About(west, up)
	return frame.Then(lift, frame.About(frame.Vec[frame.Rig]{Z: -1}, turnEast(t.East, lat)))
}

// turnEast is the turn about straight down (which moves azimuths north through east) that carries the elevated end east.
func turnEast(east, lat unit.Angle) unit.Angle {
	if lat >= 0 {
		return east
	}
	return -east
}

// NewChain makes the chain of a mount: axis 1 through point1; axis 2 leaves axis 1 at along (millimetres from point1 along the
// direction of axis 2 at zero) and misses it by miss (at right angles to both axes, along Dir1 × Dir2). The tilt turns
// everything about point1.
func NewChain(k Kind, lat unit.Angle, tilt Tilt, point1 frame.Vec[frame.Rig], miss unit.Length) Chain {
	d1, d2, tube := Nominal(k, lat)
	r := tilt.rotation(lat)
	d1, d2, tube = r.Apply(d1), r.Apply(d2), r.Apply(tube)
	return Chain{
		Point1: point1, Dir1: d1,
		Point2: point1.Add(d1.Cross(d2).Scale(float64(miss))), Dir2: d2,
		Tube: tube,
	}
}

// Link1 returns the motion of everything fixed to axis 1, from the zero pose to a.
func (c *Chain) Link1(a Axes) frame.Motion[frame.Rig] { return frame.Turning(c.Point1, c.Dir1, a.A1) }

// Link2 returns the motion of everything fixed to axis 2, from the zero pose to a.
func (c *Chain) Link2(a Axes) frame.Motion[frame.Rig] {
	return frame.Turning(c.Point2, c.Dir2, a.A2).Before(c.Link1(a))
}

// Direction returns where the tube points at a pose: a unit vector of the rig frame, without refraction.
func (c *Chain) Direction(a Axes) frame.Vec[frame.Rig] {
	return frame.About(c.Dir1, a.A1).Apply(frame.About(c.Dir2, a.A2).Apply(c.Tube))
}

// Solve returns the pose that points the tube at a direction by the chain's own (tilted) axes, on one side, with both angles in
// [-180°, 180°) (the over-the-top solutions of forks and alt-azimuths included: lift them afterwards). At the ends of axis 1 (the
// poles of an equatorial, zenith and nadir) axis 1 is undetermined and comes out as 0.
//
// Derived: with the tube at right angles to axis 2 the tube turns in a plane that holds axis 1; let phase be the turn of axis 2
// that would lay it along Dir1. Then the angle between dir and Dir1 fixes A2 up to its sign about phase, and the rest fixes A1.
func (c *Chain) Solve(k Kind, dir frame.Vec[frame.Rig], side Side) Axes {
	ortho := c.Dir2.Cross(c.Tube)
	phase := unit.Angle(math.Atan2(ortho.Dot(c.Dir1), c.Tube.Dot(c.Dir1)))
	swing := dir.Angle(c.Dir1)
	a2 := (phase + swing).Wrapped()
	if k.SideOf(Axes{0, a2}) != side {
		a2 = (phase - swing).Wrapped()
	}
	tube := frame.About(c.Dir2, a2).Apply(c.Tube)
	from := tube.Sub(c.Dir1.Scale(tube.Dot(c.Dir1)))
	to := dir.Sub(c.Dir1.Scale(dir.Dot(c.Dir1)))
	if from.Norm() < 1e-12 || to.Norm() < 1e-12 { // within 2e-7 arcsecond of the end of axis 1
		return Axes{0, a2}
	}
	return Axes{unit.Angle(math.Atan2(c.Dir1.Dot(from.Cross(to)), from.Dot(to))).Wrapped(), a2}
}

// SideOf returns the side that a pose is on. German: east where axis 2 is in [0°, 180°) of its turn, west in [-180°, 0°). Fork and
// alt-azimuth: first where axis 2 is in [-90°, 90°], else second.
func (k Kind) SideOf(a Axes) Side {
	a2 := a.A2.Wrapped()
	switch {
	case k == German && a2 >= 0:
		return East
	case k == German:
		return West
	case a2.Abs() <= unit.HalfTurn/2:
		return First
	}
	return Second
}

// Ideal is the map of a perfect mount of this kind from hour angle and declination (equatorials) or azimuth and altitude
// (alt-azimuths) to axis angles, neither lifted to a turn: section "Frames and signs" of the design. The hemisphere is that of
// lat; 0 counts as north.
func (k Kind) Ideal(lon, height, lat unit.Angle, side Side) Axes {
	const quarter = unit.HalfTurn / 2
	q := quarter - height
	if lat < 0 {
		q = quarter + height
	}
	switch {
	case k == German && side == East:
		return Axes{lon - quarter, q}
	case k == German:
		return Axes{lon + quarter, -q}
	case side == Second:
		return Axes{lon + unit.HalfTurn, unit.HalfTurn - height}
	}
	return Axes{lon, height}
}

// FromIdeal is the inverse of Ideal: hour angle or azimuth in [-180°, 180°), declination or altitude in [-90°, 90°], and the side.
func (k Kind) FromIdeal(a Axes, lat unit.Angle) (lon, height unit.Angle, side Side) {
	const quarter = unit.HalfTurn / 2
	side = k.SideOf(a)
	switch side {
	case East, West:
		q := a.A2.Wrapped().Abs()
		height = quarter - q
		if lat < 0 {
			height = q - quarter
		}
		if side == East {
			return (a.A1 + quarter).Wrapped(), height, side
		}
		return (a.A1 - quarter).Wrapped(), height, side
	case Second:
		return (a.A1 - unit.HalfTurn).Wrapped(), (unit.HalfTurn - a.A2).Wrapped(), side
	case First:
	}
	return a.A1.Wrapped(), a.A2.Wrapped(), side
}
