package facts_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// doubtful is a way that fails from one of the two places where the rig may be, told in either order, or from both.
type doubtful struct {
	name       string
	good, bad  rig.Axes
	action     question.Action
	at         time.Time
	fact, twin string
	crosses    func(v float64) bool // the limit
}

func doubts() []doubtful {
	below := func(limit float64) func(float64) bool { return func(v float64) bool { return v < limit } }
	above := func(limit float64) func(float64) bool { return func(v float64) bool { return v > limit } }
	jog := func(a1, a2 float64) question.Action {
		by := rig.DegAxes(a1, a2)
		return question.Action{Kind: question.Jog, Axes: &by}
	}
	noon := time.Date(2026, 11, 14, 11, 0, 0, 0, time.UTC)
	track := question.Action{Kind: question.Track, Follow: 3 * time.Hour}
	return []doubtful{
		{"into a leg", rig.DegAxes(0, 20), rig.DegAxes(78, -10), jog(0, -20), evening, "clearance_spare_mm", "clearance_sharp_spare_mm", below(0)},
		{"past the end of travel", rig.DegAxes(0, 10), rig.DegAxes(90, 10), jog(10, 0), evening, "axis1_travel_max_deg", "axis1_sharp_max_deg", above(97.5)},
		{"past its other end", rig.DegAxes(0, 10), rig.DegAxes(-90, 10), jog(-10, 0), evening, "axis1_travel_min_deg", "axis1_sharp_min_deg", below(-97.5)},
		{"below the floor", rig.DegAxes(0, 10), rig.DegAxes(0, 130), jog(0, 10), evening, "altitude_min_deg", "altitude_sharp_min_deg", below(-3)},
		{"too near the Sun", rig.DegAxes(0, 10), rig.DegAxes(-90, 108), jog(0, 1), noon, "sun_separation_deg", "sun_separation_sharp_deg", below(30)},
		{"tracks too long", rig.DegAxes(-60, 30), rig.DegAxes(80, 30), track, evening, "track_spare_s", "track_spare_sharp_s", below(60)},
		{"behind the horizon", rig.DegAxes(0, 10), rig.DegAxes(90, 95), question.Action{Kind: question.Track, Follow: time.Minute}, evening, "above_horizon_deg", "above_horizon_sharp_deg", below(0)},
	}
}

// What fails from one of two places alone is not proven wrong: the fact fails, its sharp twin does not, whichever place is the likelier.
// What fails from both is.
func TestOnlyWhatFailsFromEveryPlaceIsProvenWrong(t *testing.T) {
	r := heron(t)
	facts2 := func(d doubtful, places ...rig.Axes) (fact, twin float64) {
		in := standing(t, r, places[0], rig.Axes{}, d.action)
		in.Snapshot.At, in.Question.At, in.Snapshot.Rig.Pose.State = d.at, d.at, question.Candidates
		in.Snapshot.Rig.Pose.At, in.Snapshot.Rig.Sample.Time = d.at, d.at
		c := &in.Snapshot.Rig.Pose.Candidates
		*c = append(*c, question.Candidate{Axes: places[1], Sigma: (*c)[0].Sigma})
		out := facts.Compute(in)
		return number(t, out.Facts, d.fact), number(t, out.Facts, d.twin)
	}
	for _, d := range doubts() {
		t.Run(d.name, func(t *testing.T) {
			near := rig.Axes{A1: unit.Deg(0.2)}
			for _, places := range [][]rig.Axes{{d.good, d.bad}, {d.bad, d.good}} {
				fact, twin := facts2(d, places...)
				assert.True(t, d.crosses(fact), "%s = %v crosses its limit from %v", d.fact, fact, places)
				assert.False(t, d.crosses(twin), "%s = %v does not, from %v", d.twin, twin, places)
			}
			_, twin := facts2(d, d.bad, d.bad.Add(near))
			assert.True(t, d.crosses(twin), "%s = %v crosses it from both", d.twin, twin)
			fact, _ := facts2(d, d.good, d.good.Add(near))
			assert.False(t, d.crosses(fact), "%s = %v is in order from two good places", d.fact, fact)
		})
	}
}

// A solve far from the likeliest place, but where another expects it, is not proven false.
func TestASolveIsHeldAgainstEveryPlace(t *testing.T) {
	r := heron(t)
	at, other := rig.DegAxes(-40, 50), rig.DegAxes(-40, 75)
	in := solved(t, r, at, other.Sub(at))
	alone := facts.Compute(in)
	assert.InDelta(t, 1500, number(t, alone.Facts, "expected_offset_arcmin"), 0.1)
	assert.InDelta(t, 1500, number(t, alone.Facts, "expected_offset_sharp_arcmin"), 0.1, "there is no other place")
	in.Snapshot.Rig.Pose.State = question.Candidates
	c := &in.Snapshot.Rig.Pose.Candidates
	*c = append(*c, question.Candidate{Axes: other.Add(rig.DegAxes(0, 0.5)), Sigma: (*c)[0].Sigma})
	both := facts.Compute(in)
	assert.InDelta(t, 1500, number(t, both.Facts, "expected_offset_arcmin"), 0.1, "of the likeliest: more is held, not less")
	assert.InDelta(t, 30, number(t, both.Facts, "expected_offset_sharp_arcmin"), 0.1)
}

// From one place an axis turns past one end of its travel, from the other past the other end: wherever the rig is, it is wrong (question
// 5,031,159 of the second opinion). With a third place from which nothing is crossed it is not proven.
func TestTravelCrossedAtOneEndOrTheOtherIsProvenWrong(t *testing.T) {
	r := heron(t)
	by := rig.DegAxes(20, 0)
	in := standing(t, r, rig.DegAxes(85, 10), rig.Axes{}, question.Action{Kind: question.Jog, Axes: &by})
	in.Snapshot.Rig.Pose.State = question.Candidates
	c := &in.Snapshot.Rig.Pose.Candidates
	*c = append(*c, question.Candidate{Axes: rig.DegAxes(-130, 10), Sigma: (*c)[0].Sigma})
	both := facts.Compute(in)
	assert.InDelta(t, 105, number(t, both.Facts, "axis1_sharp_max_deg"), 1e-6, "of the place that is off by less")
	assert.InDelta(t, 85, number(t, both.Facts, "axis1_sharp_min_deg"), 1e-6)
	*c = append(*c, question.Candidate{Axes: rig.DegAxes(0, 10), Sigma: (*c)[0].Sigma})
	three := facts.Compute(in)
	assert.InDelta(t, 20, number(t, three.Facts, "axis1_sharp_max_deg"), 1e-6)
	assert.InDelta(t, 0, number(t, three.Facts, "axis1_sharp_min_deg"), 1e-6)
	assert.Greater(t, number(t, three.Facts, "axis1_travel_max_deg"), 97.5)
}
