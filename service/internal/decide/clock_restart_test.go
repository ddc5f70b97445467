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

// Fault 11: the clock is set while the service is down, and the machine runs on. A program on the same machine dates its samples by the same clock,
// so that nothing but the machine's own count of time tells: the rig tracked for a minute, and not for an hour, by which the pose would be
// fifteen degrees off and called known.
func TestAClockSetWhileTheServiceWasDownMovesNoPose(t *testing.T) {
	for _, by := range []time.Duration{0, time.Hour, -time.Hour, 5 * time.Minute} {
		b := newBenchOf(t, byBelief)
		var stepped time.Duration
		b.up = func(at time.Time) *question.Uptime {
			return &question.Uptime{Boot: "first", For: at.Sub(evening) - stepped}
		}
		b.restart()
		at := rig.DegAxes(20, 30)
		first := b.sample(at)
		seen := func() *question.Sample { // as a mount that tells no time of its own, which follows the sky
			s := *first
			s.Sidereal, s.Doing, s.Time = nil, question.Tracking, b.clock().Round(0)
			return &s
		}
		_, err := b.report(decide.Report{Homed: &decide.HomedReport{At: &at, Person: "R. Alder"}, Sample: seen()})
		require.NoError(t, err)
		require.NoError(t, b.rec.Close())
		b.wait(time.Minute + by)
		stepped = by
		b.open()
		out, err := b.report(decide.Report{Sample: seen()})
		require.NoError(t, err)
		truth := at.Add(rig.Axes{A1: 60 * question.SiderealRate})
		held := false
		p := b.look().Pose
		for _, c := range p.Candidates {
			off, room := c.Axes.Sub(truth).Abs(), question.Sigma3(c.Sigma)
			held = held || off.A1 <= room.A1 && off.A2 <= room.A2
		}
		assert.True(t, held, "set by %s: the rig is at %s, held %s %+v", by, truth, p.State, p.Candidates)
		if by == 0 {
			assert.Empty(t, out.Notices)
			assert.InDelta(t, 1, p.Candidates[0].Sigma.A1.Deg(), 0.01, "an ordinary restart costs nothing")
		}
	}
}
