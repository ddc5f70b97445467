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

// What gauges found of the file every gap has to spare, from then on and for as long as that revision stands.
func TestResidualWidensMargins(t *testing.T) {
	r := heron(t)
	out := func(a question.Action, p *question.Proof) facts.Set {
		in := standing(t, r, rig.DegAxes(0, 30), rig.Axes{}, a)
		in.Snapshot.Rig.Proof = p
		return facts.Compute(in).Facts
	}
	proof := func(mm float64) *question.Proof {
		return &question.Proof{Person: "A. Person", At: evening.Add(-time.Hour), RigDigest: r.Digest, SignsChecked: true, ResidualMM: mm}
	}
	to := axesSlew(rig.DegAxes(-30, 60))
	plain := number(t, out(to, nil), "clearance_spare_mm")
	require.Greater(t, plain, 20.0)
	assert.NotContains(t, out(to, nil), "clearance_widened_mm")
	assert.InDelta(t, plain, number(t, out(to, proof(0)), "clearance_spare_mm"), 1e-9)
	wide := out(to, proof(8))
	assert.InDelta(t, plain-8, number(t, wide, "clearance_spare_mm"), 0.2)
	assert.InDelta(t, 8, number(t, wide, "clearance_widened_mm"), 1e-9)
	assert.InDelta(t, number(t, out(to, nil), "clearance_required_mm")+8, number(t, wide, "clearance_required_mm"), 1e-9)

	void, unsigned, other := proof(8), proof(8), proof(8)
	void.Stale, unsigned.SignsChecked, other.RigDigest = "the payload was changed", false, [32]byte{1}
	assert.InDelta(t, plain-8, number(t, out(to, void), "clearance_spare_mm"), 0.2, "what makes a proof void makes the file no better")
	assert.InDelta(t, plain-8, number(t, out(to, unsigned), "clearance_spare_mm"), 0.2)
	assert.InDelta(t, plain, number(t, out(to, other), "clearance_spare_mm"), 1e-9, "of another revision nothing was measured")
}

// A deadline of tracking comes no later with it, and sooner where a part is what ends it.
func TestResidualBringsDeadlinesNearer(t *testing.T) {
	r := heron(t)
	sooner := 0
	for a2 := -150.0; a2 <= 150; a2 += 25 {
		in := standing(t, r, rig.DegAxes(55, a2), rig.Axes{}, question.Action{Kind: question.Track, Follow: time.Hour})
		plain := facts.Compute(in)
		in.Snapshot.Rig.Proof = &question.Proof{Person: "A. Person", RigDigest: r.Digest, SignsChecked: true, ResidualMM: 25}
		wide := facts.Compute(in)
		was, is := plain.Facts["track_spare_s"], wide.Facts["track_spare_s"]
		if was.Number == nil || is.Number == nil {
			continue
		}
		assert.LessOrEqual(t, *is.Number, *was.Number, "axis 2 at %g°", a2)
		if *is.Number < *was.Number-60 {
			sooner++
		}
	}
	assert.GreaterOrEqual(t, sooner, 2)
}
