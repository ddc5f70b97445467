package facts_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/rig"
)

// Where there never was a sample, what it should have told is missing for that one reason: a person reads one line and not three.
func TestWithoutASampleThereIsOneReason(t *testing.T) {
	in := standing(t, heron(t), rig.DegAxes(10, 20), rig.Axes{}, axesSlew(rig.DegAxes(20, 30)))
	in.Question.Sample, in.Snapshot.Rig.Sample = nil, nil
	all := facts.Compute(in).Facts
	for _, name := range []string{"pose_age_s", "belief_error_sky_deg"} {
		assert.Equal(t, "no sample was ever reported", all[name].Missing, name)
	}
}
