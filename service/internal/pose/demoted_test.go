package pose

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// A source that moved with a sync stays left out through homings, and counts again after a person proved the rig file and homed.
func TestADemotedSourceComesBackByAProofAndAHoming(t *testing.T) {
	n := homed(t, withCount)
	home := func() rig.SourceKind {
		n.m.wait(time.Minute)
		n.m.fault = rig.Axes{}
		x := n.m.sample()
		n.take(Homed(n.w, n.s, question.Homing{ID: "h2", At: n.m.at, Person: "A. Person", Axes: n.m.axes, Sigma: rig.DegAxes(0.3, 0.3)}, &x))
		n.m.wait(time.Second)
		n.look()
		return n.s.Pose.Source
	}
	n.s.Demoted = map[rig.SourceKind]string{rig.MotorCount: "moved by (4.00°, 3.00°) with a sync"}
	assert.NotEqual(t, rig.MotorCount, home())
	assert.Contains(t, LeftOut(n.w.Rig, n.s), "`keepclear tell "+n.w.Rig.ID+" proved`")

	s, notes := ProvedAnew(n.w, n.s, "B. Person")
	n.take(s, notes)
	require.Len(t, notes, 1)
	assert.Contains(t, notes[0].Sentence, "from the next homing on")
	assert.Empty(t, LeftOut(n.w.Rig, n.s))
	n.m.wait(time.Second)
	n.look()
	assert.NotEqual(t, rig.MotorCount, n.s.Pose.Source, "before the homing")
	assert.Equal(t, rig.MotorCount, home())

	_, notes = ProvedAnew(n.w, n.s, "B. Person")
	assert.Empty(t, notes, "nothing was left out")
}

// A source that the file does not name is not told of.
func TestLeftOutNamesOnlySourcesOfTheFile(t *testing.T) {
	n := homed(t)
	n.s.Demoted = map[rig.SourceKind]string{rig.MotorCount: "moved"}
	assert.Empty(t, LeftOut(n.w.Rig, n.s))
}
