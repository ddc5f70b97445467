package rig

import (
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// lengthsFrom is a right-handed frame in which a person can measure on the rig: an origin and three unit vectors, all in the
// rig frame at the zero pose.
type lengthsFrom struct {
	origin  solid.Point
	x, y, z solid.Point
}

// at turns measured coordinates into a point of the rig frame.
func (l lengthsFrom) at(x, y, z float64) solid.Point {
	return l.origin.Add(l.x.Scale(x)).Add(l.y.Scale(y)).Add(l.z.Scale(z))
}

// turn returns the rotation that makes the frame's axes of the rig's.
func (l lengthsFrom) turn() solid.Turn {
	return solid.Turn{M: [3][3]float64{{l.x.X, l.y.X, l.z.X}, {l.x.Y, l.y.Y, l.z.Y}, {l.x.Z, l.y.Z, l.z.Z}}}
}

// measuredOn returns the frame in which parts of a link are given in the file, at the zero pose.
//
// Ground: east, north, up from the rig's origin. Axis 1: x along axis 2 (German: toward the tube; fork and alt-azimuth: to the
// right of somebody who looks along the upright tube), y along axis 1 toward its elevated end (up for an alt-azimuth), z by the
// right hand; from the point of axis 1 nearest axis 2. Axis 2: the same x, y forward along the tube, z by the right hand; from
// the point of axis 2 nearest axis 1. Who stands behind a German's tube with the mount on the left has x to the right and z up.
func measuredOn(link Link, k Kind, lat unit.Angle, c *Chain) lengthsFrom {
	var ground lengthsFrom
	switch link {
	case Ground:
		ground.x, ground.y, ground.z = solid.Point{X: 1}, solid.Point{Y: 1}, solid.Point{Z: 1}
		return ground
	case OnAxis1:
		x, y := across(k, lat, c), elevated(k, lat, c)
		return lengthsFrom{c.Point1, x, y, x.Cross(y)}
	case OnAxis2:
		x := across(k, lat, c)
		return lengthsFrom{c.Point2, x, c.Tube, x.Cross(c.Tube)}
	}
	return ground
}

// across is the direction along axis 2 in which lengths count. The axis's own direction serves in the north and for
// alt-azimuths; in the south the frames of the design have it the other way for both equatorials.
func across(k Kind, lat unit.Angle, c *Chain) frame.Vec[frame.Rig] {
	if k.Equatorial() && lat < 0 {
		return c.Dir2.Scale(-1)
	}
	return c.Dir2
}

// elevated is the direction of axis 1 toward its upper end: the elevated pole, or the zenith.
func elevated(k Kind, lat unit.Angle, c *Chain) frame.Vec[frame.Rig] {
	if k.Equatorial() && lat < 0 {
		return c.Dir1
	}
	return c.Dir1.Scale(-1)
}
