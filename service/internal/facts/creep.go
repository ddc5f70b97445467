package facts

import (
	"math"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// perDegree turns a length per radian into one per degree.
const perDegree = float64(unit.Degree)

// creepFacts puts how fast a gap that is too small already shrinks along a creep, with and without pose uncertainty.
func (in *Input) creepFacts(f Set, p *reach.Prover, ways []journey) {
	worst, sharp := -1.0, worsts{}
	var about, aboutSharp []string
	undecided := ""
	for i := range ways {
		j := &ways[i]
		wide := in.creeps(p, j, j.spread)
		closing := wide.Closing * perDegree
		if !wide.Decided && undecided == "" {
			undecided, about = wide.Why, partsOf(wide.Nearest)
		}
		if closing > worst {
			worst = closing
			if undecided == "" {
				about = partsOf(wide.Nearest)
			}
		}
		exact := wide
		if !wide.Decided || in.closesBeyond(closing) {
			exact = in.creeps(p, j, j.sharp)
		}
		seen := 0.0
		if exact.Decided {
			seen = exact.Closing * perDegree
		}
		if seen > worst { // of what is not settled from all over, what closes from the best known pose is known
			worst = seen
			if undecided == "" || in.closesBeyond(seen) {
				about = partsOf(exact.Nearest)
			}
		}
		if sharp.take(j.end.From, -seen) {
			aboutSharp = partsOf(exact.Nearest)
		}
	}
	proven, _ := sharp.proven()
	f.Number("closing_sharp_mm_per_deg", math.Max(0, -proven), Computed, aboutSharp...)
	if undecided != "" && !in.closesBeyond(-proven) {
		f.Lack("closing_mm_per_deg", "that none shrinks is "+undecided+"; it is sooner settled from a pose known more exactly, or by the other axis", "homing", about...)
		return
	}
	f.Number("closing_mm_per_deg", worst, Computed, about...)
}

// settling is the share of the work budget that a creep may take. Choice: from poses of the example rigs that are inside a margin or touch, stated to 3°,
// it finds all that dense looking does; its cells are of one pair each and take some tens of milliseconds.
const settling = 6

// creeps proves a creep of a journey from its start with a spread.
func (in *Input) creeps(p *reach.Prover, j *journey, spread rig.Axes) reach.Creep {
	return in.creepsFrom(p, j.start, j.end.Axes.Sub(j.start), spread, in.Cells/settling)
}

// creepsFrom proves a creep from a start with the spread of an ordinary motion. Of that the overrun is no part here: the rig rests where it starts, on the
// axis that stays at rest too, and runs over the end of the creep alone.
func (in *Input) creepsFrom(p *reach.Prover, start, by, spread rig.Axes, cells int) reach.Creep {
	over := in.Rig.Motion.Overrun
	return p.Creeps(start, rig.Axes{A1: beyond(by.A1, over.A1), A2: beyond(by.A2, over.A2)}, spread.Sub(over), in.closingSlack(), reach.Budget(cells))
}

// beyond is a turn that runs over its end; none runs over none.
func beyond(by, over unit.Angle) unit.Angle {
	switch {
	case by > 0:
		return by + over
	case by < 0:
		return by - over
	}
	return 0
}

// closingSlack is how fast a gap may shrink that counts as none that does, mm per radian.
func (in *Input) closingSlack() float64 {
	return in.limit("clear/opens", "closing_mm_per_deg", 0) / perDegree
}

func (in *Input) closesBeyond(mmPerDeg float64) bool {
	return mmPerDeg > in.limit("clear/opens", "closing_mm_per_deg", 0)
}
