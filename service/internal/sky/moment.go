package sky

import (
	"time"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/timescale"
	"keepclear.example/keepclear/service/internal/unit"
)

// Moment is the sky at one instant. It is immutable; make one with At and others near it with After.
type Moment struct {
	instant  timescale.Instant
	ut1      timescale.UT1
	series   *series
	gast     unit.Angle                        // Greenwich apparent sidereal time, [0, 2π)
	date     frame.Rot[frame.Date, frame.ICRS] // bias, precession, nutation
	sun      frame.Vec[frame.ICRS]             // from the Earth to the Sun, without aberration, au
	velocity frame.Vec[frame.ICRS]             // of the Earth, in units of the speed of light
}

// series is what is dear to compute: the two sums, at one instant.
type series struct {
	at       timescale.Instant
	nutation nutation
	orbit    orbit
}

// reach is how far from a full computation After still extrapolates. The error grows with the square of the time; within a day
// it stays below 0.05″ for stars and sidereal time and 0.3″ for the Sun.
const reach = 24 * time.Hour

// At computes the sky at an instant, in about four microseconds. The instant's table and UT1 are taken as they are: their bounds
// (UT1.Bound, ReadingBound) are the caller's to add.
func At(i timescale.Instant, ut1 timescale.UT1) *Moment {
	t := i.Centuries()
	return newMoment(i, ut1, &series{i, newNutation(t), newOrbit(t)})
}

// After returns the sky d later (earlier, if negative), in SI seconds. Within a day of the last full computation it takes
// under a microsecond and costs accuracy as reach says; beyond, it is At.
func (m *Moment) After(d time.Duration) *Moment {
	i := m.instant.Add(d)
	if i.Sub(m.series.at).Abs() > reach {
		return At(i, m.ut1)
	}
	return newMoment(i, m.ut1, m.series)
}

func newMoment(i timescale.Instant, ut1 timescale.UT1, s *series) *Moment {
	days := i.Sub(s.at).Hours() / 24
	t, n, o := i.Centuries(), s.nutation.after(days/centuryDays), s.orbit.after(days)
	ecl := eclipticFromICRS(t)
	icrsFromEcl := ecl.Inverse()
	return &Moment{
		instant: i, ut1: ut1, series: s,
		gast:     siderealTime(i.UT1(ut1), t, n),
		date:     frame.Then(ecl, dateFromEcliptic(t, n)),
		sun:      icrsFromEcl.Apply(o.at).Scale(-1),
		velocity: icrsFromEcl.Apply(o.velocity).Scale(1 / lightDay),
	}
}

// Instant returns when it is.
func (m *Moment) Instant() timescale.Instant { return m.instant }

// UT1 returns what the Moment was told of UT1.
func (m *Moment) UT1() timescale.UT1 { return m.ut1 }

// Apparent returns the apparent place of a star, true equator and equinox of date, as a unit vector. The zero vector stays.
func (m *Moment) Apparent(star frame.Vec[frame.ICRS]) frame.Vec[frame.Date] {
	if star == (frame.Vec[frame.ICRS]{}) {
		return frame.Vec[frame.Date]{}
	}
	return m.date.Apply(m.seen(star.Unit()))
}

// seen bends and aberrates.
func (m *Moment) seen(star frame.Vec[frame.ICRS]) frame.Vec[frame.ICRS] {
	return aberrated(bent(star, m.sun), m.velocity)
}

// ICRS returns the star whose apparent place is given, as a unit vector; Apparent turns it back within 1e-12 outside the Sun's
// disc. The correction is a ten-thousandth, so each turn of the fixed point gains four digits.
func (m *Moment) ICRS(place frame.Vec[frame.Date]) frame.Vec[frame.ICRS] {
	want := m.date.Inverse().Apply(place.Unit())
	if want == (frame.Vec[frame.ICRS]{}) {
		return want
	}
	star := want
	for range 5 {
		star = star.Add(want.Sub(m.seen(star))).Unit()
	}
	return star
}

// Sun returns the apparent place of the Sun's centre from the Earth's centre, as a unit vector, true equator and equinox of date.
// The Sun is taken as at rest while its light travels (0.01″).
func (m *Moment) Sun() frame.Vec[frame.Date] {
	return m.date.Apply(aberrated(m.sun.Unit(), m.velocity))
}

// SunDistance returns the distance of the Sun's centre, au.
func (m *Moment) SunDistance() float64 { return m.sun.Norm() }

// SiderealTime returns apparent sidereal time at an east longitude, [0, 2π). It is the right ascension, of date, on the meridian.
func (m *Moment) SiderealTime(longitude unit.Angle) unit.Angle {
	return (m.gast + longitude).Positive()
}

// Hour returns a direction of date in the hour-angle frame of an east longitude.
func (m *Moment) Hour(v frame.Vec[frame.Date], longitude unit.Angle) frame.Vec[frame.Hour] {
	return m.hourFromDate(longitude).Apply(v)
}

// FromHour returns a direction of the hour-angle frame of an east longitude as one of date.
func (m *Moment) FromHour(v frame.Vec[frame.Hour], longitude unit.Angle) frame.Vec[frame.Date] {
	return m.hourFromDate(longitude).Inverse().Apply(v)
}

func (m *Moment) hourFromDate(longitude unit.Angle) frame.Rot[frame.Hour, frame.Date] {
	return aboutZ[frame.Hour, frame.Date](m.gast + longitude)
}
