package pose_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// Over a restart of the service the machine's own count of time tells what its wall clock was set by, either way, which is then open for a source
// that goes by the time. What is held is dated by the clock of now where it was set back; where it was set on nothing gets younger than it reads,
// for a machine within another may have been stopped instead.
func TestOverARestartTheMachinesOwnCountTellsAStep(t *testing.T) {
	for _, by := range []time.Duration{0, 2 * time.Second, 3 * time.Second, time.Hour, -3 * time.Second, -time.Hour} {
		before := filled(evening, evening)
		before.Sample.Up = &question.Uptime{Boot: "first", For: time.Hour}
		now := faults.SetWall(faults.NewClock(time.Now(), evening.Add(10*time.Minute)).Now(), by)
		after := pose.Resumed(before, now, &question.Uptime{Boot: "first", For: 70 * time.Minute})
		open := by.Abs()
		if open <= 2*time.Second {
			open = 0
		}
		want := min(0, by)
		assert.Equal(t, evening.Add(want), after.Sample.Received.Round(0), by)
		assert.Equal(t, open, after.Stepped, by)
		assert.Equal(t, want == 0 && open > 0, after.Skipped, by)
		assert.Equal(t, before.Solves[0].Mid.Add(want), after.Solves[0].Mid, by)
		again, _ := pose.Lapse(after, now)
		assert.Equal(t, after.Sample.Received, again.Sample.Received, "%s: and no step is seen twice", by)
		later := pose.Resumed(after, now.Add(time.Hour), &question.Uptime{Boot: "first", For: 130 * time.Minute})
		assert.Equal(t, after.Stepped, later.Stepped, "%s: nor at the next start", by)
		assert.Equal(t, after.Sample.Received, later.Sample.Received, "%s: nor at the next start", by)
		before.Sample, before.Stepped = after.Sample, 0
		assert.Equal(t, after.Sample.Received, pose.Resumed(before, now, &question.Uptime{Boot: "first", For: 70 * time.Minute}).Sample.Received, by)
	}
}

// A machine started anew whose clock nothing bounds may have taken up where it left off: a pose that followed the sky is in doubt where it goes
// by the time, and the last sample is too old for anything. With a clock that is bounded, by rest and by a count nothing is.
func TestAMachineStartedAnewWithNoClockToTrust(t *testing.T) {
	for name, c := range map[string]struct {
		doing   question.Doing
		source  rig.SourceKind
		was, is bool // its clock bounded
		boot    string
		doubt   bool
		stale   bool
	}{
		"belief, tracking":           {question.Tracking, rig.UnsyncedBelief, false, false, "second", true, true},
		"reckoned, moving":           {question.Moving, rig.Reckoned, false, false, "second", true, true},
		"belief, at rest":            {question.AtRest, rig.UnsyncedBelief, false, false, "second", false, true},
		"a count":                    {question.Tracking, rig.MotorCount, false, false, "second", false, true},
		"a clock that is bounded":    {question.Tracking, rig.UnsyncedBelief, true, true, "second", false, false},
		"one that was set since":     {question.Tracking, rig.UnsyncedBelief, false, true, "second", true, true},
		"one that is not any more":   {question.Tracking, rig.UnsyncedBelief, true, false, "second", true, true},
		"the service restarted only": {question.Tracking, rig.UnsyncedBelief, false, false, "first", false, false},
	} {
		s := filled(evening, evening)
		s.Sample.Doing, s.Sample.Up, s.Doubt = c.doing, &question.Uptime{Boot: "first", For: time.Hour, Bounded: c.was}, ""
		s.Pose = question.Pose{State: question.Known, Source: c.source, At: evening, Candidates: []question.Candidate{{Axes: rig.DegAxes(20, 30)}}}
		now := evening.Add(5 * time.Second)
		after := pose.Resumed(s, now, &question.Uptime{Boot: c.boot, For: time.Hour + 5*time.Second, Bounded: c.is})
		assert.Equal(t, c.doubt, after.Pose.State == question.Candidates, name)
		assert.Equal(t, c.doubt, after.Doubt != "", name)
		assert.Equal(t, c.doubt, after.Epoch > s.Epoch, name)
		assert.Equal(t, c.stale, now.Sub(after.Sample.Received) > time.Minute, name)
		s.Sample.Up = nil
		assert.Equal(t, s, pose.Resumed(s, now, &question.Uptime{Boot: c.boot, Bounded: c.is}), "%s, by an older record", name)
	}
}
