package reach

import (
	"math"
	"slices"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// This file finds ways round. The map says which cells are clear; the search goes over a lattice of poses, from one to the next where the
// rectangle between them, with the spread, is clear (so in whatever order the axes move), quickest first. What it finds has many small steps: of
// its poses those are kept as stops that make the quickest way of whole legs. Each leg is proven: by the map where that suffices, else by itself.

// lattices are tried in turn: how far apart their poses lie, and how often the map is halved for them. Choice: an opening of 5° is found at
// a hundredth of the work of one of 1°; a narrower one is not one to send a rig through unasked.
var lattices = []struct {
	step  unit.Angle
	depth int
}{{5 * unit.Degree, 3}, {2 * unit.Degree, 4}, {unit.Degree, 5}}

// mostStops bounds the poses of a found way among which its stops are chosen. Choice: the legs between them grow as the square.
const mostStops = 28

// Route is a way round something in the way: poses to stop at, each leg a motion of its own.
type Route struct {
	Stops   []rig.Axes // between start and end, in order
	Seconds float64    // of all legs; infinite where a rate is not known
	Cells   int        // looked at in the search
	// Barred tells, where none was found, that there is none: whatever way is taken within travel, with no uncertainty at all, it comes to a
	// pose that does not keep what is required.
	Barred bool
}

// Around finds a proven way from one pose to another with stops between, each leg in the mount's own manner and kept clear with the spread: the
// quickest of those by one corner (one axis after the other), and, where neither is clear, one by as few stops as it finds, over all of the travel.
// Found is false where none is proven within the budget.
func (p *Prover) Around(from, to rig.Axes, m rig.Motion, travel rig.Travel, spread rig.Axes, budget Budget) (r Route, found bool) {
	return p.AroundWhere(nil, from, to, m, travel, spread, budget)
}

// AroundWhere is Around by open poses alone: those that keep the tube above the floor and off the Sun, say. That is looked at along each leg, more
// coarsely than the parts are: nothing is proven of it. Barred is of the parts alone. nil: every pose is open.
func (p *Prover) AroundWhere(open func(rig.Axes) bool, from, to rig.Axes, m rig.Motion, travel rig.Travel, spread rig.Axes, budget Budget) (r Route, found bool) {
	if p.why != "" || !from.Finite() || !to.Finite() || !spread.Finite() {
		return r, false
	}
	w := walk{p: p, v: p.mapped().visit(budget), from: from, to: to, m: m, travel: travel, spread: spread, budget: budget, open: open}
	best := Route{Seconds: math.Inf(1)}
	for _, corner := range []rig.Axes{{A1: to.A1, A2: from.A2}, {A1: from.A1, A2: to.A2}} {
		if seconds := w.effort(from, corner) + w.effort(corner, to); corner != from && corner != to && travel.Holds(corner) &&
			(!found || seconds < best.Seconds) && w.leads([]rig.Axes{corner}) {
			best, found = Route{Stops: []rig.Axes{corner}, Seconds: seconds}, true
		}
	}
	barred := false
	for i, l := range lattices {
		if i == 1 && !found {
			barred = w.barred()
		}
		if found || barred || w.spent() {
			break
		}
		w.v.depth = l.depth
		stops := w.over(l.step)
		if stops == nil {
			continue
		}
		if better := w.tauten(stops); w.leads(better) {
			best, found = Route{Stops: better}, true
		} else if w.leads(stops) {
			best, found = Route{Stops: stops}, true
		}
	}
	if found {
		best.Seconds = Through(m.Sharing, m, slices.Concat([]rig.Axes{from}, best.Stops, []rig.Axes{to})...).Seconds()
	} else {
		best = Route{Barred: barred}
	}
	best.Cells = w.cells()
	return best, found
}

// walk is one search for a way round.
type walk struct {
	p        *Prover
	v        *visit
	from, to rig.Axes
	m        rig.Motion
	travel   rig.Travel
	spread   rig.Axes
	budget   Budget
	proven   int // cells that proofs of legs looked at
	steps    int // of the lattice
	open     func(rig.Axes) bool
}

// How far apart the poses of a leg are at which it is looked whether they are open. Choice: in between a tube that turns by both axes strays from
// those beside by the square of half a step, a fiftieth of a degree along a line and a tenth in a rectangle.
const (
	openStep = 2 * unit.Degree
	openMesh = 5 * unit.Degree
)

// stays tells whether a leg stays where it is open: in the mount's own manner, or all over the rectangle where it may move in any.
func (w *walk) stays(a, b rig.Axes) bool {
	if w.open == nil {
		return true
	}
	d, way := b.Sub(a), WayOf(w.m.Sharing, w.m, a, b)
	if long := way.Seconds(); w.m.Sharing != rig.AnyOrder && !math.IsInf(long, 1) {
		n := looks(d.Abs().Max(), openStep)
		for i := range n + 1 {
			if !w.isOpen(way.At(long * float64(i) / float64(n))) {
				return false
			}
		}
		return true
	}
	n, m := looks(d.A1, openMesh), looks(d.A2, openMesh)
	for i := range n + 1 {
		for k := range m + 1 {
			if !w.isOpen(a.Add(rig.Axes{A1: d.A1 * unit.Angle(i) / unit.Angle(n), A2: d.A2 * unit.Angle(k) / unit.Angle(m)})) {
				return false
			}
		}
	}
	return true
}

// looks is into how many steps of a size at most an angle is cut.
func looks(by, step unit.Angle) int { return max(1, int(math.Ceil(float64(by.Abs()/step)))) }

// isOpen tells whether a pose is open, which is work too.
func (w *walk) isOpen(at rig.Axes) bool {
	if w.open == nil {
		return true
	}
	w.steps++
	return w.open(at)
}

// cells counts the work: what was looked at, and one for so many steps as take as long.
func (w *walk) cells() int { return w.v.cells + w.proven + w.steps/16 }

func (w *walk) spent() bool { return w.cells() >= int(w.budget) }

// effort is how long a leg takes; where a rate is not known, as if each axis went a degree a second.
func (w *walk) effort(a, b rig.Axes) float64 {
	if s := WayOf(w.m.Sharing, w.m, a, b).Seconds(); !math.IsInf(s, 1) {
		return s
	}
	return w.least(a, b) + 5
}

// least is how long the axes take between two poses at least.
func (w *walk) least(a, b rig.Axes) float64 {
	d := b.Sub(a).Abs()
	return max(d.A1.Deg()/rate(w.m.RateDeg[0]), d.A2.Deg()/rate(w.m.RateDeg[1]))
}

func rate(deg float64) float64 {
	if !(deg > 0) || math.IsInf(deg, 1) {
		return 1
	}
	return deg
}

// leads tells whether the way by some stops is proven. The stops are tried first: most that fail fail there.
func (w *walk) leads(stops []rig.Axes) bool {
	for _, s := range stops {
		if !w.proves(Hold(s)) {
			return false
		}
	}
	at := w.from
	for _, s := range append(slices.Clone(stops), w.to) {
		if !w.stays(at, s) || !w.sweeps(at, s) && !w.proves(WayOf(w.m.Sharing, w.m, at, s)) {
			return false
		}
		at = s
	}
	return true
}

func (w *walk) proves(way Way) bool {
	if w.spent() {
		return false
	}
	passes, cells := w.p.Passes(way, w.spread, w.budget-Budget(w.cells()))
	w.proven += cells
	return passes
}

// free tells whether the rectangle between two poses is clear, with the spread.
func (w *walk) free(a, b rig.Axes) bool { return w.v.clears(finesOf(hull(a, b, w.spread))) }

// stops chooses, of the poses of a way, those to stop at: the quickest way of legs that the map shows to be clear. The first and the last leg
// were found to be clear as the poses next to the ends were.
func (w *walk) stops(poses []rig.Axes) []rig.Axes {
	n := len(poses)
	best, next := make([]float64, n), make([]int, n)
	for i := n - 2; i >= 0; i-- {
		best[i], next[i] = math.Inf(1), i+1
		for j := n - 1; j > i; j-- {
			if t := w.effort(poses[i], poses[j]) + best[j]; t < best[i] && (j == i+1 && (i == 0 || j == n-1) || w.sweeps(poses[i], poses[j])) {
				best[i], next[i] = t, j
			}
		}
	}
	var out []rig.Axes
	for i := next[0]; i < n-1; i = next[i] {
		out = append(out, poses[i])
	}
	return out
}

// sweeps tells whether the map proves a leg to be clear, with the spread.
func (w *walk) sweeps(a, b rig.Axes) bool {
	way := WayOf(w.m.Sharing, w.m, a, b)
	ok, steps := w.v.sweeps(&way, w.spread)
	w.steps += steps
	return ok && w.stays(a, b)
}
