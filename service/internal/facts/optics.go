package facts

import (
	"math"
	"slices"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// optical is what is known of one telescope and camera, from the file or learnt from this homing's solves.
type optical struct {
	pixel    learnt[unit.Angle]
	angle    learnt[unit.Angle] // camera angle: see pictureAngle
	mirrored learnt[bool]
}

// learnt is one figure of the optics.
type learnt[T any] struct {
	value *T   // nil where nothing tells
	sure  bool // the file states it, or several accepted pictures show it: what differs is no picture through these optics
}

// several is how many accepted pictures make what they show sure: one may have been a false one.
const several = 2

// showing is one figure as an earlier picture showed it.
type showing[T any] struct {
	value    T
	accepted bool
	backs    bool // the picture now judged: see backs
}

// learn returns what the file states of a figure, else what the latest accepted picture showed. Where no other accepted one showed the same, the
// picture now judged and those that back it and say as it does are taken against it, if they are more than those that say as it; mine is nil
// where it says nothing. The showings are newest first.
func learn[T any](stated *T, showings []showing[T], mine *T, alike func(a, b T) bool) learnt[T] {
	last := slices.IndexFunc(showings, func(s showing[T]) bool { return s.accepted })
	switch {
	case stated != nil:
		return learnt[T]{value: stated, sure: true}
	case last < 0:
		return learnt[T]{}
	}
	value := showings[last].value
	accepted, same, other := 0, 0, 1
	for _, s := range showings {
		switch {
		case alike(s.value, value):
			same++
			if s.accepted {
				accepted++
			}
		case s.backs && mine != nil && alike(s.value, *mine):
			other++
		}
	}
	if accepted < several && mine != nil && other > same {
		return learnt[T]{value: mine}
	}
	return learnt[T]{value: &value, sure: accepted >= several}
}

// opticsFor returns what is known of the optics through which a solve was taken; e is nil where nothing tells of the pose then.
func (in *Input) opticsFor(e *evidence, v *question.Solve, o rig.Optics) optical {
	var pixels, angles []showing[unit.Angle]
	var hands []showing[bool]
	for _, s := range slices.Backward(in.Snapshot.Rig.Solves) {
		accepted := s.Verdict == question.Accepted
		if s.Optics != o.Name || !accepted && !s.Agreed {
			continue
		}
		backs := e != nil && in.backs(e, s)
		if s.Pixel != nil {
			pixels = append(pixels, showing[unit.Angle]{*s.Pixel, accepted, backs})
		}
		if s.Mirrored != nil {
			hands = append(hands, showing[bool]{*s.Mirrored, accepted, backs})
		}
		if s.Rotation != nil {
			angles = append(angles, showing[unit.Angle]{in.cameraOf(s), accepted, backs})
		}
	}
	out := optical{mirrored: learn(o.Mirrored, hands, v.Mirrored, func(a, b bool) bool { return a == b })}
	var pixel *unit.Angle
	if o.PixelArcsec != nil {
		a := unit.Arcsec(*o.PixelArcsec)
		pixel = &a
	}
	scale := in.limit("solve/optics", "scale_ratio", 0)
	out.pixel = learn(pixel, pixels, v.Pixel, func(a, b unit.Angle) bool { return math.Abs(float64(a/b)-1) <= scale })
	turned := unit.Deg(in.limit("solve/optics", "rotation_deg", 0))
	out.angle = learn(o.CameraAngle, angles, in.cameraShown(e, v, angles), func(a, b unit.Angle) bool { return (a - b).Wrapped().Abs() <= turned })
	return out
}

// backs tells whether an earlier picture may be taken with the one judged against what one alone showed: it lay where it was expected, the two are
// independent, and they agree.
func (in *Input) backs(e *evidence, s question.JudgedSolve) bool {
	if !s.Agreed {
		return false
	}
	now := in.judged(e)
	ok, _ := pose.Independent(in.Rig, s, *now)
	return ok && in.agreementOf(e, s, *now) <= in.agreeWithin(e, s)
}

// cameraOf is the camera angle that an earlier picture showed.
func (in *Input) cameraOf(s question.JudgedSolve) unit.Angle {
	if s.Camera != nil {
		return *s.Camera
	}
	e := &evidence{pose: s.Pose, sight: in.Rig.Chain.Direction(s.Solved), north: in.Rig.Pole()} // remembered by an earlier program
	return in.cameraAngle(e, *s.Rotation)
}

// halfTurned is how near half a turn a picture's angle may lie from what others showed for the tube to be on the other side instead: no
// number of pictures is then taken against them, for each would say so. Choice: as wide as the loosest limit solve/optics rotation_deg.
const halfTurned = 15 * unit.Degree

// cameraShown is the camera angle that the picture judged may teach against what others showed: none where its angle may have another cause.
func (in *Input) cameraShown(e *evidence, v *question.Solve, angles []showing[unit.Angle]) *unit.Angle {
	if e == nil || v.Rotation == nil || in.shows(e) != e.pose {
		return nil
	}
	a := in.cameraAngle(e, *v.Rotation)
	for _, s := range angles {
		if s.accepted && (a-s.value).Wrapped().Abs() >= unit.HalfTurn-halfTurned {
			return nil
		}
	}
	return &a
}

// pictureAngle returns the position angle, from north through east, that a picture has at a pose where it was solved. The camera angle is
// that position angle on the first side (tube east for a German mount) of an equatorial; for an alt-azimuth it is counted from the zenith,
// and the picture turns with the parallactic angle.
func (in *Input) pictureAngle(e *evidence, camera unit.Angle) unit.Angle {
	return (camera + in.axis2Angle(in.shows(e), e.sight, e.north) - in.axis2Reference()).Positive()
}

// shows is the pose whose picture it is: where a solve lies far off, a true one shows that the axes stand where it says, and its angle is the
// one that they have there. Nearby it is the pose held: near the end of axis 1 a small offset is any turn of it.
func (in *Input) shows(e *evidence) rig.Axes {
	if e.offset > farOff {
		return e.solved
	}
	return e.pose
}

// farOff is from where on a picture's angle is told by where the solve puts the axes. Choice: beyond every first pointing error.
const farOff = 3 * unit.Degree

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

// aimed is the pose nearest to one, by the larger of the two angles, at which optics that stand off the tube see a direction; where none
// does, so near the end of axis 1, the one that sees nearest to it.
//
// Derived: the optics' line L at the zero pose splits into a part c along axis 2, which no turn about it changes, and a part at right
// angles to it, whose height over axis 1 goes as a·cos A2 + b·sin A2 = r·cos(A2 - phase). The direction's own height d fixes A2 up to its
// sign about the phase; A1 is what then turns the one line into the other.
func (in *Input) aimed(near rig.Axes, seen frame.Vec[frame.Rig], o rig.Optics) rig.Axes {
	c := &in.Rig.Chain
	if o.East == 0 && o.North == 0 {
		return rig.LiftNear(c.Solve(in.Rig.Kind, seen, in.Rig.Kind.SideOf(near)), near)
	}
	line := in.boresight(rig.Axes{}, o)
	a, b := line.Dot(c.Dir1), c.Dir2.Cross(line).Dot(c.Dir1)
	phase := unit.Angle(math.Atan2(b, a))
	swing := unit.Angle(math.Acos(max(-1, min(1, seen.Dot(c.Dir1)/math.Hypot(a, b)))))
	best, far := near, unit.Angle(math.Inf(1))
	for _, a2 := range []unit.Angle{phase + swing, phase - swing} {
		looks := frame.About(c.Dir2, a2).Apply(line)
		from, to := looks.Sub(c.Dir1.Scale(looks.Dot(c.Dir1))), seen.Sub(c.Dir1.Scale(seen.Dot(c.Dir1)))
		a1 := unit.Angle(math.Atan2(c.Dir1.Dot(from.Cross(to)), from.Dot(to)))
		pose := rig.LiftNear(rig.Axes{A1: a1, A2: a2}, near)
		if d := pose.Sub(near).Abs().Max(); d < far {
			best, far = pose, d
		}
	}
	return best
}

// boresight is where optics look at a pose: off the tube by what the file says for the first side, turned as the picture is.
func (in *Input) boresight(pose rig.Axes, o rig.Optics) frame.Vec[frame.Rig] {
	c := &in.Rig.Chain
	sight := c.Direction(pose)
	off := math.Hypot(float64(o.East), float64(o.North))
	if off == 0 {
		return sight
	}
	// The direction on the sky at right angles to the tube, counted from axis 2 as it stands, which turns with the tube.
	carried := frame.About(c.Dir1, pose.A1).Apply(c.Dir2)
	from := unit.Angle(math.Atan2(float64(o.East), float64(o.North))) - in.axis2Reference()
	toward := turnedAbout(sight, -from, carried)
	return turnedAbout(sight.Cross(toward), unit.Angle(off), sight)
}
