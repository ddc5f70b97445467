package facts

import (
	"math"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// optical is what is known of one telescope and camera, from the file or learnt from this homing's accepted solves; nil where
// nothing is.
type optical struct {
	pixel    *unit.Angle
	angle    *unit.Angle // camera angle: see pictureAngle
	mirrored *bool
}

// learntOptics returns what the file states, and for the rest what the latest accepted solve through the same optics showed.
func (in *Input) learntOptics(o rig.Optics) optical {
	out := optical{angle: o.CameraAngle, mirrored: o.Mirrored}
	if o.PixelArcsec != nil {
		a := unit.Arcsec(*o.PixelArcsec)
		out.pixel = &a
	}
	for i := len(in.Snapshot.Rig.Solves) - 1; i >= 0; i-- {
		s := in.Snapshot.Rig.Solves[i]
		if s.Verdict != question.Accepted || s.Optics != o.Name {
			continue
		}
		if out.pixel == nil {
			out.pixel = s.Pixel
		}
		if out.mirrored == nil {
			out.mirrored = s.Mirrored
		}
		if out.angle == nil && s.Rotation != nil {
			out.angle = s.Camera
			if out.angle == nil { // remembered by an earlier program
				e := &evidence{pose: s.Pose, sight: in.Rig.Chain.Direction(s.Solved), north: in.Rig.Pole()}
				a := in.cameraAngle(e, *s.Rotation)
				out.angle = &a
			}
		}
	}
	return out
}

// pictureAngle returns the position angle, from north through east, that a picture has at a pose where it was solved. The camera angle is
// that position angle on the first side (tube east for a German mount) of an equatorial; for an alt-azimuth it is counted from the zenith,
// and the picture turns with the parallactic angle.
func (in *Input) pictureAngle(e *evidence, camera unit.Angle) unit.Angle {
	return (camera + in.axis2Angle(e.pose, e.sight, e.north) - in.axis2Reference()).Positive()
}

// cameraAngle is the inverse of pictureAngle.
func (in *Input) cameraAngle(e *evidence, picture unit.Angle) unit.Angle {
	return (picture - in.axis2Angle(e.pose, e.sight, e.north) + in.axis2Reference()).Positive()
}

// axis2Reference is the angle of axis 2 on the first side, against the end of axis 1 that stands for north.
func (in *Input) axis2Reference() unit.Angle {
	reference := rig.Axes{}
	if in.Rig.Kind == rig.German {
		reference = rig.DegAxes(0, 45) // at zero the tube lies along axis 1, where the angle has no meaning
	}
	return in.axis2Angle(reference, in.Rig.Chain.Direction(reference), in.Rig.Chain.Dir1.Scale(-1))
}

// axis2Angle is the position angle of axis 2 as it stands at a pose, seen in a direction near which the tube points, from the direction
// toward a pole through east. Near the pole it turns fast with the direction, so that is the solved one, not the tube's.
// Derived: north there is the part of the pole at right angles to the line of sight; east is pole × line of sight.
func (in *Input) axis2Angle(pose rig.Axes, sight, pole frame.Vec[frame.Rig]) unit.Angle {
	c := &in.Rig.Chain
	carried := frame.About(c.Dir1, pose.A1).Apply(c.Dir2)
	east := pole.Cross(sight)
	north := sight.Cross(east)
	return unit.Angle(math.Atan2(carried.Dot(east), carried.Dot(north)))
}

func turnedAbout(axis frame.Vec[frame.Rig], angle unit.Angle, v frame.Vec[frame.Rig]) frame.Vec[frame.Rig] {
	return frame.About(axis, angle).Apply(v)
}

func seenAltitude(v frame.Vec[frame.Rig]) (az, alt unit.Angle) { return frame.AzAlt(v) }
