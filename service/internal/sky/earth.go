package sky

import (
	"math"

	"keepclear.example/keepclear/service/internal/frame"
)

const (
	centuryDays = 36525.0
	// lightDay is the speed of light in au per day. Source: IAU 2012 resolution B2 (au = 149,597,870,700 m), c = 299,792,458 m/s.
	lightDay = 299792458.0 * 86400 / 149597870700.0
	// sunGM is the Sun's attraction in au³/d², Gauss' constant squared. Source: IAU 1976 system of constants.
	sunGM = 0.01720209895 * 0.01720209895
)

// orbit is where the Earth is, seen from the Sun, in au, and its velocity in au per day.
type orbit struct{ at, velocity frame.Vec[ecliptic] }

// newOrbit sums the series at t centuries of TT since J2000.0. TT stands for TDB (2 ms, 60 m).
// The axes are taken as at rest: their precession adds 0.8 mas to aberration.
func newOrbit(t float64) orbit {
	tau := t / 10 // millennia
	l, lRate := power(tau, lon0, lon1, lon2)
	b, bRate := power(tau, lat0)
	r, rRate := power(tau, rad0, rad1, rad2)
	sl, cl := math.Sincos(l)
	sb, cb := math.Sincos(b)
	const perDay = 1 / (10 * centuryDays)
	return orbit{
		at: frame.Vec[ecliptic]{X: r * cb * cl, Y: r * cb * sl, Z: r * sb},
		velocity: frame.Vec[ecliptic]{
			X: rRate*cb*cl - r*(sb*cl*bRate+cb*sl*lRate),
			Y: rRate*cb*sl - r*(sb*sl*bRate-cb*cl*lRate),
			Z: rRate*sb + r*cb*bRate,
		}.Scale(perDay),
	}
}

// power sums one series and its rate per millennium.
func power(tau float64, powers ...[]wave) (sum, rate float64) {
	factor, factorRate := 1.0, 0.0
	for n, waves := range powers {
		var s, c float64
		for _, w := range waves {
			sin, cos := math.Sincos(w.phase + w.rate*tau)
			s += w.amp * cos
			c -= w.amp * w.rate * sin
		}
		sum += factor * s
		rate += factor*c + factorRate*s
		factor, factorRate = factor*tau, float64(n+1)*factor
	}
	return sum * 1e-8, rate * 1e-8
}

// after returns the orbit d days later, the Sun's attraction alone acting, to the third power of d. The Moon's pull, left
// out, is 0.6 % of the Sun's: 0.2″ of the Sun's place after a day.
// Derived here: r” = -GM r/R³, r”' = -GM (v/R³ - 3 r (r·v)/R⁵).
func (o orbit) after(d float64) orbit {
	r2 := o.at.Dot(o.at)
	k := sunGM / (r2 * math.Sqrt(r2))
	pull := o.at.Scale(-k)
	jerk := o.velocity.Sub(o.at.Scale(3 * o.at.Dot(o.velocity) / r2)).Scale(-k)
	return orbit{
		at:       o.at.Add(o.velocity.Scale(d)).Add(pull.Scale(d * d / 2)).Add(jerk.Scale(d * d * d / 6)),
		velocity: o.velocity.Add(pull.Scale(d)).Add(jerk.Scale(d * d / 2)),
	}
}
