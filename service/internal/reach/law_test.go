package reach

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// TestLawByHand holds laws against the integrals of their speed, done by hand: speeding up v = a·t, s = a·t²/2.
func TestLawByHand(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	third := 10.0/3 + 1.5 // 10 at 3 with 1.5 of ramp at each end
	type at struct{ time, done float64 }
	for name, c := range map[string]struct {
		whole, rate, accel float64
		ramp, reached, end float64
		at                 []at
	}{
		"a trapezoid":         {10, 3, 2, 1.5, 3, third, []at{{0.25, 0.0625}, {0.5, 0.25}, {1.5, 2.25}, {2, 3.75}, {third - 1.5, 7.75}, {third - 0.5, 9.75}, {third - 0.25, 9.9375}, {third, 10}}},
		"a triangle":          {2, 3, 2, 1, 2, 2, []at{{0.5, 0.25}, {1, 1}, {1.5, 1.75}, {2, 2}}},
		"just no trapezoid":   {4.5, 3, 2, 1.5, 3, 3, []at{{1.5, 2.25}, {2.5, 4.25}}},
		"a small one":         {0.2, 0.03, 0.004, math.Sqrt(50), 0.004 * math.Sqrt(50), 2 * math.Sqrt(50), nil},
		"at once":             {10, 2, inf, 0, 2, 5, []at{{1, 2}, {4, 8}, {5, 10}}},
		"no way":              {0, 3, 2, 0, 0, 0, nil},
		"no way at no rate":   {0, 0, 0, 0, 0, 0, nil},
		"no rate":             {10, 0, 2, 0, 0, inf, nil},
		"a negative rate":     {10, -3, 2, 0, 0, inf, nil},
		"a rate of no number": {10, nan, 2, 0, 0, inf, nil},
		"any rate":            {10, inf, 2, 0, 0, inf, nil},
		"no acceleration":     {10, 3, 0, 0, 0, inf, nil},
		"a negative one":      {10, 3, -2, 0, 0, inf, nil},
		"one of no number":    {10, 3, nan, 0, 0, inf, nil},
	} {
		l := newLaw(c.whole, c.rate, c.accel)
		assert.InDelta(t, c.ramp, l.ramp, 1e-12, "%s: ramp", name)
		assert.InDelta(t, c.reached, l.rate, 1e-12, "%s: rate", name)
		assert.Equal(t, c.whole, l.whole, "%s: whole", name)
		assert.True(t, l.end == c.end || math.Abs(l.end-c.end) < 1e-12, "%s: end %v, want %v", name, l.end, c.end)
		for _, a := range c.at {
			assert.InDelta(t, a.done, l.done(a.time), 1e-12, "%s: done by %v", name, a.time)
			assert.InDelta(t, a.time, l.when(a.done), 1e-7, "%s: when %v is done", name, a.done)
		}
		for _, before := range []float64{nan, math.Inf(-1), -1, 0} {
			assert.Zero(t, l.done(before), "%s: done by %v", name, before)
			if c.whole > 0 {
				assert.Zero(t, l.when(before), "%s: when %v is done", name, before)
			}
		}
		assert.Equal(t, l.end, l.when(c.whole+1), "%s: when more is done than there is", name)
		if math.IsInf(c.end, 1) {
			assert.Zero(t, l.done(1e9), "%s: it may not have begun", name)
			assert.Zero(t, l.when(c.whole/2), "%s: it may be there at once", name)
			assert.Equal(t, inf, l.when(c.whole), "%s", name)
			continue
		}
		assert.Equal(t, c.whole, l.done(c.end+1), "%s: after its end", name)
		assert.Equal(t, c.whole, l.done(c.end), "%s: at its end", name)
	}
}

// TestLawGoesOnAndBack: what is done never shrinks, stays within the whole, and when is its inverse; a hair's breadth counts.
func TestLawGoesOnAndBack(t *testing.T) {
	for _, c := range [][3]float64{{10, 3, 2}, {2, 3, 2}, {4.5, 3, 2}, {10, 2, math.Inf(1)}, {0.001, 5, 0.3}, {300, 0.004, 7}} {
		l := newLaw(c[0], c[1], c[2])
		was := 0.0
		for i := range 1001 {
			at := l.end * float64(i) / 1000
			done := l.done(at)
			assert.GreaterOrEqual(t, done, was, "%v at %v", c, at)
			assert.LessOrEqual(t, done, c[0], "%v at %v", c, at)
			assert.InDelta(t, done, l.done(l.when(done)), 1e-12*c[0], "%v at %v", c, at)
			was = done
		}
		assert.Positive(t, l.done(1e-6), "%v", c)
		assert.Less(t, l.done(l.end-1e-5*l.end), c[0], "%v", c)
		assert.Positive(t, l.when(1e-12), "%v", c)
	}
}

// TestBendsBoundTheCurve: a stretch is nowhere farther from its chord than a·t²/8, and where it speeds up all along it is that far.
func TestBendsBoundTheCurve(t *testing.T) {
	l := newLaw(10, 3, 2)
	assert.InDelta(t, 2.25, float64(l.bends(3)), 1e-12)
	assert.InDelta(t, 0.0625, float64(l.bends(0.5)), 1e-12)
	assert.InDelta(t, 0.0625, (l.done(1.4)+l.done(0.9))/2-l.done(1.15), 1e-12, "the middle of a stretch of speeding up")
	for i := range 100 {
		from := l.end * float64(i) / 100
		for _, long := range []float64{0.1, 0.7, 2} {
			chord := (l.done(from) + l.done(from+long)) / 2
			assert.LessOrEqual(t, math.Abs(chord-l.done(from+long/2)), float64(l.bends(long))+1e-12, "%v s from %v", long, from)
		}
	}
	still, atOnce, small := newLaw(0, 3, 2), newLaw(10, 2, math.Inf(1)), newLaw(0.5, 3, 2)
	assert.Zero(t, still.bends(3))
	assert.InDelta(t, 2.25, float64(small.bends(3)), 1e-12)
	assert.True(t, math.IsInf(float64(atOnce.bends(1e-9)), 1), "it changes its speed at once")
}
