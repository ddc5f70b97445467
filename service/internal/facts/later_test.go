package facts_test

import (
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
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/unit"
)

// tooLow finds what is said of a target that stands too low.
var tooLow = regexp.MustCompile(`^the target stands at an altitude of (-?\d+\.\d)° now(?:; high enough for floor and horizon from (\S+?)(?: to (\S+))?|, and never high enough for floor and horizon: not from this site)$`)

// A target that stands too low is told with when it next stands high enough, to the minute, and how long: looked for minute by minute beside it. One that
// never does is told so, one that does now has no such note.
func TestWhenATargetStandsHigher(t *testing.T) {
	open := heron(t)
	walled := *open
	walled.Horizon = []rig.Skyline{{Az: unit.Deg(40), Alt: 0}, {Az: unit.Deg(70), Alt: unit.Deg(35)}, {Az: unit.Deg(130), Alt: unit.Deg(25)}, {Az: unit.Deg(180), Alt: unit.Deg(5)}}
	south := *open
	south.Site.Lat = -south.Site.Lat
	var said, never, highNow int
	for _, r := range []*rig.Rig{open, &walled, &south} {
		p, err := sky.NewPlace(r.Site.Lat, r.Site.Lon)
		require.NoError(t, err)
		for ra := 10.0; ra < 360; ra += 70 {
			for dec := -80.0; dec <= 80; dec += 32 {
				star := question.Sky{RA: unit.Deg(ra), Dec: unit.Deg(dec), Frame: question.ICRS}
				high := func(at time.Time) bool {
					m, err := moment(at)
					require.NoError(t, err)
					seen := m.Horizon(m.Apparent(frame.FromLonLat[frame.ICRS](star.RA, star.Dec)), p)
					alt := r.Air().Observed(frame.Altitude(seen))
					az, _ := frame.AzAlt(seen)
					return alt >= unit.Deg(-3) && alt >= r.SkylineAt(az)
				}
				out := facts.Compute(standing(t, r, rig.DegAxes(0, 30), rig.Axes{}, question.Action{Kind: question.Slew, Sky: &star}))
				i := slices.IndexFunc(out.Notes, tooLow.MatchString)
				if high(evening) {
					highNow++
					assert.Negative(t, i, "%v°, %v° stands high enough: %q", ra, dec, out.Notes)
					continue
				}
				require.GreaterOrEqual(t, i, 0, "%v°, %v° stands too low: %q", ra, dec, out.Notes)
				told := tooLow.FindStringSubmatch(out.Notes[i])
				if told[2] == "" {
					never++
					for at := evening; at.Before(evening.Add(24 * time.Hour)); at = at.Add(time.Minute) {
						require.False(t, high(at), "%v°, %v° at %s: %s", ra, dec, at, told[0])
					}
					continue
				}
				said++
				from, err := time.Parse(time.RFC3339, told[2][:len(told[2])-1]+":00Z")
				require.NoError(t, err)
				for at := evening; at.Before(from); at = at.Add(time.Minute) {
					require.False(t, high(at), "%v°, %v° at %s: %s", ra, dec, at, told[0])
				}
				until := from.Add(8 * time.Hour) // the end is not told: it stays up for the rest of the day looked at
				if told[3] != "" {
					until, err = time.Parse(time.RFC3339, told[3][:len(told[3])-1]+":00Z")
					require.NoError(t, err)
					assert.False(t, high(until.Add(time.Minute)), "%v°, %v° at %s: %s", ra, dec, until.Add(time.Minute), told[0])
				}
				for at := from; !at.After(until); at = at.Add(time.Minute) {
					require.True(t, high(at), "%v°, %v° at %s: %s", ra, dec, at, told[0])
				}
			}
		}
	}
	assert.Greater(t, said, 10)
	assert.Greater(t, never, 5)
	assert.Greater(t, highNow, 10)
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
	require.Regexp(t, `^the Sun is down from \d{4}-\d\d-\d\dT\d\d:\d\dZ$`, said)
	down, err := time.Parse("2006-01-02T15:04Z", said[len(said)-17:])
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
