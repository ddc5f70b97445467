package rig

import "fmt"

// span is a range of numbers, ends included unless open, with what they measure.
type span struct {
	what      string // "a length", "an angle"
	low, high float64
	unit      string
	open      bool // low itself is out
}

// String says what is wanted.
func (s span) String() string {
	from := "from"
	if s.open {
		from = "above"
	}
	return fmt.Sprintf("%s %s %s to %s%s", s.what, from, short(s.low), short(s.high), s.unit)
}

func (s span) holds(v float64) bool {
	return v >= s.low && v <= s.high && (v > s.low || !s.open)
}

// The ranges of what rig files hold. Choice, common practice, no source: wide enough for every amateur and small professional
// mount, narrow enough to notice metres or inches typed for millimetres and hours typed for degrees.
var (
	aLength    = span{"a length", 0, 20000, " mm", true} // 20 m: nothing on or around a rig is longer
	aReach     = span{"a length", 0, 20000, " mm", false}
	aPlace     = span{"a place", -20000, 20000, " mm", false}
	aMargin    = span{"a length", 0, 1000, " mm", false}
	aLatitude  = span{"a latitude, north positive,", -90, 90, "°", false}
	aLongitude = span{"a longitude, east positive,", -180, 180, "°", false}
	aHeight    = span{"a height", -500, 9000, " m", false}
	aPressure  = span{"a pressure", 300, 1100, " hPa", false}
	aWarmth    = span{"a temperature", -60, 50, " °C", false}
	aTilt      = span{"an angle", -20, 20, "°", false}
	anAzimuth  = span{"an azimuth, north through east,", 0, 360, "°", false}
	anAltitude = span{"an altitude", -90, 90, "°", false}
	aPose      = span{"an axis angle", -1080, 1080, "°", false} // three turns: more than any cable wraps
	aRate      = span{"a rate", 0, 20, "°/s", true}             // the wire's own range for rates
	anAccel    = span{"an acceleration", 0, 100, "°/s²", true}
	anOverrun  = span{"an angle", 0, 90, "°", false}
	aSigma     = span{"an uncertainty", 0, 180, "°", true}
	aDelay     = span{"an hour angle, west positive,", -90, 90, "°", false}
	aSilence   = span{"a time", 0, 86400, " s", true}
	aTurn      = span{"an angle", -360, 360, "°", false}
	aBoresight = span{"an angle", -30, 30, "°", false}
	aPixel     = span{"a scale", 0, 3600, "″ a pixel", true}
	aPixelSize = span{"a size", 0, 100, " µm", true}
	aField     = span{"an angle", 0, 90, "°", true}
	aSetLimit  = span{"a limit", -1e9, 1e9, "", false}
)
