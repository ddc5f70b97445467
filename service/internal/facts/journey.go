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
	spread rig.Axes // pose uncertainty (3σ), overrun and search, each way
	sharp  rig.Axes // the same without pose uncertainty
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
		out = append(out, journey{end, c.Axes, reach.Hold(c.Axes), spread, sharp})
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
		out = append(out, journey{end, c.Axes, reach.WayOf(motion.Sharing, motion, c.Axes, to), spread, sharp})
	}
	return out, nil
}

// byAxes is a slew to mechanical angles. From the likeliest pose it ends there; were the rig at another candidate, the mount would
// turn by the same amount, or, where its angles are true, end at the target: both count.
func (in *Input) byAxes(s *stand, to rig.Axes) ([]journey, error) {
	p := s.pose.Candidates[0].Axes
	var out []journey
	for i, c := range s.pose.Candidates {
		out = append(out, in.straightTo(s, rig.End{Axes: to, From: i, Intended: true, Because: "the angles asked for"}))
		if i > 0 {
			shifted := c.Axes.Add(to.Sub(p))
			out = append(out, in.straightTo(s, rig.End{Axes: shifted, From: i, Because: "turned by what is missing from the likeliest pose"}))
		}
	}
	return out, nil
}

// straightTo is the way of an ordinary slew to an end, by the poses that the mount always goes by.
func (in *Input) straightTo(s *stand, e rig.End) journey {
	c := s.pose.Candidates[e.From]
	e.Side = in.Rig.Kind.SideOf(e.Axes)
	poses := append([]rig.Axes{c.Axes}, in.Rig.Motion.Via...)
	if in.Rig.Kind.SideOf(c.Axes) != e.Side {
		poses = append(poses, in.Rig.Motion.FlipVia...)
	}
	poses = append(poses, e.Axes)
	spread, sharp := in.spreads(c, rig.Axes{})
	return journey{e, c.Axes, reach.Through(in.Rig.Motion.Sharing, in.Rig.Motion, poses...), spread, sharp}
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
		if in.Rig.Homing.By != rig.BySensor {
			ends = append(ends, in.believedHome(s, i, p)...)
		}
		spread, sharp := in.spreads(c, in.Rig.Homing.Search)
		for _, e := range ends {
			e.Side = in.Rig.Kind.SideOf(e.Axes)
			out = append(out, journey{e, c.Axes, reach.WayOf(order, in.Rig.Motion, c.Axes, e.Axes), spread, sharp})
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
		out = append(out, in.straightTo(s, rig.End{Axes: rest.Axes, From: i, Intended: true, Because: "the place of rest"}))
		if in.Rig.Mount.Sync == rig.KeptOnSky || in.Rehearsed {
			continue
		}
		if !s.believes {
			return nil, unboundedError{"the mount's belief was not reported, and it parks by belief", "sample"}
		}
		b := rig.LiftNear(s.belief, c.Axes)
		out = append(out, in.straightTo(s, rig.End{Axes: c.Axes.Add(rest.Axes.Sub(b)), From: i, Because: "the mount turns by what it believes is missing"}))
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
// time, then with the longest that came out. The sky that turns meanwhile under the shorter ones is added to their spread.
func (in *Input) bySky(h *heaven, s *stand, target question.Sky, side rig.Side) ([]journey, error) {
	if !in.Rehearsed {
		if !s.believes {
			return nil, unboundedError{"the sample does not say where the mount believes it points", "sample"}
		}
		if !s.mountOK && in.Rig.Kind == rig.AltAzimuth {
			return nil, unboundedError{s.mountWhy, "clock"}
		}
	}
	arrival := 0.0
	var out []journey
	for range 2 {
		ends, err := in.endsAt(h, s, target, side, arrival)
		if err != nil {
			return nil, unboundedError{"the mount keeps an internal model of unknown state, so where a slew ends cannot be told", "asker"}
		}
		out = out[:0]
		for _, e := range ends {
			out = append(out, in.straightTo(s, e))
		}
		arrival = 0
		for _, j := range out {
			if t := j.way.Seconds(); !math.IsInf(t, 0) {
				arrival = max(arrival, t)
			}
		}
	}
	for i := range out {
		turned := unit.Angle(max(0, arrival-out[i].way.Seconds())) * question.SiderealRate
		out[i].spread = out[i].spread.Add(rig.Axes{A1: turned})
		out[i].sharp = out[i].sharp.Add(rig.Axes{A1: turned})
	}
	return out, nil
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
