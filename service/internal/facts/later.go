package facts

import (
	"fmt"
	"time"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/timescale"
	"keepclear.example/keepclear/service/internal/unit"
)

// lookAhead is how far a target that stands too low is looked for: a day and a bit, in which every star stands as high as it ever does.
const lookAhead = 24*time.Hour + 10*time.Minute

// worthNaming is how long a target has to stand high enough to be worth naming: less is within what its minutes are rounded by.
const worthNaming = 2 * time.Minute

// higher says of a slew's target that would stand lower at its end than floor and local horizon allow when the same question next ends high enough, and how
// long; of one that never does, that. Empty where it ends high enough, and of everything else. Whether the way there is clear then, is asked then.
func (in *Input) higher(f Set, h *heaven, ways []journey) string {
	target := in.action().Sky
	floor, known := in.Limits.Value("sky/floor", "altitude_deg")
	above, knownToo := in.Limits.Value("sky/horizon", "above_deg")
	if target == nil || !in.Proposes || !known || !knownToo || !f.below("above_horizon_deg", above) && !f.below("altitude_min_deg", floor) {
		return ""
	}
	off, takes := unit.Angle(0), 0.0 // what the pose leaves open at the end, and when that is
	for _, j := range ways {
		off = max(off, apart(j.spread, in.off(j.end.Axes)))
		if t := j.way.Seconds(); t < dayS {
			takes = max(takes, t)
		}
	}
	altitude := func(m *sky.Moment) (az, alt unit.Angle) {
		ra, dec := ofDate(m, *target)
		v := h.horizontal(m, ra, dec)
		if in.Rig.Mount.Refracts { // else the tube ends where the target would stand without air
			v = h.seen(v)
		}
		return frame.AzAlt(v)
	}
	spare := func(m *sky.Moment) unit.Angle {
		az, alt := altitude(m)
		return min(alt-off-unit.Deg(floor), alt-off-in.Rig.SkylineNear(az, alt, off)-unit.Deg(above))
	}
	arrival := h.at(takes)
	if spare(arrival) >= 0 {
		return ""
	}
	_, alt := altitude(arrival)
	stands := fmt.Sprintf("the target stands at an altitude of %.1f°", alt.Deg())
	p, err := sky.Cross(arrival, lookAhead, spare, 0)
	if err != nil {
		return ""
	}
	for i, c := range p.Crossings {
		if !c.Rising {
			continue
		}
		from, until := h.minute(c.At, true), time.Time{}
		if i+1 < len(p.Crossings) {
			until = h.minute(p.Crossings[i+1].At.Add(-time.Duration(takes*float64(time.Second))), false)
		}
		switch {
		case until.IsZero():
			return fmt.Sprintf("%s; high enough for floor and horizon from %s", stands, from.Format(toMinute))
		case until.Sub(from) >= worthNaming:
			return fmt.Sprintf("%s; high enough for floor and horizon from %s to %s", stands, from.Format(toMinute), until.Format(toMinute))
		}
	}
	return fmt.Sprintf("%s, and within a day never high enough for floor and horizon for as long as %d minutes", stands, int(worthNaming.Minutes()))
}

// sunSets says when the Sun is down for a motion during which the sky turns by so much: as sunApart counts, not before it could not rise meanwhile.
func (h *heaven) sunSets(moved unit.Angle) string {
	altitude := func(m *sky.Moment) unit.Angle { return frame.Altitude(m.SunFrom(h.place)) }
	p, err := sky.Cross(h.moment, lookAhead, altitude, sunUp-moved-h.doubt())
	if err != nil {
		return ""
	}
	for _, c := range p.Crossings {
		if !c.Rising {
			return "the Sun is down from " + h.minute(c.At, true).Format(toMinute)
		}
	}
	return "the Sun does not set here within a day"
}

// toMinute is how such an instant is written, in UTC: as the command takes it.
const toMinute = "2006-01-02T15:04:00Z"

// minute is an instant by the clock that the question was asked by, to the whole minute after or before it.
func (h *heaven) minute(i timescale.Instant, after bool) time.Time {
	t := h.origin.Add(i.Sub(h.moment.Instant())).UTC()
	before := t.Truncate(time.Minute)
	if after && before.Before(t) {
		return before.Add(time.Minute)
	}
	return before
}
