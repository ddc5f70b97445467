package season

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/verdict"
)

// at makes a solve of a minute of the night.
func at(minute int, v verdict.Verdict, a Asked) Asked {
	a.At, a.Verdict = time.Date(2026, 11, 14, 20, minute, 0, 0, time.UTC), v
	return a
}

// Each bar is counted by what crosses it, and by nothing else.
func TestTotal(t *testing.T) {
	true1 := Asked{True: true, Sound: true}
	night := func(asked ...Asked) *Total {
		tot := &Total{}
		tot.Add(&Score{Lot: Lot{Kind: Fair}, Asked: asked})
		return tot
	}
	ok := night(at(0, verdict.Allow, true1), at(1, verdict.Hold, true1), at(2, verdict.Allow, true1), at(3, verdict.Deny, true1))
	assert.Equal(t, []int{4, 1, 1, 1, 1, 1, 1}, []int{ok.True, ok.Held, ok.FairHeld, ok.CalmHeld, ok.NextAsked, ok.NextAllows, ok.Denied})
	assert.Empty(t, ok.Wrong)
	bad := night(
		at(0, verdict.Allow, Asked{Mechanism: "anywhere", Belief: 5, Before: 0.1}),
		at(1, verdict.Allow, Asked{True: true, Belief: 4, Before: 5}),
		at(2, verdict.Allow, Asked{Belief: 0.4, Clock: 2}),
		at(3, verdict.Allow, Asked{Site: 3}),
		at(4, verdict.Allow, Asked{Pose: 2}),
		at(5, verdict.Allow, Asked{Pose: 2, Attested: true}),
		at(6, verdict.Hold, Asked{Mechanism: "pattern", Belief: 9}),
	)
	assert.Equal(t, 1, bad.FalseAccepted)
	assert.Equal(t, 1, bad.OverDegree, "the one that made it worse")
	assert.Equal(t, 1, bad.LeftDegree)
	assert.Equal(t, 3, bad.OverQuarter)
	assert.Equal(t, 2, bad.WorseQuarter)
	assert.Equal(t, []int{0, 0}, []int{bad.AlikeDegree, bad.AlikeSite})
	assert.Equal(t, []int{1, 1, 1, 0}, []int{bad.WrongClock, bad.WrongSite, bad.WrongPose, bad.WrongPoseAttested})
	assert.InDelta(t, 5, bad.WorstBelief, 0)
	assert.InDelta(t, 2, bad.WorstPoseAttested, 0)
	assert.Equal(t, 2, bad.False)
	alike := night(
		at(0, verdict.Allow, Asked{Belief: 2, Site: 2, Alike: true}), at(1, verdict.Allow, Asked{Belief: 2, Before: 2, Site: 2, Alike: true}),
		at(2, verdict.Allow, Asked{Belief: 2, Site: 2}), at(3, verdict.Allow, Asked{Belief: 0.5, Site: 0.5, Alike: true}),
	)
	assert.Equal(t, []int{2, 1, 3, 2}, []int{alike.OverDegree, alike.AlikeDegree, alike.WrongSite, alike.AlikeSite})
	turned := night(at(0, verdict.Allow, Asked{Belief: 30, Turned: true}), at(1, verdict.Allow, Asked{Belief: 30, Before: 30, Turned: true}), at(2, verdict.Allow, Asked{Belief: 30}))
	assert.Equal(t, []int{2, 1}, []int{turned.OverDegree, turned.TurnedDegree})
	assert.Len(t, bad.Wrong, 2, "of a night, one line for each way")
}

// Belief that was walked away step by step, each step small, is drift.
func TestDrift(t *testing.T) {
	s := &Score{}
	for i := range 5 {
		s.Asked = append(s.Asked, at(i, verdict.Allow, Asked{Each: [2]float64{0.3 * float64(i), 0.4 * float64(i)}}))
	}
	s.Asked = append(s.Asked, at(9, verdict.Hold, Asked{Each: [2]float64{9, 9}}))
	assert.InDelta(t, 2, s.Drift(), 1e-9)
}

// A night is locked out where nothing is allowed to its end although all was well: not for a while, and not while something was wrong.
func TestDeadlock(t *testing.T) {
	sound := Asked{True: true, Sound: true}
	s := &Score{}
	for i := range 6 {
		s.Asked = append(s.Asked, at(15*i, verdict.Hold, sound))
	}
	assert.True(t, s.Deadlock())
	s.Asked = append(s.Asked, at(95, verdict.Allow, sound))
	assert.False(t, s.Deadlock(), "it was let in again")
	for i := range s.Asked {
		s.Asked[i].Verdict, s.Asked[i].Sound = verdict.Hold, false
	}
	assert.False(t, s.Deadlock(), "something was wrong")
}

// An end is a sync's but for what the counters do not know of.
func TestEndBySync(t *testing.T) {
	tot := &Total{}
	tot.Add(&Score{Ends: []End{{Off: [2]float64{30, 2}, Lost: [2]float64{28, 0}}, {Off: [2]float64{3, 27}, Lost: [2]float64{0, 1}}, {Off: [2]float64{3, 4}}}})
	assert.Equal(t, []int{1, 1}, []int{tot.EndsOver, tot.EndsOverSlip})
	assert.InDelta(t, 26, tot.WorstEnd, 1e-9)
}
