package facts_test

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// tooLow finds what is said of a target that would stand too low.
var tooLow = regexp.MustCompile(`^the target stands at an altitude of (-?\d+\.\d)°(?:; high enough for floor and horizon from (\S+?)(?: to (\S+))?|, and within a day never high enough for floor and horizon for as long as 2 minutes)$`)

// A target that would stand too low is told with when the same question passes, to the minute, and how long: asked then, before and after, as sure of the
// pose and as unsure, whether the mount counts with air or not. One that never does is told so, one that passes has no such note.
func TestWhenATargetStandsHigher(t *testing.T) {
	open := heron(t)
	walled := *open
	walled.Horizon = []rig.Skyline{{Az: unit.Deg(40), Alt: 0}, {Az: unit.Deg(70), Alt: unit.Deg(35)}, {Az: unit.Deg(130), Alt: unit.Deg(25)}, {Az: unit.Deg(180), Alt: unit.Deg(5)}}
	south := *open
	south.Site.Lat = -south.Site.Lat
	airy := *open
	airy.Mount.Refracts = !airy.Mount.Refracts
	var said, never, highNow int
	for i, r := range []*rig.Rig{open, &walled, &south, &airy} {
		for ra := 10.0; ra < 360; ra += 70 {
			for _, dec := range []float64{-80, -48, -43.8, -30, -16, 0, 32, 64, 80} { // -43.8: culminates under a degree
				star := question.Sky{RA: unit.Deg(ra), Dec: unit.Deg(dec), Frame: question.ICRS}
				ask := func(at time.Time) facts.Outcome {
					in := standing(t, r, rig.DegAxes(0, 30), rig.Axes{}, question.Action{Kind: question.Slew, Sky: &star})
					in.Snapshot.Rig.Pose.Candidates[0].Sigma = rig.DegAxes(0.02, 0.02).Scale(1 + 10*float64(i%2))
					in.Question.At, in.Snapshot.At = at, at
					in.Rehearsed = true // its sample is of the evening
					return facts.Compute(in)
				}
				high := func(at time.Time) bool { return number(t, ask(at).Facts, "above_horizon_deg") >= 0 }
				at := fmt.Sprintf("rig %d, %g°, %g°", i, ra, dec)
				out := ask(evening)
				note := slices.IndexFunc(out.Notes, tooLow.MatchString)
				if high(evening) {
					highNow++
					assert.Negative(t, note, "%s stands high enough: %q", at, out.Notes)
					continue
				}
				require.GreaterOrEqual(t, note, 0, "%s stands too low: %q", at, out.Notes)
				told := tooLow.FindStringSubmatch(out.Notes[note])
				from, until := evening.Add(24*time.Hour), evening.Add(24*time.Hour)
				if told[2] != "" {
					said++
					var err error
					from, err = time.Parse(time.RFC3339, told[2])
					require.NoError(t, err)
					assert.True(t, high(from), "%s: %s", at, told[0])
					assert.False(t, high(from.Add(-3*time.Minute)), "%s: %s", at, told[0])
				} else {
					never++
				}
				if told[3] != "" {
					var err error
					until, err = time.Parse(time.RFC3339, told[3])
					require.NoError(t, err)
					assert.True(t, high(until), "%s: %s", at, told[0])
					assert.False(t, high(until.Add(3*time.Minute)), "%s: %s", at, told[0])
				}
				for when := evening; when.Before(until); when = when.Add(37 * time.Minute) {
					assert.Equal(t, !when.Before(from), high(when), "%s at %s: %s", at, when, told[0])
				}
			}
		}
	}
	assert.Greater(t, said, 20)
	assert.Greater(t, never, 10)
	assert.Greater(t, highNow, 20)
}

// Nothing is said of it to what names no target, and none where a limit is missing.
func TestNoTargetIsTooLow(t *testing.T) {
	for _, a := range []question.Action{{Kind: question.Slew, Axes: ptr(rig.DegAxes(0, -60))}, {Kind: question.Track, Follow: time.Hour}} {
		out := facts.Compute(standing(t, heron(t), rig.DegAxes(0, -100), rig.Axes{}, a))
		assert.False(t, slices.ContainsFunc(out.Notes, tooLow.MatchString), "%v: %q", a.Kind, out.Notes)
	}
}

// A way past the Sun is told with when the Sun is down for it: asked then it is out of the way, asked three minutes earlier it is not. Where it does not
// set, that is said; where the way keeps off it, or at night, nothing.
func TestWhenTheSunIsDown(t *testing.T) {
	r := heron(t)
	afternoon := evening.Add(-3 * time.Hour) // 16:00 at that place
	m, err := moment(afternoon)
	require.NoError(t, err)
	sun := frame.Vec[frame.Rig](m.SunFrom(place(t, r)))
	at := rig.LiftNear(r.Chain.Solve(r.Kind, sun, rig.West), rig.Axes{})
	asked := func(r *rig.Rig, when time.Time, to rig.Axes) (facts.Outcome, string) {
		in := standing(t, r, rig.DegAxes(0, 30), rig.Axes{}, axesSlew(to))
		in.Snapshot.At, in.Question.At = when, when
		out := facts.Compute(in)
		i := slices.IndexFunc(out.Notes, func(n string) bool { return strings.HasPrefix(n, "the Sun ") })
		if i < 0 {
			return out, ""
		}
		return out, out.Notes[i]
	}
	_, said := asked(r, afternoon, at)
	require.Regexp(t, `^the Sun is down from \d{4}-\d\d-\d\dT\d\d:\d\d:00Z$`, said)
	down, err := time.Parse(time.RFC3339, said[len(said)-20:])
	require.NoError(t, err)
	out, said := asked(r, down, at)
	assert.Equal(t, 180.0, number(t, out.Facts, "sun_separation_deg"), "then it is down")
	assert.Empty(t, said)
	out, _ = asked(r, down.Add(-3*time.Minute), at)
	assert.Less(t, number(t, out.Facts, "sun_separation_deg"), 90.0, "a little before it is not")

	_, said = asked(r, afternoon, rig.DegAxes(10, 40))
	assert.Empty(t, said, "the way keeps off it")

	polar := *r
	polar.Site.Lat = unit.Deg(80)
	midsummer := time.Date(2026, 6, 21, 12, 0, 0, 0, time.UTC)
	m, err = moment(midsummer)
	require.NoError(t, err)
	sun = frame.Vec[frame.Rig](m.SunFrom(place(t, &polar)))
	_, said = asked(&polar, midsummer, rig.LiftNear(r.Chain.Solve(r.Kind, sun, rig.East), rig.Axes{}))
	assert.Equal(t, "the Sun does not set here within a day", said)
}
