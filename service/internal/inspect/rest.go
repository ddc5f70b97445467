package inspect

import (
	"fmt"
	"math"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// rests tells of home and of places of rest to which no motion is allowed, since with the uncertainty of a home that has just been found the tube could
// point below sky/floor there. To home once more does not help, and a rig may only tighten that limit.
func (l *look) rests() {
	l.rest("home_deg", "home", l.r.Home, "")
	for i, r := range l.r.Rests {
		_, alt := frame.AzAlt(l.r.Chain.Direction(r.Axes))
		up := (l.FloorDeg - l.lowestDeg(r.Axes, l.sigma())) + alt.Deg()
		l.rest(fmt.Sprintf("rests.%d", i+1), fmt.Sprintf("the rest %q", r.Name), r.Axes, fmt.Sprintf(", or choose one where the tube points %s° up or more", tenthsUp(up)))
	}
}

// rest tells of one of them. or is what else helps.
func (l *look) rest(key, name string, at rig.Axes, or string) {
	sigma := l.sigma()
	low := l.lowestDeg(at, sigma)
	if low >= l.FloorDeg {
		return
	}
	helps := fmt.Sprintf("an uncertainty of home that is smaller helps, of %s° or less", l.exactly(at))
	if l.r.Homing.By != rig.BySensor {
		helps = fmt.Sprintf("tell home with a smaller uncertainty if it is seen so exactly (tell %s homed --sigma %s)", l.r.ID, l.exactly(at))
	}
	if l.lowestDeg(at, rig.Axes{}) < l.FloorDeg {
		helps = "however exactly home is known, its overrun alone leads there: correct the angles"
	}
	l.tell(rig.RestHeld, key, fmt.Sprintf("no slew or park to %s is allowed: home and axes are known to %s, so that with the overrun the tube could point down to %.2f° there, and sky/floor is %g°", name, around(sigma), low, l.FloorDeg),
		helps+or+"; homing once more does not make it more exact, and the limit can only be raised")
}

// lowestDeg is the least altitude of the tube, °, where the axes rest at a pose that is known to three standard deviations, overrun included.
// It is found to a thirtieth of what is not known, as the fact altitude_min_deg is.
func (l *look) lowestDeg(at, sigma3 rig.Axes) float64 {
	spread := sigma3.Add(l.r.Motion.Overrun)
	return reach.Hold(at).Lowest(&l.r.Chain, frame.Vec[frame.Rig]{Z: 1}, spread, max(0.01*unit.Degree, min(spread.Max()/30, 0.3*unit.Degree))).Deg()
}

// exactly is the standard deviation of home, ° of either axis, with which a motion there passes: in hundredths, rounded down.
func (l *look) exactly(at rig.Axes) string {
	pass, most := 0, 18000 // hundredths
	for most-pass > 1 {
		mid := (pass + most) / 2
		s := unit.Deg(float64(mid) / 100)
		if l.lowestDeg(at, rig.Axes{A1: s, A2: s}.Scale(3)) >= l.FloorDeg {
			pass = mid
		} else {
			most = mid
		}
	}
	return fmt.Sprintf("%g", float64(pass)/100)
}

// tenthsUp writes an angle in tenths of a degree, rounded up.
func tenthsUp(deg float64) string { return fmt.Sprintf("%g", math.Ceil(deg*10)/10) }
