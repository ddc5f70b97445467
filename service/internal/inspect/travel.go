package inspect

import (
	"fmt"
	"math"
	"strings"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// travel looks whether all of the travel is clear, with what uncertainty and overrun add; false where it was stopped.
func (l *look) travel() bool {
	r := l.r
	p := reach.New(r.Scene(nil, l.PartMM, l.GeneralMM))
	spread := r.Homing.Sigma.Scale(3).Add(r.Motion.Overrun)
	if clear, _ := p.Passes(reach.Rectangle(r.Travel.Low, r.Travel.High, rig.Motion{}), spread, l.Budget/50); clear {
		return true
	}
	s := p.Survey(p.NewMap(), reach.SurveyOf{About: r.Home, Spread: spread, Travel: r.Travel, Band: unit.Turn, Budget: l.Budget, NoRegions: true}, func(int, int) bool { return l.going() })
	switch {
	case s == nil:
		return false
	case s.Raster.Spent:
		l.tell(rig.NotKnown, "travel_from_home", "how much of the travel is clear is not known: the work ran out", "fewer or simpler parts take less; room FILE works longer")
	case !s.Clear && l.cramped():
		return l.going()
	case !s.Clear:
		l.tell(rig.WideTravel, "home_deg", fmt.Sprintf("home is not clear with the %s that uncertainty and overrun add%s", around(spread), beside(s.Here.Nearest)),
			"most motions from there will be held or denied: find home more exactly, or measure again")
	default:
		for axis := range 2 {
			l.wide(s, axis)
		}
	}
	return true
}

// wide tells of an axis whose travel is wider than what is clear.
func (l *look) wide(s *reach.Survey, axis int) {
	low, high, home := l.r.Travel.Low.A1, l.r.Travel.High.A1, l.r.Home.A1
	if axis == 1 {
		low, high, home = l.r.Travel.Low.A2, l.r.Travel.High.A2, l.r.Home.A2
	}
	e := s.Widest[axis]
	if e.Free || e.Low <= low && e.High >= high {
		return
	}
	inLow, inHigh := inward(max(e.Low, low)-home, 1), inward(min(e.High, high)-home, -1)
	var ends []string
	told := [2]unit.Angle{inLow - (low - home), high - home - inHigh} // of the ends as they are printed, so that the three add up
	for n, by := range [2]unit.Angle{e.Low - low, high - e.High} {
		if by > 0 {
			ends = append(ends, fmt.Sprintf("%.2f° too far at the %s end%s", told[n].Deg(), [2]string{"low", "high"}[n], inTheWay(s.Binds[axis][n])))
		}
	}
	l.tell(rig.WideTravel, fmt.Sprintf("travel_from_home.axis%d_deg", axis+1),
		fmt.Sprintf("travel is wider than what is clear: [%s, %s], of which [%s, %s] is clear all over; %s", degrees(low-home), degrees(high-home), degrees(inLow), degrees(inHigh), strings.Join(ends, ", ")),
		"a motion into what is not clear is denied when it is asked for; narrow it to what is clear, or see room FILE for what is clear by part of the other axis")
}

// inward rounds an angle to hundredths of a degree, up or down.
func inward(a unit.Angle, way float64) unit.Angle {
	const slack = 1e-6 // of a hundredth: the fuzz of the map's cells, far below what an axis can be set to
	return unit.Deg(way * math.Ceil(way*a.Deg()*100-slack) / 100)
}

func degrees(a unit.Angle) string { return fmt.Sprintf("%g", math.Round(a.Deg()*100)/100+0) }

func around(a rig.Axes) string { return fmt.Sprintf("±%.2g° and ±%.2g°", a.A1.Deg(), a.A2.Deg()) }

// inTheWay says what stands in the way.
func inTheWay(a *reach.Approach) string {
	if a == nil {
		return ""
	}
	return fmt.Sprintf(" (%s and %s)", a.Parts[0], a.Parts[1])
}

func beside(a *reach.Approach) string {
	if a == nil {
		return ""
	}
	return fmt.Sprintf("; there %s and %s are the nearest, %.1f mm apart", a.Parts[0], a.Parts[1], max(0, float64(a.Lower)))
}
