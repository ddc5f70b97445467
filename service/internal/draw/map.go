package draw

import (
	"fmt"
	"html"
	"math"
	"strings"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Sizes of the picture of a map, in its own units. Choice: read without a lens on a page or a screen.
const (
	perDegree = 2.0
	left      = 70.0
	top       = 70.0
	narrowest = 480.0 // what the words need
	most      = 360.0 // degrees of an axis that are drawn at most on either side of its middle
)

// Fills of cells that are not clear.
const (
	barred  = "url(#barred)"
	unknown = "#888"
)

// Map draws the map of a rig's axis space about its travel as SVG: white is clear, hatched is not, grey is not known; a frame is the travel of
// the file, a dashed one the widest limits, a ring where these are about. The course, if any, is drawn over it.
func Map(r *rig.Rig, s *reach.Survey, a Asked, c *Course) string {
	m := newSheet(s)
	var cells strings.Builder
	m.cells(&cells, s.Raster)
	legend, under := m.legend(r, s, a, c, cells.String())
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" font-family="sans-serif" font-size="13">`+"\n", max(m.wide(), narrowest)+left+30, m.tall()+top+under)
	b.WriteString(`<defs><pattern id="barred" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="6" height="6" fill="#ddd"/><rect width="2.4" height="6" fill="#222"/></pattern></defs>` + "\n")
	b.WriteString(`<rect width="100%" height="100%" fill="white"/>` + "\n")
	fmt.Fprintf(&b, `<text x="%.0f" y="24" font-size="17">%s</text>`+"\n", left, html.EscapeString(r.ID+": room to move, "+a.words()))
	if a.What != "" {
		fmt.Fprintf(&b, `<text x="%.0f" y="44">%s</text>`+"\n", left, html.EscapeString("if "+a.What))
	}
	b.WriteString(cells.String())
	m.scales(&b)
	t := s.Travel
	m.frame(&b, t.Low, t.High, `stroke="black" stroke-width="2"`)
	if s.Clear {
		low1, high1 := m.ends(s.Widest[0], 0)
		low2, high2 := m.ends(s.Widest[1], 1)
		m.frame(&b, rig.Axes{A1: low1, A2: low2}, rig.Axes{A1: high1, A2: high2}, `stroke="black" stroke-width="3" stroke-dasharray="10 5"`)
	}
	m.ring(&b, s.About)
	m.course(&b, r, c)
	b.WriteString(legend)
	b.WriteString("</svg>\n")
	return b.String()
}

// sheet is the piece of axis space that is drawn, degrees: whole tens about the travel.
type sheet struct{ low, high [2]float64 }

func newSheet(s *reach.Survey) sheet {
	tens := func(v, way float64) float64 { return 10 * way * math.Ceil(way*v/10+0.5) }
	m := sheet{
		[2]float64{tens(s.Travel.Low.A1.Deg(), -1), tens(s.Travel.Low.A2.Deg(), -1)},
		[2]float64{tens(s.Travel.High.A1.Deg(), 1), tens(s.Travel.High.A2.Deg(), 1)},
	}
	for axis := range 2 {
		if mid := math.Round((m.low[axis] + m.high[axis]) / 20); m.high[axis]-m.low[axis] > 2*most {
			m.low[axis], m.high[axis] = 10*mid-most, 10*mid+most
		}
	}
	return m
}

func (m sheet) wide() float64 { return perDegree * (m.high[0] - m.low[0]) }
func (m sheet) tall() float64 { return perDegree * (m.high[1] - m.low[1]) }

// x and y place an angle of axis 1 and of axis 2, degrees; what lies off the sheet is put on its edge.
func (m sheet) x(deg float64) float64 {
	return left + perDegree*(min(max(deg, m.low[0]), m.high[0])-m.low[0])
}
func (m sheet) y(deg float64) float64 {
	return top + perDegree*(m.high[1]-min(max(deg, m.low[1]), m.high[1]))
}

// ends are those of an interval of an axis; of one that is free, the sheet's.
func (m sheet) ends(e reach.Extent, axis int) (low, high unit.Angle) {
	if e.Free {
		return unit.Deg(m.low[axis]), unit.Deg(m.high[axis])
	}
	return e.Low, e.High
}

// cells draws what is not clear: of each row the runs of equal cells.
func (m sheet) cells(b *strings.Builder, r *reach.Raster) {
	step := reach.RasterStep.Deg()
	look := map[reach.Standing]string{reach.Unknown: unknown, reach.Barred: barred}
	for a2 := m.low[1]; a2 < m.high[1]-step/2; a2 += step {
		from, was := m.low[0], reach.Clear
		for a1 := m.low[0]; ; a1 += step {
			now := reach.Clear
			if a1 < m.high[0]-step/2 {
				now = r.At(rig.DegAxes(a1+step/2, a2+step/2))
			}
			if now == was && a1 < m.high[0]-step/2 {
				continue
			}
			if fill, drawn := look[was]; drawn {
				fmt.Fprintf(b, `<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="%s"/>`+"\n", m.x(from), m.y(a2+step), m.x(a1)-m.x(from), perDegree*step, fill)
			}
			if from, was = a1, now; a1 >= m.high[0]-step/2 {
				break
			}
		}
	}
}

// scales draws the edge, the degrees along it and what the axes are.
func (m sheet) scales(b *strings.Builder) {
	fmt.Fprintf(b, `<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="none" stroke="#555"/>`+"\n", left, top, m.wide(), m.tall())
	every := func(axis int) float64 {
		if m.high[axis]-m.low[axis] > 400 {
			return 60
		}
		return 30
	}
	for deg := math.Ceil(m.low[0]/every(0))*every(0) + 0; deg <= m.high[0]; deg += every(0) {
		fmt.Fprintf(b, `<path d="M%.1f %.1fv8" stroke="black"/><text x="%.1f" y="%.1f" text-anchor="middle">%g°</text>`+"\n", m.x(deg), top+m.tall(), m.x(deg), top+m.tall()+22, deg)
	}
	for deg := math.Ceil(m.low[1]/every(1))*every(1) + 0; deg <= m.high[1]; deg += every(1) {
		fmt.Fprintf(b, `<path d="M%.1f %.1fh-8" stroke="black"/><text x="%.1f" y="%.1f" text-anchor="end">%g°</text>`+"\n", left, m.y(deg), left-12, m.y(deg)+4, deg)
	}
	fmt.Fprintf(b, `<text x="%.1f" y="%.1f" text-anchor="middle">axis 1, degrees from zero</text>`+"\n", left+m.wide()/2, top+m.tall()+42)
	fmt.Fprintf(b, `<text transform="translate(18 %.1f) rotate(-90)" text-anchor="middle">axis 2, degrees from zero</text>`+"\n", top+m.tall()/2)
}

func (m sheet) frame(b *strings.Builder, low, high rig.Axes, pen string) {
	x, y := m.x(low.A1.Deg()), m.y(high.A2.Deg())
	fmt.Fprintf(b, `<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="none" stroke="white" stroke-width="5"/>`+"\n", x, y, m.x(high.A1.Deg())-x, m.y(low.A2.Deg())-y)
	fmt.Fprintf(b, `<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="none" %s/>`+"\n", x, y, m.x(high.A1.Deg())-x, m.y(low.A2.Deg())-y, pen)
}

func (m sheet) ring(b *strings.Builder, at rig.Axes) {
	fmt.Fprintf(b, `<circle cx="%.1f" cy="%.1f" r="8" fill="white" stroke="black" stroke-width="3"/>`+"\n", m.x(at.A1.Deg()), m.y(at.A2.Deg()))
}
