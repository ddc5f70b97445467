package sky_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/timescale"
	"keepclear.example/keepclear/service/internal/unit"
)

// A microarcsecond: far below any budget, far above rounding.
const rounding = 5e-12

func TestThereAndBack(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 1))
	a := air(t, sky.Weather{PressureHPa: 900, TemperatureC: -5, Humidity: .3})
	for range 3000 {
		m := sky.At(between(t, rng), timescale.UT1{})
		p := place(t, rng.Float64()*180-90, rng.Float64()*360-180)
		star, date, site := random[frame.ICRS](rng), random[frame.Date](rng), random[frame.Site](rng)
		if star.Angle(m.ICRS(m.Sun())) > unit.Deg(1) {
			assert.Less(t, float64(m.ICRS(m.Apparent(star)).Angle(star)), rounding, "ICRS and back at %s", m.Instant())
		}
		assert.Less(t, float64(m.FromHorizon(m.Horizon(date, p), p).Angle(date)), rounding, "horizon and back")
		assert.Less(t, float64(m.FromHour(m.Hour(date, p.Longitude()), p.Longitude()).Angle(date)), rounding, "hour angle and back")
		assert.Less(t, float64(a.Lower(a.Lift(site)).Angle(site)), rounding, "air and back at %v", site)
		assert.Less(t, float64(a.Lift(a.Lower(site)).Angle(site)), rounding, "air and back at %v", site)
	}
}

// A mean sidereal day later, 86164.0905 s (Explanatory Supplement, 3rd ed. 2013, chapter 3), the same star stands where it stood, but for
// what a day does to the apparent place: aberration 0.35″, precession 0.14″ less what the day's length holds, nutation 0.1″.
func TestASiderealDayLater(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 2))
	for range 1000 {
		m := sky.At(between(t, rng), timescale.UT1{})
		p, star := place(t, rng.Float64()*180-90, rng.Float64()*360-180), random[frame.ICRS](rng)
		if star.Angle(m.ICRS(m.Sun())) < unit.Deg(5) {
			continue // the bending of light changes more
		}
		later := m.After(86164*time.Second + 90500*time.Microsecond)
		got := later.Horizon(later.Apparent(star), p).Angle(m.Horizon(m.Apparent(star), p))
		assert.Less(t, got.Arcsec(), 0.6, "%s at %v", m.Instant(), star)
	}
}

// South for north and the mirror star: azimuth mirrored, altitude the same.
func TestMirroredSite(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 3))
	for range 1000 {
		m := sky.At(between(t, rng), timescale.UT1{})
		lat, lon, v := rng.Float64()*180-90, rng.Float64()*360-180, random[frame.Date](rng)
		north := m.Horizon(v, place(t, lat, lon))
		south := m.Horizon(frame.Vec[frame.Date]{X: v.X, Y: v.Y, Z: -v.Z}, place(t, -lat, lon))
		mirror := frame.Vec[frame.Site]{X: north.X, Y: -north.Y, Z: north.Z}
		assert.Less(t, float64(south.Angle(mirror)), rounding)
	}
}

func TestTheDateLineIsNoPlaceOfItsOwn(t *testing.T) {
	m := moment(t, "2026-11-25T09:00:00Z", 0)
	v := radec[frame.Date](123, 45)
	assert.Less(t, float64(m.Horizon(v, place(t, -17, 180)).Angle(m.Horizon(v, place(t, -17, -180)))), rounding)
	assert.Less(t, float64(m.Horizon(v, place(t, -17, 250)).Angle(m.Horizon(v, place(t, -17, -110)))), rounding)
	assert.InDelta(t, 0, (m.SiderealTime(unit.Deg(180)) - m.SiderealTime(unit.Deg(-180))).Wrapped().Arcsec(), 1e-6)
}

func TestPlacesAreChecked(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, bad := range [][2]float64{{90.001, 0}, {-91, 0}, {0, 361}, {nan, 0}, {0, nan}, {inf, 0}, {0, -inf}} {
		_, err := sky.NewPlace(unit.Deg(bad[0]), unit.Deg(bad[1]))
		assert.ErrorIs(t, err, sky.ErrPlace, "%v", bad)
	}
	for _, good := range [][2]float64{{90, 0}, {-90, 360}, {0, -180}, {0, 0}} {
		p := place(t, good[0], good[1])
		assert.InDelta(t, good[0], p.Latitude().Deg(), 1e-12)
		assert.InDelta(t, good[1], p.Longitude().Deg(), 1e-12)
	}
}

func TestZeroVectorsStay(t *testing.T) {
	m := moment(t, "2026-11-25T09:00:00Z", 0)
	p := place(t, 50, 10)
	assert.Zero(t, m.Apparent(frame.Vec[frame.ICRS]{}))
	assert.Zero(t, m.ICRS(frame.Vec[frame.Date]{}))
	assert.Zero(t, m.Horizon(frame.Vec[frame.Date]{}, p))
	assert.Zero(t, m.FromHorizon(frame.Vec[frame.Site]{}, p))
	assert.Zero(t, sky.StandardAir(0).Lift(frame.Vec[frame.Site]{}))
}

// UT1 unknown is 13.5″ of hour angle and nothing else (faults, row 16).
func TestUT1TurnsTheSky(t *testing.T) {
	i := instant(t, "2026-11-25T09:00:00Z")
	ahead, err := timescale.StatedUT1(900*time.Millisecond, 0, i)
	require.NoError(t, err)
	known, unknown := sky.At(i, ahead), sky.At(i, timescale.UT1{})
	assert.InDelta(t, 13.537, (known.SiderealTime(0) - unknown.SiderealTime(0)).Arcsec(), 0.001)
	star := radec[frame.ICRS](10, 20)
	assert.Equal(t, known.Apparent(star), unknown.Apparent(star))
	assert.Equal(t, ahead, known.UT1())
}

// The sky turns on through a leap second: 15.04″ a second, no step.
func TestTheSkyTurnsThroughALeapSecond(t *testing.T) {
	m := moment(t, "2016-12-31T23:59:58Z", -0.4)
	for range 50 {
		next := m.After(100 * time.Millisecond)
		assert.InDelta(t, 1.50411, (next.SiderealTime(0) - m.SiderealTime(0)).Wrapped().Arcsec(), 1e-4, "%s", m.Instant())
		m = next
	}
}

func weathers() []sky.Weather {
	var out []sky.Weather
	for _, p := range []float64{1e-300, 1, 300, 550, 800, 1013, 1100} {
		for _, c := range []float64{-60, -40, 0, 25, 60} {
			for _, h := range []float64{0, .5, 1} {
				for _, um := range []float64{0, .3, 1.2} {
					out = append(out, sky.Weather{PressureHPa: p, TemperatureC: c, Humidity: h, WavelengthUM: um})
				}
			}
		}
	}
	return out
}

func TestRefractionIsMonotonicContinuousAndBounded(t *testing.T) {
	steepest := 0.0
	for _, w := range weathers() {
		a := air(t, w)
		const step = 0.1 // degrees
		leastGain, mostGain, least, most, back := math.Inf(1), 0., math.Inf(1), 0., 0.
		for n := range 1800 {
			low, high := unit.Deg(float64(n)*step-90), unit.Deg(float64(n+1)*step-90)
			gain := (a.True(high) - a.True(low)).Deg() / step
			leastGain, mostGain = min(leastGain, gain), max(mostGain, gain)
			least, most = min(least, a.Refraction(low).Deg()), max(most, a.Refraction(low).Deg())
			back = max(back, float64((a.Observed(a.True(low)) - low).Abs()))
		}
		require.Greater(t, leastGain, 0.9, "the true altitude has to rise with the observed one, in %+v", w)
		require.Less(t, mostGain, 2., "and not to jump, in %+v", w)
		require.GreaterOrEqual(t, least, 0., "least refraction, degrees, in %+v", w)
		require.Less(t, most, 1.5, "most refraction, degrees, in %+v", w)
		require.Less(t, back, 1e-13, "there and back, radians, in %+v", w)
		steepest = max(steepest, mostGain)
	}
	t.Logf("true altitude gains at most %.2f times what the observed gains", steepest)
}

func TestNoAirBendsNothing(t *testing.T) {
	for _, a := range []sky.Air{{}, air(t, sky.Weather{})} {
		for d := -90.0; d <= 90; d++ {
			assert.Equal(t, unit.Deg(d), a.Observed(unit.Deg(d)))
			assert.Equal(t, unit.Deg(d), a.True(unit.Deg(d)))
		}
	}
	assert.Equal(t, unit.Deg(120), sky.StandardAir(0).Observed(unit.Deg(120)), "past the zenith it is no altitude and stays")
	assert.True(t, math.IsNaN(float64(sky.StandardAir(0).Observed(unit.Angle(math.NaN())))), "what is no number is never a place")
}

func TestWeatherIsChecked(t *testing.T) {
	for _, bad := range []sky.Weather{
		{PressureHPa: -1}, {PressureHPa: 1101}, {PressureHPa: math.NaN()}, {PressureHPa: 1000, TemperatureC: -61}, {PressureHPa: 1000, TemperatureC: 283.15},
		{PressureHPa: 1000, Humidity: 83}, {PressureHPa: 1000, Humidity: -.1}, {PressureHPa: 1000, WavelengthUM: 550}, {TemperatureC: math.Inf(1)},
	} {
		_, err := sky.NewAir(bad)
		assert.ErrorIs(t, err, sky.ErrWeather, "%+v", bad)
	}
}

func TestStandardAirIsTheStandard(t *testing.T) {
	want := air(t, sky.Weather{PressureHPa: 1013.25, TemperatureC: 15, Humidity: .5})
	assert.Equal(t, want, sky.StandardAir(0))
	// ICAO Doc 7488: 794.95 hPa, 2.0 °C at 2000 m (geopotential).
	at2000 := air(t, sky.Weather{PressureHPa: 794.95, TemperatureC: 2, Humidity: .5})
	assert.InDelta(t, at2000.Refraction(unit.Deg(20)).Arcsec(), sky.StandardAir(2000).Refraction(unit.Deg(20)).Arcsec(), .05)
	for _, h := range []float64{-1e9, 1e9, math.NaN(), math.Inf(1)} {
		assert.True(t, sky.StandardAir(h).Refraction(0).Finite(), "at %v m", h)
	}
}

// FuzzSky: whatever is finite goes in, nothing but finite unit vectors comes out.
func FuzzSky(f *testing.F) {
	f.Add(int64(1e9), 50., 10., 1., 0., 0., 1000., 10., int64(1e12))
	f.Add(int64(631152000), 90., 180., 0., 0., 1., 1100., -60., int64(-1e18))
	f.Add(int64(2556143999), -90., -180., 1e-160, 1e-160, -1., 0., 60., int64(math.MaxInt64))
	f.Fuzz(func(t *testing.T, unix int64, lat, lon, x, y, z, hPa, celsius float64, add int64) {
		i, err := timescale.New(time.Unix(unix, 0), timescale.BuiltIn())
		if err != nil {
			return
		}
		p, err := sky.NewPlace(unit.Deg(lat), unit.Deg(lon))
		star := frame.Vec[frame.ICRS]{X: x, Y: y, Z: z}.Unit()
		if err != nil || !star.Finite() || math.Abs(star.Norm()-1) > 1e-9 {
			return
		}
		a, err := sky.NewAir(sky.Weather{PressureHPa: hPa, TemperatureC: celsius})
		if err != nil {
			return
		}
		for _, m := range []*sky.Moment{sky.At(i, timescale.UT1{}), sky.At(i, timescale.UT1{}).After(time.Duration(add))} {
			site := a.Lift(m.Horizon(m.Apparent(star), p))
			assert.InDelta(t, 1, site.Norm(), 1e-9)
			assert.InDelta(t, 1, m.ICRS(m.FromHorizon(a.Lower(site), p)).Norm(), 1e-9)
			assert.InDelta(t, 1, a.Lift(m.SunFrom(p)).Norm(), 1e-9)
			assert.True(t, m.SiderealTime(p.Longitude()).Finite())
		}
	})
}

// TestSunPathIsTheSun: for a day, over any place, as near as the path says; beyond it, the Sun itself.
func TestSunPathIsTheSun(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 2026))
	worst := 0.0
	for range 300 {
		p := place(t, r.Float64()*180-90, r.Float64()*360-180)
		m := moment(t, time.Unix(631152000+r.Int64N(60*365*86400), 0).UTC().Format(time.RFC3339Nano), 0)
		path := m.SunPath(p)
		for range 20 {
			s := r.Float64() * 86400
			off := path.After(s).Angle(m.After(time.Duration(s * 1e9)).SunFrom(p)).Arcsec()
			worst = math.Max(worst, off)
			require.Less(t, off, 0.1, "%v, %.0f s later", m.Instant(), s)
		}
		for _, s := range []float64{-60, 86401, 1e6} {
			assert.Equal(t, m.After(time.Duration(s*1e9)).SunFrom(p), path.After(s), "%.0f s later", s)
		}
	}
	t.Logf("worst %.3f″", worst)
}
