package reach_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// motions counts what became of random motions on twenty random rigs.
type motions struct {
	all, allowed int
	below        int     // allowed, although a pose was sampled inside a margin
	keeping      int     // that keep 5 mm beyond every margin as far as sampling finds
	refused      int     // of those
	nearest      float64 // least that sampling found beyond what was proven, mm
}

// twenty asks for so many motions on each of twenty rigs, as a Shelf keeps their provers: of a scene that the test may change beforehand. What
// is true is sampled: 40 poses of the motion with its spread, and 20 more about the one with the least to spare.
func twenty(each int, budget reach.Budget, shape func(*rand.Rand, point, float64) solid.Shape, change func(*rig.Scene), sampler func(s *rig.Scene) func(rig.Axes) float64) (n motions) {
	n.nearest = math.Inf(1)
	for seed := range uint64(20) {
		r := rand.New(rand.NewPCG(seed, 20))
		s := randomScene(r, shape)
		told := *s
		told.Pairs = append([]rig.Pair(nil), s.Pairs...)
		change(&told)
		p, spare := reach.WithGrid(&told, &told), sampler(s)
		for range each {
			j, spread := randomJourney(r), randomSpread(r)
			got := p.Prove(j.way, spread, budget)
			low := sampleLeast(r, &j, spread, spare)
			if got.Nearest != nil { // which may lie where no sample fell
				low = min(low, spare(got.Nearest.Pose))
			}
			n.add(got, low)
		}
	}
	return n
}

func (n *motions) add(got reach.Result, low float64) {
	n.all++
	n.nearest = min(n.nearest, low-float64(got.Lower))
	if got.Passes() {
		if n.allowed++; low < -slack {
			n.below++
		}
	}
	if low >= 5 {
		if n.keeping++; !got.Passes() {
			n.refused++
		}
	}
}

// sampleLeast is the least to spare that sampling finds.
func sampleLeast(r *rand.Rand, j *journey, spread rig.Axes, spare func(rig.Axes) float64) float64 {
	const coarse, fine = 40, 20
	low, at := math.Inf(1), 0
	for i, a := range j.samples(r, spread, coarse) {
		if v := spare(a); v < low {
			low, at = v, i
		}
	}
	for range fine { // about when that was
		share := min(max((float64(at)+2*r.Float64()-1)/(coarse-1), 0), 1)
		a := j.way.At(j.way.Seconds() * share)
		low = min(low, spare(a.Add(rig.Axes{A1: spread.A1 * (2*edgy(r) - 1), A2: spread.A2 * (2*edgy(r) - 1)})))
	}
	return low
}

func bySolid(s *rig.Scene) func(rig.Axes) float64 {
	return func(a rig.Axes) float64 { return least(s, a) }
}

func asItIs(*rig.Scene) {}

// TestMotionsOnTwentyRigs: of 100,000 random motions on twenty random rigs none is allowed of which sampling finds a pose inside a margin, and of
// those that keep 5 mm beyond it at most 1 in 200 is refused. Sampled by solid.Distance.
func TestMotionsOnTwentyRigs(t *testing.T) {
	each := fewer(40)
	if long() {
		each = 5000
	}
	n := twenty(each, reach.DefaultBudget, randomShape, asItIs, bySolid)
	t.Logf("%+v", n)
	assert.Zero(t, n.below, "allowed, and sampled inside a margin")
	assert.LessOrEqual(t, n.refused*200, n.keeping, "refused, of those that keep 5 mm more than their margins")
	assert.NotZero(t, n.allowed)
	assert.Less(t, n.allowed, n.all)
}

// TestTwentyRigsSeeWhatIsWrong breaks on purpose what the test above holds: 60 mm too little wanted, and 20 mm too much.
func TestTwentyRigsSeeWhatIsWrong(t *testing.T) {
	with := func(more unit.Length) motions {
		return twenty(fewer(25), reach.DefaultBudget, randomShape, func(s *rig.Scene) {
			for i := range s.Pairs {
				s.Pairs[i].Required += more
			}
		}, bySolid)
	}
	less, more := with(-60), with(20)
	assert.NotZero(t, less.below, "60 mm less wanted: %+v", less)
	assert.Greater(t, more.refused*200, more.keeping, "20 mm more wanted: %+v", more)
}

// TestMotionsOnTwentyRigsAgainstFCL is a fiftieth of that, sampled by FCL.
func TestMotionsOnTwentyRigsAgainstFCL(t *testing.T) {
	each := fewer(10)
	if long() {
		each = 100
	}
	n := twenty(each, reach.DefaultBudget, fclShape, asItIs, func(s *rig.Scene) func(rig.Axes) float64 {
		f := newSecond(t, s)
		return func(a rig.Axes) float64 {
			spare, _ := f.least(a)
			return spare + nearMM
		}
	})
	t.Logf("%+v", n)
	assert.Zero(t, n.below, "allowed, and FCL finds a pose inside a margin")
	assert.LessOrEqual(t, n.refused*200, n.keeping, "refused, of those that keep 5 mm more than their margins")
	assert.NotZero(t, n.allowed)
}
