package reach_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// The lowest altitude along a way agrees with dense sampling from below, within the tolerance and the sampling's own step.
func TestLowestBoundsSampling(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	motion := rig.Motion{RateDeg: [2]float64{4, 3}, AccelDeg: [2]float64{4, 2}}
	for n := range 40 {
		chain := rig.NewChain(rig.German, unit.Deg(46), rig.Tilt{}, frame.Vec[frame.Rig]{}, 0)
		alt := func(a rig.Axes) unit.Angle { _, h := frame.AzAlt(chain.Direction(a)); return h }
		a := rig.DegAxes(rng.Float64()*200-100, rng.Float64()*200-100)
		b := rig.DegAxes(rng.Float64()*200-100, rng.Float64()*200-100)
		for _, sharing := range []rig.Sharing{rig.Straight, rig.Independent, rig.Axis1First, rig.Axis2First} {
			w := reach.WayOf(sharing, motion, a, b)
			spread := rig.DegAxes(rng.Float64(), rng.Float64()).Scale(float64(n % 2))
			got := w.Lowest(&chain, frame.Vec[frame.Rig]{Z: 1}, spread, unit.Deg(0.01))
			sampled := math.Inf(1)
			for i := range 2001 {
				p := w.At(w.Seconds() * float64(i) / 2000)
				for _, s := range [][2]float64{{0, 0}, {1, 1}, {1, -1}, {-1, 1}, {-1, -1}} {
					q := p.Add(rig.Axes{A1: spread.A1 * unit.Angle(s[0]), A2: spread.A2 * unit.Angle(s[1])})
					sampled = math.Min(sampled, alt(q).Deg())
				}
			}
			assert.LessOrEqual(t, got.Deg(), sampled+1e-9, "%s: never above what is seen", sharing)
			// Sampling misses by up to half a step, and by the middle of the spread's edges.
			assert.Greater(t, got.Deg(), sampled-0.12-(spread.A1+spread.A2).Deg(), "%s: and not far below", sharing)
		}
	}
}

// checks.md C13, derived there in closed form: the straight line in axis space passes the Sun at 5.758252°.
func TestLeastDistanceFromTheSun(t *testing.T) {
	chain := rig.NewChain(rig.AltAzimuth, unit.Deg(46), rig.Tilt{}, frame.Vec[frame.Rig]{}, 0)
	sun := frame.Horizon[frame.Rig](unit.Deg(150), unit.Deg(35))
	w := reach.Straight(rig.DegAxes(90, 30), rig.DegAxes(200, 50), rig.Motion{RateDeg: [2]float64{4, 4}, AccelDeg: [2]float64{4, 4}})
	got := unit.HalfTurn/2 + w.Lowest(&chain, sun.Scale(-1), rig.Axes{}, 1e-9)
	assert.InDelta(t, 5.758252, got.Deg(), 1e-5)
}

// The bound is a bound, and within the tolerance of the truth, where the least is at a corner of a spread around a thin stretch: the truth
// is found by sampling the way finely and every edge of the spread, whose own step is taken off.
func TestLowestIsTightAtTheCornersOfTheSpread(t *testing.T) {
	rng := rand.New(rand.NewPCG(17, 18))
	motion := rig.Motion{RateDeg: [2]float64{4, 3}, AccelDeg: [2]float64{4, 2}}
	chain := rig.NewChain(rig.AltAzimuth, unit.Deg(40), rig.Tilt{}, frame.Vec[frame.Rig]{}, 0)
	for n := range 60 {
		up := frame.Horizon[frame.Rig](unit.Deg(rng.Float64()*360), unit.Deg(rng.Float64()*180-90))
		a := rig.DegAxes(rng.Float64()*300-150, rng.Float64()*160-80)
		b := a.Add(rig.DegAxes(rng.NormFloat64(), rng.NormFloat64()).Scale([]float64{0, 0.002, 1, 30}[n%4]))
		spread := rig.DegAxes(rng.Float64()*3, rng.Float64()*3)
		for _, sharing := range []rig.Sharing{rig.Straight, rig.Independent, rig.Axis2First, rig.AnyOrder} {
			w := reach.WayOf(sharing, motion, a, b)
			tolerance := unit.Deg([]float64{0.01, 0.1}[n%2])
			got := w.Lowest(&chain, up, spread, tolerance).Sin()
			least := math.Inf(1)
			see := func(p rig.Axes) { least = math.Min(least, chain.Direction(p).Dot(up)) }
			ways := []reach.Way{w}
			if sharing == rig.AnyOrder { // the edges of its rectangle; inside it a plane angle is least only where it is least of all
				ways = []reach.Way{reach.InTurn(a, b, motion, true), reach.InTurn(a, b, motion, false)}
			}
			for _, w := range ways {
				for i := range 401 {
					p := w.At(w.Seconds() * float64(i) / 400)
					for k := range 41 {
						s := unit.Angle(k)/20 - 1
						see(p.Add(rig.Axes{A1: spread.A1 * s, A2: spread.A2}))
						see(p.Add(rig.Axes{A1: spread.A1 * s, A2: -spread.A2}))
						see(p.Add(rig.Axes{A1: spread.A1, A2: spread.A2 * s}))
						see(p.Add(rig.Axes{A1: -spread.A1, A2: spread.A2 * s}))
						see(p.Add(rig.Axes{A1: spread.A1 * s}))
						see(p.Add(rig.Axes{A2: spread.A2 * s}))
					}
				}
			}
			d := b.Sub(a).Abs()
			step := float64(d.A1+d.A2)/400 + float64(spread.A1+spread.A2)/40
			assert.LessOrEqual(t, got, least+1e-12, "%s %d: never above what is seen", sharing, n)
			assert.GreaterOrEqual(t, got, least-float64(tolerance)-step, "%s %d: within the tolerance, and what sampling misses", sharing, n)
		}
	}
}

// A long way of a pose that is hardly known is settled by few cells, in whatever manner the axes move: cells are split across the spread before
// its stretches are as short as the tolerance. (They once were not: one way in fifty used up all the work there is, ten milliseconds.)
func TestLowestOfAWideSpreadTakesFewCells(t *testing.T) {
	rng := rand.New(rand.NewPCG(27, 28))
	motion := rig.Motion{RateDeg: [2]float64{4, 3}, AccelDeg: [2]float64{4, 2}}
	chain := rig.NewChain(rig.German, unit.Deg(46), rig.Tilt{}, frame.Vec[frame.Rig]{}, 0)
	for n := range 400 {
		a, b := rig.DegAxes(rng.Float64()*300-150, rng.Float64()*300-150), rig.DegAxes(rng.Float64()*300-150, rng.Float64()*300-150)
		spread := rig.DegAxes(rng.Float64()*9, rng.Float64()*9)
		sharing := []rig.Sharing{rig.Straight, rig.Independent, rig.Axis1First, rig.AnyOrder}[n%4]
		cells := reach.WayOf(sharing, motion, a, b).LowestCells(&chain, frame.Vec[frame.Rig]{Z: 1}, spread, spread.Max()/30)
		assert.Less(t, cells, 1000, "%d: %s from %v to %v, spread %v", n, sharing, a, b, spread)
	}
}
