package facts

import (
	"fmt"
	"time"

	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Standard deviations of the expected direction, on the sky and on each axis, beside that of the pose: before anything was learnt
// of this homing; once a side has taught its index offsets; and on the other side, where cone and flexure turn over.
// Common practice, no source: a first pointing error of one or two degrees is ordinary.
const (
	sigmaFirst = 1 * unit.Degree
	sigmaSame  = 20 * unit.Arcminute
	sigmaOther = 60 * unit.Arcminute
)

// firstSync tells whether no solve was accepted since the last homing.
func (in *Input) firstSync() bool { return len(in.Snapshot.Rig.Learnt) == 0 }

// doubtful tells whether the pose or a solve of this homing is in doubt, so that a second picture is wanted.
func (in *Input) doubtful() bool {
	return in.Snapshot.Rig.Pose.State == question.Candidates || len(in.openDoubts()) > 0
}

// openDoubts returns the solves that leave something to settle since one was last accepted, oldest first.
func (in *Input) openDoubts() []question.JudgedSolve {
	var out []question.JudgedSolve
	for _, s := range in.Snapshot.Rig.Solves {
		switch s.Verdict {
		case question.Accepted, question.Leaved:
			out = nil
		case question.Held, question.Refused:
			if in.leavesDoubt(s) {
				out = append(out, s)
			}
		}
	}
	return out
}

// leavesDoubt tells whether a held or refused solve wants a second picture. One that agreed with the pose does not where it was held for
// something else: a good one for a lock or an old sample, one of a thin cloud for its few stars. That a poor one agreed says little before
// anything was learnt: the first may be degrees off.
func (in *Input) leavesDoubt(s question.JudgedSolve) bool {
	if s.Good {
		return s.Against
	}
	return s.Verdict == question.Refused || !s.Agreed || in.firstSync()
}

// gate puts the facts by which a sync is judged: the offset from the expected direction, what it does to belief and to the ends of
// the next slews, the budgets of this homing, and whether a second picture is still lacking.
func (in *Input) gate(f Set, h *heaven, s *stand, e *evidence, out *Outcome) {
	f.Truth("sync_is_first", in.firstSync(), Computed)
	f.Number("sync_10min_count", float64(in.recentSyncs()+1), Computed)
	if e == nil {
		return
	}
	learnt, sigma := in.learnt(e)
	delta := e.solved.Sub(e.pose).Sub(learnt)
	one, two := float64(delta.A1)*e.sine, float64(delta.A2)
	e.offset = in.offsetAngle(e, learnt)
	f.Number("expected_offset_arcmin", e.offset.Arcmin(), Computed, in.looksLike(h, e, learnt)...)
	f.Number("expected_offset_sharp_arcmin", in.offsetAtBest(s, e, learnt).Arcmin(), Computed)
	v := float64(sigma * sigma) // at mid-exposure: what the rig may have turned since makes no solve likelier
	v1 := v + sq(float64(s.seen.A1)*e.sine)
	v2 := v + sq(float64(s.seen.A2))
	f.Number("offset_d2", one*one/v1+two*two/v2, Computed)
	out.Solve = in.judged(e)
	in.lacking(f, e, out.Solve, delta, v1+v2)
	in.jump(f, h, s, out)
}

func sq(x float64) float64 { return x * x }

// learnt returns the index offsets to expect at the pose of the solve and the standard deviation that goes with them.
func (in *Input) learnt(e *evidence) (rig.Axes, unit.Angle) {
	side := in.Rig.Kind.SideOf(e.pose)
	if o, ok := in.Snapshot.Rig.Learnt[side]; ok {
		return o.Axes, sigmaSame
	}
	if o, ok := in.Snapshot.Rig.Learnt[side.Other()]; ok {
		return o.Axes, sigmaOther
	}
	return rig.Axes{}, sigmaFirst
}

// offsetAngle is the angle on the sky between the solve and the direction expected of the pose with what was learnt.
func (in *Input) offsetAngle(e *evidence, learnt rig.Axes) unit.Angle {
	c := &in.Rig.Chain
	return c.Direction(e.pose.Add(learnt)).Angle(c.Direction(e.solved))
}

// offsetAtBest is offsetAngle from the one of the places where the rig may be that the solve lies nearest to: the others stand off the
// likeliest at mid-exposure as they do now.
func (in *Input) offsetAtBest(s *stand, e *evidence, learnt rig.Axes) unit.Angle {
	c, best := &in.Rig.Chain, e.offset
	for _, other := range s.axes() {
		at := e.pose.Add(other.Sub(s.pose.Candidates[0].Axes))
		best = min(best, c.Direction(at.Add(learnt)).Angle(c.Direction(in.aimed(at, e.seen, e.optics))))
	}
	return best
}

// looksLike says in a few words what an offset looks like, or nothing.
func (in *Input) looksLike(h *heaven, e *evidence, learnt rig.Axes) []string {
	if w := in.otherReading(h, e, learnt); w != "" {
		return []string{w}
	}
	m := h.near(e.mid)
	ra, dec, _ := in.Rig.Unmap(h.ours(m), e.pose.Add(learnt))
	if turn := (e.ra - ra).Wrapped(); (e.dec-dec).Abs() < 0.5*unit.Degree && turn.Abs() > 5*unit.Degree && in.offsetAngle(e, learnt) > unit.Degree {
		if w := likelyClock(turn, true); w != "" {
			return []string{w}
		}
		return []string{fmt.Sprintf("all in hour angle: looks like %.0f minutes of a clock, or %.1f° of longitude", turn.Abs().Deg()*4/1.0027, turn.Abs().Deg())}
	}
	return nil
}

// readingGain is by how much nearer another reading of the same numbers must bring a solve, to be named. Choice.
const readingGain = 4

// otherReading names a reading of the solved position that would explain an offset: the other frame, right ascension in hours.
func (in *Input) otherReading(h *heaven, e *evidence, learnt rig.Axes) string {
	off := in.offsetAngle(e, learnt)
	if off < 5*unit.Arcminute {
		return ""
	}
	said := in.action().Solve.Sky
	other, hours, degrees := said, said, said
	other.Frame = question.ICRS
	if said.Frame == question.ICRS {
		other.Frame = question.OfDate
	}
	hours.RA, degrees.RA = (said.RA * 15).Positive(), said.RA/15
	for _, r := range []struct {
		sky  question.Sky
		what string
	}{
		{other, "looks like a mix-up of frames: read as " + string(other.Frame) + " it would lie %.1f′ off"},
		{hours, "looks like right ascension in hours where degrees are wanted: read so it would lie %.1f′ off"},
		{degrees, "looks like right ascension turned from hours to degrees twice: read so it would lie %.1f′ off"},
	} {
		m := h.near(e.mid)
		ra, dec := ofDate(m, r.sky)
		pose := in.aimed(e.pose, h.seen(h.horizontal(m, ra, dec)), e.optics)
		if d := in.Rig.Chain.Direction(e.pose.Add(learnt)).Angle(in.Rig.Chain.Direction(pose)); d*readingGain < off {
			return fmt.Sprintf(r.what, d.Arcmin())
		}
	}
	return ""
}

// judged is the evidence as it will be remembered; its verdict is filled in once the rules have spoken.
func (in *Input) judged(e *evidence) *question.JudgedSolve {
	v := in.action().Solve
	j := &question.JudgedSolve{
		RequestID: in.Question.ID, At: in.Snapshot.At, Mid: e.mid, Picture: pictureName(v), Optics: e.optics.Name,
		Blind: v.Radius != nil && *v.Radius >= unit.Deg(180), Side: in.Rig.Kind.SideOf(e.pose),
		Pose: e.pose, Solved: e.solved, Field: in.field(v, e.optics), OffsetSky: e.offset,
		Rotation: v.Rotation, Pixel: v.Pixel, Mirrored: v.Mirrored, Hint: v.Hint,
	}
	if v.Rotation != nil {
		a := in.cameraAngle(e, *v.Rotation)
		j.Camera = &a
	}
	return j
}

// pictureName tells pictures apart: by the name given, else by exposure and position together.
func pictureName(v *question.Solve) string {
	if v.Picture != "" {
		return v.Picture
	}
	return fmt.Sprintf("%s %s %.6f %.6f", v.Start.UTC().Format(time.RFC3339Nano), v.Exposure, float64(v.Sky.RA), float64(v.Sky.Dec))
}

// field is the field's long side: as solved, else as in the file; 0 where neither says.
func (in *Input) field(v *question.Solve, o rig.Optics) unit.Angle {
	switch {
	case v.Width != nil:
		return *v.Width
	case o.WidthDeg != nil:
		return unit.Deg(*o.WidthDeg)
	}
	return 0
}

// lacking puts how many independent pictures are still wanted: none while nothing is in doubt; else one, unless this picture is
// independent of one in doubt, and either agrees with it or vindicates the pose.
func (in *Input) lacking(f Set, e *evidence, now *question.JudgedSolve, delta rig.Axes, variance float64) {
	doubts := in.openDoubts()
	if !in.doubtful() {
		f.Number("independent_count", 0, Computed)
		f.Number("pictures_lacking_count", 0, Computed)
		return
	}
	floor := unit.Arcmin(in.limit("sync/second", "agree_arcmin", 0))
	sides := sq(float64(delta.A1)*e.sine)+sq(float64(delta.A2)) <= 13.8/2*variance // χ², p .001, as sync/expected
	independent, agreement := 0, unit.Angle(-1)
	why := "it was taken too near the picture in doubt: move by more than one field and take another"
	for i := range doubts {
		if ok, reason := pose.Independent(in.Rig, doubts[i], *now); !ok {
			why = reason
			continue
		}
		independent++
		if a := agreementOf(doubts[i], *now, e.sine); agreement < 0 || a < agreement {
			agreement = a
		}
	}
	f.Number("independent_count", float64(independent), Computed)
	if agreement >= 0 {
		f.Number("independent_agreement_arcmin", agreement.Arcmin(), Computed)
	}
	if len(doubts) == 0 { // the pose is in doubt, not a picture: this one is the first
		f.Number("pictures_lacking_count", 1, Computed, "this is the first picture since the pose came into doubt")
		return
	}
	if independent > 0 && (sides || agreement <= floor) {
		f.Number("pictures_lacking_count", 0, Computed)
		return
	}
	if independent > 0 {
		why = fmt.Sprintf("it agrees with neither the pose nor the picture in doubt (%.1f′ from it)", agreement.Arcmin())
	}
	f.Number("pictures_lacking_count", 1, Computed, why)
}

// agreementOf is how far the shift between two solves is from the shift of the axes, on the sky.
func agreementOf(a, b question.JudgedSolve, sine float64) unit.Angle {
	d := b.Solved.Sub(a.Solved).Sub(b.Pose.Sub(a.Pose))
	return unit.Angle(hypot(float64(d.A1.Wrapped())*sine, float64(d.A2.Wrapped())))
}

func (in *Input) recentSyncs() int {
	n := 0
	for _, s := range in.Snapshot.Rig.Syncs {
		if in.Snapshot.At.Sub(s.At) < 10*time.Minute { // one from the future too: the clock went back since
			n++
		}
	}
	return n
}

// jump puts what the sync would do to belief in axis terms, and to the sum since homing, and where the mount would then end when told
// to go back to where it believed that it was.
func (in *Input) jump(f Set, h *heaven, s *stand, out *Outcome) {
	names := []string{"sync_jump_axis1_deg", "sync_jump_axis2_deg", "sync_sum_axis1_deg", "sync_sum_axis2_deg", "end_spread_deg"}
	if !s.believes {
		for _, n := range names {
			f.Lack(n, s.unbelieving(), "sample")
		}
		return
	}
	given := in.action().Solve.Sky
	if in.action().Given != nil {
		given = *in.action().Given
	}
	ra, dec := ofDate(h.moment, given)
	p := s.pose.Candidates[0].Axes
	after := rig.LiftNear(in.Rig.Map(s.mount, ra, dec, s.side), p)
	d := after.Sub(s.belief)
	out.SyncAxes = d
	out.SyncNearer = after.Sub(p).Abs().Max() <= s.belief.Sub(p).Abs().Max()
	f.Number("sync_jump_axis1_deg", d.A1.Abs().Deg(), Computed, "axis 1")
	f.Number("sync_jump_axis2_deg", d.A2.Abs().Deg(), Computed, "axis 2")
	var sum rig.Axes
	for _, done := range in.Snapshot.Rig.Syncs {
		if !done.Nearer {
			sum = sum.Add(done.Axes)
		}
	}
	if !out.SyncNearer {
		sum = sum.Add(d)
	}
	f.Number("sync_sum_axis1_deg", sum.A1.Abs().Deg(), Computed, "axis 1")
	f.Number("sync_sum_axis2_deg", sum.A2.Abs().Deg(), Computed, "axis 2")
	in.recentring(f, h, s, after, out)
}
