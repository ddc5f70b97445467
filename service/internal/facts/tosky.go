package facts

import (
	"math"
	"slices"

	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// flipping goes to the same sky on the other side.
func (in *Input) flipping(h *heaven, s *stand) ([]journey, error) {
	if !s.believes && !in.Rehearsed {
		return nil, unboundedError(s.unbelieving("the mount's belief was not reported"))
	}
	if in.sideOpen(s) {
		return nil, unboundedError{why: "so near the pole the tube may stand on either side, and which one a flip leaves is not known", need: "sample", remedy: leaveThePole}
	}
	ra, dec := s.ra, s.dec
	if in.Rehearsed {
		ra, dec, _ = in.Rig.Unmap(h.ours(h.moment), s.pose.Candidates[0].Axes)
	}
	other := in.Rig.Kind.SideOf(s.pose.Candidates[0].Axes).Other()
	return in.bySky(h, s, question.Sky{RA: ra, Dec: dec, Frame: question.OfDate}, other)
}

// sideOpen tells whether the end of axis 1 lies within the uncertainty of a place where the axes may be: the mount may stand on the other side of it.
func (in *Input) sideOpen(s *stand) bool {
	return in.Rig.Kind.Equatorial() && slices.ContainsFunc(s.pose.Candidates, func(c question.Candidate) bool {
		return pose.FromEnd(in.Rig, c.Axes) <= 3*c.Sigma.A2
	})
}

// Rounds in which the arrival of an alt-azimuth is sought. Near the zenith its axes follow so fast that an end which is looked at later lies farther away, and
// takes longer. Each round leaves of an error in time what axis 1 follows at, of its own rate: a third where it follows at a third of it. Choice.
const (
	mostRounds = 12
	sameTime   = 0.01 // seconds: 0.15″ of the sky
)

// bySky is a slew to a sky position: the predicted ends at arrival, which is found by going again and again, first with the motion taking no
// time, then with the longest that came out: twice for an equatorial, whose end is set back by what the sky turns meanwhile; an alt-azimuth's until
// that settles. Of ways that take another time than that what the sky may turn the axes is added to the spread.
func (in *Input) bySky(h *heaven, s *stand, target question.Sky, side rig.Side) ([]journey, error) {
	if !in.Rehearsed {
		if !s.believes {
			return nil, unboundedError(s.unbelieving(untold))
		}
		if s.mapLack != nil && in.Rig.Kind == rig.AltAzimuth {
			return nil, unboundedError(*s.mapLack)
		}
	}
	arrival, judged := 0.0, 0.0
	var out []journey
	for round := range mostRounds {
		if round > 1 && (in.Rig.Kind.Equatorial() || math.Abs(arrival-judged) < sameTime) {
			break
		}
		judged = arrival
		ends, err := in.endsAt(h, s, target, side, arrival)
		if err != nil {
			return nil, unboundedError{why: "the mount keeps an internal model of unknown state, so where a slew ends cannot be told", need: "asker"}
		}
		if in.offsetLost(s, ends) {
			return nil, unboundedError{why: "near the pole nothing tells how its syncs turned what the mount believes of axis 1, and so where this would end", need: "sample", remedy: leaveThePole}
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
			by := in.turningAt(j.end.Axes, j.end.Shift, math.Abs(sooner))
			j.spread, j.timely = j.spread.Add(by), j.timely.Add(by)
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
		Astray: in.drifts(s).Add(in.astray(s)),
	}
	if s.counters {
		g.BeliefAxes = &s.belief
	}
	if !in.countersHomed() {
		g.Synced, g.Kept = in.synced()
	}
	g.Then.Sidereal += unit.Angle(arrival) * question.SiderealRate
	if in.Rehearsed { // belief taken as right
		g.BeliefRA, g.BeliefDec, _ = in.Rig.Unmap(h.ours(h.moment), g.Poses[0])
		g.BeliefSides = []rig.Side{in.Rig.Kind.SideOf(g.Poses[0])}
		g.Synced, g.Kept = nil, nil
	}
	return in.Rig.Ends(g)
}

// countersHomed tells whether the counters of the mount are known to stand where the axes do: a sensor homed them, and no encoder could have carried the
// pose past a slip between them and the axes since then, whatever tells it now.
func (in *Input) countersHomed() bool {
	h := in.Snapshot.Rig.Homing
	if h == nil || !h.Sensed || len(in.Snapshot.Rig.Parted) > 0 {
		return false
	}
	_, encoded := h.CountZero[rig.AxisEncoder]
	return !encoded && !slices.ContainsFunc(in.Rig.Sources, func(s rig.Source) bool { return s.Kind == rig.AxisEncoder })
}

// besides is how far the axes, were they at a pose, may stand beside the counters of an equatorial mount that keeps its syncs on the sky: those are where belief
// less the syncs since the homing has them, or less those kept from before too. Near the end of axis 1, where that may say little of it, only axis 2
// counts. Open: alt-azimuths, and of a belief that may mean two sides the second.
func (in *Input) besides(s *stand, p rig.Axes) (out []rig.Axes) {
	if off := in.besideAtHoming(s); off != (rig.Axes{}) && in.Rig.Mount.Sync.MaybeOnSky() {
		return []rig.Axes{off}
	}
	if in.Rehearsed || !in.Rig.Kind.Equatorial() || !s.believes || !in.Rig.Mount.Sync.MaybeOnSky() || in.countersHomed() {
		return nil
	}
	g := rig.Going{BeliefRA: s.ra, BeliefDec: s.dec, BeliefSides: s.sides, Now: s.mount}
	g.Synced, g.Kept = in.synced()
	for _, c := range in.Rig.Counters(g, p) {
		off := p.Sub(c)
		if pose.FromEnd(in.Rig, p) < offsetWithin {
			off.A1 = 0
		}
		if off.Abs().Max() > nearlySame {
			out = append(out, off)
		}
	}
	return out
}

// besideAtHoming is how far the axes stood beside what the mount took them to be when a person said where they are, where the sample tells no belief: nothing
// has told the mount since. Zero where belief is told, or was not then, or where counts tell the pose.
func (in *Input) besideAtHoming(s *stand) rig.Axes {
	h := in.Snapshot.Rig.Homing
	if in.Rehearsed || s.believes || h == nil || h.Sensed || h.BeliefAxes == nil || s.pose.Source == rig.AxisEncoder || s.pose.Source == rig.MotorCount {
		return rig.Axes{}
	}
	off := h.Axes.Sub(rig.LiftNear(*h.BeliefAxes, h.Axes))
	if off.Abs().Max() <= nearlySame {
		return rig.Axes{}
	}
	return off
}

// synced is by how much the syncs seen since the homing moved belief, right ascension and declination, and by how much those kept from before it
// may besides: nil where none may, or where it is known that they do, and the first has them in it.
func (in *Input) synced() (since, kept *[2]unit.Angle) {
	var sum [2]unit.Angle
	for _, s := range in.Snapshot.Rig.Steps {
		sum[0] += s.Sky[0]
		sum[1] += s.Sky[1]
	}
	kept = in.Snapshot.Rig.Kept
	anew := func(c question.Candidate) bool { return c.Kept != rig.KeptSince }
	if kept != nil && !slices.ContainsFunc(in.Snapshot.Rig.Pose.Candidates, anew) {
		return &[2]unit.Angle{sum[0] + kept[0], sum[1] + kept[1]}, nil
	}
	return &sum, kept
}

// offsetWithin is how near the end of axis 1 the offset on the sky that belief shows of a pose may say little of syncs: there what the axes stand off
// home turns its right ascension by any angle. Choice: leaveThePole leads out of it from two degrees beyond.
const offsetWithin = 8 * unit.Degree

// offsetLost tells whether, near the end of axis 1, nothing but an offset of syncs on the sky, or a belief that may mean either side, takes a slew farther
// from its target than it may end. A step off the pole shows what there is of it.
func (in *Input) offsetLost(s *stand, ends []rig.End) bool {
	if in.Rehearsed || !in.Rig.Kind.Equatorial() {
		return false
	}
	most, lost := in.limit("end/bounded", "spread_deg", 5), false
	for _, e := range ends {
		if offIntended(e, ends) <= most {
			continue
		}
		within := unit.Angle(0)
		switch {
		case e.Because == rig.LessOffset, e.Because == rig.LessSyncs:
			within = offsetWithin
		case len(s.sides) > 1 && e.Because == rig.TurnsByBelief:
			within = mostDisagree // see eitherSide
		}
		if pose.FromEnd(in.Rig, s.pose.Candidates[e.From].Axes) >= within {
			return false
		}
		lost = true
	}
	return lost
}

// offPole is by how much axis 2 is turned off the pole so that belief shows how axis 1 stands: what leaveThePole says.
const offPole = 10 * unit.Degree

// offThePole are the jogs of axis 2 that lead so far off the pole: on, as it stands off already, and across.
func (in *Input) offThePole(s *stand) []Proposal {
	if len(s.pose.Candidates) == 0 {
		return nil
	}
	at := s.pose.Candidates[0].Axes
	off, by := pose.FromEnd(in.Rig, at), offPole
	if pose.FromEnd(in.Rig, at.Add(rig.Axes{A2: by})) < pose.FromEnd(in.Rig, at.Sub(rig.Axes{A2: by})) {
		by = -by
	}
	across := -by - unit.Angle(math.Copysign(2*float64(off), float64(by)))
	var out []Proposal
	for _, by := range []unit.Angle{by, across} {
		a := question.Action{Kind: question.Jog, Axes: &rig.Axes{A2: by}}
		if s.pose.State != question.Known {
			rate := unit.Deg(in.limit("permit", "jog_deg_per_s", 0.1))
			a.Rate = &rate
		}
		out = append(out, Proposal{Steps: []question.Action{a}})
	}
	return out
}
