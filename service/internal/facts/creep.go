package facts

import (
	"math"

	"keepclear.example/keepclear/service/internal/question"
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

// onePair is how many cells of a creep count as one of the work budget: they are of one pair each, and others of all pairs. Choice.
const onePair = 4

// creeps proves a creep from a start with a spread.
func (in *Input) creeps(p *reach.Prover, j *journey, spread rig.Axes) reach.Creep {
	slack := in.limit("clear/opens", "closing_mm_per_deg", 0) / perDegree
	return p.Creeps(j.start, j.end.Axes.Sub(j.start), spread, slack, reach.Budget(onePair*in.Cells))
}

func (in *Input) closesBeyond(mmPerDeg float64) bool {
	return mmPerDeg > in.limit("clear/opens", "closing_mm_per_deg", 0)
}

// farthestOut is how far a creep that is proposed goes at most, degrees. Choice: what brings a part out of a margin or off another is a few.
const farthestOut = 24

// wayOut proposes, from where parts are nearer than they may be, creeps that regain the margin, the shortest first: of each axis, both ways. The
// shortest may go below the floor or toward the Sun. In the place of a creep it does so where that may close a gap.
func (in *Input) wayOut(f Set, p *reach.Prover, ways []journey, out *Outcome) {
	first := ways[0]
	if v := f["closing_mm_per_deg"].Number; v != nil && !in.closesBeyond(*v) || p.Prove(reach.Hold(first.start), first.sharp, reach.Budget(in.Cells)).Passes() {
		return
	}
	propose := func(by rig.Axes) {
		rate := unit.Deg(in.limit("permit", "jog_deg_per_s", 0.1))
		out.Instead = append(out.Instead, []question.Action{{Kind: question.Creep, Axes: &by, Rate: &rate}})
	}
	told := len(out.Instead)
	open := ways4()
	for deg := 1.0; deg <= farthestOut && len(open) > 0; deg *= 1.5 {
		var longer []rig.Axes
		for _, way := range open {
			by := way.Scale(deg)
			clear, opens := in.leadsOut(p, &first, by)
			switch {
			case clear && opens:
				propose(by)
			case !clear: // else what is not proven of it is not of a longer one
				longer = append(longer, way)
			}
		}
		open = longer
	}
	for _, deg := range []float64{12, 6, 3} { // of a pose that is not known well the margin may be regained nowhere near: then some way out
		for _, way := range ways4() {
			if len(out.Instead) > told {
				return
			}
			if by := way.Scale(deg); in.Rig.Travel.Holds(first.start.Add(by)) && in.opens(p, &first, by) {
				propose(by)
			}
		}
	}
	if len(out.Instead) == told {
		out.Notes = append(out.Notes, "two parts are nearer than they may be where the rig stands, and of no creep is it proven, from all of where the rig may be, that it leads out: have a person state the pose more exactly (with a smaller sigma) and ask again, or turn it out by hand")
	}
}

// ways4 are a degree of each axis, both ways.
func ways4() []rig.Axes {
	return []rig.Axes{rig.DegAxes(1, 0), rig.DegAxes(-1, 0), rig.DegAxes(0, 1), rig.DegAxes(0, -1)}
}

// proposing is the share of the work budget that each look at a way out may take. Choice: of those that lead out of the example rigs' margins
// few take a twentieth of it.
const proposing = 16

// leadsOut tells whether a creep ends with every margin kept, as far as the pose is known, and whether no gap too small shrinks along it.
func (in *Input) leadsOut(p *reach.Prover, from *journey, by rig.Axes) (clear, opens bool) {
	end := from.start.Add(by)
	if !in.Rig.Travel.Holds(end) || !p.Prove(reach.Hold(end), from.spread, reach.Budget(in.Cells/proposing)).Passes() {
		return false, false
	}
	return true, in.opens(p, from, by)
}

// opens tells, by some of the work budget, whether no gap too small shrinks along a creep.
func (in *Input) opens(p *reach.Prover, from *journey, by rig.Axes) bool {
	some := *in
	some.Cells = in.Cells / proposing
	to := *from
	to.end.Axes = from.start.Add(by)
	c := some.creeps(p, &to, from.spread)
	return c.Decided && !in.closesBeyond(c.Closing*perDegree)
}
