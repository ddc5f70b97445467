package reach

import (
	"math"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// aim is what a search is after.
type aim uint8

const (
	tight      aim = iota // the least spare, known closely
	verdict               // whether the spare is negative anywhere
	soonest               // when it becomes so
	everything            // each pair as closely as a cell allows
	whether               // whether each pair keeps what it requires all over a cell, or one of them nowhere in it
)

// How closely the least spare is wanted. Choice: a millimetre is what a tape measure gives; of a gap of a metre nobody needs more
// than 3 cm, and asking for it would double the work of an ordinary slew.
const (
	closeMM    = 1.0
	closeShare = 0.03
)

// search is the work on one question. The cells that are not settled stand in a queue; none that is settled holds a spare below
// what was enough when it was.
type search struct {
	p      *Prover
	way    Way
	spread rig.Axes
	left   Budget
	aim    aim
	why    string

	need    []float64 // by pair: the gap below which the spare is negative
	share   float64   // of what is required, that counts as needed
	extra   float64   // needed beside it, mm
	from    float64   // seconds: until then the motion was proven before to keep what it is to keep
	rough   bool      // an instant is wanted to a two-hundredth of it
	plain   bool      // nothing known beforehand is looked up
	towards []point   // by pair: the direction of the gap when it was last seen, or zero
	placed  []placed  // by body
	stamp   int64     // numbers the poses looked at

	queue   queue
	pieces  []cell    // of a way that is cut by what is known beforehand
	uncut   []stretch // what is not cut yet, the soonest last
	open    []int32   // the unsettled pairs of all cells, one list after the other
	cells   int
	settled float64 // the least bound by which anything was settled
	atMost  float64 // of whether: what the pair with the least spare has all over the cell at most

	best seen
}

// placed is a body at the pose of the stamp beside it.
type placed struct {
	centreAt, shapeAt int64
	centre            point
	shape             solid.Shape
}

// seen is a pair at a pose.
type seen struct {
	found        bool
	spare        float64 // at most
	pair         int32
	leg          int32
	pose         rig.Axes
	mark, time   float64
	lower, upper float64 // of the gap
}

// search makes the work on a question; why is set where it makes no sense. It is to be released, and not used after that.
func (p *Prover) search(way Way, spread rig.Axes, budget Budget) *search {
	s, used := p.scratch.Get().(*search)
	if !used {
		s = new(search)
	}
	s.need, s.towards, s.placed = sized(s.need, len(p.pairs)), sized(s.towards, len(p.pairs)), sized(s.placed, len(p.bodies))
	s.p, s.way, s.spread, s.left, s.why = p, way, spread, budget, p.why
	s.aim, s.rough, s.plain, s.cells, s.settled, s.from = tight, false, false, 0, math.Inf(1), 0
	s.best = seen{spare: math.Inf(1), time: math.Inf(1)}
	switch {
	case s.why != "":
	case !way.finite():
		s.why = "the way has a pose that is no number"
	case !spread.Finite() || spread.A1 < 0 || spread.A2 < 0:
		s.why = "the spread of the poses is not known"
	}
	s.goal(1, 0)
	return s
}

// release gives the space of a search back for another. The poses looked at go on being numbered, so that nothing placed is taken for new.
func (s *search) release() {
	clear(s.towards)
	s.queue, s.uncut, s.open, s.way = s.queue[:0], s.uncut[:0], s.open[:0], Way{}
	pool := s.p.scratch
	s.p = nil
	pool.Put(s)
}

// sized returns room for n things: what was there before, where it is enough.
func sized[T any](room []T, n int) []T {
	if cap(room) < n {
		return make([]T, n)
	}
	return room[:n]
}

// goal sets what counts as no spare: a share of what the pair requires and extra.
func (s *search) goal(share, extra float64) {
	if math.IsNaN(extra) || math.IsInf(extra, 0) {
		s.why = "the extra margin is no number"
	}
	s.share, s.extra = share, extra
	for i := range s.need {
		s.need[i] = share*s.p.pairs[i].required + extra
	}
}

// enough returns the spare from which on a pair needs no more work over a cell. It shrinks while a search runs, but for what a nearer pair
// requires less; what was settled by it stays proven as it was then.
func (s *search) enough() float64 {
	u := s.best.spare
	switch {
	case s.aim == everything, s.aim == tight && !s.best.found:
		return math.Inf(1)
	case s.aim != tight:
		return 0
	case u < 0:
		return u - closeMM
	}
	gap := u + s.need[s.best.pair]
	return max(0, min(u-closeMM, u-gap*closeShare))
}

// interesting returns the spare below which a pose is worth an exact look.
func (s *search) interesting() float64 {
	switch s.aim {
	case tight:
		return s.best.spare
	case everything:
		return math.Inf(1)
	case verdict, soonest, whether:
	}
	return 0
}

// see notes a pair at a pose.
func (s *search) see(v *sight, i int32, g *solid.Gap) {
	spare := g.Upper - s.need[i]
	l := &s.way.legs[v.cell.leg]
	if s.aim == soonest {
		if spare >= 0 {
			return
		}
		v.broken = true
		mark := v.mark
		if _, first, _, ok := l.clip(rect{v.pose, v.pose}, s.spread); ok { // with the spread the pose may come sooner
			mark = first
		}
		if t := l.time(mark, v.pose); !s.best.found || t < s.best.time {
			s.best = seen{true, spare, i, v.cell.leg, v.pose, mark, t, g.Lower, g.Upper}
		}
		return
	}
	if spare < s.best.spare {
		s.best = seen{true, spare, i, v.cell.leg, v.pose, v.mark, 0, g.Lower, g.Upper}
	}
}

// begin looks at every leg as one cell for each class of pairs; where something is known beforehand, it cuts them by that.
func (s *search) begin() {
	if s.p.known != nil && !s.plain {
		s.cut()
		return
	}
	for i := range s.way.legs {
		l := &s.way.legs[i]
		for k := range classes {
			if len(s.p.of[k]) > 0 {
				whole := hull(l.from, l.to, s.spread.Add(l.fuzz()))
				s.offer(cell{box: whole, first: s.after(l, 0), last: l.lastMark(), low: math.Inf(-1), leg: int32(i), class: k}, s.p.of[k])
			}
		}
	}
}

// offer looks at a cell, cut down to what the way sweeps of it, and queues it if it is not settled.
func (s *search) offer(c cell, pairs []int32) {
	l := &s.way.legs[c.leg]
	box, first, last, ok := l.clip(c.box, s.spread)
	if !ok {
		return
	}
	if s.aim == soonest && l.kind != rectLeg { // what it comes to sooner or later is another cell's
		if first, last = max(first, c.first), min(last, c.last); first > last {
			return
		}
		box = box.meet(hull(l.point(first), l.point(last), s.spread.Add(l.fuzz())))
	}
	known := c.low
	c.box, c.first, c.last = box, first, last
	if !s.look(&c, pairs) {
		return
	}
	c.low = max(c.low, known) // what is proven of a cell holds in each part of it
	c.key = c.low
	if s.aim == soonest {
		c.key = l.earliest(&c, s.spread)
	}
	s.queue.push(c)
}

// work looks at a cell that was not looked at yet, or splits it; false where it is too small for that.
func (s *search) work(c *cell) bool {
	if c.fresh {
		pairs := s.p.of[c.class]
		switch {
		case c.n > 0:
			pairs = s.open[c.at : c.at+c.n]
		case s.p.fullest && c.at >= 0 && c.rest >= s.enough(): // the others need no look
			s.settled = min(s.settled, c.rest)
			s.open = append(s.open, c.at)
			pairs = s.open[len(s.open)-1:]
		}
		c.fresh = false
		s.offer(*c, pairs)
		return true
	}
	if s.aim == soonest && s.way.legs[c.leg].kind != rectLeg {
		return s.narrow(c)
	}
	return s.split(c)
}

// split cuts a cell in two across its longer side; false where it is too small for that. Where the soonest instant is wanted the other side
// does too: of a pair that only axis 2 moves none is nearer by axis 1, but some are sooner.
func (s *search) split(c *cell) bool {
	a, b := *c, *c
	if !halve(&a.box, &b.box, c.long) && !(s.aim == soonest && halve(&a.box, &b.box, 1-c.long)) {
		return false
	}
	s.offer(a, s.open[c.at:c.at+c.n])
	s.offer(b, s.open[c.at:c.at+c.n])
	return true
}

// halve cuts what is one rectangle twice into a lower and a higher half along an axis; false where it is too short.
func halve(lower, higher *rect, axis int8) bool {
	m := lower.middle()
	if axis == 0 {
		if m.A1 <= lower.low.A1 || m.A1 >= lower.high.A1 {
			return false
		}
		lower.high.A1, higher.low.A1 = m.A1, m.A1
		return true
	}
	if m.A2 <= lower.low.A2 || m.A2 >= lower.high.A2 {
		return false
	}
	lower.high.A2, higher.low.A2 = m.A2, m.A2
	return true
}

// spent tells whether the budget is used up.
func (s *search) spent() bool { return s.cells >= int(s.left) }

// closest works on the cell with the least bound until the answer is settled. What is then proven is the least bound in the queue
// or of anything settled.
func (s *search) closest(what aim) {
	s.aim = what
	s.begin()
	for len(s.queue) > 0 && s.queue[0].low < s.enough() && !s.spent() {
		if s.best.spare < 0 && (what == verdict || s.best.upper <= 0 && !math.IsInf(s.queue[0].low, -1)) {
			return // of a contact it is enough that something is proven of every cell
		}
		c := s.queue.pop()
		if !s.work(&c) {
			s.queue.push(c)
			return
		}
	}
}

// result reads off what closest found.
func (s *search) result() Result {
	r := Result{Lower: unit.Length(math.Inf(-1)), Upper: unit.Length(math.Inf(1)), Why: s.why, Cells: s.cells}
	if s.why != "" {
		return r
	}
	low := s.settled
	if len(s.queue) > 0 {
		low = min(low, s.queue[0].low)
	}
	r.Lower, r.Upper, r.Nearest = unit.Length(low), unit.Length(s.best.spare), s.approach()
	r.Decided = r.Lower >= 0 || r.Upper < 0
	if !r.Decided {
		r.Why = "not settled within the work budget"
	}
	return r
}

// first works on the cell that the motion may reach soonest. Whatever it may reach before that cell is settled.
func (s *search) first() Until {
	s.aim = soonest
	s.begin()
	for s.more() {
		c := &s.queue[0]
		if s.best.found && !(s.best.time-c.key > s.resolution()) {
			return Until{Clear: min(c.key, s.best.time), Broken: s.best.time, Seen: s.approach(), Decided: true}
		}
		if g := s.grazing(); !c.fresh && c.low >= -g && c.moves <= 10*g { // the spare is that near none: nobody needs to know closer when
			return Until{Clear: min(c.key, s.best.time), Broken: s.best.time, Seen: s.approach(), Decided: true}
		}
		top := s.queue.pop()
		if s.spent() || !s.work(&top) {
			s.why = "not settled within the work budget"
			return Until{Clear: min(top.key, s.best.time), Broken: s.best.time, Seen: s.approach()}
		}
	}
	if s.best.found { // all until then is settled
		return Until{Clear: s.best.time, Broken: s.best.time, Seen: s.approach(), Decided: true}
	}
	return Until{Clear: s.way.end, Whole: true, Broken: math.Inf(1), Decided: true}
}

// resolution is how finely an instant is wanted, s. Choice: what nobody would notice, a hundred-thousandth of the way (0.9 s of a
// day), at least 20 ms.
func (s *search) resolution() float64 {
	fine := max(0.02, 1e-5*s.way.end)
	if s.rough && s.best.found {
		return max(fine, 5e-3*s.best.time)
	}
	return fine
}

// grazing is how near to none the spare is found where the instant is not settled sooner, mm: a hundredth, or of a rough one a
// whole; in a cell in which nothing moves by more than ten times that. Where pose uncertainty makes the set wide, the pose that breaks first stands in its corner, and no cell is ever looked at there.
func (s *search) grazing() float64 {
	if s.rough {
		return closeMM
	}
	return closeMM / 100
}

// earliest returns when the motion may first be in a cell.
func (l *leg) earliest(c *cell, spread rig.Axes) float64 {
	at := l.from
	if l.kind == rectLeg { // the nearest pose of the cell
		at.A1 += clampTo(0, c.box.low.A1-l.from.A1-spread.A1, c.box.high.A1-l.from.A1+spread.A1)
		at.A2 += clampTo(0, c.box.low.A2-l.from.A2-spread.A2, c.box.high.A2-l.from.A2+spread.A2)
	}
	return l.time(c.first, at)
}

// clampTo returns the number in [low, high] nearest to v.
func clampTo(v, low, high unit.Angle) unit.Angle { return min(max(v, low), high) }

// approach describes what was seen best.
func (s *search) approach() *Approach {
	b := &s.best
	if !b.found {
		return nil
	}
	q := &s.p.pairs[b.pair]
	l := &s.way.legs[b.leg]
	from, _ := s.way.Ends()
	turned := b.pose.Sub(from)
	if l.kind != rectLeg {
		turned = l.point(b.mark).Sub(from)
	}
	return &Approach{
		Parts: [2]string{s.p.name(q.a), s.p.name(q.b)}, Pair: int(b.pair), Pose: b.pose, Turned: turned,
		Seconds: l.time(b.mark, b.pose), Lower: unit.Length(b.lower), Upper: unit.Length(b.upper), Required: unit.Length(q.required),
	}
}

func (p *Prover) name(body int32) string {
	if i := p.bodies[body].part; i >= 0 && i < len(p.names) {
		return p.names[i]
	}
	return ""
}
