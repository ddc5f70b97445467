package facts_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
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

// A sample is as old as its date says or, where a clock is off and it is dated ahead, as the time since it came, whichever is more.
func TestAgeOfASampleDatedAhead(t *testing.T) {
	r := heron(t)
	for _, c := range []struct{ dated, came, want float64 }{{-3, -2, 3}, {-2, -3, 3}, {4, -1, 4}, {0, -11, 11}, {-7, 0, 7}} {
		in := standing(t, r, rig.DegAxes(-40, 50), rig.Axes{}, question.Action{Kind: question.Track})
		x := *in.Snapshot.Rig.Sample
		x.Time, x.Received = evening.Add(time.Duration(c.dated*1e9)), evening.Add(time.Duration(c.came*1e9))
		in.Snapshot.Rig.Sample = &x
		assert.InDelta(t, c.want, number(t, facts.Compute(in).Facts, "pose_age_s"), 1e-9, "%+v", c)
	}
}
