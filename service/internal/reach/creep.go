package reach

import (
	"math"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// This file proves of a creep, a turn of one axis from where a rig may stand inside its margins, that along it no gap that is smaller than
// it must be shrinks.
//
// Turn b by t about an axis while a rests. The square of the gap, F(t), is the least of |x(t) - y|² over the points x of b and y of a; of each
// two points that is a constant less 2·(y across the axis)·(x across it), turning, so that its second derivative is at most K, twice the
// product of how far the two stand from the axis. Of the points w that are nearest at t,
//
//	F(t+h) ≤ |w|²(t+h) ≤ F(t) + F'(t)·h + K·h²/2,   so   F'(t) ≥ (F(t+h) - F(t))/h - K·h/2:
//
// that the gap is wider a little later proves that it widens now. The nearest points stand no farther from each other than the gap is wide, so
// that K is at most 2·r·(r + gap), r being the reach from the axis of either body. Within a cell a gap differs from that at its centre by no
// more than the bodies move, h later by no more than they move there: their reach from axis 1 is another once axis 2 has turned.
//
// Near contact the bound says nothing, and of solids that overlap F is zero. There the cores of the solids are taken for them, which stand
// apart: two parts whose description overlaps touch, and which way leads out of each other is what their cores tell. Of parts that are apart they tell
// nothing sure: the rim of a flat cone can come nearer while its core goes away.

// Creep is what is proven and seen of a turn of one axis.
type Creep struct {
	Closing float64   // how fast a gap that is smaller than it must be shrinks at most, mm per radian turned; 0 where none does
	Decided bool      // false: not settled within the budget, or the question makes no sense (Why)
	Why     string    // of an undecided one, one phrase
	Nearest *Approach // a pair that closes, where it was seen; else the one that is not settled, or nil
	Cells   int
}

// Figures of the proof, mm. Choices: below touching, and in cells that reach below it up to twice that, a gap is told from its cores, the parts less
// what a finger's breadth takes off all around; a gap that shrinks is looked for in cells in which nothing moves by more than looking; a cell in which
// nothing moves by more than finest is not cut further.
const (
	touching = 0.1
	looking  = 5.0
	coreOff  = 10.0
	finest   = 0.002
	probe    = 2e-4 // radians over which a closing gap is looked at
)

// Creeps bounds how fast the gaps that are smaller than they must be shrink while one axis turns, from every pose within a spread of the
// start. What closes by no more than slack, mm per radian, counts as none.
func (p *Prover) Creeps(from, by rig.Axes, spread rig.Axes, slack float64, budget Budget) Creep {
	to := from.Add(by)
	s := p.search(Hold(from), spread, budget)
	defer s.release()
	c := creeping{search: s, slack: slack, dir: 1}
	switch {
	case s.why != "":
		return Creep{Why: s.why}
	case by == rig.Axes{}:
		return Creep{Decided: true}
	case !to.Finite() || by.A1 != 0 && by.A2 != 0:
		return Creep{Why: "a creep turns one axis"}
	}
	if by.A2 != 0 {
		c.axis = 1
	}
	if by.A1 < 0 || by.A2 < 0 {
		c.dir = -1
	}
	c.all(hull(from, to, spread))
	return c.out
}

// creeping is the work on one creep.
type creeping struct {
	*search
	axis  int8
	dir   unit.Angle
	slack float64
	cores []solid.Shape // by body, at the zero pose; made when asked for
	out   Creep
}

// part is a rectangle of poses of one pair.
type part struct {
	box  rect
	of   class
	pair int32
}

func (c *creeping) all(box rect) {
	var left []part
	for k := range classes {
		if turns1, turns2 := k.turns(); turns1 && c.axis == 0 || turns2 && c.axis == 1 {
			for _, i := range c.p.of[k] {
				left = append(left, part{box, k, i})
			}
		}
	}
	c.out.Decided = true
	for len(left) > 0 { // the widest first: what plainly closes somewhere is seen before the work goes into where a gap changes by almost nothing
		next := left[0]
		left = left[1:]
		if c.out.Cells >= int(c.left) {
			c.giveUp(next, "not settled within the work budget")
			return
		}
		more, ok := c.one(next)
		if !ok {
			return
		}
		left = append(left, more...)
	}
}

// giveUp ends an undecided work.
func (c *creeping) giveUp(at part, why string) {
	c.out.Decided, c.out.Why = false, why
	if c.out.Nearest == nil {
		v := c.sightOf(at)
		g := c.gap(&v, at.pair, false)
		c.out.Nearest = c.at(&v, at.pair, &g)
	}
}

// one settles a part or cuts it; false where the answer is known.
func (c *creeping) one(at part) ([]part, bool) {
	c.out.Cells++
	q := &c.p.pairs[at.pair]
	v := c.sightOf(at)
	r1, r2 := c.reaches(&v, q)
	moves := r1*v.chord1 + r2*v.chord2
	need := q.required + c.p.allowance
	if c.ballBound(&v, q, moves) >= need {
		return nil, true
	}
	g := c.gap(&v, at.pair, false)
	if g.Lower-moves >= need {
		return nil, true
	}
	settled, never := c.levels(&v, at.pair, &g, moves, need)
	if settled {
		return nil, true
	}
	if g.Upper < q.required && moves < looking && c.seen(&v, at.pair, &g) {
		return nil, false
	}
	if never || moves <= finest {
		why := "not settled: it changes by too little"
		if never {
			why = "not settled: they are too deep in each other"
		}
		c.giveUp(at, why)
		return nil, false
	}
	return c.halves(at, r1*v.chord1, r2*v.chord2)
}

// sightOf is the sight of the middle of a part.
func (c *creeping) sightOf(at part) sight {
	return c.moved(at.of, at.box, at.box.middle())
}

// moved is the sight of a part from a pose, which counts as another for the bodies' places.
func (c *creeping) moved(k class, box rect, pose rig.Axes) sight {
	c.stamp++
	return c.sightFrom(&cell{box: box, class: k}, pose)
}

func (c *creeping) levels(v *sight, i int32, g *solid.Gap, moves, need float64) (settled, never bool) {
	q := &c.p.pairs[i]
	now := *g
	a, b := c.p.bodies[q.a].shape, *c.shape(v, q.b)
	for depth := 10.0; ; depth *= 2 {
		rate, low, high := c.rateOf(v, q, &a, &b, &now, need)
		low, high = max(low, now.Lower-moves), min(high, now.Upper+moves)
		if low >= need {
			return true, false
		}
		if high >= touching {
			if rate < -c.slack {
				return false, false
			}
			c.out.Closing = max(c.out.Closing, -rate)
		}
		if low >= touching {
			return true, false
		}
		if depth > 80 {
			return false, now.Upper < touching
		}
		a = c.p.bodies[q.a].shape.Core(depth)
		b = c.p.bodies[q.b].shape.Core(depth).Moved(v.motion)
		now = solid.Distance(a, b)
		need = math.Inf(1)
	}
}

// gap is that of a pair, or of its cores.
func (c *creeping) gap(v *sight, i int32, core bool) solid.Gap {
	q := &c.p.pairs[i]
	if !core {
		return solid.Distance(c.p.bodies[q.a].shape, *c.shape(v, q.b))
	}
	a, b := c.core(q.a), c.core(q.b)
	var moved solid.Shape
	solid.Place(&moved, &b, &v.motion)
	return solid.Distance(a, moved)
}

func (c *creeping) core(i int32) solid.Shape {
	if c.cores == nil {
		c.cores = make([]solid.Shape, len(c.p.bodies))
	}
	if c.cores[i].Kind() == solid.NoKind {
		c.cores[i] = c.p.bodies[i].shape.Core(coreOff)
	}
	return c.cores[i]
}

// widens tells whether a gap is proven to shrink by no more than slack all over a part, and by how much it may.
func (c *creeping) widens(v *sight, i int32, core bool, now *solid.Gap, moves, reach float64) (closing float64, ok bool) {
	least, most := now.Lower-c.p.allowance-moves, now.Upper+c.p.allowance+moves
	if !(least > 0) || !(reach > 0) {
		return 0, false
	}
	curve := 2 * reach * (reach + most)
	h := least / (2 * reach)
	for range 2 {
		w := c.moved(v.cell.class, v.cell.box, c.ahead(v.pose, h))
		later := c.gap(&w, i, core)
		r1, r2 := c.reaches(&w, &c.p.pairs[i]) // what axis 2 swings out is moved farther by axis 1 than where it stood
		wide := max(0, later.Lower-c.p.allowance-(r1*v.chord1+r2*v.chord2))
		slope := (wide*wide-most*most)/h - curve*h/2
		if slope >= -2*least*c.slack {
			return max(0, -slope/(2*least)), true
		}
		rate := (later.Lower - now.Upper) / h
		if next := 2 * now.Lower * rate / curve; next > 0 && next < 0.9*h {
			h = next
			continue
		}
		break
	}
	return 0, false
}

// seen tells whether a gap is seen to shrink from a pose on, and takes that for the answer.
func (c *creeping) seen(v *sight, i int32, g *solid.Gap) bool {
	rate, closes := c.closes(v, i, g)
	if !closes || rate <= c.slack {
		return false
	}
	c.out.Closing, c.out.Nearest = rate, c.at(v, i, g)
	return true
}

// closes looks whether a gap shrinks from a pose on, and how fast, mm per radian.
func (c *creeping) closes(v *sight, i int32, now *solid.Gap) (rate float64, ok bool) {
	w := c.moved(v.cell.class, v.cell.box, c.ahead(v.pose, probe))
	later := c.gap(&w, i, false)
	rate = (now.Lower - later.Upper - c.p.allowance) / probe
	return rate, rate > 0
}

// ahead is a pose a little farther along the creep.
func (c *creeping) ahead(at rig.Axes, h float64) rig.Axes {
	if c.axis == 0 {
		at.A1 += c.dir * unit.Angle(h)
	} else {
		at.A2 += c.dir * unit.Angle(h)
	}
	return at
}

// halves cuts a part where its bodies move most.
func (c *creeping) halves(at part, moves1, moves2 float64) ([]part, bool) {
	a, b := at, at
	long := int8(0)
	if moves2 > moves1 {
		long = 1
	}
	if !halve(&a.box, &b.box, long) {
		c.giveUp(at, "not settled: it changes by too little")
		return nil, false
	}
	return []part{b, a}, true
}

// at describes a pair at a pose.
func (c *creeping) at(v *sight, i int32, g *solid.Gap) *Approach {
	q := &c.p.pairs[i]
	from, _ := c.way.Ends()
	return &Approach{
		Parts: [2]string{c.p.name(q.a), c.p.name(q.b)}, Pair: int(i), Pose: v.pose, Turned: v.pose.Sub(from),
		Lower: unit.Length(g.Lower), Upper: unit.Length(g.Upper), Required: unit.Length(q.required),
	}
}
