package facts_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// A level tube whose home a person attests to three degrees can be homed: that it may point 4.5° below level is what homing alone would
// mend. So can an axis whose home lies at the end of its travel, by a sensor; by a person's eye it may end beyond it, and by belief
// neither holds.
func TestHomingNeedsNotWhatItGives(t *testing.T) {
	for _, c := range []struct {
		by            string
		floor, travel bool
	}{{"sensor", true, true}, {"person", true, false}, {"belief", false, false}} {
		t.Run(c.by, func(t *testing.T) {
			r := example(t, "bittern.yaml", "by: sensor", "by: "+c.by, "axis2_deg: [-5, 88]", "axis2_deg: [-2, 88]")
			in := standing(t, r, rig.DegAxes(20, 0), rig.Axes{}, question.Action{Kind: question.Home})
			in.Snapshot.Rig.Pose.Candidates[0].Sigma = rig.DegAxes(1, 1)
			f := facts.Compute(in).Facts
			assert.Equal(t, c.floor, number(t, f, "altitude_min_deg") >= -3, "altitude %v", number(t, f, "altitude_min_deg"))
			assert.Equal(t, c.travel, number(t, f, "axis2_travel_min_deg") >= -2, "travel %v", number(t, f, "axis2_travel_min_deg"))
			park := in
			park.Question.Action = axesSlew(r.Home)
			assert.Less(t, number(t, facts.Compute(park).Facts, "altitude_min_deg"), -3.0, "a slew to the same place counts all")
		})
	}
}

// What may stand beyond the end of its travel, or below the floor, may turn inward and rise: it is held to where it ends. It may not turn
// further out or sink, and an end that is out stays out.
func TestWhatStandsOutMayComeIn(t *testing.T) {
	r := example(t, "bittern.yaml")
	for _, c := range []struct {
		name              string
		from, to          rig.Axes
		rises, two, lower bool // floor, low end of axis 2, high end of axis 1
	}{
		{"rises", rig.DegAxes(0, 0), rig.DegAxes(30, 20), true, true, true},
		{"stays low", rig.DegAxes(0, 0), rig.DegAxes(30, 0), false, true, true},
		{"sinks", rig.DegAxes(0, 1), rig.DegAxes(0, 0), false, true, true},
		{"comes in", rig.DegAxes(269, 40), rig.DegAxes(200, 40), true, true, true},
		{"goes out", rig.DegAxes(268, 40), rig.DegAxes(269, 40), true, true, false},
		{"comes in from below, not far enough", rig.DegAxes(0, -6), rig.DegAxes(0, -4), false, false, true},
		{"comes in from far below", rig.DegAxes(0, -6), rig.DegAxes(0, 20), true, true, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := standing(t, r, c.from, rig.Axes{}, axesSlew(c.to))
			in.Snapshot.Rig.Pose.Candidates[0].Sigma = rig.DegAxes(1, 1)
			f := facts.Compute(in).Facts
			assert.Equal(t, c.rises, number(t, f, "altitude_min_deg") >= -3, "altitude %v", number(t, f, "altitude_min_deg"))
			assert.Equal(t, c.two, number(t, f, "axis2_travel_min_deg") >= -5, "axis 2 %v", number(t, f, "axis2_travel_min_deg"))
			assert.Equal(t, c.lower, number(t, f, "axis1_travel_max_deg") <= 270, "axis 1 %v", number(t, f, "axis1_travel_max_deg"))
		})
	}
}

// A way out of what lies below the floor ends where it first stands above it: one that goes on below it again is no such way. By the axes'
// own directions (an independent chain in Python, 800 poses): 53.8° below level at the start, 24.8° up at axis 1 -90°, 8.9° below level at -173°, 44.5° up at the end.
func TestWhatRoseMaySinkNoMore(t *testing.T) {
	r := heron(t, "axis1_deg: [-97.5, 97.5]", "axis1_deg: [-200, 200]", "axes_move: independent\n  rate", "axes_move: axis 1 first\n  rate")
	again := facts.Compute(standing(t, r, rig.DegAxes(61, 109), rig.Axes{}, axesSlew(rig.DegAxes(-173, 22)))).Facts
	assert.Less(t, number(t, again, "altitude_min_deg"), -3.0)
	assert.Less(t, number(t, again, "altitude_sharp_min_deg"), -3.0)
	once := facts.Compute(standing(t, r, rig.DegAxes(61, 109), rig.Axes{}, axesSlew(rig.DegAxes(-89, 109)))).Facts
	assert.GreaterOrEqual(t, number(t, once, "altitude_min_deg"), -3.0, "one that only rises is held to where it ends")
	for sigma, holds := range map[float64]bool{0: false, 1: true} { // 1.3° below level at axis 1 -161°
		in := standing(t, r, rig.DegAxes(61, 109), rig.Axes{}, axesSlew(rig.DegAxes(-161, 22)))
		in.Snapshot.Rig.Pose.Candidates[0].Sigma = rig.DegAxes(sigma, sigma)
		f := facts.Compute(in).Facts
		assert.Equal(t, holds, number(t, f, "altitude_min_deg") < -3, "σ %v: it may stand below the floor again: %v", sigma, number(t, f, "altitude_min_deg"))
		assert.GreaterOrEqual(t, number(t, f, "altitude_sharp_min_deg"), -3.0, "σ %v", sigma)
	}
}

// An approach that overruns is over when tracking begins: how long a rig may track does not hang on it, but the way to there does.
func TestTrackingDoesNotOverrun(t *testing.T) {
	deadline := func(r *rig.Rig, a question.Action) float64 {
		return number(t, facts.Compute(standing(t, r, rig.DegAxes(60, 40), rig.Axes{}, a)).Facts, "travel_in_s")
	}
	sure, wide := heron(t), heron(t, "overrun_deg: [0, 0]", "overrun_deg: [2, 2]")
	track, to := question.Action{Kind: question.Track, Follow: time.Hour}, rig.DegAxes(70, 40)
	slew := question.Action{Kind: question.Slew, Axes: &to, Follow: time.Hour}
	assert.InDelta(t, deadline(sure, track), deadline(wide, track), 1e-6)
	assert.InDelta(t, deadline(sure, slew), deadline(wide, slew), 1e-6)
	far := rig.DegAxes(96, 40)
	over := facts.Compute(standing(t, wide, rig.DegAxes(60, 40), rig.Axes{}, axesSlew(far)))
	assert.Greater(t, number(t, over.Facts, "axis1_travel_max_deg"), 97.5)
}

// A person stated where the axes are after a slip, and the counters were not told: sent to mechanical angles the mount may turn by what its
// counters lack, and that end counts too. Within the uncertainty of the pose it is the same end.
func TestRetreatByCountersThatStandElsewhere(t *testing.T) {
	r := heron(t)
	ends := func(counters rig.Axes) (out []rig.Axes) {
		in := standing(t, r, rig.DegAxes(20, -40), rig.Axes{}, axesSlew(r.Home))
		in.Snapshot.Rig.Sample.Readings = []question.Reading{{Source: rig.MotorCount, Axes: counters}}
		for _, e := range facts.Compute(in).Ends {
			out = append(out, e.Axes)
		}
		return out
	}
	assert.Len(t, ends(rig.DegAxes(20, -40.05)), 1)
	astray := ends(rig.DegAxes(110, -70))
	require.Len(t, astray, 2)
	assert.InDelta(t, -90, astray[1].A1.Deg(), 1e-9)
	assert.InDelta(t, 30, astray[1].A2.Deg(), 1e-9)
}

// A belief that is not held is lacking for the reason that it is not.
func TestWhyABeliefIsNotHeld(t *testing.T) {
	in := standing(t, heron(t), rig.DegAxes(60, 40), rig.Axes{}, axesSlew(rig.DegAxes(50, 40)))
	in.Snapshot.Rig.Sample.Belief = nil
	assert.Equal(t, "the sample does not say where the mount believes it points", facts.Compute(in).Facts["belief_error_sky_deg"].Missing)
	in.Snapshot.Rig.Sample.Unbelieved = "it says what cannot be"
	assert.Equal(t, "it says what cannot be", facts.Compute(in).Facts["belief_error_sky_deg"].Missing)
}

// What cannot be known of belief for want of a pose is not asked of a sample that tells belief, nor what a solve leaves out of any sample.
func TestWhatIsLackingIsAskedOfWhoHasIt(t *testing.T) {
	in := standing(t, heron(t), rig.DegAxes(30, 40), rig.Axes{}, axesSlew(rig.DegAxes(10, 10)))
	in.Snapshot.Rig.Pose = question.Pose{State: question.Unknown, Because: "the mount restarted"}
	f := facts.Compute(in).Facts["belief_error_sky_deg"]
	assert.Equal(t, "the mount restarted", f.Missing)
	assert.Equal(t, "homing", f.Need)
	in.Snapshot.Rig.Sample.Belief = nil
	assert.Equal(t, "sample", facts.Compute(in).Facts["belief_error_sky_deg"].Need)

	in = standing(t, heron(t), rig.DegAxes(30, 40), rig.Axes{}, question.Action{Kind: question.Sync, Solve: &question.Solve{}})
	for _, name := range []string{"expected_offset_arcmin", "sync_sum_axis1_deg", "rotation_error_deg", "end_spread_deg"} {
		f := facts.Compute(in).Facts[name]
		assert.Equal(t, "the solve does not say when and how long it was exposed", f.Missing, name)
		assert.Equal(t, "second_solve", f.Need, name)
	}
}
