package slow

import (
	"math"
	"slices"
)

// Report is a reported state of a part.
type Report struct {
	Part    string
	Name    string
	Measure *float64 // mm
}

// scene is what stands where for one set of reported states.
type scene struct {
	r       *Rig
	bodies  []body // at the zero pose
	links   []int
	pairs   []pair
	now     [3]move // of the links to the pose looked at
	placed  []body  // there, and where the balls about them are, and which of them stand there already
	centres []V
	stands  []bool
	first   int  // the pair that was last nearest: looked at first, the others need not be looked at so far
	far     Axes // of a pair's bodies from axis 1 and axis 2, mm: what turns about it moves by no more for each radian
}

// pair is two bodies whose gap counts, and the gap that they must keep; and where they were last nearest, as the link of the
// first stands at the zero pose.
type pair struct {
	a, b int
	need float64
	own  narrow
}

// reported tells which states of a part it is reported to be in.
func (p *Part) reported(reports []Report) []bool {
	out := make([]bool, len(p.States))
	for i, s := range p.States {
		out[i] = slices.ContainsFunc(reports, func(r Report) bool {
			return r.Part == p.Name && (r.Measure == nil && s.Name != "" && r.Name == s.Name || r.Measure != nil && s.Name == "" && s.Low <= *r.Measure && *r.Measure <= s.High)
		})
	}
	return out
}

// taken is what a part takes up: what is fixed, and its reported states or all of them.
func (p *Part) taken(reports []Report) []Shape {
	out, is := slices.Clone(p.Fixed), p.reported(reports)
	for i, s := range p.States {
		if is[i] || !slices.Contains(is, true) {
			out = append(out, s.Shapes...)
		}
	}
	return out
}

// newScene places every part and pairs what stands on different links, but for what always touches and what no motion changes.
func (r *Rig) newScene(reports []Report, partMM, generalMM float64) *scene {
	s := &scene{r: r}
	var parts []int
	for i := range r.Parts {
		for _, shape := range r.Parts[i].taken(reports) {
			s.bodies, s.links, parts = append(s.bodies, r.frames[r.Parts[i].Link].stands(shape)), append(s.links, r.Parts[i].Link), append(parts, i)
		}
	}
	for i := range s.bodies {
		for j := range s.bodies {
			p, q := &r.Parts[parts[i]], &r.Parts[parts[j]]
			if p.Link >= q.Link || r.touch(p.Name, q.Name) || s.settled(i, j) {
				continue
			}
			need := max(p.Margin, partMM) + p.Reading + max(q.Margin, partMM) + q.Reading + generalMM
			if p.Link == Ground {
				need += r.Placing
			}
			s.pairs = append(s.pairs, pair{a: i, b: j, need: need})
			s.far[0], s.far[1] = max(s.far[0], r.far(&s.bodies[j], s.links[j], 0)), max(s.far[1], r.far(&s.bodies[j], s.links[j], 1))
		}
	}
	s.placed, s.centres, s.stands = make([]body, len(s.bodies)), make([]V, len(s.bodies)), make([]bool, len(s.bodies))
	for i := range s.bodies {
		s.placed[i] = s.bodies[i].copied()
	}
	return s
}

// far is how far a body may be from an axis.
func (r *Rig) far(b *body, link, axis int) float64 {
	switch {
	case link <= axis:
		return 0
	case axis == 0:
		return b.around + r.p2.sub(r.p1).norm() + b.centre.sub(r.p2).norm()
	}
	return b.around + b.centre.sub(r.p2).norm()
}

func (r *Rig) touch(a, b string) bool {
	return slices.Contains(r.Touch, [2]string{a, b}) || slices.Contains(r.Touch, [2]string{b, a})
}

// settled tells whether two bodies, one of them round about an axis, are as far apart at some odd poses. The service settles no others: a
// flat thing that turns over a flat thing is judged.
func (s *scene) settled(i, j int) bool {
	if !s.round(i) && !s.round(j) {
		return false
	}
	least, most := math.Inf(1), math.Inf(-1)
	a, b := s.bodies[i].copied(), s.bodies[j].copied()
	for _, at := range []Axes{{0, 0}, {0.7, 0.3}, {-1.1, 0.9}, {2.3, -1.7}, {-2.9, -0.45}, {0.11, 2.6}} {
		moves := s.moves(at)
		s.bodies[i].move(&moves[s.links[i]], &a)
		s.bodies[j].move(&moves[s.links[j]], &b)
		_, high := gap(&a, &b, math.Inf(-1), math.Inf(1), &narrow{})
		least, most = min(least, high), max(most, high)
	}
	return most-least < 2*closeEnough
}

// round tells whether a body is round about one of the axes.
func (s *scene) round(i int) bool {
	b := &s.bodies[i]
	on := func(at, dir V) bool {
		for _, p := range b.p[:b.n] {
			if p.sub(at).cross(dir).norm() > 1e-3 {
				return false
			}
		}
		return b.kind != box && b.kind != hull
	}
	return on(s.r.p1, s.r.d1) || on(s.r.p2, s.r.d2)
}

// move is the motion of a link.
type move struct {
	m matrix
	t V
}

func (m *move) of(v V) V { return m.m.of(v).add(m.t) }

// moved moves where a body was last nearest to another to where it stands now, and unmoved back.
func (s *scene) moved(body int, n *narrow) {
	if m := &s.now[s.links[body]]; n.seen && s.links[body] != Ground {
		n.at, n.across = m.of(n.at), m.m.of(n.across)
	}
}

func (s *scene) unmoved(body int, n *narrow) {
	if m := &s.now[s.links[body]]; n.seen && s.links[body] != Ground {
		n.at, n.across = m.m.back(n.at.sub(m.t)), m.m.back(n.across)
	}
}

// moves are the motions of the links from zero to a pose.
func (s *scene) moves(a Axes) (out [3]move) {
	r := s.r
	out[Ground].m = matrix{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}
	one, two := turning(r.d1, a[0]), turning(r.d2, a[1])
	out[OnAxis1] = move{one, r.p1.sub(one.of(r.p1))}
	out[OnAxis2] = move{one.after(two), one.of(r.p2.sub(two.of(r.p2)).sub(r.p1)).add(r.p1)}
	return out
}

// tooNear is what lacks of a gap that nobody wants to know any better, mm.
const tooNear = -8

// spare is the least that any pair has over what it needs at a pose, looking no farther than most: by no more than closeEnough too much.
func (s *scene) spare(a Axes, most float64) float64 {
	least := most
	s.pairwise(a, func(p *pair) float64 { return least + p.need }, func(i int, p *pair, x, y *body) bool {
		if _, high := gap(x, y, p.need+tooNear, p.need+least, &p.own); high-p.need < least {
			least, s.first = high-p.need, i
		}
		return least < tooNear
	})
	return least
}

// touches tells whether a pair is as near as that at a pose.
func (s *scene) touches(a Axes, near float64) bool {
	found := false
	s.pairwise(a, func(*pair) float64 { return near }, func(_ int, p *pair, x, y *body) bool {
		l, h := gap(x, y, near, near, &p.own)
		found = h < near || l < near && meet(x, y, near)
		return found
	})
	return found
}

// least is the gap of the pair that is nearest at a pose, mm, looking no farther than most.
func (s *scene) least(a Axes, most float64) float64 {
	s.pairwise(a, func(*pair) float64 { return most }, func(i int, p *pair, x, y *body) bool {
		l, h := gap(x, y, 0, most, &p.own)
		if h < most {
			most, s.first = h, i
		}
		if l < 0.02 && h > 0 && meet(x, y, 0.02) {
			most = 0
		}
		return most <= 0
	})
	return most
}

// pairwise looks at every pair whose balls are nearer than within, until done; first at that which was the nearest before, so that the others
// need not be looked at so far. A scene is for one question at a time.
func (s *scene) pairwise(a Axes, within func(*pair) float64, look func(i int, p *pair, x, y *body) (done bool)) {
	s.stand(a)
	first := s.first
	for k := -1; k < len(s.pairs); k++ {
		i := k
		switch {
		case k < 0 && first >= len(s.pairs), k == first:
			continue
		case k < 0:
			i = first
		}
		p := &s.pairs[i]
		d := s.centres[p.a].sub(s.centres[p.b])
		if far := within(p) + s.bodies[p.a].around + s.bodies[p.b].around; d.dot(d) > far*far {
			continue
		}
		if s.moved(p.a, &p.own); look(i, p, s.stood(p.a), s.stood(p.b)) {
			s.unmoved(p.a, &p.own)
			return
		}
		s.unmoved(p.a, &p.own)
	}
}

// stand places the balls about all bodies at a pose; none of those stands there yet but what never moves.
func (s *scene) stand(a Axes) {
	s.now = s.moves(a)
	for i := range s.bodies {
		s.stands[i] = s.links[i] == Ground
		if s.centres[i] = s.bodies[i].centre; !s.stands[i] {
			s.centres[i] = s.now[s.links[i]].of(s.centres[i])
		}
	}
}

// stood is a body where it stands.
func (s *scene) stood(i int) *body {
	if !s.stands[i] {
		s.bodies[i].move(&s.now[s.links[i]], &s.placed[i])
		s.stands[i] = true
	}
	return &s.placed[i]
}
