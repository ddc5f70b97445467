package facts

import (
	"fmt"
	"time"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/timescale"
	"keepclear.example/keepclear/service/internal/unit"
)

// heaven is Earth and sky around the instant of one question, for one place: a moment worked out once and carried on from there.
type heaven struct {
	rig    *rig.Rig
	origin time.Time
	moment *sky.Moment
	place  sky.Place
	air    sky.Air
	path   *sky.SunPath // nil until it is asked for
	// late bounds, in seconds, by how much the Earth may have turned otherwise than these moments say: what is not known of UT1, and what
	// a reading of the clock near a leap second may be off by. The clock's own error is a fact of its own.
	late float64
}

// newHeaven makes the heaven of a rig at an instant; an error outside the years that the sky is good for.
func newHeaven(in *Input, at time.Time) (*heaven, error) {
	m, err := in.Moment(at)
	if err != nil {
		return nil, err
	}
	p, err := sky.NewPlace(in.Rig.Site.Lat, in.Rig.Site.Lon)
	if err != nil {
		return nil, err
	}
	late := (m.UT1().Bound(m.Instant()) + m.Instant().ReadingBound()).Seconds()
	return &heaven{rig: in.Rig, origin: at, moment: m, place: p, air: in.Rig.Air(), late: late}, nil
}

// doubt is late as an angle: by so much the whole sky may stand otherwise over the ground.
func (h *heaven) doubt() unit.Angle { return unit.Angle(h.late) * timescale.EarthTurn }

// tables puts what the tables of time leave open.
func (h *heaven) tables(f Set) {
	i, ut1 := h.moment.Instant(), h.moment.UT1()
	var about []string
	if b := i.TTBound(); b > 0 {
		about = append(about, fmt.Sprintf("the table ended on %s: the Sun may stand %.2f″ off", i.TableEnd().Format(time.DateOnly), b.Seconds()*sunPerSecond))
	}
	f.Number("leap_table_age_days", i.TableAge().Hours()/24, Computed, about...)
	from := "UT1 was not stated: UTC stands for it"
	if ut1.Stated() {
		from = "UT1 as stated"
	}
	f.Number("ut1_bound_s", ut1.Bound(i).Seconds(), Computed, from)
	if b := i.ReadingBound().Seconds(); b > 0 {
		f.Number("leap_second_bound_s", b, Computed, "a leap second is or may be near: some clocks repeat a second, others spread it over a day")
	}
}

// sunPerSecond is how far the Sun moves against the stars in a second, arcseconds: 360° a year.
const sunPerSecond = 360 * 3600 / (365.25 * 86400)

// at returns the moment some seconds after the question's.
func (h *heaven) at(seconds float64) *sky.Moment {
	return h.moment.After(time.Duration(seconds * float64(time.Second)))
}

// near returns the moment of another instant within a day of the question's.
func (h *heaven) near(t time.Time) *sky.Moment { return h.moment.After(t.Sub(h.origin)) }

// ofDate returns a sky position in the true equator and equinox of a moment.
func ofDate(m *sky.Moment, s question.Sky) (ra, dec unit.Angle) {
	if s.Frame == question.OfDate {
		return s.RA, s.Dec
	}
	return m.Apparent(frame.FromLonLat[frame.ICRS](s.RA, s.Dec)).LonLat()
}

// sidereal is the local apparent sidereal time at the rig.
func (h *heaven) sidereal(m *sky.Moment) unit.Angle { return m.SiderealTime(h.place.Longitude()) }

// horizontal returns a position of date as a true direction in the rig frame, without refraction.
func (h *heaven) horizontal(m *sky.Moment, ra, dec unit.Angle) frame.Vec[frame.Rig] {
	hour := frame.FromHour((h.sidereal(m) - ra).Wrapped(), dec)
	return frame.SiteFromHour[frame.Rig](h.place.Latitude()).Apply(hour)
}

// seen lifts a true direction by refraction to where it is seen.
func (h *heaven) seen(v frame.Vec[frame.Rig]) frame.Vec[frame.Rig] {
	az, alt := frame.AzAlt(v)
	return frame.Horizon[frame.Rig](az, h.air.Observed(alt))
}

// sun returns the Sun's true direction in the rig frame some seconds after the question.
func (h *heaven) sun(seconds float64) frame.Vec[frame.Rig] {
	if h.path == nil {
		h.path = h.moment.SunPath(h.place)
	}
	return frame.Vec[frame.Rig](h.path.After(seconds))
}

// mountSky is what a mount's own map goes by at a moment, with a sidereal time and latitude of its own.
func (h *heaven) mountSky(sidereal, lat unit.Angle) rig.MountSky {
	return rig.MountSky{Sidereal: sidereal, Lat: lat, Lift: h.air.Observed, Sink: h.air.True}
}

// ours is the same by our clock and the rig file's site.
func (h *heaven) ours(m *sky.Moment) rig.MountSky {
	return h.mountSky(h.sidereal(m), h.place.Latitude())
}
