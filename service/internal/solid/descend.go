package solid

import "math"

// Where the descent stops.
const (
	// mostLooks is the number of steps after which it gives up gaining. Flat solids need about ten; rims converge linearly.
	mostLooks = 100
	// fine is the width of [low, near] at which it stops, in units of scale. Choice: 2^-44, some 1e-10 mm for solids of a metre,
	// a few times above rounding.
	fine = 0x1p-44
	// shared is the distance of the cores, in units of scale, below which they are taken to touch: rounding leaves no direction.
	shared = 8 * eps
	// touching is the distance, in the same units, below which the direction from one core to the other is known too badly by
	// itself, and the facets of the difference are asked for a better bound.
	touching = 1e-8
	// firstPolish is the width, in units of scale, at which rims are first polished, nextPolish by how much narrower it must be
	// for the next time. Choice: by measurement.
	firstPolish, nextPolish = 1e-3, 100
	// flatEnd is the cosine missing to 1 below which the direction is taken to run along an axis.
	flatEnd = 1e-4
	// mostStalls is the number of steps without gain in distance. Choice: by measurement.
	mostStalls = 4
)

// descend finds the point of the difference nearest the origin, by the method of Gilbert, Johnson & Keerthi (IEEE J. Robotics
// and Automation 4(2) 193, 1988), noting each bound that it meets.
func (p *pair) descend(s *simplex, want goal) {
	p.start(s)
	stalls, rough := 0, firstPolish
	for range mostLooks {
		n := s.near.Norm()
		if n <= shared*p.scale {
			break
		}
		u := s.near.Scale(1 / n)
		if n < 1e-140 {
			u = direction(s.near) // n has lost digits to underflow
		}
		v, low := p.look(u)
		p.note(u, low)
		if n-p.low <= fine*p.scale || p.settled(n, want) {
			break
		}
		if p.rims && n-low < rough*p.scale {
			rough /= nextPolish
			p.along(u)
			if t, ok := p.polish(s, p.dir); ok && t.near.Norm() < n {
				*s = t
			}
			continue
		}
		if s.holds(v.w) {
			break
		}
		before := *s
		s.v[s.n] = v
		s.n++
		if s.nearest() {
			if !(s.near.Norm() < n) { // a tetrahedron too flat to tell inside from outside
				*s = before
			}
			break
		}
		// The last digits of the distance may stand still while the direction still improves.
		if after := s.near.Norm(); !(after < n) {
			if stalls++; stalls > mostStalls || !(after <= n*(1+4*eps)) {
				*s = before
				break
			}
		}
	}
	p.finish(s, want)
}

// start begins at the vertex that the centres suggest.
func (p *pair) start(s *simplex) {
	u := direction(p.between)
	if u == (Point{}) {
		u = Point{X: 1}
	}
	v, low := p.look(u)
	p.note(u, low)
	s.v[0], s.share[0], s.n, s.near = v, 1, 1, v.w
}

// along tries the axes that the direction nearly runs along: there flat ends and faces meet, and no rim point shows it.
func (p *pair) along(u Point) {
	for _, s := range [2]*Shape{p.a, p.b} {
		switch s.kind {
		case CylinderKind, FrustumKind:
			p.tryAxis(s.axis, u)
		case BoxKind:
			m := &s.turn.M
			for i := range 3 {
				p.tryAxis(Point{X: m[0][i], Y: m[1][i], Z: m[2][i]}, u)
			}
		case NoKind, SphereKind, CapsuleKind, HullKind:
		}
	}
}

func (p *pair) tryAxis(axis, u Point) {
	if c := axis.Dot(u); math.Abs(c) > 1-flatEnd {
		w := axis.Scale(math.Copysign(1, c))
		_, low := p.look(w)
		p.note(w, low)
	}
}

// finish settles the upper bound, and both where the cores touch.
func (p *pair) finish(s *simplex, want goal) {
	p.high = s.witness().Norm()
	if s.n == 4 || p.high <= touching*p.scale {
		if p.high-p.low > fine*p.scale && !p.settled(p.high, want) {
			p.deepen(s, want)
		}
	}
}

// settled tells whether near and low reach the goal.
func (p *pair) settled(near float64, want goal) bool {
	return p.low-p.grown-p.allowance >= want.enough || near-p.grown+p.allowance < want.tooLittle
}
