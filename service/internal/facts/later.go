package facts

import (
	"fmt"
	"time"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/unit"
)

// lookAhead is how far a target that stands too low is looked for: a day and a bit, in which every star stands as high as it ever does.
const lookAhead = 24*time.Hour + 10*time.Minute

// worthNaming is how long a target has to stand high enough to be worth naming: less is within what its minutes are rounded by.
const worthNaming = 2 * time.Minute

// higher says of a slew's target that stands lower than floor and local horizon allow when it next stands high enough, and how long; of one that never
// does, that. Empty where it stands high enough now, and of everything else. Altitudes are of the target itself: what the pose leaves open, and
// whether the way there is clear then, is asked then.
func (in *Input) higher(h *heaven) string {
	target := in.action().Sky
	floor, known := in.Limits.Value("sky/floor", "altitude_deg")
	above, knownToo := in.Limits.Value("sky/horizon", "above_deg")
	if target == nil || !in.Proposes || !known || !knownToo {
		return ""
	}
	altitude := func(m *sky.Moment) (az, alt unit.Angle) {
		ra, dec := ofDate(m, *target)
		return frame.AzAlt(h.seen(h.horizontal(m, ra, dec)))
	}
	spare := func(m *sky.Moment) unit.Angle {
		az, alt := altitude(m)
		return min(alt-unit.Deg(floor), alt-in.Rig.SkylineAt(az)-unit.Deg(above))
	}
	if spare(h.moment) >= 0 {
		return ""
	}
	_, alt := altitude(h.moment)
	stands := fmt.Sprintf("the target stands at an altitude of %.1f° now", alt.Deg())
	p, err := sky.Cross(h.moment, lookAhead, spare, 0)
	if err != nil {
		return ""
	}
	for i, c := range p.Crossings {
		if !c.Rising {
			continue
		}
		from, until := h.minute(c, true), time.Time{}
		if i+1 < len(p.Crossings) {
			until = h.minute(p.Crossings[i+1], false)
		}
		switch {
		case until.IsZero():
			return fmt.Sprintf("%s; high enough for floor and horizon from %s", stands, from.Format(toMinute))
		case until.Sub(from) >= worthNaming:
			return fmt.Sprintf("%s; high enough for floor and horizon from %s to %s", stands, from.Format(toMinute), until.Format(toMinute))
		}
	}
	return stands + ", and never high enough for floor and horizon: not from this site"
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
			return "the Sun is down from " + h.minute(c, true).Format(toMinute)
		}
	}
	return "the Sun does not set here within a day"
}

// toMinute is how such an instant is written, in UTC.
const toMinute = "2006-01-02T15:04Z"

// minute is a crossing's instant by the clock that the question was asked by, to the whole minute after or before it.
func (h *heaven) minute(c sky.Crossing, after bool) time.Time {
	t := h.origin.Add(c.At.Sub(h.moment.Instant())).UTC()
	before := t.Truncate(time.Minute)
	if after && before.Before(t) {
		return before.Add(time.Minute)
	}
	return before
}
