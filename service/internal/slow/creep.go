package slow

import (
	"fmt"
	"math"
	"slices"
)

// Whether a creep leads out: of each pair that is nearer than it must be, by how much its gap shrinks from one look to the next.

// byAsMuch tells whether the motion is a turn by what is asked.
func (j *judging) byAsMuch() bool { return j.q.Kind == "jog" || j.q.Kind == "creep" }

// Figures of the looks, mm and degrees: below atTouch parts count by their cores, which are what is left of them less a layer all around, the first
// that leaves them apart; how much nearer to that the other may be taken for it, the step from one look to the next being as long as it is; by how much more
// than it must be a gap may be looked at by a proof; the step from one look to the next.
const (
	atTouch   = 0.1
	eitherWay = 0.05
	needNear  = 2.0
	lookStep  = 0.05
	hardly    = 12.0 // where a gap is less, and its cores' too, a proof by the square of the gap needs it to open by
	hardlyBy  = 3.0  // so much, mm per degree, to be done within its work
	slowest   = 2.0  // mm per degree: of gaps that open slower some are not proven within the work budget, one creep in some thousand
	coarse    = 1.5  // mm per degree, for each degree that the start may be off: a proof from all over takes more work than there is where gaps open slower
)

// hopeless is how wide a start may be before no work settles anything.
const hopeless = 30 * degree

// layers are those of the cores, mm.
var layers = [...]float64{10, 20, 40, 80}

// opens looks along a creep from one start, and from where a proof may take it to begin.
func (p *play) opens(points int) {
	box := p.places[p.from].Sigma.times(Axes{3, 3}).add(p.more)
	p.slack("clear/opens", slowest+coarse*(box[0]+box[1])/degree)
	if box.most() > hopeless {
		p.slack("clear/opens", math.Inf(1))
	}
	p.looks(p.start, points, false)
	p.looks(p.start.add(p.outward().times(p.more)), points, true)
}

// looks takes in how fast gaps shrink along a creep from a start.
func (p *play) looks(start Axes, points int, wide bool) {
	by := *p.q.Axes
	whole := by.most() / degree
	n := int(min(max(2, whole/lookStep), float64(6*points)))
	for i := range by { // it runs over its end, and may farther
		over := p.r.Overrun[i]
		if wide {
			over = 2 * p.more[i] * p.rng.Float64()
		}
		by[i] += float64(sign(by[i])) * over
	}
	step := by.most() / degree / float64(n)
	if step == 0 {
		return
	}
	more := 0.0
	if wide {
		more = needNear
	}
	p.answer["clear/opens"].take(math.Inf(1), p.from, p.sharp, wide, nil) // where nothing is too near nothing shrinks
	last := p.scene.gaps(start, more)
	for k := 1; k <= n; k++ {
		share := float64(k) / float64(n)
		at := start.add(by.times(Axes{share, share}))
		now := p.scene.gaps(at, more)
		p.shrinks(last, now, step, at, wide)
		last = now
	}
}

// opensLeast looks for where, along the creep and in all that a proof may add to it, a gap that is too small shrinks most.
func (p *play) opensLeast() {
	box := p.more
	if !p.sharp {
		box = box.add(p.places[p.from].Sigma.times(Axes{3, 3}))
	}
	ahead := Axes{float64(sign(p.q.Axes[0])), float64(sign(p.q.Axes[1]))}.times(Axes{lookStep * degree, lookStep * degree})
	at := func(at *place) Axes {
		a, _ := p.way.pose(at, box)
		return a.sub(p.wild)
	}
	worst := descend(place{one: p.rng.Float64()}, p.way.legs[0].anyOrder(), true, func(x *place) float64 {
		a, spare := at(x), math.Inf(1)
		both(p.scene.gaps(a, needNear), p.scene.gaps(a.add(ahead), needNear), func(was, is *looked) {
			_, most := was.closing(is, p.scene.pairs[was.pair].need, lookStep)
			spare = min(spare, -most)
		})
		return spare
	})
	a := at(&worst)
	p.shrinks(p.scene.gaps(a, needNear), p.scene.gaps(a.add(ahead), needNear), lookStep, a.add(ahead), true)
}

func sign(x float64) int {
	switch {
	case x > 0:
		return 1
	case x < 0:
		return -1
	}
	return 0
}

// shrinks takes in what shrank between two looks.
func (p *play) shrinks(last, now []looked, step float64, at Axes, wide bool) {
	limit := p.limit("clear/opens closing_mm_per_deg")
	both(last, now, func(was, is *looked) {
		if was.own.low < hardly {
			p.slack("clear/opens", hardlyBy)
		}
		least, most := was.closing(is, p.scene.pairs[was.pair].need, step)
		sharp := p.sharp
		if was.cores[0].low < atTouch && was.own.low < atTouch { // of parts so deep in each other nothing need be proven, neither that it opens nor that it does not
			p.slack("clear/opens", math.Inf(1))
			p.answer["clear/opens"].take(limit-least, p.from, sharp, true, func() string { return "" })
			sharp = false
		}
		p.answer["clear/opens"].take(limit-least, p.from, sharp, wide, func() string {
			return fmt.Sprintf("pair %d shrinks by %.4f a degree, from %.4f (its cores %.4f) to %.4f (%.4f), at %.3f° %.3f°, %s",
				was.pair, least, was.own.high, was.cores[0].high, is.own.high, is.cores[0].high, at[0]/degree, at[1]/degree, p.what)
		})
		p.answer["clear/opens"].take(limit-most, p.from, p.sharp, true, func() string { return "" })
	})
}

// looked is a pair at one look: its gap and, where it may touch, those of its cores.
type looked struct {
	pair  int
	own   bounds
	cores [len(layers)]bounds
}

// both calls on each pair that is in two looks.
func both(last, now []looked, on func(was, is *looked)) {
	for i, k := 0, 0; i < len(last) && k < len(now); {
		switch was, is := &last[i], &now[k]; {
		case was.pair < is.pair:
			i++
		case was.pair > is.pair:
			k++
		default:
			on(was, is)
			i, k = i+1, k+1
		}
	}
}

// bounds are of a gap, mm; of bodies that overlap both are 0.
type bounds struct{ low, high float64 }

// shrinks is by how much a gap shrank until another look at least, and at most.
func (b bounds) shrinks(to bounds) (least, most float64) { return b.low - to.high, b.high - to.low }

// closing is how fast a pair comes nearer, mm per degree: by what is sure, which is nothing while it is no nearer than it must be, and by what
// may be. Where either its own gap or that of its cores may be gone by, sure is what both say.
func (l *looked) closing(to *looked, need, step float64) (least, most float64) {
	least, most = l.own.shrinks(to.own)
	if near, far := l.own.both(to.own); near <= atTouch+eitherWay {
		coreLeast, coreMost := l.coresClosing(to)
		if far < atTouch-eitherWay {
			least, most = coreLeast, coreMost
		} else {
			least, most = min(least, coreLeast), max(most, coreMost)
		}
	}
	if l.own.high >= need {
		least = math.Inf(-1)
	}
	return least / step, most / step
}

// both are the least and the most that a gap was at either look.
func (b bounds) both(to bounds) (near, far float64) { return min(b.low, to.low), max(b.high, to.high) }

// coresClosing is by how much the outermost cores that stand apart came nearer; what is not told where it is not sure which these are, or where none do.
func (l *looked) coresClosing(to *looked) (least, most float64) {
	for k := range l.cores {
		near, far := l.cores[k].both(to.cores[k])
		if near > atTouch+eitherWay {
			return l.cores[k].shrinks(to.cores[k])
		}
		if far >= atTouch-eitherWay {
			break
		}
	}
	return math.Inf(-1), math.Inf(1)
}

// touchAlone is the gap below which there is none that could be seen to shrink, mm.
const touchAlone = atTouch - eitherWay

// gaps are the pairs that are nearer than they must be at a pose, or by a little more.
func (s *scene) gaps(a Axes, more float64) []looked {
	var out []looked
	s.pairwise(a, func(p *pair) float64 { return p.need + more }, func(i int, p *pair, x, y *body) bool {
		l := looked{pair: i, own: exactly(x, y, p.need+more, &p.own)}
		if l.own.high >= p.need+more {
			return false
		}
		if l.own.low < atTouch+4*eitherWay {
			l.cores = coresOf(x, y)
		}
		out = append(out, l)
		return false
	})
	slices.SortFunc(out, func(a, b looked) int { return a.pair - b.pair })
	return out
}

// coresOf are the gaps of the cores of two bodies, as far in as they overlap.
func coresOf(x, y *body) (out [len(layers)]bounds) {
	for k, layer := range layers {
		u, v := x.core(layer), y.core(layer)
		if out[k] = exactly(&u, &v, math.Inf(1), &narrow{}); out[k].low > atTouch+4*eitherWay {
			for i := k + 1; i < len(layers); i++ { // not asked for
				out[i] = bounds{math.Inf(-1), math.Inf(1)}
			}
			return out
		}
	}
	return out
}

// exactly bounds a gap as well as to and fro can in reasonable time; one above far only roughly.
func exactly(a, b *body, far float64, from *narrow) bounds {
	low, high := gap(a, b, math.Inf(-1), far, from)
	if high > touchAlone && low <= far { // of solids that touch to and fro finds no end
		low, high = gapTo(a, b, math.Inf(-1), far, from, 1e-4, 400)
	}
	return bounds{low, high}
}

// core is a body less a layer: its faces lie that much farther in, as far as it is thick enough for that. Of a hull the corners go toward the
// mean of all by the layer's share of how far the farthest is.
func (b *body) core(layer float64) body {
	out := *b
	switch b.kind {
	case ball, capsule:
		out.r1 -= min(layer, b.r1)
	case cylinder, cone:
		out.tapered(b, layer)
	case box:
		for i := range out.half {
			out.half[i] -= min(layer, b.half[i])
		}
	case hull:
		mean, far := V{}, 0.0
		for _, p := range b.p[:b.n] {
			mean = mean.add(p.times(1 / float64(b.n)))
		}
		for _, p := range b.p[:b.n] {
			far = max(far, p.sub(mean).norm())
		}
		for i, p := range b.p[:b.n] {
			out.p[i] = mean.add(p.sub(mean).times(max(0, 1-layer/far)))
		}
	}
	return out
}

// tapered makes a body the core of a cylinder or cone: its ends farther in, but short of its middle, and its side.
func (b *body) tapered(of *body, layer float64) {
	r2 := of.r2
	if of.kind == cylinder {
		r2 = of.r1
	}
	along, long := of.p[1].sub(of.p[0]), of.long
	share := min(layer/long, 0.49)
	at := func(share float64) float64 {
		return max(0, of.r1+(r2-of.r1)*share-layer*min(1.5, math.Hypot(long, r2-of.r1)/long))
	}
	b.p[0], b.p[1] = of.p[0].add(along.times(share)), of.p[1].sub(along.times(share))
	b.r1, b.r2, b.long = at(share), at(1-share), long*(1-2*share)
}
