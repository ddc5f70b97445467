// Package unit holds the two quantities that are never allowed to be bare numbers inside the service: angles and lengths.
//
// An Angle is in radians, a Length in millimetres. On the wire, in rig files and in Rego angles are degrees; they are
// converted once, at the edge (rooms wire, rig and rules), by the functions here. The mistake that the types stop is a
// degree handed to a sine, or a metre added to a millimetre.
//
// Nothing here reduces an angle by itself: 370° and 10° are different poses of an axis. Where a reduced angle is wanted,
// the caller says so with Wrapped or Positive.
package unit

import "math"

// Angle is an angle in radians. Sign, zero and range are those of what it measures.
type Angle float64

// Length is a length in millimetres.
type Length float64

// Angles that formulas use by name.
const (
	Degree    Angle = math.Pi / 180
	Arcminute Angle = Degree / 60
	Arcsecond Angle = Degree / 3600
	HalfTurn  Angle = math.Pi
	Turn      Angle = 2 * math.Pi
)

// Lengths by name.
const (
	Millimetre Length = 1
	Metre      Length = 1000
)

// Deg makes an angle from degrees. Deg(180) is exactly math.Pi rounded to float64.
func Deg(degrees float64) Angle { return Angle(degrees * (math.Pi / 180)) }

// Arcsec makes an angle from arcseconds.
func Arcsec(arcsec float64) Angle { return Angle(arcsec * (math.Pi / 180 / 3600)) }

// Arcmin makes an angle from minutes of arc.
func Arcmin(arcmin float64) Angle { return Angle(arcmin * (math.Pi / 180 / 60)) }

// Deg returns the angle in degrees.
func (a Angle) Deg() float64 { return float64(a) * (180 / math.Pi) }

// Arcsec returns the angle in arcseconds.
func (a Angle) Arcsec() float64 { return float64(a) * (180 / math.Pi * 3600) }

// Arcmin returns the angle in minutes of arc.
func (a Angle) Arcmin() float64 { return float64(a) * (180 / math.Pi * 60) }

// Abs returns the size of the angle without its sign.
func (a Angle) Abs() Angle { return Angle(math.Abs(float64(a))) }

// Sin returns the sine.
func (a Angle) Sin() float64 { return math.Sin(float64(a)) }

// Cos returns the cosine.
func (a Angle) Cos() float64 { return math.Cos(float64(a)) }

// Finite tells whether the angle is neither NaN nor infinite.
func (a Angle) Finite() bool { return !math.IsNaN(float64(a)) && !math.IsInf(float64(a), 0) }

// Wrapped returns the same direction in [-180°, 180°).
func (a Angle) Wrapped() Angle {
	w := math.Mod(float64(a), 2*math.Pi)
	switch {
	case w < -math.Pi:
		w += 2 * math.Pi
	case w >= math.Pi:
		w -= 2 * math.Pi
	}
	return Angle(w)
}

// Positive returns the same direction in [0°, 360°).
func (a Angle) Positive() Angle {
	w := math.Mod(float64(a), 2*math.Pi)
	if w < 0 {
		w += 2 * math.Pi
	}
	if w >= 2*math.Pi { // a tiny negative angle rounds up to a whole turn
		w = 0
	}
	return Angle(w)
}

// Near returns the angle that differs from a by whole turns and lies nearest to b, in [b-180°, b+180°).
func (a Angle) Near(b Angle) Angle { return b + (a - b).Wrapped() }
