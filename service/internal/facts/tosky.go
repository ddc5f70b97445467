package facts

import (
	"math"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// flipping goes to the same sky on the other side.
func (in *Input) flipping(h *heaven, s *stand) ([]journey, error) {
	if !s.believes && !in.Rehearsed {
		return nil, unboundedError(s.unbelieving("the mount's belief was not reported"))
	}
	ra, dec := s.ra, s.dec
	if in.Rehearsed {
		ra, dec, _ = in.Rig.Unmap(h.ours(h.moment), s.pose.Candidates[0].Axes)
	}
	other := in.Rig.Kind.SideOf(s.pose.Candidates[0].Axes).Other()
	return in.bySky(h, s, question.Sky{RA: ra, Dec: dec, Frame: question.OfDate}, other)
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
	g.Then.Sidereal += unit.Angle(arrival) * question.SiderealRate
	if in.Rehearsed { // belief taken as right
		g.BeliefRA, g.BeliefDec, _ = in.Rig.Unmap(h.ours(h.moment), g.Poses[0])
		g.BeliefSides = []rig.Side{in.Rig.Kind.SideOf(g.Poses[0])}
	}
	return in.Rig.Ends(g)
}
