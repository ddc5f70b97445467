package facts

import (
	"errors"
	"fmt"
	"math"
	"time"

	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
)

// usualFacts is a little more than a question has (43 to 53), so that the set need not grow; beyond 56 Go's map takes twice the room.
const usualFacts = 56

// Compute works out everything about one question. It cannot fail: what cannot be had is a missing fact. It goes by the dates of what it is
// given, so that an entry of the record, which keeps no monotonic readings, comes out the same again where a clock was set.
func Compute(in Input) Outcome {
	in.Snapshot.At, in.Question.At = in.Snapshot.At.Round(0), in.Question.At.Round(0)
	out := Outcome{Facts: make(Set, usualFacts)}
	f := out.Facts
	in.Rig = pose.AsShown(in.Rig, in.Snapshot.Rig)
	if !in.Rehearsed {
		in.present(f)
	}
	h, err := newHeaven(&in, in.Snapshot.At)
	if err != nil {
		in.withoutSky(f, err)
		return out
	}
	h.tables(f)
	s := in.newStand(h, in.carried())
	if len(s.pose.Candidates) > 0 {
		out.Start, out.Sigma = s.pose.Candidates[0].Axes, s.sigma
	}
	in.poseFacts(f, s)
	if !in.Rehearsed {
		in.beliefFacts(f, h, s)
		out.HarmlessUntil = in.harmless(h, s)
	}
	out.Notes = in.notes(s)
	if in.action().Kind == question.Sync {
		e := in.solveFacts(f, h, s)
		in.gate(f, h, s, e, &out)
		return out
	}
	in.motion(f, h, s, &out)
	return out
}

// carried is the pose at the instant of the question.
func (in *Input) carried() question.Pose {
	if in.Rehearsed {
		return in.Snapshot.Rig.Pose
	}
	return pose.At(pose.World{Rig: in.Rig, Moment: in.Moment}, in.Snapshot.Rig, in.Snapshot.At)
}

// withoutSky puts, where Earth and sky are not known at the instant, every fact that needs them as missing.
func (in *Input) withoutSky(f Set, err error) {
	why := fmt.Sprintf("the sky cannot be worked out at %s: %v", in.Snapshot.At.UTC().Format(time.RFC3339), err)
	for _, n := range in.motionFacts() {
		f.Lack(n, why, "clock")
	}
	for _, n := range []string{"pose_state", "polar_leans", "pose_age_s", "pose_sigma_axis1_deg", "pose_sigma_axis2_deg", "belief_error_sky_deg", "mount_map_error_deg", "clock_error_s"} {
		f.Lack(n, why, "clock")
	}
}

// motionFacts names what the motion is judged by.
func (in *Input) motionFacts() []string {
	var own []string
	if in.action().Kind == question.Creep {
		own = []string{"closing_mm_per_deg", "closing_sharp_mm_per_deg"}
	}
	return append(own,
		"clearance_spare_mm", "clearance_sharp_spare_mm",
		"axis1_travel_min_deg", "axis1_travel_max_deg", "axis1_sharp_min_deg", "axis1_sharp_max_deg",
		"axis2_travel_min_deg", "axis2_travel_max_deg", "axis2_sharp_min_deg", "axis2_sharp_max_deg",
		"altitude_min_deg", "altitude_sharp_min_deg", "above_horizon_deg", "above_horizon_sharp_deg", "sun_separation_deg", "sun_separation_sharp_deg",
		"track_spare_s", "track_spare_sharp_s", "unstopped_spare_s", "stop_acts", "end_spread_deg",
	)
}

// motion puts the facts of everything that moves.
func (in *Input) motion(f Set, h *heaven, s *stand, out *Outcome) {
	ways, err := in.journeys(h, s)
	if err != nil {
		u := unboundedError{why: err.Error(), need: "asker"}
		errors.As(err, &u)
		for _, n := range in.motionFacts() {
			f.LackFor(n, lack(u))
		}
		if in.Proposes && u.remedy == leaveThePole {
			out.Instead = append(out.Instead, in.offThePole(s)...)
		}
		return
	}
	p := in.prover()
	out.Parts = in.parts()
	endsFact(f, ways)
	in.waysFacts(f, h, p, ways, out)
	if in.action().Kind == question.Creep {
		in.creepFacts(f, p, ways)
	}
	sky := in.action().Sky != nil || in.action().Kind == question.Flip || in.action().Kind == question.Track
	if sky {
		in.horizonAtEnds(f, ways)
		out.note(in.higher(f, h, ways))
	}
	in.followFacts(f, h, p, s, ways, sky, out)
	in.legs(ways, out)
	if v := f["clearance_spare_mm"].Number; in.Proposes && (v == nil || *v < 0) {
		in.wayOut(f, p, ways, out)
		in.around(h, s, p, ways, true, out)
	} else if in.Proposes && in.beyond(f) {
		in.around(h, s, p, ways, false, out)
	}
	for i := range out.Ends {
		out.Ends[i].Believed = in.believedAt(h, s, out.Ends[i].Axes)
	}
}

// horizonAtEnds puts how far the lowest end stands above the local horizon.
func (in *Input) horizonAtEnds(f Set, ways []journey) {
	least, sharp := math.Inf(1), worsts{}
	for _, j := range ways {
		az, alt := seenAltitude(in.Rig.Chain.Direction(j.end.Axes))
		off := apart(j.spread, in.off(j.end.Axes))
		least = math.Min(least, (alt - off - in.Rig.SkylineNear(az, alt, off)).Deg())
		sharp.take(j.end.From, (alt - in.Rig.SkylineAt(az)).Deg())
	}
	proven, _ := sharp.proven()
	f.Number("above_horizon_deg", least, Computed)
	f.Number("above_horizon_sharp_deg", proven, Computed)
}

// believedAt is what the mount and usual limits would see at a pose.
func (in *Input) believedAt(h *heaven, s *stand, a rig.Axes) Believed {
	believed := a.Add(s.ahead())
	_, alt := seenAltitude(in.Rig.Chain.Direction(believed))
	ra, _, _ := in.Rig.Unmap(s.mount, believed)
	return Believed{
		AltitudeDeg: alt.Deg(), HourDeg: (s.mount.Sidereal - ra).Wrapped().Deg(),
		Axis1Deg: believed.A1.Deg(), Axis2Deg: believed.A2.Deg(),
	}
}

// legs puts the proven stretch of the intended way.
func (in *Input) legs(ways []journey, out *Outcome) {
	for i, j := range ways {
		if !j.end.Intended || i >= len(out.Ends) || out.Ends[i].Closest == nil {
			continue
		}
		out.Legs = append(out.Legs, question.Leg{From: j.start, To: j.end.Axes, Closest: *out.Ends[i].Closest})
		return
	}
}

// recentring puts what a false sync would lead to: the mount, told to go back to where it believed that it was, turns by the jump.
func (in *Input) recentring(f Set, h *heaven, s *stand, after rig.Axes, out *Outcome) {
	worst := 0.0
	p := in.prover()
	for i, c := range s.pose.Candidates {
		intended := rig.End{Axes: c.Axes, Side: in.Rig.Kind.SideOf(c.Axes), From: i, Intended: true, Because: "where it stands"}
		out.Ends = append(out.Ends, End{End: intended, Believed: in.believedAt(h, s, c.Axes)})
		turned := c.Axes.Add(s.belief.Sub(rig.LiftNear(after, s.belief)))
		e := rig.End{Axes: turned, From: i, Because: "told to recentre, the mount turns by what the sync would make it believe is missing", Shift: c.Axes.Sub(rig.LiftNear(after, c.Axes))}
		j := in.straightTo(s, e)[0]
		r := p.Prove(j.way, j.sharp, reach.Budget(in.Cells))
		end := End{End: j.end, MotionS: j.way.Seconds(), Closest: in.approach(r, &j), Believed: in.believedAfter(h, s, turned, c.Axes, after)}
		if r.Contact != nil {
			end.Contact = contactOf(r.Contact)
		}
		out.Ends = append(out.Ends, end)
		worst = math.Max(worst, turned.Sub(c.Axes).Abs().Max().Deg())
	}
	f.Number("end_spread_deg", worst, Computed, "recentring after this sync")
}

// believedAfter is what the mount would see at a pose once it had taken the sync.
func (in *Input) believedAfter(h *heaven, s *stand, at, from, after rig.Axes) Believed {
	believed := at.Add(after.Sub(from))
	_, alt := seenAltitude(in.Rig.Chain.Direction(believed))
	ra, _, _ := in.Rig.Unmap(s.mount, believed)
	return Believed{
		AltitudeDeg: alt.Deg(), HourDeg: (s.mount.Sidereal - ra).Wrapped().Deg(),
		Axis1Deg: believed.A1.Deg(), Axis2Deg: believed.A2.Deg(),
	}
}

// harmless is how long carrying on as last reported stays clear: the first instant at which tracking, or standing still, breaks a
// margin, travel, floor or the distance from the Sun. It is not known while the rig moves otherwise or its pose is unknown.
func (in *Input) harmless(h *heaven, s *stand) *time.Time {
	if s.sample == nil || !s.sample.Still() || len(s.pose.Candidates) == 0 {
		return nil
	}
	least := dayS
	for _, j := range in.standing(s) {
		if s.sample.Doing != question.Tracking {
			least = math.Min(least, in.sunOnHold(h, j))
			continue
		}
		for _, c := range in.coursesFrom(h, s, &j, dayS) {
			least = in.carriesOn(h, &c, least)
		}
	}
	t := in.Snapshot.At.Add(time.Duration(least * float64(time.Second)))
	return &t
}

// sunOnHold is when the Sun comes too near a tube that stands still.
func (in *Input) sunOnHold(h *heaven, j journey) float64 {
	c := course{journey: &j, lost: dayS, off: in.off(j.end.Axes), nodes: []node{{at: j.end.Axes}, {t: dayS, at: j.end.Axes}}}
	return in.sunIn(h, &c, j.spread, 2*DitherBox, h.doubt(), dayS)
}

// notes says what the question left out and what that cost, and what of the file is known to be wrong.
func (in *Input) notes(s *stand) []string {
	if in.Rehearsed {
		return nil
	}
	var out []string
	q := in.Question
	say := func(when bool, what string) {
		if when {
			out = append(out, what)
		}
	}
	say(q.Sample == nil, "no sample was sent: the last one reported counts, at its age")
	say(q.Action.Kind == question.Slew && q.Action.Sky != nil && q.Action.Side == "" && in.Rig.Mount.Chooses == rig.AskerChooses, "no side was given: both are judged")
	say(in.sideUnknown(), "the rig file does not say how the mount chooses its side (side_chosen_by: any): both are judged, whichever is asked for")
	say(q.Sample != nil && q.Sample.HomingID == "", "no homing id was given: the latest counts, and continuity with the last sample is checked")
	say(q.Sample != nil && q.Sample.RunMark == "" && in.Rig.Mount.RunMark, "no run mark was given: a restart of the mount may stay unseen")
	say(q.Sent.IsZero(), "no sending time was given: the sample's stands for it")
	say(q.Asker == "", "no asker was named: \"unnamed\" in the record")
	say(q.AttendedBy == "", "nobody is named as present: judged as unattended")
	if beside := in.unlisted(s); beside != "" {
		out = append(out, beside)
	}
	say(in.disproved(), "samples showed that the mount does not keep its syncs as the rig file says: both ways count until the file is mended")
	say(s.sample != nil && len(s.sample.Parts) == 0 && in.hasStates(), "no part states were given: each part takes up all of its states")
	if s.sample != nil {
		for _, p := range s.sample.Parts {
			say(in.Rig.StateUnknown(p), p.String()+" is none of the states that the rig file has of it: the part takes up all of them")
			say(in.Rig.Stateless(p), p.Part+" has no states in the rig file: it counts as it is there, whatever samples tell of it")
		}
	}
	say(in.partsOld(), "the part states last told are too old to count: each part takes up all of its states")
	return out
}

// disproved tells whether the rig goes by what samples showed of its syncs instead of by its file.
func (in *Input) disproved() bool {
	d := in.Snapshot.Rig.Disproved
	return d != nil && d.RigDigest == in.Rig.Digest && d.Says != in.Rig.Mount.Sync
}

// sideUnknown tells whether a slew to the sky may end on either side because nobody knows which the mount takes.
func (in *Input) sideUnknown() bool {
	a := in.action()
	return a.Kind == question.Slew && a.Sky != nil && in.Rig.Mount.Chooses == rig.AnySide
}

func (in *Input) hasStates() bool {
	for _, p := range in.Rig.Parts {
		if len(p.States) > 0 {
			return true
		}
	}
	return false
}

// Harmless is how long carrying on as last reported stays clear; nil where that is not known. Of the input it reads the snapshot,
// the rig, the limits, the sky and the work budget.
func Harmless(in Input) *time.Time {
	in.Rig = pose.AsShown(in.Rig, in.Snapshot.Rig)
	h, err := newHeaven(&in, in.Snapshot.At)
	if err != nil {
		return nil
	}
	return in.harmless(h, in.newStand(h, in.carried()))
}
