package facts

import (
	"fmt"
	"math"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// fallback puts the time between the instant at which what is declared stops a motion whose asker died, and the first contact, the
// worst of all courses. Where nothing is declared it is enough that no contact comes within 24 h.
func (in *Input) fallback(f Set, h *heaven, p *reach.Prover, courses []course, out *Outcome) {
	if len(courses) == 0 {
		f.Number("unstopped_spare_s", dayS, Computed, "the motion ends by itself")
		f.Truth("stop_acts", true, Computed, "the motion ends by itself")
		return
	}
	spare, about, acts := math.Inf(1), "", true
	contact, instant := dayS, math.Inf(1)
	wanted := in.limit("asker/fallback", "unstopped_spare_s", dayS)
	inTime := unit.Angle(math.Inf(1))
	for i := range courses {
		c := &courses[i]
		touch := c.until(c.journey.spread, c.kept, dayS, func(w reach.Way, spread rig.Axes, from float64) reach.Until {
			return p.TouchesAfter(w, spread, from, reach.Budget(in.Cells))
		})
		free := math.Min(untilS(touch.Clear, touch.Whole), c.known(c.journey.spread))
		if in.Rig.Mount.FlipsItself { // nobody proves the way of a flip that nobody asked for
			free = math.Min(free, in.flipBound(h, c).in)
		}
		if free < dayS {
			contact, instant = math.Min(contact, free), math.Min(instant, c.arrival+free)
		}
		stop, why := in.stopsAt(c)
		left := dayS
		if free < dayS {
			left = free - stop
		}
		if left < wanted {
			inTime = min(inTime, in.limitInTime(c, free-wanted))
		}
		if left < spare {
			spare, about, acts = left, why, stop < never
		}
	}
	if contact < dayS {
		at := in.later(instant)
		out.FirstContact = &at
	}
	if spare < wanted && inTime > -unit.Turn {
		about += fmt.Sprintf("; one at %.1f° would be in time", math.Floor(inTime.Deg()*10)/10)
	}
	f.Number("contact_in_s", contact, Computed)
	f.Number("unstopped_spare_s", math.Max(spare, -dayS), Computed, about)
	f.Truth("stop_acts", acts, Computed, about)
	if out.FirstContact != nil {
		f.At("unstopped_spare_s", *out.FirstContact)
	}
}

// never stands for what stops a rig where nothing does, seconds: later than any contact that is looked for.
const never = 2 * dayS

// stopsAt is when, from arrival, what is declared stops a course that nobody stops, and what that is.
func (in *Input) stopsAt(c *course) (float64, string) {
	stop := in.Rig.Stop
	switch stop.Kind {
	case rig.PowerRelay:
		return in.follow() + stop.AfterS, "the power relay"
	case rig.MountLimit:
		limit, seen := stop.Limit, stop.Seen
		for _, l := range in.Snapshot.Rig.Limits {
			if l.Axis == stop.Axis && l.Seen.After(seen) {
				limit, seen = l.Limit, l.Seen
			}
		}
		switch {
		case seen.IsZero():
			return never, "nobody has seen the limit in the mount act"
		case len(c.ahead) == 0:
			return never, "the limit in the mount acts by a belief that was not reported"
		}
		acts := 0.0
		for _, ahead := range in.aheadOf(c) {
			acts = math.Max(acts, in.limitActs(c, stop.Axis, limit, ahead))
		}
		return acts, fmt.Sprintf("the mount's limit at %.1f°, which acts by belief", limit.Deg())
	case rig.NothingStops, rig.MotionEnds:
	}
	return never, "the rig file declares nothing that does"
}

// limitInTime is where a limit of axis 1 would have to stand to act by a time from arrival, whatever belief may be; where none would that the course has
// still before it, or the rig has no such limit, far below any. It is the counterpart of limitActs.
func (in *Input) limitInTime(c *course, by float64) unit.Angle {
	if in.Rig.Stop.Kind != rig.MountLimit || in.Rig.Stop.Axis != 1 || !in.Rig.Kind.Equatorial() || by <= 0 || len(c.ahead) == 0 {
		return unit.Angle(math.Inf(-1))
	}
	later := unit.Deg(in.limit("sync/sum", "axis_deg", 360))
	out := unit.Angle(math.Inf(1))
	for _, ahead := range in.aheadOf(c) {
		at := c.at(by).A1 + ahead.A1 - later
		if at <= c.nodes[0].at.A1+ahead.A1 {
			return unit.Angle(math.Inf(-1))
		}
		out = min(out, at)
	}
	return out
}

// aheadOf is what belief less pose may be on a course. A slew by axes may end at the very angles asked for, from wherever it began: its belief
// then turned by as much more as the pose was held to be too far.
func (in *Input) aheadOf(c *course) []rig.Axes {
	if in.action().Axes == nil {
		return c.ahead
	}
	var out []rig.Axes
	for _, ahead := range c.ahead {
		out = append(out, ahead.Sub(c.journey.spread), ahead, ahead.Add(c.journey.spread))
	}
	return out
}

// limitActs is when belief, with what syncs may still take from it, reaches a limit kept by the mount. A limit acts where it is
// crossed: one that belief is beyond already does not. An alt-azimuth's axes turn either way, and nobody says on which side of it is too far:
// one that may have been crossed on the way there, and may not, is not counted on.
func (in *Input) limitActs(c *course, axis int, limit unit.Angle, ahead rig.Axes) float64 {
	later := unit.Deg(in.limit("sync/sum", "axis_deg", 360))
	angle := func(a rig.Axes) unit.Angle {
		if axis == 2 {
			return a.A2 + ahead.A2
		}
		return a.A1 + ahead.A1
	}
	past, sign := angle(c.nodes[0].at)-limit, unit.Angle(1)
	if past > 0 {
		sign = -1
	}
	if !in.Rig.Kind.Equatorial() && past.Abs() <= later && (past > 0) != (angle(c.journey.start) > limit) {
		return never
	}
	t := c.crossing(func(at rig.Axes, _ strays) unit.Angle { return sign*(limit-angle(at)) + later })
	if t >= dayS {
		return never
	}
	return t
}
