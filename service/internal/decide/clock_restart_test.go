package decide_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

// byBelief is heron with no source but belief.
func byBelief(r *rig.Rig) {
	r.Sources = []rig.Source{{Kind: rig.UnsyncedBelief, Sigma: rig.DegAxes(0.05, 0.05)}}
	r.Mount.NobodyElseSyncs = true
}

// setBack is a service that was down while its machine's clock was set back: by a year, for nobody had looked at the date before.
func (b *bench) setBack() {
	b.t.Helper()
	require.NoError(b.t, b.rec.Close())
	b.wait(time.Minute)
	b.wait(-365 * 24 * time.Hour)
	b.open()
}

// Fault 11: the clock was set back while the service was down, so that the last sample on record is of after now. Samples of now are taken in
// all the same, and what is not known any more, how old the last one is, lets nothing begin without one.
func TestClockSetBackWhileTheServiceWasDown(t *testing.T) {
	b := newBench(t)
	b.home()
	b.setBack()
	a := b.askBlind(question.Action{Kind: question.Slew, Axes: &there})
	assert.Equal(t, verdict.Hold, a.Verdict, a.Sentence)
	assert.Contains(t, objections(a), "pose/fresh", "nothing tells how old the last sample is")
	b.wait(time.Second)
	out, err := b.report(decide.Report{Sample: b.sample(zero)})
	require.NoError(t, err)
	assert.Empty(t, out.Notices, "it is taken in")
	a, err = b.slew(zero, there)
	require.NoError(t, err)
	assert.Equal(t, verdict.Allow, a.Verdict, "%s %v", a.Sentence, objections(a))
}

// Fault 11: then nothing tells either for how long a rig followed the sky whose source goes by the time: it is in doubt until it was homed. One that
// rested does so still, and a count goes by no time.
func TestTrackedPoseIsInDoubtAfterAStepBackWhileTheServiceWasDown(t *testing.T) {
	for name, c := range map[string]struct {
		alter func(*rig.Rig)
		doing question.Doing
		want  question.PoseState
	}{
		"by belief, tracking": {byBelief, question.Tracking, question.Candidates},
		"by belief, at rest":  {byBelief, question.AtRest, question.Known},
		"by a count":          {nil, question.Tracking, question.Known},
	} {
		b := newBenchOf(t, c.alter)
		at := rig.DegAxes(20, 30)
		seen := func(at rig.Axes) *question.Sample {
			s := b.sample(at)
			s.Doing = c.doing
			return s
		}
		_, err := b.report(decide.Report{Homed: &decide.HomedReport{At: &at, Person: "R. Alder"}, Sample: seen(at)})
		require.NoError(t, err)
		require.Equal(t, question.Known, b.look().Pose.State, name)
		b.setBack()
		if c.doing == question.Tracking {
			at.A1 += 15 * unit.Degree // an hour later in truth
		}
		out, err := b.report(decide.Report{Sample: seen(at)})
		require.NoError(t, err)
		p := b.look().Pose
		assert.Equal(t, c.want, p.State, "%s: %+v %v", name, p, out.Notices)
		if c.want == question.Candidates {
			assert.Contains(t, p.Because, "set back while the service was down", name)
		}
		home := b.rig.Home
		_, err = b.report(decide.Report{Homed: &decide.HomedReport{At: &home, Person: "R. Alder"}, Sample: seen(home)})
		require.NoError(t, err)
		assert.Equal(t, question.Known, b.look().Pose.State, "%s: homed", name)
	}
}
