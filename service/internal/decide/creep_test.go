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

// TestCreepsGoSlowlyAndFromRest: no faster than a jog in doubt, and not while the sky turns the rig, whose turn may close what it opens.
func TestCreepsGoSlowlyAndFromRest(t *testing.T) {
	for name, c := range map[string]struct {
		rate  float64
		doing question.Doing
		want  verdict.Verdict
		code  string
	}{
		"slowly, from rest": {0.5, question.AtRest, verdict.Allow, ""},
		"too fast":          {0.6, question.AtRest, verdict.Hold, "jog_too_fast"},
		"while it tracks":   {0.5, question.Tracking, verdict.Hold, "creep_under_way"},
		"while it moves":    {0.5, question.Moving, verdict.Hold, "creep_under_way"},
		"not told":          {0.5, "", verdict.Hold, "creep_under_way"},
	} {
		b := newBench(t)
		b.home()
		b.wait(time.Second)
		by, rate := rig.DegAxes(0, 3), unit.Deg(c.rate)
		q := b.of("heron", question.Action{Kind: question.Creep, Axes: &by, Rate: &rate})
		q.Sample.Doing = c.doing
		a, err := b.put(q)
		require.NoError(t, err)
		assert.Equal(t, c.want, a.Verdict, "%s: %s", name, a.Sentence)
		assert.Equal(t, c.code, codeOfOurs(a), name)
		if c.code == "jog_too_fast" {
			require.NotEmpty(t, a.Instead)
			assert.Equal(t, question.Creep, a.Instead[0].Kind)
			assert.InDelta(t, 0.5, a.Instead[0].Rate.Deg(), 1e-9)
		}
	}
}

// codeOfOurs is the code of what permit/slow found; empty: nothing.
func codeOfOurs(a decide.Answer) string {
	for _, f := range a.Findings {
		if f.Rule == "permit/slow" {
			return f.Code
		}
	}
	return ""
}
