package reach

import (
	"math"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
)

// cell is a rectangle of axis space with the pairs of one class that are not settled over it.
type cell struct {
	box         rect
	first, last float64 // marks of the leg from which its poses come
	low         float64 // proven of the spare of its unsettled pairs
	rest        float64 // of a fresh one: known of its other pairs than the one at at
	key         float64 // place in the queue, least first
	moves       float64 // mm that an unsettled pair may move from where it was looked at, along an axis
	at, n       int32   // its unsettled pairs: search.open[at : at+n]; of a fresh one at is the pair known to have the least spare
	leg         int32
	class       class
	long        int8   // the axis to split
	fresh       bool   // not looked at yet: what is proven of it was known beforehand
	corner      corner // of its box, from which it is looked at
}

// sight is the pose that a cell is looked at from, with what follows from it.
type sight struct {
	cell       *cell
	pose       rig.Axes
	mark       float64
	motion     solid.Motion // of the moving bodies
	chord1     float64      // per mm of reach, how far a body may move within the cell
	chord2     float64
	half       rig.Axes
	arc1, arc2 arc
	arcs       int8 // 0 not made yet, 1 made, -1 too wide
	broken     bool // a pair was seen there that is not kept, and the soonest instant is wanted
}

// look settles what it can of a cell's pairs and notes what it sees. Those left open are listed anew; it tells whether there are
// any.
func (s *search) look(c *cell, pairs []int32) bool {
	s.cells++
	s.stamp++
	v := s.sight(c)
	c.at, c.low = int32(len(s.open)), math.Inf(1)
	var pull1, pull2 float64
	for _, i := range pairs {
		q := &s.p.pairs[i]
		r1, r2 := s.reaches(&v, q)
		low := s.bound(&v, i, q, r1*v.chord1+r2*v.chord2)
		if low >= s.enough() {
			s.settled = min(s.settled, low)
			continue
		}
		s.open = append(s.open, i)
		c.low = min(c.low, low)
		pull1, pull2 = max(pull1, r1*float64(v.half.A1)), max(pull2, r2*float64(v.half.A2))
	}
	c.n = int32(len(s.open)) - c.at
	c.moves = max(pull1, pull2)
	if c.long = 0; pull2 > pull1 {
		c.long = 1
	}
	if v.broken { // what is left to find of it is how soon, and not how much of it is kept
		c.long = s.way.legs[c.leg].mover(v.pose, s.spread)
	}
	return c.n > 0
}

// sight chooses the pose.
func (s *search) sight(c *cell) sight {
	mark := c.first + (c.last-c.first)/2
	if c.corner != (corner{}) {
		mark = s.ahead(c)
	}
	v := s.sightFrom(c, s.way.legs[c.leg].within(c.corner.at(c.box), mark, s.spread))
	v.mark = mark
	return v
}

// sightFrom is the sight of a cell from a pose.
func (s *search) sightFrom(c *cell, pose rig.Axes) sight {
	v := sight{cell: c, pose: pose}
	v.half = farther(c.box, v.pose)
	v.motion = s.motion(c.class, pose)
	turns1, turns2 := c.class.turns()
	if turns2 {
		v.chord2 = chord(v.half.A2)
	}
	if turns1 {
		v.chord1 = chord(v.half.A1)
	}
	return v
}

// motion is that of the moving bodies of a class at a pose.
func (s *search) motion(k class, at rig.Axes) solid.Motion {
	turns1, turns2 := k.turns()
	chain := &s.p.chain
	out := frame.Still[frame.Rig]()
	if turns2 {
		out = frame.Turning(chain.Point2, chain.Dir2, at.A2)
	}
	if turns1 {
		out = out.Before(frame.Turning(chain.Point1, chain.Dir1, at.A1))
	}
	return out
}

// reaches returns the reach of a pair from each axis at the pose.
func (s *search) reaches(v *sight, q *pair) (r1, r2 float64) {
	if v.cell.class != groundAxis2 {
		return q.reach1, q.reach2
	}
	return min(q.reach1, s.p.offAxis1(s.centre(v, q.b))+s.p.bodies[q.b].radius), q.reach2
}

// centre returns where the ball of a moving body is, worked out once per pose.
func (s *search) centre(v *sight, i int32) point {
	b := &s.placed[i]
	if b.centreAt != s.stamp {
		b.centreAt, b.centre = s.stamp, v.motion.Point(s.p.bodies[i].centre)
	}
	return b.centre
}

// shape returns a moving body in its place, worked out once per pose.
func (s *search) shape(v *sight, i int32) *solid.Shape {
	b := &s.placed[i]
	if b.shapeAt != s.stamp {
		b.shapeAt = s.stamp
		solid.Place(&b.shape, &s.p.bodies[i].shape, &v.motion)
	}
	return &b.shape
}

// bound returns a lower bound of a pair's spare over the cell, taking the costlier ways only as far as needed: balls; the plane that
// was best before; a plane leant against the pair; the distance, where it may be the least seen.
func (s *search) bound(v *sight, i int32, q *pair, moves float64) float64 {
	off := s.need[i] + s.p.allowance
	low := s.ballBound(v, q, moves) - off
	if low >= s.enough() {
		return low
	}
	if s.towards[i] != (point{}) {
		if low = max(low, s.plane(v, q, s.towards[i])-off); low >= s.enough() {
			return low
		}
	}
	a, moved := &s.p.bodies[q.a], s.shape(v, q.b)
	n, apart, atMost := lean(&a.shape, moved, s.towards[i], s.enough()+off+moves)
	low = max(low, apart-moves-off)
	if low < s.enough() && apart > 0 && n != s.towards[i] { // of the plane that was best before low knows
		s.towards[i] = n
		low = max(low, s.plane(v, q, n)-off)
	}
	worth := s.interesting()
	if s.aim == whether {
		worth = -moves
	}
	if low >= s.enough() || apart-off >= worth && atMost-moves-off < s.enough() {
		return low // the distance shows no less spare here, and does not settle the cell
	}
	g := s.distance(v, i, moves)
	low = max(low, g.Lower-moves-off)
	if low < s.enough() && g.Way != (point{}) {
		s.towards[i] = g.Way.Scale(-1)
		low = max(low, s.plane(v, q, s.towards[i])-off)
	}
	return low
}

// distance looks at a pair and notes what it sees; where only a yes or an instant is wanted, as exactly as tells whether the gap settles the
// cell or is not kept.
func (s *search) distance(v *sight, i int32, moves float64) solid.Gap {
	q := &s.p.pairs[i]
	tooLittle, settles := s.need[i], s.need[i]+s.p.allowance+moves
	switch s.aim {
	case whether:
		tooLittle -= s.p.allowance + moves
	case tight, everything:
		tooLittle, settles = math.NaN(), math.NaN()
	case verdict, soonest:
	}
	g := solid.Against(&s.p.bodies[q.a].shape, s.shape(v, q.b), tooLittle, settles)
	s.see(v, i, &g)
	s.atMost = min(s.atMost, g.Upper-s.need[i]+s.p.allowance+moves)
	return g
}

// ballBound is the gap of the balls that hold a pair, less what the bodies move.
func (s *search) ballBound(v *sight, q *pair, moves float64) float64 {
	a, b := &s.p.bodies[q.a], &s.p.bodies[q.b]
	return s.centre(v, q.b).Sub(a.centre).Norm() - a.radius - b.radius - moves
}

// shortest is the length of a vector below which it gives no direction, mm. Choice: far above the rounding of points.
const shortest = 1e-6

// mostLeans bounds the steps of lean. Choice: it gains little after that, and is only there to be cheap.
const mostLeans = 8

// lean looks for a direction along which two solids stand apart, from a to b, and returns it with the separation along it, which
// their gap is no less than (before the search's allowance for rounding), and what the gap is no more than. It stops once apart is want.
//
// Source: Frank & Wolfe, Naval Research Logistics Quarterly 3 (1956) 95, for the point of the difference of the solids nearest the
// origin: each step goes to the nearest point of the segment from the last one to the vertex found. Any direction gives a bound.
func lean(a, b *solid.Shape, start point, want float64) (n point, apart, atMost float64) {
	apart, atMost = math.Inf(-1), math.Inf(1)
	v := start
	if v == (point{}) {
		v = b.Centre().Sub(a.Centre())
	}
	for step := range mostLeans {
		far := v.Norm()
		if step > 0 {
			atMost = far
		}
		if !(far > shortest) { // no direction, so no bound
			break
		}
		u := v.Scale(1 / far)
		w := b.Support(u.Scale(-1)).Sub(a.Support(u))
		if low := w.Dot(u); low > apart {
			n, apart = u, low
		}
		if apart >= want {
			break
		}
		if step == 0 { // v was no point of the difference
			v = w
			continue
		}
		d := w.Sub(v)
		dd := d.Dot(d)
		if t := -v.Dot(d) / dd; dd > 0 && t > 0 {
			v = v.Add(d.Scale(min(t, 1)))
		} else {
			break
		}
	}
	return n, apart, atMost
}

// plane returns the plane bound of a pair over the cell; -Inf where the cell is too wide for it.
func (s *search) plane(v *sight, q *pair, n point) float64 {
	if !s.arcs(v) {
		return math.Inf(-1)
	}
	return s.p.plane(q, n, &v.arc1, &v.arc2)
}

// arcs makes the arcs of a cell, once; false where it is too wide for them.
func (s *search) arcs(v *sight) bool {
	if v.arcs == 0 {
		v.arcs = 1
		ok1, ok2 := true, true
		v.arc1, v.arc2 = still(), still()
		turns1, turns2 := v.cell.class.turns()
		if turns1 {
			v.arc1, ok1 = over(v.cell.box.low.A1, v.cell.box.high.A1)
		}
		if turns2 {
			v.arc2, ok2 = over(v.cell.box.low.A2, v.cell.box.high.A2)
		}
		if !ok1 || !ok2 {
			v.arcs = -1
		}
	}
	return v.arcs > 0
}
