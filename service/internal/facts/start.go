package facts

import (
	"math"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// waits is by how much the sky moves the start of a tracking rig, and the end of a slew to the sky, while leave waits to be used; and how
// far else from the judged start the motion may begin: the path then strays from the judged one by no more.
func (in *Input) waits(s *stand, e rig.End) rig.Axes {
	var out rig.Axes
	if in.Rehearsed {
		return out
	}
	if in.action().Sky != nil || in.action().Kind == question.Flip || s.tracks() {
		out = in.turningAt(e.Axes, e.Shift, in.startWithin())
	}
	return upper(out, in.drifts(s)).Add(in.astray(s))
}

// startWithin is how long leave may wait to be used, seconds.
func (in *Input) startWithin() float64 { return in.limit("permit", "start_within_s", 60) }

// drifts is by how much the sky moves the start of a tracking rig while leave waits.
func (in *Input) drifts(s *stand) rig.Axes {
	if in.Rehearsed || !s.tracks() || len(s.pose.Candidates) == 0 {
		return rig.Axes{}
	}
	return in.turningAt(s.pose.Candidates[0].Axes, s.ahead().Scale(-1), in.startWithin())
}

// astray is how far from the judged start a motion may begin that waits for a begin, or is asked of a moving rig.
func (in *Input) astray(s *stand) rig.Axes {
	var out rig.Axes
	if in.Rehearsed {
		return out
	}
	if s.sample != nil && !s.sample.Still() { // it must come to rest first: v²/2a at its slewing rate
		m := in.Rig.Motion
		out = out.Add(rig.Axes{A1: stopping(m.RateDeg[0], m.AccelDeg[0]), A2: stopping(m.RateDeg[1], m.AccelDeg[1])})
	}
	if in.Question.BeginLater {
		off := unit.Deg(in.limit("permit", "start_tolerance_deg", 2))
		out = out.Add(rig.Axes{A1: off, A2: off})
	}
	return out
}

// stopping is how far an axis runs on until it rests; half a turn where its acceleration is not known.
func stopping(rate, accel float64) unit.Angle {
	if !(accel > 0) {
		return unit.HalfTurn
	}
	return min(unit.HalfTurn, unit.Deg(rate*rate/(2*accel)))
}

// turningAt is turning from a pose and from where a mount that is off it by a shift believes that it is: it turns its axes by that.
func (in *Input) turningAt(at, shift rig.Axes, seconds float64) rig.Axes {
	return upper(in.turning(at, seconds), in.turning(at.Sub(shift), seconds))
}

// turning bounds how far the axes turn in some seconds of following the sky from a pose. For an alt-azimuth see bow for the rates.
func (in *Input) turning(at rig.Axes, seconds float64) rig.Axes {
	turned := unit.Angle(seconds) * question.SiderealRate
	if in.Rig.Kind.Equatorial() {
		return rig.Axes{A1: turned}
	}
	up := in.Rig.Chain.Dir1.Scale(-1)
	sinLat := in.Rig.Pole().Dot(up)
	cosLat := math.Sqrt(math.Max(0, 1-sinLat*sinLat))
	top := (unit.HalfTurn/2 - in.Rig.Chain.Direction(at).Angle(up)).Abs() + turned
	if top >= unit.HalfTurn/2 {
		return rig.Axes{A1: unit.HalfTurn, A2: turned}
	}
	rate := math.Abs(sinLat) + cosLat*math.Tan(float64(top))
	return rig.Axes{A1: min(unit.HalfTurn, turned*unit.Angle(rate)), A2: turned * unit.Angle(cosLat)}
}
