package inspect

import (
	"fmt"
	"math"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// short is by how much the margins of a pair of parts fall short of something, mm.
type short struct {
	a, b         string
	margins, off float64
}

// worst keeps the pair that falls shortest.
func (s *short) worst(a, b *rig.Part, margins, off float64) {
	if off-margins > s.off-s.margins {
		*s = short{a.Name, b.Name, margins, off}
	}
}

// margins holds the margins of each pair that is judged against what the rig may be out by. Reading errors, the uncertainty of the pose and what
// gauges find count beside the margins, so that they are only to be known of; false where it was stopped.
func (l *look) margins() bool {
	pairs, ok := l.judged()
	if !ok {
		return false
	}
	l.hold(pairs)
	return true
}

// hold holds the margins of pairs of parts.
func (l *look) hold(pairs [][2]int) {
	sigma := l.sigma()
	var residual, reading, pose short
	for _, pair := range pairs {
		a, b := &l.r.Parts[pair[0]], &l.r.Parts[pair[1]]
		margins := float64(max(a.Margin, l.PartMM) + max(b.Margin, l.PartMM) + l.GeneralMM)
		read := a.Reading + b.Reading
		if a.Link == rig.Ground {
			read += l.r.Placing
		}
		residual.worst(a, b, margins, float64(l.ResidualMM))
		reading.worst(a, b, margins, float64(read))
		pose.worst(a, b, margins, l.moved(a, b, sigma))
	}
	if s := residual; s.off > 0 {
		l.inform(rig.SmallMargin, "limits.clear/path", fmt.Sprintf("the margins of %s and %s are %.3g mm in all, and rig/proven passes a file that is out by %.3g mm", s.a, s.b, s.margins, s.off),
			fmt.Sprintf("what gauges find counts beside the margins; margins as large as that: general_mm %s; or lower rig/proven residual_mm to %.3g", l.general(s), s.margins))
	}
	if s := reading; s.off > 0 {
		l.inform(rig.SmallMargin, "tape.reading_error_mm", fmt.Sprintf("the reading errors between %s and %s add up to %.3g mm, more than their margins (%.3g mm)", s.a, s.b, s.off, s.margins),
			fmt.Sprintf("they count beside the margins: measured more exactly, more is allowed; margins as large as they: general_mm %s", l.general(s)))
	}
	if s := pose; s.off > 0 {
		l.inform(rig.SmallMargin, "homing", fmt.Sprintf("home and axes are known to %s, which moves %s and %s against each other by up to %.0f mm, more than their margins (%.3g mm)", around(sigma), s.a, s.b, s.off, s.margins),
			fmt.Sprintf("it counts beside the margins: known more exactly, more is allowed; margins as large as that: general_mm %s", l.general(s)))
	}
}

// general is the general_mm with which the margins would be as large as what they fall short of.
func (l *look) general(s short) string {
	return fmt.Sprintf("%.0f", math.Ceil(float64(l.GeneralMM)+s.off-s.margins))
}

// sigma is three standard deviations of where the axes are after a homing: the worse of home and the best pose source.
func (l *look) sigma() rig.Axes {
	out := l.r.Homing.Sigma
	if len(l.r.Sources) > 0 {
		s := l.r.Sources[0].Sigma
		out = rig.Axes{A1: max(out.A1, s.A1), A2: max(out.A2, s.A2)}
	}
	return out.Scale(3)
}

// stride is after how many pairs of shapes it is asked whether to go on. Choice: a millisecond or two.
const stride = 1 << 16

// judged are the pairs of parts that are judged, of pairs of shapes of which there may be millions; ok is false where it was stopped.
func (l *look) judged() (out [][2]int, ok bool) {
	s := l.r.Scene(nil, 0, 0)
	parts := len(l.r.Parts)
	seen := make([]bool, parts*parts)
	for n, q := range s.Pairs {
		if n%stride == stride-1 && !l.going() {
			return nil, false
		}
		a, b := s.Bodies[q.A].Part, s.Bodies[q.B].Part
		if !seen[a*parts+b] {
			seen[a*parts+b] = true
			out = append(out, [2]int{a, b})
		}
	}
	return out, true
}

// moved bounds by how much an uncertainty of the axes moves two parts against each other, mm: the chords that the farthest points draw.
func (l *look) moved(a, b *rig.Part, by rig.Axes) float64 {
	chord := func(far float64, angle unit.Angle) float64 { return far * 2 * math.Sin(min(float64(angle), math.Pi)/2) }
	far1 := min(l.r.Farthest(a, 1), l.r.Farthest(b, 1))
	far2 := min(l.r.Farthest(a, 2), l.r.Farthest(b, 2))
	switch {
	case a.Link == rig.OnAxis1:
		return chord(far2, by.A2)
	case b.Link == rig.OnAxis1:
		return chord(far1, by.A1)
	}
	// What turns with axis 2 comes no farther from axis 1 than it reaches from where that meets axis 2, and the two axes' distance.
	apart := l.r.Chain.Point2.Sub(l.r.Chain.Point1).Norm()
	return chord(min(l.r.Farthest(a, 1), l.r.Around(b)+apart), by.A1) + chord(l.r.Farthest(b, 2), by.A2)
}
