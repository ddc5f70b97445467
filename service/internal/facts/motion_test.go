package facts_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

func axesSlew(to rig.Axes) question.Action { return question.Action{Kind: question.Slew, Axes: &to} }

// A slew by axes: travel is that of its two ends with the spread, and the motion time is the trapezoid's (Lynch & Park, Modern
// Robotics 2017, section 9.2.2.2: 90° at 4°/s, 4°/s² take 90/4 + 4/4 = 23.5 s).
func TestTravelAndTimeOfASlewByAxes(t *testing.T) {
	r := heron(t)
	out := facts.Compute(standing(t, r, rig.DegAxes(0, 0), rig.Axes{}, axesSlew(rig.DegAxes(30, 90))))
	assert.InDelta(t, 23.5, number(t, out.Facts, "motion_s"), 1e-9)
	assert.InDelta(t, 30.06, number(t, out.Facts, "axis1_travel_max_deg"), 1e-9)
	assert.InDelta(t, -0.06, number(t, out.Facts, "axis1_travel_min_deg"), 1e-9)
	assert.InDelta(t, 30, number(t, out.Facts, "axis1_sharp_max_deg"), 1e-9)
	assert.InDelta(t, 90.06, number(t, out.Facts, "axis2_travel_max_deg"), 1e-9)
	assert.Equal(t, 0.0, number(t, out.Facts, "end_spread_deg"))
}

// With the belief off by so much, a mount that keeps syncs on its counters ends off by as much: p + (t - b).
func TestBeliefMovesTheEnd(t *testing.T) {
	r := heron(t)
	target := question.Sky{RA: unit.Deg(38.20), Dec: unit.Deg(61.45), Frame: question.ICRS}
	action := question.Action{Kind: question.Slew, Sky: &target}
	right := facts.Compute(standing(t, r, rig.DegAxes(0, 30), rig.Axes{}, action))
	require.InDelta(t, 0, number(t, right.Facts, "end_spread_deg"), 1e-6)
	off := facts.Compute(standing(t, r, rig.DegAxes(0, 30), rig.DegAxes(0, 45), action))
	assert.InDelta(t, 45, number(t, off.Facts, "end_spread_deg"), 1e-6)
	assert.InDelta(t, 45, number(t, off.Facts, "belief_error_sky_deg"), 1e-6)
	require.Len(t, off.Ends, 2)
	assert.True(t, off.Ends[0].Intended)
	d := off.Ends[1].Axes.Sub(off.Ends[0].Axes)
	assert.InDelta(t, -45, d.A2.Deg(), 1e-6, "the mount turns by what it believes is missing")
	assert.InDelta(t, off.Ends[0].Axes.A2.Deg(), off.Ends[1].Believed.Axis2Deg, 1e-6, "and believes that it is where it was sent")
}

// The intended end points at the star: through the chain, without refraction, within the star's own accuracy.
func TestIntendedEndPointsAtTheTarget(t *testing.T) {
	r := heron(t)
	p := place(t, r)
	rng := rand.New(rand.NewPCG(11, 12))
	tried := 0
	for range 200 {
		ra, dec := unit.Deg(rng.Float64()*360), unit.Deg(rng.Float64()*140-50)
		star := frame.FromLonLat[frame.ICRS](ra, dec)
		action := question.Action{Kind: question.Slew, Sky: &question.Sky{RA: ra, Dec: dec, Frame: question.ICRS}}
		out := facts.Compute(standing(t, r, rig.DegAxes(0, 30), rig.Axes{}, action))
		require.NotEmpty(t, out.Ends)
		end := out.Ends[0]
		then, err := moment(evening.Add(time.Duration(out.MotionS * float64(time.Second))))
		require.NoError(t, err)
		v := then.Horizon(then.Apparent(star), p)
		if v.Z < 0.1 { // low stars are refused by other rules, and may have no turn within travel
			continue
		}
		tried++
		assert.InDelta(t, 0, r.Chain.Direction(end.Axes).Angle(frame.Vec[frame.Rig](v)).Arcsec(), 2, "ra %v dec %v", ra.Deg(), dec.Deg())
		side := r.Kind.SideOf(end.Axes)
		h, _ := frame.HourDec(then.Hour(then.Apparent(star), r.Site.Lon))
		if h.Abs() > unit.Degree {
			assert.Equal(t, h >= 0, side == rig.East, "a mount that chooses by hour angle puts the tube east from the meridian on")
		}
	}
	assert.Greater(t, tried, 50)
}

// How long tracking keeps its margin, against dense sampling with the distances themselves.
func TestTrackingDeadlineAgainstSampling(t *testing.T) {
	r := heron(t)
	rng := rand.New(rand.NewPCG(21, 22))
	found := 0
	for range 12 {
		pose := rig.DegAxes(rng.Float64()*60-20, rng.Float64()*170-85)
		out := facts.Compute(standing(t, r, pose, rig.Axes{}, question.Action{Kind: question.Track, Follow: time.Hour}))
		margin := number(t, out.Facts, "margin_in_s")
		sampled := sampledMargin(r, pose, dithered(r, pose), 60)
		assert.LessOrEqual(t, margin, sampled+1, "pose %v: never later than the first sample that breaks it", pose)
		if sampled < 86400 {
			found++
			assert.Greater(t, margin, sampled-120, "pose %v: and not needlessly early", pose)
		}
		travel := number(t, out.Facts, "travel_in_s")
		want := (97.5 - dithered(r, pose).A1.Deg() - pose.A1.Deg()) / question.SiderealRate.Deg()
		assert.InDelta(t, math.Max(0, want), travel, 2, "travel runs out at the sidereal rate")
	}
	assert.Greater(t, found, 3, "some poses run into something")
}

// dithered is what a course may stray by: three sigma and the dither box, wider on axis 1 toward its end, three sigma nearer to it.
func dithered(r *rig.Rig, pose rig.Axes) rig.Axes {
	off := r.Chain.Direction(pose).Angle(r.Chain.Dir1).Deg()
	sine := math.Max(0.05, unit.Deg(math.Min(off, 180-off)-0.06).Sin())
	return rig.DegAxes(0.06+0.1/sine, 0.06+0.1)
}

// sampledMargin tracks in steps and returns the first second at which a pair comes nearer than it may, the spread's corners included.
func sampledMargin(r *rig.Rig, pose, spread rig.Axes, step float64) float64 {
	scene := r.Scene(nil, 10, 10)
	for s := 0.0; s <= 86400; s += step {
		at := pose.Add(rig.Axes{A1: unit.Angle(s) * question.SiderealRate})
		for _, c := range [][2]float64{{0, 0}, {1, 1}, {1, -1}, {-1, 1}, {-1, -1}} {
			placed := scene.Place(at.Add(rig.Axes{A1: spread.A1 * unit.Angle(c[0]), A2: spread.A2 * unit.Angle(c[1])}))
			for _, pair := range scene.Pairs {
				if solid.Distance(placed[pair.A], placed[pair.B]).Upper < float64(pair.Required) {
					return s
				}
			}
		}
	}
	return 86400
}

// A way that fails only because the pose is not sharp has a sharp twin that passes: a hold, not a denial.
func TestSharpTwinPassesWhereOnlyUncertaintyFails(t *testing.T) {
	r := heron(t)
	in := standing(t, r, rig.DegAxes(0, 0), rig.Axes{}, axesSlew(rig.DegAxes(97, 40)))
	in.Snapshot.Rig.Pose.Candidates[0].Sigma = rig.DegAxes(1, 1)
	out := facts.Compute(in)
	assert.Greater(t, number(t, out.Facts, "axis1_travel_max_deg"), 97.5)
	assert.Less(t, number(t, out.Facts, "axis1_sharp_max_deg"), 97.5)
	assert.LessOrEqual(t, number(t, out.Facts, "clearance_spare_mm"), number(t, out.Facts, "clearance_sharp_spare_mm")+1e-9)
}

// Eleven reckoned motions after an attested home come to the limit of pose/sharp itself, but for rounding, which is no reason to hold.
func TestSigmaAtItsLimitIsTheLimit(t *testing.T) {
	in := standing(t, heron(t), rig.DegAxes(0, 0), rig.Axes{}, axesSlew(rig.DegAxes(10, 10)))
	in.Snapshot.Rig.Pose.Candidates[0].Sigma = rig.DegAxes(1.2000002, 1.20001)
	out := facts.Compute(in)
	assert.Equal(t, 1.2, number(t, out.Facts, "pose_sigma_axis1_deg"))
	assert.Greater(t, number(t, out.Facts, "pose_sigma_axis2_deg"), 1.2)
}

// Nothing known: every fact that a motion needs is missing, with a reason and a need, and none is a number.
func TestUnknownPoseLeavesNoNumbers(t *testing.T) {
	r := heron(t)
	in := standing(t, r, rig.DegAxes(0, 0), rig.Axes{}, axesSlew(rig.DegAxes(10, 10)))
	in.Snapshot.Rig.Pose = question.Pose{State: question.Unknown, Because: "a clutch was opened"}
	out := facts.Compute(in)
	for _, name := range []string{"clearance_spare_mm", "axis1_travel_max_deg", "altitude_min_deg", "sun_separation_deg", "pose_sigma_axis1_deg", "end_spread_deg", "unstopped_spare_s"} {
		f, ok := out.Facts[name]
		require.True(t, ok, name)
		assert.Nil(t, f.Number, name)
		assert.Contains(t, f.Missing, "clutch", name)
		assert.NotEmpty(t, f.Need, name)
	}
}

// Outside the years of the sky everything that needs it is missing, and names the clock.
func TestClockOutsideTheSky(t *testing.T) {
	r := heron(t)
	for _, year := range []int{1970, 2106} {
		in := standing(t, r, rig.DegAxes(0, 0), rig.Axes{}, axesSlew(rig.DegAxes(10, 10)))
		in.Snapshot.At = time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC)
		out := facts.Compute(in)
		f := out.Facts["clearance_spare_mm"]
		assert.Nil(t, f.Number)
		assert.Equal(t, "clock", f.Need)
	}
}

// The Sun: down at night it is far away; at noon a slew past it comes as near as the path does.
func TestSunSeparation(t *testing.T) {
	r := heron(t)
	night := facts.Compute(standing(t, r, rig.DegAxes(0, 30), rig.Axes{}, axesSlew(rig.DegAxes(10, 40))))
	assert.Equal(t, 180.0, number(t, night.Facts, "sun_separation_deg"))

	noon := time.Date(2026, 11, 14, 11, 0, 0, 0, time.UTC)
	in := standing(t, r, rig.DegAxes(0, 30), rig.Axes{}, axesSlew(rig.DegAxes(10, 40)))
	in.Snapshot.At, in.Question.At = noon, noon
	m, err := moment(noon)
	require.NoError(t, err)
	sun := frame.Vec[frame.Rig](m.SunFrom(place(t, r)))
	at := rig.LiftNear(r.Chain.Solve(r.Kind, sun, rig.East), rig.Axes{})
	in.Question.Action = axesSlew(at)
	out := facts.Compute(in)
	assert.Less(t, number(t, out.Facts, "sun_separation_deg"), 0.5)
	assert.Greater(t, number(t, out.Facts, "sun_altitude_deg"), 10.0)
}

// Random questions never make a fact that is no finite number, nor a panic.
func TestRandomQuestionsGiveWellFormedFacts(t *testing.T) {
	r := heron(t)
	rng := rand.New(rand.NewPCG(31, 32))
	for range 150 {
		pose := rig.DegAxes(rng.Float64()*190-95, rng.Float64()*340-170)
		in := standing(t, r, pose, rig.DegAxes(rng.NormFloat64(), rng.NormFloat64()), randomAction(rng))
		if rng.IntN(3) == 0 {
			in.Snapshot.Rig.Sample.Belief = nil
		}
		if rng.IntN(4) == 0 {
			in.Snapshot.Rig.Pose.Candidates = append(in.Snapshot.Rig.Pose.Candidates, question.Candidate{Axes: pose.Add(rig.DegAxes(20, -30)), Sigma: rig.DegAxes(1, 1)})
			in.Snapshot.Rig.Pose.State = question.Candidates
		}
		out := facts.Compute(in)
		for name, f := range out.Facts {
			set := 0
			if f.Number != nil {
				set++
				assert.False(t, math.IsNaN(*f.Number) || math.IsInf(*f.Number, 0), name)
			}
			if f.Word != nil {
				set++
			}
			if f.Truth != nil {
				set++
			}
			if f.Missing != "" {
				set++
			}
			assert.Equal(t, 1, set, "%s has exactly one of number, word, truth, reason", name)
		}
	}
}

func randomAction(rng *rand.Rand) question.Action {
	to := rig.DegAxes(rng.Float64()*200-100, rng.Float64()*360-180)
	star := question.Sky{RA: unit.Deg(rng.Float64() * 360), Dec: unit.Deg(rng.Float64()*180 - 90), Frame: question.ICRS}
	follow := time.Duration(rng.IntN(4)) * time.Hour
	switch rng.IntN(6) {
	case 0:
		return question.Action{Kind: question.Slew, Axes: &to}
	case 1:
		return question.Action{Kind: question.Slew, Sky: &star, Follow: follow}
	case 2:
		return question.Action{Kind: question.Track, Follow: time.Hour}
	case 3:
		by := to.Scale(0.1)
		return question.Action{Kind: question.Jog, Axes: &by, Follow: follow}
	case 4:
		return question.Action{Kind: question.Home}
	}
	return question.Action{Kind: question.Flip, Follow: follow}
}
