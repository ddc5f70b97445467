package pose

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// Places that solves put the axes at go with the axis that stood so; those farther off than one leans, and those that no solve put there, stay.
func TestActsDropPlacesThatSolvesPut(t *testing.T) {
	for name, want := range map[string]int{"tilt": 1, "lone": 1, "elsewhere": 1, "far": 2, "other": 2} {
		c := filming(t)
		c.toAxes(field, false)
		off := map[string]float64{"tilt": 4.9, "lone": 4.9, "elsewhere": 4.9, "far": 5.2, "other": 2}[name]
		turn := begin(c.w, c.s)
		turn.s.Against = 1
		other := turn.s.Anchored[0]
		other.Axes = other.Axes.Add(rig.DegAxes(0, off))
		other.Because = bySolve + "x puts the axes"
		if name == "other" {
			other.Because = "put there by a motion"
		}
		turn.s.Doubt = map[string]string{"lone": offSolve + "off", "elsewhere": "a homing failed"}[name]
		if name == "tilt" || name == "far" {
			turn.s.Doubt = offPolar + "off"
		}
		turn.again([]question.Candidate{turn.s.Anchored[0], other})
		for _, act := range []ActKind{PolarAxisAdjusted, TripodMoved} {
			s, _ := Acted(c.w, turn.s, Act{Kind: act, Person: "A. Nyman"}, nil)
			assert.Len(t, s.Anchored, want, name)
			assert.Len(t, s.Pose.Candidates, want, name)
			assert.Equal(t, name == "tilt", s.Pose.State == question.Known, name)
			switch name {
			case "tilt":
				assert.Empty(t, s.Doubt)
			case "lone":
				assert.Contains(t, s.Doubt, "a picture that lies as expected settles it", "something may have slipped all the same")
			default:
				assert.Equal(t, turn.s.Doubt, s.Doubt, name)
			}
			assert.Equal(t, name == "far", s.Against == 1, "%s: or the next solve would settle on it by itself", name)
		}
		turn.s.Against = 0
		s, _ := Acted(c.w, turn.s, Act{Kind: TripodMoved, Person: "A. Nyman"}, nil)
		assert.Len(t, s.Anchored, 2, "no solve speaks against the pose: they come from elsewhere")
	}
	lost := filming(t)
	turn := begin(lost.w, lost.s)
	turn.s.Against, turn.s.Anchored = 1, nil
	s, _ := Acted(lost.w, turn.s, Act{Kind: TripodMoved, Person: "A. Nyman"}, nil)
	assert.Empty(t, s.Anchored)
}
