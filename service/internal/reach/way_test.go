package reach_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
)

func TestDurationsOfTrapezoids(t *testing.T) {
	// checks.md D1.
	m := rig.Motion{RateDeg: [2]float64{4, 4}, AccelDeg: [2]float64{2, 2}}
	for deg, want := range map[float64]float64{90: 24.5, 8: 4, 4: 2.828427} {
		for _, sharing := range sharings {
			assert.InDelta(t, want, reach.WayOf(sharing, m, rig.Axes{}, rig.DegAxes(-deg, 0)).Seconds(), 1e-6, "%s, %v°", sharing, deg)
		}
	}
	both := rig.DegAxes(90, 8)
	assert.InDelta(t, 24.5, reach.Profiles(rig.Axes{}, both, m).Seconds(), 1e-6, "the slower")
	assert.InDelta(t, 28.5, reach.InTurn(rig.Axes{}, both, m, true).Seconds(), 1e-6, "the sum")
	assert.InDelta(t, 28.5, reach.Rectangle(rig.Axes{}, both, m).Seconds(), 1e-6, "the sum")
	assert.InDelta(t, 1.5, reach.Straight(rig.Axes{}, rig.DegAxes(4, 0), rig.Motion{RateDeg: [2]float64{4, 1}, AccelDeg: [2]float64{8, 1}}).Seconds(), 1e-9)
	assert.InDelta(t, 2.5, reach.Straight(rig.Axes{}, rig.DegAxes(4, 2), rig.Motion{RateDeg: [2]float64{2, 9}, AccelDeg: [2]float64{4, 9}}).Seconds(), 1e-9)
}

func TestProfilesAreNotStraight(t *testing.T) {
	m := rig.Motion{RateDeg: [2]float64{4, 4}, AccelDeg: [2]float64{2, 2}}
	w := reach.Profiles(rig.Axes{}, rig.DegAxes(90, 8), m)
	at := w.At(4)
	assert.InDelta(t, 12, at.A1.Deg(), 1e-9, "4 s of axis 1: 4 while speeding up, 8 at the rate")
	assert.InDelta(t, 8, at.A2.Deg(), 1e-9, "axis 2 has arrived")
	assert.Equal(t, rig.DegAxes(90, 8), w.At(1e9))
	assert.Equal(t, rig.Axes{}, w.At(-1))
}

func TestWaysGoFromEndToEndWithoutTurningBack(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for range 500 {
		a, b, m := randomPose(r, 400), randomPose(r, 400), randomMotion(r)
		for _, sharing := range sharings {
			w := reach.WayOf(sharing, m, a, b)
			last := a
			for i := range 101 {
				at := w.At(w.Seconds() * float64(i) / 100)
				assert.GreaterOrEqual(t, float64((at.A1-last.A1)*(b.A1-a.A1)), -1e-12, "%s: axis 1", sharing)
				assert.GreaterOrEqual(t, float64((at.A2-last.A2)*(b.A2-a.A2)), -1e-12, "%s: axis 2", sharing)
				last = at
			}
			assert.InDelta(t, 0, last.Sub(b).Abs().Max().Deg(), 1e-9, "%s: end", sharing)
		}
	}
}

func TestUnknownRatesMakeTheRectangle(t *testing.T) {
	for _, m := range []rig.Motion{{}, {RateDeg: [2]float64{4, math.NaN()}, AccelDeg: [2]float64{4, 4}}, {RateDeg: [2]float64{4, 4}, AccelDeg: [2]float64{4, -1}}} {
		for _, sharing := range sharings {
			w := reach.WayOf(sharing, m, rig.Axes{}, rig.DegAxes(60, 60))
			assert.True(t, math.IsInf(w.Seconds(), 1), "%s: got %v s, want no end", sharing, w.Seconds())
			assert.True(t, w.At(3).Finite(), "%s: pose", sharing)
		}
	}
	corner := reach.Profiles(rig.Axes{}, rig.DegAxes(60, 60), rig.Motion{})
	s := ballAt(rig.DegAxes(58, 3))
	r := reach.New(s).Prove(corner, rig.Axes{}, reach.DefaultBudget)
	assert.True(t, r.Fails(), "a ball that only one order meets: got %+v", r)
}
