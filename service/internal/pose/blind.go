package pose

import (
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Near the end of axis 1 a belief may say little of that axis, or nothing. An equatorial that tells right ascension of date as its counters have it
// loses nothing there: the right ascension of the pole itself is where axis 1 stands. One that tells ICRS, or whose map includes refraction, has turned
// its pole a little aside before it tells where it points, and how far axis 1 was turned is lost by as much as that is known to, over the distance.
const (
	// toldWithin is what such a belief may be off on the sky by how it was worked out: aberration (20″) and nutation (17″) left out, another model of
	// refraction. Common practice, no source.
	toldWithin = 1 * unit.Arcminute
	// vagueWithin is how near the end it is no source of the pose of a rig at rest: farther off it errs by 0.3° of axis 1 at the most. On its way past the
	// end a rig is followed by it.
	vagueWithin = 3 * unit.Degree
	// blindWithin is how near nothing of axis 1 is read from it at all: there it errs by 2° and more, which is what samples at rest may differ by (see wide).
	blindWithin = 0.5 * unit.Degree
)

// fromEnd is how far from the end of axis 1 a view stands where what it says of that axis suffers there; half a turn where it does not.
func (t *turn) fromEnd(v view) unit.Angle {
	if !v.ok || !blursNearEnd(t.r, v.x) {
		return unit.HalfTurn
	}
	return FromEnd(t.r, t.axes(v, [2]unit.Angle{}, t.r.Kind.Sides()[0]))
}

// FromEnd is how far from the end of axis 1 a pose points, 0° to 90°.
func FromEnd(r *rig.Rig, a rig.Axes) unit.Angle {
	_, height, _ := r.Kind.FromIdeal(a, r.Site.Lat)
	return unit.HalfTurn/2 - height.Abs()
}

// blursNearEnd tells whether what a sample's belief says of axis 1 gets lost near the end of that axis by the form in which it is told.
func blursNearEnd(r *rig.Rig, x *question.Sample) bool {
	return r.Kind.Equatorial() && x != nil && x.Belief != nil && (r.Mount.Refracts || x.Belief.Sky.Frame == question.ICRS)
}

// Blur is what the belief of a sample, by which the axes would be at a, may be off on axis 1 by the form in which it is told: half a turn where it says
// nothing of that axis.
func Blur(r *rig.Rig, x *question.Sample, a rig.Axes) unit.Angle {
	if !blursNearEnd(r, x) {
		return 0
	}
	off := FromEnd(r, a)
	if off < blindWithin {
		return unit.HalfTurn
	}
	return unit.Angle(float64(toldWithin) / off.Sin())
}

// vague tells whether a view is no source of where axis 1 stands.
func (v view) vague() bool { return v.fromEnd < vagueWithin }

// blind tells whether a view says nothing of where axis 1 stands.
func (v view) blind() bool { return v.fromEnd < blindWithin }

// blind tells whether belief says nothing of how axis 1 turned in the course of a move.
func (m *move) blind() bool { return m.vx.blind() || m.vy.blind() }

// turnsUnseen tells whether belief shows nothing of a permitted motion: it stood where it is blind and does so still, and so it would at an end.
func (t *turn) turnsUnseen(m *move) bool {
	if !m.vx.blind() || !m.vy.blind() {
		return false
	}
	start := t.s.Anchored[0].Axes
	for _, e := range m.permit.Ends {
		if e.Sub(start).Abs().A2 < 2*blindWithin {
			return true
		}
	}
	return len(m.permit.Ends) == 0
}

// borneOut leaves of the ends of a reckoned motion those that belief bears out, where it is a source that only the end of axis 1 makes none of: there
// it still tells axis 2, and of axis 1 as much as its blur lets it. What it cannot tell apart is one place.
func (t *turn) borneOut(m *move, ends, believed []question.Candidate) []question.Candidate {
	if len(believed) == 0 || !t.declares(rig.UnsyncedBelief) || !t.mapTold(m.x) || !t.mapTold(m.y) || !t.syncsKnown(m.x, m.y) {
		return ends
	}
	start := t.s.Anchored[0].Axes
	blur := min(Blur(t.r, m.x, start)+Blur(t.r, m.y, believed[0].Axes), unit.HalfTurn)
	by := question.Sigma3(t.sigma(rig.UnsyncedBelief, m.y)).Add(rig.Axes{A1: leastMove + blur, A2: leastMove})
	var out []question.Candidate
	for _, e := range ends {
		for _, b := range believed {
			if !beyond(rig.LiftNear(b.Axes, e.Axes).Sub(e.Axes), by) {
				out = append(out, e)
				break
			}
		}
	}
	if len(out) == 0 {
		return ends
	}
	return merge(t.r, out, min(max(by.Max(), merged), unit.Degree), true)
}
