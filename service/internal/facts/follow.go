package facts

import (
	"fmt"
	"math"
	"time"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// course is how the axes follow the sky from the end of one motion, for up to a day.
type course struct {
	way     reach.Way
	bend    rig.Axes // how far the true course may stray from the way: dithers, and the curve of an alt-azimuth
	arrival float64  // seconds after the question
	journey *journey
	ahead   rig.Axes // belief less pose
}

// Steps of an alt-azimuth's course: its axes follow no constant rate. It is cut until the middle of a step lies within bendGoal of the
// straight line, and no finer than leastStep, where the zenith passes; the stray is then added to the spread.
const (
	firstStep = 120.0
	leastStep = 2.0
	bendGoal  = 0.02 * unit.Degree
)

// DitherBox is how far, on the sky and each way, guide corrections and dithers may carry a tracking tube off its course: they ride on
// the permit, and the proof counts them. Several times a usual dither; common practice, no source.
const DitherBox = 6 * unit.Arcminute

// dither is the box in axis terms at a pose: near the end of axis 1 a small angle on the sky is a large one there. It stops at twenty
// times, 3° from the end.
func (in *Input) dither(at rig.Axes) rig.Axes {
	sine := in.Rig.Chain.Direction(at).Angle(in.Rig.Chain.Dir1).Sin()
	return rig.Axes{A1: DitherBox / unit.Angle(math.Max(math.Abs(sine), 0.05)), A2: DitherBox}
}

// courseFrom is the course from the end of a journey. The sky turns an equatorial's axis 1 at the sidereal rate; an alt-azimuth follows
// the direction in which its tube points.
func (in *Input) courseFrom(h *heaven, j *journey, seconds float64) course {
	arrival := j.way.Seconds()
	if math.IsInf(arrival, 0) || math.IsNaN(arrival) {
		arrival = 0
	}
	c := course{arrival: arrival, journey: j, bend: in.dither(j.end.Axes)}
	if in.Rig.Kind.Equatorial() {
		c.way = reach.Uniform(j.end.Axes, j.end.Axes.Add(rig.Axes{A1: unit.Angle(seconds) * question.SiderealRate}), seconds)
		return c
	}
	hold := in.Rig.Pole()
	start := in.Rig.Chain.Direction(j.end.Axes)
	at := func(t float64, near rig.Axes) rig.Axes {
		dir := turnedAbout(hold, -unit.Angle(t)*question.SiderealRate, start)
		return rig.LiftNear(in.Rig.Chain.Solve(in.Rig.Kind, dir, j.end.Side), near)
	}
	var legs []reach.Way
	var curve rig.Axes
	pose := j.end.Axes
	for t := 0.0; t < seconds; {
		step := math.Min(firstStep, seconds-t)
		next, stray := at(t+step, pose), rig.Axes{}
		for {
			stray = at(t+step/2, pose).Sub(pose.Add(next).Scale(0.5)).Abs()
			if stray.Max() <= bendGoal || step <= leastStep {
				break
			}
			step /= 2
			next = at(t+step, pose)
		}
		legs = append(legs, reach.Uniform(pose, next, step))
		// The stray of a smooth curve is largest near the middle; half as much again covers its third derivative. Choice.
		curve = upper(curve, stray.Scale(1.5))
		t, pose = t+step, next
	}
	c.bend = c.bend.Add(curve)
	c.way = reach.Chain(legs...)
	return c
}

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
		in.fallback(f, p, nil, out)
		return
	}
	var courses []course
	spare, sharp := math.Inf(1), math.Inf(1)
	binding := bound{name: "nothing within 24 h", in: dayS}
	worst := map[string]bound{}
	for i := range ways {
		c := in.courseFrom(h, &ways[i], dayS)
		c.ahead = s.ahead()
		courses = append(courses, c)
		if i == 0 {
			out.After = c.way.At(asked)
		}
		for _, b := range in.bounds(h, p, &c, sky) {
			if w, ok := worst[b.name]; !ok || b.in < w.in {
				worst[b.name] = b
			}
			if b.informs {
				continue
			}
			if b.in < spare {
				spare, binding = b.in, b
			}
			sharp = math.Min(sharp, b.sharp)
		}
	}
	for name, b := range worst {
		f.Number(name, b.in, Computed, b.about...)
	}
	for _, name := range []string{"track_spare_s", "track_spare_sharp_s"} {
		f.Number(name, map[string]float64{"track_spare_s": spare, "track_spare_sharp_s": sharp}[name]-asked, Computed, binding.phrase())
		if binding.in < dayS {
			f.At(name, in.later(out.MotionS+binding.in))
		}
	}
	in.shorter(spare, out)
	in.fallback(f, p, courses, out)
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

// bounds returns everything that ends one course.
func (in *Input) bounds(h *heaven, p *reach.Prover, c *course, sky bool) []bound {
	spread, sharp := c.journey.spread.Add(c.bend), c.journey.sharp.Add(c.bend)
	keeps := p.Keeps(c.way, spread, 0, reach.Budget(in.Cells))
	exact := keeps
	if !keeps.Whole {
		exact = p.Keeps(c.way, sharp, 0, reach.Budget(in.Cells))
	}
	out := []bound{{name: "margin_in_s", in: untilS(keeps.Clear, keeps.Whole), sharp: untilS(exact.Broken, exact.Whole), about: partsOf(keeps.Seen)}}
	out = append(out, in.travelBound(c, spread, sharp), in.sunBound(h, c, spread), in.lowBound(c, sky), in.dawnBound(h, c))
	if in.Rig.Mount.FlipsItself {
		out = append(out, in.flipBound(h, c))
	}
	return out
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

// travelBound is when an axis reaches the end of its travel.
func (in *Input) travelBound(c *course, spread, sharp rig.Axes) bound {
	axis := ""
	out := func(by rig.Axes) float64 {
		return firstTime(c.way.Seconds(), func(t float64) unit.Angle {
			a := c.way.At(t)
			left := min(in.Rig.Travel.High.A1-a.A1, a.A1-in.Rig.Travel.Low.A1) - by.A1
			axis = "axis 1"
			if two := min(in.Rig.Travel.High.A2-a.A2, a.A2-in.Rig.Travel.Low.A2) - by.A2; two < left {
				left, axis = two, "axis 2"
			}
			return left
		})
	}
	b := bound{name: "travel_in_s", sharp: out(sharp)}
	b.in = out(spread)
	if b.in < dayS {
		b.about = []string{axis}
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
// the course is skipped at a time.
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
	apart := unit.Deg(in.limit("sun/apart", "separation_deg", 180))
	reached := func(by unit.Angle) float64 {
		return firstTime(c.way.Seconds(), func(t float64) unit.Angle {
			sun := h.sun(h.at(c.arrival + t))
			_, alt := frame.AzAlt(sun)
			return max(sunUp-alt, in.Rig.Chain.Direction(c.way.At(t)).Angle(sun)-apart-by)
		})
	}
	return bound{name: "sun_in_s", in: reached(spread.A1 + spread.A2), sharp: reached(0), about: []string{"the Sun"}}
}

// lowBound is when the tube sinks below the floor or, for a sky target, below the local horizon. A skyline may rise as steeply as a
// wall, so where the file gives one nothing is skipped.
func (in *Input) lowBound(c *course, sky bool) bound {
	floor := unit.Deg(in.limit("sky/floor", "altitude_deg", 90))
	above := unit.Deg(in.limit("sky/horizon", "above_deg", 90))
	t := firstTime(c.way.Seconds(), func(t float64) unit.Angle {
		az, alt := frame.AzAlt(in.Rig.Chain.Direction(c.way.At(t)))
		left := alt - floor
		if sky {
			left = min(left, alt-in.Rig.SkylineAt(az)-above)
			if len(in.Rig.Horizon) > 0 && left > 0 {
				left = 0
			}
		}
		return left
	})
	return bound{name: "horizon_in_s", in: t, sharp: t, about: []string{"the horizon"}}
}

// dawnBound is when the Sun rises. It binds nothing.
func (in *Input) dawnBound(h *heaven, c *course) bound {
	t := firstTime(dayS, func(t float64) unit.Angle {
		_, alt := frame.AzAlt(h.sun(h.at(c.arrival + t)))
		return sunUp - alt
	})
	return bound{name: "dawn_in_s", in: t, sharp: t, informs: true}
}

// flipBound is when a mount that changes side by itself would do so: a motion that nobody asked for. Before the meridian the tube is
// west; it may flip once the hour angle passes.
func (in *Input) flipBound(h *heaven, c *course) bound {
	t := dayS
	if in.Rig.Kind.SideOf(c.journey.end.Axes) == rig.West {
		t = firstTime(c.way.Seconds(), func(t float64) unit.Angle {
			m := h.at(c.arrival + t)
			ra, _, _ := in.Rig.Unmap(h.ours(m), c.way.At(t))
			hour := (h.sidereal(m) - ra).Wrapped()
			if hour >= unit.HalfTurn/2 {
				return unit.Turn
			}
			return in.Rig.Mount.FlipAt - sideGrace - hour
		})
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
	out.Instead = append(out.Instead, a)
}

// fallback puts the time between the instant at which what is declared stops a motion whose asker died, and the first contact, the
// worst of all courses. Where nothing is declared it is enough that no contact comes within 24 h.
func (in *Input) fallback(f Set, p *reach.Prover, courses []course, out *Outcome) {
	if len(courses) == 0 {
		f.Number("unstopped_spare_s", dayS, Computed, "the motion ends by itself")
		return
	}
	spare, about := math.Inf(1), ""
	contact := dayS
	for i := range courses {
		c := &courses[i]
		touch := p.Touches(c.way, c.journey.spread.Add(c.bend), reach.Budget(in.Cells))
		free := untilS(touch.Clear, touch.Whole)
		contact = math.Min(contact, free)
		stop, why := in.stopsAt(c)
		left := dayS
		if free < dayS {
			left = free - stop
		}
		if left < spare {
			spare, about = left, why
		}
	}
	if contact < dayS {
		at := in.later(contact + out.MotionS)
		out.FirstContact = &at
	}
	f.Number("contact_in_s", contact, Computed)
	f.Number("unstopped_spare_s", math.Max(spare, -dayS), Computed, about)
	if out.FirstContact != nil {
		f.At("unstopped_spare_s", *out.FirstContact)
	}
}

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
		if seen.IsZero() {
			return dayS, "a limit in the mount that nobody has seen act"
		}
		return in.limitActs(c, stop.Axis, limit), fmt.Sprintf("the mount's limit at %.1f°, which acts by belief", limit.Deg())
	case rig.NothingStops, rig.MotionEnds:
	}
	return 2 * dayS, "nothing"
}

// limitActs is when belief, with what syncs may still take from it, reaches a limit kept by the mount.
func (in *Input) limitActs(c *course, axis int, limit unit.Angle) float64 {
	later := unit.Deg(in.limit("sync/sum", "axis_deg", 360))
	return firstTime(c.way.Seconds(), func(t float64) unit.Angle {
		believed := c.way.At(t).Add(c.ahead)
		if axis == 2 {
			return limit - (believed.A2 - later)
		}
		return limit - (believed.A1 - later)
	})
}
