package facts

import (
	"math"
	"time"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// bound is one thing that ends tracking: after how many seconds from arrival, proven and without pose uncertainty.
type bound struct {
	name      string
	in, sharp float64
	about     []string
	informs   bool // binds nothing: for people and plans
}

// followFacts puts how long each course stays clear, and the spare of what is asked.
func (in *Input) followFacts(f Set, h *heaven, p *reach.Prover, s *stand, ways []journey, sky bool, out *Outcome) {
	asked := in.follow()
	f.Number("asked_track_s", asked, Told)
	out.FollowS, out.Tracks = asked, asked > 0
	if len(ways) > 0 {
		out.After = ways[0].end.Axes
	}
	if !out.Tracks {
		in.fallback(f, h, p, nil, out)
		return
	}
	if s.siteLack != nil {
		for _, n := range []string{"track_spare_s", "track_spare_sharp_s", "unstopped_spare_s", "stop_acts"} {
			f.LackFor(n, *s.siteLack)
		}
		return
	}
	var courses []course
	spare, sharp := math.Inf(1), worsts{}
	binding := bound{name: "nothing within 24 h", in: dayS}
	worst := map[string]bound{}
	ends := math.Inf(1)
	for i := range ways {
		courses = append(courses, in.coursesFrom(h, s, &ways[i], dayS)...)
	}
	out.After = courses[0].at(asked)
	for i := range courses {
		c := &courses[i]
		for _, b := range in.bounds(h, c, sky) {
			if w, ok := worst[b.name]; !ok || b.in < w.in {
				worst[b.name] = b
			}
			if b.informs {
				continue
			}
			if b.in < spare {
				spare, binding = b.in, b
			}
			ends = math.Min(ends, c.arrival+b.in)
			sharp.take(c.journey.end.From, b.sharp)
		}
	}
	for i := range courses { // for people: what binds is how long the margins keep
		if x := in.nearest(p, &courses[i], asked); x != nil && (out.Closest == nil || spareOf(x) < spareOf(out.Closest)) {
			out.Closest = x
		}
	}
	if ends < dayS {
		t := in.later(ends)
		out.TrackEnds = &t
	}
	for name, b := range worst {
		f.Number(name, b.in, Computed, b.about...)
	}
	proven, _ := sharp.proven()
	for name, v := range map[string]float64{"track_spare_s": spare, "track_spare_sharp_s": proven} {
		f.Number(name, v-asked, Computed, binding.phrase())
		if binding.in < dayS {
			f.At(name, in.later(ends))
		}
	}
	if in.Proposes {
		in.shorter(spare, out)
	}
	in.fallback(f, h, p, courses, out)
}

// phrase says for a person what a bound is.
func (b bound) phrase() string {
	switch {
	case b.name == "margin_in_s" && len(b.about) == 2:
		return b.about[0] + " and " + b.about[1] + " coming too near each other"
	case b.name == "travel_in_s" && len(b.about) == 1:
		return "the end of the travel of " + b.about[0]
	case len(b.about) > 0:
		return b.about[0]
	}
	return "nothing within 24 h"
}

// later is an instant so many seconds after the question's.
func (in *Input) later(s float64) time.Time {
	return in.Snapshot.At.Add(time.Duration(s * float64(time.Second)))
}

// bounds returns everything that ends one course, and dawn.
func (in *Input) bounds(h *heaven, c *course, sky bool) []bound {
	spread, sharp := c.journey.spread, c.journey.sharp
	out := []bound{in.marginBound(c), in.travelBound(c, spread, sharp), in.sunBound(h, c, spread), in.lowBound(c, spread, sky), in.dawnBound(h, c)}
	if known := c.known(spread); known < dayS {
		zenith := []string{"the zenith, where axis 1 would have to turn faster than it can"}
		out = append(out, bound{name: "zenith_in_s", in: known, sharp: c.known(sharp), about: zenith})
	}
	if in.Rig.Mount.FlipsItself {
		out = append(out, in.flipBound(h, c))
	}
	return out
}

// carriesOn is after how many seconds from arrival something ends a course, most at most, as roughly as KeepsRoughly: what costs least is looked at
// first, and each only until the soonest before it.
func (in *Input) carriesOn(h *heaven, c *course, most float64) float64 {
	spread := c.journey.spread
	least := min(most, in.travelBound(c, spread, spread).in, c.known(spread))
	if in.Rig.Mount.FlipsItself {
		least = min(least, in.flipBound(h, c).in)
	}
	least = min(least, in.lowIn(c, spread, 2*DitherBox, false, least))
	least = min(least, in.sunIn(h, c, spread, 2*DitherBox, h.doubt(), least))
	wide := c.until(spread, 0, least, func(w reach.Way, spread rig.Axes, _ float64) reach.Until {
		return in.prover().KeepsRoughly(w, spread, reach.Budget(in.Cells))
	})
	return min(least, untilS(wide.Clear, wide.Whole))
}

// marginBound is when a pair of parts comes nearer than it may. Who starts nearer is within what was proven of a wider spread.
func (in *Input) marginBound(c *course) bound {
	p := in.prover()
	keeps := func(w reach.Way, spread rig.Axes, from float64) reach.Until {
		return p.KeepsAfter(w, spread, 0, from, reach.Budget(in.Cells))
	}
	wide := c.until(c.journey.spread, 0, dayS, keeps)
	c.kept = wide.Clear
	exact := wide
	if !wide.Whole {
		if exact = c.until(c.journey.sharp, c.kept, dayS, keeps); math.IsInf(exact.Broken, 1) && !exact.Whole {
			exact.Broken = in.brokenBy(c, p, exact.Clear)
		}
	}
	return bound{name: "margin_in_s", in: untilS(wide.Clear, wide.Whole), sharp: untilS(exact.Broken, exact.Whole), about: partsOf(wide.Seen)}
}

// brokenBy is when a course without uncertainty is seen to break a margin that it may break from a time on, as far as it is asked to go:
// who looks for the soonest instant stops where the spare is as good as none, and has then seen no break. Infinite where none is seen.
func (in *Input) brokenBy(c *course, p *reach.Prover, from float64) float64 {
	asked := in.follow() + in.limit("track/fits", "spare_s", dayS)
	for _, s := range c.stretches {
		begin, end := max(from, s.start), min(asked, s.start+s.way.Seconds())
		box, ok := c.box(c.journey.sharp, s.strays)
		if !ok || begin >= end {
			continue
		}
		if r := p.Prove(c.between(begin, end), box, reach.Budget(in.Cells)); r.Fails() {
			return begin + r.Nearest.Seconds
		}
	}
	return math.Inf(1)
}

func untilS(s float64, whole bool) float64 {
	if whole || s > dayS || math.IsNaN(s) {
		return dayS
	}
	return s
}

func partsOf(a *reach.Approach) []string {
	if a == nil {
		return nil
	}
	return []string{a.Parts[0], a.Parts[1]}
}

// travelBound is when an axis reaches the end of its travel. Dithers are not held against a limit that only uncertainty crosses.
func (in *Input) travelBound(c *course, spread, sharp rig.Axes) bound {
	t := in.Rig.Travel
	faces := [4]func(at, by rig.Axes) unit.Angle{
		func(at, by rig.Axes) unit.Angle { return t.High.A1 - at.A1 - by.A1 },
		func(at, by rig.Axes) unit.Angle { return at.A1 - t.Low.A1 - by.A1 },
		func(at, by rig.Axes) unit.Angle { return t.High.A2 - at.A2 - by.A2 },
		func(at, by rig.Axes) unit.Angle { return at.A2 - t.Low.A2 - by.A2 },
	}
	b := bound{name: "travel_in_s", in: dayS, sharp: dayS}
	for i, face := range faces {
		wide := c.crossing(func(at rig.Axes, s strays) unit.Angle {
			by, _ := c.box(spread, s)
			return face(at, by)
		})
		exact := c.crossing(func(at rig.Axes, _ strays) unit.Angle { return face(at, sharp) })
		if b.sharp = math.Min(b.sharp, exact); wide < b.in {
			b.in, b.about = wide, []string{[2]string{"axis 1", "axis 2"}[i/2]}
		}
	}
	return b
}

// searchStep is how finely a course is searched where a bound is near: 30 s are 0.125° of the sky, so a dip into a limit and out of
// it again within that is missed.
const searchStep = 30.0

// skyRate is the fastest at which an angle of the sky over the ground changes, per second: the sidereal rate.
const skyRate = question.SiderealRate

// firstTime returns the first instant, to a second on the early side, at which what is left of a bound is negative; a day where it
// never is. What is left may shrink by no more than twice the sky's rate (the tube and the Sun both turn with it), so that much of
// the course is skipped at a time; what is known to shrink by no more than that rate is told doubled.
func firstTime(end float64, left func(t float64) unit.Angle) float64 {
	now := left(0)
	if now < 0 {
		return 0
	}
	for t := 0.0; t < end; {
		next := math.Min(t+math.Max(searchStep, float64(now/(2*skyRate))), end)
		now = left(next)
		if now >= 0 {
			t = next
			continue
		}
		low, high := t, next
		for high-low > 1 {
			if mid := (low + high) / 2; left(mid) < 0 {
				high = mid
			} else {
				low = mid
			}
		}
		left(high) // leaves the closure's notes at the crossing
		return low
	}
	return dayS
}

// sunBound is when the tube comes too near a Sun that is up.
func (in *Input) sunBound(h *heaven, c *course, spread rig.Axes) bound {
	return bound{
		name: "sun_in_s", in: in.sunIn(h, c, spread, 2*DitherBox, h.doubt(), dayS), sharp: in.sunIn(h, c, rig.Axes{}, 0, 0, dayS),
		about: []string{"the Sun"},
	}
}

// sunIn is sunBound with a spread, for so many seconds of the course at most.
func (in *Input) sunIn(h *heaven, c *course, by rig.Axes, dithers, doubt unit.Angle, most float64) float64 {
	apart := unit.Deg(in.limit("sun/apart", "separation_deg", 180))
	return firstTime(min(c.seconds(), most), func(t float64) unit.Angle {
		sun := h.sun(c.arrival + t)
		down := sunUp - frame.Altitude(sun) - doubt
		if down >= 0 { // only the Sun's altitude counts, and that changes by the sky's rate
			return 2 * down
		}
		at := c.at(t)
		return max(down, in.Rig.Chain.Direction(at).Angle(sun)-apart-in.onSky(c, at, by)-dithers-doubt)
	})
}

// lowBound is when the tube sinks below the floor or, for a sky target, below the local horizon. A skyline may rise as steeply as a
// wall, so where the file gives one nothing is skipped.
func (in *Input) lowBound(c *course, spread rig.Axes, sky bool) bound {
	b := bound{name: "horizon_in_s", in: in.lowIn(c, spread, 2*DitherBox, sky, dayS), sharp: in.lowIn(c, rig.Axes{}, 0, sky, dayS)}
	b.about = []string{in.lowest(c, sky, b.in)}
	return b
}

// lowest says which of the two it is that the tube comes down to after so many seconds of the course: whoever is told so looks at that limit.
func (in *Input) lowest(c *course, sky bool, t float64) string {
	az, alt := frame.AzAlt(in.Rig.Chain.Direction(c.at(min(t, c.seconds()))))
	floor, above := unit.Deg(in.limit("sky/floor", "altitude_deg", 90)), unit.Deg(in.limit("sky/horizon", "above_deg", 90))
	if !sky || alt-floor < alt-in.Rig.SkylineNear(az, alt, 0)-above {
		return "the floor"
	}
	return "the horizon"
}

// lowIn is lowBound with a spread, for so many seconds of the course at most.
func (in *Input) lowIn(c *course, by rig.Axes, dithers unit.Angle, sky bool, most float64) float64 {
	floor := unit.Deg(in.limit("sky/floor", "altitude_deg", 90))
	above := unit.Deg(in.limit("sky/horizon", "above_deg", 90))
	return firstTime(min(c.seconds(), most), func(t float64) unit.Angle {
		at := c.at(t)
		tube := in.Rig.Chain.Direction(at)
		off := in.onSky(c, at, by) + dithers
		if !sky {
			left := frame.Altitude(tube) - floor - off
			if !c.curves { // off stays as it is, and the tube goes by the sky's rate
				left *= 2
			}
			return left
		}
		az, alt := frame.AzAlt(tube)
		left := min(alt-floor-off, alt-off-in.Rig.SkylineNear(az, alt, off)-above)
		if len(in.Rig.Horizon) > 0 && left > 0 {
			left = 0
		}
		return left
	})
}

// dawnBound is when the Sun rises. It binds nothing.
func (in *Input) dawnBound(h *heaven, c *course) bound {
	t := firstTime(dayS, func(t float64) unit.Angle {
		return 2 * (sunUp - frame.Altitude(h.sun(c.arrival+t)))
	})
	return bound{name: "dawn_in_s", in: t, sharp: t, informs: true}
}

// flipBound is when a mount that changes side by itself would do so: a motion that nobody asked for. Before the meridian the tube is
// west; it may flip once the hour angle passes, by its counters or by what it believes. Its clock is in neither: the hour angle that a
// mount works out is the angle of its axis 1, as it takes that to be.
func (in *Input) flipBound(h *heaven, c *course) bound {
	ours, spread := h.ours(h.moment), c.journey.spread
	t := dayS
	for _, ahead := range append([]rig.Axes{{}}, c.ahead...) {
		start := c.journey.end.Axes.Add(ahead)
		for _, off := range []unit.Angle{0, -spread.A2, spread.A2} { // it may be west by no more than the spread
			to := rig.Axes{A2: off}
			if in.Rig.Kind.SideOf(start.Add(to)) != rig.West {
				continue
			}
			t = math.Min(t, firstTime(c.seconds(), func(t float64) unit.Angle {
				ra, _, _ := in.Rig.Unmap(ours, c.at(t).Add(ahead).Add(to))
				hour := (ours.Sidereal - ra).Wrapped()
				if hour >= unit.HalfTurn/2 {
					return unit.Turn
				}
				return in.Rig.Mount.FlipAt - sideGrace - spread.A1 - hour
			}))
			break
		}
	}
	return bound{name: "flip_in_s", in: t, sharp: t, about: []string{"the mount's own flip"}}
}

// sideGrace is how much sooner than its stated hour angle a mount may flip: the error of its clock that mount/map lets pass.
const sideGrace = 0.5 * unit.Degree

// shorter proposes the longest tracking that would pass.
func (in *Input) shorter(binding float64, out *Outcome) {
	longest := binding - in.limit("track/fits", "spare_s", dayS) - 1
	if longest < 60 || longest >= out.FollowS {
		return
	}
	a := *in.action()
	a.Message = nil
	if a.Kind == question.Track {
		until := in.Snapshot.At.Add(time.Duration(longest) * time.Second).Truncate(time.Second)
		a.Follow, a.Until = 0, &until
	} else {
		a.Follow = time.Duration(longest) * time.Second
	}
	out.Instead = append(out.Instead, Proposal{Steps: []question.Action{a}})
}
