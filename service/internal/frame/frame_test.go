package frame_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/unit"
)

// ERFA 2.0.0 t_erfa_c (SOFA 2021-05-12): hd2ae(1.1, 1.2, 0.3), ae2hd(5.5, 1.1, 0.7).
func TestHourToHorizonAgreesWithERFA(t *testing.T) {
	r := frame.SiteFromHour[frame.Site](0.3)
	az, alt := frame.AzAlt(r.Apply(frame.FromHour(1.1, 1.2)))
	assert.InDelta(t, 5.916889243730066194, float64(az), 1e-13)
	assert.InDelta(t, 0.4472186304990486228, float64(alt), 1e-13)

	back := frame.SiteFromHour[frame.Site](0.7).Inverse()
	h, dec := frame.HourDec(back.Apply(frame.Horizon[frame.Site](5.5, 1.1)))
	assert.InDelta(t, 0.5933291115507309663, float64(h), 1e-14)
	assert.InDelta(t, 0.9613934761647817620, float64(dec), 1e-14)
}

func TestRotationsAndMotionsGoBack(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	random := func() frame.Vec[frame.Rig] {
		return frame.Vec[frame.Rig]{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
	}
	for range 1000 {
		axis, point, v := random().Unit(), random(), random()
		angle := unit.Angle(rng.NormFloat64())
		r := frame.About(axis, angle)
		assert.InDelta(t, 0, r.Inverse().Apply(r.Apply(v)).Sub(v).Norm(), 1e-14)
		assert.InDelta(t, 0, r.Apply(axis).Sub(axis).Norm(), 1e-14, "the axis stays")
		m := frame.Turning(point, axis, angle)
		n := frame.Turning(random(), random().Unit(), 1)
		assert.InDelta(t, 0, m.Point(point).Sub(point).Norm(), 1e-13, "the point on the axis stays")
		assert.InDelta(t, 0, m.Before(n).Point(v).Sub(n.Point(m.Point(v))).Norm(), 1e-13)
	}
}

func TestTurningIsRightHanded(t *testing.T) {
	x, y, z := frame.Vec[frame.Rig]{X: 1}, frame.Vec[frame.Rig]{Y: 1}, frame.Vec[frame.Rig]{Z: 1}
	assert.InDelta(t, 0, frame.About(z, math.Pi/2).Apply(x).Sub(y).Norm(), 1e-15)
	assert.Equal(t, z, x.Cross(y))
}

func TestDirectionsWithoutLongitude(t *testing.T) {
	for _, v := range []frame.Vec[frame.Site]{{Z: 1}, {Z: -1}, {}} {
		az, _ := frame.AzAlt(v)
		assert.Zero(t, az)
		lon, _ := v.LonLat()
		assert.Zero(t, lon)
	}
	assert.Zero(t, frame.Vec[frame.Site]{}.Angle(frame.Vec[frame.Site]{X: 1}))
}
