package rig

import (
	"fmt"
	"math"
	"strings"
	"text/tabwriter"
	"unicode/utf8"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// Understood says what a rig file was understood to mean, in words and lengths that a person can compare with the thing in
// front of them. Nothing in it is read back from the file: every length comes from the parts as they will be judged.
func Understood(r *Rig) string {
	var b strings.Builder
	for _, paragraph := range []func(*Rig, *strings.Builder){sayHead, sayHome, sayParts, sayMeshes, sayPairs, sayTravel, sayMotion, sayMount, sayRest} {
		paragraph(r, &b)
	}
	return strings.TrimRight(b.String(), "\n") + "\n"
}

// saidWidth is how many letters a line of prose has at most: what a terminal shows unbroken.
const saidWidth = 80

// Say writes one line, broken between words where it is too long; what follows stands two further in.
func Say(b *strings.Builder, format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	words := strings.Fields(text)
	indent := text[:len(text)-len(strings.TrimLeft(text, " "))]
	line := indent
	for i, w := range words {
		if i > 0 && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(w) > saidWidth {
			b.WriteString(line + "\n")
			line = indent + "  " + w
			continue
		}
		if i > 0 {
			line += " "
		}
		line += w
	}
	b.WriteString(line + "\n")
}

func sayHead(r *Rig, b *strings.Builder) {
	Say(b, "%s: %s", r.ID, r.Title)
	if r.Practice {
		Say(b, "A practice rig: its permits bind no real one.")
	}
	s := r.Site
	Say(b, "%s at %s, %s, %s m above the sea.", sentence(string(r.Kind)), facing(s.Lat, 4, "north", "south"), facing(s.Lon, 4, "east", "west"), short(s.HeightM))
	if r.Tilt != (Tilt{}) {
		Say(b, "Polar axis off by %s, counted along the horizon, and %s.", facing(r.Tilt.East, 2, "east", "west"), facing(r.Tilt.Up, 2, "up", "down"))
	}
	Say(b, "Axis 1 passes %s mm above the floor where it is nearest axis 2%s.", short(r.Chain.Point1.Z), crossing(&r.Chain))
	if miss := r.Chain.Point2.Sub(r.Chain.Point1).Norm(); miss >= crossed && (r.made("right arm") != nil || r.made("left arm") != nil) {
		Say(b, "The arms are taken to stand anywhere from about axis 1 to about axis 2, and so come out wider than they are.")
	}
	Say(b, "")
}

// crossed is how little the axes miss each other by where they are said to cross, mm: half of what is shown.
const crossed = 0.05

// crossing says whether the axes meet.
func crossing(c *Chain) string {
	apart := c.Point2.Sub(c.Point1).Norm()
	if apart < crossed {
		return "; the axes cross there"
	}
	return fmt.Sprintf("; the axes miss each other by %s mm, axis 2 passing %s of it", short(apart), toward(c.Point2.Sub(c.Point1)))
}

// toward names the side of a point that another lies on, of those that a person can tell: the sideways ones before up and down.
func toward(d frame.Vec[frame.Rig]) string {
	switch most := max(math.Abs(d.X), math.Abs(d.Y)); {
	case most < math.Abs(d.Z)/2 && d.Z > 0:
		return "above"
	case most < math.Abs(d.Z)/2:
		return "below"
	case most == math.Abs(d.X) && d.X > 0:
		return "east"
	case most == math.Abs(d.X):
		return "west"
	case d.Y > 0:
		return "north"
	}
	return "south"
}

// facing writes a signed angle with the word for its direction.
func facing(a unit.Angle, decimals int, plus, minus string) string {
	if a < 0 {
		plus = minus
	}
	return fmt.Sprintf("%.*f° %s", decimals, a.Abs().Deg(), plus)
}

func sentence(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// sayHome says how the rig stands at home and which way each axis turns it, so that a mirrored file shows.
func sayHome(r *Rig, b *strings.Builder) {
	Say(b, "Home is axis 1 at %s, axis 2 at %s: the tube points %s.", degrees(r.Home.A1), degrees(r.Home.A2), r.Pointing(r.Home))
	if r.Kind == German {
		Say(b, "There the counterweight bar points %s.", direction(barAt(r, r.Home)))
	}
	Say(b, "%s", r.Turning())
	for _, rest := range r.Rests {
		Say(b, "Rest %q is %s: the tube points %s.", rest.Name, rest.Axes, r.Pointing(rest.Axes))
	}
	Say(b, "")
}

// Pointing says where the tube points at a pose: "toward azimuth 0.0° (north), 30.0° high".
func (r *Rig) Pointing(a Axes) string {
	az, alt := frame.AzAlt(r.Chain.Direction(a))
	return fmt.Sprintf("%s, %.1f° high", azimuth(az, alt), alt.Deg())
}

// Turning says what a turn of each axis by +10° from home carries where: a sentence for each, with a semicolon between.
func (r *Rig) Turning() string {
	tube := func(by Axes) string { return drift(r.Chain.Direction(r.Home), r.Chain.Direction(r.Home.Add(by))) }
	if r.Kind == German {
		weights := drift(barAt(r, r.Home), barAt(r, r.Home.Add(DegAxes(10, 0))))
		return fmt.Sprintf("Axis 1 by +10° carries the weights toward %s; axis 2 by +10° the tube's front toward %s.", weights, tube(DegAxes(0, 10)))
	}
	return fmt.Sprintf("Axis 1 by +10° carries the tube's front toward %s; axis 2 by +10° toward %s.", tube(DegAxes(10, 0)), tube(DegAxes(0, 10)))
}

func degrees(a unit.Angle) string { return short(math.Round(a.Deg()*1e4)/1e4) + "°" }

// barAt is the direction of a German mount's counterweight bar.
func barAt(r *Rig, a Axes) frame.Vec[frame.Rig] {
	return frame.About(r.Chain.Dir1, a.A1).Apply(across(r.Kind, r.Site.Lat, &r.Chain)).Scale(-1)
}

// azimuth names where something points; nearer than 1° to the zenith no azimuth is worth telling.
func azimuth(az, alt unit.Angle) string {
	if alt.Abs().Deg() > 89 {
		return "straight up or down"
	}
	tenths := math.Mod(math.Round(az.Deg()*10)+3600, 3600) / 10
	return fmt.Sprintf("toward azimuth %.1f° (%s)", tenths, wind(tenths, 8))
}

func direction(v frame.Vec[frame.Rig]) string {
	az, alt := frame.AzAlt(v)
	updown := "above"
	if alt < 0 {
		updown = "below"
	}
	return fmt.Sprintf("%s, %.1f° %s level", azimuth(az, alt), alt.Abs().Deg(), updown)
}

// drift names the direction in which something went: the strongest of east, north and up.
func drift(from, to frame.Vec[frame.Rig]) string {
	d := to.Sub(from)
	best, word := 0.0, "nowhere"
	for _, c := range []struct {
		v           float64
		plus, minus string
	}{{d.X, "east", "west"}, {d.Y, "north", "south"}, {d.Z, "up", "down"}} {
		if math.Abs(c.v) > best+1e-9 {
			best, word = math.Abs(c.v), c.plus
			if c.v < 0 {
				word = c.minus
			}
		}
	}
	return word
}

// sayParts lists the parts as they stand at home.
func sayParts(r *Rig, b *strings.Builder) {
	Say(b, "%d parts, as they stand at home; heights above the floor, lengths in mm:", len(r.Parts))
	w := tabwriter.NewWriter(b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "  part\tfixed to\tis\tlowest\thighest\tfarthest from its axis\tmargin")
	links := r.Chain.links(r.Home)
	for i := range r.Parts {
		p := &r.Parts[i]
		low, high, far := math.Inf(1), math.Inf(-1), 0.0
		for _, s := range p.taken(nil) {
			s = s.Moved(links[p.Link])
			l, h := s.Bounds()
			low, high = min(low, l.Z), max(high, h.Z)
			far = max(far, r.Chain.reach(s, p.Link, links[OnAxis1]))
		}
		fmt.Fprintf(w, "  %s\t%s\t%s\t%.0f\t%.0f\t%s\t%s\n", p.Name, p.Link, p.figure(), zero(low), zero(high), farText(p.Link, far), p.marginText())
	}
	w.Flush()
	Say(b, "")
}

// zero turns -0 into 0.
func zero(v float64) float64 {
	if math.Abs(v) < 0.5 {
		return 0
	}
	return v
}

// reach returns how far a placed solid reaches from the axis that carries it.
func (c *Chain) reach(s solid.Shape, l Link, link1 frame.Motion[frame.Rig]) float64 {
	if l == OnAxis2 {
		return s.Reach(link1.Point(c.Point2), link1.Dir(c.Dir2))
	}
	return s.Reach(c.Point1, c.Dir1)
}

func farText(l Link, far float64) string {
	if l == Ground {
		return "-"
	}
	return mm(far)
}

func (p *Part) marginText() string {
	var s []string
	if p.Margin > 0 {
		s = append(s, short(float64(p.Margin))+", or the limit if more")
	}
	if p.Reading > 0 {
		s = append(s, "reading "+short(float64(p.Reading)))
	}
	if len(s) == 0 {
		return "as the limit"
	}
	return strings.Join(s, ", ")
}

// figure describes what a part is.
func (p *Part) figure() string {
	if p.Name == floorName && p.From == "tape" {
		return "level, at height 0, wide"
	}
	var s []string
	for _, shape := range p.Shapes {
		s = append(s, figure(shape))
	}
	if len(s) > 3 {
		s = []string{fmt.Sprintf("%d shapes", len(s))}
	}
	if n := len(p.States); n > 0 {
		s = append(s, fmt.Sprintf("%d states: %s", n, strings.Join(p.stateNames(), ", ")))
	}
	return strings.Join(s, " + ")
}

func (p *Part) stateNames() []string {
	var out []string
	for _, s := range p.States {
		switch s.Measured {
		case "":
			out = append(out, s.Name)
		case "deg":
			out = append(out, short(s.Low)+"° to "+short(s.High)+"°")
		default:
			out = append(out, short(s.Low)+" to "+short(s.High)+" "+s.Measured)
		}
	}
	return out
}

// mm writes a length so that a thin one never reads as 0.
func mm(v float64) string {
	const rounding = 1e-6
	switch far := math.Abs(v); {
	case far < rounding:
		return "0"
	case far >= 9.95:
		return fmt.Sprintf("%.0f", v)
	case far >= 0.95:
		return fmt.Sprintf("%.1f", v)
	}
	return fmt.Sprintf("%.2g", v)
}

// figure describes a solid by the lengths that a tape would find.
func figure(s solid.Shape) string {
	a, b := s.Axis()
	ra, rb := s.Radii()
	long := b.Sub(a).Norm()
	switch s.Kind() {
	case solid.SphereKind:
		return fmt.Sprintf("ball %s across", mm(2*ra))
	case solid.CapsuleKind:
		return fmt.Sprintf("rod %s across, %s long, round ends", mm(2*ra), mm(long+2*ra))
	case solid.CylinderKind:
		return fmt.Sprintf("cylinder %s across, %s long", mm(2*ra), mm(long))
	case solid.FrustumKind:
		return fmt.Sprintf("cone %s to %s across, %s long", mm(2*ra), mm(2*rb), mm(long))
	case solid.BoxKind:
		half, _ := s.HalfSizes()
		return fmt.Sprintf("box %s × %s × %s", mm(2*half.X), mm(2*half.Y), mm(2*half.Z))
	case solid.HullKind:
		low, high := s.Bounds()
		d := high.Sub(low)
		return fmt.Sprintf("hull, %s × %s × %s over all", mm(d.X), mm(d.Y), mm(d.Z))
	case solid.NoKind:
	}
	return "nothing"
}
