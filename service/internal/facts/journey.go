package facts

import (
	"fmt"
	"math"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// journey is one way that a motion may take: from a candidate pose to one of its predicted ends.
type journey struct {
	end    rig.End
	start  rig.Axes
	way    reach.Way
	spread rig.Axes   // pose uncertainty (3σ), overrun and search, each way
	sharp  rig.Axes   // the same without pose uncertainty
	stops  []rig.Axes // where it starts and goes by; nil: not by these
}

// action is the question's.
func (in *Input) action() *question.Action { return &in.Question.Action }

// follow is how long the action asks to track, in seconds, from the end of its motion.
func (in *Input) follow() float64 {
	a := in.action()
	if a.Until != nil {
		return max(0, a.Until.Sub(in.Snapshot.At).Seconds())
	}
	return a.Follow.Seconds()
}

// unboundedError says why the ends of a motion cannot be told, and what would settle it.
type unboundedError struct{ why, need string }

func (e unboundedError) Error() string { return e.why }

// journeys returns every way that the action may take.
func (in *Input) journeys(h *heaven, s *stand) ([]journey, error) {
	if len(s.pose.Candidates) == 0 {
		why, need := orElse(s.pose.Because, "the pose is unknown"), "homing"
		if in.action().Kind == question.Home { // homing must not need what only homing gives
			why, need = why+"; a person must see and state where the axes are", "attendance"
		}
		return nil, unboundedError{why, need}
	}
	switch a := in.action(); a.Kind {
	case question.Track:
		return in.standing(s), nil
	case question.Jog:
		return in.relative(s, *a.Axes)
	case question.Home:
		return in.homing(s)
	case question.Park:
		return in.parking(s)
	case question.Slew, question.Retreat:
		if a.Axes != nil {
			return in.byAxes(s, *a.Axes)
		}
		return in.bySky(h, s, *a.Sky, a.Side)
	case question.Flip:
		return in.flipping(h, s)
	case question.Sync:
	}
	return nil, unboundedError{fmt.Sprintf("an action of kind %q has no way", in.action().Kind), "asker"}
}

// spread3 is three standard deviations of a candidate and the overrun of an approach.
func (in *Input) spreads(c question.Candidate, search rig.Axes) (spread, sharp rig.Axes) {
	sharp = in.Rig.Motion.Overrun.Add(search)
	return question.Sigma3(c.Sigma).Add(sharp), sharp
}

// standing is no motion at all, from every candidate.
func (in *Input) standing(s *stand) []journey {
	var out []journey
	for i, c := range s.pose.Candidates {
		spread, sharp := in.spreads(c, rig.Axes{})
		end := rig.End{Axes: c.Axes, Side: in.Rig.Kind.SideOf(c.Axes), From: i, Intended: i == 0, Because: "where it stands"}
		out = append(out, journey{end, c.Axes, reach.Hold(c.Axes), spread, sharp, nil})
	}
	return out
}

// relative is a jog: the same change from every candidate, at the rate asked for.
func (in *Input) relative(s *stand, by rig.Axes) ([]journey, error) {
	motion := in.Rig.Motion
	if r := in.action().Rate; r != nil {
		for i := range motion.RateDeg {
			motion.RateDeg[i] = min(motion.RateDeg[i], r.Deg())
		}
	}
	var out []journey
	for i, c := range s.pose.Candidates {
		to := c.Axes.Add(by)
		end := rig.End{Axes: to, Side: in.Rig.Kind.SideOf(to), From: i, Intended: i == 0, Because: "turned by what is asked"}
		spread, sharp := in.spreads(c, rig.Axes{})
		spread = spread.Add(in.waits(s, c.Axes))
		out = append(out, journey{end, c.Axes, reach.WayOf(motion.Sharing, motion, c.Axes, to), spread, sharp, nil})
	}
	return out, nil
}

// byAxes is a slew to mechanical angles. From the likeliest pose it ends there; were the rig at another candidate, the mount would
// turn by the same amount, or, where its angles are true, end at the target: both count.
func (in *Input) byAxes(s *stand, to rig.Axes) ([]journey, error) {
	p := s.pose.Candidates[0].Axes
	var out []journey
	for i, c := range s.pose.Candidates {
		out = append(out, in.straightTo(s, rig.End{Axes: to, From: i, Intended: true, Because: "the angles asked for"})...)
		if i > 0 {
			off := c.Axes.Sub(p)
			out = append(out, in.straightTo(s, rig.End{Axes: to.Add(off), From: i, Because: "turned by what is missing from the likeliest pose", Shift: off})...)
		}
	}
	return out, nil
}

// straightTo is every way of an ordinary slew to an end, by the poses that the mount always goes by: where it goes by its belief those
// stand off as the end does. Where it may or may not take the slew for a change of side, both ways count.
func (in *Input) straightTo(s *stand, e rig.End) []journey {
	c := s.pose.Candidates[e.From]
	stays, changes := in.sideChanges(s, c, e)
	e.Side = in.Rig.Kind.SideOf(e.Axes)
	spread, sharp := in.spreads(c, rig.Axes{})
	spread = spread.Add(in.waits(s, e.Axes))
	var out []journey
	by := func(stops []rig.Axes) {
		poses := []rig.Axes{c.Axes}
		for _, stop := range stops {
			poses = append(poses, stop.Add(e.Shift))
		}
		out = append(out, journey{e, c.Axes, in.through(poses, e.Axes), spread, sharp, poses})
	}
	if stays {
		by(in.Rig.Motion.Via)
	}
	if changes {
		by(append(append([]rig.Axes(nil), in.Rig.Motion.Via...), in.Rig.Motion.FlipVia...))
	}
	return out
}

// through is the way from the first of some stops by the others to an end.
func (in *Input) through(stops []rig.Axes, end rig.Axes) reach.Way {
	poses := append(append([]rig.Axes(nil), stops...), end)
	return reach.Through(in.Rig.Motion.Sharing, in.Rig.Motion, poses...)
}

// sideBand is how near the border between its sides a mount may take an axis to be on either, beside the pose's own uncertainty: what
// belief/agrees lets a right belief miss. Choice.
const sideBand = 3 * unit.Degree

// sideChanges tells whether the mount may take a slew for one that stays on its side, and for one that changes it. What it goes by is
// its own belief of its side, which is the sensed one where that is told and that of the pose where it is not.
func (in *Input) sideChanges(s *stand, c question.Candidate, e rig.End) (stays, changes bool) {
	if len(in.Rig.Motion.FlipVia) == 0 {
		return true, false
	}
	k := in.Rig.Kind
	to := e.Side
	if to == "" {
		to = k.SideOf(e.Axes)
	}
	band := sideBand + 3*c.Sigma.A2
	for _, from := range append([]rig.Side{k.SideOf(c.Axes)}, s.sides...) {
		stays, changes = stays || from == to, changes || from != to
	}
	border := func(a2 unit.Angle) unit.Angle {
		if k == rig.German {
			return min(a2.Wrapped().Abs(), unit.HalfTurn-a2.Wrapped().Abs())
		}
		return (a2.Wrapped().Abs() - unit.HalfTurn/2).Abs()
	}
	if border(c.Axes.A2) < band || border(e.Axes.A2) < band {
		return true, true
	}
	return stays, changes
}

// waits is by how much the sky moves the start of a tracking rig, and the end of a slew to the sky, while leave waits to be used; and how
// far from the judged start a motion that waits for a begin may begin, or one that is asked of a moving rig: the path then strays from
// the judged one by no more.
func (in *Input) waits(s *stand, end rig.Axes) rig.Axes {
	var out rig.Axes
	if in.Rehearsed {
		return out
	}
	wait := in.limit("permit", "start_within_s", 60)
	tracks := s.sample != nil && s.sample.Doing == question.Tracking
	if tracks || in.action().Sky != nil || in.action().Kind == question.Flip {
		out = in.turning(end, wait)
		if tracks && len(s.pose.Candidates) > 0 {
			out = upper(out, in.turning(s.pose.Candidates[0].Axes, wait))
		}
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

// homing goes to the reference from every candidate, in the order asked for or the file's. By sensor it ends at home wherever it
// started, after a sweep of the search; by belief it turns by what the likeliest pose lacks.
func (in *Input) homing(s *stand) ([]journey, error) {
	order := in.Rig.Homing.Order
	if in.action().Order != "" {
		order = in.action().Order
	}
	p := s.pose.Candidates[0].Axes
	var out []journey
	for i, c := range s.pose.Candidates {
		ends := []rig.End{{Axes: in.Rig.Home, From: i, Intended: true, Because: "home"}}
		if in.Rig.Homing.By == rig.ByBelief && !s.believes && !in.Rehearsed {
			return nil, unboundedError{"the mount homes by belief, and the sample does not say what it believes", "sample"}
		}
		if in.Rig.Homing.By != rig.BySensor {
			ends = append(ends, in.believedHome(s, i, p)...)
		}
		spread, sharp := in.spreads(c, in.Rig.Homing.Search)
		spread = spread.Add(in.waits(s, c.Axes))
		for _, e := range ends {
			e.Side = in.Rig.Kind.SideOf(e.Axes)
			out = append(out, journey{e, c.Axes, reach.WayOf(order, in.Rig.Motion, c.Axes, e.Axes), spread, sharp, nil})
		}
	}
	return out, nil
}

// believedHome is where a homing without a sensor may end from a candidate: turned by what the likeliest pose lacks, and by what
// the mount believes is missing.
func (in *Input) believedHome(s *stand, i int, likeliest rig.Axes) []rig.End {
	c := s.pose.Candidates[i].Axes
	var out []rig.End
	if i > 0 {
		out = append(out, rig.End{Axes: c.Add(in.Rig.Home.Sub(likeliest)), From: i, Because: "turned by what the likeliest pose lacks"})
	}
	if s.believes && in.Rig.Mount.Sync != rig.KeptOnSky && in.Rig.Homing.By == rig.ByBelief {
		out = append(out, rig.End{Axes: c.Add(in.Rig.Home.Sub(rig.LiftNear(s.belief, c))), From: i, Because: "the mount turns by what it believes is missing"})
	}
	return out
}

// parking goes to a place of rest by belief.
func (in *Input) parking(s *stand) ([]journey, error) {
	rest, ok := in.Rig.Rest(in.action().Place)
	if !ok {
		return nil, unboundedError{fmt.Sprintf("the rig file has no place of rest %q", in.action().Place), "asker"}
	}
	if in.Rig.Mount.Sync == rig.KeptInModel {
		return nil, unboundedError{"the mount keeps an internal model of unknown state, so where it parks cannot be told", "asker"}
	}
	var out []journey
	for i, c := range s.pose.Candidates {
		out = append(out, in.straightTo(s, rig.End{Axes: rest.Axes, From: i, Intended: true, Because: "the place of rest"})...)
		if in.Rig.Mount.Sync == rig.KeptOnSky || in.Rehearsed {
			continue
		}
		if !s.believes {
			return nil, unboundedError{"the mount's belief was not reported, and it parks by belief", "sample"}
		}
		off := c.Axes.Sub(rig.LiftNear(s.belief, c.Axes))
		out = append(out, in.straightTo(s, rig.End{Axes: rest.Axes.Add(off), From: i, Because: "the mount turns by what it believes is missing", Shift: off})...)
	}
	return out, nil
}

// flipping goes to the same sky on the other side.
func (in *Input) flipping(h *heaven, s *stand) ([]journey, error) {
	if !s.believes && !in.Rehearsed {
		return nil, unboundedError{"the mount's belief was not reported", "sample"}
	}
	ra, dec := s.ra, s.dec
	if in.Rehearsed {
		ra, dec, _ = in.Rig.Unmap(h.ours(h.moment), s.pose.Candidates[0].Axes)
	}
	other := in.Rig.Kind.SideOf(s.pose.Candidates[0].Axes).Other()
	return in.bySky(h, s, question.Sky{RA: ra, Dec: dec, Frame: question.OfDate}, other)
}

// bySky is a slew to a sky position: the predicted ends at arrival, which is found by going twice: first with the motion taking no
// time, then with the longest that came out. Of the shorter ones an equatorial's end is set back by what the sky turns meanwhile; what
// it may turn an alt-azimuth's axes is added to the spread.
func (in *Input) bySky(h *heaven, s *stand, target question.Sky, side rig.Side) ([]journey, error) {
	if !in.Rehearsed {
		if !s.believes {
			return nil, unboundedError{"the sample does not say where the mount believes it points", "sample"}
		}
		if !s.mountOK && in.Rig.Kind == rig.AltAzimuth {
			return nil, unboundedError{s.mountWhy, "clock"}
		}
	}
	arrival, judged := 0.0, 0.0
	var out []journey
	for range 2 {
		judged = arrival
		ends, err := in.endsAt(h, s, target, side, arrival)
		if err != nil {
			return nil, unboundedError{"the mount keeps an internal model of unknown state, so where a slew ends cannot be told", "asker"}
		}
		out = out[:0]
		for _, e := range ends {
			out = append(out, in.straightTo(s, e)...)
		}
		arrival = 0
		for _, j := range out {
			if t := j.way.Seconds(); !math.IsInf(t, 0) {
				arrival = max(arrival, t)
			}
		}
	}
	return in.onArrival(out, judged), nil
}

// onArrival brings ends that were worked out for one arrival to that of each journey, which may be sooner or later.
func (in *Input) onArrival(ways []journey, judged float64) []journey {
	var out []journey
	for _, j := range ways {
		sooner := judged - j.way.Seconds()
		switch {
		case sooner == 0 || math.IsInf(sooner, 0) || math.IsNaN(sooner):
		case in.Rig.Kind.Equatorial():
			j.end.Axes.A1 -= unit.Angle(sooner) * question.SiderealRate
			j.way = in.through(j.stops, j.end.Axes)
		default:
			j.spread = j.spread.Add(in.turning(j.end.Axes, math.Abs(sooner)))
		}
		out = append(out, j)
	}
	return out
}

// endsAt is every predicted end of a slew that arrives some seconds from now.
func (in *Input) endsAt(h *heaven, s *stand, target question.Sky, side rig.Side, arrival float64) ([]rig.End, error) {
	then := h.at(arrival)
	ra, dec := ofDate(then, target)
	g := rig.Going{
		Poses: s.axes(), BeliefRA: s.ra, BeliefDec: s.dec, BeliefSides: s.sides,
		Now: s.mount, Then: s.mount, OursThen: h.ours(then), TargetRA: ra, TargetDec: dec, Side: side,
	}
	g.Then.Sidereal += unit.Angle(arrival) * question.SiderealRate
	if in.Rehearsed { // belief taken as right
		g.BeliefRA, g.BeliefDec, _ = in.Rig.Unmap(h.ours(h.moment), g.Poses[0])
		g.BeliefSides = []rig.Side{in.Rig.Kind.SideOf(g.Poses[0])}
	}
	return in.Rig.Ends(g)
}
