package draw

import (
	"fmt"
	"math"
	"strings"
	"text/tabwriter"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Asked is what a survey kept, and of which rig.
type Asked struct {
	Gap     *unit.Length    // between all parts; nil: the margins in force
	What    string          // what was changed in the file; empty: nothing
	Parts   []rig.PartState // the states that parts are taken to be in; of others all count
	Widened unit.Length     // by how much gauges found the file off: so much more is asked between all parts
}

func (a Asked) words() string {
	out := "with every pair's margin kept"
	if a.Gap != nil {
		out = fmt.Sprintf("with a gap of %g mm kept", float64(*a.Gap))
	}
	return out
}

// notes say what else the survey went by, a sentence each.
func (a Asked) notes(r *rig.Rig) []string {
	out := states(r, a.Parts)
	if a.Widened > 0 && a.Gap == nil {
		out = append(out, fmt.Sprintf("Between all parts %.1f mm more is asked than the margins say: gauges found the file off by so much.", float64(a.Widened)))
	}
	return out
}

// states says in which states parts are taken to be, and which are in several at once, a sentence each.
func states(r *rig.Rig, parts []rig.PartState) (out []string) {
	var told []string
	for _, p := range parts {
		told = append(told, p.String())
	}
	if len(told) > 0 {
		out = append(out, "Parts as told: "+strings.Join(told, ", ")+".")
	}
	if all := r.AllAtOnce(parts); len(all) > 0 {
		out = append(out, "In all of their states at once: "+strings.Join(all, ", ")+".")
	}
	return out
}

// Room says how far the axes of a rig may turn, as surveyed.
func Room(r *rig.Rig, s *reach.Survey, a Asked) string {
	var b strings.Builder
	what := ""
	if a.What != "" {
		what = ", if " + a.What
	}
	rig.Say(&b, "%s: room to move, %s%s", r.ID, a.words(), what)
	rig.Say(&b, "%s", r.Turning())
	for _, words := range a.notes(r) {
		rig.Say(&b, "%s", words)
	}
	b.WriteString("\n")
	sayStand(&b, s)
	if s.Clear {
		sayWidest(&b, r, s, a)
	}
	sayBands(&b, s)
	sayApart(&b, s)
	if s.Raster.Spent {
		b.WriteString("\nThe work ran out before all was looked at: what is not known counts as not clear.\n")
	}
	return b.String()
}

func sayStand(b *strings.Builder, s *reach.Survey) {
	here, all := s.Here.Nearest, s.All.Nearest
	if here == nil || all == nil {
		rig.Say(b, "No two parts of this rig come nearer by turning an axis.")
		b.WriteString("\n")
		return
	}
	rig.Say(b, "At %s the nearest are %s.", s.About, nearest(here))
	if all.Upper <= 0 {
		rig.Say(b, "Within its travel some touch: %s, at %s among others.", both(all), all.Pose)
	} else {
		rig.Say(b, "Within its travel the least to spare, to a millimetre or 3 %%, is at %s: %s.", all.Pose, nearest(all))
	}
	if !s.Clear {
		rig.Say(b, "There is no room about %s: with %s for uncertainty and overrun it is not clear itself.", s.About, s.Spread)
	}
	b.WriteString("\n")
}

// nearest names two parts, how far apart they are, as far as it is proven, and how far they should be.
func nearest(a *reach.Approach) string {
	if a.Upper <= 0 {
		return both(a) + ", which touch"
	}
	return fmt.Sprintf("%s, %.1f mm apart (their margins ask for %.1f)", both(a), max(0, float64(a.Lower)), float64(a.Required))
}

func both(a *reach.Approach) string { return a.Parts[0] + " and " + a.Parts[1] }

// sayWidest says the one interval per axis that is clear all over, and what bounds it.
func sayWidest(b *strings.Builder, r *rig.Rig, s *reach.Survey, a Asked) {
	rig.Say(b, "The widest limits, one interval per axis (%s kept free within them, for uncertainty and overrun):", s.Spread)
	for axis, e := range s.Widest {
		rig.Say(b, "  axis %d: %s", axis+1, interval(e))
		for n, word := range []string{"low", "high"} {
			switch a := s.Binds[axis][n]; {
			case a != nil:
				rig.Say(b, "    beyond the %s end, at %s: %s", word, a.Pose, nearest(a))
			case !e.Free:
				rig.Say(b, "    the %s end is as far as was looked", word)
			}
		}
	}
	t, denied, rest := s.Travel, true, ": wider than this, so that some motions within it will be denied."
	if a.Gap != nil { // what is denied goes by the margins
		denied, rest = false, ": wider than this."
	}
	if within(s.Widest[0], t.Low.A1, t.High.A1) && within(s.Widest[1], t.Low.A2, t.High.A2) {
		denied, rest = false, ": all of it is clear."
	}
	rig.Say(b, "  The file's travel is %s and %s%s", interval(reach.Extent{Low: t.Low.A1, High: t.High.A1}), interval(reach.Extent{Low: t.Low.A2, High: t.High.A2}), rest)
	if denied {
		rig.Say(b, "  Written as travel_from_home, which counts from home:")
		rig.Say(b, "    axis1_deg: %s", fromHome(s.Widest[0], t.Low.A1, t.High.A1, r.Home.A1))
		rig.Say(b, "    axis2_deg: %s", fromHome(s.Widest[1], t.Low.A2, t.High.A2, r.Home.A2))
	}
	b.WriteString("\n")
}

// fromHome writes what is clear of an axis' travel as a rig file states travel: counted from home, and rounded inward, since a rounding outward would be
// wider than what is clear.
func fromHome(e reach.Extent, low, high, home unit.Angle) string {
	if !e.Free {
		low, high = max(e.Low, low), min(e.High, high)
	}
	const slack = 1e-6 // of a hundredth: rounding of degrees
	inward := func(a unit.Angle, way float64) float64 { return way*math.Ceil(way*a.Deg()*100-slack)/100 + 0 }
	return fmt.Sprintf("[%g, %g]", inward(low-home, 1), inward(high-home, -1))
}

func within(e reach.Extent, low, high unit.Angle) bool {
	return e.Free || e.Low <= low && e.High >= high
}

func interval(e reach.Extent) string {
	if e.Free {
		return "all round (only cables bound it)"
	}
	return degrees(e.Low) + " to " + degrees(e.High)
}

// degrees writes an angle to a hundredth, and nothing as such, from whichever side it comes.
func degrees(a unit.Angle) string { return fmt.Sprintf("%.2f°", math.Round(a.Deg()*100)/100+0) }

// sayBands says how far axis 1 may go by band of axis 2.
func sayBands(b *strings.Builder, s *reach.Survey) {
	fmt.Fprintf(b, "Axis 1, either way of %s, while axis 2 stays within a band:\n", degrees(s.About.A1))
	w := tabwriter.NewWriter(b, 0, 0, 2, ' ', 0)
	for _, band := range append([]reach.Band{s.Across}, s.Bands...) {
		fmt.Fprintf(w, "  axis 2 from %s\t%s\n", interval(band.Axis2), bandSays(band, s.About.A1))
	}
	_ = w.Flush() // into memory
}

func bandSays(b reach.Band, about unit.Angle) string {
	if !b.Clear {
		return "not all of it is clear with axis 1 at " + degrees(about)
	}
	return interval(b.Axis1)
}

// sayApart says which clear parts of the travel a motion cannot reach.
func sayApart(b *strings.Builder, s *reach.Survey) {
	b.WriteString("\n")
	rest := "."
	if len(s.Apart) == 0 && s.Reached < 0.9995 {
		rest = "; no other part of it is clear."
	}
	rig.Say(b, "From %s %.1f %% of the travel can be reached, if the pose is exactly known%s", s.About, 100*s.Reached, rest)
	if len(s.Apart) > 0 {
		rig.Say(b, "Clear, and not to be reached from there:")
	}
	for _, p := range s.Apart {
		rig.Say(b, "  %.1f %% of it, about %s", 100*p.Share, p.Pose)
	}
}
