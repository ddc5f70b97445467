package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

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
