package reach

import (
	"math"

	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// This file bounds from below how fast the gap of a pair widens while one axis turns, at every pose of a part at once.
//
// At a pose where a and b stand apart, let n be the unit vector along their gap, from a to b, and y the point of b (or of a) where it ends. Turned
// about the line through p along u the gap widens by n·(u × (y - p)) = (n × u)·(y - p) per radian: of several nearest points by the least of
// these. So it is enough to know which n and which y there can be.
//
// The way n. Let ball A of radius ra about ca lie within a, ball B of radius rb about cb within b, and v = cb - ca at the pose. Along any way m the
// bodies are no farther apart than the balls: apart(m) ≤ m·v - ra - rb. Along the way seen at the pose looked at, n0, b stands
// apart(n0) = n0·v - ra - rb - sag from a, sag being how far the bodies reach toward each other beyond the balls, and the gap is the greatest
// separation: n·v - ra - rb ≥ apart(n) ≥ apart(n0), so n·v ≥ x - sag with x = n0·v. Let z = |n - n0| and side the part of v at right angles to n0.
// Then n·v ≤ x·(1 - z²/2) + z·side, and
//
//	z ≤ (side + √(side² + 2·x·sag)) / x, for x > 0.
//
// v turns with the pose, by its derivatives at the pose looked at and a rest of second order; sag is the reach of bodies turned in place, a convex
// function of the way, bounded at the vertices of the arcs (see plane in bound.go). It all but vanishes with the part: balls that touch their
// bodies where the gap is make z as small as the poses differ, by the breadth of the bodies and not by the gap: near contact nothing is lost.
//
// The place y. Seen from the centre of its ball it lies in the body, and is the farthest there against n: for any way w and any k ≥ 0, with
// out the way from the body toward the other, out·y ≥ r - z·radius, so that w·y ≤ reach(w + k·out) - k·(r - z·radius). What a body is grown by
// lies along n, which n × u does not see: there its core counts, and r = 0. And the places on a and on b lie a gap apart, along n: any part l of w, at
// right angles to n0, may be asked of the other body instead, at the price of |l| times what gap and v differ by across n0. Long
// bodies that cross meet in one place.
//
// All of it may be seen from the ground, where b turns about both axes, or from axis 1, where a turns back. For a turn of axis 1 either serves as it
// is, since n and y turn about u alike; a turn of axis 2 is seen from axis 1, and a way found from the ground is off by the turn of axis 1 beside.

// opening is the work on one gap over one part.
type opening struct {
	axis        int8       // of the creep
	turn, fixed point      // u, in the sense of the creep, and p
	n           point      // n0
	gap         float64    // at the pose looked at, 0 at least
	lines       [2]line    // of the axes there
	half        [2]float64 // by how much each turns from there at most
	arcs        [2]arc
	a, b        carried
	slack       float64
	doubt       float64
}

type line struct{ at, dir point }

// byAxis tells of each axis whether it turns something.
type byAxis [2]bool

// carried is a body of the pair as it stands at the pose looked at.
type carried struct {
	shape  *solid.Shape
	out    point   // toward the other body
	centre point   // of the ball
	ball   float64 // its radius
	round  float64 // what the body is grown by
	radius float64 // about the centre, of as much of its core as counts
	whole  float64 // of all of it
}

// from is where a pair is seen from: what turns there.
type from struct {
	a, b byAxis
	off  float64 // by how much more n may be off
}

// found is what is known of the way of a gap.
type found struct {
	off       float64 // z
	side      float64
	low, high float64 // of the gap itself
}

// inside is by how much a place that was found as one of a body may lie out of it, mm. Choice: far above rounding.
const inside = 1e-6

// opening puts the work together; ok is false where the part is too wide, or no way is known.
func (c *creeping) opening(v *sight, a, b *solid.Shape, g *solid.Gap) (o opening, ok bool) {
	o.lines = c.lines(v)
	t1, t2 := v.cell.class.turns()
	for k, turns := range (byAxis{t1, t2}) {
		o.arcs[k] = still()
		if !turns {
			continue
		}
		h := [2]unit.Angle{v.half.A1, v.half.A2}[k]
		if o.arcs[k], ok = over(-h, h); !ok {
			return o, false
		}
		o.half[k] = float64(h)
	}
	l := o.lines[c.axis]
	o.axis, o.slack, o.doubt = c.axis, c.slack, c.doubt
	o.turn, o.fixed = l.dir.Scale(float64(c.dir)), l.at
	o.n, o.gap = g.Way.Scale(-1), max(g.Upper, 0)
	o.b = o.carry(b, g.Way, g.B, o.gap+sizeOf(a)) // as if beside a ball as large as a is broad, and then beside the one that is found
	o.a = o.carry(a, o.n, g.A, o.gap+max(o.b.ball, 0))
	o.b = o.carry(b, g.Way, g.B, o.gap+max(o.a.ball, 0))
	return o, o.n != point{} && g.A.Finite() && g.B.Finite()
}

// lines are those of the axes at the pose looked at.
func (c *creeping) lines(v *sight) [2]line {
	chain := &c.p.chain
	return [2]line{{chain.Point1, chain.Dir1}, {v.motion.Point(chain.Point2), v.motion.Dir(chain.Dir2)}}
}

// carry chooses the ball within a body, near the place where the gap ends: a large one that hardly stands back from it.
func (o *opening) carry(s *solid.Shape, out, at point, apart float64) carried {
	x := carried{shape: s, out: out, centre: at, ball: -inside, round: s.Round()}
	if x.round > 0 {
		c := at.Sub(out.Scale(x.round))
		if s.Kind() == solid.SphereKind {
			c = s.Centre()
		}
		if ball := min(s.Within(c), x.round); ball > 0 {
			x.centre, x.ball = c, ball
		}
	} else {
		moves := 0.0
		for k, l := range o.lines {
			moves += o.half[k] * l.dir.Cross(at.Sub(l.at)).Cross(o.n).Norm()
		}
		x.seat(at, apart, moves)
	}
	c, r := s.Ball()
	x.whole = c.Sub(x.centre).Norm() + r - x.round
	x.radius = x.whole
	return x
}

// sizeOf is about how broad a body is.
func sizeOf(s *solid.Shape) float64 {
	ra, rb := s.Radii()
	h, _ := s.HalfSizes()
	return max((ra+rb)/2, min(h.X, h.Y, h.Z))
}

// seat tries balls of the sizes of a body, and of halves of them, for the one by which the way is known best.
func (x *carried) seat(at point, apart, moves float64) {
	off := func(back, ball float64) float64 {
		far := apart + back
		return (moves + math.Sqrt(moves*moves+2*far*(back-ball))) / far
	}
	best := off(inside, 0)
	ra, rb := x.shape.Radii()
	h, _ := x.shape.HalfSizes()
	for _, size := range [5]float64{(ra + rb) / 2, min(ra, rb), h.X, h.Y, h.Z} {
		for back := size; back > size/10; back /= 2 {
			c := at.Sub(x.out.Scale(back))
			ball := min(x.shape.Within(c), back)
			if is := off(back, ball); ball > 0 && is < best {
				best, x.centre, x.ball = is, c, ball
			}
		}
	}
}

// moves returns the derivatives of a body's centre by each axis that turns it, and what is left of its displacement.
//
// Derived: turned by t the centre moves by t·vel and a rest of at most |vel|·t²/2; the turn by axis 2 comes first, and turned by axis 1 what it
// adds makes a difference of its own size times that turn.
func (o *opening) moves(x *carried, turns byAxis) (vel [2]point, rest float64) {
	for k, l := range o.lines {
		if turns[k] {
			vel[k] = l.dir.Cross(x.centre.Sub(l.at))
		}
	}
	by2 := vel[1].Norm() * o.half[1]
	rest = by2 * o.half[1] / 2
	if turns[0] {
		rest += o.half[0]*by2 + (vel[0].Norm()+by2)*o.half[0]*o.half[0]/2
	}
	return vel, rest
}

// find bounds which ways the gap can have.
func (o *opening) find(f *from) (out found) {
	v := o.b.centre.Sub(o.a.centre)
	velA, restA := o.moves(&o.a, f.a)
	velB, restB := o.moves(&o.b, f.b)
	x, spread := v.Dot(o.n), restA+restB
	out.side = v.Sub(o.n.Scale(x)).Norm() + restA + restB
	for k := range o.half {
		w := velB[k].Add(velA[k]) // a turns back
		along := w.Dot(o.n)
		spread += math.Abs(along) * o.half[k]
		out.side += w.Sub(o.n.Scale(along)).Norm() * o.half[k]
	}
	balls := o.a.ball + o.b.ball
	sag := max(0, o.farthest(&o.a, o.a.out, f.a)-o.a.ball) + max(0, o.farthest(&o.b, o.b.out, f.b)-o.b.ball) + inside
	out.low, out.high = x-spread-sag-balls, math.Hypot(x+spread, out.side)-balls
	out.off = math.Inf(1)
	if x -= spread; x > 0 {
		out.off = (out.side+math.Sqrt(out.side*out.side+2*x*sag))/x*o.doubt + f.off
	}
	out.side += f.off * (math.Hypot(x+2*spread, out.side) + max(0, out.high) + o.a.round + o.b.round)
	return out
}

// farthest is how far a body reaches along a way from its centre, wherever it is turned in the part.
func (o *opening) farthest(x *carried, way point, turns byAxis) float64 {
	n := [2]int{1, 1}
	for k := range n {
		if turns[k] {
			n[k] = o.arcs[k].n
		}
	}
	far := math.Inf(-1)
	for i := range n[0] {
		w := way
		if n[0] > 1 {
			w = o.arcs[0].back(way, o.lines[0].dir, i)
		}
		for j := range n[1] {
			u := w
			if n[1] > 1 {
				u = o.arcs[1].back(w, o.lines[1].dir, j)
			}
			far = max(far, x.shape.SupportDistance(u)-u.Dot(x.centre))
		}
	}
	return far
}
