package gauge

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Plan is what a person does to hold a described rig against the rig itself.
type Plan struct {
	Signs []Sign
	Poses []Pose
	Short string // why there are fewer gauge poses than Fewest, or none; empty: there are enough
	// Unseen are the lengths of the file that none of the gaps tells anything of, by their names: only measuring them again does.
	Unseen []string
}

// Pose is one pose at which gaps are measured.
type Pose struct {
	At   rig.Axes
	Way  []rig.Axes // from home, one axis turned at a time: each place to stop at, At the last
	Gaps []Gap
}

// Gap is one gap to measure.
type Gap struct {
	Parts [2]string
	MM    float64 // as the file has it
	Err   float64 // by how much it may be another with every length within its reading error, mm
}

// Bounds of a plan. Three to five poses: the design, section 7. Three gaps at each: choice, the way there takes
// longer than the reading.
const (
	Fewest    = 3
	mostPoses = 5
	mostGaps  = 3
)

// Gaps that a tape reads. Choice: under 20 mm a tape does not go between, over 600 mm it sags and needs a second person; from the floor it stands
// upright.
const (
	leastGap  = 20
	mostGap   = 600
	mostFloor = 1500
)

// roomy is what gauge poses and the ways to them keep beyond the margins, mm, where there are such: the lengths are not proven yet. Choice: a
// length misread by a tape's whole decimetre is rare, one by half of it is not.
const roomy unit.Length = 50

// gridStep is how far apart the poses lie that are looked at. Choice: a person sets a round number.
const gridStep = 15

// Plan works the plan out. The same subject gives the same plan. Where going is false, which is asked between lengths and poses, it ends with
// ErrStopped.
func (s *Subject) Plan(going func() bool) (Plan, error) {
	out := Plan{Signs: s.signs()}
	var seen []float64
	for _, more := range []unit.Length{roomy, 0} {
		poses, tells, ok := s.choose(more, going)
		if !ok {
			return Plan{}, ErrStopped
		}
		if len(poses) > len(out.Poses) || seen == nil {
			out.Poses, seen = poses, tells
		}
		if len(out.Poses) >= Fewest {
			break
		}
	}
	for j, l := range s.Lengths {
		if l.Unit == "mm" && seen[j] < leastTold {
			out.Unseen = append(out.Unseen, l.Name)
		}
	}
	if len(out.Poses) < Fewest {
		short := ""
		if n, all := len(s.looked()), len(s.grid()); n < all {
			short = fmt.Sprintf("the file has so many shapes and lengths that %d of %d poses were looked at: plan with a file of fewer or simpler parts; ", n, all)
		}
		out.Short = short + fmt.Sprintf("%d of at least %d poses were found that are clear, that a person reaches from home one axis at a time, and that have a gap of %d to %d mm to measure",
			len(out.Poses), Fewest, leastGap, mostGap)
	}
	return out, nil
}

// leastTold is what a gap changes at least, mm a mm, with a length of which it tells anything. Choice: 40 mm of it are then beyond a tape's error.
const leastTold = 0.15

// candidate is a gap that could be measured, with what it tells of the lengths.
type candidate struct {
	pose  int // among those looked at
	spot  spot
	mm    float64
	slope []float64 // by length
	// scaled is slope in what the lengths may be misread by, gain hᵀ·C·h with what was picked before: see choice.
	scaled []float64
	gain   float64
}

// choose picks poses and gaps, each step the one that tells most beside those picked before; and, by length, what the gap of them that changes
// most with it changes.
func (s *Subject) choose(more unit.Length, going func() bool) ([]Pose, []float64, bool) {
	p := s.prover(more)
	poses, all, ok := s.candidates(p, going)
	if !ok {
		return nil, nil, false
	}
	ways := map[int][]rig.Axes{} // of poses picked; nil: there is none
	c := newChoice(s, all)
	var out []Pose
	seen := make([]float64, len(s.Lengths))
	for len(all) > 0 {
		if !going() {
			return nil, nil, false
		}
		best := c.best(all, out, poses)
		if best < 0 || len(out) >= Fewest && all[best].gain < leastGain {
			break
		}
		pick := all[best]
		at := poses[pick.pose]
		way, known := ways[pick.pose]
		if !known {
			way = s.way(p, at)
			ways[pick.pose] = way
		}
		if way == nil {
			all = without(all, func(x *candidate) bool { return x.pose == pick.pose })
			continue
		}
		out = put(out, Pose{At: at, Way: way}, s.gapFound(&pick))
		c.take(&pick, all)
		for j, v := range pick.slope {
			seen[j] = max(seen[j], math.Abs(v))
		}
		all = without(all, func(x *candidate) bool { return x.pose == pick.pose && x.spot == pick.spot })
	}
	return out, seen, true
}

func without(all []candidate, gone func(*candidate) bool) []candidate {
	var out []candidate
	for i := range all {
		if !gone(&all[i]) {
			out = append(out, all[i])
		}
	}
	return out
}

// put adds a gap to its pose, which may be new.
func put(all []Pose, p Pose, g Gap) []Pose {
	for i := range all {
		if all[i].At == p.At {
			all[i].Gaps = append(all[i].Gaps, g)
			return all
		}
	}
	p.Gaps = []Gap{g}
	return append(all, p)
}

func (s *Subject) gapFound(c *candidate) Gap {
	g := Gap{Parts: [2]string{s.Rig.Parts[c.spot.a].Name, s.Rig.Parts[c.spot.b].Name}, MM: c.mm}
	for j, v := range c.slope {
		g.Err += math.Abs(v) * s.Lengths[j].Err
	}
	return g
}

// candidates are the poses of the grid that are clear, and every gap that a tape reads there; ok is false where it was stopped.
func (s *Subject) candidates(p *reach.Prover, going func() bool) (poses []rig.Axes, out []candidate, ok bool) {
	looked := s.looked()
	if len(looked) == 0 {
		return nil, nil, true
	}
	v, ok := s.variants(going)
	if !ok {
		return nil, nil, false
	}
	pairs, budget := s.pairs(), s.budget()
	for _, at := range looked {
		if !going() {
			return nil, nil, false
		}
		if passes, _ := p.Passes(reach.Hold(at), s.spread(), budget); !passes {
			continue
		}
		stands := v.is.at(at)
		var here []candidate
		var spots []spot
		for _, k := range pairs {
			k.at = at
			if mm := stands.gap(k); mm >= leastGap && mm <= s.most(k) {
				here, spots = append(here, candidate{pose: len(poses), spot: k, mm: mm}), append(spots, k)
			}
		}
		if len(here) == 0 {
			continue
		}
		for i, slope := range v.slopes(at, spots) {
			here[i].slope = slope
		}
		poses, out = append(poses, at), append(out, here...)
	}
	return poses, out, true
}

// mostDistances bounds the work of a plan: poses, times the pairs of shapes, times the readings of the file. Choice: some ten times what the example
// rigs take; a file may have a million pairs.
const mostDistances = 20_000_000

// looked are the poses of the grid that the work allows, those nearest home.
func (s *Subject) looked() []rig.Axes {
	all := s.grid()
	return all[:min(len(all), mostDistances/max(len(s.scene().Pairs)*(len(s.Lengths)+1), 1))]
}

// budget is that of one proof, made less where a rig has many pairs.
func (s *Subject) budget() reach.Budget {
	return min(Budget, reach.Budget(mostDistances/max(len(s.scene().Pairs), 1)))
}

// most is the widest gap of two parts that a tape reads well.
func (s *Subject) most(k spot) float64 {
	if p := s.Rig.Parts[k.a]; p.Name == "floor" && p.Link == rig.Ground {
		return mostFloor
	}
	return mostGap
}

// grid are the poses that are looked at, those nearest home first: round numbers within travel, at most half a turn from home.
func (s *Subject) grid() []rig.Axes {
	var out []rig.Axes
	t, h := s.Rig.Travel, s.Rig.Home
	for _, a1 := range rounds(t.Low.A1, t.High.A1, h.A1) {
		for _, a2 := range rounds(t.Low.A2, t.High.A2, h.A2) {
			if at := rig.DegAxes(a1, a2); at != h {
				out = append(out, at)
			}
		}
	}
	turned := func(a rig.Axes) unit.Angle { d := a.Sub(h).Abs(); return d.A1 + d.A2 }
	slices.SortStableFunc(out, func(a, b rig.Axes) int { // two that are as far but for rounding stay as they are
		if d := turned(a) - turned(b); d.Abs() > 1e-9 {
			return cmp.Compare(d, 0)
		}
		return 0
	})
	return out
}

// rounds are the multiples of gridStep within travel and half a turn of home, degrees.
func rounds(low, high, home unit.Angle) []float64 {
	var out []float64
	from := math.Ceil(max(low, home-unit.HalfTurn).Deg()/gridStep - 1e-9)
	to := math.Floor(min(high, home+unit.HalfTurn).Deg()/gridStep + 1e-9)
	for k := from; k <= to; k++ {
		out = append(out, k*gridStep+0) // no -0
	}
	return out
}

// way is a proven way from home, turning one axis at a time; nil where there is none.
func (s *Subject) way(p *reach.Prover, to rig.Axes) []rig.Axes {
	from := s.Rig.Home
	for _, corner := range []rig.Axes{{A1: to.A1, A2: from.A2}, {A1: from.A1, A2: to.A2}} {
		way := []rig.Axes{corner, to}
		if corner == to || corner == from {
			way = []rig.Axes{to}
		}
		legs := reach.Through(rig.Straight, s.Rig.Motion, append([]rig.Axes{from}, way...)...)
		if s.sinks(legs) {
			continue
		}
		if passes, _ := p.Passes(legs, s.spread(), s.budget()); passes {
			return way
		}
	}
	return nil
}

// sinks tells whether the tube points below the floor somewhere on a way from home.
func (s *Subject) sinks(way reach.Way) bool {
	up, near := frame.Vec[frame.Rig]{Z: 1}, 0.1*unit.Degree
	home := reach.Hold(s.Rig.Home).Lowest(&s.Rig.Chain, up, s.spread(), near)
	return way.Lowest(&s.Rig.Chain, up, s.spread(), near) < min(s.Floor, home-near)
}
