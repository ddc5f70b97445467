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
// How fast a gap widens at every pose of a part of them is bounded at once, by where it can lie (see opening.go). What is not proven so is cut.
//
// Of solids that overlap there is no gap. There the cores of the solids are taken for them, which stand apart: two parts whose description overlaps
// touch, and which way leads out of each other is what their cores tell. Of parts that are apart they tell
// nothing sure: the rim of a flat cone can come nearer while its core goes away. From poses stated by a person there are some among them where the parts
// would be deep in each other. No rig stands there, but where the nearest pose is at which it can is not known, so that of those too it is
// asked that deeper cores come apart; only where the parts are that deep in each other everywhere the description is at odds with the rig, and nothing is proven.

// Creep is what is proven and seen of a turn of one axis.
type Creep struct {
	Closing float64   // how fast a gap that is smaller than it must be shrinks at most, mm per radian turned; 0 where none does
	Decided bool      // false: not settled within the budget, or the question makes no sense (Why)
	Why     string    // of an undecided one, one phrase
	Nearest *Approach // a pair that closes, where it was seen; else the one that is not settled, or nil
	Cells   int
}

// Figures of the proof, mm. Choices: below touching a gap is told from the cores of the parts, which are the parts less the first of these layers, all around, that
// leaves their cores apart: a finger's breadth, and what a person's 3° are at half a metre and at more.
const (
	touching = 0.1
	probe    = 2e-4 // radians over which a closing gap is looked at
	finest   = 2e-6 // radians below which a part is not cut further
	plainly  = 10.0 // times what counts as none, from which on cores are taken to come nearer
)

// layers are those of the cores, mm.
var layers = [...]float64{10, 20, 40, 80}

// Creeps bounds how fast the gaps that are smaller than they must be shrink while one axis turns, from every pose within a spread of the
// start. What closes by no more than slack, mm per radian, counts as none.
func (p *Prover) Creeps(from, by rig.Axes, spread rig.Axes, slack float64, budget Budget) Creep {
	return p.creeps(from, by, spread, slack, budget, 1)
}

// creeps is Creeps by a share of what the way of a gap may be off; of less than 1 it is no proof.
func (p *Prover) creeps(from, by rig.Axes, spread rig.Axes, slack float64, budget Budget, doubt float64) Creep {
	to := from.Add(by)
	s := p.search(Hold(from), spread, budget)
	defer s.release()
	c := creeping{search: s, slack: slack, dir: 1, doubt: doubt}
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
	if c.out.Decided && c.deep && c.out.Closing <= slack && !c.possible(hull(from, from, spread)) {
		c.out.Decided, c.out.Why = false, tooDeep
	}
	return c.out
}

// tooDeep says why of parts whose cores overlap nothing is told.
const tooDeep = "not settled: they are too deep in each other"

// creeping is the work on one creep.
type creeping struct {
	*search
	axis  int8
	dir   unit.Angle
	slack float64
	doubt float64                    // 1, or nothing is proven
	cores [len(layers)][]solid.Shape // by body, at the zero pose; made when asked for
	deep  bool                       // more than the outermost layer was looked into
	lost  bool                       // it is not to be proven; what plainly closes is looked for yet
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
			if !c.lost {
				c.giveUp(next, "not settled within the work budget")
			}
			return
		}
		more, ok := c.one(next)
		if !ok {
			return
		}
		left = append(left, more...)
	}
}

// giveUp makes the work an undecided one.
func (c *creeping) giveUp(at part, why string) {
	c.lost, c.out.Decided, c.out.Why = true, false, why
	v := c.sightOf(at)
	g := c.gap(&v, at.pair)
	c.out.Nearest = c.at(&v, at.pair, &g)
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
	g := c.gap(&v, at.pair)
	if g.Lower-moves >= need {
		return nil, true
	}
	if g.Lower > 0 && c.rate(&v, &g) < -c.slack && c.seen(&v, at.pair, &g) { // a gap that there is yet shrinks, whatever the cores do
		return nil, false
	}
	if c.lost {
		return nil, true
	}
	is, long := c.opens(&v, at.pair, &g, moves)
	if is == open {
		return nil, true
	}
	if c.seen(&v, at.pair, &g) {
		return nil, false
	}
	if is == never {
		c.giveUp(at, tooDeep)
		return nil, true
	}
	return c.halves(at, long), true
}

// outcome is what is proven of a part.
type outcome uint8

const (
	cut   outcome = iota // nothing yet
	open                 // no gap that is too small shrinks
	never                // it is not to be proven
)

// opens tells whether a gap that is too small opens all over a part: itself where there is one, else the first of its cores' that is one. Where that is
// not proven it names the axis to cut.
func (c *creeping) opens(v *sight, i int32, own *solid.Gap, moves float64) (is outcome, long int8) {
	q, now, told := &c.p.pairs[i], *own, false
	a, b, need := c.p.bodies[q.a].shape, *c.shape(v, q.b), q.required+c.p.allowance
	for layer := 0; ; layer++ {
		slope, steep := math.Inf(-1), int8(0)
		if now.Lower >= touching { // what costs less first
			slope, steep = c.slope(v, i, &now, func(body int32) *solid.Shape { return c.layered(layer, body) })
			if slope >= -c.slack && now.Lower-moves >= touching {
				c.out.Closing = max(c.out.Closing, -slope)
				return open, 0
			}
		}
		w := c.widens(v, &a, &b, &now, need)
		if slope > w.rate {
			w.rate, w.long = slope, steep
		}
		low, high := max(w.low, now.Lower-moves), min(w.high, now.Upper+moves)
		counts := high >= touching
		switch {
		case low >= need:
			return open, 0
		case counts && w.rate < -c.slack && layer > 0 && !told && now.Lower >= touching && c.rate(v, &now) < -plainly*c.slack:
			return never, 0
		case counts && w.rate < -c.slack:
			return cut, w.long
		case counts:
			c.out.Closing = max(c.out.Closing, -w.rate)
		}
		if told = told || now.Lower >= touching; low >= touching {
			return open, 0
		}
		if layer == len(layers) && !told {
			return never, 0
		} else if layer == len(layers) {
			return cut, w.long
		}
		a, b, need = c.core(layer, q.a), c.core(layer, q.b), math.Inf(1)
		solid.Place(&b, &b, &v.motion)
		now = solid.Distance(a, b)
		c.deep = c.deep || layer > 0
	}
}

// rate is how fast a gap widens at the pose looked at by the two points where it was found, mm per radian: no less than it does, but for rounding.
func (c *creeping) rate(v *sight, g *solid.Gap) float64 {
	axis := c.lines(v)[c.axis]
	return g.B.Sub(axis.at).Dot(g.Way.Cross(axis.dir)) * -float64(c.dir)
}

// possible tells whether at some pose of where the rig may stand, of nine, no parts are deep in each other.
func (c *creeping) possible(box rect) bool {
	mid := box.middle()
	for _, a1 := range []unit.Angle{mid.A1, box.low.A1, box.high.A1} {
		for _, a2 := range []unit.Angle{mid.A2, box.low.A2, box.high.A2} {
			if c.shallow(rig.Axes{A1: a1, A2: a2}) {
				return true
			}
		}
	}
	return false
}

// shallow tells whether at a pose no parts, less the outermost layer, touch.
func (c *creeping) shallow(at rig.Axes) bool {
	for k := range classes {
		v := c.moved(k, rect{at, at}, at)
		for _, i := range c.p.of[k] {
			q := &c.p.pairs[i]
			if c.ballBound(&v, q, 0) >= 0 {
				continue
			}
			a, b := c.core(0, q.a), c.core(0, q.b)
			solid.Place(&b, &b, &v.motion)
			if !solid.AtLeast(a, b, touching) {
				return false
			}
		}
	}
	return true
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

// gap is that of a pair.
func (c *creeping) gap(v *sight, i int32) solid.Gap {
	q := &c.p.pairs[i]
	return solid.Distance(c.p.bodies[q.a].shape, *c.shape(v, q.b))
}

// layered is a body, or what is left of it less the layers before one, at the zero pose.
func (c *creeping) layered(layer int, i int32) *solid.Shape {
	if layer == 0 {
		return &c.p.bodies[i].shape
	}
	s := c.core(layer-1, i)
	return &s
}

// core is a body less a layer, at the zero pose.
func (c *creeping) core(layer int, i int32) solid.Shape {
	if c.cores[layer] == nil {
		c.cores[layer] = make([]solid.Shape, len(c.p.bodies))
	}
	if c.cores[layer][i].Kind() == solid.NoKind {
		c.cores[layer][i] = c.p.bodies[i].shape.Core(layers[layer])
	}
	return c.cores[layer][i]
}

// seen tells whether a gap is seen to shrink from a pose on, and takes that for the answer.
func (c *creeping) seen(v *sight, i int32, g *solid.Gap) bool {
	if !(g.Upper < c.p.pairs[i].required) {
		return false
	}
	rate, closes := c.closes(v, i, g)
	if !closes || rate <= c.slack {
		return false
	}
	c.out.Closing, c.out.Nearest, c.out.Decided, c.out.Why = rate, c.at(v, i, g), true, ""
	return true
}

// closes looks whether a gap shrinks from a pose on, and how fast, mm per radian.
func (c *creeping) closes(v *sight, i int32, now *solid.Gap) (rate float64, ok bool) {
	w := c.moved(v.cell.class, v.cell.box, c.ahead(v.pose, probe))
	later := c.gap(&w, i)
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

// halves cuts a part across an axis.
func (c *creeping) halves(at part, long int8) []part {
	a, b := at, at
	size := at.box.high.Sub(at.box.low)
	if [2]unit.Angle{size.A1, size.A2}[long] <= finest || !halve(&a.box, &b.box, long) {
		c.giveUp(at, "not settled: it changes by too little")
		return nil
	}
	return []part{b, a}
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
