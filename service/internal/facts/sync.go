package facts

import (
	"fmt"
	"math"
	"time"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/pointing"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// The most that the scatter of the expected direction may be taken for, each way, once a solve of this homing was accepted: on a side that taught
// something, and on the other, where cone and flexure turn over. Beyond it a second picture is asked for: what the first solves of a rig leave
// open of its terms would else let a false one pass that lies degrees off. Common practice, no source.
const (
	mostSame  = 20 * unit.Arcminute
	mostOther = 60 * unit.Arcminute
)

// firstSync tells whether no solve was accepted since the last homing, or none at all through these optics.
func (in *Input) firstSync() bool {
	o, _ := in.Rig.OpticsNamed(in.action().Solve.Optics)
	return len(in.Snapshot.Rig.Learnt) == 0 || pose.PointingModel(in.Rig, in.Snapshot.Rig, o.Name).Count == 0
}

// doubtful tells whether the pose or a solve of this homing is in doubt, so that a second picture is wanted.
func (in *Input) doubtful() bool {
	return in.Snapshot.Rig.Pose.State == question.Candidates || len(in.openDoubts()) > 0
}

// openDoubts returns the solves that leave something to settle since one was last accepted, oldest first, with those that a homing that moved nothing left.
func (in *Input) openDoubts() []question.JudgedSolve {
	return in.Snapshot.Rig.Unsettled(in.leavesDoubt)
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
	f.Number("given_off_arcmin", in.givenOff(h).Arcmin(), Computed)
	if e == nil {
		return
	}
	learnt := e.model.Lean(in.mount(), e.pose)
	e.offset = unit.Angle(math.Hypot(e.off[0], e.off[1]))
	if in.firstSync() { // what was learnt excuses no first that lies farther off than a first may
		e.offset = max(e.offset, in.Rig.Chain.Direction(e.pose).Angle(e.tube))
	}
	e.like = in.looksLike(h, e, learnt)
	f.Number("expected_offset_arcmin", e.offset.Arcmin(), Computed, e.like...)
	f.Number("expected_offset_sharp_arcmin", in.offsetAtBest(s, e).Arcmin(), Computed, e.like...)
	out.Solve = in.judged(e)
	in.repeated(f, e)
	in.left(f, s, e)
	in.lacking(f, e, out.Solve)
	in.walk(f, e)
	f.Number("drift_sigma", in.drifted(*out.Solve), Computed)
	f.Truth("solve_expected", e.model.Knows(&e.view) && !e.confirmed && e.d2 <= in.limit("sync/expected", "d2", 0) &&
		unit.Angle(math.Hypot(e.off[0], e.off[1])) <= unit.Arcmin(in.limit("sync/second", "agree_arcmin", 0)), Computed)
	in.jump(f, h, s, out)
}

// expect holds the solve against what the pointing model foretells of the pose at mid-exposure. What the home is off by is the model's own; beside
// it counts what the pose lost since, as of then: what the rig may have turned since makes no solve likelier.
func (in *Input) expect(s *stand, e *evidence) {
	m := pose.PointingModel(in.Rig, in.Snapshot.Rig, e.optics.Name)
	e.model = &m
	e.sigma = s.seen
	if home := in.Snapshot.Rig.Homing; home != nil {
		e.sigma = question.Beside(s.seen, home.Sigma)
	}
	e.view = e.model.At(in.mount(), e.pose)
	e.off = e.view.Off(e.tube)
	e.scatter = in.scatterAt(e.model, &e.view, e.sigma, e.pose)
}

// scatterAt is the scatter by which a solve is judged: of model and pose as far as they may excuse one, and of what the terms leave out.
func (in *Input) scatterAt(m *pointing.Model, v *pointing.View, sigma, at rig.Axes) pointing.Cov2 {
	return in.believable(v.Scatter.Plus(m.Doubt(v, sigma)), in.Rig.Kind.SideOf(at)).Plus(pointing.Misfit())
}

// believable is the scatter of model and pose as far as it may excuse a solve.
func (in *Input) believable(c pointing.Cov2, side rig.Side) pointing.Cov2 {
	switch _, same := in.Snapshot.Rig.Learnt[side]; {
	case in.firstSync():
		return c
	case same:
		return c.Within(mostSame)
	}
	return c.Within(mostOther)
}

func sq(x float64) float64 { return x * x }

func (in *Input) mount() pointing.Mount { return pointing.MountOf(in.Rig) }

// offsetAngle is the angle on the sky between the solve and the direction expected of the pose with what was learnt.
func (in *Input) offsetAngle(e *evidence, learnt rig.Axes) unit.Angle {
	c := &in.Rig.Chain
	return c.Direction(e.pose.Add(learnt)).Angle(c.Direction(e.solved))
}

// offsetAtBest is the angle from the one of the places where the rig may be that the solve lies nearest to: the others stand off the
// likeliest at mid-exposure as they do now.
func (in *Input) offsetAtBest(s *stand, e *evidence) unit.Angle {
	c, best := &in.Rig.Chain, e.offset
	for _, other := range s.axes() {
		at := e.pose.Add(other.Sub(s.pose.Candidates[0].Axes))
		best = min(best, e.model.At(in.mount(), at).Sight.Angle(c.Direction(in.aimed(at, e.seen, e.optics))))
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
		if w := likelyClock(turn); w != "" {
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
	sky := v.Sky
	j := &question.JudgedSolve{
		Sky:       &sky,
		RequestID: in.Question.ID, At: in.Snapshot.At, Mid: e.mid, Picture: pictureName(v), Optics: e.optics.Name,
		Blind: v.Radius != nil && *v.Radius >= unit.Deg(180), Side: in.Rig.Kind.SideOf(e.pose),
		Pose: e.pose, Solved: e.solved, Field: in.field(v, e.optics), OffsetSky: e.offset,
		Rotation: v.Rotation, Pixel: v.Pixel, Mirrored: v.Mirrored, Hint: v.Hint, Sigma: e.sigma,
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

// Within sameSky two solves are of one place of the sky, to all that solvers tell; after a move of movedOff they cannot be two pictures. Choice.
const (
	sameSky  = 3 * unit.Arcsecond
	movedOff = 5 * unit.Arcminute
)

// repeated puts whether a solve says what another one said already though the tube moved since: an old picture under another name, or a
// pattern on the sensor that the solver takes for stars.
func (in *Input) repeated(f Set, e *evidence) {
	v := in.action().Solve
	here := frame.FromLonLat[frame.ICRS](v.Sky.RA, v.Sky.Dec)
	for _, s := range in.Snapshot.Rig.Solves {
		if s.Sky == nil || s.Sky.Frame != v.Sky.Frame || s.RequestID == in.Question.ID {
			continue
		}
		if (s.Sky.Dec-v.Sky.Dec).Abs() > sameSky || here.Angle(frame.FromLonLat[frame.ICRS](s.Sky.RA, s.Sky.Dec)) > sameSky {
			continue
		}
		if moved := pose.Moved(in.Rig, s, question.JudgedSolve{Pose: e.pose, Mid: e.mid}); moved > movedOff {
			f.Truth("picture_repeated", true, Computed, fmt.Sprintf("as at %s, and the tube moved by %.1f° since", clock(s.Mid), moved.Deg()))
			return
		}
	}
	f.Truth("picture_repeated", false, Computed)
}

// left puts whether the tube moved on since the picture was taken: one that is right of where the tube looked then is no sync for where it looks now.
// It moved where it looks elsewhere now, over the ground and against the stars, or where a motion under leave was begun since, away and back even.
func (in *Input) left(f Set, s *stand, e *evidence) {
	now := question.JudgedSolve{Pose: s.pose.Candidates[0].Axes, Mid: in.Snapshot.At}
	moved := pose.Deliberate(in.Rig, question.JudgedSolve{Pose: e.pose, Mid: e.mid}, now)
	switch {
	case moved > movedOff:
		f.Truth("picture_left", true, Computed, fmt.Sprintf("by %.1f°", moved.Deg()))
	case in.begunSince(e.mid):
		f.Truth("picture_left", true, Computed)
	default:
		f.Truth("picture_left", false, Computed)
	}
}

// begunSince tells whether the last motion was begun after an instant by the asker's clock, however far the two clocks may be apart.
func (in *Input) begunSince(mid time.Time) bool {
	p := in.Snapshot.Rig.Permit
	if p == nil || !p.Moved || p.BegunAt == nil || p.Action.Kind == question.Track {
		return false
	}
	skew := time.Duration(in.limit("time/agree", "skew_s", 30) * float64(time.Second))
	return mid.Add(skew).Before(*p.BegunAt)
}

// lacking puts how many independent pictures are still wanted: none while nothing is in doubt; else one, unless this picture is
// independent of one in doubt, and either agrees with it or vindicates the pose. With it goes the distance of the solve in sigmas: where two
// pictures agree that the mount moved a little, it is what they differ by.
func (in *Input) lacking(f Set, e *evidence, now *question.JudgedSolve) {
	e.d2 = max(e.scatter.D2(e.off), in.saidBefore(e, now))
	if !in.doubtful() {
		f.Number("independent_count", 0, Computed)
		f.Number("pictures_lacking_count", 0, Computed)
		f.Number("offset_d2", e.d2, Computed, e.like...)
		return
	}
	w := in.witnesses(e, now)
	f.Number("independent_count", float64(w.independent), Computed)
	if w.independent > 0 {
		f.Number("independent_agreement_arcmin", w.apart.Arcmin(), Computed)
	}
	if in.shifted(e, w) {
		e.confirmed, now.Confirmed = true, true
		f.Number("offset_d2", d2Limit*sq(float64(w.apart/w.within)), Computed, fmt.Sprintf("two pictures agree within %.1f′ that the mount moved by %.1f′", w.apart.Arcmin(), e.offset.Arcmin()))
	} else {
		f.Number("offset_d2", e.d2, Computed, e.like...)
	}
	sides := in.vindicates(e, w, now)
	switch {
	case w.doubts == 0: // the pose is in doubt, not a picture: this one is the first
		f.Number("pictures_lacking_count", 1, Computed, "this is the first picture since the pose came into doubt")
	case w.independent > 0 && (sides || w.apart <= w.within):
		f.Number("pictures_lacking_count", 0, Computed)
	case w.independent > 0:
		f.Number("pictures_lacking_count", 1, Computed, fmt.Sprintf("it agrees with neither the pose nor the picture in doubt (%.1f′ from it)", w.apart.Arcmin()))
	default:
		f.Number("pictures_lacking_count", 1, Computed, w.why)
	}
}

// vindicates tells whether a solve sides with the pose: it lies where the scatter lets it, and, where that is wide, far nearer to what is expected than to
// what the pictures in doubt say; or nearer, and another picture that was held says the same.
func (in *Input) vindicates(e *evidence, w witness, now *question.JudgedSolve) bool {
	off := unit.Angle(math.Hypot(e.off[0], e.off[1]))
	return sq(float64(off)) <= d2Limit/2*(e.scatter[0]+e.scatter[2]) && (off <= max(in.sameAngle(), w.apart/2) || off < w.apart && in.seconded(e, now))
}

// sameAngle is how near two solves lie that are one for every purpose here.
func (in *Input) sameAngle() unit.Angle {
	return unit.Arcmin(in.limit("sync/second", "agree_arcmin", 0))
}

// seconded tells whether an independent picture that lay where it was expected, and was held all the same, says what this one says.
func (in *Input) seconded(e *evidence, now *question.JudgedSolve) bool {
	for _, s := range in.Snapshot.Rig.Solves {
		if s.Verdict != question.Held || !s.Good || !s.Agreed || s.Optics != now.Optics {
			continue
		}
		if ok, _ := pose.Independent(in.Rig, s, *now); ok && in.agreementOf(e, s, *now) <= in.agreeWithin(e, s) {
			return true
		}
	}
	return false
}

// saidBefore is how far off, in squared sigmas, a picture in doubt lay that told against the pose and that this one says again, nearer to it than to what
// is expected: what one field showed to be wrong is no less so on one of which the model knows little. Only what lay far off counts, so that two that
// lie a little too far agree as ever.
func (in *Input) saidBefore(e *evidence, now *question.JudgedSolve) float64 {
	worst, off := 0.0, unit.Angle(math.Hypot(e.off[0], e.off[1]))
	if off <= in.sameAngle() {
		return 0
	}
	for _, d := range in.openDoubts() {
		if !d.InDoubt() || d.Optics != now.Optics {
			continue
		}
		v := e.model.At(in.mount(), d.Pose)
		d2 := in.scatterAt(e.model, &v, d.Sigma, d.Pose).D2(v.Off(in.Rig.Chain.Direction(d.Solved)))
		if d2 > 2*d2Limit && in.agreementOf(e, d, *now) < min(off, in.agreeWithin(e, d)) {
			worst = max(worst, d2)
		}
	}
	return worst
}

// d2Limit is where a solve sides with the pose: χ² of two degrees of freedom, p .001, as sync/expected by default.
const d2Limit = 13.8

// witness is what the pictures in doubt say of one more.
type witness struct {
	doubts, independent int
	apart, within       unit.Angle // least disagreement with one in doubt, on the sky, and the most at which the two agree
	against             bool       // that one was good and lay off what was expected
	why                 string     // why the last of them is not independent
}

func (in *Input) witnesses(e *evidence, now *question.JudgedSolve) witness {
	w := witness{apart: unit.Angle(math.Inf(1)), why: "it was taken too near the picture in doubt: move by more than one field and take another"}
	for _, d := range in.openDoubts() {
		w.doubts++
		if ok, why := pose.Independent(in.Rig, d, *now); !ok {
			w.why = why
			continue
		}
		w.independent++
		if a := in.agreementOf(e, d, *now); a < w.apart {
			w.apart, w.within, w.against = a, in.agreeWithin(e, d), d.Good && d.Against
		}
	}
	return w
}

// shifted tells whether two pictures agree that the mount, or what it carries, moved by a little out of calm: so little that it may be taken,
// with what was taken so before. Nobody said so; where solves ran off to one side before, it is no jump but a walk.
func (in *Input) shifted(e *evidence, w witness) bool {
	most, near := unit.Arcmin(in.limit("sync/walk", "taken_arcmin", 0)), unit.Arcmin(in.limit("sync/second", "agree_arcmin", 0))
	return w.independent > 0 && w.against && w.apart <= near && e.model.Calm() && e.offset+e.model.Taken <= most
}

// agreementOf is how far the shift between two solves is from the shift of the axes, beside what the model makes of it, on the sky.
func (in *Input) agreementOf(e *evidence, a, b question.JudgedSolve) unit.Angle {
	d := b.Solved.Sub(b.Pose).Sub(e.model.Lean(in.mount(), b.Pose)).Sub(a.Solved.Sub(a.Pose).Sub(e.model.Lean(in.mount(), a.Pose)))
	sine := max(e.sine, in.Rig.Chain.Direction(a.Pose).Angle(in.Rig.Chain.Dir1).Sin())
	return unit.Angle(hypot(float64(d.A1.Wrapped())*sine, float64(d.A2.Wrapped())))
}

// agreeWithin is how near two solves must lie to agree: the limit, or three standard deviations of what the model leaves open of their shift, but
// never more than a solve may be off by itself.
func (in *Input) agreeWithin(e *evidence, d question.JudgedSolve) unit.Angle {
	floor := unit.Arcmin(in.limit("sync/second", "agree_arcmin", 0))
	before := e.model.At(in.mount(), d.Pose)
	c := e.model.Between(&before, &e.view).Within(mostSame)
	return max(floor, unit.Angle(3*math.Sqrt((c[0]+c[2])/2)))
}

// walk puts how far the solve lies from where the model expected it when it had become sure, and how long solves have been off to one side: what
// many small syncs add up to.
func (in *Input) walk(f Set, e *evidence) {
	switch {
	case e.confirmed:
		f.Number("walk_sigma", 0, Computed, "two pictures agree that the mount moved")
		f.Number("run_sigma", 0, Computed, "two pictures agree that the mount moved")
		return
	case e.model.Settled == nil:
		f.Number("walk_sigma", 0, Absent, "the pointing model has not settled yet")
	default:
		v, within := e.model.Settled.Walked(in.mount(), e.pose, mostSame)
		s := within.Plus(pointing.Misfit()) // the doubt of a pose excuses no walk: what a pose loses is one
		f.Number("walk_sigma", math.Sqrt(s.D2(e.model.Untaken(v.Off(e.tube)))), Computed)
	}
	f.Number("run_sigma", pointing.Longest(e.model.Ran(e.off, e.scatter)), Computed)
}

// drifted is what solves shift by to one side with this one, standard deviations.
func (in *Input) drifted(j question.JudgedSolve) float64 {
	j.Agreed = true // where it lies too far off it is held for that, and not remembered here
	return pointing.Longest(pose.Drifted(in.Rig, in.Snapshot.Rig, j).Sums)
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

// given is the position that the mount would be told.
func (in *Input) given() question.Sky {
	if g := in.action().Given; g != nil {
		return *g
	}
	return in.action().Solve.Sky
}

// givenOff is how far what the mount would be told lies from the solve, less how far the optics look past the tube: it may be told where the
// tube points.
func (in *Input) givenOff(h *heaven) unit.Angle {
	toldRA, toldDec := ofDate(h.moment, in.given())
	ra, dec := ofDate(h.moment, in.action().Solve.Sky)
	o, _ := in.Rig.OpticsNamed(in.action().Solve.Optics)
	return max(0, frame.FromLonLat[frame.Date](toldRA, toldDec).Angle(frame.FromLonLat[frame.Date](ra, dec))-unit.Angle(hypot(float64(o.East), float64(o.North))))
}

// jump puts what the sync would do to belief in axis terms, and to the sum since homing, and where the mount would then end when told
// to go back to where it believed that it was.
func (in *Input) jump(f Set, h *heaven, s *stand, out *Outcome) {
	names := []string{"sync_jump_axis1_deg", "sync_jump_axis2_deg", "sync_sum_axis1_deg", "sync_sum_axis2_deg", "end_spread_deg"}
	if !s.believes {
		for _, n := range names {
			f.LackFor(n, s.unbelieving(untold))
		}
		return
	}
	ra, dec := ofDate(h.moment, in.given())
	p := s.pose.Candidates[0].Axes
	after := rig.LiftNear(in.Rig.Map(s.mount, ra, dec, s.side), p)
	d := after.Sub(s.belief)
	out.SyncAxes = d
	out.SyncNearer = after.Sub(p).Abs().Max() <= s.belief.Sub(p).Abs().Max()
	f.Number("sync_jump_axis1_deg", d.A1.Abs().Deg(), Computed, "axis 1")
	f.Number("sync_jump_axis2_deg", d.A2.Abs().Deg(), Computed, "axis 2")
	var sum rig.Axes
	for _, done := range in.Snapshot.Rig.Syncs {
		sum = summed(sum, done.Axes, done.Nearer)
	}
	sum = summed(sum, d, out.SyncNearer)
	f.Number("sync_sum_axis1_deg", sum.A1.Abs().Deg(), Computed, "axis 1")
	f.Number("sync_sum_axis2_deg", sum.A2.Abs().Deg(), Computed, "axis 2")
	in.recentring(f, h, s, after, out)
}

// summed is the sum of syncs with one more. One that brought belief nearer to the pose takes back what others added, and no more: it is counted
// against nobody. But what it takes back on one axis it may not hand over to the other: as much of what it adds there counts, or belief could
// walk, in turns of both axes.
func summed(sum, d rig.Axes, nearer bool) rig.Axes {
	if !nearer {
		return sum.Add(d)
	}
	back := func(sum, d unit.Angle) unit.Angle {
		if sum > 0 {
			return max(0, sum+min(0, d))
		}
		return min(0, sum+max(0, d))
	}
	now := rig.Axes{A1: back(sum.A1, d.A1), A2: back(sum.A2, d.A2)}
	freed := now.Sub(sum).Abs()
	handed := func(d, freed, own unit.Angle) unit.Angle {
		if own > 0 {
			return 0
		}
		return max(-freed, min(freed, d))
	}
	return now.Add(rig.Axes{A1: handed(d.A1, freed.A2, freed.A1), A2: handed(d.A2, freed.A1, freed.A2)})
}
