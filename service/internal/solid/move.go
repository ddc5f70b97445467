package solid

import "keepclear.example/keepclear/service/internal/frame"

// Moved returns the solid carried along by a rigid motion, which must be one that package frame made: a turn and a shift.
func (s Shape) Moved(m Motion) Shape {
	var out Shape
	Place(&out, &s, &m)
	return out
}

// Place writes into dst the solid src carried along by m: Moved, without copies. dst may be src.
func Place(dst, src *Shape, m *Motion) {
	before := src.centre
	*dst = *src
	dst.centre = m.Point(before)
	switch src.kind {
	case CapsuleKind:
		dst.a, dst.b = m.Dir(dst.a), m.Dir(dst.b)
	case CylinderKind, FrustumKind:
		dst.a, dst.b = m.Dir(dst.a), m.Dir(dst.b)
		dst.axis = m.Dir(dst.axis).Unit()
	case BoxKind, HullKind:
		dst.turn = frame.Then(dst.turn, m.R)
	case NoKind, SphereKind:
	}
	dst.slack += rounding(before, dst.ball) + rounding(m.T, 0)
}
