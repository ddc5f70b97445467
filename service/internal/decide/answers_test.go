package decide_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/verdict"
)

// TestGravestFindingStandsFirst, and is the one that the answer's line quotes.
func TestGravestFindingStandsFirst(t *testing.T) {
	b := newBench(t)
	a, err := b.slew(zero, there)
	require.NoError(t, err)
	require.Equal(t, verdict.Hold, a.Verdict)
	sorted := slices.Clone(a.Findings)
	verdict.Sort(sorted)
	assert.Equal(t, sorted, a.Findings)
	assert.Equal(t, a.Findings[0].Sentence, a.Sentence)
	assert.NotEmpty(t, a.Sentence)
}

// TestOnlyAHoldHasNeeds: what is denied is not mended by them, though holds beside the deny name theirs.
func TestOnlyAHoldHasNeeds(t *testing.T) {
	f := following(t, there)
	a := f.sync(f.picture("p1", rig.DegAxes(0, -45)))
	require.Equal(t, verdict.Deny, a.Verdict)
	require.NotEmpty(t, verdict.Needs(a.Findings), "a hold stands beside it")
	assert.Empty(t, a.Needs)
	assert.Nil(t, a.Permit)
}

// TestStopTrackingIsSaidInTime: six minutes before the end of travel a refusal says it; leave to move away does not, nor does a refusal in
// the middle of the travel.
func TestStopTrackingIsSaidInTime(t *testing.T) {
	beyond := rig.DegAxes(120, 60)
	for name, c := range map[string]struct {
		wait time.Duration
		stop bool
	}{"in the middle": {time.Minute, false}, "near its end": {8*time.Hour + 24*time.Minute, true}} {
		f := following(t, there)
		f.wait(c.wait)
		f.show()
		a, err := f.askFollowing(question.Action{Kind: question.Slew, Axes: &beyond})
		require.NoError(t, err)
		require.Equal(t, verdict.Deny, a.Verdict, "%s: %s", name, a.Sentence)
		assert.Equal(t, c.stop, a.StopTracking, "%s: harmless until %v, now %v", name, a.HarmlessUntil, f.clock())
		back := rig.DegAxes(-20, -20)
		a, err = f.askFollowing(question.Action{Kind: question.Jog, Axes: &back, Follow: time.Minute})
		require.NoError(t, err)
		require.Equal(t, verdict.Allow, a.Verdict, "%s: %s %v", name, a.Sentence, objections(a))
		assert.False(t, a.StopTracking, name)
	}
}

// TestSolveJustOutsideIsAgainst the pose, though it lies within what the pose's own uncertainty would explain: the rule decides.
func TestSolveJustOutsideIsAgainst(t *testing.T) {
	f := following(t, there)
	a := f.sync(f.picture("p1", rig.DegAxes(0, -3.02)))
	require.Contains(t, objections(a), "sync/expected", a.Sentence)
	require.Len(t, f.solves(), 1)
	j := f.solves()[0]
	assert.Equal(t, []bool{true, false, true}, []bool{j.Good, j.Agreed, j.Against})
	assert.Equal(t, question.Held, j.Verdict)
}

// TestUndatedMidExposureSampleIsNeverTheFirst: nobody knows how old it is.
func TestUndatedMidExposureSampleIsNeverTheFirst(t *testing.T) {
	f := &follower{bench: newBench(t), since: evening, from: there}
	v := f.picture("p1", rig.Axes{})
	f.bench = newBench(t)
	v.Mid = f.tracking()
	v.Mid.Time = time.Time{}
	id := "question-first"
	q := question.Question{ID: id, Rig: "heron", Action: question.Action{Kind: question.Sync, Solve: v, Message: []byte(id)}, Sent: f.clock(), At: f.clock(), Asker: "test"}
	_, err := f.d.Ask(context.Background(), q, request(id, id))
	require.NoError(t, err)
	assert.Nil(t, f.look().State.Sample)
}
