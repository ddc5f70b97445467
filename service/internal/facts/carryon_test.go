package facts_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// TestCarryingOnEndsWithWhatEndsTracking: of a rig that tracks, how long carrying on stays clear is as long as the soonest of what a question to go
// on tracking finds, whatever that is, but for what is rough about it.
func TestCarryingOnEndsWithWhatEndsTracking(t *testing.T) {
	ends, shelf, heron := map[string]int{}, reach.NewShelf(), heron(t)
	for n := range 28 {
		r := *heron
		r.Horizon = nil
		limits := defaults()
		limits["sky/horizon above_deg"] = -95 // carrying on has no target of the sky
		switch n % 4 {
		case 0:
			r.Travel.Low.A1, r.Travel.High.A1 = unit.Deg(-120), unit.Deg(120)
		case 1:
			limits["sky/floor altitude_deg"], limits["sun/apart separation_deg"] = -95, 0
			r.Travel.Low.A1, r.Travel.High.A1 = unit.Deg(-400), unit.Deg(400)
		case 2:
			limits["sky/floor altitude_deg"], limits["sun/apart separation_deg"] = -95, 60
			r.Travel.Low.A1, r.Travel.High.A1 = unit.Deg(-400), unit.Deg(400)
		}
		at := rig.DegAxes(-110+7*float64(n), []float64{60, 100, 20, 20, 140, 120, 90}[n%7])
		in := standing(t, &r, at, rig.Axes{}, question.Action{Kind: question.Track, Follow: time.Hour})
		in.Limits, in.Shelf = limits, shelf
		in.Snapshot.Rig.Sample.Doing = question.Tracking
		out := facts.Compute(in)
		require.NotNil(t, out.HarmlessUntil)
		soonest, what := 86400.0, "nothing"
		for _, name := range []string{"margin_in_s", "travel_in_s", "horizon_in_s", "sun_in_s"} {
			if v := number(t, out.Facts, name); v < soonest {
				soonest, what = v, name
			}
		}
		ends[what]++
		got := out.HarmlessUntil.Sub(in.Snapshot.At).Seconds()
		assert.LessOrEqual(t, got, soonest+1, "from %v: %s", at, what)
		assert.GreaterOrEqual(t, got, soonest*0.99-60, "from %v: %s", at, what)
	}
	for _, what := range []string{"margin_in_s", "travel_in_s", "horizon_in_s", "sun_in_s"} {
		assert.Positive(t, ends[what], "%s is the first of some: %v", what, ends)
	}
}

// TestContactGoesByNoMargin: when a course comes into contact is found from where its margins end, and is the same whatever they are.
func TestContactGoesByNoMargin(t *testing.T) {
	heron, found := heron(t), 0
	for n := range 16 {
		r := *heron
		r.Horizon = nil
		r.Travel.Low.A1, r.Travel.High.A1 = unit.Deg(-400), unit.Deg(400)
		at := rig.DegAxes(-110+12*float64(n), []float64{60, 100, 140, 120}[n%4])
		contact := func(part, general float64) (contact, margin float64) {
			limits := defaults()
			limits["sky/horizon above_deg"], limits["sky/floor altitude_deg"], limits["sun/apart separation_deg"] = -95, -95, 0
			limits["clear/path part_mm"], limits["clear/path general_mm"] = part, general
			in := standing(t, &r, at, rig.Axes{}, question.Action{Kind: question.Track, Follow: time.Hour})
			in.Limits = limits
			in.Snapshot.Rig.Sample.Doing = question.Tracking
			f := facts.Compute(in).Facts
			return number(t, f, "contact_in_s"), number(t, f, "margin_in_s")
		}
		want, least := contact(0, 1)
		if want >= 86400 || least <= 0 {
			continue
		}
		if want < least+300 {
			found++
		}
		for _, wide := range []float64{10, 40, 120} {
			got, margin := contact(wide, wide)
			assert.InDelta(t, want, got, 3, "from %v with %.0f mm", at, wide)
			assert.LessOrEqual(t, margin, got, "from %v with %.0f mm", at, wide)
		}
	}
	assert.Greater(t, found, 3, "contact soon after the margin")
}
