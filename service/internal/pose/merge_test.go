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
	assert.Len(t, merge(r, []question.Candidate{at(0.3), at(-0.3)}, merged, true), 2, "too far apart to be one")
	joint := merge(r, near, merged, true)[0].Sigma
	assert.InDelta(t, 1+0.008/3, joint.A2.Deg(), 1e-9, "wide enough for both")
}

// Two places that lie nearer to each other than half of what either is known to are one, about the middle: what the joint one reaches at three
// standard deviations holds both.
func TestPlacesToldApartByNothing(t *testing.T) {
	r := &rig.Rig{Kind: rig.German}
	at := func(a2, sigma float64) question.Candidate {
		return question.Candidate{Axes: rig.DegAxes(40, a2), Sigma: rig.DegAxes(sigma, sigma)}
	}
	one := merge(r, []question.Candidate{at(50, 1), at(50.4, 0.9)}, merged, false)
	assert.Len(t, one, 1)
	for _, c := range []question.Candidate{at(50, 1), at(50.4, 0.9)} {
		lo, hi := c.Axes.A2-3*c.Sigma.A2, c.Axes.A2+3*c.Sigma.A2
		assert.LessOrEqual(t, (one[0].Axes.A2 - 3*one[0].Sigma.A2).Deg(), lo.Deg()+1e-9)
		assert.GreaterOrEqual(t, (one[0].Axes.A2 + 3*one[0].Sigma.A2).Deg(), hi.Deg()-1e-9)
	}
	assert.InDelta(t, 50.2, one[0].Axes.A2.Deg(), 1e-9)
	assert.Len(t, merge(r, []question.Candidate{at(50, 1), at(50.4, 0.7)}, merged, false), 2, "half of the surer one is less")
}
