package facts

import (
	"slices"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// around proposes what may pass where the direct way is not clear, leaves travel, goes below the floor or passes the Sun: for a homing, the other orders of
// the axes; else stops, as slews by axes, and then the same again, to be asked for one after the other. Of a way that is not clear those of
// a proven way round, or what is known of there being none; of another, home and the corners, which are one axis after the other.
func (in *Input) around(p *reach.Prover, ways []journey, blocked bool, out *Outcome) {
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
		if !in.Rig.Travel.Holds(j.end.Axes) {
			if !blocked && in.turnedBack(j.end.Axes) {
				in.byStops(j, out, "", in.Rig.Home)
			}
			continue
		}
		if !blocked {
			for _, at := range []rig.Axes{in.Rig.Home, {A1: j.end.Axes.A1, A2: j.start.A2}, {A1: j.start.A1, A2: j.end.Axes.A2}} {
				in.byStops(j, out, "", at)
			}
			continue
		}
		route, ok := p.Around(j.start, j.end.Axes, in.Rig.Motion, in.Rig.Travel, j.spread, reach.Budget(in.Cells))
		out.Sought += route.Cells
		switch {
		case ok:
			in.byStops(j, out, "a way round", route.Stops...)
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

// turnedBack tells whether an end beyond travel lies within it a turn of axis 1 before: from elsewhere a mount that goes the shortest way goes there.
func (in *Input) turnedBack(end rig.Axes) bool {
	t := in.Rig.Travel
	return in.Rig.Motion.Way == rig.Shortest && (t.Holds(end.Sub(rig.Axes{A1: unit.Turn})) || t.Holds(end.Add(rig.Axes{A1: unit.Turn})))
}

// byStops proposes slews to some stops, one after the other, and then the same again; found says what they are where they were found.
func (in *Input) byStops(j journey, out *Outcome, found string, stops ...rig.Axes) {
	again := *in.action()
	again.Message = nil
	if in.Rig.Mount.Chooses == rig.AskerChooses && again.Sky != nil {
		again.Side = j.end.Side
	}
	var series []question.Action
	for _, at := range stops {
		if !in.Rig.Travel.Holds(at) || at == j.start {
			return
		}
		series = append(series, question.Action{Kind: question.Slew, Axes: &at})
	}
	out.Instead = append(out.Instead, Proposal{Steps: append(series, again), Found: found})
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
