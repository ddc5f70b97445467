package rig_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

var kinds = []rig.Kind{rig.German, rig.Fork, rig.AltAzimuth}

// Derived values of the project's frames and signs, found by an independent chain (numpy); first row is ERFA's hd2ae case.
func TestAxisAnglesOfTheFrames(t *testing.T) {
	cases := []struct{ lat, h, dec, az, alt, east1, east2, west1, west2 float64 }{
		{0.3, 1.1, 1.2, 339.012782, 25.623740, -26.974643, 21.245065, 153.025357, -21.245065},
		{0.7, -0.4, 0.2, 138.381195, 54.925962, -112.918312, 78.540844, 67.081688, -78.540844},
		{-0.6, 0.9, -0.5, 262.732456, 46.131830, -38.433798, 61.352110, 141.566202, -61.352110},
		{-0.6, -2.0, 0.3, 88.719070, -29.668689, -204.591559, 107.188734, -24.591559, -107.188734},
	}
	for _, c := range cases {
		lat, h, dec := unit.Angle(c.lat), unit.Angle(c.h), unit.Angle(c.dec)
		chain := rig.NewChain(rig.German, lat, rig.Tilt{}, frame.Vec[frame.Rig]{Z: 1300}, 0)
		for side, want := range map[rig.Side]rig.Axes{rig.East: rig.DegAxes(c.east1, c.east2), rig.West: rig.DegAxes(c.west1, c.west2)} {
			got := rig.German.Ideal(h, dec, lat, side)
			assert.InDelta(t, want.A1.Deg(), got.A1.Deg(), 1e-6, "axis 1 %s", side)
			assert.InDelta(t, want.A2.Deg(), got.A2.Deg(), 1e-6, "axis 2 %s", side)
			az, alt := frame.AzAlt(chain.Direction(got))
			assert.InDelta(t, c.az, az.Deg(), 1e-6, "azimuth %s", side)
			assert.InDelta(t, c.alt, alt.Deg(), 1e-6, "altitude %s", side)
		}
	}
}

func TestIdealMapAndChainAgree(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for range 20000 {
		k := kinds[rng.IntN(3)]
		lat := unit.Deg(rng.Float64()*179 - 89.5)
		lon, height := unit.Deg(rng.Float64()*360-180), unit.Deg(rng.Float64()*179-89.5)
		chain := rig.NewChain(k, lat, rig.Tilt{}, frame.Vec[frame.Rig]{}, 0)
		dir := frame.Horizon[frame.Rig](lon, height)
		if k.Equatorial() {
			dir = frame.SiteFromHour[frame.Rig](lat).Apply(frame.FromHour(lon, height))
		}
		for _, side := range k.Sides() {
			a := k.Ideal(lon, height, lat, side)
			assert.InDelta(t, 0, chain.Direction(a).Angle(dir).Deg(), 1e-9, "%s %s: the pose points there", k, side)
			assert.Equal(t, side, k.SideOf(a))
			lon2, height2, side2 := k.FromIdeal(a, lat)
			assert.Equal(t, side, side2)
			assert.InDelta(t, 0, (lon2 - lon).Wrapped().Deg(), 1e-9)
			assert.InDelta(t, height.Deg(), height2.Deg(), 1e-9)
			s := chain.Solve(k, dir, side)
			assert.InDelta(t, 0, (s.A1 - a.A1).Wrapped().Deg(), 1e-6, "%s %s axis 1", k, side)
			assert.InDelta(t, 0, (s.A2 - a.A2).Wrapped().Deg(), 1e-6, "%s %s axis 2", k, side)
		}
	}
}

func TestTiltedChainSolvesToItsOwnDirection(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for range 5000 {
		k := kinds[rng.IntN(3)]
		lat := unit.Deg(rng.Float64()*178 - 89)
		tilt := rig.Tilt{East: unit.Deg(rng.NormFloat64()), Up: unit.Deg(rng.NormFloat64())}
		chain := rig.NewChain(k, lat, tilt, frame.Vec[frame.Rig]{}, 30)
		dir := frame.Vec[frame.Rig]{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}.Unit()
		for _, side := range k.Sides() {
			assert.InDelta(t, 0, chain.Direction(chain.Solve(k, dir, side)).Angle(dir).Deg(), 1e-9)
		}
	}
}

func TestTiltMovesTheElevatedPole(t *testing.T) {
	for _, lat := range []float64{46, -33} {
		chain := rig.NewChain(rig.Fork, unit.Deg(lat), rig.Tilt{East: unit.Deg(2), Up: unit.Deg(1)}, frame.Vec[frame.Rig]{}, 0)
		elevated := chain.Dir1
		if lat >= 0 {
			elevated = elevated.Scale(-1)
		}
		az, alt := frame.AzAlt(elevated)
		wantAz, wantAlt := 2.0, lat+1
		if lat < 0 {
			wantAz, wantAlt = 178, -lat+1
		}
		assert.InDelta(t, wantAz, az.Deg(), 1e-9, "east is toward azimuth 90°")
		assert.InDelta(t, wantAlt, alt.Deg(), 1e-9)
	}
}

func TestGermanTubeSwingsWestFromZero(t *testing.T) {
	for _, lat := range []float64{46, -33} {
		chain := rig.NewChain(rig.German, unit.Deg(lat), rig.Tilt{}, frame.Vec[frame.Rig]{}, 0)
		assert.Less(t, chain.Direction(rig.DegAxes(0, 30)).X, 0.0, "latitude %v", lat)
	}
}
