package facts_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

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
