package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// The same sample under a later number is one sample, and its number is not missing afterwards.
func TestSameSampleUnderALaterNumber(t *testing.T) {
	at := time.Date(2026, 11, 14, 18, 0, 0, 0, time.UTC)
	number := func(n uint64, after time.Duration) question.Sample {
		return question.Sample{Time: at.Add(after), Received: at.Add(after), Doing: question.AtRest, Sequence: &n}
	}
	w := World{Rig: newRig(rig.German, 46), Moment: moment}
	s, _ := Observe(w, question.RigState{Pose: question.Pose{State: question.Unknown}}, number(1, 0))
	s, notices := Observe(w, s, number(2, 0))
	assert.Empty(t, notices)
	_, notices = Observe(w, s, number(3, time.Second))
	assert.Empty(t, notices)
	_, notices = Observe(w, s, number(5, time.Second))
	assert.Len(t, notices, 1)
	assert.Equal(t, Gap, notices[0].Kind)
}

// A program reads the mount once and sends what it read with two reports: the second, a homing, counts from there.
func TestTheSameSampleAfterAHoming(t *testing.T) {
	n := homed(t, withCount)
	n.m.wait(time.Minute)
	x := n.m.sample()
	n.take(Observe(n.w, n.s, x))
	n.take(Homed(n.w, n.s, question.Homing{ID: "h2", At: n.m.at, Person: "A. Nyman", Axes: n.m.axes, Sigma: rig.DegAxes(1, 1)}, &x))
	require.NotNil(t, n.s.Anchor, n.said())
	n.run(rig.DegAxes(20, 20), question.AtRest)
	require.Equal(t, question.Known, n.state(), n.said())
}
