package rig

import (
	"fmt"
	"math"
	"strings"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// sayPairs says which pairs are not watched, and why, and what is nearest at home.
func sayPairs(r *Rig, b *strings.Builder) {
	for _, a := range r.Allowed {
		Say(b, "Taken to touch always: %s and %s.", r.Parts[a[0]].Name, r.Parts[a[1]].Name)
	}
	sayNeverChanging(r.Settled(), b)
	if gap, a, o := r.nearestAtHome(); a != "" {
		Say(b, "Nearest at home: %s and %s, %s mm apart.", a, o, mm(gap))
	}
	Say(b, "")
}

// sayNeverChanging lists the settled pairs, those of one part in one line.
func sayNeverChanging(settled []Settled, b *strings.Builder) {
	if len(settled) > 0 {
		Say(b, "The same gap at every pose, so never told as the smallest:")
	}
	line := ""
	for i, s := range settled {
		if line == "" {
			line = "  " + s.A + " to "
		} else {
			line += ", "
		}
		line += fmt.Sprintf("%s (%s mm)", s.B, mm(float64(s.Gap)))
		if i+1 == len(settled) || settled[i+1].A != s.A {
			Say(b, "%s", line)
			line = ""
		}
	}
}

// nearestAtHome returns the smallest gap at home of the pairs that count.
func (r *Rig) nearestAtHome() (gap float64, a, b string) {
	s := r.Scene(nil, 0, 0)
	placed := s.Place(r.Home)
	gap = math.Inf(1)
	for _, p := range s.Pairs {
		if g := solid.Distance(placed[p.A], placed[p.B]).Lower; g < gap {
			gap, a, b = g, s.Names[s.Bodies[p.A].Part], s.Names[s.Bodies[p.B].Part]
		}
	}
	return gap, a, b
}

func sayTravel(r *Rig, b *strings.Builder) {
	low, high := r.Travel.Low.Sub(r.Home), r.Travel.High.Sub(r.Home)
	Say(b, "Travel from home: axis 1 %s to %s, axis 2 %s to %s.", degrees(low.A1), degrees(high.A1), degrees(low.A2), degrees(high.A2))
	if r.Kind == German {
		for _, end := range []unit.Angle{r.Travel.Low.A1, r.Travel.High.A1} {
			sayMeridian(r, b, end)
		}
	}
	Say(b, "")
}

// sayMeridian says what an end of axis 1's travel is to somebody who watches the bar. With axis 1 at 90° from zero the tube
// points at the meridian, whatever the declination.
func sayMeridian(r *Rig, b *strings.Builder, end unit.Angle) {
	_, alt := frame.AzAlt(barAt(r, Axes{A1: end}))
	past := end.Abs() - unit.HalfTurn/2
	where, level := "past", "above"
	if past < 0 {
		where = "short of"
	}
	if alt < 0 {
		level = "below"
	}
	Say(b, "At axis 1 %s the tube is %s %s the meridian and the weights' bar %s %s level.", degrees(end), degrees(past.Abs()), where, degreesCoarse(alt.Abs()), level)
}

func degreesCoarse(a unit.Angle) string { return fmt.Sprintf("%.1f°", a.Deg()) }

var sharingWords = map[Sharing]string{
	Straight:    "both axes together on a straight line",
	Independent: "each axis by itself, at its own speed",
	Axis1First:  "axis 1 first, then axis 2",
	Axis2First:  "axis 2 first, then axis 1",
	AnyOrder:    "in any order: not known",
}

func sayMotion(r *Rig, b *strings.Builder) {
	m := r.Motion
	Say(b, "Slews: %s; axis 1 %s°/s and %s°/s², axis 2 %s°/s and %s°/s²; overrun %s and %s.", sharingWords[m.Sharing],
		short(m.RateDeg[0]), short(m.AccelDeg[0]), short(m.RateDeg[1]), short(m.AccelDeg[1]), degrees(m.Overrun.A1), degrees(m.Overrun.A2))
	way := map[WayRound]string{WithinTravel: "never through the end of travel", Shortest: "the shortest way, through whatever lies there", WayUnknown: "not known: every turn within travel is judged"}
	Say(b, "Way round: %s.", way[m.Way])
	if len(m.Via) > 0 {
		Say(b, "Every slew goes by %s.", poses(m.Via))
	}
	if len(m.FlipVia) > 0 {
		Say(b, "Every change of side goes by %s.", poses(m.FlipVia))
	}
}

func poses(all []Axes) string {
	var s []string
	for _, a := range all {
		s = append(s, a.String())
	}
	return strings.Join(s, ", then ")
}

func sayMount(r *Rig, b *strings.Builder) {
	m := r.Mount
	sync := map[SyncKeeping]string{KeptOnAxes: "on its axis counters", KeptOnSky: "as an offset on the sky", KeptUnknown: "in an unknown way: both are judged", KeptInModel: "in a model of its own: slews after a sync hold", NotKept: "not at all"}
	Say(b, "It keeps a sync %s.", sync[m.Sync])
	side := map[SideChoice]string{AskerChooses: "by whoever asks", ByHourAngle: fmt.Sprintf("by the mount, from the hour angle, at %s", degrees(m.MeridianDelay)), AnySide: "by the mount, in an unknown way: both are judged",
		FirstOnly: "by nobody: it only uses the first"}
	Say(b, "The side is chosen %s; the side it tells is %s.", side[m.Chooses], either(m.SideSensed, "read from its axes", "worked out from the hour angle"))
	Say(b, "While tracking it %s.", either(m.FlipsItself, "flips by itself at hour angle "+degrees(m.FlipAt), "does not flip by itself"))
	var does, not []string
	for _, w := range []struct {
		is   bool
		what string
	}{
		{m.Refracts, "allow for refraction"}, {m.TellsSidereal, "tell its sidereal time"}, {m.TellsSite, "tell its site"}, {m.CountsSyncs, "count its syncs"},
		{m.RunMark, "tell when it restarted"}, {m.HoldsUnpowered, "stay put without power"},
	} {
		if w.is {
			does = append(does, w.what)
		} else {
			not = append(not, w.what)
		}
	}
	Say(b, "It does: %s. It does not: %s.", listed(does), listed(not))
	Say(b, "Nobody else syncs it: %s.", either(m.NobodyElseSyncs, "stated", "not stated"))
	Say(b, "")
}

func either(is bool, yes, no string) string {
	if is {
		return yes
	}
	return no
}

func listed(s []string) string {
	if len(s) == 0 {
		return "nothing else"
	}
	return strings.Join(s, ", ")
}

// sayRest says where the pose comes from, how home is found, what stops it, what it carries and lacks, and its limits.
func sayRest(r *Rig, b *strings.Builder) {
	for _, s := range r.Sources {
		Say(b, "Pose from: %s, on the %s side of the clutch, ±%s and ±%s (three standard deviations).", s.Kind, either(s.MotorSide, "motor", "axis"), degrees(3*s.Sigma.A1), degrees(3*s.Sigma.A2))
	}
	if len(r.Sources) == 0 {
		Say(b, "Pose from: past motions alone, reckoned.")
	}
	home := map[HomingKind]string{BySensor: "by sensors", ByPerson: "by a person, at marks", ByBelief: "by where the mount believes it to be"}
	Say(b, "Home is found %s, %s, searching %s and %s beyond, known to ±%s and ±%s (three standard deviations).", home[r.Homing.By],
		sharingWords[r.Homing.Order], degrees(r.Homing.Search.A1), degrees(r.Homing.Search.A2), degrees(3*r.Homing.Sigma.A1), degrees(3*r.Homing.Sigma.A2))
	Say(b, "If the asker dies: %s.", r.Stop.words(r.Kind))
	for _, o := range r.Optics {
		Say(b, "Optics: %s.", o.words())
	}
	if len(r.Lacks) > 0 {
		Say(b, "It has no: %s.", strings.Join(r.Lacks, ", "))
	}
	if len(r.Horizon) > 0 {
		Say(b, "Horizon: %d points.", len(r.Horizon))
	}
	for _, l := range r.Limits {
		Say(b, "Limit: %s %s = %s (%s:%d).", l.Rule, l.Name, short(l.Value), l.File, l.Line)
	}
}

func (s Fallback) words(k Kind) string {
	switch s.Kind {
	case MotionEnds:
		return "the motion ends where it was told to"
	case MountLimit:
		seen := "never tried"
		if !s.Seen.IsZero() {
			seen = "last seen to work on " + s.Seen.Format("2 January 2006")
		}
		return fmt.Sprintf("the mount stops by itself at axis %d %s%s, by its own belief; %s", s.Axis, degrees(s.Limit), s.past(k), seen)
	case PowerRelay:
		return fmt.Sprintf("a relay cuts the power after %s s of silence", short(s.AfterS))
	case NothingStops:
	}
	return "nothing stops it"
}

// past says how far past the meridian an equatorial's tube is where its limit stops it: a German's on the side on which tracking brings it across.
func (s Fallback) past(k Kind) string {
	h := s.Limit
	if k == German {
		h -= unit.HalfTurn / 2
	}
	switch {
	case s.Axis != 1 || !k.Equatorial() || h.Abs() > unit.HalfTurn:
		return ""
	case h < 0:
		return fmt.Sprintf(" (the tube %s before the meridian)", degrees(-h))
	}
	return fmt.Sprintf(" (the tube %s past the meridian)", degrees(h))
}

func (o Optics) words() string {
	s := o.Name
	if o.PixelArcsec != nil {
		s += fmt.Sprintf(", %s″ a pixel", short(*o.PixelArcsec))
	}
	if o.WidthDeg != nil && o.HeightDeg != nil {
		s += fmt.Sprintf(", field %s° × %s°", short(*o.WidthDeg), short(*o.HeightDeg))
	}
	if o.East != 0 || o.North != 0 {
		s += fmt.Sprintf(", looking %s and %s of the tube", facing(o.East, 3, "east", "west"), facing(o.North, 3, "north", "south"))
	}
	return s
}
