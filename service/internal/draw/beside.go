package draw

import (
	"fmt"
	"html"
	"math"
	"strings"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
)

// axisPen draws the line of an axis.
const axisPen = `stroke="black" stroke-width="1" stroke-dasharray="14 3 3 3"`

// axes draws the lines of both axes, so that what they carry is seen to hang together.
func (q *panel) axes(b *strings.Builder, v *View, e *eye) {
	c := &v.rig.Chain
	turned := c.Link1(v.at)
	second := turned.Point(c.Point2)
	for _, l := range [][2]vec{{c.Point1, c.Dir1}, {second, turned.Dir(c.Dir2)}} {
		x1, y1 := q.on(e.see(l[0].Sub(l[1].Scale(q.reach / 3))))
		x2, y2 := q.on(e.see(l[0].Add(l[1].Scale(q.reach / 3))))
		fmt.Fprintf(b, `<path d="M%.1f %.1fL%.1f %.1f" %s/>`+"\n", x1, y1, x2, y2, axisPen)
	}
}

// arrow shows where the tube points: an arrow before its front, a ring with a dot where that is out of the paper, with a cross into it.
func (q *panel) arrow(b *strings.Builder, v *View, e *eye) {
	dir := v.rig.Chain.Direction(v.at)
	from := v.front(dir)
	long := q.reach / 7
	x, y := q.on(e.see(from.Add(dir.Scale(long / 5))))
	tx, ty := q.on(e.see(from.Add(dir.Scale(long))))
	if math.Abs(dir.Dot(e.toward)) < 0.85 {
		l := math.Hypot(tx-x, ty-y)
		ux, uy := (tx-x)/l, (ty-y)/l
		point := min(14, 0.8*l)
		fmt.Fprintf(b, `<path d="M%.1f %.1fL%.1f %.1f" stroke="black" stroke-width="2.5"/>`, x, y, tx-point*ux, ty-point*uy)
		fmt.Fprintf(b, `<path d="M%.1f %.1fL%.1f %.1fL%.1f %.1fZ" stroke="white"/>`+"\n", tx, ty, tx-point*ux-6*uy, ty-point*uy+6*ux, tx-point*ux+6*uy, ty-point*uy-6*ux)
		return
	}
	fmt.Fprintf(b, `<circle cx="%.1f" cy="%.1f" r="8" fill="white" stroke="black" stroke-width="2"/>`, x, y)
	if dir.Dot(e.toward) > 0 {
		fmt.Fprintf(b, `<circle cx="%.1f" cy="%.1f" r="3"/>`+"\n", x, y)
		return
	}
	fmt.Fprintf(b, `<path d="M%.1f %.1fl11 11m0 -11l-11 11" stroke="black" stroke-width="2"/>`+"\n", x-5.5, y-5.5)
}

// front is the middle of the front of what axis 2 carries: of the body that reaches farthest toward where the tube points.
func (v *View) front(dir vec) vec {
	best, at := math.Inf(-1), v.rig.Chain.Point2
	for i, b := range v.scene.Bodies {
		if far := v.placed[i].SupportDistance(dir); b.Link == rig.OnAxis2 && far > best {
			centre := middleOf(v.placed[i])
			best, at = far, centre.Add(dir.Scale(far-centre.Dot(dir)))
		}
	}
	return at
}

func middleOf(s solid.Shape) vec {
	low, high := s.Bounds()
	return low.Add(high).Scale(0.5)
}

// words fills the corner that no view takes: what is said of the pose, what is what, and the scale.
func (p *plan) words(b *strings.Builder, v *View) {
	x, y := edge+panelWide+between, head+p.tall[0]+between
	line := func(words string) {
		for _, l := range wrapped(words, lineLong) {
			fmt.Fprintf(b, `<text x="%.0f" y="%.0f">%s</text>`+"\n", x, y, html.EscapeString(l))
			y += 18
		}
	}
	for _, s := range v.sentences() {
		line(s)
	}
	if far := p.those(v, func(part int) bool { return !p.shown[part] }); far != "" {
		line("Farther off than the pictures go: " + far + ".")
	}
	if far := p.those(v, func(part int) bool { return p.shown[part] && p.missed[part] }); far != "" {
		line("In some of them only, beside where the others end: " + far + ".")
	}
	y += 10
	for _, k := range p.key() {
		fmt.Fprintf(b, `<g transform="translate(%.0f %.0f)">%s<text x="40" y="12">%s</text></g>`+"\n", x, y-11, k[0], html.EscapeString(k[1]))
		y += 22
	}
	y += 4
	for _, s := range strings.SplitAfter(v.rig.Turning(), "; ") {
		line(s)
	}
	p.bar(b, x, y+14)
}

// those names the parts of which something is true.
func (p *plan) those(v *View, is func(part int) bool) string {
	var names []string
	for part, name := range v.scene.Names {
		if is(part) {
			names = append(names, name)
		}
	}
	return strings.Join(names, ", ")
}

// key says what is what.
func (p *plan) key() [][2]string {
	patch := func(with string) string { return `<rect width="28" height="14" ` + with + `/>` }
	out := [][2]string{
		{patch(pen(rig.Ground, 0)), "stands on the ground"},
		{patch(pen(rig.OnAxis1, 0)), "turns with axis 1"},
		{patch(pen(rig.OnAxis2, 0)), "turns with axis 1 and axis 2"},
		{`<circle cx="14" cy="7" r="9" fill="none" stroke="black" stroke-width="2.5"/><path d="M9 7h10" stroke="black" stroke-width="2.5"/>`, "the nearest two parts, and the gap between them"},
		{`<path d="M0 7h28" ` + axisPen + `/>`, "the two axes"},
		{`<path d="M0 7h18" stroke="black" stroke-width="2.5"/><path d="M28 7l-14 -6v12Z"/>`, "where the tube points (dot: toward you; cross: away)"},
	}
	if p.maybe {
		out = append(out, [2]string{patch(`fill="white" stroke="black" stroke-width="3"` + maybePen), "there only in some of its part's states"})
	}
	if p.through {
		out = append(out, [2]string{patch(outlineOnly), "stands before the rig: its edge alone is drawn"})
	}
	return out
}

// bar draws a round length to scale.
func (p *plan) bar(b *strings.Builder, x, y float64) {
	long := roundLength(panelWide / 2 / p.scale)
	fmt.Fprintf(b, `<path d="M%.1f %.1fv10m0 -5h%.1fm0 -5v10" fill="none" stroke="black" stroke-width="2"/><text x="%.1f" y="%.1f">%g mm, in all three views</text>`+"\n", x, y-5, long*p.scale, x+long*p.scale+8, y+4, long)
}

// roundLength is the greatest of 1, 2, 5, 10, … that is no longer than a length, mm.
func roundLength(most float64) float64 {
	ten := math.Pow(10, math.Floor(math.Log10(most)))
	for _, n := range []float64{5, 2} {
		if n*ten <= most {
			return n * ten
		}
	}
	return ten
}

// wrapped breaks words into lines of so many letters.
func wrapped(words string, most int) []string {
	var out []string
	line := ""
	for _, w := range strings.Fields(words) {
		if line != "" && len([]rune(line))+1+len([]rune(w)) > most {
			out, line = append(out, line), ""
		}
		line = strings.TrimSpace(line + " " + w)
	}
	return append(out, line)
}
