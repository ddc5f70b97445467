package facts_test

import (
	"math"
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

// What the plays of slow_test.go found, each held by itself.

// Tracking that waits for a begin, or is asked of a moving rig, may start as far off as any motion: half a degree, v²/2a.
func TestTrackingMayBeginAstray(t *testing.T) {
	r := heron(t)
	track := question.Action{Kind: question.Track, Follow: time.Hour}
	in := standing(t, r, rig.DegAxes(20, 50), rig.Axes{}, track)
	plain := number(t, facts.Compute(in).Facts, "travel_in_s")
	in.Question.BeginLater = true
	later := number(t, facts.Compute(in).Facts, "travel_in_s")
	assert.InDelta(t, 0.5/question.SiderealRate.Deg(), plain-later, 5, "the start may be half a degree on")
	in = standing(t, r, rig.DegAxes(20, 50), rig.Axes{}, track)
	in.Snapshot.Rig.Sample.Doing = question.Moving
	moving := number(t, facts.Compute(in).Facts, "travel_in_s")
	assert.Greater(t, plain-moving, 2/question.SiderealRate.Deg(), "it runs on by 4² / (2·4) = 2°")
}

// A mount that flips by itself does so by the hour angle that it believes, whatever its clock: a belief that is 2° on flips 8 min sooner.
func TestOwnFlipGoesByBelief(t *testing.T) {
	r := example(t, "curlew.yaml")
	flip := func(off, sigma rig.Axes) float64 {
		in := standing(t, r, rig.DegAxes(60, -80), off, question.Action{Kind: question.Track, Follow: time.Hour})
		in.Snapshot.Rig.Pose.Candidates[0].Sigma = sigma
		return number(t, facts.Compute(in).Facts, "flip_in_s")
	}
	sharp := rig.DegAxes(0.02, 0.02)
	right := flip(rig.Axes{}, sharp)
	assert.InDelta(t, 2/question.SiderealRate.Deg(), right-flip(rig.DegAxes(2, 0), sharp), 5)
	assert.InDelta(t, 0, right-flip(rig.DegAxes(-2, 0), sharp), 5, "one that believes itself behind may still go by its counters")
	assert.InDelta(t, 3*0.48/question.SiderealRate.Deg(), right-flip(rig.Axes{}, rig.DegAxes(0.5, 0.5)), 5, "and the pose may be on by three sigma")
}

// From near half a turn a mount that takes the shorter way may take either.
func TestHalfATurnGoesEitherWay(t *testing.T) {
	r := heron(t, "way_round: within travel", "way_round: shortest")
	for _, short := range []float64{0.3, -0.3, 2} {
		target := rig.DegAxes(0, 90)
		m, err := moment(evening)
		require.NoError(t, err)
		lst := m.SiderealTime(r.Site.Lon)
		ra, dec, side := r.Unmap(rig.MountSky{Sidereal: lst, Lat: r.Site.Lat}, target)
		a := question.Action{Kind: question.Slew, Sky: &question.Sky{RA: ra, Dec: dec, Frame: question.OfDate}, Side: side}
		out := facts.Compute(standing(t, r, rig.DegAxes(0, -90+short), rig.Axes{}, a))
		least, most := math.Inf(1), math.Inf(-1)
		for _, e := range out.Ends {
			if e.Side == side {
				least, most = math.Min(least, e.Axes.A2.Deg()), math.Max(most, e.Axes.A2.Deg())
			}
		}
		if short == 2 {
			assert.Less(t, most-least, 1.0, "2° from it one way is the shorter")
			continue
		}
		assert.InDelta(t, 360, most-least, 1, "%v° from half a turn", short)
	}
}

// A mount that changes side by a pose of its own goes by the side that it believes in: from a place where it may be by mistake on the
// other, by that of the likeliest place too.
func TestChangeOfSideByTheLikeliestPlace(t *testing.T) {
	r := *heron(t)
	r.Motion.FlipVia, r.Mount.SideSensed = []rig.Axes{rig.DegAxes(0, -120)}, false
	in := standing(t, &r, rig.DegAxes(10, 40), rig.Axes{}, axesSlew(rig.DegAxes(10, 60)))
	in.Snapshot.Rig.Pose.State = question.Candidates
	in.Snapshot.Rig.Pose.Candidates = append(in.Snapshot.Rig.Pose.Candidates, question.Candidate{Axes: rig.DegAxes(10, -40), Sigma: rig.DegAxes(0.02, 0.02)})
	ways := 0
	for _, e := range facts.Compute(in).Ends {
		if e.From == 1 && e.Axes.Sub(rig.DegAxes(10, 60)).Abs().Max() < unit.Arcsecond {
			ways++
		}
	}
	assert.Equal(t, 2, ways, "from the other place both the way by the pose of a change and the direct one count")
}

// An alt-azimuth that starts elsewhere than it is taken to follows another curve: near the zenith a small difference becomes a large one,
// and what it comes to cannot be told as long.
func TestAltAzimuthCoursesFromAVagueStart(t *testing.T) {
	r := *example(t, "bittern.yaml")
	r.Travel.High.A2 = unit.Deg(180)
	at := r.Chain.Solve(r.Kind, turnedBack(r.Pole(), 3600, frame.Horizon[frame.Rig](unit.Deg(180), unit.Deg(87))), rig.First) // in an hour 3° from the zenith
	known := func(sigma float64) float64 {
		in := standing(t, &r, at, rig.Axes{}, question.Action{Kind: question.Track, Follow: time.Hour})
		in.Snapshot.Rig.Pose.Candidates[0].Sigma = rig.DegAxes(sigma, sigma)
		f := facts.Compute(in).Facts["zenith_in_s"]
		if f.Number == nil {
			return 86400
		}
		return *f.Number
	}
	assert.Equal(t, 86400.0, known(0.01), "known well it is followed")
	assert.Less(t, known(1), 3600.0, "3° off it may be anywhere there")
}

// turnedBack is where a direction of the sky stood some seconds before.
func turnedBack(pole frame.Vec[frame.Rig], seconds float64, v frame.Vec[frame.Rig]) frame.Vec[frame.Rig] {
	return frame.About(pole, unit.Angle(seconds)*question.SiderealRate).Apply(v)
}

// An alt-azimuth goes by its own latitude, even where its belief agrees with the pose.
func TestAltAzimuthGoesByItsOwnLatitude(t *testing.T) {
	r := example(t, "bittern.yaml")
	at := rig.DegAxes(150, 70)
	ends := func(lat unit.Angle) float64 {
		in := standing(t, r, at, rig.Axes{}, question.Action{Kind: question.Track, Follow: time.Hour})
		s := *in.Snapshot.Rig.Sample
		air := r.Air()
		ra, dec, side := r.Unmap(rig.MountSky{Sidereal: *s.Sidereal, Lat: lat, Lift: air.Observed, Sink: air.True}, at)
		s.Belief = &question.Belief{Sky: question.Sky{RA: ra, Dec: dec, Frame: question.OfDate}, Side: side}
		s.Site = &question.Place{Lat: lat, Lon: r.Site.Lon}
		in.Snapshot.Rig.Sample, in.Snapshot.Rig.Site = &s, s.Site
		f := facts.Compute(in).Facts
		require.Less(t, number(t, f, "belief_error_sky_deg"), 0.01)
		return number(t, f, "travel_in_s")
	}
	assert.Greater(t, math.Abs(ends(r.Site.Lat)-ends(r.Site.Lat+unit.Deg(2)))+math.Abs(ends(r.Site.Lat)-ends(r.Site.Lat-unit.Deg(2))), 60.0)
}

// The Sun goes on while leave waits to be used.
func TestSunMovesWhileLeaveWaits(t *testing.T) {
	r := heron(t)
	noon := time.Date(2026, 11, 14, 11, 0, 0, 0, time.UTC)
	apart := func(wait float64) float64 {
		in := standing(t, r, rig.DegAxes(0, 30), rig.Axes{}, axesSlew(rig.DegAxes(10, 100)))
		in.Snapshot.At, in.Question.At = noon, noon
		in.Limits = with(defaults(), "permit start_within_s", wait)
		return number(t, facts.Compute(in).Facts, "sun_separation_deg")
	}
	assert.InDelta(t, 10*question.SiderealRate.Deg(), apart(0)-apart(10), 1e-3)
}

// with is a table with one limit changed.
func with(l limitTable, name string, v float64) limitTable {
	l[name] = v
	return l
}

// Homing by belief from a place half a turn from where it counts itself to be goes the whole way that it believes in.
func TestHomingByBeliefFromHalfATurnAway(t *testing.T) {
	r := *example(t, "bittern.yaml")
	r.Homing.By, r.Mount.Sync = rig.ByBelief, rig.KeptOnAxes
	off := rig.DegAxes(8, 0)
	in := standing(t, &r, rig.DegAxes(160, 73), off, question.Action{Kind: question.Home})
	in.Snapshot.Rig.Pose.State = question.Candidates
	in.Snapshot.Rig.Pose.Candidates = append(in.Snapshot.Rig.Pose.Candidates, question.Candidate{Axes: rig.DegAxes(-20, 107), Sigma: rig.DegAxes(0.02, 0.02)})
	assert.LessOrEqual(t, number(t, facts.Compute(in).Facts, "axis1_travel_min_deg"), -20.0-168, "its counters say 168°, so it turns by as much")
}

// While leave waits, an alt-azimuth that believes itself near the zenith turns as fast as it would have to there.
func TestDriftsByWhereItBelievesItself(t *testing.T) {
	r := example(t, "bittern.yaml")
	reach := func(off rig.Axes) float64 {
		in := standing(t, r, rig.DegAxes(186, 82), off, axesSlew(rig.DegAxes(200, 40)))
		in.Snapshot.Rig.Sample.Doing = question.Tracking
		return number(t, facts.Compute(in).Facts, "axis1_travel_max_deg")
	}
	assert.Greater(t, reach(rig.DegAxes(0, 6.5)), reach(rig.Axes{})+0.2)
}

// The closest approach while an alt-azimuth tracks is that of its curve, not of the chord across it.
func TestClosestFollowsTheCurve(t *testing.T) {
	r := example(t, "bittern.yaml")
	var near []float64
	for _, follow := range []time.Duration{3 * time.Hour, 6 * time.Hour} {
		out := facts.Compute(standing(t, r, rig.DegAxes(100, 40), rig.Axes{}, question.Action{Kind: question.Track, Follow: follow}))
		require.NotNil(t, out.Closest)
		near = append(near, out.Closest.LowerMM-out.Closest.RequiredMM)
	}
	assert.LessOrEqual(t, near[1], near[0]+1, "more of the same course comes no less near")
}

// Where a mount takes the side that is asked for and the one asked for leads out of travel, below the floor or to too short a track, the
// other is proposed; not where nothing fails, nor by a mount that chooses for itself.
func TestOtherSideWhereTravelOrFloorOrTrackingFails(t *testing.T) {
	r := *heron(t, "axis1_deg: [-97.5, 97.5]", "axis1_deg: [-86, 86]")
	r.Mount.Chooses = rig.AskerChooses
	m, err := moment(evening)
	require.NoError(t, err)
	lst := m.SiderealTime(r.Site.Lon)
	ask := func(a question.Action) facts.Outcome {
		return facts.Compute(standing(t, &r, rig.DegAxes(0, 30), rig.Axes{}, a))
	}
	slew := func(hour, dec float64, side rig.Side, follow time.Duration) question.Action {
		star := question.Sky{RA: (lst - unit.Deg(hour)).Positive(), Dec: unit.Deg(dec), Frame: question.OfDate}
		return question.Action{Kind: question.Slew, Sky: &star, Side: side, Follow: follow}
	}
	for what, a := range map[string]question.Action{
		"beyond travel":        slew(6, 50, rig.West, 0),  // axis 1 at 96°
		"beyond travel before": slew(-6, 50, rig.East, 0), // axis 1 at -96°
		"no side named":        slew(6, 50, "", 0),
	} {
		out := ask(a)
		require.GreaterOrEqual(t, number(t, out.Facts, "clearance_spare_mm"), 0.0, "%s: what fails is not the clearance", what)
		passes := false
		for _, series := range out.Instead {
			p := series.Steps[len(series.Steps)-1]
			if p.Kind != question.Slew || p.Sky == nil || p.Side == "" || p.Side == a.Side || p.Follow != a.Follow {
				continue
			}
			f := ask(p).Facts
			inTravel := number(t, f, "axis1_travel_max_deg") < 86 && number(t, f, "axis1_travel_min_deg") > -86
			passes = passes || inTravel && number(t, f, "clearance_spare_mm") >= 0
		}
		assert.True(t, passes, "%s: %v", what, out.Instead)
	}
	assert.Empty(t, ask(slew(20, 50, rig.East, 0)).Instead, "nothing fails")
	r.Travel.Low.A1, r.Travel.High.A1 = unit.Deg(-97.5), unit.Deg(97.5)
	short := ask(slew(5, 50, rig.West, 2*time.Hour)) // axis 1 from 95° on; on the other side from -85° on
	assert.Less(t, number(t, short.Facts, "track_spare_s"), 0.0)
	assert.Equal(t, rig.East, short.Instead[len(short.Instead)-1].Steps[0].Side, "behind the shorter track")
	r.Travel.Low.A1, r.Travel.High.A1 = unit.Deg(-86), unit.Deg(86)
	assert.Empty(t, ask(question.Action{Kind: question.Slew, Axes: ptr(rig.DegAxes(20, 181))}).Instead, "axes have no side")
	r.Mount.Chooses = rig.AnySide
	for _, series := range ask(slew(6, 50, rig.West, 0)).Instead {
		assert.Len(t, series.Steps, 2, "it takes no side that is asked for, so that only a way round is left")
	}
}

// A rig at rest that nothing threatens stays clear for the whole day that is looked ahead, whether or not anybody bounds the clock.
func TestAtRestIsHarmlessForADay(t *testing.T) {
	r := heron(t)
	in := standing(t, r, r.Home, rig.Axes{}, axesSlew(rig.DegAxes(10, 10)))
	for _, clock := range []question.Clock{in.Snapshot.Clock, {}} {
		in.Snapshot.Clock = clock
		until := facts.Compute(in).HarmlessUntil
		require.NotNil(t, until)
		assert.Equal(t, 24*time.Hour, until.Sub(in.Snapshot.At))
	}
}

// TestWhoAsksForNoProposalsGetsNone, and the same facts, wherever the way leads.
func TestWhoAsksForNoProposalsGetsNone(t *testing.T) {
	r, some := heron(t), false
	for _, to := range []rig.Axes{rig.DegAxes(120, 5), rig.DegAxes(-95, -90), rig.DegAxes(85, -30), rig.DegAxes(20, 181), rig.DegAxes(-30, 60)} {
		in := standing(t, r, rig.DegAxes(-60, 70), rig.Axes{}, axesSlew(to))
		with := facts.Compute(in)
		in.Proposes = false
		without := facts.Compute(in)
		assert.Empty(t, without.Instead, "to %v", to)
		assert.Equal(t, with.Facts, without.Facts, "to %v", to)
		some = some || len(with.Instead) > 0
	}
	assert.True(t, some, "one of them has proposals")
}
