package draw

import (
	"fmt"
	"html"
	"math"
	"strings"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
)

// Course is where a rig is and where it is to go, for the map.
type Course struct {
	Places    []rig.Axes // where it may be, the likeliest first; empty: not known
	Intended  *rig.Axes  // where a motion from there is to end; nil: none is meant
	Predicted []rig.Axes // where else it may end
}

// way is from the likeliest place to an end as the mount goes there, by the poses that it always goes by; pieces that may be any way within
// their box are that box.
func (c *Course) way(r *rig.Rig, to rig.Axes) (lines [][]rig.Axes, boxes [][2]rig.Axes) {
	m := r.Motion
	stops := append([]rig.Axes{c.Places[0]}, m.Via...)
	if r.Kind.SideOf(c.Places[0]) != r.Kind.SideOf(to) {
		stops = append(stops, m.FlipVia...)
	}
	stops = append(stops, to)
	for i := 1; i < len(stops); i++ {
		from, to := stops[i-1], stops[i]
		way := reach.WayOf(m.Sharing, m, from, to)
		if m.Sharing == rig.AnyOrder || math.IsInf(way.Seconds(), 0) {
			boxes = append(boxes, [2]rig.Axes{{A1: min(from.A1, to.A1), A2: min(from.A2, to.A2)}, {A1: max(from.A1, to.A1), A2: max(from.A2, to.A2)}})
			continue
		}
		const pieces = 48
		line := make([]rig.Axes, 0, pieces+1)
		for n := range pieces + 1 {
			line = append(line, way.At(way.Seconds()*float64(n)/pieces))
		}
		lines = append(lines, line)
	}
	return lines, boxes
}

// Marks of a course, and how its ways are drawn: told apart by form alone, and from what lies under them by a white edge.
const (
	placeMark     = `<rect x="-7" y="-7" width="14" height="14" fill="black" stroke="white" stroke-width="2.5"/>`
	maybeMark     = `<rect x="-6" y="-6" width="12" height="12" fill="white" stroke="black" stroke-width="2.5"/>`
	intendedMark  = `<path d="M0 -11L10 7L-10 7Z" fill="white" stroke="black" stroke-width="3"/>`
	predictedMark = `<path d="M-7 -7L7 7M7 -7L-7 7" stroke="white" stroke-width="8"/><path d="M-7 -7L7 7M7 -7L-7 7" stroke="black" stroke-width="4"/>`
	wayPen        = `stroke-width="3.5"`
	withinPen     = `fill="black" fill-opacity="0.1"`
	elsePen       = `stroke-width="2.5" stroke-dasharray="3 5"`
)

// course draws places, ends and the ways between them, those of the intended end on top.
func (m *sheet) course(b *strings.Builder, r *rig.Rig, c *Course) {
	if c == nil {
		return
	}
	if len(c.Places) > 0 {
		for _, end := range c.Predicted {
			m.way(b, r, c, end, elsePen)
		}
		if c.Intended != nil {
			m.way(b, r, c, *c.Intended, wayPen)
		}
	}
	for _, end := range c.Predicted {
		m.mark(b, end, predictedMark)
	}
	if c.Intended != nil {
		m.mark(b, *c.Intended, intendedMark)
	}
	for i := len(c.Places) - 1; i >= 0; i-- {
		m.mark(b, c.Places[i], map[bool]string{true: placeMark, false: maybeMark}[i == 0])
	}
}

func (m *sheet) mark(b *strings.Builder, at rig.Axes, mark string) {
	fmt.Fprintf(b, `<g transform="translate(%.1f %.1f)">%s</g>`+"\n", m.x(at.A1.Deg()), m.y(at.A2.Deg()), mark)
}

func (m *sheet) way(b *strings.Builder, r *rig.Rig, c *Course, to rig.Axes, pen string) {
	lines, boxes := c.way(r, to)
	for _, box := range boxes {
		m.frame(b, box[0], box[1], `stroke="black" `+pen)
		x, y := m.x(box[0].A1.Deg()), m.y(box[1].A2.Deg())
		fmt.Fprintf(b, `<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" %s/>`+"\n", x, y, m.x(box[1].A1.Deg())-x, m.y(box[0].A2.Deg())-y, withinPen)
	}
	for _, line := range lines {
		var d strings.Builder
		for i, a := range line {
			fmt.Fprintf(&d, "%s%.1f %.1f", map[bool]string{true: "M", false: "L"}[i == 0], m.x(a.A1.Deg()), m.y(a.A2.Deg()))
		}
		fmt.Fprintf(b, `<path d="%s" fill="none" stroke="white" stroke-width="7"/><path d="%s" fill="none" stroke="black" %s/>`+"\n", d.String(), d.String(), pen)
	}
}

// entry is one line of a map's legend: a mark of 26 by 14, and what it means.
type entry struct{ mark, words string }

// legend says what a course's marks are.
func (c *Course) legend(r *rig.Rig) []entry {
	if c == nil {
		return nil
	}
	at := func(mark string) string { return `<g transform="translate(13 7) scale(0.8)">` + mark + `</g>` }
	var out []entry
	if len(c.Places) == 0 {
		out = append(out, entry{"", "where the rig is now is not known"})
	} else {
		out = append(out, entry{at(placeMark), "where the rig is: " + c.Places[0].String()})
	}
	if len(c.Places) > 1 {
		out = append(out, entry{at(maybeMark), fmt.Sprintf("where else it may be: %s", all(c.Places[1:]))})
	}
	if c.Intended != nil {
		out = append(out, entry{at(intendedMark), "where the motion is to end: " + c.Intended.String()})
	}
	if len(c.Predicted) > 0 {
		out = append(out, entry{at(predictedMark), "where it may end instead: " + all(c.Predicted)})
	}
	if ways := "the way there"; len(c.Places) > 0 && (c.Intended != nil || len(c.Predicted) > 0) {
		mark := `<path d="M0 7h26" stroke="black" ` + wayPen + `/>`
		if r.Motion.Sharing == rig.AnyOrder {
			ways = "the way there: anywhere within the shaded box"
			mark = `<rect width="26" height="14" stroke="black" ` + wayPen + " " + withinPen + `/>`
		}
		if len(c.Predicted) > 0 {
			ways += "; dotted: to the other ends"
		}
		out = append(out, entry{mark, ways})
	}
	return out
}

// all writes a few poses, and of many how many more there are.
func all(poses []rig.Axes) string {
	const most = 3
	var words []string
	for i, p := range poses {
		if i == most {
			return strings.Join(words, ", ") + fmt.Sprintf(" and %d more", len(poses)-most)
		}
		words = append(words, p.String())
	}
	return strings.Join(words, ", ")
}

// unlimited says why there are no limits about where they should be.
func unlimited(s *reach.Survey, stands string) string {
	switch {
	case s.Raster.Spent:
		return "the work ran out"
	case stands == "home":
		return "with what may be off, it is not clear even at home"
	}
	return "with what may be off, it is not clear there itself"
}

// legend says what is what of what is drawn, and which way the axes turn; it returns how tall it is.
func (m *sheet) legend(r *rig.Rig, s *reach.Survey, a Asked, c *Course, cells string) (svg string, tall float64) {
	stands := "where the limits are about"
	if s.About == r.Home {
		stands = "home"
	}
	entries := []entry{{`<rect width="26" height="14" fill="white" stroke="black"/>`, "clear"}}
	for _, of := range []struct{ fill, words string }{{barred, "not clear: two parts are nearer than they may be"}, {unknown, "not known: counts as not clear"}} {
		if strings.Contains(cells, `fill="`+of.fill+`"`) {
			entries = append(entries, entry{fmt.Sprintf(`<rect width="26" height="14" fill="%s" stroke="black"/>`, of.fill), of.words})
		}
	}
	entries = append(entries, entry{`<rect width="26" height="14" fill="none" stroke="black" stroke-width="2"/>`, "travel of the file"})
	if s.Clear {
		entries = append(entries, entry{`<path d="M0 7h26" stroke="black" stroke-width="3" stroke-dasharray="10 5"/>`, "widest limits, one interval per axis"})
	} else {
		entries = append(entries, entry{"", "There are no limits to draw: " + unlimited(s, stands) + "."})
	}
	entries = append(entries, entry{`<circle cx="13" cy="7" r="6" fill="white" stroke="black" stroke-width="2.5"/>`, stands + ": " + s.About.String()})
	entries = append(entries, c.legend(r)...)
	for _, words := range a.notes(r) {
		entries = append(entries, entry{"", words})
	}
	turning := strings.SplitAfter(r.Turning(), "; ")
	for _, words := range turning {
		entries = append(entries, entry{"", strings.TrimSpace(words)})
	}
	var b strings.Builder
	y := top + m.tall() + 66
	for _, e := range entries {
		x := 36
		if e.mark == "" {
			x = 0
		}
		fmt.Fprintf(&b, `<g transform="translate(%.0f %.0f)">%s</g>`+"\n", left, y-11, e.mark)
		for _, line := range wrapped(e.words, int((max(m.wide(), narrowest)-36)/letterWide)) {
			fmt.Fprintf(&b, `<text x="%.0f" y="%.0f">%s</text>`+"\n", left+float64(x), y+1, html.EscapeString(line))
			y += 18
		}
		y += 4
	}
	return b.String(), y - top - m.tall()
}
