package pose

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Places that solves put the axes at go with the axis that stood so; those farther off than one leans, and those that no solve put there, stay.
func TestActsDropPlacesThatSolvesPut(t *testing.T) {
	t.Run("as it is written", func(t *testing.T) { actsDropPlaces(t, false) })
	t.Run("as it was written before solves and polar axes had fields of their own", func(t *testing.T) { actsDropPlaces(t, true) })
}

func actsDropPlaces(t *testing.T, before bool) {
	for name, want := range map[string]int{"tilt": 1, "lone": 1, "elsewhere": 1, "far": 2, "other": 2} {
		c := filming(t)
		c.toAxes(field, false)
		off := map[string]float64{"tilt": 4.9, "lone": 4.9, "elsewhere": 4.9, "far": 5.2, "other": 2}[name]
		turn := begin(c.w, c.s)
		turn.s.Against = 1
		other := turn.s.Anchored[0]
		other.Axes = other.Axes.Add(rig.DegAxes(0, off))
		other.Because, other.Solve = "in other words", "x"
		turn.s.Doubt = "in other words"
		switch name {
		case "lone":
			turn.s.DoubtOf = question.SolveDoubt
		case "tilt", "far":
			turn.s.DoubtOf = question.PolarDoubt
		}
		if before {
			other.Because, other.Solve, turn.s.DoubtOf = "where solve x puts the axes", "", ""
			turn.s.Doubt = map[string]string{
				"lone": "a solve lies 4.90° from where the pose points", "elsewhere": "a homing failed",
				"tilt": "the polar axis stands 4.90° too far east", "far": "the polar axis stands 4.90° too far east",
			}[name]
		}
		if name == "other" {
			other.Because, other.Solve = "put there by a motion", ""
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
				assert.Empty(t, s.DoubtOf)
			case "lone":
				assert.Contains(t, s.Doubt, "a picture that lies as expected settles it", "something may have slipped all the same")
				assert.Empty(t, s.DoubtOf, "of the axis before")
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

// A solve off the pose leaves its mark: on the doubt, and on the place where it puts the axes. What settles the doubt takes the mark with it.
func TestASolveOffThePoseMarksWhatItDoubts(t *testing.T) {
	c := filming(t)
	c.toAxes(field, false)
	turn := begin(c.w, c.s)
	at := turn.s.Anchored[0].Axes
	turn.against(question.JudgedSolve{RequestID: "s1", Optics: "main", Good: true, Against: true, Pose: at, Solved: at.Add(rig.DegAxes(0, 4)), OffsetSky: 4 * unit.Degree})
	assert.Equal(t, question.SolveDoubt, turn.s.DoubtOf)
	if assert.Len(t, turn.s.Anchored, 2) {
		assert.Equal(t, []string{"", "s1"}, []string{turn.s.Anchored[0].Solve, turn.s.Anchored[1].Solve})
		assert.True(t, turn.unsolved())
	}
	turn.doubt("something else")
	assert.Equal(t, question.SolveDoubt, turn.s.DoubtOf, "the first reason stays")
	turn.lose("a power cut")
	assert.Empty(t, turn.s.DoubtOf)
	turn.s.DoubtOf = question.SolveDoubt
	turn.settled()
	assert.Empty(t, turn.s.Doubt+string(turn.s.DoubtOf))
	turn.s.DoubtOf = question.SolveDoubt // of a doubt that is gone
	turn.doubt("a restart")
	assert.Empty(t, turn.s.DoubtOf)
}
