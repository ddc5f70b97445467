package pointing

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// norris are the 36 points of NIST's Statistical Reference Dataset Norris (linear regression, lower difficulty): x, y.
func norris() [][2]float64 {
	x := []float64{.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, .4, .6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, .3, .3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, .5}
	y := []float64{.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, .3, .1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, .3, .6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, .2}
	out := make([][2]float64, len(x))
	for i := range x {
		out[i] = [2]float64{x[i], y[i]}
	}
	return out
}

// The recursive step, given a published regression one point after the other, ends where its certified values are: coefficients, and their standard
// deviations by the certified residual one (E8 of the project's published values). Covariances are kept in single precision, so that an
// entry of the record stays small; that bounds how near. A slope of a thousand is made one, as every slope of the model is about one.
func TestStepFindsAPublishedRegression(t *testing.T) {
	const residual, scale = .884796396144373, 1000
	want, sigma := [2]float64{-.262323073774029, 1.00211681802045}, [2]float64{.232818234301152, .000429796848199937}
	for name, along := range map[string]int{"across": 0, "along": 1} {
		var m Model
		m.add(0, sq(1e5)) // a prior that says nothing beside 36 points
		m.add(1, sq(1e5))
		for _, p := range norris() {
			var v View
			v.slopes[along] = [Terms]float64{1, p[0] / scale}
			var off [2]float64
			off[along] = p[1] - float64(m.Terms[0]) - float64(m.Terms[1])*p[0]/scale
			s := v.spread(&m.Fit)
			noise := Cov2{residual * residual, 0, residual * residual}
			m.step(&v, off, s.Plus(noise), noise)
		}
		got := [2]float64{float64(m.Terms[0]), float64(m.Terms[1]) / scale}
		sure := [2]float64{math.Sqrt(m.cov(0, 0)), math.Sqrt(m.cov(1, 1)) / scale}
		for i := range want {
			t.Logf("%s: b%d %.9f (%.9f), certified %.9f (%.9f)", name, i, got[i], sure[i], want[i], sigma[i])
			assert.InDelta(t, want[i], got[i], sigma[i]/1000, "%s: b%d", name, i)
			assert.InEpsilon(t, sigma[i], sure[i], 1e-4, "%s: the standard deviation of b%d", name, i)
		}
	}
}
