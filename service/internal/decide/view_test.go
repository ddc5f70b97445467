package decide_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/verdict"
)

// Leave taken back may have been used all the same until a sample shows otherwise: the pose as it is shown says why it is wide, and what
// settles it.
func TestWidePoseSaysWhyItIsWide(t *testing.T) {
	b := newBench(t)
	b.home()
	pose := func() question.Pose {
		v, err := b.d.Look(context.Background(), "heron")
		require.NoError(t, err)
		return v.Pose
	}
	assert.Empty(t, pose().Because, "at rest, and no leave")
	a, err := b.slew(zero, rig.DegAxes(20, 20))
	require.NoError(t, err)
	require.Equal(t, verdict.Allow, a.Verdict, a.Sentence)
	_, known := b.d.Withdraw("heron", "A. Person", "not wanted", state.Exchanged{})
	require.True(t, known)
	b.wait(10 * time.Second)
	assert.Equal(t, question.Known, pose().State)
	assert.Contains(t, pose().Because, "a new one shows where they are")
	_, err = b.report(decide.Report{Sample: b.sample(zero)})
	require.NoError(t, err)
	assert.Empty(t, pose().Because, "it never moved")
}
