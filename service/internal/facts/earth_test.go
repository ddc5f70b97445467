package facts_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/timescale"
	"keepclear.example/keepclear/service/internal/unit"
)

// stated is the sky by a UT1 that somebody stated: no other than UTC, and exact for the day.
func stated(t time.Time) (*sky.Moment, error) {
	i, err := timescale.New(t, timescale.BuiltIn())
	if err != nil {
		return nil, err
	}
	u, err := timescale.StatedUT1(0, 0, i)
	return sky.At(i, u), err
}

// Faults, row 16: a UT1 that nobody stated is 0.9 s, or 13.54″ of sky, of uncertainty: the Sun counts as so much nearer, the end of a slew
// to the sky as so much wider, and neither is held against the rig as proven. Source of the figure: ITU-R TF.460-6.
func TestUnknownUT1IsUncertainty(t *testing.T) {
	const ut1 = 13.54 / 3600 // degrees
	noon := time.Date(2026, 11, 14, 11, 0, 0, 0, time.UTC)
	r := heron(t)
	judge := func(a question.Action, moment func(time.Time) (*sky.Moment, error)) facts.Set {
		in := standing(t, r, rig.DegAxes(0, 30), rig.Axes{}, a)
		in.Moment, in.Snapshot.At, in.Question.At = moment, noon, noon
		return facts.Compute(in).Facts
	}
	m, err := moment(noon)
	require.NoError(t, err)
	star := question.Sky{RA: (m.SiderealTime(r.Site.Lon) + unit.Deg(20)).Positive(), Dec: unit.Deg(60), Frame: question.OfDate} // 20° east of the meridian
	for name, a := range map[string]question.Action{"by axes": axesSlew(rig.DegAxes(10, 40)), "to the sky": {Kind: question.Slew, Sky: &star}} {
		with, without := judge(a, stated), judge(a, moment)
		assert.InDelta(t, 0, number(t, with, "ut1_bound_s"), 1e-9, name)
		assert.InDelta(t, 0.9, number(t, without, "ut1_bound_s"), 1e-9, name)
		assert.Equal(t, []string{"UT1 was not stated: UTC stands for it"}, without["ut1_bound_s"].About, name)
		nearer := number(t, with, "sun_separation_deg") - number(t, without, "sun_separation_deg")
		wider := number(t, without, "axis1_travel_max_deg") - number(t, with, "axis1_travel_max_deg")
		if a.Sky == nil {
			assert.InDelta(t, ut1, nearer, 1e-6, name)
			assert.InDelta(t, 0, wider, 1e-9, "%s: axes need no time", name)
		} else {
			assert.GreaterOrEqual(t, nearer, ut1-1e-6, name)
			assert.InDelta(t, ut1, wider+number(t, with, "axis1_travel_min_deg")-number(t, without, "axis1_travel_min_deg"), ut1+1e-6, name)
			assert.Positive(t, wider+number(t, with, "axis1_travel_min_deg")-number(t, without, "axis1_travel_min_deg"), name)
		}
		for _, sharp := range []string{"sun_separation_sharp_deg", "axis1_sharp_max_deg", "axis1_sharp_min_deg", "clearance_sharp_spare_mm"} {
			assert.InDelta(t, number(t, with, sharp), number(t, without, sharp), 1e-9, "%s: %s", name, sharp)
		}
		assert.LessOrEqual(t, number(t, without, "clearance_spare_mm"), number(t, with, "clearance_spare_mm"), name)
	}
}

// Faults, row 16: a Sun that may have risen counts as up, 0.9 s of turning sooner.
func TestSunMayBeUpSoonerThanUT1Says(t *testing.T) {
	r := heron(t)
	day := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)
	r.Site.Lon = unit.Deg(105) // so that the Sun rises there about midnight UTC
	spare := func(at time.Time, moment func(time.Time) (*sky.Moment, error)) float64 {
		in := standing(t, r, rig.DegAxes(0, 30), rig.Axes{}, axesSlew(rig.DegAxes(1, 31)))
		in.Moment, in.Snapshot.At, in.Question.At = moment, at, at
		return number(t, facts.Compute(in).Facts, "sun_separation_deg")
	}
	rise := func(moment func(time.Time) (*sky.Moment, error)) time.Time {
		low, high := day, day.Add(4*time.Hour)
		require.InDelta(t, 180, spare(low, moment), 0, "the Sun is down")
		require.Less(t, spare(high, moment), 180.0, "and up")
		for high.Sub(low) > 10*time.Millisecond {
			if mid := low.Add(high.Sub(low) / 2); spare(mid, moment) < 180 {
				high = mid
			} else {
				low = mid
			}
		}
		return high
	}
	by := rise(stated).Sub(rise(moment)).Seconds()
	assert.Greater(t, by, 0.9, "the Sun climbs more slowly than the sky turns")
	assert.Less(t, by, 3.0)
}
