package facts

import (
	"fmt"

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
	timely rig.Axes   // of the spread, what comes of arriving later or sooner: the same place of the sky
}

// action is the question's.
func (in *Input) action() *question.Action { return &in.Question.Action }

// follow is how long the action asks to track, in seconds, from the end of its motion.
func (in *Input) follow() float64 {
	a := in.action()
	if a.Until != nil {
		return max(0, a.Until.Sub(AskedAt(in.Question)).Seconds())
	}
	return a.Follow.Seconds()
}

// unboundedError says why the ends of a motion cannot be told, and what would settle it.
type unboundedError lack

func (e unboundedError) Error() string { return e.why }

// journeys returns every way that the action may take.
func (in *Input) journeys(h *heaven, s *stand) ([]journey, error) {
	if len(s.pose.Candidates) == 0 {
		why, need := orElse(s.pose.Because, "the pose is unknown"), "homing"
		if in.action().Kind == question.Home { // homing must not need what only homing gives
			why, need = why+"; a person must see and state where the axes are", "attendance"
		}
		return nil, unboundedError{why: why, need: need}
	}
	switch a := in.action(); a.Kind {
	case question.Track:
		ways, by := in.standing(s), in.astray(s)
		for i := range ways {
			ways[i].spread = ways[i].spread.Add(by)
		}
		return ways, nil
	case question.Jog, question.Creep:
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
	return nil, unboundedError{why: fmt.Sprintf("an action of kind %q has no way", in.action().Kind), need: "asker"}
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
		out = append(out, journey{end, c.Axes, reach.Hold(c.Axes), spread, sharp, nil, rig.Axes{}})
	}
	return out
}

// relative is a jog or a creep: the same change from every candidate, at the rate asked for.
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
		spread = spread.Add(in.waits(s, end))
		out = append(out, journey{end, c.Axes, reach.WayOf(motion.Sharing, motion, c.Axes, to), spread, sharp, nil, rig.Axes{}})
	}
	return out, nil
}

// byAxes is a slew to mechanical angles. It ends there from wherever the mount's angles are true; a mount that counts from another of the
// places where the rig may be, or by a belief that is all that tells the pose, turns by what is missing from there.
func (in *Input) byAxes(s *stand, to rig.Axes) ([]journey, error) {
	var out []journey
	for i, c := range s.pose.Candidates {
		out = append(out, in.straightTo(s, rig.End{Axes: to, From: i, Intended: true, Because: "the angles asked for"})...)
		lacks := func(places []rig.Axes, because string) {
			for _, from := range places {
				if off := c.Axes.Sub(from); off.Abs().Max() > nearlySame {
					out = append(out, in.straightTo(s, rig.End{Axes: to.Add(off), From: i, Because: because, Shift: off})...)
				}
			}
		}
		lacks(in.countsFrom(s, c.Axes), "turned by what is missing from another of the places where it may be")
		lacks(in.countersAt(s), "turned by what is missing from where the mount's own counters stand")
	}
	return out, nil
}

// countsFrom is where a mount may take itself to be that goes by mechanical angles, its axes being at a pose.
func (in *Input) countsFrom(s *stand, at rig.Axes) []rig.Axes {
	out := s.axes()
	if off := in.besideAtHoming(s); off != (rig.Axes{}) {
		out = append(out, at.Sub(off))
	}
	if !s.believes || s.pose.Source == rig.AxisEncoder || s.pose.Source == rig.MotorCount {
		return out
	}
	if in.Rig.Mount.Sync != rig.KeptOnSky {
		out = append(out, beliefsFrom(s, at)...)
	}
	for _, off := range in.besides(s, at) {
		out = append(out, at.Sub(off))
	}
	return append(out, at)
}

// countersAt is where the mount's own counters stand by the sample, carried to now, where they stand elsewhere than the likeliest pose by more
// than its uncertainty: a person stated it after a slip, say, and the counters were not told.
func (in *Input) countersAt(s *stand) []rig.Axes {
	sampled := in.Snapshot.Rig.Pose.Candidates
	if s.sample == nil || len(sampled) == 0 {
		return nil
	}
	var out []rig.Axes
	for _, r := range s.sample.Readings {
		off, by := r.Axes.Sub(sampled[0].Axes), question.Sigma3(sampled[0].Sigma)
		if h := in.Snapshot.Rig.Homing; h != nil && h.Sensed { // what they said at home is their zero
			off = off.Sub(h.CountZero[r.Source])
		}
		if a := off.Abs(); a.A1 > by.A1+nearlySame || a.A2 > by.A2+nearlySame {
			out = append(out, s.pose.Candidates[0].Axes.Add(off))
		}
	}
	return out
}

// straightTo is every way of an ordinary slew to an end, by the poses that the mount always goes by: where it goes by its belief those
// stand off as the end does. Where it may or may not take the slew for a change of side, both ways count.
func (in *Input) straightTo(s *stand, e rig.End) []journey {
	c := s.pose.Candidates[e.From]
	stays, changes := in.sideChanges(s, c, e)
	e.Side = in.sideOn(e)
	spread, sharp := in.spreads(c, rig.Axes{})
	spread = spread.Add(in.waits(s, e)).Add(rig.Axes{A1: s.blur})
	timely := rig.Axes{}
	if in.action().Sky != nil || in.action().Kind == question.Flip {
		timely = in.waits(s, e).Sub(in.astray(s))
		spread = spread.Add(in.turningAt(e.Axes, e.Shift, s.late)) // the sky may stand otherwise over the ground than it is told
	}
	var out []journey
	by := func(stops []rig.Axes) {
		poses := []rig.Axes{c.Axes}
		for _, stop := range stops {
			poses = append(poses, stop.Add(e.Shift))
		}
		out = append(out, journey{e, c.Axes, in.through(poses, e.Axes), spread, sharp, poses, timely})
	}
	if stays {
		by(in.Rig.Motion.Via)
	}
	if changes {
		by(append(append([]rig.Axes(nil), in.Rig.Motion.Via...), in.Rig.Motion.FlipVia...))
	}
	return out
}

// borderSlack is how near the border between its sides axis 2 stands on it: rounding of angles. Choice: that of ends that are one.
const borderSlack = unit.Angle(1e-9)

// sideOn is the side on which an end lies. On the border itself, where the tube points along axis 1, the pose is as much of the one as of the other: it
// keeps the side that it was worked out for, since the other's pose for the same sky has axis 1 half a turn away.
func (in *Input) sideOn(e rig.End) rig.Side {
	if e.Side != "" && borderOff(in.Rig.Kind, e.Axes.A2) <= borderSlack {
		return e.Side
	}
	return in.Rig.Kind.SideOf(e.Axes)
}

// borderOff is how far an angle of axis 2 is from the border between the sides.
func borderOff(k rig.Kind, a2 unit.Angle) unit.Angle {
	if k == rig.German {
		return min(a2.Wrapped().Abs(), unit.HalfTurn-a2.Wrapped().Abs())
	}
	return (a2.Wrapped().Abs() - unit.HalfTurn/2).Abs()
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
// its own belief of its side: the sensed one where that is told, else that of its belief or of any pose that it may have counted itself to.
func (in *Input) sideChanges(s *stand, c question.Candidate, e rig.End) (stays, changes bool) {
	if len(in.Rig.Motion.FlipVia) == 0 {
		return true, false
	}
	k := in.Rig.Kind
	own := e.Axes.Sub(e.Shift) // where the mount, going by its belief, takes the end to be
	to := []rig.Side{e.Side}
	if e.Side == "" {
		to = []rig.Side{k.SideOf(e.Axes), k.SideOf(own)}
	}
	band := sideBand + 3*c.Sigma.A2 + in.drifts(s).A2 + in.astray(s).A2 // from where it may begin
	takes := append([]rig.Side{k.SideOf(c.Axes), k.SideOf(s.pose.Candidates[0].Axes)}, s.sides...)
	near := []rig.Axes{c.Axes, e.Axes, own}
	if s.believes {
		takes, near = append(takes, s.side), append(near, s.belief)
	}
	for _, from := range takes {
		for _, side := range to {
			stays, changes = stays || from == side, changes || from != side
		}
	}
	for _, a := range near {
		if borderOff(k, a.A2) < band {
			return true, true
		}
	}
	return stays, changes
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
			return nil, unboundedError(s.unbelieving("the mount homes by belief, and the sample does not say what it believes"))
		}
		if in.Rig.Homing.By != rig.BySensor {
			ends = append(ends, in.believedHome(s, i, p)...)
		}
		spread, sharp := in.spreads(c, in.Rig.Homing.Search)
		spread = spread.Add(in.drifts(s)).Add(in.astray(s))
		for _, e := range ends {
			e.Side = in.Rig.Kind.SideOf(e.Axes)
			out = append(out, journey{e, c.Axes, reach.WayOf(order, in.Rig.Motion, c.Axes, e.Axes), spread, sharp, nil, rig.Axes{}})
		}
	}
	return out, nil
}

// believedHome is where a homing without a sensor may end from a candidate: turned by what the likeliest pose lacks, and by what
// the mount believes is missing, or its counters, which may stand beside.
func (in *Input) believedHome(s *stand, i int, likeliest rig.Axes) []rig.End {
	c := s.pose.Candidates[i].Axes
	var out []rig.End
	if i > 0 {
		out = append(out, rig.End{Axes: c.Add(in.Rig.Home.Sub(likeliest)), From: i, Because: "turned by what the likeliest pose lacks"})
	}
	if !s.believes || in.Rig.Homing.By != rig.ByBelief {
		return out
	}
	if in.Rig.Mount.Sync != rig.KeptOnSky {
		for _, b := range beliefsFrom(s, c) {
			out = append(out, rig.End{Axes: c.Add(in.Rig.Home.Sub(b)), From: i, Because: rig.TurnsByBelief})
		}
	}
	for _, off := range in.besides(s, c) {
		out = append(out, rig.End{Axes: in.Rig.Home.Add(off), From: i, Because: rig.LessSyncs})
	}
	return out
}

// beliefsFrom is what the mount's belief may be in axis terms, were the rig at a candidate pose: on the turn nearest to that, and on the
// one nearest to the likeliest, by which it may have counted.
func beliefsFrom(s *stand, c rig.Axes) []rig.Axes {
	out := []rig.Axes{rig.LiftNear(s.belief, c)}
	if out[0].Sub(s.belief).Abs().Max() > unit.Degree {
		out = append(out, s.belief)
	}
	return out
}

// parking goes to a place of rest by belief.
func (in *Input) parking(s *stand) ([]journey, error) {
	rest, ok := in.Rig.Rest(in.action().Place)
	if !ok {
		return nil, unboundedError{why: fmt.Sprintf("the rig file has no place of rest %q", in.action().Place), need: "asker"}
	}
	if in.Rig.Mount.Sync == rig.KeptInModel {
		return nil, unboundedError{why: "the mount keeps an internal model of unknown state, so where it parks cannot be told", need: "asker"}
	}
	var out []journey
	for i, c := range s.pose.Candidates {
		out = append(out, in.straightTo(s, rig.End{Axes: rest.Axes, From: i, Intended: true, Because: "the place of rest"})...)
		for _, off := range in.besides(s, c.Axes) {
			out = append(out, in.straightTo(s, rig.End{Axes: rest.Axes.Add(off), From: i, Because: rig.LessSyncs, Shift: off})...)
		}
		if in.Rig.Mount.Sync == rig.KeptOnSky || in.Rehearsed {
			continue
		}
		if !s.believes {
			return nil, unboundedError(s.unbelieving("the mount's belief was not reported, and it parks by belief"))
		}
		for _, b := range beliefsFrom(s, c.Axes) {
			off := c.Axes.Sub(b)
			out = append(out, in.straightTo(s, rig.End{Axes: rest.Axes.Add(off), From: i, Because: rig.TurnsByBelief, Shift: off})...)
		}
	}
	return out, nil
}
