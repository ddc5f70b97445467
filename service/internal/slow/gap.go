package slow

import (
	"math"
	"slices"
)

// Shape is a solid: points and radii, its kind told by a word (ball, capsule, cylinder, cone, box, hull). A box is its centre, half its
// size and its turn about the third direction of its link.
type Shape struct {
	Kind   string
	P      []V
	R1, R2 float64
	Half   V
	Turn   float64
}

// kind is a word of Shape as a number: a body asks for it often.
type kind uint8

const (
	hull kind = iota
	ball
	capsule
	cylinder
	cone
	box
)

func kindOf(word string) kind {
	return map[string]kind{"ball": ball, "capsule": capsule, "cylinder": cylinder, "cone": cone, "box": box}[word]
}

// body is a shape somewhere.
type body struct {
	kind   kind
	p      [8]V // first n
	n      int
	r1, r2 float64
	half   V
	axes   [3]V // of a box; of a cylinder or cone the first
	long   float64
	faces  []face // of a hull
	centre V      // of a ball about it
	around float64
}

// stands places a shape at the zero pose.
func (f *frame) stands(s Shape) body {
	b := body{kind: kindOf(s.Kind), r1: s.R1, r2: s.R2, half: s.Half}
	for _, p := range s.P {
		b.p[b.n] = f.place(p)
		b.centre = b.centre.add(b.p[b.n].times(1 / float64(len(s.P))))
		b.n++
	}
	switch b.kind {
	case box:
		b.axes = [3]V{f.x.turned(f.z, s.Turn), f.y.turned(f.z, s.Turn), f.z}
		b.around = s.Half.norm()
	case cylinder, cone:
		d := b.p[1].sub(b.p[0])
		b.axes[0], b.long = d.unit(), d.norm()
	case hull:
		b.faces = facesOf(b.p[:b.n])
	case ball, capsule:
	}
	for _, p := range b.p[:b.n] {
		b.around = max(b.around, p.sub(b.centre).norm()+math.Hypot(max(b.r1, b.r2), 0))
	}
	return b
}

// copied is a body of which nothing is shared with another.
func (b body) copied() body {
	b.faces = slices.Clone(b.faces)
	return b
}

// move brings a body that stands at the zero pose to where a link takes it: x becomes m·x + t. All but its places it has already.
func (b *body) move(m *move, out *body) {
	for i := range b.n {
		out.p[i] = m.of(b.p[i])
	}
	switch b.kind {
	case box:
		for i := range b.axes {
			out.axes[i] = m.m.of(b.axes[i])
		}
	case cylinder, cone:
		out.axes[0] = m.m.of(b.axes[0])
	case hull:
		for i := range b.faces {
			out.faces[i].out = m.m.of(b.faces[i].out)
		}
	case ball, capsule:
	}
	out.centre = m.of(b.centre)
}

// skin is what a ball or a capsule is thicker than its point or line.
func (b *body) skin() float64 {
	if b.kind == ball || b.kind == capsule {
		return b.r1
	}
	return 0
}

// nearest is the point of a body, less its skin, that is nearest to x.
func (b *body) nearest(x V) V {
	switch b.kind {
	case ball:
		return b.p[0]
	case capsule:
		return onSegment(b.p[0], b.p[1], x)
	case cylinder, cone:
		return b.onRound(x)
	case box:
		d, out := x.sub(b.centre), b.centre
		for i, a := range b.axes {
			out = out.add(a.times(min(max(d.dot(a), -b.half[i]), b.half[i])))
		}
		return out
	case hull:
	}
	return b.onHull(x)
}

func onSegment(p, q, x V) V {
	d := q.sub(p)
	if d.dot(d) == 0 {
		return p
	}
	return p.add(d.times(min(max(x.sub(p).dot(d)/d.dot(d), 0), 1)))
}

// onRound is nearest of a cylinder or cone: in the half plane of its axis and x it is a four-cornered area.
func (b *body) onRound(x V) V {
	u, l, from := b.axes[0], b.long, x.sub(b.p[0])
	z := from.dot(u)
	out := from.sub(u.times(z))
	off := out.norm()
	if b.kind == cylinder {
		to := min(off, b.r1)
		if off > 0 {
			out = out.times(to / off)
		}
		return b.p[0].add(u.times(min(max(z, 0), l))).add(out)
	}
	at := V{off, z}
	if z < 0 || z > l || off > b.r1+(b.r2-b.r1)*z/l {
		corners := [4]V{{0, 0}, {b.r1, 0}, {b.r2, l}, {0, l}}
		best := math.Inf(1)
		for i := range 3 {
			if c := onSegment(corners[i], corners[i+1], V{off, z}); c.sub(V{off, z}).norm() < best {
				at, best = c, c.sub(V{off, z}).norm()
			}
		}
	}
	if off > 0 {
		out = out.times(at[0] / off)
	}
	return b.p[0].add(u.times(at[1])).add(out)
}

// face is an outer triangle of a hull, and the direction out of it, of length 1.
type face struct {
	i, j, k int
	out     V
}

// facesOf are the outer triangles of the hull of a few points: those that have all others on one side.
func facesOf(p []V) []face {
	var out []face
	for i := range p {
		for j := i + 1; j < len(p); j++ {
			for k := j + 1; k < len(p); k++ {
				if side := outer(p, i, j, k); side != 0 {
					out = append(out, face{i, j, k, p[j].sub(p[i]).cross(p[k].sub(p[i])).unit().times(side)})
				}
			}
		}
	}
	return out
}

// onHull is nearest of a hull: x where it lies behind all of its faces, else on one of those that it lies before; a face whose plane is as far
// off as the best so far has none nearer.
func (b *body) onHull(x V) V {
	best, least := x, math.Inf(1)
	for _, f := range b.faces {
		off := f.out.dot(x.sub(b.p[f.i]))
		if !(off > 0) || off*off >= least {
			continue
		}
		c := b.onFace(&f, x, off)
		if d := c.sub(x); d.dot(d) < least {
			best, least = c, d.dot(d)
		}
	}
	return best
}

// onFace is the nearest point of a face to x, which is so far off its plane.
func (b *body) onFace(f *face, x V, off float64) V {
	p, q, r := b.p[f.i], b.p[f.j], b.p[f.k]
	foot := x.sub(f.out.times(off))
	turn := 1.0 // of its corners, seen from outside
	if q.sub(p).cross(r.sub(p)).dot(f.out) < 0 {
		turn = -1
	}
	in := func(p, q V) bool { return q.sub(p).cross(foot.sub(p)).dot(f.out)*turn >= 0 }
	if in(p, q) && in(q, r) && in(r, p) {
		return foot
	}
	best, least := V{}, math.Inf(1)
	for _, c := range [3]V{onSegment(p, q, x), onSegment(q, r, x), onSegment(r, p, x)} {
		if d := c.sub(x); d.dot(d) < least {
			best, least = c, d.dot(d)
		}
	}
	return best
}

// outer tells whether three of some points span an outer triangle of their hull: the sign of the side on which none of the others lies; 0:
// some lie on either.
func outer(p []V, i, j, k int) float64 {
	n, above, below := p[j].sub(p[i]).cross(p[k].sub(p[i])), false, false
	for l := range p {
		if l != i && l != j && l != k {
			d := n.dot(p[l].sub(p[i]))
			above, below = above || d > 0, below || d < 0
		}
	}
	switch {
	case above && below:
		return 0
	case above:
		return -1
	}
	return 1
}

// reach is the most of n·p over a body, less its skin.
func (b *body) reach(n V) float64 {
	switch b.kind {
	case cylinder, cone:
		along := n.dot(b.axes[0])
		across := math.Sqrt(max(0, 1-along*along))
		r2 := b.r2
		if b.kind == cylinder {
			r2 = b.r1
		}
		return max(n.dot(b.p[0])+b.r1*across, n.dot(b.p[1])+r2*across)
	case box:
		most := n.dot(b.centre)
		for i, a := range b.axes {
			most += b.half[i] * math.Abs(n.dot(a))
		}
		return most
	case hull, ball, capsule:
	}
	most := math.Inf(-1)
	for _, p := range b.p[:b.n] {
		most = max(most, n.dot(p))
	}
	return most
}

// How long to go to and fro: until the bounds are so near, or so often.
const (
	closeEnough = 0.05 // mm
	mostTurns   = 60
)

// narrow is where two bodies were nearest when they were last looked at: a point of the first, and the direction across. A look a little later
// begins there: whatever it is, what is found is the same but for how soon.
type narrow struct {
	at, across V
	seen       bool
}

// gap bounds the distance of two bodies: projections to and fro come ever nearer to the closest pair of points (Cheney & Goldstein, Proc.
// AMS 10 (1959) 448); each pair is an upper bound, the planes at right angles to it a lower one. A gap of less than nothing is only told to
// be below minus the skins. Nothing more is looked for once it is known to be above far, or below near.
func gap(a, b *body, near, far float64, from *narrow) (low, high float64) {
	return gapTo(a, b, near, far, from, closeEnough, mostTurns)
}

// gapTo is gap until the bounds are so near, or so often.
func gapTo(a, b *body, near, far float64, from *narrow, enough float64, turns int) (low, high float64) {
	skin := a.skin() + b.skin()
	low, high = math.Inf(-1), math.Inf(1)
	if from.seen {
		if low = apart(a, b, from.across); low-skin > far {
			return low - skin, math.Inf(1)
		}
	}
	if d := b.centre.sub(a.centre); d.dot(d) > 0 { // a plane across the line of the centres settles most pairs
		across := d.unit()
		if low = max(low, apart(a, b, across)); low-skin > far {
			from.across = across
			if !from.seen {
				from.at, from.seen = a.centre, true
			}
			return low - skin, d.norm()
		}
	}
	x := a.nearest(b.centre)
	if from.seen {
		x = from.at
	}
	for range turns {
		y := b.nearest(x)
		x = a.nearest(y)
		d := y.sub(x)
		between := d.norm()
		high = min(high, between)
		if from.at, from.seen = x, true; between < 1e-9 {
			break
		}
		from.across = d.times(1 / between)
		low = max(low, apart(a, b, from.across))
		if high-low < enough || low-skin > far || high-skin < near {
			break
		}
	}
	return low - skin, high - skin
}

// apart is how far apart two bodies, less their skins, are at least, seen along a direction from the first to the second.
func apart(a, b *body, across V) float64 { return -b.reach(across.times(-1)) - a.reach(across) }

// meet tells whether two bodies come within near of each other. To and fro takes too long to find bodies that overlap by a little: here an
// ellipsoid holds all places where both may be; a cut at its centre, along the surface of the body that is farther from there, leaves half of
// it, until the centre is in both or nothing is left (the ellipsoid method with deep cuts: Bland, Goldfarb & Todd, Oper. Res. 29 (1981) 1039,
// eq. 3.2 to 3.4, of three dimensions).
func meet(a, b *body, near float64) bool {
	centre, out := a.centre, matrix{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}
	for i := range out {
		out[i][i] = (a.around + near) * (a.around + near)
	}
	for range mostCuts {
		cut, far := a.lacks(centre, near/2)
		if other, d := b.lacks(centre, near/2); d > far {
			cut, far = other, d
		}
		if far == 0 {
			return true
		}
		to := out.of(cut)
		wide := math.Sqrt(max(0, cut.dot(to)))
		deep := far / wide
		if !(deep < 1) {
			return false
		}
		to = to.times(1 / wide)
		centre = centre.sub(to.times((1 + 3*deep) / 4))
		for i := range out {
			for k := range out[i] {
				out[i][k] = 9. / 8 * (1 - deep*deep) * (out[i][k] - (1+3*deep)/2/(1+deep)*to[i]*to[k])
			}
		}
	}
	return false
}

// mostCuts are enough for what is left to have a billionth of the room that there was: a central cut of three dimensions leaves 0.85.
const mostCuts = 130

// lacks is how far a point is from within near of a body, and the direction away from it.
func (b *body) lacks(x V, near float64) (V, float64) {
	d := x.sub(b.nearest(x))
	far := d.norm()
	if lack := far - b.skin() - near; lack > 0 {
		return d.times(1 / far), lack
	}
	return V{}, 0
}
