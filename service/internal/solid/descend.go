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
)

// descend finds the point of the difference nearest the origin, by the method of Gilbert, Johnson & Keerthi (IEEE J. Robotics
// and Automation 4(2) 193, 1988), noting each lower bound that it meets.
func (p *pair) descend(s *simplex, want float64) {
	p.low = math.Inf(-1)
	p.start(s)
	for range mostLooks {
		n := s.near.Norm()
		if n <= shared*p.scale {
			p.overlap = true
			break
		}
		u := s.near.Scale(1 / n)
		v, low := p.look(u)
		p.note(u, low)
		if n-p.low <= fine*p.scale || s.holds(v.w) || p.settled(n, want) {
			break
		}
		before := *s
		s.v[s.n] = v
		s.n++
		if s.nearest() {
			p.overlap = true
			break
		}
		if !(s.near.Norm() < n) {
			*s = before
			break
		}
	}
	if p.overlap || s.near.Norm()-p.low > 16*fine*p.scale {
		p.deepen(s)
	}
}

// start begins at the vertex that the centres suggest.
func (p *pair) start(s *simplex) {
	u := p.between.Unit()
	if u == (Point{}) {
		u = Point{X: 1}
	}
	v, low := p.look(u)
	p.note(u, low)
	s.v[0], s.share[0], s.n, s.near = v, 1, 1, v.w
}

// settled tells whether near and low decide if the separation is at least want.
func (p *pair) settled(near, want float64) bool {
	return p.low-p.grown-p.allowance >= want || near-p.grown+p.allowance < want
}

// deepen
func (p *pair) deepen(s *simplex) {}
