package reach_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// TestLeastIsThatOfEveryPair holds the least spare at a pose against each pair looked at by itself, of bodies placed by the rig's own hand.
func TestLeastIsThatOfEveryPair(t *testing.T) {
	var overlaps, poses int
	seeds(t, 300, 20_000, func(r *rand.Rand, seed uint64) {
		s := randomScene(r, randomShape)
		p := reach.New(s)
		for range 4 {
			at := randomPose(r, 400)
			got, placed := p.Least(at), s.Place(at)
			low, high := math.Inf(1), math.Inf(1)
			for _, q := range s.Pairs {
				g := solid.Distance(placed[q.A], placed[q.B])
				low, high = min(low, g.Lower-float64(q.Required)), min(high, g.Upper-float64(q.Required))
			}
			require.LessOrEqual(t, float64(got.Lower), high+slack, "seed %d: at %v, least spare", seed, at)
			require.GreaterOrEqual(t, float64(got.Upper), low-slack, "seed %d: at %v, least spare", seed, at)
			// Neither finds of solids that are deep in each other more than within bounds (solid.Distance).
			require.LessOrEqual(t, float64(got.Upper-got.Lower), max(1e-6, 2*(high-low)+1e-6), "seed %d: at %v, want to rounding", seed, at)
			assert.Equal(t, got, p.Least(at), "seed %d: asked again", seed)
			if high < -slack {
				require.True(t, got.Fails(), "seed %d: at %v: %+v", seed, at, got)
			} else if low > slack {
				require.True(t, got.Passes(), "seed %d: at %v: %+v", seed, at, got)
			}
			if got.Nearest != nil {
				seenAgain(t, s, got.Nearest)
			}
			if poses++; low < 0 {
				overlaps++
			}
		}
	})
	t.Logf("%d poses, in %d of them something is nearer than it must be", poses, overlaps)
	assert.Greater(t, overlaps, poses/20)
	assert.Less(t, overlaps, poses*19/20)
}

// TestLeastGoesByNothingElse: what was asked before, in whatever order, changes no bit of it.
func TestLeastGoesByNothingElse(t *testing.T) {
	for _, name := range exampleRigs {
		r, s := exampleScene(t, name)
		lot := rand.New(rand.NewPCG(64, 63))
		var poses []rig.Axes
		for range 40 {
			poses = append(poses, poseIn(lot, r.Travel))
		}
		used := reach.New(s)
		for _, at := range poses {
			used.Least(at)
		}
		for _, i := range lot.Perm(len(poses)) {
			assert.Equal(t, reach.New(s).Least(poses[i]), used.Least(poses[i]), "%s at %v", name, poses[i])
		}
	}
}

// TestLeastOfNothing: without pairs, and where the question makes no sense.
func TestLeastOfNothing(t *testing.T) {
	s := germanOnTripod(30)
	for _, at := range []rig.Axes{{A1: unit.Angle(math.NaN())}, {A2: unit.Angle(math.Inf(1))}} {
		got := reach.New(s).Least(at)
		assert.False(t, got.Decided, "%v", at)
		assert.Equal(t, "the pose is no number", got.Why)
		assert.True(t, math.IsInf(float64(got.Lower), -1))
	}
	empty := *s
	empty.Pairs = nil
	got := reach.New(&empty).Least(rig.Axes{})
	assert.True(t, got.Passes())
	assert.True(t, math.IsInf(float64(got.Lower), 1))
	assert.Nil(t, got.Nearest)
	none := *s
	none.Bodies = append([]rig.Body(nil), s.Bodies...)
	none.Bodies[0].Shape = solid.Shape{}
	got = reach.New(&none).Least(rig.Axes{})
	assert.Equal(t, "a part of the rig is no solid", got.Why)
	assert.True(t, math.IsInf(float64(got.Lower), -1))
}

// TestRodsHoldTheirBodies: every point of a body lies in its rod, whatever it is and wherever it goes, and what two rods show is never more than the gap.
func TestRodsHoldTheirBodies(t *testing.T) {
	tighter, pairs := 0, 0
	seeds(t, 2000, 100_000, func(r *rand.Rand, seed uint64) {
		shape := func() (solid.Shape, reach.Rod) {
			s := randomShape(r, randomDir(r).Scale(1500*r.Float64()), 400*r.Float64())
			m := frame.Turning(randomDir(r).Scale(1000), randomDir(r), unit.Angle(7*r.Float64()))
			rod := reach.RodOf(s, m)
			placed := s.Moved(m)
			for range 20 {
				x := placed.Support(randomDir(r))
				require.True(t, rod.Holds(x, slack), "seed %d: %v holds %v", seed, s, x)
			}
			return placed, rod
		}
		a, rodA := shape()
		b, rodB := shape()
		g := solid.Distance(a, b)
		apart, lines := rodA.Apart(rodB)
		require.LessOrEqual(t, max(apart, lines), g.Upper+slack, "seed %d: %v, %v", seed, a, b)
		ca, ra := a.Ball()
		cb, rb := b.Ball()
		if pairs++; apart > ca.Sub(cb).Norm()-ra-rb {
			tighter++
		}
	})
	t.Logf("rods show more than balls of %d of %d pairs", tighter, pairs)
	assert.Greater(t, tighter, pairs*2/3)
}

// TestSegmentsApart: the test pairs of Eberly, Robust Computation of Distance Between Line Segments (checks.md C1), and some in which a
// segment is a point: never more than their distance, and it but where they are parallel to rounding. Budget: a dozen roundings of lengths of ten, 1e-14.
func TestSegmentsApart(t *testing.T) {
	for _, c := range []struct {
		a, b, c, d  point
		most, least float64
	}{
		{point{X: -1.0264718499965966, Y: 9.6163341007195407e-7}, point{X: 0.91950808032415809, Y: -1.0094441192690283e-6},
			point{X: -1.0629447383806110, Y: 9.2709540082141753e-7}, point{X: 1.0811583868227901, Y: -1.0670017179567367e-6}, 0, -1},
		{point{X: -1.0896217473782599, Y: 9.7236145595088601e-7}, point{X: 0.91220578597858548, Y: -9.4369829432107506e-7},
			point{X: -0.90010447502136237, Y: 9.0671446351334441e-7}, point{X: 1.0730877178721130, Y: -9.8185787633992740e-7}, 1.1575046138574e-7, -1},
		{point{X: 0.77998990099877119, Y: 0.61192502360790968, Z: -0.22703111823648214}, point{X: 0.53215344529598951, Y: 0.85724585503339767, Z: -0.10102437809109688},
			point{X: -0.21277333982288837, Y: 0.35091548087075353, Z: -0.49557160679250956}, point{X: 0.11881479667499661, Y: 0.022494725417345762, Z: -0.66426620958372951}, 0.98292397116488733, 0.98292397116488733},
		{point{X: -1}, point{X: 1}, point{Y: -1}, point{Y: 1}, 0, 0},
		{point{X: 1}, point{X: 1}, point{X: 1}, point{X: 1}, 0, 0},
		{point{}, point{}, point{X: 3}, point{X: 3}, 3, 3},
		{point{Y: 2}, point{Y: 2}, point{X: -5}, point{X: 5}, 2, 2},
		{point{X: -5}, point{X: 5}, point{X: 9, Y: 3}, point{X: 9, Y: 3}, 5, 5},
		{point{X: -5}, point{X: 5}, point{X: -8, Y: 4}, point{X: -8, Y: 40}, 5, 5},
		{point{}, point{X: 1}, point{Y: 1}, point{X: 1, Y: 1}, 1, 1},
	} {
		for _, got := range []float64{reach.Between(c.a, c.b, c.c, c.d), reach.Between(c.d, c.c, c.a, c.b)} {
			assert.LessOrEqual(t, got, c.most+1e-14)
			assert.GreaterOrEqual(t, got, c.least-1e-14)
		}
	}
}
