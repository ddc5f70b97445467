package reach

import (
	"cmp"
	"slices"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// gridStep is how far apart the intermediate stops tried by Around lie at most. Choice: 15°, an hour of hour angle; a gap in the
// surroundings that a stop must hit more finely is not one to send a rig through unasked.
const gridStep = 15 * unit.Degree

// mostStops bounds the stops tried along each axis. Choice: 360° of travel.
const mostStops = 25

// Route is a way round something in the way: poses to stop at, each leg a motion of its own.
type Route struct {
	Stops   []rig.Axes // between start and end, in order
	Seconds float64    // of all legs
	Cells   int        // looked at in the search
}

// Around finds the quickest proven way from one pose to another with stops between, each leg in the mount's own manner and kept
// clear with the spread: first by the two corners (one axis after the other), then by one stop on a coarse grid over the travel.
// Found is false where none is proven within the budget.
func (p *Prover) Around(from, to rig.Axes, m rig.Motion, travel rig.Travel, spread rig.Axes, budget Budget) (r Route, found bool) {
	corners := []rig.Axes{{A1: to.A1, A2: from.A2}, {A1: from.A1, A2: to.A2}}
	for _, stops := range [][]rig.Axes{corners, grid(travel)} {
		for _, c := range order(from, to, m, inside(stops, travel)) {
			if r.Cells >= int(budget) {
				return r, false
			}
			if p.leadsBy(&r, from, c.stop, to, m, spread, budget) {
				r.Stops, r.Seconds = []rig.Axes{c.stop}, c.seconds
				return r, true
			}
		}
	}
	return r, false
}

// leadsBy tells whether the way by one stop is proven. The stop itself is tried first: most that fail fail there.
func (p *Prover) leadsBy(r *Route, from, stop, to rig.Axes, m rig.Motion, spread rig.Axes, budget Budget) bool {
	for _, way := range []Way{Hold(stop), WayOf(m.Sharing, m, from, stop), WayOf(m.Sharing, m, stop, to)} {
		passes, cells := p.Passes(way, spread, budget-Budget(r.Cells))
		if r.Cells += cells; !passes {
			return false
		}
	}
	return true
}

// candidate is a stop and how long the way by it takes.
type candidate struct {
	stop    rig.Axes
	seconds float64
}

// order sorts stops by the time of the way by them, equal ones as they come.
func order(from, to rig.Axes, m rig.Motion, stops []rig.Axes) []candidate {
	out := make([]candidate, 0, len(stops))
	for _, s := range stops {
		if s != from && s != to {
			out = append(out, candidate{s, WayOf(m.Sharing, m, from, s).Seconds() + WayOf(m.Sharing, m, s, to).Seconds()})
		}
	}
	slices.SortStableFunc(out, func(a, b candidate) int { return cmp.Compare(a.seconds, b.seconds) })
	return out
}

func inside(stops []rig.Axes, t rig.Travel) []rig.Axes {
	return slices.DeleteFunc(slices.Clone(stops), func(s rig.Axes) bool {
		return !(s.A1 >= t.Low.A1 && s.A1 <= t.High.A1 && s.A2 >= t.Low.A2 && s.A2 <= t.High.A2)
	})
}

// grid returns evenly spaced stops over a travel, its ends left out.
func grid(t rig.Travel) []rig.Axes {
	var out []rig.Axes
	for _, a1 := range between(t.Low.A1, t.High.A1) {
		for _, a2 := range between(t.Low.A2, t.High.A2) {
			out = append(out, rig.Axes{A1: a1, A2: a2})
		}
	}
	return out
}

func between(low, high unit.Angle) []unit.Angle {
	n := 1
	for n < mostStops && (high-low)/unit.Angle(n) > gridStep {
		n++
	}
	var out []unit.Angle
	for i := 1; i < n; i++ {
		out = append(out, low+(high-low)*unit.Angle(i)/unit.Angle(n))
	}
	return out
}
