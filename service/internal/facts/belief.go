package facts

import (
	"maps"
	"math"
	"slices"
	"time"

	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// stand is where the rig and its belief are at the instant of the question.
type stand struct {
	pose   question.Pose // carried to the instant
	sigma  rig.Axes      // widest of the candidates
	seen   rig.Axes      // the same as the last sample has it, without what the rig may have turned since
	sample *question.Sample

	ra, dec  unit.Angle // belief of date; only where believes
	believes bool
	blind    bool       // what the sample says of belief shows nothing of axis 1: then it does not believe
	blur     unit.Angle // what belief may be off on axis 1 near its end by the form in which it is told
	sides    []rig.Side // that the belief is known to mean; empty: that of each candidate (an inferred side says nothing)
	side     rig.Side   // of the belief, for the likeliest candidate
	mount    rig.MountSky
	clock    bool     // the mount's sidereal time was told
	mapLack  *lack    // nil: the mount's clock and site are known, or declared not to be readable and of no weight
	siteLack *lack    // nil: how the mount's axes follow the sky is known, which does not depend on its clock
	belief   rig.Axes // M(belief) nearest the likeliest candidate
	late     float64  // seconds: see heaven
	counters bool     // belief is where the counters stand, which M(belief) by itself does not say: see countersAtHome
}

// axes returns the candidate poses, likeliest first.
func (s *stand) axes() []rig.Axes {
	var out []rig.Axes
	for _, c := range s.pose.Candidates {
		out = append(out, c.Axes)
	}
	return out
}

// tracks tells whether the rig was last seen to follow the sky.
func (s *stand) tracks() bool { return s.sample != nil && s.sample.Doing == question.Tracking }

// ahead returns belief less pose; zero where belief is not known or taken as right.
func (s *stand) ahead() rig.Axes {
	if !s.believes || len(s.pose.Candidates) == 0 {
		return rig.Axes{}
	}
	return s.belief.Sub(s.pose.Candidates[0].Axes)
}

// newStand works out where the rig stands at the instant of the question.
func (in *Input) newStand(h *heaven, carried question.Pose) *stand {
	s := &stand{pose: carried, sample: in.Snapshot.Rig.Sample, late: h.late}
	s.sigma, s.seen = widest(carried), widest(in.Snapshot.Rig.Pose)
	in.mountSky(h, s)
	if s.sample == nil || s.sample.Belief == nil || len(carried.Candidates) == 0 {
		return s
	}
	in.carryBelief(h, s)
	return s
}

// widest is the standard deviation of the candidate that has the greatest, axis by axis.
func widest(p question.Pose) rig.Axes {
	var out rig.Axes
	for _, c := range p.Candidates {
		out = upper(out, c.Sigma)
	}
	return out
}

// carryBelief works out M(belief) of the sample, holds it against the pose of the same sample, and carries the difference to the
// instant of the question: a mount at rest believes another right ascension by then, one that tracks the same.
func (in *Input) carryBelief(h *heaven, s *stand) {
	at := sampleTime(s.sample, in.Snapshot.At)
	ra, dec := ofDate(h.near(at), s.sample.Belief.Sky)
	then := s.mount
	then.Sidereal -= unit.Angle(in.Snapshot.At.Sub(at).Seconds()) * question.SiderealRate
	p := s.pose.Candidates[0].Axes
	sampled := p
	if c := in.Snapshot.Rig.Pose.Candidates; len(c) > 0 {
		sampled = c[0].Axes
	}
	var b rig.Axes
	if side := s.sample.Belief.Side; side != "" && in.Rig.Mount.SideSensed {
		s.side, s.sides = side, []rig.Side{side}
		b = rig.LiftNear(in.Rig.Map(then, ra, dec, s.side), sampled)
	} else {
		b, s.side = in.Rig.Nearest(then, ra, dec, sampled)
		if in.eitherSide(then, ra, dec, sampled) {
			both := in.Rig.Kind.Sides()
			s.sides = both[:]
		}
	}
	if s.blur = pose.Blur(in.Rig, s.sample, b); s.blur >= unit.HalfTurn {
		at, known := in.countersAtHome(sampled, b)
		if !known {
			s.blind = true
			return
		}
		b, s.counters, s.blur = at, true, 0
	}
	s.believes = true
	s.belief = p.Add(b.Sub(sampled))
	s.ra, s.dec, _ = in.Rig.Unmap(s.mount, s.belief)
}

// agreeably is how well belief must agree with the pose where it says nothing of axis 1: what a belief told to arcminutes may miss.
const agreeably = 0.05 * unit.Degree

// countersAtHome is where the counters stand of a belief that says nothing of axis 1, as far as belief bears it out: a sensor homed them, and no sync was
// seen since. Motor counts say it: a slip behind the motors does not turn them, and a tube at the pole does not show a turn about it. Without such, they
// stand at the pose where no motion was made since that homing, and an encoder shows it, or the homing is so young that nobody turned axis 1 by hand
// meanwhile, which nothing would show. False where none of this tells.
func (in *Input) countersAtHome(p, b rig.Axes) (rig.Axes, bool) {
	st, c := in.Snapshot.Rig, &in.Rig.Chain
	if st.Homing == nil || !st.Homing.Sensed || len(st.Steps) > 0 || len(st.Pose.Candidates) != 1 {
		return rig.Axes{}, false
	}
	by := question.Sigma3(st.Pose.Candidates[0].Sigma).Add(rig.Axes{A1: agreeably, A2: agreeably})
	still := st.Motions == 0 && !p.Sub(st.Homing.Axes).Beyond(by)
	at, known := p, still && in.Snapshot.At.Sub(st.Homing.At).Abs() <= justHomed
	for _, r := range st.Sample.Readings {
		zero, ok := st.Homing.CountZero[r.Source]
		switch counts := r.Axes.Sub(zero); {
		case !ok: // what it said at home is not known
		case r.Source == rig.AxisEncoder:
			known = known || still && !counts.Sub(st.Homing.Axes).Beyond(by)
		case r.Source == rig.MotorCount:
			known = true
			if at = p; counts.Sub(p).Beyond(by) {
				at = counts
			}
		}
	}
	return at, known && c.Direction(at).Angle(c.Direction(b)) < agreeably
}

// justHomed is for how long a homing counts as just made: a program asks for its first slew within it. Choice.
const justHomed = 5 * time.Minute

// eitherSide tells whether belief may stand for either side: it lies as near the pose on the sky as belief/agrees could ever let
// pass, the tube near the end of axis 1, and the mount was synced near there since it was homed. A sync across the end of axis 1 takes the
// counters half a turn round, which no belief shows; with no sync they are where homing left them, by the nearer side.
func (in *Input) eitherSide(m rig.MountSky, ra, dec unit.Angle, p rig.Axes) bool {
	atEnd := slices.ContainsFunc(in.Snapshot.Rig.Steps, func(s question.Step) bool { return s.AtEnd })
	if !atEnd || !in.Rig.Kind.Equatorial() {
		return false
	}
	c := &in.Rig.Chain
	b, _ := in.Rig.Nearest(m, ra, dec, p)
	end := min(c.Direction(p).Angle(c.Dir1), unit.HalfTurn-c.Direction(p).Angle(c.Dir1))
	return c.Direction(b).Angle(c.Direction(p)) <= mostDisagree && end <= mostDisagree
}

// mostDisagree is the hard bound of belief/agrees sky_deg: farther off no motion by belief passes.
const mostDisagree = 5 * unit.Degree

// sampleTime is when a sample was read: as told, else when it was received, else the instant itself.
func sampleTime(s *question.Sample, at time.Time) time.Time {
	switch {
	case s == nil:
		return at
	case !s.Time.IsZero():
		return s.Time
	case !s.Received.IsZero():
		return s.Received
	}
	return at
}

// poseFacts puts what is known of the pose.
func (in *Input) poseFacts(f Set, s *stand) {
	var because []string
	if s.pose.State != question.Known && s.pose.Because != "" {
		because = []string{s.pose.Because}
		if beside := in.unlisted(s); beside != "" {
			because = append(because, beside)
		}
	}
	f.Word("pose_state", string(s.pose.State), Computed, because...)
	if leans := pose.Leans(in.Snapshot.Rig); leans {
		f.Truth("polar_leans", true, Computed, because...)
	} else {
		f.Truth("polar_leans", false, Computed)
	}
	f.Number("candidate_count", float64(len(s.pose.Candidates)), Computed)
	if s.pose.Source != "" {
		f.Word("pose_source", string(s.pose.Source), Told)
	}
	if !in.Rehearsed {
		in.poseAge(f, s)
	}
	if len(s.pose.Candidates) == 0 {
		why := orElse(s.pose.Because, "the pose is unknown")
		f.Lack("pose_sigma_axis1_deg", why, "homing")
		f.Lack("pose_sigma_axis2_deg", why, "homing")
		return
	}
	f.Number("pose_sigma_axis1_deg", told(s.sigma.A1), Computed, "axis 1")
	f.Number("pose_sigma_axis2_deg", told(s.sigma.A2), Computed, "axis 2")
	in.homingLeaves(f, s)
}

// homingLeaves puts the part of an axis's uncertainty that a homing as the rig file has it would leave, of the axis for which that is less: with 1 or
// more none is of use. Of several places it says nothing, for a homing tells which. Rules do not judge by it: it chooses the remedy.
func (in *Input) homingLeaves(f Set, s *stand) {
	if len(s.pose.Candidates) != 1 || s.sigma.Max() <= 0 {
		return
	}
	leaves, after := math.Inf(1), in.Rig.Homing.Sigma
	for _, axis := range [2][2]unit.Angle{{s.sigma.A1, after.A1}, {s.sigma.A2, after.A2}} {
		if axis[0] > 0 {
			leaves = math.Min(leaves, float64(axis[1]/axis[0]))
		}
	}
	f.Number("homing_leaves_ratio", leaves, Computed)
}

// told is a standard deviation in degrees to a hundred-thousandth: eleven reckoned motions after an attested home come to 1.2° but for what rounding and the
// last wiggle add, and 1.2° is what is lawful.
func told(sigma unit.Angle) float64 { return math.Round(sigma.Deg()*1e5) / 1e5 }

// poseAge puts the age of the last sample and whether the rig moved in it. A sample that does not say when it was read is of
// unknown age; one that does not say what the rig was doing is taken as moving.
func (in *Input) poseAge(f Set, s *stand) {
	switch {
	case s.sample == nil:
		f.Lack("pose_age_s", neverReported, "sample")
		f.Truth("pose_moving", true, Computed)
		return
	case s.sample.Time.IsZero():
		f.Lack("pose_age_s", "the sample does not say when it was read", "sample")
	case in.Snapshot.Clock.Jumped != "":
		f.Lack("pose_age_s", in.Snapshot.Clock.Jumped, "clock")
	case in.Snapshot.Unheard != "":
		f.Lack("pose_age_s", in.Snapshot.Unheard, "sample")
	case len(in.Snapshot.Rig.Refused) > 0:
		f.Lack("pose_age_s", "a report was not understood: "+firstOf(in.Snapshot.Rig.Refused), "sample")
	default:
		f.Number("pose_age_s", in.sampleAge(s.sample).Seconds(), Measured)
	}
	f.Truth("pose_moving", !s.sample.Still(), Told)
}

// sampleAge is how old a sample is: by its date, or from the future by a clock that is off, and at least the time since it came.
func (in *Input) sampleAge(x *question.Sample) time.Duration {
	age := in.Snapshot.At.Sub(x.Time).Abs()
	if x.Received.IsZero() {
		return age
	}
	return max(age, in.Snapshot.At.Sub(x.Received.Round(0)))
}

// neverReported is why nothing is known that a sample tells.
const neverReported = "no sample was ever reported"

// unbelieving is why belief is not known; of a sample that tells none, in the words given for that.
func (s *stand) unbelieving(untold string) lack {
	switch {
	case s.sample == nil:
		return lack{why: neverReported, need: "sample"}
	case s.sample.Unbelieved != "":
		return lack{why: s.sample.Unbelieved, need: "sample"}
	case s.blind:
		return lack{why: "the mount believes that it points within half a degree of the pole, where what it tells of the sky says nothing of how axis 1 stands", need: "sample", remedy: leaveThePole}
	}
	return lack{why: untold, need: "sample"}
}

// untold is what is missing where a sample tells no belief.
const untold = "the sample does not say where the mount believes it points"

// leaveThePole is what helps where belief says nothing of axis 1 (see pose.Blur).
const leaveThePole = "Turn axis 2 by ten degrees off the pole (ask for a jog of axis 2), and ask again: there belief shows how axis 1 stands."

// beliefFacts puts how far belief is from the pose, and what the mount's clock and site do to its axes.
func (in *Input) beliefFacts(f Set, h *heaven, s *stand) {
	in.mapError(f, h, s)
	if !s.believes {
		why := s.unbelieving(untold)
		if len(s.pose.Candidates) == 0 {
			why = lack{why: orElse(s.pose.Because, "the pose is unknown"), need: "homing"}
			if s.sample == nil || s.sample.Belief == nil { // known, it would still lack that
				why.need = "sample"
			}
		}
		for _, name := range []string{"belief_error_axis1_deg", "belief_error_axis2_deg", "belief_error_sky_deg"} {
			f.LackFor(name, why)
		}
		return
	}
	p := s.pose.Candidates[0].Axes
	d := p.Sub(s.belief)
	f.Number("belief_error_axis1_deg", d.A1.Deg(), Computed, "axis 1")
	f.Number("belief_error_axis2_deg", d.A2.Deg(), Computed, "axis 2")
	c := &in.Rig.Chain
	f.Number("belief_error_sky_deg", c.Direction(p).Angle(c.Direction(s.belief)).Deg(), Computed)
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// firstOf returns the value under the first key, so that equal states give equal words. Requires a key, which may be empty.
func firstOf(m map[string]string) string { return m[slices.Min(slices.Collect(maps.Keys(m)))] }
