package inspect

import (
	"fmt"
	"math"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// rests tells of home and of places of rest to which no motion is allowed, by how exactly a home that has just been found is known: with three of its
// standard deviations and the overrun the tube could point below sky/floor there, or an axis turn beyond its travel. To home once more does not help.
func (l *look) rests() {
	l.low("home_deg", "home", l.r.Home, "")
	l.atEnds("home_deg", "home", l.r.Home)
	for i, r := range l.r.Rests {
		key, name := fmt.Sprintf("rests.%d", i+1), fmt.Sprintf("the rest %q", r.Name)
		_, alt := frame.AzAlt(l.r.Chain.Direction(r.Axes))
		up := l.FloorDeg - l.lowestDeg(r.Axes, l.sigma()) + alt.Deg()
		l.low(key, name, r.Axes, fmt.Sprintf(", or choose one where the tube points %g° up or more", math.Ceil(up*10)/10))
		l.atEnds(key, name, r.Axes)
	}
}

// blunt tells of a pose that is never known well enough for pose/sharp, however often the rig is homed: by the best source, or by home.
func (l *look) blunt() {
	if l.SharpDeg <= 0 {
		return
	}
	tell := func(key string, sigma rig.Axes, from string) {
		if most := sigma.Max().Deg(); most > l.SharpDeg {
			l.tell(rig.RestHeld, key, fmt.Sprintf("no slew, track, flip or park is ever allowed: by %s an axis is known to %s° (one standard deviation), and pose/sharp is %g°", from, degrees(sigma.Max()), l.SharpDeg),
				fmt.Sprintf("look at the unit: sigma_deg is in degrees (arcminutes would be %.2g, arcseconds %.1g); or find it more exactly", most/60, most/3600))
		}
	}
	if s := l.r.Sources; len(s) > 0 {
		tell("pose_sources.1", s[0].Sigma, string(s[0].Kind)+" itself")
	}
	if l.r.Homing.By == rig.BySensor { // who looks states how sure
		tell("homing.sigma_deg", l.r.Homing.Sigma, "home")
	}
}

// low tells of one of them that is too near the floor. or is what else helps. The limit itself a rig can only tighten.
func (l *look) low(key, name string, at rig.Axes, or string) {
	low := l.lowestDeg(at, l.sigma())
	if low >= l.FloorDeg {
		return
	}
	helps := "however exactly home is known, that is too low, its overrun counted: correct the angles"
	if l.lowestDeg(at, rig.Axes{}) >= l.FloorDeg {
		helps = l.exactly(func(sigma unit.Angle) bool {
			return l.lowestDeg(at, rig.Axes{A1: sigma, A2: sigma}.Scale(3)) >= l.FloorDeg
		})
	}
	l.held(key, name, fmt.Sprintf("the tube could point down to %.2f° there, and sky/floor is %g°", low, l.FloorDeg), helps+or+"; homing once more does not make it more exact, and the limit can only be raised")
}

// atEnds tells of one of them that is too near the ends of an axis's travel, where the overrun alone still fits: where it does not, the file alone shows it.
func (l *look) atEnds(key, name string, at rig.Axes) {
	t, over, sigma3 := l.r.Travel, l.r.Motion.Overrun, l.sigma()
	for i, x := range []struct{ low, at, high, over, sigma3 unit.Angle }{
		{t.Low.A1, at.A1, t.High.A1, over.A1, sigma3.A1}, {t.Low.A2, at.A2, t.High.A2, over.A2, sigma3.A2},
	} {
		const slack = 1e-9 // rad: rounding of degrees, as in rig.Travel.Holds
		least, to, end := x.at-x.low, x.at-x.over-x.sigma3, x.low
		if x.high-x.at < least {
			least, to, end = x.high-x.at, x.at+x.over+x.sigma3, x.high
		}
		left := least - x.over + slack
		if left < 0 || left >= x.sigma3 {
			continue
		}
		l.held(key, name, fmt.Sprintf("axis %d could turn to %s°, and its travel ends at %s°", i+1, degrees(to), degrees(end)),
			l.exactly(func(sigma unit.Angle) bool { return sigma*3 <= left })+", or widen travel_from_home if the axis can turn so far; homing once more does not make it more exact")
	}
}

func (l *look) held(key, name, could, remedy string) {
	l.tell(rig.RestHeld, key, fmt.Sprintf("no slew or park to %s is allowed: home and axes are known to %s, so that with the overrun %s", name, around(l.sigma()), could), remedy)
}

// lowestDeg is the least altitude of the tube, °, where the axes rest at a pose that is known to three standard deviations, overrun included.
// It is found to a thirtieth of what is not known, as the fact altitude_min_deg is.
func (l *look) lowestDeg(at, sigma3 rig.Axes) float64 {
	spread := sigma3.Add(l.r.Motion.Overrun)
	return reach.Hold(at).Lowest(&l.r.Chain, frame.Vec[frame.Rig]{Z: 1}, spread, max(0.01*unit.Degree, min(spread.Max()/30, 0.3*unit.Degree))).Deg()
}

// exactly says with which standard deviation of home, ° of either axis, a motion there passes: in hundredths, rounded down.
func (l *look) exactly(passes func(sigma unit.Angle) bool) string {
	pass, most := 0, 18000 // hundredths
	for most-pass > 1 {
		mid := (pass + most) / 2
		if passes(unit.Deg(float64(mid) / 100)) {
			pass = mid
		} else {
			most = mid
		}
	}
	switch sigma := float64(pass) / 100; {
	case pass == 0:
		return "no home is known so exactly: choose another pose"
	case l.r.Homing.By == rig.BySensor:
		return fmt.Sprintf("an uncertainty of home that is smaller helps, of %g° or less", sigma)
	default:
		return fmt.Sprintf("tell home with a smaller uncertainty if it is seen so exactly (tell %s homed --sigma %g)", l.r.ID, sigma)
	}
}
