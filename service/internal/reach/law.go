package reach

import (
	"math"

	"keepclear.example/keepclear/service/internal/unit"
)

// law is motion from rest to rest over a distance by a trapezoid of speed: speed up evenly, hold, slow down evenly. Where the
// distance is too short to reach the rate the trapezoid is a triangle. An infinite acceleration makes it a motion at constant speed.
//
// Source: Lynch & Park, Modern Robotics (2017), section 9.2.2.2.
type law struct {
	whole float64 // distance, ≥ 0, in the unit of the caller
	rate  float64 // speed reached, > 0
	ramp  float64 // seconds of speeding up, and of slowing down
	end   float64 // seconds in all
}

// newLaw makes a law; a rate or an acceleration that is not positive makes one that never ends.
func newLaw(whole, rate, accel float64) law {
	switch {
	case whole == 0:
		return law{}
	case !(rate > 0 && accel > 0) || math.IsInf(rate, 1):
		return law{whole: whole, rate: 0, end: math.Inf(1)}
	case math.IsInf(accel, 1):
		return law{whole: whole, rate: rate, end: whole / rate}
	case whole*accel < rate*rate:
		ramp := math.Sqrt(whole / accel)
		return law{whole: whole, rate: accel * ramp, ramp: ramp, end: 2 * ramp}
	}
	return law{whole: whole, rate: rate, ramp: rate / accel, end: whole/rate + rate/accel}
}

// done returns the distance behind at a time, in [0, whole].
func (l *law) done(t float64) float64 {
	switch {
	case !(t > 0):
		return 0
	case t >= l.end:
		return l.whole
	case t < l.ramp:
		return min(l.rate/l.ramp*t*t/2, l.whole)
	case t > l.end-l.ramp:
		left := l.end - t
		return max(l.whole-l.rate/l.ramp*left*left/2, 0)
	}
	return min(l.rate*(t-l.ramp/2), l.whole)
}

// bends bounds how far the motion is from even speed over some seconds: the most that it speeds up, times t²/8.
func (l *law) bends(seconds float64) unit.Angle {
	switch {
	case l.whole == 0:
		return 0
	case l.ramp == 0:
		return unit.Angle(math.Inf(1))
	}
	return unit.Angle(l.rate / l.ramp * seconds * seconds / 8)
}

// when returns the time at which a distance is behind, in [0, end]: the inverse of done. Its error, as a distance, is a few
// units in the last place of whole.
func (l *law) when(done float64) float64 {
	slow := l.rate * l.ramp / 2 // distance of one ramp
	switch {
	case !(done > 0):
		return 0
	case done >= l.whole:
		return l.end
	case math.IsInf(l.end, 1):
		return 0
	case done < slow:
		return math.Sqrt(2 * done * l.ramp / l.rate)
	case l.whole-done < slow:
		return l.end - math.Sqrt(2*(l.whole-done)*l.ramp/l.rate)
	}
	return min(done/l.rate+l.ramp/2, l.end)
}
