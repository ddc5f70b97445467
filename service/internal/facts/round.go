package facts

import (
	"math"
	"slices"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// around proposes what may pass where the direct way is not clear, leaves travel, goes below the floor or passes the Sun: for a homing, the other orders of
// the axes; else stops, as slews by axes, and then the same again, to be asked for one after the other. Of a way that is not clear those of
// a proven way round, or what is known of there being none; of another, home and the corners, which are one axis after the other.
func (in *Input) around(h *heaven, s *stand, p *reach.Prover, ways []journey, blocked bool, out *Outcome) {
	if in.action().Kind == question.Home {
		in.otherOrders(out)
		return
	}
	in.otherSides(out)
	if k := in.action().Kind; k == question.Track || k == question.Jog || k == question.Creep || in.follow() > 0 && !blocked && len(out.Instead) > 0 {
		return // a turn from elsewhere is another motion, and a shorter track or the other side is nearer than a way round
	}
	told := len(out.Instead)
	var barred, unfound int
	for _, j := range intendedEnds(ways) {
		again := in.again(h, s, &j)
		if again == nil {
			continue // whatever is found on the way, nothing could be asked for at its end
		}
		if !in.Rig.Travel.Holds(j.end.Axes) {
			if !blocked && in.turnedBack(j.end.Axes) {
				in.byStops(again, &j, out, "", in.Rig.Home)
			}
			continue
		}
		if !blocked {
			for _, at := range []rig.Axes{in.Rig.Home, {A1: j.end.Axes.A1, A2: j.start.A2}, {A1: j.start.A1, A2: j.end.Axes.A2}} {
				in.byStops(again, &j, out, "", at)
			}
			in.aroundOpen(in.open(h, &j), p, again, &j, reach.Budget(in.Cells), out)
			continue
		}
		route, ok := p.Around(j.start, j.end.Axes, in.Rig.Motion, in.Rig.Travel, j.spread, reach.Budget(in.Cells))
		out.Sought += route.Cells
		switch {
		case ok:
			if open := in.open(h, &j); !in.passesOpen(open, &j, route.Stops) {
				in.aroundOpen(open, p, again, &j, reach.Budget(in.Cells-route.Cells), out)
			}
			in.byStops(again, &j, out, "a way round", route.Stops...)
		case route.Barred:
			barred++
		default:
			unfound++
		}
	}
	switch {
	case len(out.Instead) > told:
	case unfound > 0:
		out.Notes = append(out.Notes, "no way round was found within the work that one question may take; there may be one")
	case barred > 0:
		out.Notes = append(out.Notes, "no way leads there: it is proven that, whatever way is taken within travel, two parts come nearer than they may")
	}
}

// aroundOpen proposes a way round that keeps the floor and the distance from the Sun as well.
func (in *Input) aroundOpen(open func(rig.Axes) bool, p *reach.Prover, again *question.Action, j *journey, budget reach.Budget, out *Outcome) {
	if !open(j.start) || !open(j.end.Axes) {
		return
	}
	route, ok := p.AroundWhere(open, j.start, j.end.Axes, in.Rig.Motion, in.Rig.Travel, j.spread, budget)
	if out.Sought += route.Cells; ok {
		in.byStops(again, j, out, "a way round", route.Stops...)
	}
}

// Room that a way round leaves to floor and Sun beside the spread. Choices: the Sun moves by half of it in the minutes that a way by stops takes.
const (
	roomToFloor = 0.5 * unit.Degree
	roomToSun   = 1.5 * unit.Degree
)

// open tells at which poses the tube keeps the floor and the distance from the Sun, with the spread of a journey and some room.
func (in *Input) open(h *heaven, j *journey) func(rig.Axes) bool {
	by := j.spread.A1 + j.spread.A2
	floor := unit.Deg(in.limit("sky/floor", "altitude_deg", 90)) + by + roomToFloor
	apart := unit.Deg(in.limit("sun/apart", "separation_deg", 180)) + by + roomToSun
	sun := h.sun(0)
	_, alt := frame.AzAlt(sun)
	shines := alt+h.doubt()+roomToSun >= sunUp
	return func(at rig.Axes) bool {
		tube := in.Rig.Chain.Direction(at)
		_, alt := frame.AzAlt(tube)
		return alt >= floor && (!shines || tube.Angle(sun) >= apart)
	}
}

// passesOpen tells whether a way by stops keeps to open poses, as far as its stops and looks between them show.
func (in *Input) passesOpen(open func(rig.Axes) bool, j *journey, stops []rig.Axes) bool {
	const looks = 60 // along all of the way. Choice: some degrees apart
	w := in.through(append([]rig.Axes{j.start}, stops...), j.end.Axes)
	long := w.Seconds()
	for i := range looks + 1 {
		if math.IsInf(long, 1) || !open(w.At(long*float64(i)/looks)) {
			return false
		}
	}
	return true
}

// turnedBack tells whether an end beyond travel lies within it a turn of axis 1 before: from elsewhere a mount that goes the shortest way goes there.
func (in *Input) turnedBack(end rig.Axes) bool {
	t := in.Rig.Travel
	return in.Rig.Motion.Way == rig.Shortest && (t.Holds(end.Sub(rig.Axes{A1: unit.Turn})) || t.Holds(end.Add(rig.Axes{A1: unit.Turn})))
}

// again is what is to be asked for from stops on the way to an end: the same. But a flip turns over what the tube points to where it is asked for: from
// elsewhere that is a slew to where the tube points now, on the other side; nil where the mount would not, or may not, go to that side by itself.
func (in *Input) again(h *heaven, s *stand, j *journey) *question.Action {
	a := *in.action()
	a.Message = nil
	if a.Kind == question.Flip {
		ra, dec, sidereal := s.ra, s.dec, s.mount.Sidereal
		if in.Rehearsed {
			ours := h.ours(h.moment)
			ra, dec, _ = in.Rig.Unmap(ours, s.pose.Candidates[0].Axes)
			sidereal = ours.Sidereal
		}
		hour := (sidereal - ra).Wrapped()
		if in.Rig.Mount.Chooses != rig.AskerChooses && !slices.Equal(in.Rig.SidesFor("", hour, hour+wayTime*question.SiderealRate), []rig.Side{j.end.Side}) {
			return nil
		}
		a.Kind, a.Sky = question.Slew, &question.Sky{RA: ra.Positive(), Dec: dec, Frame: question.OfDate}
	}
	if in.Rig.Mount.Chooses == rig.AskerChooses && a.Sky != nil {
		a.Side = j.end.Side
	}
	return &a
}

// wayTime is how long a way by stops takes at most, seconds: so long the mount may not choose another side. Choice: an ordinary rig takes a minute or two.
const wayTime = 300

// byStops proposes slews to some stops, one after the other, and then what is to be asked for again; found says what they are where they were found.
func (in *Input) byStops(again *question.Action, j *journey, out *Outcome, found string, stops ...rig.Axes) {
	if again == nil {
		return
	}
	var series []question.Action
	for _, at := range stops {
		if !in.Rig.Travel.Holds(at) || at == j.start {
			return
		}
		series = append(series, question.Action{Kind: question.Slew, Axes: &at})
	}
	out.Instead = append(out.Instead, Proposal{Steps: append(series, *again), Found: found})
}

// otherOrders proposes a homing in the other orders of the axes.
func (in *Input) otherOrders(out *Outcome) {
	for _, order := range []rig.Sharing{rig.Axis1First, rig.Axis2First, rig.Independent} {
		if order == in.action().Order || order == in.Rig.Homing.Order && in.action().Order == "" {
			continue
		}
		a := *in.action()
		a.Order, a.Message = order, nil
		out.Instead = append(out.Instead, Proposal{Steps: []question.Action{a}})
	}
}

// intendedEnds are the first ways to each intended end from the likeliest pose.
func intendedEnds(ways []journey) []journey {
	var out []journey
	for _, j := range ways {
		same := func(k journey) bool { return k.end.Axes == j.end.Axes }
		if j.end.From == 0 && j.end.Intended && !slices.ContainsFunc(out, same) {
			out = append(out, j)
		}
	}
	return out
}

// beyond tells whether a motion that is clear leaves travel, goes below the floor or passes the Sun, or its tracking does not last: what another
// side, or a way by other poses, may not do.
func (in *Input) beyond(f Set) bool {
	t := in.Rig.Travel
	return f.below("axis1_travel_min_deg", in.limit("travel/axis1", "low_deg", t.Low.A1.Deg())) ||
		f.above("axis1_travel_max_deg", in.limit("travel/axis1", "high_deg", t.High.A1.Deg())) ||
		f.below("axis2_travel_min_deg", in.limit("travel/axis2", "low_deg", t.Low.A2.Deg())) ||
		f.above("axis2_travel_max_deg", in.limit("travel/axis2", "high_deg", t.High.A2.Deg())) ||
		f.below("altitude_min_deg", in.limit("sky/floor", "altitude_deg", 90)) ||
		f.below("sun_separation_deg", in.limit("sun/apart", "separation_deg", 180)) ||
		in.follow() > 0 && f.below("track_spare_s", in.limit("track/fits", "spare_s", dayS))
}

// otherSides proposes, of a mount that takes the side asked for, those that were not.
func (in *Input) otherSides(out *Outcome) {
	if a := in.action(); a.Kind != question.Slew || a.Sky == nil || in.Rig.Mount.Chooses != rig.AskerChooses {
		return
	}
	for _, side := range in.Rig.Kind.Sides() {
		if side == in.action().Side {
			continue
		}
		a := *in.action()
		a.Side, a.Message = side, nil
		out.Instead = append(out.Instead, Proposal{Steps: []question.Action{a}})
	}
}
