package draw

import (
	"fmt"
	"html"
	"math"
	"strings"

	"keepclear.example/keepclear/service/internal/rig"
)

// Sizes of the picture of a rig, in its own units. Choice: read without a lens on a page or a screen.
const (
	panelWide  = 440.0
	panelTall  = 560.0 // at most
	between    = 76.0  // panels
	edge       = 20.0
	head       = 120.0 // above the upper panels
	letterWide = 6.9   // of ordinary words, at most
	lineLong   = 63    // letters that go across a panel
)

// Picture draws the rig as SVG, seen from the south, from the east and from above, all to one scale, with the nearest pair marked. What is
// nearer to the eye is painted over what is farther.
func (v *View) Picture() string {
	p := v.newPlan()
	var b strings.Builder
	wide := 2*edge + 2*panelWide + between
	tall := head + p.tall[0] + between + p.tall[2] + between
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" font-family="sans-serif" font-size="13">`+"\n", wide, tall)
	b.WriteString(patterns + `<rect width="100%" height="100%" fill="white"/>` + "\n")
	fmt.Fprintf(&b, `<text x="%.0f" y="34" font-size="20">%s</text>`+"\n", edge, html.EscapeString(v.rig.ID+": "+v.rig.Title))
	fmt.Fprintf(&b, `<text x="%.0f" y="64" font-size="20" font-weight="bold">axis 1 at %s, axis 2 at %s</text>`+"\n", edge, degrees(v.at.A1), degrees(v.at.A2))
	for i, e := range eyes() {
		p.panel(i).draw(&b, v, v.seenBy(&e))
	}
	p.words(&b, v)
	b.WriteString("</svg>\n")
	return b.String()
}

// patterns are the fills: the ground's hatching, which leans either way so that neighbours are told apart.
const patterns = `<defs><pattern id="ground0" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="8" height="8" fill="white"/><rect width="1" height="8" fill="#666"/></pattern>` +
	`<pattern id="ground1" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(-45)"><rect width="8" height="8" fill="white"/><rect width="1" height="8" fill="#666"/></pattern></defs>` + "\n"

// pen is how a part is drawn: each link's are told from the others' without colour.
func pen(l rig.Link, part int) string {
	switch l {
	case rig.OnAxis1:
		return `fill="#a8a8a8" stroke="black" stroke-width="1.5"`
	case rig.OnAxis2:
		return `fill="white" stroke="black" stroke-width="3"`
	case rig.Ground:
	}
	return fmt.Sprintf(`fill="url(#ground%d)" stroke="black" stroke-width="1"`, part%2)
}

// outlineOnly is how a part of the ground is drawn that would hide too much of what turns.
const outlineOnly = `fill="none" stroke="black" stroke-width="1.2" stroke-dasharray="7 4"`

// maybePen is the edge of what is there only in some of the states that its part may be in: dots, which no other edge has.
const maybePen = ` stroke-dasharray="0.1 5" stroke-linecap="round"`

// muchHidden is the share of what turns that a part of the ground may hide. Choice: a leg before the rig is drawn over it, a roof is not.
const muchHidden = 0.5

// plan says what is drawn of the space about a rig, mm, and how large: the same at every pose.
type plan struct {
	scale     float64 // units a millimetre
	middle    vec
	low, high float64 // heights, of the views from the side
	reach     float64 // how far what turns can get from the middle
	tall      [3]float64
	through   bool         // something is drawn in outline only
	maybe     bool         // something is drawn that is there only in some states
	shown     map[int]bool // parts that some view shows
	missed    map[int]bool // and those of which some view shows nothing, since they stand beside it
}

// newPlan takes in all that what turns can reach, and what lies between it and the floor.
func (v *View) newPlan() *plan {
	c := &v.rig.Chain
	p := &plan{middle: c.Point1, shown: map[int]bool{}, missed: map[int]bool{}}
	for _, b := range v.scene.Bodies {
		centre, radius := b.Shape.Ball()
		switch b.Link {
		case rig.OnAxis1:
			p.reach = max(p.reach, centre.Sub(c.Point1).Norm()+radius)
		case rig.OnAxis2:
			p.reach = max(p.reach, c.Point2.Sub(c.Point1).Norm()+centre.Sub(c.Point2).Norm()+radius)
		case rig.Ground:
		}
	}
	p.reach = max(p.reach*1.15, 100) // with room for the arrow
	p.low, p.high = min(0, p.middle.Z)-p.reach/12, max(p.reach, p.middle.Z+p.reach)
	p.scale = min(panelWide/(2*p.reach), panelTall/(p.high-p.low))
	side := p.scale * (p.high - p.low)
	p.tall = [3]float64{side, side, 2 * p.reach * p.scale}
	return p
}

// panel is one view on the sheet.
type panel struct {
	*plan
	nth        int
	x, y       float64 // its upper left corner
	wide, tall float64
	centre     dot // what stands in the middle
}

func (p *plan) panel(nth int) *panel {
	q := &panel{plan: p, nth: nth, wide: panelWide, tall: p.tall[nth], x: edge, y: head}
	switch nth {
	case 0:
		q.centre = dot{p.middle.X, (p.low + p.high) / 2}
	case 1:
		q.x += panelWide + between
		q.centre = dot{p.middle.Y, (p.low + p.high) / 2}
	case 2:
		q.y += p.tall[0] + between
		q.centre = dot{p.middle.X, p.middle.Y}
	}
	return q
}

// on places a point on the sheet.
func (q *panel) on(d dot) (x, y float64) {
	return q.x + q.wide/2 + q.scale*(d.x-q.centre.x), q.y + q.tall/2 - q.scale*(d.y-q.centre.y)
}

// draw draws one view.
func (q *panel) draw(b *strings.Builder, v *View, s *seen) {
	fmt.Fprintf(b, `<clipPath id="view%d"><rect x="%.1f" y="%.1f" width="%.1f" height="%.1f"/></clipPath><g clip-path="url(#view%d)">`+"\n", q.nth, q.x, q.y, q.wide, q.tall, q.nth)
	q.axes(b, v, s.eye)
	var over []int
	within := map[int]bool{} // parts of which something lies in this view
	for _, i := range s.order {
		body := v.scene.Bodies[i]
		if !q.misses(s.outlines[i]) {
			within[body.Part] = true
		}
		switch {
		case q.filledBy(s.outlines[i]) || q.misses(s.outlines[i]):
		case body.Link == rig.Ground && s.hidden(i, v.scene.Bodies) > muchHidden:
			over, q.through = append(over, i), true
			q.shown[body.Part] = true
		default:
			q.shown[body.Part], s.painted[i] = true, true
			look := pen(body.Link, body.Part)
			if body.Maybe {
				look, q.maybe = look+maybePen, true
			}
			q.shape(b, s.outlines[i], v.scene.Names[body.Part], look)
		}
	}
	for _, i := range over {
		q.shape(b, s.outlines[i], v.scene.Names[v.scene.Bodies[i].Part], outlineOnly)
	}
	for part := range v.scene.Names {
		q.missed[part] = q.missed[part] || !within[part]
	}
	b.WriteString("</g>\n")
	q.names(b, v, s)
	q.mark(b, v, s.eye)
	q.frame(b, s.eye)
	q.behind(b, v, s)
	q.arrow(b, v, s.eye)
}

// misses tells whether an outline lies off the panel, or so near its edge that nobody could tell what it is.
func (q *panel) misses(outline []dot) bool {
	w, h := (q.wide/2-8)/q.scale, (q.tall/2-8)/q.scale
	low, high := span(outline)
	return low.x > q.centre.x+w || high.x < q.centre.x-w || low.y > q.centre.y+h || high.y < q.centre.y-h
}

// filledBy tells whether an outline leaves nothing else of the panel: the floor from above, a wide roof.
func (q *panel) filledBy(outline []dot) bool {
	w, h := q.wide/2/q.scale, q.tall/2/q.scale
	for _, d := range []dot{{-w, -h}, {w, -h}, {-w, h}, {w, h}} {
		if !holds(outline, dot{q.centre.x + d.x, q.centre.y + d.y}) {
			return false
		}
	}
	return true
}

func (q *panel) shape(b *strings.Builder, outline []dot, name, pen string) {
	b.WriteString(`<path d="M`)
	for _, d := range outline {
		x, y := q.on(dot{bounded(d.x), bounded(d.y)})
		fmt.Fprintf(b, "%.1f %.1f ", x, y)
	}
	fmt.Fprintf(b, `Z" stroke-linejoin="round" %s><title>%s</title></path>`+"\n", pen, html.EscapeString(name))
}

// bounded keeps a coordinate, mm, to what a reader of pictures can work with.
func bounded(v float64) float64 { return min(max(v, -1e5), 1e5) }

// frame draws the edge of the panel and says from where it is seen and what lies where.
func (q *panel) frame(b *strings.Builder, e *eye) {
	fmt.Fprintf(b, `<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="none" stroke="#777"/>`+"\n", q.x, q.y, q.wide, q.tall)
	q.word(b, q.x, q.y-30, "start", "seen from "+e.from, `font-size="16" font-weight="bold"`)
	mid := q.y + 30
	if e.above != "" {
		mid = q.y + q.tall/2
		q.word(b, q.x+q.wide/2+50, q.y+16, "middle", e.above, bold) // the line to the words is most often in the middle
		q.word(b, q.x+q.wide/2+50, q.y+q.tall-6, "middle", e.down, bold)
	} else {
		_, floor := q.on(dot{})
		fmt.Fprintf(b, `<path d="M%.1f %.1fh%.1f" stroke="black" stroke-width="2.5"/>`+"\n", q.x, floor, q.wide)
		q.word(b, q.x+q.wide-6, floor-6, "end", "floor", "")
	}
	q.word(b, q.x+6, mid, "start", e.left, bold)
	q.word(b, q.x+q.wide-6, mid, "end", e.right, bold)
}

const bold = `font-size="15" font-weight="bold"`

// word writes a word that stands out from what lies under it.
func (q *panel) word(b *strings.Builder, x, y float64, anchor, words, more string) {
	fmt.Fprintf(b, `<text x="%.1f" y="%.1f" text-anchor="%s" stroke="white" stroke-width="5" stroke-linejoin="round" paint-order="stroke" %s>%s</text>`+"\n", x, y, anchor, more, html.EscapeString(words))
}

// markAt is the middle between the nearest pair, on the sheet, and how large the ring about it is; far off it where no pair counts.
func (q *panel) markAt(v *View, e *eye) (x, y, r float64) {
	if v.near == nil {
		return -1e4, -1e4, 0
	}
	xa, ya := q.on(e.see(v.near.Gap.A))
	xb, yb := q.on(e.see(v.near.Gap.B))
	return (xa + xb) / 2, (ya + yb) / 2, max(11, math.Hypot(xa-xb, ya-yb)/2+7)
}

// mark marks the nearest pair: a line between the two places, a ring about them, and what is how far apart.
func (q *panel) mark(b *strings.Builder, v *View, e *eye) {
	if v.near == nil {
		return
	}
	xa, ya := q.on(e.see(v.near.Gap.A))
	xb, yb := q.on(e.see(v.near.Gap.B))
	x, y, r := q.markAt(v, e)
	says := v.near.parts[0] + " – " + v.near.parts[1] + ": " + v.near.mm()
	wordY, lineY := q.y-10, q.y-5
	if y > q.y+q.tall/2 { // the nearer edge
		wordY, lineY = q.y+q.tall+19, q.y+q.tall+5
	}
	half := letterWide * float64(len([]rune(says))) / 2
	wordX := max(q.x+half, min(x, q.x+q.wide-half))
	for _, pen := range []string{`stroke="white" stroke-width="7"`, `stroke="black" stroke-width="2.5"`} {
		fmt.Fprintf(b, `<g fill="none" stroke-linecap="round" %s><path d="M%.1f %.1fL%.1f %.1f"/><circle cx="%.1f" cy="%.1f" r="%.1f"/></g>`+"\n", pen, xa, ya, xb, yb, x, y, r)
	}
	end := y - math.Copysign(r, y-lineY)
	for _, pen := range []string{`stroke="white" stroke-width="4"`, `stroke="black"`} {
		fmt.Fprintf(b, `<path d="M%.1f %.1fV%.1f" %s/>`+"\n", x, lineY, end, pen)
	}
	q.word(b, wordX, wordY, "middle", says, `font-weight="bold"`)
}
