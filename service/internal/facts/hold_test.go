package facts_test

import (
	"fmt"
	"math"
	"time"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// gaps is the least gap of all pairs at a pose, and the least of what is left when each has what it must keep.
func (p *played) gaps(at rig.Axes) (gap, spare float64) {
	placed := p.scene.Place(at)
	gap, spare = math.Inf(1), math.Inf(1)
	for _, q := range p.scene.Pairs {
		d := solid.Distance(placed[q.A], placed[q.B]).Upper
		gap, spare = math.Min(gap, d), math.Min(spare, d-float64(q.Required))
	}
	return gap, spare
}

func (p *played) altitude(at rig.Axes) float64 {
	_, alt := frame.AzAlt(p.r.Chain.Direction(at))
	return alt.Deg()
}

// toSun is the angle to a Sun that is up; 180° from one that is down.
func (p *played) toSun(at rig.Axes, seconds float64) float64 {
	sun := frame.Vec[frame.Rig](p.moment.After(time.Duration(seconds * float64(time.Second))).SunFrom(p.place))
	if _, alt := frame.AzAlt(sun); alt.Deg() < -0.83 {
		return 180
	}
	return p.r.Chain.Direction(at).Angle(sun).Deg()
}

// atMost holds that a fact, where it is a number, is no greater than what was seen.
func (p *played) atMost(f facts.Set, name string, seen float64, about ...any) {
	v := f[name].Number
	if v == nil {
		return
	}
	p.note(name, seen-*v)
	if *v > seen+1e-6 {
		p.find("%s = %v, but a play shows %v: %v", name, *v, seen, about)
	}
}

func (p *played) atLeast(f facts.Set, name string, seen float64, about ...any) {
	v := f[name].Number
	if v == nil {
		return
	}
	p.note(name, *v-seen)
	if *v < seen-1e-6 {
		p.find("%s = %v, but a play shows %v: %v", name, *v, seen, about)
	}
}

func (p *played) find(format string, args ...any) {
	p.finds = append(p.finds, fmt.Sprintf(format, args...))
}

func (p *played) note(name string, left float64) {
	if was, ok := p.near[name]; !ok || left < was {
		p.near[name] = left
	}
}

// hold holds the facts of a question against one play.
func (p *played) hold(out facts.Outcome, a question.Action) {
	arrival := p.wait
	var way []rig.Axes
	var end rig.Axes
	var took float64
	for range 3 {
		way, end, took = p.way(a, p.goal(a, arrival))
		arrival = p.wait + took
	}
	f := out.Facts
	if outside(p.r.Travel, end, unit.Deg(3)) && f["axis1_travel_min_deg"].Number != nil { // of turns that are all out of travel any is refused
		low := rig.DegAxes(*f["axis1_travel_min_deg"].Number, *f["axis2_travel_min_deg"].Number)
		high := rig.DegAxes(*f["axis1_travel_max_deg"].Number, *f["axis2_travel_max_deg"].Number)
		if !outside(p.r.Travel, low, 0) && !outside(p.r.Travel, high, 0) {
			p.find("an end out of travel is not refused: %v", end)
		}
		return
	}
	if a.Kind != question.Track { // what stands still is not judged as a way
		p.atLeast(f, "motion_s", took/1.2-5, a) // a permit adds so much: starts and ends are not sharp
	}
	for i, at := range way {
		_, spare := p.gaps(at)
		p.atMost(f, "clearance_spare_mm", spare, at)
		p.atLeast(f, "altitude_max_deg", p.altitude(at), at)
		if i%8 == 0 {
			p.atMost(f, "sun_separation_deg", p.toSun(at, p.wait+float64(i)/float64(len(way))*took), at)
		}
		homes, last := a.Kind == question.Home, i == len(way)-1
		if (!homes || last && p.r.Homing.By == rig.BySensor || p.r.Homing.By == rig.ByBelief) && !p.rises(way[0], at) {
			p.atMost(f, "altitude_min_deg", p.altitude(at), at)
		}
		if homes && !last && p.r.Homing.By == rig.BySensor {
			continue // where it begins it stands already
		}
		p.turnsTo(f, "axis1_travel", at.A1, way[0].A1, p.r.Travel.Low.A1, p.r.Travel.High.A1)
		p.turnsTo(f, "axis2_travel", at.A2, way[0].A2, p.r.Travel.Low.A2, p.r.Travel.High.A2)
	}
	if a.Follow > 0 {
		bound := func(name string) float64 {
			if v := f[name].Number; v != nil {
				return *v
			}
			return 0
		}
		lost := math.Inf(1)
		if v, ok := f["zenith_in_s"]; ok {
			lost = *v.Number
		}
		p.track(end, arrival, lost, bound)
	}
}

// rises tells of a pose of a motion that may have begun below the floor, by its uncertainty, that it is no lower: only where such a motion ends is judged.
func (p *played) rises(start, at rig.Axes) bool {
	return p.altitude(start) < 3 && p.altitude(at) >= p.altitude(start)-6 // by less than the start, moving, may lie lower than it does
}

// turnsTo holds how far an axis turns, but for what lies inward of a start beyond the end of travel.
func (p *played) turnsTo(f facts.Set, name string, at, start, low, high unit.Angle) {
	if !(start < low && at >= start) {
		p.atMost(f, name+"_min_deg", at.Deg())
	}
	if !(start > high && at <= start) {
		p.atLeast(f, name+"_max_deg", at.Deg())
	}
}

// carriesOn holds how long carrying on as last reported is said to stay clear against a play of that.
func (p *played) carriesOn(out facts.Outcome, doing question.Doing) {
	if out.HarmlessUntil == nil || doing == question.Moving {
		return
	}
	was := p.mount
	defer func() { p.mount = was }()
	p.wait, p.shift = 0, rig.Axes{}
	until := out.HarmlessUntil.Sub(p.at).Seconds()
	if doing == question.Tracking {
		p.track(p.start(), 0, until, func(name string) float64 {
			if name == "contact_in_s" || name == "flip_in_s" {
				return 0
			}
			return until
		})
		return
	}
	for range 8 {
		s := (until - 1) * p.rng.Float64()
		if s > 0 && p.toSun(p.start(), s) < 29.99 {
			p.find("standing still until %.0f s is harmless, but after %.0f s the Sun is near", until, s)
		}
	}
}

// outside tells whether a pose lies out of travel by more than so much.
func outside(tr rig.Travel, a rig.Axes, by unit.Angle) bool {
	return a.A1 > tr.High.A1+by || a.A1 < tr.Low.A1-by || a.A2 > tr.High.A2+by || a.A2 < tr.Low.A2-by
}

// track follows the sky from an end, with a dither at each step, and holds the tracking facts against what is seen.
func (p *played) track(start rig.Axes, arrival, lost float64, bound func(name string) float64) {
	last := math.Min(lost, 86400)
	for n := range 24 {
		s := last * float64(n) / 24 * p.rng.Float64()
		if n%4 == 3 { // just before one of the bounds
			all := []string{"margin_in_s", "travel_in_s", "horizon_in_s", "sun_in_s", "contact_in_s", "flip_in_s"}
			s = math.Min(s, math.Max(0, bound(all[n/4])-1.5))
		}
		course := p.follow(start, arrival, s)
		sine := math.Max(0.05, p.r.Chain.Direction(course).Angle(p.r.Chain.Dir1).Sin())
		at := course.Add(rig.Axes{A1: facts.DitherBox * unit.Angle(corner(p.rng)/sine), A2: facts.DitherBox * unit.Angle(corner(p.rng))})
		gap, spare := p.gaps(at)
		before := func(name string, grace float64, broken bool) {
			if p.r.Kind == rig.AltAzimuth { // who arrives otherwise than predicted is as much later, or sooner, on the same curve
				grace += p.wait + 0.05*arrival + 1
			}
			if s < bound(name)-grace && broken {
				p.find("%s is %.0f s, but after %.1f s of tracking at %v it is broken: %.2f mm spare, %.3f° high, %.3f° from the Sun",
					name, bound(name), s, at, spare, p.altitude(at), p.toSun(at, arrival+s))
			}
		}
		before("margin_in_s", 1e-3, spare < -1e-6)
		before("contact_in_s", 1e-3, gap < 0)
		before("travel_in_s", 1e-3, outside(p.r.Travel, at, 1e-12))
		before("horizon_in_s", 1, p.altitude(at) < -3.001)
		before("sun_in_s", 1+p.wait+0.05*arrival, p.toSun(at, arrival+s) < 29.99)
		// Whatever it keeps its syncs on, it flips by what it believes.
		if b := course.Sub(p.wild).Add(p.off); p.r.Mount.FlipsItself && p.r.Kind.SideOf(b) == rig.West {
			m := p.sky(arrival + s)
			ra, _, _ := p.r.Unmap(m, b)
			before("flip_in_s", 1, (m.Sidereal-ra).Wrapped() > p.r.Mount.FlipAt && (m.Sidereal-ra).Wrapped() < unit.HalfTurn/2)
		}
	}
}
