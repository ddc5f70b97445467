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

func cross(t testing.TB, m *sky.Moment, span time.Duration, c sky.Curve, limit unit.Angle) sky.Passage {
	t.Helper()
	got, err := sky.Cross(m, span, c, limit)
	require.NoError(t, err)
	return got
}

func TestStarsThatNeverCross(t *testing.T) {
	m := moment(t, "2026-11-25T18:00:00Z", 0)
	p, a := place(t, 52, 13), sky.StandardAir(50)
	up := cross(t, m, 48*time.Hour, sky.StarAltitude(radec[frame.ICRS](40, 89), p, a), 0)
	assert.True(t, up.Above, "a star near the pole is always up")
	assert.Empty(t, up.Crossings)
	down := cross(t, m, 48*time.Hour, sky.StarAltitude(radec[frame.ICRS](40, -60), p, a), 0)
	assert.False(t, down.Above, "a southern star never rises")
	assert.Empty(t, down.Crossings)
}

func TestPolarDayAndNight(t *testing.T) {
	p := place(t, 78, 15)
	sun := sky.SunAltitude(p, sky.Air{})
	assert.Equal(t, sky.Passage{Above: true}, cross(t, moment(t, "2026-06-21T00:00:00Z", 0), 24*time.Hour, sun, sky.SunRise))
	assert.Equal(t, sky.Passage{Above: false}, cross(t, moment(t, "2026-12-21T00:00:00Z", 0), 24*time.Hour, sun, sky.SunRise))

	pole := cross(t, moment(t, "2026-01-01T00:00:00Z", 0), 365*24*time.Hour, sky.SunAltitude(place(t, 90, 0), sky.Air{}), 0)
	require.Len(t, pole.Crossings, 2, "at the pole the Sun rises once a year and sets once")
	assert.True(t, pole.Crossings[0].Rising)
	sameSecond(t, "2026-03-20T14:46:00Z", pole.Crossings[0], time.Hour) // the equinox; parallax of 8.8″ is 9 min there
	sameSecond(t, "2026-09-23T00:05:00Z", pole.Crossings[1], time.Hour)
}

// A limit just below or above the culmination gives two crossings or none, however little it is.
func TestGrazing(t *testing.T) {
	rng := rand.New(rand.NewPCG(12, 1))
	for range 60 {
		m := sky.At(between(t, rng), timescale.UT1{})
		p, star := place(t, rng.Float64()*160-80, rng.Float64()*360-180), random[frame.ICRS](rng)
		altitude := sky.StarAltitude(star, p, sky.Air{})
		transits := cross(t, m, 23*time.Hour, sky.StarWest(star, p), 0).Crossings
		require.NotEmpty(t, transits)
		at := transits[0].At
		top := altitude(m.After(at.Sub(m.Instant())))
		before := m.After(at.Sub(m.Instant()) - time.Duration(1+rng.IntN(50))*time.Minute)
		if top > unit.Deg(85) || top < unit.Deg(-85) {
			continue // near zenith and nadir the turning point is sharp and moves
		}
		toward := unit.Arcsec(1) // below an upper culmination, above a lower one
		if !transits[0].Rising {
			toward = -toward
		}
		assert.Len(t, cross(t, before, 2*time.Hour, altitude, top-toward).Crossings, 2, "%v at %s", star, at)
		assert.Empty(t, cross(t, before, 2*time.Hour, altitude, top+toward).Crossings, "%v at %s", star, at)
	}
}

// The crossings against a slow, plain search, minute by minute.
func TestCrossingsAgreeWithAPlainSearch(t *testing.T) {
	rng := rand.New(rand.NewPCG(12, 2))
	for range 60 {
		m := sky.At(between(t, rng), timescale.UT1{})
		p, a := place(t, rng.Float64()*180-90, rng.Float64()*360-180), sky.StandardAir(rng.Float64()*3000)
		curve := sky.StarAltitude(random[frame.ICRS](rng), p, a)
		if rng.IntN(2) == 0 {
			curve = sky.SunAltitude(p, a)
		}
		limit := unit.Deg(rng.Float64()*60 - 20)
		got := cross(t, m, 20*time.Hour, curve, limit).Crossings
		want := 0
		above := curve(m) >= limit
		for at := time.Minute; at <= 20*time.Hour; at += time.Minute {
			if now := curve(m.After(at)) >= limit; now != above {
				above = now
				if assert.Greater(t, len(got), want, "a crossing before %v", at) {
					since := got[want].At.Sub(m.Instant())
					assert.True(t, since > at-time.Minute-time.Millisecond && since <= at, "%v, want in the minute before %v", since, at)
					assert.Equal(t, now, got[want].Rising)
				}
				want++
			}
		}
		// Two within one minute escape the plain search only.
		assert.Zero(t, (len(got)-want)%2, "%d crossings, the plain search sees %d", len(got), want)
	}
}

func TestTransitIsTheHighest(t *testing.T) {
	m := moment(t, "2026-11-25T18:00:00Z", 0)
	p := place(t, -30.2, -70.7)
	star := radec[frame.ICRS](83, -5)
	got := cross(t, m, 24*time.Hour, sky.StarWest(star, p), 0).Crossings
	require.Len(t, got, 2)
	for _, c := range got {
		now := m.After(c.At.Sub(m.Instant()))
		h, _ := frame.HourDec(now.Hour(now.Apparent(star), p.Longitude()))
		want := 0.
		if !c.Rising {
			want = 180
		}
		assert.InDelta(t, want, h.Abs().Deg(), 1e-4, "hour angle at %s", c.At)
	}
	noon := cross(t, m, 24*time.Hour, sky.SunWest(p), 0).Crossings
	require.Len(t, noon, 2)
	assert.Empty(t, cross(t, m, 24*time.Hour, sky.StarWest(m.ICRS(frame.Vec[frame.Date]{Z: 1}), p), unit.Deg(1)).Crossings, "the pole has no transit")
}

func TestSearchesAreBounded(t *testing.T) {
	m := moment(t, "2026-11-25T18:00:00Z", 0)
	curve := sky.SunAltitude(place(t, 50, 10), sky.Air{})
	for _, span := range []time.Duration{0, -time.Hour, sky.MaxSpan + 1, math.MaxInt64, math.MinInt64} {
		_, err := sky.Cross(m, span, curve, 0)
		assert.ErrorIs(t, err, sky.ErrSpan, "%v", span)
	}
	broken := func(*sky.Moment) unit.Angle { return unit.Angle(math.NaN()) }
	_, err := sky.Cross(m, time.Hour, broken, 0)
	assert.ErrorIs(t, err, sky.ErrCurve)
	_, err = sky.Cross(m, time.Hour, curve, unit.Angle(math.NaN()))
	assert.ErrorIs(t, err, sky.ErrCurve)
	for _, span := range []time.Duration{1, time.Millisecond, time.Minute} {
		_, err := sky.Cross(m, span, curve, 0)
		assert.NoError(t, err, "%v", span)
	}
}

// A span cut in two gives the same crossings, none twice and none lost.
func TestPartsOfASpanAgree(t *testing.T) {
	m := moment(t, "2026-11-25T18:00:00Z", 0)
	p := place(t, 61, 25)
	curve := sky.StarAltitude(radec[frame.ICRS](100, 5), p, sky.StandardAir(0))
	whole := cross(t, m, 47*time.Hour, curve, unit.Deg(10)).Crossings
	var parts []sky.Crossing
	for h := range 47 {
		parts = append(parts, cross(t, m.After(time.Duration(h)*time.Hour), time.Hour, curve, unit.Deg(10)).Crossings...)
	}
	require.Len(t, parts, len(whole))
	for n := range whole {
		assert.LessOrEqual(t, parts[n].At.Sub(whole[n].At).Abs(), 5*time.Millisecond)
	}
}

func BenchmarkStarOverTheGround(b *testing.B) {
	m, p, a := moment(b, "2026-11-25T18:00:00Z", 0), place(b, 50, 10), sky.StandardAir(0)
	star := radec[frame.ICRS](10, 20)
	for b.Loop() {
		a.Lift(m.Horizon(m.Apparent(star), p))
	}
}

func BenchmarkICRS(b *testing.B) {
	m := moment(b, "2026-11-25T18:00:00Z", 0)
	date := radec[frame.Date](10, 20)
	for b.Loop() {
		m.ICRS(date)
	}
}

func BenchmarkCrossANight(b *testing.B) {
	m, p := moment(b, "2026-11-25T18:00:00Z", 0), place(b, 50, 10)
	curve := sky.StarAltitude(radec[frame.ICRS](10, 20), p, sky.StandardAir(0))
	for b.Loop() {
		_, _ = sky.Cross(m, 12*time.Hour, curve, 0)
	}
}
