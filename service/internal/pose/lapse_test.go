package pose

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// lapseSeed chooses the states.
const lapseSeed = 20261129

// Whether there is anything to do or not, what becomes of a state is what becomes of it step by step; and the state that came is never written.
func TestNothingToDoIsNothingDone(t *testing.T) {
	g := rand.New(rand.NewPCG(lapseSeed, 1))
	began := time.Now() // with a monotonic reading, as the service's clock has it
	some := func(of ...time.Duration) time.Duration { return of[g.IntN(len(of))] }
	idle, busy := 0, 0
	for n := range 20_000 {
		now := began.Add(some(0, time.Second, time.Hour))
		if g.IntN(4) == 0 {
			now = now.Round(0).Add(some(0, time.Hour, -time.Hour)) // of a clock without one, and set
		}
		near := func() time.Time {
			at := now.Add(some(-time.Hour, -time.Nanosecond, 0, time.Nanosecond, time.Hour))
			if g.IntN(2) == 0 {
				at = at.Round(0)
			}
			return at
		}
		s := question.RigState{
			Epoch: 7, Pose: question.Pose{State: []question.PoseState{question.Known, question.Candidates, question.Unknown, ""}[g.IntN(4)]},
			Forward: some(0, 0, 0, time.Minute), Discounted: some(0, 0, 0, time.Minute, -time.Minute),
		}
		if s.Pose.State != question.Unknown && s.Pose.State != "" {
			s.Pose.Candidates, s.Pose.Source = []question.Candidate{{Axes: rig.DegAxes(1, 2)}}, rig.Reckoned
		}
		if g.IntN(4) > 0 {
			s.Sample = &question.Sample{Received: near(), Doing: []question.Doing{question.AtRest, question.Tracking}[g.IntN(2)]}
			if g.IntN(8) == 0 {
				s.Sample.Received = time.Time{}
			}
		}
		if g.IntN(2) == 0 {
			s.Permit = &question.Permit{ID: "p", State: []question.PermitState{question.Granted, question.Begun, question.Ended}[g.IntN(3)], StartBy: near(), StopBy: near()}
			if g.IntN(4) == 0 {
				s.Permit.StopBy = time.Time{}
			}
		}
		if g.IntN(2) == 0 {
			s.Leave = &question.SyncLeave{ID: "l", Live: g.IntN(3) > 0, UseBy: near()}
		}
		was := fmt.Sprintf("%+v %+v %+v %+v", s, s.Sample, s.Permit, s.Leave)
		slow := begin(World{}, s)
		slow.dated(now)
		slow.lapse(now)
		want, told := slow.done()
		got, notices := Lapse(s, now)
		require.Equal(t, want, got, "state %d of seed %d at %s: %s", n, lapseSeed, now, was)
		require.Equal(t, told, notices)
		require.Equal(t, was, fmt.Sprintf("%+v %+v %+v %+v", s, s.Sample, s.Permit, s.Leave))
		if lapses(&s, now) {
			busy++
		} else {
			idle++
		}
	}
	require.Greater(t, idle, 1_000)
	require.Greater(t, busy, 1_000)
}
