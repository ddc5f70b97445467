package rig

import "fmt"

// span is a range of numbers, ends included unless open, with what they measure.
type span struct {
	what      string // "a length", "an angle"
	low, high float64
	unit      string
	open      bool   // low itself is out
	help      string // what to do about a number outside; empty: measure again
	turn      bool   // it counts all round: a number outside may be a whole turn off
	size             // of lengths: see usual.go
}

func from(what string, low, high float64, unit string) span {
	return span{what: what, low: low, high: high, unit: unit}
}

func above(what string, low, high float64, unit string) span {
	return span{what: what, low: low, high: high, unit: unit, open: true}
}

// String says what is wanted.
func (s span) String() string {
	from, low, or := "from", s.low, ""
	switch {
	case s.least > 0:
		if low = s.least; !s.open {
			or = ", or 0"
		}
	case s.open:
		from = "above"
	}
	return fmt.Sprintf("%s %s %s to %s%s%s", s.what, from, short(low), short(s.high), s.unit, or)
}

// times says what is wanted of a list of so many.
func (s span) times(count int) func() string {
	return func() string { return fmt.Sprintf("a list of %d, each %s", count, s) }
}

func (s span) holds(v float64) bool {
	small := v != 0 && max(v, -v) < s.least
	return v >= s.low && v <= s.high && (v > s.low || !s.open) && !small
}

// slowest is the slowest rate of slewing, °/s: a little over the sky's own pace (15.04″/s), at which half a turn takes ten hours. A
// slower one is a slip of the pen, or the pace of tracking. Common practice, no source: the slowest motors for tracking alone move at 2 to 16 times the
// sky's pace under their buttons, 0.008 to 0.07°/s. The fastest is the wire's own range.
const slowest = 0.005

// or is the same range with what to do about a number outside.
func (s span) or(help string) span {
	s.help = help
	return s
}

// allRound is the same range of what counts all round.
func (s span) allRound() span {
	s.turn = true
	return s
}

// The ranges of what rig files hold. Choice, common practice, no source: wide enough for every amateur and small professional
// mount, narrow enough to notice metres or inches typed for millimetres and hours typed for degrees.
var (
	aLength    = above("a length", 0, 20000, " mm") // 20 m: nothing on or around a rig is longer
	aReach     = from("a length", 0, 20000, " mm")
	aPlace     = from("a place", -20000, 20000, " mm")
	aMargin    = from("a length", 0, 1000, " mm")
	aLatitude  = from("a latitude, north positive,", -90, 90, "°")
	aLongitude = from("a longitude, east positive,", -180, 180, "°").allRound()
	aHeight    = from("a height", -500, 9000, " m")
	aPressure  = from("a pressure", 300, 1100, " hPa")
	aWarmth    = from("a temperature", -60, 50, " °C")
	aTilt      = from("an angle", -20, 20, "°")
	anAzimuth  = from("an azimuth, north through east,", 0, 360, "°")
	anAltitude = from("an altitude", -90, 90, "°")
	aPose      = from("an axis angle", -1080, 1080, "°") // three turns: more than any cable wraps
	aRate      = from("a rate", slowest, 20, "°/s").or("write degrees a second: the degrees of a slew over the seconds that it takes (16 times the sky's pace is 0.067)")
	anAccel    = from("an acceleration", 0.001, 100, "°/s²").or("write degrees a second, gained each second: the rate over the seconds in which it is reached")
	anOverrun  = from("an angle", 0, 90, "°")
	aSigma     = above("an uncertainty", 0, 180, "°")
	aDelay     = from("an hour angle, west positive,", -90, 90, "°")
	aSilence   = above("a time", 0, 86400, " s")
	aTurn      = from("an angle", -360, 360, "°")
	aBoresight = from("an angle", -30, 30, "°")
	aPixel     = above("a scale", 0, 3600, "″ a pixel")
	aPixelSize = above("a size", 0, 100, " µm")
	aField     = above("an angle", 0, 90, "°")
	aSetLimit  = from("a limit", -1e9, 1e9, "")
)
