package facts

import (
	"fmt"
	"math"
	"time"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/pointing"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/timescale"
	"keepclear.example/keepclear/service/internal/unit"
)

// evidence is a solve held against the pose at mid-exposure.
type evidence struct {
	mid      time.Time
	midKnown bool
	midWhy   string // why the pose at mid-exposure is not known
	midNeed  string // what supplies it
	pose     rig.Axes
	solved   rig.Axes   // the axes that the solve gives, on the pose's side, nearest to it
	sine     float64    // of the angle between tube and axis 1: what an axis-1 error is worth on the sky
	offset   unit.Angle // on the sky, from the expected direction; with what was learnt once gate has it
	like     []string   // what the offset looks like, in a few words
	ra, dec  unit.Angle // solved, of date
	optics   rig.Optics
	altitude unit.Angle           // of the solved field, as seen
	tube     frame.Vec[frame.Rig] // where the tube must point for the solve to be so, as seen
	sight    frame.Vec[frame.Rig] // the solved direction, without refraction
	seen     frame.Vec[frame.Rig] // the same with it
	north    frame.Vec[frame.Rig] // the pole that the solve's right ascension and rotation count from

	model     *pointing.Model // of the optics; from here on see expect
	view      pointing.View   // what it foretells of the pose
	off       [2]float64      // of the solve from that, across and along, radians
	scatter   pointing.Cov2   // of that
	d2        float64         // of it, squared sigmas, with what pictures in doubt said alike
	sigma     rig.Axes        // of the pose at mid-exposure beside that of its home
	confirmed bool            // a picture in doubt says the same: the mount moved a little
}

// solveFacts puts the facts about the picture itself and returns what it says of the pose; nil where nothing can be said.
func (in *Input) solveFacts(f Set, h *heaven, s *stand) *evidence {
	v := in.action().Solve
	e := &evidence{}
	e.optics, _ = in.Rig.OpticsNamed(v.Optics)
	in.solveTimes(f, e, v)
	in.solveFigures(f, v)
	in.solveRadius(f, v)
	if len(s.pose.Candidates) == 0 || !e.midKnown {
		why := orElse(e.midWhy, orElse(s.pose.Because, "the pose is unknown"))
		need := orElse(e.midNeed, "sample")
		if len(s.pose.Candidates) == 0 {
			need = "homing"
		}
		for _, n := range []string{"expected_offset_arcmin", "expected_offset_sharp_arcmin", "offset_d2", "walk_sigma", "run_sigma", "drift_sigma", "sync_jump_axis1_deg", "sync_jump_axis2_deg", "sync_sum_axis1_deg", "sync_sum_axis2_deg", "solve_altitude_deg", "rotation_error_deg", "pictures_lacking_count", "end_spread_deg"} {
			f.Lack(n, why, need)
		}
		f.Truth("picture_repeated", false, Absent, why) // no words of its own: what is lacking holds anyway
		f.Truth("picture_left", false, Absent, why)
		f.Truth("solve_expected", false, Absent, why)
		in.solveOptics(f, nil, v, e.optics)
		return nil
	}
	in.against(h, e, v)
	in.expect(s, e)
	f.Number("solve_altitude_deg", e.altitude.Deg(), Computed)
	in.solveOptics(f, e, v, e.optics)
	return e
}

// against holds the solve against the pose at mid-exposure.
func (in *Input) against(h *heaven, e *evidence, v *question.Solve) {
	m := h.near(e.mid)
	e.ra, e.dec = ofDate(m, v.Sky)
	e.sight = h.horizontal(m, e.ra, e.dec)
	poleRA, poleDec := ofDate(m, question.Sky{Dec: unit.HalfTurn / 2, Frame: v.Sky.Frame})
	e.north = h.horizontal(m, poleRA, poleDec)
	e.seen = h.seen(e.sight)
	_, e.altitude = seenAltitude(e.seen)
	e.solved = in.aimed(e.pose, e.seen, e.optics)
	c := &in.Rig.Chain
	e.tube = c.Direction(e.solved)
	e.offset = c.Direction(e.pose).Angle(e.tube)
	e.sine = e.tube.Angle(c.Dir1).Sin()
}

// anotherPicture is what supplies what no sample can any more.
const anotherPicture = "second_solve"

// solveTimes puts the age of the picture, and finds the pose at mid-exposure from the sample sent with it, or from the samples on
// both sides if both show rest or tracking and nothing moved between.
func (in *Input) solveTimes(f Set, e *evidence, v *question.Solve) {
	mid, ok := v.Middle()
	if !ok {
		e.midWhy, e.midNeed = "the solve does not say when and how long it was exposed", anotherPicture
		f.Lack("solve_age_s", e.midWhy, "asker")
		f.Lack("exposure_motion_arcsec", e.midWhy, "asker")
		return
	}
	e.mid = mid
	end := v.Start.Add(v.Exposure)
	age := in.Snapshot.At.Sub(end).Seconds()
	like := timescale.LikelyHours(in.Snapshot.At.Sub(end))
	if age < 0 {
		why := fmt.Sprintf("the exposure ends %.0f s after now: one of the clocks is wrong", -age)
		if like != "" {
			why += "; it " + like
		}
		f.Lack("solve_age_s", why, "clock")
	} else if like != "" {
		f.Number("solve_age_s", age, Told, like)
	} else {
		f.Number("solve_age_s", age, Told)
	}
	in.poseAtMid(f, e, v.Start, end)
}

// poseAtMid finds the pose at mid-exposure among the marks of the samples around it; a sample sent as that of mid-exposure serves where
// there is none before or after.
func (in *Input) poseAtMid(f Set, e *evidence, start, end time.Time) {
	marks := in.Snapshot.Rig.Recent
	before, after := around(marks, start, end)
	if mid := in.action().Solve.Mid; mid != nil {
		sent := markAt(marks, mid.Time)
		before, after = orMark(before, sent), orMark(after, sent)
	}
	switch {
	case before == nil || after == nil:
		e.midWhy = fmt.Sprintf("no samples around the exposure %s to %s: one is wanted before it and one after", clock(start), clock(end))
		if before == nil && len(marks) > 0 { // no sample can be had of then any more
			e.midWhy += "; the first sample on hand is of " + clock(marks[0].Time) + ": take a picture later than that"
			e.midNeed = anotherPicture
		}
	case (!before.Known || !after.Known) && len(in.Snapshot.Rig.Pose.Candidates) == 0:
		e.midWhy, e.midNeed = "the pose was not known during the exposure", anotherPicture
	case after.Time.Before(before.Time): // the sample sent as that of mid-exposure stands for one of them, and lies outside
		e.midWhy = fmt.Sprintf("the sample of mid-exposure is of %s, the exposure from %s to %s: send one that was read while the shutter was open", clock(in.action().Solve.Mid.Time),
			clock(start), clock(end))
	case movedBetween(marks, before.Time, after.Time), in.elsewhere(*before, *after):
		e.midWhy, e.midNeed = fmt.Sprintf("the rig moved between %s and %s", clock(before.Time), clock(after.Time)), anotherPicture
	}
	if e.midWhy != "" {
		f.Lack("exposure_motion_arcsec", e.midWhy, "sample")
		return
	}
	e.midKnown = true
	if span := after.Time.Sub(before.Time).Seconds(); span > 0 {
		e.pose = before.Axes.Add(after.Axes.Sub(before.Axes).Scale(e.mid.Sub(before.Time).Seconds() / span))
		in.exposureMotion(f, *before, *after, end.Sub(start))
		return
	}
	e.pose = in.carriedMark(*before, e.mid)
	f.Number("exposure_motion_arcsec", in.drift(*before, question.SampleMark{
		Time: before.Time.Add(end.Sub(start)), Axes: in.carriedMark(*before, before.Time.Add(end.Sub(start))),
	}, end.Sub(start)).Arcsec(), Computed)
}

// carriedMark is where a rig seen once is at another instant, resting or following the sky as it did.
func (in *Input) carriedMark(m question.SampleMark, at time.Time) rig.Axes {
	dt := at.Sub(m.Time).Seconds()
	switch {
	case m.Doing != question.Tracking:
		return m.Axes
	case in.Rig.Kind.Equatorial():
		return m.Axes.Add(rig.Axes{A1: unit.Angle(dt) * question.SiderealRate})
	}
	f := follower{chain: in.Rig.Chain, pole: in.Rig.Pole(), side: in.Rig.Kind.SideOf(m.Axes)}
	return f.at(in.Rig.Kind, in.Rig.Chain.Direction(m.Axes), dt, m.Axes)
}

// markAt returns the mark of the sample read at an instant.
func markAt(marks []question.SampleMark, at time.Time) *question.SampleMark {
	for i := range marks {
		if marks[i].Time.Equal(at) {
			return &marks[i]
		}
	}
	return nil
}

func orMark(a, b *question.SampleMark) *question.SampleMark {
	if a == nil {
		return b
	}
	return a
}

// around returns the last mark not after start and the first not before end.
func around(marks []question.SampleMark, start, end time.Time) (before, after *question.SampleMark) {
	for i := range marks {
		m := &marks[i]
		if !m.Time.After(start) {
			before = m
		}
		if !m.Time.Before(end) {
			return before, m
		}
	}
	return before, nil
}

// elsewhere tells whether a rig that was quiet before and after stands neither where resting nor where following the sky leaves it: it
// moved between, and was not seen to.
func (in *Input) elsewhere(before, after question.SampleMark) bool {
	tracking := before
	tracking.Doing = question.Tracking
	d := func(a rig.Axes) unit.Angle {
		return in.Rig.Chain.Direction(a).Angle(in.Rig.Chain.Direction(after.Axes))
	}
	return min(d(before.Axes), d(in.carriedMark(tracking, after.Time))) > unseenMotion
}

// unseenMotion is by how much resting or following may miss: what a permit's start may (permit start_tolerance_deg), guiding included.
const unseenMotion = 0.5 * unit.Degree

func movedBetween(marks []question.SampleMark, from, to time.Time) bool {
	for _, m := range marks {
		if !m.Time.Before(from) && !m.Time.After(to) && m.Doing != question.AtRest && m.Doing != question.Tracking {
			return true
		}
	}
	return false
}

// exposureMotion puts how far the field moved during an exposure. Encoders step and scatter: of a mount that says it tracks, what their stated
// uncertainty explains is no motion, where its belief, the finer witness, stood still as well. Elsewhere nothing is taken off.
func (in *Input) exposureMotion(f Set, before, after question.SampleMark, exposure time.Duration) {
	moved := in.drift(before, after, exposure)
	scatter, believed, ok := in.scatter(before, after)
	if !ok {
		f.Number("exposure_motion_arcsec", moved.Arcsec(), Computed)
		return
	}
	share := shareOf(exposure, after.Time.Sub(before.Time).Seconds())
	f.Number("exposure_motion_arcsec", max(moved-scatter*share, min(moved, believed*share)).Arcsec(), Computed,
		"what the belief of the mount moved by, and the encoders beyond three standard deviations of two readings")
}

// scatter is by how much two readings of encoders may differ and the mount stand still against the sky, three standard deviations; and how far the
// belief of the mount moved between them. Not ok: no encoder is read, the mount did not say that it tracks, or where it believed itself.
func (in *Input) scatter(before, after question.SampleMark) (scatter, believed unit.Angle, ok bool) {
	a, b := before.Belief, after.Belief
	if in.Snapshot.Rig.Pose.Source != rig.AxisEncoder || before.Doing != question.Tracking || after.Doing != question.Tracking || a == nil || b == nil || a.Frame != b.Frame {
		return 0, 0, false
	}
	for _, s := range in.Rig.Sources {
		if s.Kind == rig.AxisEncoder {
			sine := in.Rig.Chain.Direction(before.Axes).Angle(in.Rig.Chain.Dir1).Sin()
			scatter = 3 * unit.Angle(math.Hypot(float64(s.Sigma.A1)*sine, float64(s.Sigma.A2)))
		}
	}
	return scatter, frame.FromLonLat[frame.ICRS](a.RA, a.Dec).Angle(frame.FromLonLat[frame.ICRS](b.RA, b.Dec)), true
}

// shareOf is how much of what happens evenly in so many seconds happens in an exposure among them.
func shareOf(exposure time.Duration, seconds float64) unit.Angle {
	return unit.Angle(min(1, exposure.Seconds()/seconds))
}

// drift is how far the field moved against the sky during an exposure between two marks: what the axes did less what tracking would
// have done, on the sky, in proportion to the exposure.
func (in *Input) drift(before, after question.SampleMark, exposure time.Duration) unit.Angle {
	span := after.Time.Sub(before.Time).Seconds()
	if span <= 0 {
		return 0
	}
	c := &in.Rig.Chain
	a, b := c.Direction(before.Axes), c.Direction(after.Axes)
	if !in.Rig.Kind.Equatorial() {
		// An alt-azimuth's axes follow no constant rate: hold the directions against each other on the turning sky.
		pole := in.Rig.Pole()
		b = turnedAbout(pole, unit.Angle(span)*question.SiderealRate, b)
	} else {
		tracked := before.Axes.Add(rig.Axes{A1: unit.Angle(span) * question.SiderealRate})
		a = c.Direction(tracked)
	}
	return a.Angle(b) * shareOf(exposure, span)
}

// solveFigures puts matched stars and residual.
func (in *Input) solveFigures(f Set, v *question.Solve) {
	switch {
	case v.Matched != nil:
		f.Number("matched_count", float64(*v.Matched), Told)
	case in.Rig.Solver.NoMatched:
		f.Number("matched_count", absentMatched, Absent, "the rig file says that its solver tells no count")
	default:
		f.Lack("matched_count", "the solve does not say how many stars matched", "asker")
	}
	switch {
	case v.Residual == nil && in.Rig.Solver.NoResidual:
		f.Number("residual_ratio", 0, Absent, "the rig file says that its solver tells no residual")
	case v.Residual == nil:
		f.Lack("residual_ratio", "the solve has no residual", "asker")
	case v.Pixel == nil || *v.Pixel <= 0:
		f.Number("residual_arcsec", v.Residual.Arcsec(), Told)
		f.Lack("residual_ratio", "the residual is in arcseconds, and the solve does not say how large a pixel is", "asker")
	default:
		f.Number("residual_arcsec", v.Residual.Arcsec(), Told)
		f.Number("residual_ratio", float64(*v.Residual / *v.Pixel), Told)
	}
}

// absentMatched stands for a count that the solver is declared to lack: more than any limit asks for.
const absentMatched = 1e6

// solveRadius puts how wide the solver searched; blind counts as 180°. It matters for first solves and second pictures: a hinted
// solve cannot reveal an error larger than its search.
func (in *Input) solveRadius(f Set, v *question.Solve) {
	f.Truth("hint_matters", in.firstSync() || in.doubtful(), Computed)
	switch {
	case v.Radius != nil:
		f.Number("hint_radius_deg", v.Radius.Deg(), Told)
	case in.Rig.Solver.NoRadius:
		f.Number("hint_radius_deg", 180, Absent, "the rig file says that its solver tells no radius")
	default:
		f.Lack("hint_radius_deg", "the solve does not say how wide it searched", "asker")
	}
}

// solveOptics puts scale, rotation and handedness against what the optics are known to have.
func (in *Input) solveOptics(f Set, e *evidence, v *question.Solve, o rig.Optics) {
	known := in.opticsFor(e, v, o)
	in.scale(f, v, known.pixel.value)
	in.handedness(f, v, known.mirrored)
	if e != nil {
		in.rotation(f, e, v, known.angle.value)
	}
}

func (in *Input) scale(f Set, v *question.Solve, want *unit.Angle) {
	switch {
	case v.Pixel == nil && in.Rig.Solver.NoScale:
		f.Number("scale_error_ratio", 0, Absent, "the rig file says that its solver tells no scale")
	case v.Pixel == nil:
		f.Lack("scale_error_ratio", "the solve does not say how large a pixel is", "asker")
	case want == nil:
		f.Number("scale_error_ratio", 0, Absent, "no scale is given or learnt for these optics")
	default:
		f.Number("scale_error_ratio", math.Abs(float64(*v.Pixel / *want)-1), Computed, fmt.Sprintf("%.3f″ a pixel, %.3f″ expected", v.Pixel.Arcsec(), want.Arcsec()))
	}
}

// handedness puts whether the picture is mirrored against what is sure of these optics, and whether against what a single picture showed.
func (in *Input) handedness(f Set, v *question.Solve, want learnt[bool]) {
	both := func(put func(name string)) { put("mirrored_wrong"); put("mirrored_unlike") }
	switch {
	case v.Mirrored == nil && in.Rig.Solver.NoMirror:
		both(func(n string) { f.Truth(n, false, Absent, "the rig file says that its solver tells no handedness") })
	case v.Mirrored == nil:
		both(func(n string) { f.Lack(n, "the solve does not say whether the picture is mirrored", "asker") })
	case want.value == nil:
		both(func(n string) { f.Truth(n, false, Absent, "no handedness is given or learnt for these optics") })
	default:
		unlike := *v.Mirrored != *want.value
		f.Truth("mirrored_wrong", unlike && want.sure, Computed)
		f.Truth("mirrored_unlike", unlike && !want.sure, Computed)
	}
}

func (in *Input) rotation(f Set, e *evidence, v *question.Solve, want *unit.Angle) {
	switch {
	case v.Rotation == nil && in.Rig.Solver.NoRotation:
		f.Number("rotation_error_deg", 0, Absent, "the rig file says that its solver tells no rotation")
	case v.Rotation == nil:
		f.Lack("rotation_error_deg", "the solve does not say how the picture is turned", "asker")
	case want == nil:
		f.Number("rotation_error_deg", 0, Absent, "no camera angle is given or learnt for these optics")
	default:
		expected := in.pictureAngle(e, *want)
		f.Number("rotation_error_deg", (*v.Rotation - expected).Wrapped().Abs().Deg(), Computed, fmt.Sprintf("turned %.1f°, %.1f° expected", v.Rotation.Positive().Deg(), expected.Positive().Deg()))
	}
}
