package reach

import "keepclear.example/keepclear/service/internal/rig"

// Clears tells whether the map proves that every pose of a way, and every pose within spread of it, keeps what it is a map of: all of them lie in
// cells that are clear. Where it is false nothing is said: the map is cut no finer than 0.25°.
func (m *Map) Clears(way Way, spread rig.Axes, left Budget) bool {
	if !way.finite() || !spread.Finite() || spread.A1 < 0 || spread.A2 < 0 {
		return false
	}
	ok, _ := m.visit(left).sweeps(&way, spread)
	return ok
}

// sweeps is Clears for one visit; it counts the pieces that it looks at.
func (v *visit) sweeps(way *Way, spread rig.Axes) (clear bool, steps int) {
	for i := range way.legs {
		l := &way.legs[i]
		s := sweep{v: v, l: l, by: spread.Add(l.fuzz())}
		if l.kind == rectLeg {
			clear = v.clears(finesOf(hull(l.from, l.to, s.by)))
		} else {
			last := l.lastMark()
			clear = s.clears(0, last, l.point(0), l.point(last))
		}
		if steps += s.steps; !clear {
			return false, steps
		}
	}
	return true, steps
}

// sweep is the look at one leg.
type sweep struct {
	v     *visit
	l     *leg
	by    rig.Axes
	steps int
}

// clears looks at a stretch of the leg, which is halved until the rectangle about it is small.
func (s *sweep) clears(first, last float64, from, to rig.Axes) bool {
	s.steps++
	if s.v.clears(finesOf(hull(from, to, s.by))) {
		return true
	}
	m := first + (last-first)/2
	if !(to.Sub(from).Abs().Max() > 2*fineStep) || !(m > first && m < last) {
		return false
	}
	at := s.l.point(m)
	return s.clears(first, m, from, at) && s.clears(m, last, at, to)
}
