package rig

import (
	"fmt"
	"math"
	"strings"
)

// This file looks for numbers that are lawful each by itself and look like another unit beside others of the same file.

// Proportions of what is measured in one unit. Choice, common practice, no source: no balanced tube and no mount comes near them.
const (
	lopsided = 6.0 // one end of the tube this much longer than the other
	sunk     = 3.0 // the tube's widest place against its distance from the crossing
)

// proportions notices lengths of the tube that do not go together.
func (b *tubeTape) proportions(t tapeReader, k Kind) {
	front, back, wide := b.front.mm, b.back.mm, b.diameter.mm
	if front < sizes["front_reach_mm"].usual || back < sizes["back_reach_mm"].usual || !(wide > 0) {
		return // told already
	}
	note := func(key, wanted string, got float64, first string) {
		if n := t.peek(key); n != nil {
			t.f.notice(OtherUnit, n, t.key(key), wanted, short(got), "look at "+first+fmt.Sprintf("the unit: as centimetres it is %s mm, as inches %s; if it is right, leave it", short(got*10), short(math.Round(got*inch))))
		}
	}
	const digit = "both for a digit too many or too few, and at "
	switch {
	case front+back < wide:
		note("front_reach_mm", fmt.Sprintf("a tube longer than wide (back_reach_mm %s, tube_diameter_mm %s)", short(back), short(wide)), front, "")
	case front*lopsided < back:
		note("front_reach_mm", fmt.Sprintf("a tube that balances, with back_reach_mm %s", short(back)), front, digit)
	case back*lopsided < front:
		note("back_reach_mm", fmt.Sprintf("a tube that balances, with front_reach_mm %s", short(front)), back, digit)
	}
	if k == German && b.off.mm > 0 && b.off.mm*sunk < wide {
		note("crossing_to_tube_mm", fmt.Sprintf("a tube beyond the crossing, not around it, with tube_diameter_mm %s", short(wide)), b.off.mm, "")
	}
}

// Angles that are none. Choice, common practice, no source.
const (
	narrowTravel = 20.0 // °: no mount follows the sky for an hour and a half within less, there and back
	radian       = 180 / math.Pi
	hour         = 15.0 // ° of an hour angle
	earlyStop    = 30.0 // °: no equatorial stops itself so soon after the meridian, or as a German before it
	roughPolar   = 5.0  // °: who aligns by eye comes nearer
	airOff       = 0.08 // share by which the air may differ from the standard atmosphere's: weather makes a third of that
)

// checkAngles notices angles that look like radians or hours, and an air pressure that looks like another unit.
func (r *Rig) checkAngles(top *reader) {
	r.checkTravelUnits(top)
	r.checkStop(top)
	r.checkPolar(top)
	if t := top.at.find("tape"); t != nil {
		if legs := t.find("tripod"); legs != nil {
			aroundInRadians(top.f, legs.find("leg_azimuths_deg"), "tape.tripod.leg_azimuths_deg", func(n *node) *node { return n })
		}
	}
	aroundInRadians(top.f, top.at.find("horizon_deg"), "horizon_deg", func(n *node) *node { return n.under("1") })
	s := top.at.find("site")
	lat, lon := r.Site.Lat.Deg(), r.Site.Lon.Deg()
	if math.Abs(lat) <= math.Pi/2 && math.Abs(lon) <= math.Pi && s != nil {
		top.f.notice(OtherUnit, s.find("latitude_deg"), "site.latitude_deg", "a place on land", fmt.Sprintf("%s, %s, in the open sea off Africa", s.find("latitude_deg").text, s.find("longitude_deg").text),
			fmt.Sprintf("if both are in radians, in degrees they are %s and %s", tenths(lat*radian), tenths(lon*radian)))
	}
	if n := s.find("pressure_hpa"); n != nil {
		usual := airAt(r.Site.HeightM)
		if off := r.Site.PressureHPa/usual - 1; math.Abs(off) > airOff {
			top.f.notice(OtherUnit, n, "site.pressure_hpa", fmt.Sprintf("some %.0f hPa, as at %s m above the sea", usual, short(r.Site.HeightM)), n.text,
				"it is the pressure at the rig, not reduced to the sea, in hPa (a millimetre of mercury is 1.333); look at height_m too, in metres")
		}
	}
}

func tenths(v float64) string { return short(math.Round(v*10) / 10) }

// checkStop notices a limit in the mount at which tracking does not come to its end: in hours, counted from the meridian, or of the other end of travel.
func (r *Rig) checkStop(top *reader) {
	s := top.at.find("if_asker_dies")
	limit := r.Stop.Limit.Deg()
	if r.Stop.Kind != MountLimit || r.Stop.Axis != 1 || !r.Kind.Equatorial() || s == nil || limit >= earlyStop-1e-9 {
		return
	}
	n := s.find("limit_deg")
	var as []string
	if r.Kind == German && math.Abs(limit) < earlyStop {
		as = append(as, fmt.Sprintf("it is counted from the meridian, in degrees past it, from zero it is %s", tenths(limit+90)))
	}
	if limit > 0 && limit <= 12 {
		as = append(as, fmt.Sprintf("it is in hours, in degrees it is %s", tenths(limit*hour)))
	}
	if limit < 0 {
		as = append(as, "it is that of the other end of travel, write the one at the high end: tracking turns axis 1 upward and never comes to this")
	}
	remedy := "it counts from zero, as travel does"
	for _, a := range as {
		remedy += "; if " + a
	}
	top.f.notice(OtherUnit, n, "if_asker_dies.limit_deg", fmt.Sprintf("a limit near %s, where travel ends as it tracks", tenths(r.Travel.High.A1.Deg())), n.text, remedy+"; if it is right, leave it")
}

// checkPolar notices a polar axis that is off by more than anybody leaves it.
func (r *Rig) checkPolar(top *reader) {
	p := top.at.find("polar_error")
	if p == nil {
		return
	}
	for _, key := range []string{"east_deg", "up_deg"} {
		if n := p.find(key); n != nil {
			if v, ok := aNumber(n); ok && math.Abs(v) > roughPolar {
				top.f.notice(OtherUnit, n, "polar_error."+key, fmt.Sprintf("at most %s° either way, as most leave it", short(roughPolar)), n.text, fmt.Sprintf("if it is in arcminutes, in degrees it is %s; if it is right, leave it", short(math.Round(v/60*1000)/1000)))
			}
		}
	}
}

// checkTravelUnits notices travel too narrow to be in degrees.
func (r *Rig) checkTravelUnits(top *reader) {
	travel := top.at.find("travel_from_home")
	if travel == nil {
		return
	}
	low, high := r.Travel.Low.Sub(r.Home), r.Travel.High.Sub(r.Home)
	for _, x := range []struct {
		key       string
		low, high float64
		hours     bool
	}{{"axis1_deg", low.A1.Deg(), high.A1.Deg(), r.Kind.Equatorial()}, {"axis2_deg", low.A2.Deg(), high.A2.Deg(), false}} {
		n := travel.find(x.key)
		if n == nil || x.high-x.low >= narrowTravel {
			continue
		}
		var as []string
		if most := max(x.high, -x.low); most <= 2*math.Pi {
			as = append(as, fmt.Sprintf("in radians, in degrees it is [%s, %s]", tenths(x.low*radian), tenths(x.high*radian)))
		}
		if x.hours {
			as = append(as, fmt.Sprintf("in hours, in degrees it is [%s, %s]", tenths(x.low*hour), tenths(x.high*hour)))
		}
		remedy := "measure again"
		if len(as) > 0 {
			remedy = "if it is " + strings.Join(as, "; if ")
		}
		top.f.notice(OtherUnit, n, "travel_from_home."+x.key, fmt.Sprintf("%.0f° from end to end or more, as most have", narrowTravel), fmt.Sprintf("%s°", tenths(x.high-x.low)), remedy+"; if it is right, leave it")
	}
}

// aroundInRadians notices a list of directions all round that ends where radians do.
func aroundInRadians(f *faults, n *node, key string, azimuth func(*node) *node) {
	if n == nil || n.kind != list || len(n.items) < 3 {
		return
	}
	last := 0.0
	for _, c := range n.items {
		v, ok := aNumber(azimuth(c))
		if !ok || v > 2*math.Pi {
			return
		}
		last = max(last, v)
	}
	if last > math.Pi/2 {
		f.notice(OtherUnit, n, key, "azimuths in degrees, all round", fmt.Sprintf("none beyond %s°", short(last)), fmt.Sprintf("if they are in radians, the last is %s°", tenths(last*radian)))
	}
}

// through notices a wall whose line runs through what the mount stands on.
func (t *tape) through(r *reader) {
	foot := t.foot()
	for i := range t.walls {
		w, key := &t.walls[i], r.item("walls", i)
		dx, dy := w.to[0]-w.from[0], w.to[1]-w.from[1]
		along := dx*dx + dy*dy
		if along == 0 || t.support.diameter.mm == 0 {
			continue
		}
		px, py := foot.X-w.from[0], foot.Y-w.from[1]
		s := min(max((px*dx+py*dy)/along, 0), 1)
		if gap := math.Hypot(px-s*dx, py-s*dy) - w.thick/2 - t.support.diameter.mm/2; gap < 0 {
			r.f.notice(OtherUnit, r.at.find("walls").items[i], key, "a wall beside what the mount stands on", "one that runs through the "+t.support.name, "look at the unit of from_mm and to_mm, millimetres from below the crossing, and at their signs")
		}
	}
}
