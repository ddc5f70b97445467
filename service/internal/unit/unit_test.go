package unit_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/unit"
)

func TestAnglesReduce(t *testing.T) {
	cases := []struct{ in, wrapped, positive float64 }{
		{0, 0, 0}, {180, -180, 180}, {-180, -180, 180}, {190, -170, 190}, {-190, 170, 170},
		{360, 0, 0}, {370, 10, 10}, {-10, -10, 350}, {725, 5, 5},
	}
	for _, c := range cases {
		assert.InDelta(t, c.wrapped, unit.Deg(c.in).Wrapped().Deg(), 1e-12, "Wrapped(%v°)", c.in)
		assert.InDelta(t, c.positive, unit.Deg(c.in).Positive().Deg(), 1e-12, "Positive(%v°)", c.in)
	}
	assert.Less(t, float64(unit.Angle(-1e-300).Positive()), 2*math.Pi, "a tiny negative angle stays below a turn")
}

func TestNearKeepsTheTurn(t *testing.T) {
	assert.InDelta(t, 350.0, unit.Deg(-10).Near(unit.Deg(300)).Deg(), 1e-12)
	assert.InDelta(t, 370.0, unit.Deg(10).Near(unit.Deg(400)).Deg(), 1e-12)
}

func TestDegreesAndBack(t *testing.T) {
	for _, d := range []float64{0, 1, 45, 90, 179.999, -360, 1234.5} {
		assert.InDelta(t, d, unit.Deg(d).Deg(), 1e-12)
		assert.InDelta(t, d*3600, unit.Deg(d).Arcsec(), 1e-8)
		assert.InDelta(t, d*60, unit.Deg(d).Arcmin(), 1e-9)
	}
}
