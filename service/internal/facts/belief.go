package facts

import (
	"fmt"
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
	sides    []rig.Side // that the belief is known to mean; empty: that of each candidate (an inferred side says nothing)
	side     rig.Side   // of the belief, for the likeliest candidate
	mount    rig.MountSky
	mountOK  bool     // the mount's clock and site are known, or declared not to be readable
	mountWhy string   // why not
	belief   rig.Axes // M(belief) nearest the likeliest candidate
	late     float64  // seconds: see heaven
	counters bool     // belief is where the counters stand, which M(belief) by itself does not say: see saysNothing
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
	if in.saysNothing(sampled, b) {
		b, s.counters = sampled, true
	}
	s.believes = true
	s.belief = p.Add(b.Sub(sampled))
	s.ra, s.dec, _ = in.Rig.Unmap(s.mount, s.belief)
}

// Near the end of axis 1 the belief of a mount whose map includes refraction says nothing of axis 1: refraction lifts it onto the very end.
const (
	endless   = 0.5 * unit.Degree  // how near the end: refraction moves a pole that stands higher than 2° by less
	agreeably = 0.05 * unit.Degree // how well belief must agree there with the pose: what a belief told to arcminutes may miss
)

// saysNothing tells whether M(belief) stands at the end of axis 1 with the pose, so that its angle there is arbitrary, and the counters are known
// to be those of the pose: a sensor homed them, no sync was seen since, and they count as the pose turned.
func (in *Input) saysNothing(p, b rig.Axes) bool {
	st, c := in.Snapshot.Rig, &in.Rig.Chain
	if !in.Rig.Mount.Refracts || !in.Rig.Kind.Equatorial() || st.Homing == nil || !st.Homing.Sensed || len(st.Steps) > 0 || len(st.Pose.Candidates) != 1 {
		return false
	}
	return offLine(c, p) < endless && c.Direction(p).Angle(c.Direction(b)) < agreeably && in.countsAs(p)
}

// countsAs tells whether the motor counts of the sample say that nothing moved the pose but the motors: a slip behind them does not turn the
// counters, and a tube at the pole does not show a turn about it.
func (in *Input) countsAs(p rig.Axes) bool {
	st := in.Snapshot.Rig
	for _, r := range st.Sample.Readings {
		if zero, ok := st.Homing.CountZero[r.Source]; ok && r.Source == rig.MotorCount {
			off, by := r.Axes.Sub(zero).Sub(p).Abs(), question.Sigma3(st.Pose.Candidates[0].Sigma)
			return off.A1 <= by.A1+agreeably && off.A2 <= by.A2+agreeably
		}
	}
	return false
}

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

// mountSky fills in what the mount's own map goes by: its sidereal time and site where it tells them, ours where the rig file says
// that it tells none.
func (in *Input) mountSky(h *heaven, s *stand) {
	m := h.moment
	ours := h.ours(m)
	s.mount, s.mountOK = ours, true
	if in.Rehearsed {
		return
	}
	st := in.Snapshot.Rig
	lat, lon, sited := in.Rig.Site.Lat, in.Rig.Site.Lon, false
	if st.Site != nil {
		lat, lon, sited = st.Site.Lat, st.Site.Lon, true
	}
	switch {
	case s.sample != nil && s.sample.Sidereal != nil:
		since := in.Snapshot.At.Sub(sampleTime(s.sample, in.Snapshot.At)).Seconds()
		s.mount = h.mountSky((*s.sample.Sidereal + unit.Angle(since)*question.SiderealRate).Positive(), lat)
	case in.Rig.Mount.TellsSidereal:
		s.mountOK, s.mountWhy = false, "the mount's sidereal time was not reported"
		return
	case in.Rig.Kind == rig.AltAzimuth:
		s.mountOK, s.mountWhy = false, "the mount's sidereal time cannot be read, and an alt-azimuth mount's ends depend on it"
	default:
		s.mount = h.mountSky(ours.Sidereal+(lon-in.Rig.Site.Lon), lat)
	}
	switch {
	case sited || !s.mountOK:
	case in.Rig.Kind == rig.AltAzimuth:
		s.mountOK, s.mountWhy = false, "the mount's own site was not reported, and an alt-azimuth mount's ends depend on it"
	case in.Rig.Mount.TellsSite:
		s.mountOK, s.mountWhy = false, "the mount's own site was never reported, and the rig file says that it tells it"
	}
}

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
	f.Number("pose_sigma_axis1_deg", s.sigma.A1.Deg(), Computed, "axis 1")
	f.Number("pose_sigma_axis2_deg", s.sigma.A2.Deg(), Computed, "axis 2")
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

// unbelieving is why belief is not known.
func (s *stand) unbelieving() string {
	if s.sample == nil {
		return neverReported
	}
	return "the sample does not say where the mount believes it points"
}

// beliefFacts puts how far belief is from the pose, and what the mount's clock and site do to its axes.
func (in *Input) beliefFacts(f Set, h *heaven, s *stand) {
	in.mapError(f, h, s)
	if !s.believes {
		why := s.unbelieving()
		if len(s.pose.Candidates) == 0 {
			why = orElse(s.pose.Because, "the pose is unknown")
		}
		for _, name := range []string{"belief_error_axis1_deg", "belief_error_axis2_deg", "belief_error_sky_deg"} {
			f.Lack(name, why, "sample")
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

// mapError puts the largest of what a wrong sidereal time does to axis 1 of an equatorial (or to either axis of an alt-azimuth) and
// the errors of the mount's latitude and longitude, which its own limits, and its sidereal time when next set, go by.
func (in *Input) mapError(f Set, h *heaven, s *stand) {
	if !s.mountOK {
		need := "sample"
		f.Lack("mount_map_error_deg", s.mountWhy, need)
		return
	}
	st := in.Snapshot.Rig
	if (s.sample == nil || s.sample.Sidereal == nil) && st.Site == nil {
		f.Number("mount_map_error_deg", 0, Absent, "this mount tells neither its sidereal time nor its site")
		return
	}
	ours := h.ours(h.moment)
	turn := (s.mount.Sidereal - ours.Sidereal).Wrapped()
	worst, said := turn, []string{fmt.Sprintf("the mount's sidereal time %s, ours %s", hours(s.mount.Sidereal), hours(ours.Sidereal))}
	if like := likelyClock(turn, true); like != "" {
		said = append(said, like)
	}
	if st.Site != nil {
		site := in.Rig.Site
		if d := (st.Site.Lon - site.Lon).Wrapped(); d.Abs() > worst.Abs() || d.Abs() > sameSite && (d-turn).Wrapped().Abs() < sameSite {
			worst, said = d, siteSaid("longitude", st.Site.Lon, site.Lon)
		}
		if d := st.Site.Lat - site.Lat; d.Abs() > worst.Abs() {
			worst, said = d, siteSaid("latitude", st.Site.Lat, site.Lat)
		}
	}
	f.Number("mount_map_error_deg", worst.Abs().Deg(), Computed, said...)
}

// sameSite is how well a place typed by hand agrees with the rig file's: a tenth of a degree. Common practice, no source.
const sameSite = 0.1 * unit.Degree

// siteSaid says what the mount takes for one coordinate of its site, and whether it is ours with the other sign.
func siteSaid(what string, mounts, ours unit.Angle) []string {
	said := []string{fmt.Sprintf("the mount's %s %.2f°, the rig file's %.2f°", what, mounts.Deg(), ours.Deg())}
	if mounts.Abs() > sameSite && (mounts+ours).Abs() < sameSite {
		said = append(said, "looks like the sign of the "+what)
	}
	return said
}

// likelyClock names what an error of the mount's sidereal time looks like, or nothing.
func likelyClock(turn unit.Angle, byClock bool) string {
	if !byClock {
		return ""
	}
	for n := 1.0; n <= 12; n++ {
		if d := turn.Abs() - unit.Deg(15.0411*n); d.Abs() < 0.3*unit.Degree {
			hours := fmt.Sprintf("%.0f hours", n)
			if n == 1 {
				hours = "one hour"
			}
			return "looks like " + hours + ": summer time or zone"
		}
	}
	return ""
}

// hours writes an angle as a time of day.
func hours(a unit.Angle) string {
	s := int(a.Positive().Deg()*240 + 0.5)
	return fmt.Sprintf("%02d:%02d:%02d", s/3600%24, s/60%60, s%60)
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// firstOf returns the value under the first key, so that equal states give equal words.
func firstOf(m map[string]string) string {
	key := ""
	for k := range m {
		if key == "" || k < key {
			key = k
		}
	}
	return m[key]
}
