package mesh

// polytope is the hull of some of the points, which grows by the one that stands out farthest.
//
// Invariant: faces close around it; every point that is on no list of a face lies within it.
type polytope struct {
	at     [][3]int32 // the points in grid steps; behind the real ones those of help
	real   int        // number of real points
	faces  []face
	within bool // flat: it stands on points of help, and encloses nothing real
}

// face is one triangle, anticlockwise seen from outside.
type face struct {
	at      [3]int32
	out     whole   // normal
	perStep float64 // height in steps, of one as height gives it
	over    []int32 // points outside it, each on the list of one face
	far     int32   // the farthest of them
	high    float64 // its height, grid steps; 0: there is none
}

func (p *polytope) point(i int32) whole {
	v := p.at[i]
	return whole{int64(v[0]), int64(v[1]), int64(v[2])}
}

// height is exact, and positive for a point outside.
func (p *polytope) height(f *face, i int32) int64 { return f.out.dot(p.point(i).sub(p.point(f.at[0]))) }

// newPolytope starts with four points that span as much as they can, of help where the real ones lie in one plane or on one line. It
// returns the real ones among them.
func newPolytope(at [][3]int32) (p *polytope, first []int32) {
	p = &polytope{at: at, real: len(at)}
	a := p.most(func(q whole) float64 { return -float64(q[0]) })
	b := p.most(func(q whole) float64 { return q.sub(p.point(a)).norm() })
	first = []int32{a}
	if p.point(b) == p.point(a) {
		return p, first
	}
	first = append(first, b)
	along := p.point(b).sub(p.point(a))
	c := p.most(func(q whole) float64 { return along.cross(q.sub(p.point(a))).norm() })
	if along.cross(p.point(c).sub(p.point(a))) == (whole{}) {
		c = p.help(p.point(a), func(e whole) float64 { return along.cross(e).norm() })
	} else {
		first = append(first, c)
	}
	up := along.cross(p.point(c).sub(p.point(a)))
	d := p.most(func(q whole) float64 { return abs(up.dot(q.sub(p.point(a)))) })
	if abs(up.dot(p.point(d).sub(p.point(a)))) <= thinSteps*up.norm() {
		d = p.help(p.point(a), func(e whole) float64 { return abs(up.dot(e)) })
	} else {
		first = append(first, d)
	}
	p.within = len(first) < 4
	if up.dot(p.point(d).sub(p.point(a))) > 0 { // seen from outside, where d is not, a, b, c go round anticlockwise
		b, c = c, b
	}
	for _, t := range [4][3]int32{{a, b, c}, {a, d, b}, {b, d, c}, {c, d, a}} {
		p.faces = append(p.faces, p.face(t))
	}
	all := make([]int32, p.real)
	for i := range all {
		all[i] = int32(i)
	}
	p.share(all, p.faces)
	return p, first
}

func abs(v int64) float64 { return float64(max(v, -v)) }

// most returns the real point of which a measure is greatest, the first of several.
func (p *polytope) most(measure func(whole) float64) int32 {
	best, at := measure(p.point(0)), int32(0)
	for i := int32(1); int(i) < p.real; i++ {
		if m := measure(p.point(i)); m > best {
			best, at = m, i
		}
	}
	return at
}

// help adds a point of help, along the axis of which a measure is greatest.
func (p *polytope) help(from whole, measure func(whole) float64) int32 {
	best := whole{apexSteps, 0, 0}
	for _, e := range [2]whole{{0, apexSteps, 0}, {0, 0, apexSteps}} {
		if measure(e) > measure(best) {
			best = e
		}
	}
	p.at = append(p.at, [3]int32{int32(from[0] + best[0]), int32(from[1] + best[1]), int32(from[2] + best[2])})
	return int32(len(p.at) - 1)
}

func (p *polytope) face(at [3]int32) face {
	a, b, c := p.point(at[0]), p.point(at[1]), p.point(at[2])
	out := b.sub(a).cross(c.sub(a))
	return face{at: at, out: out, perStep: 1 / out.norm()}
}

// share puts each point on the list of the face that it stands out from most; one that stands out from none lies within.
func (p *polytope) share(points []int32, faces []face) {
	for _, i := range points {
		var best *face
		high := 0.0
		for k := range faces {
			if h := p.height(&faces[k], i); h > 0 {
				if up := float64(h) * faces[k].perStep; best == nil || up > high {
					best, high = &faces[k], up
				}
			}
		}
		if best == nil {
			continue
		}
		if best.over = append(best.over, i); high > best.high {
			best.high, best.far = high, i
		}
	}
}

// farthest returns the point that stands out most from its face, and by how many steps; 0: none does.
func (p *polytope) farthest() (at int32, high float64) {
	for i := range p.faces {
		if f := &p.faces[i]; f.high > high {
			at, high = f.far, f.high
		}
	}
	return at, high
}

// grow takes a point in.
//
// Source: Barber, Dobkin & Huhdanpaa, The quickhull algorithm, ACM Trans. Math. Software 22 (1996) 469, with one queue for all faces. A
// point that stood out from a face now taken away, and still stands out, does so from one of the new faces (their section 2): the
// others need not be looked at.
func (p *polytope) grow(i int32) {
	var rim [][2]int32
	var loose []int32
	kept := p.faces[:0:0]
	for k := range p.faces {
		f := &p.faces[k]
		if p.height(f, i) <= 0 {
			kept = append(kept, *f)
			continue
		}
		loose = append(loose, f.over...)
		for j := range 3 {
			rim = toggle(rim, f.at[j], f.at[(j+1)%3])
		}
	}
	old := len(kept)
	for _, e := range rim {
		kept = append(kept, p.face([3]int32{e[0], e[1], i}))
	}
	p.faces = kept
	p.share(loose, p.faces[old:])
}

// toggle adds the directed edge from i to j, or takes its reverse away.
func toggle(rim [][2]int32, i, j int32) [][2]int32 {
	for k := range rim {
		if rim[k] == [2]int32{j, i} {
			rim[k] = rim[len(rim)-1]
			return rim[:len(rim)-1]
		}
	}
	return append(rim, [2]int32{i, j})
}

// measure returns volume and surface of the polytope with its corners where the points truly are; 0 where it stands on points of
// help.
func (p *polytope) measure(points []Corner) (volume, skin float64) {
	if p.within {
		return 0, 0
	}
	for i := range p.faces {
		f := &p.faces[i]
		a := points[f.at[0]]
		b, c := points[f.at[1]].Sub(a), points[f.at[2]].Sub(a)
		n := b.Cross(c)
		volume += a.Sub(points[p.faces[0].at[0]]).Dot(n) / 6
		skin += n.Norm() / 2
	}
	return max(volume, 0), skin
}
