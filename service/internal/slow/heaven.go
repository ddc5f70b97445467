package slow

import (
	"math"
	"time"
)

// siderealRate is the sky's, radians a second (IERS Conventions 2010, eq. 5.15).
const siderealRate = 2 * math.Pi * 1.00273781191135448 / 86400

// centuries is the time since J2000.0.
func centuries(t time.Time) float64 {
	return t.Sub(time.Date(2000, 1, 1, 12, 0, 0, 0, time.UTC)).Seconds() / 86400 / 36525
}

// Sidereal is the mean sidereal time at a longitude (Meeus, Astronomical Algorithms, 2nd ed. 1998, eq. 12.4): without the equation of the
// equinoxes, below 1.2 s, and UT1 - UTC, below 0.9 s: 32″ at most.
func Sidereal(t time.Time, lon float64) float64 {
	c := centuries(t)
	return math.Mod((280.46061837+360.98564736629*36525*c+0.000387933*c*c)*degree+lon, 2*math.Pi)
}

// sun is the Sun's right ascension and declination of date (Meeus, chapter 25, low accuracy: 0.01°).
func sun(t time.Time) (ra, dec float64) {
	c := centuries(t)
	l, m := 280.46646+36000.76983*c, (357.52911+35999.05029*c)*degree
	centre := 1.914602*math.Sin(m) + 0.019993*math.Sin(2*m) + 0.000289*math.Sin(3*m)
	lon, tilt := (l+centre-0.00569)*degree, (23.439291-0.0130042*c)*degree
	return math.Atan2(math.Cos(tilt)*math.Sin(lon), math.Cos(lon)), math.Asin(math.Sin(tilt) * math.Sin(lon))
}

// Sky is a direction on the sky.
type Sky struct {
	RA, Dec float64
	ICRS    bool // else of date
}

// OfDate precesses an ICRS place to the mean equator of date (Lieske 1977, by Meeus eq. 21.3 and 21.4): without nutation and aberration,
// 40″ at most.
func OfDate(s Sky, t time.Time) (ra, dec float64) {
	if !s.ICRS {
		return s.RA, s.Dec
	}
	c, second := centuries(t), degree/3600
	zeta, z, theta := (2306.2181*c+0.30188*c*c)*second, (2306.2181*c+1.09468*c*c)*second, (2004.3109*c-0.42665*c*c)*second
	a := math.Cos(s.Dec) * math.Sin(s.RA+zeta)
	b := math.Cos(theta)*math.Cos(s.Dec)*math.Cos(s.RA+zeta) - math.Sin(theta)*math.Sin(s.Dec)
	d := math.Sin(theta)*math.Cos(s.Dec)*math.Cos(s.RA+zeta) + math.Cos(theta)*math.Sin(s.Dec)
	return math.Atan2(a, b) + z, math.Asin(max(-1, min(1, d)))
}

// overGround is the direction of an hour angle and declination at a latitude, and back.
func overGround(hour, dec, lat float64) V {
	sl, cl := math.Sincos(lat)
	sd, cd := math.Sincos(dec)
	sh, ch := math.Sincos(hour)
	return V{-cd * sh, sd*cl - cd*ch*sl, sd*sl + cd*ch*cl}
}

func fromGround(v V, lat float64) (hour, dec float64) {
	sl, cl := math.Sincos(lat)
	along := v[2]*cl - v[1]*sl // toward the meridian's point of the equator
	return math.Atan2(-v[0], along), math.Asin(max(-1, min(1, v[1]*cl+v[2]*sl)))
}

// lift is how much the air raises a true altitude (Saemundsson, Sky & Telescope 72 (1986) 70, by Meeus eq. 16.4): good to 0.1′ over 5°, and
// to some arcminutes below.
func (r *Rig) lift(alt float64) float64 {
	h := max(alt/degree, -2.0)
	by := 1.02 / math.Tan((h+10.3/(h+5.11))*degree) * r.Pressure / 1010 * 283 / (273 + r.Warmth)
	return alt + max(by, 0)/60*degree
}

func (r *Rig) sink(alt float64) float64 {
	truly := alt
	for range 6 {
		truly = alt - (r.lift(truly) - truly)
	}
	return truly
}

// mountSky is what a mount's own map goes by at an instant.
type mountSky struct{ lst, lat float64 }

// after is the same some seconds later.
func (m mountSky) after(s float64) mountSky { return mountSky{m.lst + s*siderealRate, m.lat} }

// toAxes is the mount's own map from the sky to its axes, of a mount as its maker meant it.
func (r *Rig) toAxes(m mountSky, ra, dec float64, side string) Axes {
	lon, height := wrap(m.lst-ra), dec
	if r.Refracts || !r.equatorial() {
		az, alt := overGround(lon, dec, m.lat).azAlt()
		if r.Refracts {
			alt = r.lift(alt)
		}
		lon, height = az, alt
		if r.equatorial() {
			lon, height = fromGround(horizontal(az, alt), m.lat)
		}
	}
	return r.ideal(lon, height, side)
}

// ToSky is its inverse.
func (r *Rig) ToSky(lst, lat float64, a Axes) (ra, dec float64, side string) {
	lon, height, side := r.unideal(a)
	if r.Refracts || !r.equatorial() {
		v := horizontal(lon, height)
		if r.equatorial() {
			v = overGround(lon, height, lat)
		}
		az, alt := v.azAlt()
		if r.Refracts {
			alt = r.sink(alt)
		}
		lon, height = fromGround(horizontal(az, alt), lat)
	}
	return math.Mod(lst-lon+4*math.Pi, 2*math.Pi), height, side
}

// unsure is how many seconds the Earth may have turned otherwise than anybody can know who is told UTC alone: a proof may count it, a play does
// not. UTC is kept within 0.9 s; from 2035 on it may be let go (CGPM 2022, resolution 4), and no day was longer by more than 5 ms (IERS C04);
// near a leap second a clock may be a second off.
func unsure(at time.Time) float64 {
	return 1.9 + 0.005*max(0, at.Sub(time.Date(2035, 1, 1, 0, 0, 0, 0, time.UTC)).Hours()/24)
}

// sunAt is the Sun's direction over the ground; true where its upper limb is up, or by no more than some angle below.
func (r *Rig) sunAt(at time.Time, seconds, below float64) (V, bool) {
	t := at.Add(time.Duration(seconds * float64(time.Second)))
	ra, dec := sun(t)
	v := overGround(Sidereal(t, r.Lon)-ra, dec, r.Lat)
	_, alt := v.azAlt()
	return v, alt > -0.83*degree-below
}
