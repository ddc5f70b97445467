package pose

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// TestIndependent: what makes a picture evidence of its own, and what each lack is called. Source: the design, section 9.
func TestIndependent(t *testing.T) {
	r := newRig(rig.German, 46.2)
	at := time.Date(2026, 11, 14, 20, 0, 0, 0, time.UTC)
	hint := func(dec float64) *question.Sky { return &question.Sky{RA: 1, Dec: unit.Deg(dec), Frame: question.ICRS} }
	first := question.JudgedSolve{Mid: at, Picture: "a", Pose: rig.DegAxes(-20, 60), Field: unit.Deg(1), Hint: hint(20)}
	tracked := rig.DegAxes(-20+30.0/4, 60) // half an hour of the sky
	for name, c := range map[string]struct {
		change func(a, b *question.JudgedSolve)
		why    string // empty: independent
	}{
		"blind, moved":                   {func(_, _ *question.JudgedSolve) {}, ""},
		"another hint, moved":            {func(_, b *question.JudgedSolve) { b.Blind, b.Hint = false, hint(25) }, ""},
		"a hint after a blind one":       {func(a, b *question.JudgedSolve) { a.Blind, a.Hint, b.Blind, b.Hint = true, nil, false, hint(20) }, ""},
		"the same picture":               {func(_, b *question.JudgedSolve) { b.Picture = "a" }, "already judged"},
		"the same exposure, named anew":  {func(a, b *question.JudgedSolve) { b.Mid = a.Mid }, "already judged"},
		"moved by less than a field":     {func(a, b *question.JudgedSolve) { b.Pose = a.Pose.Add(rig.DegAxes(7.5, 0.9)) }, "moved by 0.90°"},
		"tracked on":                     {func(_, b *question.JudgedSolve) { b.Pose = tracked }, "moved by 0.02°"},
		"rested while the sky went past": {func(a, b *question.JudgedSolve) { b.Pose = a.Pose }, "moved by 0.00°"},
		"moved by less than the wider":   {func(a, _ *question.JudgedSolve) { a.Field = unit.Deg(30) }, "more than one field (30.00°)"},
		"of unknown width":               {func(a, b *question.JudgedSolve) { a.Field, b.Field = 0, 0 }, "width of the field"},
		"hinted, the hint untold":        {func(_, b *question.JudgedSolve) { b.Blind = false }, "not told"},
		"the same hint":                  {func(_, b *question.JudgedSolve) { b.Blind, b.Hint = false, hint(20.5) }, "the same hint"},
		"hints in two frames":            {func(_, b *question.JudgedSolve) { b.Blind, b.Hint = false, hint(25); b.Hint.Frame = question.OfDate }, "the same hint"},
		"the first one's hint untold":    {func(a, b *question.JudgedSolve) { a.Hint, b.Blind, b.Hint = nil, false, hint(25) }, "was not told"},
		"a pose that is no number":       {func(_, b *question.JudgedSolve) { b.Pose.A1 = unit.Angle(math.NaN()) }, "more than one field"},
	} {
		t.Run(name, func(t *testing.T) {
			a := first
			b := question.JudgedSolve{Mid: at.Add(30 * time.Minute), Picture: "b", Pose: rig.DegAxes(-20, 75), Field: unit.Deg(1), Blind: true}
			c.change(&a, &b)
			ok, why := Independent(r, a, b)
			assert.Equal(t, c.why == "", ok, why)
			assert.Contains(t, why, c.why)
		})
	}
}
