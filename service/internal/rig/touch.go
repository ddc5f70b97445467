package rig

import (
	"fmt"
	"math"

	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// This file finds out whether two parts of neighbouring links touch wherever the axis between them stands. Only such a pair may be listed in
// always_touch, which is never judged: one that touches at home alone is measured wrong.

// mostLooks bounds the poses that are looked at for one pair. Choice: a seam of 1 mm at a reach of 300 mm takes some 500.
const mostLooks = 2000

// hold is what is known of a pair over all of its axis's travel.
type hold struct {
	always bool // it touches everywhere, proven
	apart  bool // at Axis = At it does not, by Gap
	at     unit.Angle
	gap    float64
}

// heldAll finds out of two parts of neighbouring links whether they touch all over travel, whatever their states. It looks at one pose after
// the other; around each nothing comes farther apart than the chord that the nearer of the two reaches draws, as in reach's bounds.
func (r *Rig) heldAll(a, b *Part) hold {
	axis, low, high := 1, r.Travel.Low.A1, r.Travel.High.A1
	if a.Link == OnAxis1 {
		axis, low, high = 2, r.Travel.Low.A2, r.Travel.High.A2
	}
	if high-low > unit.Turn {
		high = low + unit.Turn
	}
	far := min(r.Farthest(a, axis), r.Farthest(b, axis))
	type stretch struct{ low, high unit.Angle }
	todo := []stretch{{low, high}}
	for looks := 0; len(todo) > 0; looks++ {
		if looks == mostLooks {
			return hold{}
		}
		s := todo[0]
		todo = todo[1:]
		mid, half := (s.low+s.high)/2, (s.high-s.low)/2
		nearest, farthest := r.gapsAt(a, b, axis, mid)
		switch {
		case nearest > touching:
			return hold{apart: true, at: mid, gap: nearest}
		case farthest+far*2*math.Sin(min(float64(half), math.Pi)/2) <= touching:
		default:
			todo = append(todo, stretch{s.low, mid}, stretch{mid, s.high})
		}
	}
	return hold{always: true}
}

// Farthest is how far a part reaches from an axis (1 or 2) at the zero pose, in any of its states, mm.
func (r *Rig) Farthest(p *Part, axis int) float64 {
	at, dir := r.Chain.Point1, r.Chain.Dir1
	if axis == 2 {
		at, dir = r.Chain.Point2, r.Chain.Dir2
	}
	far := 0.0
	for _, s := range p.taken(nil) {
		far = max(far, s.Reach(at, dir))
	}
	return far
}

// Around is how far a part reaches from the point of axis 2, in any of its states, mm: at most so.
func (r *Rig) Around(p *Part) float64 {
	far := 0.0
	for _, s := range p.taken(nil) {
		centre, radius := s.Ball()
		far = max(far, centre.Sub(r.Chain.Point2).Norm()+radius)
	}
	return far
}

// gapsAt bounds the gap of two parts, in the states in which they are farthest apart, from below and from above.
func (r *Rig) gapsAt(a, b *Part, axis int, at unit.Angle) (least, most float64) {
	pose := Axes{A1: at}
	if axis == 2 {
		pose = Axes{A2: at}
	}
	links := r.Chain.links(pose)
	least, _ = overlap(a, b, func(s, o solid.Shape) float64 {
		return solid.Distance(s.Moved(links[a.Link]), o.Moved(links[b.Link])).Lower
	})
	most, _ = overlap(a, b, func(s, o solid.Shape) float64 {
		return solid.Distance(s.Moved(links[a.Link]), o.Moved(links[b.Link])).Upper
	})
	return least, most
}

// listing says whether two parts may be listed in always_touch, and if so how it is written.
func (r *Rig) listing(top *reader, a, b *Part) string {
	axis := int(a.Link) + 1
	switch h := r.heldAll(a, b); {
	case h.apart:
		return fmt.Sprintf("no pair for always_touch: with axis %d at %.1f° they are %.1f mm apart", axis, h.at.Deg(), h.gap)
	case h.always:
		return fmt.Sprintf("they touch wherever axis %d stands: if they belong together, write %s", axis, alwaysTouch(top, a, b))
	}
	return "if the two truly always touch, write " + alwaysTouch(top, a, b)
}
