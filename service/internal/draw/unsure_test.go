package draw_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/draw"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// TestUnsureSaysHowFarThePictureIsToBeBelieved, and nothing of a pose that is known well.
func TestUnsureSaysHowFarThePictureIsToBeBelieved(t *testing.T) {
	at := func(sigma float64, more ...question.Candidate) question.Pose {
		return question.Pose{Candidates: append([]question.Candidate{{Sigma: rig.Axes{A1: unit.Deg(sigma), A2: unit.Deg(sigma / 2)}}}, more...)}
	}
	assert.Empty(t, draw.Unsure(at(0.05)))
	assert.Empty(t, draw.Unsure(question.Pose{}), "there is no picture then")
	assert.Equal(t, "Where it stands is known to 3.00° and 1.50° only (three standard deviations).\n", draw.Unsure(at(1)))
	assert.Equal(t, "It may have turned to anywhere: how far is not known.\n", draw.Unsure(at(67)))
	two := at(0.05, question.Candidate{})
	two.Because = "the power dipped"
	assert.Equal(t, "It may stand in 2 places; this is the likeliest.\nWhy: the power dipped.\n", draw.Unsure(two))
}
