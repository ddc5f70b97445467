package rig

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// This file looks for descriptions that are mirrored, back to front or upside down, as far as a file alone can show it: by what it says
// twice, or by what no mount is. A file that is mirrored all through shows nothing, nor do signs of turning or the side on which the axes
// miss each other: the sign proof finds those, on the rig itself.

func (r *Rig) checkMirrored() {
	for _, look := range []func() (key, words, remedy string){r.hangs, r.leansAway, r.weightsUp, r.looksDown, r.sideOfWeights, r.backToFront, r.belowTheFloor} {
		if key, words, remedy := look(); words != "" {
			r.Notices = append(r.Notices, r.Find(Mirrored, key, words, remedy))
		}
	}
	for i := range r.Rests {
		if words := r.restElsewhere(&r.Rests[i]); words != "" {
			r.Notices = append(r.Notices, r.Find(Mirrored, fmt.Sprintf("rests.%d", i+1), words, "correct axes_deg, the signs of it first, or the name"))
		}
	}
}

// made finds a part of the form that the file left as the form makes it.
func (r *Rig) made(name string) *Part {
	if i := r.part(name); i >= 0 && r.Parts[i].From == "tape" {
		return &r.Parts[i]
	}
	return nil
}

// support finds hub or pier as the form makes it: the middle of its top and its radius.
func (r *Rig) support() (key string, top solid.Point, radius float64, ok bool) {
	for _, name := range []string{"hub", "pier"} {
		if p := r.made(name); p != nil {
			_, top = p.Shapes[0].Axis()
			radius, _ = p.Shapes[0].Radii()
			return keys[name], top, radius, true
		}
	}
	return "", solid.Point{}, 0, false
}

// hangs: where the axes cross lower than the top of what carries them, the mount would hang below it.
func (r *Rig) hangs() (key, words, remedy string) {
	k, top, _, ok := r.support()
	if !ok || r.Chain.Point1.Z >= top.Z {
		return "", "", ""
	}
	return "tape.floor_to_crossing_mm", fmt.Sprintf("upside down: the axes cross %s mm above the floor, below the top of what the mount stands on (%s mm)", short(r.Chain.Point1.Z), short(top.Z)),
		"measure floor_to_crossing_mm and " + k[strings.LastIndexByte(k, '.')+1:] + " again, both from the floor"
}

// Bounds of leansAway. Choice, common practice, no source.
const (
	leansBy   = 40.0 // mm; what is nearer the middle may be so by design
	leansFar  = 1.5  // as far from the middle as with the other sign
	levelAxis = 5.0  // ° of latitude; below it the line of axis 1 meets the height of the support far away or nowhere
)

// leansAway: an equatorial's axis 1 rises toward the pole from what carries it, so that the crossing stands poleward of it. Where it
// stands on the other side, so that the axis misses its support and would pass nearer if the sign were turned, the sign or the latitude is wrong.
func (r *Rig) leansAway() (key, words, remedy string) {
	_, top, radius, ok := r.support()
	if !ok || !r.Kind.Equatorial() {
		return "", "", ""
	}
	north := -top.Y // of the crossing from the support, as the file has it
	carried, own, ok := r.carried(top.Z)
	pole := 1.0
	if r.Site.Lat < 0 {
		pole = -1
	}
	if !ok || north*pole > -leansBy {
		return "", "", ""
	}
	is, would := math.Hypot(carried.X-top.X, carried.Y-top.Y), math.Hypot(carried.X-top.X, carried.Y+top.Y)
	if is <= radius+own+leansBy || is <= leansFar*would {
		return "", "", ""
	}
	return "tape.crossing_north_of_hub_mm", fmt.Sprintf("mirrored: at latitude %s° axis 1 would stand %.0f mm beside the middle of what carries it; with the other sign %.0f mm", short(math.Round(r.Site.Lat.Deg()*1e4)/1e4), is, would),
		"turn the sign of crossing_north_of_hub_mm (south of the hub is negative) or of latitude_deg (south is negative), whichever is wrong"
}

// carried is the place of axis 1 that stands over the support, and the radius of what turns there: of a fork the underside of its base, of
// a German mount where the axis's line passes the height of the support's top.
func (r *Rig) carried(height float64) (at solid.Point, radius float64, ok bool) {
	c := &r.Chain
	if r.Kind == Fork {
		p := r.made("fork base")
		if p == nil {
			return solid.Point{}, 0, false
		}
		at, _ = p.Shapes[0].Axis()
		radius, _ = p.Shapes[0].Radii()
		return at, radius, true
	}
	if math.Abs(c.Dir1.Z) < math.Sin(levelAxis*math.Pi/180) {
		return solid.Point{}, 0, false
	}
	return c.Point1.Add(c.Dir1.Scale((height - c.Point1.Z) / c.Dir1.Z)), 0, true
}

// weightsUpDeg is how far above level a German mount's weights may point at home. Choice: with the bar level, a mount may be a little off.
const weightsUpDeg = 15

// weightsUp: no German mount is left with its weights above.
func (r *Rig) weightsUp() (key, words, remedy string) {
	if r.Kind != German {
		return "", "", ""
	}
	_, alt := frame.AzAlt(barAt(r, r.Home))
	if alt.Deg() <= weightsUpDeg {
		return "", "", ""
	}
	return "home_deg", fmt.Sprintf("upside down: at home the weights point %.0f° above level", alt.Deg()), "count home_deg from weights down, tube at the pole, which is [0, 0]; if it is truly left so, leave it"
}

// Bounds of looksDown. Choice, common practice, no source.
const (
	looksStep = 5.0  // ° between the poses looked at: the tube points within this of one of them
	looksUp   = 30.0 // ° that a rig for the sky looks above level at least
	looksFar  = 50.0 // ° that one looks up which can look straight down, to be covered
)

// looksDown: travel within which the tube never looks up, or of an alt-azimuth mount farther down than up.
func (r *Rig) looksDown() (key, words, remedy string) {
	enough := looksUp // once it looks up so far there is nothing to say
	if r.Kind == AltAzimuth {
		enough = looksFar
	}
	lowest, highest := 90.0, -90.0
	r.eachPose(func(a Axes) bool {
		alt := frame.Altitude(r.Chain.Direction(a)).Deg()
		lowest, highest = min(lowest, alt), max(highest, alt)
		return highest+looksStep < enough
	})
	remedy = "count travel_from_home from home, up being positive for an alt-azimuth mount's axis 2; look at home_deg too"
	switch {
	case highest+looksStep < looksUp:
		return "travel_from_home", fmt.Sprintf("upside down: within travel the tube never looks more than about %.0f° above level", highest), remedy
	case r.Kind == AltAzimuth && highest+looksStep < looksFar && -lowest > highest+2*looksStep:
		return "travel_from_home.axis2_deg", fmt.Sprintf("upside down: within travel the tube looks %.0f° below level and only %.0f° above", -lowest, highest), remedy
	}
	return "", "", ""
}

// eachPose goes over travel, a turn of each axis at most, as long as do wants more.
func (r *Rig) eachPose(do func(Axes) (more bool)) {
	steps := func(low, high unit.Angle) int { return int(math.Ceil(min((high-low).Deg(), 360) / looksStep)) }
	n1, n2 := steps(r.Travel.Low.A1, r.Travel.High.A1), steps(r.Travel.Low.A2, r.Travel.High.A2)
	along := func(low, high unit.Angle, i, n int) unit.Angle {
		return low + min(high-low, unit.Turn)*unit.Angle(i)/unit.Angle(max(n, 1))
	}
	for i := range n1 + 1 {
		for j := range n2 + 1 {
			if !do(Axes{along(r.Travel.Low.A1, r.Travel.High.A1, i, n1), along(r.Travel.Low.A2, r.Travel.High.A2, j, n2)}) {
				return
			}
		}
	}
}

// middle is the middle of what a part takes up at zero.
func (p *Part) middle() solid.Point {
	low, high := solid.Point{X: math.Inf(1), Y: math.Inf(1), Z: math.Inf(1)}, solid.Point{X: math.Inf(-1), Y: math.Inf(-1), Z: math.Inf(-1)}
	for _, s := range p.taken(nil) {
		l, h := s.Bounds()
		low = solid.Point{X: min(low.X, l.X), Y: min(low.Y, l.Y), Z: min(low.Z, l.Z)}
		high = solid.Point{X: max(high.X, h.X), Y: max(high.Y, h.Y), Z: max(high.Z, h.Z)}
	}
	return low.Add(high).Scale(0.5)
}

// sideOfWeights: a part of the form's name, written out, that stands on the tube's side.
func (r *Rig) sideOfWeights() (key, words, remedy string) {
	tube := r.part("tube")
	if r.Kind != German || tube < 0 {
		return "", "", ""
	}
	along := func(p *Part) float64 { return p.middle().Sub(r.Chain.Point2).Dot(r.Chain.Dir2) }
	for i := range r.Parts {
		p := &r.Parts[i]
		if p.Link == OnAxis1 && (p.Name == "counterweights" || p.Name == "counterweight bar") && along(p)*along(&r.Parts[tube]) > 0 {
			return r.KeyOf(i), fmt.Sprintf("mirrored: %s stand on the tube's side of axis 1", quote(p.Name)), "on axis 1 the first number of a place counts toward the tube: weights stand at negative ones"
		}
	}
	return "", "", ""
}

// backToFront: camera and shield of the form's names, one of them written out, at the wrong ends.
func (r *Rig) backToFront() (key, words, remedy string) {
	camera, shield := r.part("camera"), r.part("dew shield")
	if camera < 0 || shield < 0 || r.Parts[camera].Link != OnAxis2 || r.Parts[shield].Link != OnAxis2 {
		return "", "", ""
	}
	forward := func(i int) float64 { return r.Parts[i].middle().Dot(r.Chain.Tube) }
	if forward(camera) <= forward(shield) {
		return "", "", ""
	}
	at := camera
	if r.Parts[camera].From == "tape" {
		at = shield
	}
	return r.KeyOf(at), `back to front: "camera" stands before "dew shield"`, "on axis 2 the second number of a place counts forward along the tube: the camera stands at negative ones"
}

// belowTheFloor: a part on the ground that lies under the floor, or one of the form's legs above the mount.
func (r *Rig) belowTheFloor() (key, words, remedy string) {
	if r.made(floorName) == nil {
		return "", "", ""
	}
	for i := range r.Parts {
		p := &r.Parts[i]
		if p.Link != Ground || p.Name == floorName {
			continue
		}
		highest := math.Inf(-1)
		for _, s := range p.taken(nil) {
			_, h := s.Bounds()
			highest = max(highest, h.Z)
		}
		if highest < touching {
			return r.KeyOf(i), fmt.Sprintf("upside down: all of %s lies under the floor", quote(p.Name)), "on the ground the third number of a place counts upward from the floor"
		}
	}
	return "", "", ""
}

// looking finds in the name of a rest where it says that the tube points. Other words may mean the side that the tube is on, or where
// weights or a camera point.
var looking = regexp.MustCompile(`(?i)^(?:(?:tube|telescope|scope|parked|resting|home),? )*` +
	`(?:(?:looking|pointing|facing|aimed)(?: straight)?(?: at| to| toward| towards)?(?: the)? (up|zenith|down|nadir|level|horizon|north|east|south|west|pole)|at the (pole|zenith))\b`)

// How far from what its name says a rest may point, °. Choice: nobody calls it so beyond.
const (
	restOff   = 45 // from zenith, nadir, level and the pole
	restWrong = 10 // altitude on the wrong side of level
	windsOff  = 90 // from a wind, over the ground
	restSteep = 75 // altitude from which on no wind is meant
)

// restElsewhere: a rest whose name says where the tube points, and whose angles point it elsewhere.
func (r *Rig) restElsewhere(rest *Rest) string {
	m := looking.FindStringSubmatch(rest.Name)
	if m == nil {
		return ""
	}
	dir := r.Chain.Direction(rest.Axes)
	az, alt := frame.AzAlt(dir)
	word, off := strings.ToLower(m[1]+m[2]), false
	switch word {
	case "up":
		off = alt.Deg() < -restWrong
	case "down":
		off = alt.Deg() > restWrong
	case "zenith":
		off = alt.Deg() < 90-restOff
	case "nadir":
		off = alt.Deg() > -90+restOff
	case "level", "horizon":
		off = alt.Abs().Deg() > restOff
	case "pole":
		off = dir.Angle(r.pole()).Deg() > restOff
	default:
		from := (az - unit.Deg(90*float64(slices.Index([]string{"north", "east", "south", "west"}, word)))).Wrapped()
		off = from.Abs().Deg() > windsOff && alt.Abs().Deg() < restSteep
	}
	if !off {
		return ""
	}
	return fmt.Sprintf("mirrored or upside down: the rest %s has the tube point %s, %.0f° high", quote(rest.Name), azimuth(az, alt), alt.Deg())
}

// pole is the celestial pole over the horizon.
func (r *Rig) pole() frame.Vec[frame.Rig] {
	s, c := math.Sincos(math.Abs(float64(r.Site.Lat)))
	if r.Site.Lat < 0 {
		c = -c
	}
	return frame.Vec[frame.Rig]{Y: c, Z: s}
}
