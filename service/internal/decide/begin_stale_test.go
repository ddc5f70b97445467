package decide_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/verdict"
)

// TestNoHomingIsAllowedForNoTime: no rule wants a fresh sample of a homing, whose way is proven from all that the age of the last one allows, so
// its leave is good for as long as any. Leave that is over before it began helps nobody, and stands in the way of the next question: it is
// held where the rig moved in the last sample, which nothing bounds for long.
func TestNoHomingIsAllowedForNoTime(t *testing.T) {
	home := question.Action{Kind: question.Home}
	for _, c := range []struct {
		doing question.Doing
		age   time.Duration
		want  verdict.Verdict
	}{
		{question.AtRest, 9 * time.Second, verdict.Allow}, {question.AtRest, 7 * time.Minute, verdict.Allow}, {question.Tracking, 11 * time.Second, verdict.Allow},
		{question.Moving, time.Second, verdict.Allow}, {question.Moving, 2 * time.Second, verdict.Hold}, {question.Moving, 7 * time.Minute, verdict.Hold},
	} {
		b := newBench(t)
		b.home()
		b.wait(time.Second)
		s := b.sample(zero)
		s.Doing = c.doing
		_, err := b.report(decide.Report{Sample: s})
		require.NoError(t, err)
		b.wait(c.age)
		a := b.askBlind(home)
		require.Equal(t, c.want, a.Verdict, "%v: %s", c, a.Sentence)
		switch {
		case c.want != verdict.Allow:
			assert.Contains(t, objections(a), "permit/fresh", "%v", c)
			assert.Nil(t, b.look().State.Permit, "%v: nothing stands in the way", c)
		case c.doing == question.Moving:
			assert.Equal(t, time.Second, a.Permit.StartWithin, "%v", c)
		default:
			assert.Equal(t, 10*time.Second, a.Permit.StartWithin, "%v", c)
		}
	}
}
