package gauge

import (
	"cmp"
	"math"
	"slices"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
)

// Unmeasured is a length that binds the travel and of which no gap of a plan tells anything.
type Unmeasured struct {
	Name string
	Room float64 // by how much it may be wrong, mm, before some pose of the travel is nearer than the margins ask for
}

// slip is by how much a length may be misread, mm: where so much would eat what some pose of the travel has to spare, the length binds the travel.
// Choice: a tape's whole decimetre.
const slip = 100

// bindSteps are how far apart the poses lie, degrees, at which it is worked out which lengths bind, the finest that the work allows. Choice: at 5° the
// end of a tube of a metre is a hand's breadth farther.
var bindSteps = []float64{5, gridStep}

// bindPoses are poses all over the travel, its ends among them; nil where the work allows none.
func (s *Subject) bindPoses() []rig.Axes {
	t, h := s.Rig.Travel, s.Rig.Home
	for _, step := range bindSteps {
		one := append(rounds(t.Low.A1, t.High.A1, h.A1, step), t.Low.A1.Deg(), t.High.A1.Deg())
		two := append(rounds(t.Low.A2, t.High.A2, h.A2, step), t.Low.A2.Deg(), t.High.A2.Deg())
		if len(one)*len(two) > s.affordable() {
			continue
		}
		var out []rig.Axes
		for _, a1 := range one {
			for _, a2 := range two {
				out = append(out, rig.DegAxes(a1, a2))
			}
		}
		return out
	}
	return nil
}

// room is by how much each length may be wrong, mm, before some pose of the travel that is clear by the file is nearer than its margins ask for, by
// length: infinite where by more than a slip. It counts parts with states too, in all of them. Where the work does not suffice to tell, nothing is
// room; ok is false where it was stopped.
func (s *Subject) room(v variants, going func() bool) (out []float64, ok bool) {
	out = make([]float64, len(s.Lengths))
	poses := s.bindPoses()
	if poses == nil {
		return out, true
	}
	for j := range out {
		out[j] = math.Inf(1)
	}
	pairs, required := s.bound()
	for _, at := range poses {
		if !going() {
			return nil, false
		}
		stands := v.is.at(at)
		var near []spot
		var spare []float64
		for i, k := range pairs {
			k.at = at
			more := stands.gap(k) - required[i]
			if more < 0 { // no motion goes there
				near = nil
				break
			}
			if more < slip {
				near, spare = append(near, k), append(spare, more)
			}
		}
		if len(near) == 0 {
			continue
		}
		for i, slope := range v.slopes(at, near) {
			for j, by := range slope {
				if by = math.Abs(by); by >= leastTold && spare[i]/by < slip {
					out[j] = min(out[j], spare[i]/by)
				}
			}
		}
	}
	return out, true
}

// bound are all pairs of parts whose gap some motion changes, those with states among them, and the gap that the margins ask for, mm.
func (s *Subject) bound() (pairs []spot, required []float64) {
	scene := s.Rig.Scene(nil, s.part, s.general)
	for _, p := range scene.Pairs {
		k := spot{a: scene.Bodies[p.A].Part, b: scene.Bodies[p.B].Part}
		i := slices.Index(pairs, k)
		if i < 0 {
			i = len(pairs)
			pairs, required = append(pairs, k), append(required, 0)
		}
		required[i] = max(required[i], float64(p.Required))
	}
	return pairs, required
}

// unmeasured tells whether a length binds the travel and the gaps, of which so much is known by length, would not show that it is wrong by roomy.
func (s *Subject) unmeasured(j int, room, known []float64) bool {
	return s.Lengths[j].Unit == "mm" && room[j] < slip && known[j] < s.enough()
}

// lacking are the lengths that are unmeasured.
func (s *Subject) lacking(room, known []float64) []int {
	var out []int
	for j := range s.Lengths {
		if s.unmeasured(j, room, known) {
			out = append(out, j)
		}
	}
	return out
}

// enough is what has to be known of a length, mm⁻², for a judgement to point at it where it is wrong by roomy: see pointed.
func (s *Subject) enough() float64 { return oneOf(len(s.Lengths)) / float64(roomy*roomy) }

// knowing is what gaps picked so far tell of each length beside the reading errors of the tape and of the file. A length that is wrong by m leaves
// m²·known of the sum of squares in sigmas that no reading error explains: it is worked out gap by gap as a filter over the reading errors is
// (Kalman, Trans. ASME J. Basic Eng. 82, 1960, equations 21 to 25).
type knowing struct {
	cov   [][]float64 // of the reading errors, by length
	taken [][]float64 // by length: what the reading errors would be taken for if it were one more
	known []float64   // by length, mm⁻²
}

func newKnowing(s *Subject) *knowing {
	n := len(s.Lengths)
	k := &knowing{known: make([]float64, n)}
	for j := range n {
		row := make([]float64, n)
		row[j] = variance(s.Lengths[j].Err)
		k.cov, k.taken = append(k.cov, row), append(k.taken, make([]float64, n))
	}
	return k
}

// sees returns the reading errors' covariance with a gap that changes so with each length, and the gap's own variance.
func (k *knowing) sees(slope []float64) (with []float64, own float64) {
	for _, row := range k.cov {
		with = append(with, dot(row, slope))
	}
	return with, variance(readError) + dot(slope, with)
}

// more is what such a gap, of such a variance, would tell of a length.
func (k *knowing) more(slope []float64, own float64, j int) float64 {
	by := slope[j] - dot(slope, k.taken[j])
	return by * by / own
}

// take takes a gap in.
func (k *knowing) take(slope []float64) {
	with, own := k.sees(slope)
	for j := range k.known {
		by := slope[j] - dot(slope, k.taken[j])
		k.known[j] += by * by / own
		for i := range with {
			k.taken[j][i] += with[i] * by / own
		}
	}
	for i := range k.cov {
		for j := range k.cov {
			k.cov[i][j] -= with[i] * with[j] / own
		}
	}
}

// mostFiner is how many poses between the round ones are candidates. Choice: each takes a proof or three, and one is what is wanted.
const mostFiner = 20

// finer are the gaps at poses between the round ones that are clear and reached from home and where some gap tells of one of some lengths, those first
// where it tells most; their poses are put to those there are. ok is false where it was stopped.
func (s *Subject) finer(p *reach.Prover, v variants, of []int, poses *[]rig.Axes, going func() bool) (out []candidate, ok bool) {
	few := variants{is: v.is, other: make([]*variant, len(v.other)), step: v.step}
	for _, j := range of {
		few.other[j] = v.other[j]
	}
	pairs := slices.DeleteFunc(s.pairs(), func(k spot) bool { return !v.moved(of, k) })
	var found []telling
	for _, at := range s.bindPoses() {
		if !going() {
			return nil, false
		}
		if one := s.tellingAt(few, at, pairs); len(one.spots) > 0 {
			found = append(found, one)
		}
	}
	first := func(a, b telling) int { return cmp.Compare(b.most, a.most) }
	slices.SortStableFunc(found, first)
	var clear []telling
	for _, one := range found {
		if len(clear) == 5*mostFiner {
			break
		}
		if !going() {
			return nil, false
		}
		if passes, _ := p.Passes(reach.Hold(one.at), s.spread(), s.budget()); passes {
			s.weigh(&one, v, of)
			clear = append(clear, one)
		}
	}
	slices.SortStableFunc(clear, first)
	for taken := 0; len(clear) > 0 && taken < mostFiner; clear = clear[1:] {
		if !going() {
			return nil, false
		}
		if at := clear[0].at; s.way(p, at) != nil {
			taken++
			out = append(out, s.gaps(v, at, len(*poses))...)
			*poses = append(*poses, at)
		}
	}
	return out, true
}

// moved tells whether a gap may be another with one of some lengths another.
func (v *variants) moved(by []int, k spot) bool {
	return slices.ContainsFunc(by, func(j int) bool { return v.other[j] != nil && v.other[j].moves(k) })
}

// telling is a pose with the spots where a gap tells of a length.
type telling struct {
	at    rig.Axes
	spots []spot
	most  float64 // what a gap there changes most with one, mm a mm; weighed, what it tells most of one
}

func (s *Subject) tellingAt(few variants, at rig.Axes, pairs []spot) telling {
	out, all := telling{at: at}, s.measurable(few.is, at, pairs)
	for i, slope := range few.slopes(at, all) {
		most := 0.0
		for _, by := range slope {
			most = max(most, math.Abs(by))
		}
		if most >= leastTold {
			out.spots, out.most = append(out.spots, all[i]), max(out.most, most)
		}
	}
	return out
}

// weigh works out what the gaps of a pose tell most of one of some lengths, beside all reading errors.
func (s *Subject) weigh(t *telling, v variants, of []int) {
	k := newKnowing(s)
	t.most = 0
	for _, slope := range v.slopes(t.at, t.spots) {
		_, own := k.sees(slope)
		for _, j := range of {
			t.most = max(t.most, k.more(slope, own, j))
		}
	}
}

// needed is the candidate that tells most of those of the wanted lengths that are unmeasured yet, those with the least room first; -1 where none tells
// anything of them. Of two nearly as good the first, which is nearer home.
func (s *Subject) needed(all []candidate, picked []Pose, poses []rig.Axes, want []int, room []float64, k *knowing) int {
	best, most, enough := -1, 0.0, s.enough()
	lacks := slices.DeleteFunc(slices.Clone(want), func(j int) bool { return !s.unmeasured(j, room, k.known) })
	for i := range all {
		x := &all[i]
		if len(lacks) == 0 || !allowed(picked, poses[x.pose]) || !slices.ContainsFunc(lacks, func(j int) bool { return math.Abs(x.slope[j]) >= leastTold }) {
			continue
		}
		_, own := k.sees(x.slope)
		tells := 0.0
		for _, j := range lacks {
			tells += min(k.more(x.slope, own, j)/enough, 1) / (room[j] + readError)
		}
		if tells > most*nearlyAs {
			best, most = i, tells
		}
	}
	return best
}
