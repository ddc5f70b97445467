package reach

import (
	"math"

	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// opening is the work on one gap over one part.
type opening struct {
	turn, fixed point // the line of the creep; turn has the sense of the creep
	n           point // the way of the gap at the pose looked at, from a to b
	gap         float64
	a, b        carried
	lines       [2]line
	half        [2]float64
	arcs        [2]arc
	side        float64 // y
	least, most float64 // of n·v
	sag         float64
	off         float64 // how far the way of a gap may lie from n
}

type line struct{ at, dir point }

// carried is a body of the pair.
type carried struct {
	shape  *solid.Shape
	out    point
	turns  [2]bool
	centre point
	rho    float64
	round  float64
	radius float64 // of its core about the centre
	reach  float64
	vel    [2]point
	rest   float64
}

// rateOf bounds from below how fast a gap widens all over a part, mm per radian, and the gap itself.
func (c *creeping) rateOf(v *sight, q *pair, a, b *solid.Shape, g *solid.Gap, need float64) (rate, low, high float64) {
	o, ok := c.opening(v, q, a, b, g)
	if !ok {
		return math.Inf(-1), math.Inf(-1), math.Inf(1)
	}
	low = o.least - o.a.rho - o.b.rho - o.sag
	high = math.Hypot(o.most, o.side) - o.a.rho - o.b.rho
	if !(o.least > 0) {
		return math.Inf(-1), low, high
	}
	o.off = (o.side + math.Sqrt(o.side*o.side+2*o.least*o.sag)) / o.least
	if !(o.off < 1) {
		return math.Inf(-1), low, high
	}
	apart := max(0, min(need, high)) + o.a.round + o.b.round
	rate = max(o.rate(&o.b, &o.a, apart, c.slack), math.Inf(-1))
	if rate < -c.slack {
		rate = max(rate, o.rate(&o.a, &o.b, apart, c.slack))
	}
	return rate, low, high
}

func (c *creeping) opening(v *sight, q *pair, a, b *solid.Shape, g *solid.Gap) (*opening, bool) {
	o := &opening{}
	chain := &c.p.chain
	o.lines[0] = line{chain.Point1, chain.Dir1}
	o.lines[1] = line{v.motion.Point(chain.Point2), v.motion.Dir(chain.Dir2)}
	t1, t2 := v.cell.class.turns()
	o.half = [2]float64{float64(v.half.A1), float64(v.half.A2)}
	for k, t := range [2]bool{t1, t2} {
		if o.arcs[k] = still(); t {
			var ok bool
			if o.arcs[k], ok = over(-unit.Angle(o.half[k]), unit.Angle(o.half[k])); !ok {
				return nil, false
			}
		} else {
			o.half[k] = 0
		}
	}
	l := o.lines[c.axis]
	o.turn, o.fixed = l.dir.Scale(float64(c.dir)), l.at
	o.n = g.Way.Scale(-1)
	if o.n == (point{}) {
		return nil, false
	}
	o.gap = max(g.Upper, 0)
	o.a = carried{shape: a, out: o.n}
	o.b = carried{shape: b, out: o.n.Scale(-1), turns: [2]bool{t1, t2}}
	if c.axis == 1 {
		o.b.turns[0] = false
		o.a.turns[0] = t1
	}
	mv := [2]float64{q.reach1 * chord(unit.Angle(o.half[0])), q.reach2 * chord(unit.Angle(o.half[1]))}
	for _, x := range []*carried{&o.a, &o.b} {
		x.reach = reachOf(x.shape, o.fixed, l.dir)
		for k, t := range x.turns {
			if t && int8(k) != c.axis {
				x.reach += mv[k]
			}
		}
		x.round = x.shape.Round()
	}
	o.seat(&o.a, g.A, 0)
	o.seat(&o.b, g.B, o.a.rho)
	o.a.settle(o, -1)
	o.b.settle(o, 1)
	o.range_()
	return o, true
}

// settle works out the movement of the centre.
func (x *carried) settle(o *opening, sign float64) {
	var r [2]float64
	for k, t := range x.turns {
		if t {
			x.vel[k] = o.lines[k].dir.Cross(x.centre.Sub(o.lines[k].at)).Scale(sign)
			r[k] = x.vel[k].Norm()
		}
	}
	a1, a2 := o.half[0], o.half[1]
	x.rest = r[1] * a2 * a2 / 2
	if x.turns[0] {
		x.rest += a1*r[1]*a2 + (r[0]+r[1]*a2)*a1*a1/2
	}
	c, ball := x.shape.Ball()
	x.radius = c.Sub(x.centre).Norm() + ball - x.round
}

// seat chooses the ball within a body.
func (o *opening) seat(x *carried, at point, more float64) {
	if x.round > 0 {
		x.centre, x.rho = at.Sub(x.out.Scale(x.round)), x.round-1e-6
		if x.shape.Kind() == solid.SphereKind {
			x.centre = x.shape.Centre()
		}
		return
	}
	var m float64
	for k, t := range x.turns {
		if t {
			w := o.lines[k].dir.Cross(at.Sub(o.lines[k].at))
			m += o.half[k] * w.Sub(o.n.Scale(w.Dot(o.n))).Norm()
		}
	}
	x.centre, x.rho = at, -1e-6
	best := math.Inf(1)
	score := func(depth, rho float64) float64 {
		w := o.gap + more + depth
		return (m + math.Sqrt(m*m+2*w*max(depth-rho, 0))) / w
	}
	best = score(0, -1e-6)
	ra, rb := x.shape.Radii()
	h, _ := x.shape.HalfSizes()
	sizes := []float64{(ra + rb) / 2, min(ra, rb), h.X, h.Y, h.Z}
	for _, s := range sizes {
		if s <= 0 {
			continue
		}
		for d := s; d > s/10; d /= 2 {
			c := at.Sub(x.out.Scale(d))
			rho := x.shape.Within(c)
			if !(rho > 0) {
				continue
			}
			if sc := score(d, rho); sc < best {
				best, x.centre, x.rho = sc, c, rho
			}
		}
	}
}

// range_ bounds the vector between the centres.
func (o *opening) range_() {
	v := o.b.centre.Sub(o.a.centre)
	x := v.Dot(o.n)
	rest := o.a.rest + o.b.rest
	spread := 0.0
	o.side = v.Sub(o.n.Scale(x)).Norm() + rest
	for k := range 2 {
		w := o.b.vel[k].Sub(o.a.vel[k])
		along := w.Dot(o.n)
		spread += math.Abs(along) * o.half[k]
		o.side += w.Sub(o.n.Scale(along)).Norm() * o.half[k]
	}
	o.least, o.most = x-spread-rest, x+spread+rest
	o.sag = max(0, o.farthest(&o.a, o.a.out, false)-o.a.rho) + max(0, o.farthest(&o.b, o.b.out, false)-o.b.rho) + 1e-6
}

// farthest is how far a body reaches along a way from its centre, at most, wherever it is turned in the part.
func (o *opening) farthest(x *carried, w point, core bool) float64 {
	if w == (point{}) {
		return 0
	}
	n1, n2 := 1, 1
	if x.turns[0] {
		n1 = 3
	}
	if x.turns[1] {
		n2 = 3
	}
	far := math.Inf(-1)
	for i := range n1 {
		p := w
		if n1 == 3 {
			p = o.arcs[0].back(w, o.lines[0].dir, i)
		}
		for j := range n2 {
			q := p
			if n2 == 3 {
				q = o.arcs[1].back(p, o.lines[1].dir, j)
			}
			h := x.shape.SupportDistance(q) - q.Dot(x.centre)
			if core {
				h -= x.round * q.Norm()
			}
			far = max(far, h)
		}
	}
	return far
}

// rate bounds the rate by the place where the gap is on x.
func (o *opening) rate(x, y *carried, apart, slack float64) float64 {
	e := o.n.Cross(o.turn)
	arm := x.centre.Sub(o.fixed)
	base := e.Dot(arm) - e.Norm()*x.rest
	moved := x.rest
	for k := range 2 {
		base -= math.Abs(e.Dot(x.vel[k])) * o.half[k]
		moved += x.vel[k].Norm() * o.half[k]
	}
	vel := o.turn.Cross(arm)
	across := vel.Sub(o.n.Scale(vel.Dot(o.n))).Norm()
	base -= o.off * min(x.reach, across+moved+x.radius)
	base -= o.off * o.off / 2 * x.reach
	tau := apart*o.off + o.side
	best := base - o.lean(x, e.Scale(-1))
	if best >= -slack {
		return best
	}
	long := func(s *solid.Shape) point {
		a, b := s.Axis()
		d := b.Sub(a)
		if s.Kind() == solid.BoxKind {
			h, t := s.HalfSizes()
			switch max(h.X, h.Y, h.Z) {
			case h.X:
				d = t.Apply(point{X: 1})
			case h.Y:
				d = t.Apply(point{Y: 1})
			default:
				d = t.Apply(point{Z: 1})
			}
		}
		if d.Norm() == 0 {
			return d
		}
		d = d.Unit()
		return d.Sub(o.n.Scale(d.Dot(o.n)))
	}
	tx, ty := long(x.shape), o.n.Cross(long(y.shape))
	if k := ty.Dot(tx); math.Abs(k) > 0.05 {
		l := ty.Scale(e.Dot(tx) / k)
		best = max(best, base-o.lean(x, l.Sub(e))-o.lean(y, l.Scale(-1))-l.Norm()*tau)
	}
	return best
}

// lean bounds how far the place of a gap lies from the centre of a body along a way.
func (o *opening) lean(x *carried, w point) float64 {
	best := o.farthest(x, w, true)
	rho := x.rho
	if x.round > 0 {
		rho = 0
	}
	rho -= o.off * x.radius
	for _, mu := range []float64{0.5, 2, 8, 32} {
		best = min(best, o.farthest(x, w.Add(x.out.Scale(mu)), true)-mu*rho)
	}
	return best
}
