package sky_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/unit"
)

// The tables name tool, version and calls in their heads; testdata/reference/sky.py makes them.

func TestSiderealTimeAgreesWithERFA(t *testing.T) {
	miss := worst{name: "Greenwich apparent sidereal time", budget: budget}
	for _, r := range reference(t, "sky_time.csv") {
		got := r.moment(t).SiderealTime(0)
		miss.see(t, (got - unit.Deg(r.number(t, 6))).Wrapped().Abs().Arcsec(), r[0])
	}
	miss.log(t)
}

func TestStarsAgreeWithERFA(t *testing.T) {
	apparent := worst{name: "apparent place of a star", budget: budget}
	back := worst{name: "ICRS place of an apparent star", budget: budget}
	horizon := worst{name: "star over the ground", budget: budget}
	for _, r := range reference(t, "sky_star.csv") {
		m, p := r.moment(t), r.place(t)
		star, date := radec[frame.ICRS](r.number(t, 4), r.number(t, 5)), radec[frame.Date](r.number(t, 6), r.number(t, 7))
		if star.Angle(m.ICRS(m.Sun())) < unit.Deg(0.3) {
			continue // at the disc each tool has its own limit for the bending of light
		}
		apparent.see(t, m.Apparent(star).Angle(date).Arcsec(), r.String())
		back.see(t, m.ICRS(date).Angle(star).Arcsec(), r.String())
		over := azalt(r.number(t, 8), r.number(t, 9))
		horizon.see(t, m.Horizon(m.Apparent(star), p).Angle(over).Arcsec(), r.String())
		horizon.see(t, m.ICRS(m.FromHorizon(over, p)).Angle(star).Arcsec(), r.String())
	}
	apparent.log(t)
	back.log(t)
	horizon.log(t)
}

func TestSunAgreesWithERFA(t *testing.T) {
	apparent := worst{name: "apparent place of the Sun", budget: budget}
	horizon := worst{name: "Sun over the ground", budget: budget}
	for _, r := range reference(t, "sky_sun.csv") {
		m := r.moment(t)
		apparent.see(t, m.Sun().Angle(radec[frame.Date](r.number(t, 4), r.number(t, 5))).Arcsec(), r.String())
		horizon.see(t, m.SunFrom(r.place(t)).Angle(azalt(r.number(t, 7), r.number(t, 8))).Arcsec(), r.String())
		assert.InDelta(t, r.number(t, 6), m.SunDistance(), 1e-5, "distance, au, at %s", r)
	}
	apparent.log(t)
	horizon.log(t)
}

// A crossing may miss by what the altitude may miss: 1″ over its rate there, and a millisecond.
func TestCrossingsAgreeWithERFA(t *testing.T) {
	miss := worst{name: "altitude at the reference's crossing", budget: budget}
	late := 0.0
	for _, r := range reference(t, "sky_crossing.csv") {
		m, p := r.moment(t), r.place(t)
		curve := sky.SunAltitude(p, sky.Air{})
		if r[4] != "sun" {
			var ra, dec float64
			_, err := fmt.Sscan(r[4], &ra, &dec)
			require.NoError(t, err)
			curve = sky.StarAltitude(radec[frame.ICRS](ra, dec), p, sky.Air{})
		}
		limit := unit.Deg(r.number(t, 5))
		got, err := sky.Cross(m, time.Duration(r.number(t, 6))*time.Hour, curve, limit)
		require.NoError(t, err)
		assert.Equal(t, r[7] == "above", got.Above, "at the start of %s", r)
		want := strings.FieldsFunc(r[8], func(c rune) bool { return c == ';' })
		if !assert.Len(t, got.Crossings, len(want), "%s", r) {
			continue
		}
		for n, text := range want {
			var seconds, rate float64
			var direction string
			_, err := fmt.Sscan(text, &seconds, &direction, &rate)
			require.NoError(t, err)
			c := got.Crossings[n]
			assert.Equal(t, direction == "up", c.Rising, "%s", r)
			off := c.At.Sub(m.Instant()).Seconds() - seconds
			late = max(late, off, -off)
			miss.see(t, max(off*rate, -off*rate), r.String())
		}
	}
	miss.log(t)
	t.Logf("crossings: worst %.3f s", late)
}

// Source of the budgets: the design, section 8. The service knows no height: pressure stands for it.
func TestRefractionAgreesWithRays(t *testing.T) {
	high := worst{name: "refraction to zenith distance 75°", budget: 10}
	low := worst{name: "refraction to zenith distance 85°", budget: 30}
	lowest := worst{name: "refraction to the horizon", budget: 300}
	for _, r := range reference(t, "sky_refraction.csv") {
		a := air(t, sky.Weather{PressureHPa: r.number(t, 0), TemperatureC: r.number(t, 1), Humidity: r.number(t, 2), WavelengthUM: r.number(t, 3)})
		observed, want := unit.Deg(r.number(t, 5)), unit.Arcsec(r.number(t, 6))
		off := max((a.Refraction(observed) - want).Abs(), (a.Observed(observed-want) - observed).Abs()).Arcsec()
		switch {
		case observed >= unit.Deg(15):
			high.see(t, off, r.String())
		case observed >= unit.Deg(5):
			low.see(t, off, r.String())
		default:
			lowest.see(t, off, r.String())
		}
	}
	high.log(t)
	low.log(t)
	lowest.log(t)
}
