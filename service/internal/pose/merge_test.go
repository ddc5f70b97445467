package pose

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// Two places a hundredth of a degree apart, on either side of the border of sides, are one place for a reckoned pose. Where belief is read
// they are two: it says of each another place.
func TestPlacesAcrossTheBorderOfSides(t *testing.T) {
	r := &rig.Rig{Kind: rig.German}
	at := func(a2 float64) question.Candidate {
		return question.Candidate{Axes: rig.DegAxes(0.01, a2), Sigma: rig.DegAxes(1, 1)}
	}
	near := []question.Candidate{at(0.004), at(-0.004)}
	assert.Len(t, merge(r, near, merged, true), 1)
	assert.Len(t, merge(r, near, merged, false), 2)
	assert.Len(t, merge(r, []question.Candidate{at(0.2), at(-0.2)}, merged, true), 2, "too far apart to be one")
	joint := merge(r, near, merged, true)[0].Sigma
	assert.InDelta(t, 1+0.008/3, joint.A2.Deg(), 1e-9, "wide enough for both")
}
