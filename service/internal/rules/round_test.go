package rules

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestRoundTowardDanger(t *testing.T) {
	cases := []struct {
		v    float64
		side danger
		want float64
	}{
		{0, upward, 0},
		{math.Copysign(0, -1), downward, 0},
		{10, upward, 10},
		{0.1, downward, 0.1},
		{-3, downward, -3},
		{1.0 / 3, upward, 0.333333333333334},
		{1.0 / 3, downward, 0.333333333333333},
		{-1.0 / 3, upward, -0.333333333333333},
		{-1.0 / 3, downward, -0.333333333333334},
		{math.Nextafter(10, 11), upward, 10.0000000000001},
		{math.Nextafter(10, 11), downward, 10},
		{math.Nextafter(10, 9), downward, 9.99999999999999},
		{math.Nextafter(10, 9), upward, 10},
		{999999999999999.9, upward, 1e15},
		{99999999999999995, upward, 1e17},
		{-999999999999999.9, downward, -1e15},
		{1e-300, upward, 1e-300},
		{1e-300, downward, 1e-300},
		{-1e-300, upward, -1e-300},
		{1e-310, upward, 1e-300},
		{1e-310, downward, 0},
		{-1e-310, downward, -1e-300},
		{-1e-310, upward, 0},
	}
	for _, c := range cases {
		got, text := round(c.v, c.side)
		assert.Equalf(t, c.want, got, "round(%v, %+d)", c.v, c.side)
		back, err := strconv.ParseFloat(text, 64)
		require.NoError(t, err)
		assert.Equalf(t, c.want, back, "round(%v, %+d) as text: %s", c.v, c.side, text)
		mantissa, _, _ := strings.Cut(text, "e")
		assert.LessOrEqualf(t, len(strings.Trim(strings.Replace(mantissa, ".", "", 1), "-")), significant, "round(%v, %+d) as text: %s", c.v, c.side, text)
	}
}

func TestRoundProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(-largest, largest).Draw(t, "v")
		for _, side := range []danger{upward, downward} {
			got, text := round(v, side)
			require.False(t, math.IsNaN(got) || math.IsInf(got, 0))
			require.GreaterOrEqualf(t, float64(side)*got, float64(side)*v, "round(%v, %+d) = %v moved away from danger", v, side, got)
			again, _ := round(got, side)
			require.Equalf(t, got, again, "round(%v, %+d) is not settled", v, side)
			back, err := strconv.ParseFloat(text, 64)
			require.NoError(t, err)
			require.Equalf(t, got, back, "round(%v, %+d) as text: %s", v, side, text)
			mantissa, _, _ := strings.Cut(text, "e")
			require.LessOrEqual(t, len(strings.Trim(strings.Replace(mantissa, ".", "", 1), "-")), significant)
			if math.Abs(v) > smallest {
				require.InEpsilonf(t, v, got, 1.01e-14, "round(%v, %+d): moved by one unit of the 15th digit at the most", v, side)
			}
		}
	})
}
