package sky

import (
	"math"
	"time"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/unit"
)

// SunPath is where the Sun stands over one place for the day that follows a moment, without working out a moment for each instant.
type SunPath struct {
	from   *Moment
	place  Place
	sun    [3]frame.Vec[frame.Date] // half a day apart, each as long as its distance, au
	gast   unit.Angle               // at the moment
	turns  unit.Angle               // a second, of sidereal time
	toSite frame.Rot[frame.Site, frame.Hour]
}

// pathStep is the time between the places that a SunPath goes through, s.
const pathStep = 43200

// SunPath returns the path of the Sun over a place from a moment on.
func (m *Moment) SunPath(p Place) *SunPath {
	s := &SunPath{from: m, place: p, gast: m.gast, toSite: frame.SiteFromHour[frame.Site](p.latitude)}
	for i := range s.sun {
		at := m
		if i > 0 {
			at = m.After(time.Duration(i) * pathStep * time.Second)
		}
		s.sun[i] = at.Sun().Scale(at.SunDistance())
		if i == 2 {
			s.turns = (unit.Turn + (at.gast - m.gast).Wrapped()) / (2 * pathStep)
		}
	}
	return s
}

// After returns the direction of the Sun's centre over the ground, without air, some seconds after the moment: SunFrom to 0.1″ in
// [0, 24 h], to which the 0.3″ of Moment.After adds. Elsewhere it is that of Moment.After itself.
//
// Derived: the parabola through three places half a day apart misses a curve by its third derivative times h³/(9√3). That of the Sun's
// direction is (0.0172 rad/day)³, so 4e-8 rad; that of its nutation (17.2″ in 6798 days, 0.2″ in 13.7) less than 0.01″. Sidereal time
// runs evenly but for the latter's 0.2″ in 13.7 days: 0.01″ off the line over one.
func (s *SunPath) After(seconds float64) frame.Vec[frame.Site] {
	x := seconds / pathStep
	if !(x >= 0 && x <= 2) {
		return s.from.After(time.Duration(seconds * float64(time.Second))).SunFrom(s.place)
	}
	a, b, c := (x-1)*(x-2)/2, x*(2-x), x*(x-1)/2
	v := s.sun[0].Scale(a).Add(s.sun[1].Scale(b)).Add(s.sun[2].Scale(c))
	far := v.Norm()
	sin, cos := math.Sincos(float64(s.gast + s.place.longitude + s.turns*unit.Angle(seconds)))
	hour := frame.Vec[frame.Hour]{X: cos*v.X + sin*v.Y, Y: cos*v.Y - sin*v.X, Z: v.Z}
	site := aberrated(s.toSite.Apply(hour).Scale(1/far), s.place.velocity())
	return site.Sub(frame.Vec[frame.Site]{Z: parallax / far}).Unit()
}
