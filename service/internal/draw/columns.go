package draw

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
)

// Column is one reading of a rig's file among several that are compared.
type Column struct {
	what  string
	cells [][]string // of each row, its lines
}

// NewColumn sums a survey up. What the comparison needs of it stands in the column then, so that the survey need not be kept.
func NewColumn(s *reach.Survey, a Asked) Column {
	out := Column{what: a.What}
	out.row(a.nearest(s.Here.Nearest)...)
	for axis, e := range s.Widest {
		out.row(room(s, e))
		for n := range 2 {
			out.row(bound(s, s.Binds[axis][n])...)
		}
	}
	least := a.nearest(s.All.Nearest)
	if s.All.Nearest != nil {
		least = append(least, s.All.Nearest.Pose.String())
	}
	out.row(least...)
	out.row(fmt.Sprintf("%.1f %%", 100*s.Reached))
	return out
}

func (c *Column) row(lines ...string) { c.cells = append(c.cells, lines) }

// rowNames are those of a column's cells.
var rowNames = []string{"at home", "axis 1", "  low end", "  high end", "axis 2", "  low end", "  high end", "the least", "reached"}

func room(s *reach.Survey, e reach.Extent) string {
	switch {
	case !s.Clear:
		return "no room"
	case e.Free:
		return "all round"
	}
	return degrees(e.Low) + " to " + degrees(e.High)
}

func bound(s *reach.Survey, a *reach.Approach) []string {
	if !s.Clear || a == nil {
		return []string{"–"}
	}
	return a.Parts[:]
}

// nearest is a gap beside what is asked of it, and the two parts.
func (a Asked) nearest(n *reach.Approach) []string {
	if n == nil {
		return []string{"nothing nears"}
	}
	asked, gap := n.Required, "they touch"
	if a.Gap != nil {
		asked = *a.Gap
	}
	if n.Upper > 0 {
		gap = fmt.Sprintf("%.1f of %.1f mm", max(0, float64(n.Lower)), float64(asked))
	}
	return append([]string{gap}, n.Parts[:]...)
}

// Widths of a comparison on a terminal of 80 letters: names of rows, then so many columns.
const (
	rowWide    = 11
	columnWide = 23
	abreast    = 3
)

// SideBySide sets readings of one rig's file beside each other, the first being the file as it is; more than fit abreast go on below, each time beside
// the first.
func SideBySide(r *rig.Rig, all []Column) string {
	var b strings.Builder
	rig.Say(&b, "%s, side by side: the gap of the nearest two parts, of what is asked of it; the widest limits, with the parts that bind each end; the least to spare within travel; how much of the travel can be reached.", r.ID)
	for i, c := range all[1:] {
		rig.Say(&b, "  (%d) if %s", i+1, c.what)
	}
	for from := 1; from < len(all); from += abreast - 1 {
		to := min(from+abreast-1, len(all))
		heads, shown := []string{"as it is"}, []Column{all[0]}
		for i := from; i < to; i++ {
			heads, shown = append(heads, fmt.Sprintf("(%d)", i)), append(shown, all[i])
		}
		b.WriteString("\n")
		sayColumns(&b, heads, shown)
	}
	return b.String()
}

func sayColumns(b *strings.Builder, heads []string, shown []Column) {
	sayRow(b, "", heads)
	for row, name := range rowNames {
		tall := 0
		for _, c := range shown {
			tall = max(tall, len(c.cells[row]))
		}
		for line := range tall {
			var cells []string
			for _, c := range shown {
				cells = append(cells, lineOf(c.cells[row], line))
			}
			sayRow(b, name, cells)
			name = ""
		}
	}
}

func lineOf(lines []string, n int) string {
	if n < len(lines) {
		return lines[n]
	}
	return ""
}

func sayRow(b *strings.Builder, name string, cells []string) {
	line := padded(name, rowWide)
	for _, c := range cells {
		line += padded(shortened(c, columnWide-1), columnWide)
	}
	b.WriteString(strings.TrimRight(line, " ") + "\n")
}

func padded(s string, wide int) string {
	return s + strings.Repeat(" ", max(0, wide-utf8.RuneCountInString(s)))
}

// shortened cuts what is longer than a column: a part may have any name.
func shortened(s string, wide int) string {
	if r := []rune(s); len(r) > wide {
		return string(r[:wide-1]) + "…"
	}
	return s
}
