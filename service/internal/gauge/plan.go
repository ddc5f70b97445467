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
	// Unmeasured are the lengths that bind the travel and that none of the gaps tells anything of, the one with the least room first: a proof says
	// nothing of them until somebody measures them again.
	Unmeasured []Unmeasured
	// Unseen are the other lengths of the file that none of the gaps tells anything of, by their names: only measuring them again does.
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
	room, none := make([]float64, len(s.Lengths)), make([]float64, len(s.Lengths))
	best := choosing{seen: none, known: none}
	if len(s.looked()) > 0 {
		var ok bool
		if room, best, ok = s.best(going); !ok {
			return Plan{}, ErrStopped
		}
	}
	out.Poses = best.poses
	for j, l := range s.Lengths {
		switch {
		case s.unmeasured(j, room, best.known):
			out.Unmeasured = append(out.Unmeasured, Unmeasured{l.Name, room[j]})
		case l.Unit == "mm" && best.seen[j] < leastTold:
			out.Unseen = append(out.Unseen, l.Name)
		}
	}
	slices.SortStableFunc(out.Unmeasured, func(a, b Unmeasured) int { return cmp.Compare(a.Room, b.Room) })
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

// best is what can be chosen, where there are enough such poses with room to spare beside the margins, and how far each length may be wrong; ok is false
// where it was stopped.
func (s *Subject) best(going func() bool) (room []float64, out choosing, ok bool) {
	v, ok := s.variants(going)
	if !ok {
		return nil, out, false
	}
	if room, ok = s.room(v, going); !ok {
		return nil, out, false
	}
	for _, more := range []unit.Length{roomy, 0} {
		c, ok := s.chosen(more, v, room, going)
		if !ok {
			return nil, out, false
		}
		if len(c.poses) > len(out.poses) || out.seen == nil {
			out = c
		}
		if len(out.poses) >= Fewest {
			break
		}
	}
	return room, out, true
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

// choosing is what was chosen.
type choosing struct {
	poses []Pose
	seen  []float64 // by length, what the gap that changes most with it changes
	known []float64 // by length, what is known of it: see knowing
}

// chosen are poses and gaps to measure with so much more than the margins about them. Where they would not show that a length that binds the travel is
// wrong, what shows that comes first, and poses between the round ones are looked at too; ok is false where it was stopped.
func (s *Subject) chosen(more unit.Length, v variants, room []float64, going func() bool) (out choosing, ok bool) {
	p := s.prover(more)
	poses, all, ok := s.candidates(p, v, going)
	if !ok {
		return out, false
	}
	if out, ok = s.choose(p, poses, all, nil, room, going); !ok || len(poses) == 0 {
		return out, ok
	}
	lacks := s.lacking(room, out.known)
	if len(lacks) == 0 || !slices.ContainsFunc(s.pairs(), func(k spot) bool { return v.moved(lacks, k) }) {
		return out, true
	}
	finer, ok := s.finer(p, v, lacks, &poses, going)
	if !ok {
		return out, false
	}
	all = append(all, finer...)
	for want := lacks; ; want = lacks {
		again, ok := s.choose(p, poses, all, want, room, going)
		if !ok {
			return out, false
		}
		left := s.lacking(room, again.known)
		if len(again.poses) >= min(len(out.poses), Fewest) && len(left) < len(s.lacking(room, out.known)) {
			out = again
		}
		for _, j := range left {
			if !slices.Contains(lacks, j) {
				lacks = append(lacks, j)
			}
		}
		if len(lacks) == len(want) {
			return out, true
		}
	}
}

// choose picks poses and gaps among candidates: first those that show of the lengths that are wanted, each with so much room, that one is wrong, then
// each step the one that tells most beside those picked before.
func (s *Subject) choose(p *reach.Prover, poses []rig.Axes, all []candidate, want []int, room []float64, going func() bool) (choosing, bool) {
	ways := map[int][]rig.Axes{} // of poses picked; nil: there is none
	c := newChoice(s, all)
	k := newKnowing(s)
	var out []Pose
	seen := make([]float64, len(s.Lengths))
	for len(all) > 0 {
		if !going() {
			return choosing{}, false
		}
		best := s.needed(all, out, poses, want, room, k)
		if best < 0 {
			best = c.best(all, out, poses)
			if best < 0 || len(out) >= Fewest && all[best].gain < leastGain {
				break
			}
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
		k.take(pick.slope)
		for j, v := range pick.slope {
			seen[j] = max(seen[j], math.Abs(v))
		}
		all = without(all, func(x *candidate) bool { return x.pose == pick.pose && x.spot == pick.spot })
	}
	return choosing{out, seen, k.known}, true
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
func (s *Subject) candidates(p *reach.Prover, v variants, going func() bool) (poses []rig.Axes, out []candidate, ok bool) {
	looked := s.looked()
	budget := s.budget()
	for _, at := range looked {
		if !going() {
			return nil, nil, false
		}
		if passes, _ := p.Passes(reach.Hold(at), s.spread(), budget); !passes {
			continue
		}
		if here := s.gaps(v, at, len(poses)); len(here) > 0 {
			poses, out = append(poses, at), append(out, here...)
		}
	}
	return poses, out, true
}

// gaps are the gaps that a tape reads at a pose, the nth.
func (s *Subject) gaps(v variants, at rig.Axes, n int) []candidate {
	stands, spots := v.is.at(at), s.measurable(v.is, at, s.pairs())
	var out []candidate
	for i, slope := range v.slopes(at, spots) {
		out = append(out, candidate{pose: n, spot: spots[i], mm: stands.gap(spots[i]), slope: slope})
	}
	return out
}

// measurable are those of some pairs whose gap a tape reads at a pose.
func (s *Subject) measurable(is *variant, at rig.Axes, pairs []spot) []spot {
	stands := is.at(at)
	var out []spot
	for _, k := range pairs {
		k.at = at
		if mm := stands.gap(k); mm >= leastGap && mm <= s.most(k) {
			out = append(out, k)
		}
	}
	return out
}

// mostDistances bounds the work of a plan: poses, times the pairs of shapes, times the readings of the file. Choice: some ten times what the example
// rigs take; a file may have a million pairs.
const mostDistances = 20_000_000

// looked are the poses of the grid that the work allows, those nearest home.
func (s *Subject) looked() []rig.Axes {
	all := s.grid()
	return all[:min(len(all), s.affordable())]
}

// affordable is at how many poses the work allows every gap to be worked out by each reading of the file.
func (s *Subject) affordable() int {
	return mostDistances / max(len(s.scene().Pairs)*(len(s.Lengths)+1), 1)
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
	for _, a1 := range rounds(t.Low.A1, t.High.A1, h.A1, gridStep) {
		for _, a2 := range rounds(t.Low.A2, t.High.A2, h.A2, gridStep) {
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

// rounds are the multiples of step within travel and half a turn of home, degrees.
func rounds(low, high, home unit.Angle, step float64) []float64 {
	var out []float64
	from := math.Ceil(max(low, home-unit.HalfTurn).Deg()/step - 1e-9)
	to := math.Floor(min(high, home+unit.HalfTurn).Deg()/step + 1e-9)
	for k := from; k <= to; k++ {
		out = append(out, k*step+0) // no -0
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
