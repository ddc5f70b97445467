package sky

import (
	"errors"
	"fmt"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/unit"
)

// ErrPlace says that a latitude or longitude is none.
var ErrPlace = errors.New("no place on the Earth")

// Place is a place on the Earth. The zero Place is on the equator at Greenwich; NewPlace makes all others.
//
// Invariant: latitude in [-90°, 90°], longitude in [-360°, 360°].
type Place struct{ latitude, longitude unit.Angle }

// NewPlace checks a latitude, north positive, and a longitude, east positive.
func NewPlace(latitude, longitude unit.Angle) (Place, error) {
	if !(latitude.Abs() <= unit.HalfTurn/2) || !(longitude.Abs() <= unit.Turn) { // a NaN fails too
		return Place{}, fmt.Errorf("latitude %v°, longitude %v°: %w: want within ±90° and ±360°", latitude.Deg(), longitude.Deg(), ErrPlace)
	}
	return Place{latitude, longitude}, nil
}

// Latitude returns the latitude, north positive.
func (p Place) Latitude() unit.Angle { return p.latitude }

// Longitude returns the longitude, east positive, as it was given.
func (p Place) Longitude() unit.Angle { return p.longitude }

// diurnal is the speed of a place on the equator in units of that of light: 465.1 m/s, 0.32″.
// Source: IERS Conventions 2010, table 1.1: 6378136.6 m × 7.292115e-5 rad/s. Latitude stands for the geocentric one (0.001″).
const diurnal = 6378136.6 * 7.292115e-5 / 299792458

// Horizon returns the direction over the ground, without air, of an apparent place, as a unit vector. Diurnal aberration
// is in; parallax is not (see SunFrom). The zero vector stays.
func (m *Moment) Horizon(v frame.Vec[frame.Date], p Place) frame.Vec[frame.Site] {
	site := frame.SiteFromHour[frame.Site](p.latitude).Apply(m.Hour(v.Unit(), p.longitude))
	if site == (frame.Vec[frame.Site]{}) {
		return site
	}
	return aberrated(site, p.velocity())
}

// FromHorizon returns the apparent place of a direction over the ground, without air: the inverse of Horizon.
func (m *Moment) FromHorizon(v frame.Vec[frame.Site], p Place) frame.Vec[frame.Date] {
	if v != (frame.Vec[frame.Site]{}) {
		v = aberrated(v.Unit(), p.velocity().Scale(-1)) // the inverse boost
	}
	return m.FromHour(frame.SiteFromHour[frame.Site](p.latitude).Inverse().Apply(v), p.longitude)
}

// velocity is that of the place with the turning Earth: eastward.
func (p Place) velocity() frame.Vec[frame.Site] {
	return frame.Vec[frame.Site]{X: diurnal * p.latitude.Cos()}
}

// parallax is the Earth's radius in au; that the Earth is taken as round costs 0.03″. Source: IERS Conventions 2010, table 1.1.
const parallax = 6378136.6 / 149597870700.0

// SunFrom returns the direction of the Sun's centre over the ground, without air: Horizon less the parallax, 8.8″ at the horizon.
func (m *Moment) SunFrom(p Place) frame.Vec[frame.Site] {
	sun := m.Horizon(m.Sun(), p)
	return sun.Sub(frame.Vec[frame.Site]{Z: parallax / m.SunDistance()}).Unit()
}
