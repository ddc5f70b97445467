package main

import (
	"context"
	"io"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/rig"
)

// stepping is the real service over loopback by a clock whose wall hand the test sets. Nothing but a request reads the clock.
type stepping struct {
	clock *faults.Clock
	slept atomic.Int64 // nanoseconds that the machine has slept
	sv    *service
	rig   *rig.Rig
	ask   pb.MotionServiceClient
	plan  pb.RehearsalServiceClient
}

func newStepping(t *testing.T, members []decide.Member) *stepping {
	t.Helper()
	s := &stepping{clock: faults.NewClock(time.Now(), dusk), rig: heron(t)}
	slept := func() time.Duration { return time.Duration(s.slept.Load()) }
	watch := newWallClock(func() (bool, float64) { return true, 0.01 }, slept, nil, s.clock.Now()).read
	o := serveOptions{record: filepath.Join(t.TempDir(), "r.keepclear"), listen: "127.0.0.1:0"}
	sv, err := assemble(streams{nil, io.Discard, io.Discard, s.clock.Now}, members, o, watch, slept)
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- sv.server.Serve(ctx, sv.listener) }()
	conn := connect(t, sv.listener.Addr().String())
	t.Cleanup(func() { conn.Close(); stop(); <-ended; sv.close() })
	s.sv, s.ask, s.plan = sv, pb.NewMotionServiceClient(conn), pb.NewRehearsalServiceClient(conn)
	_, err = s.ask.Report(t.Context(), &pb.ReportRequest{
		RequestId: newID(), Rig: "heron", Asker: "test", SentTime: timestamppb.New(s.clock.Now()), Sample: s.sample(t),
		Event: &pb.ReportRequest_Homed{Homed: &pb.Homed{By: pb.HomedBy_HOMED_BY_SENSED}},
	})
	require.NoError(t, err)
	return s
}

// sample is the rig at home, as a program on the same machine reads it.
func (s *stepping) sample(t *testing.T) *pb.Sample { return sampleOf(t, s.rig, s.clock.Now(), 0, 0) }

// question is a slew by sky to a place near home.
func (s *stepping) question(t *testing.T) *pb.AskRequest {
	at := sampleOf(t, s.rig, s.clock.Now(), 5, 5).GetBelief()
	return &pb.AskRequest{
		RequestId: newID(), Rig: "heron", Asker: "test", AttendedBy: "M. Tester", SentTime: timestamppb.New(s.clock.Now()), Sample: s.sample(t),
		Action: &pb.Action{Kind: &pb.Action_Slew{Slew: &pb.Slew{Target: &pb.Slew_Sky{Sky: at.GetSky()}, Side: at.Side, TrackDuration: durationpb.New(0)}}},
	}
}

// Fault 11: the wall clock is set before the n-th reading that one question makes of it, for every n until none is left. An answer is
// judged at one reading: either the one before, and then every instant in it is that one plus its duration, or the one after, and then it
// is held with what the clock reads and what was due. The next question is held so in any case, until a minute later, when the clock is
// trusted again; and the permit has lived its time, no more and no less.
func TestClockStepsAtEveryReading(t *testing.T) {
	t.Parallel()
	files, facility, err := rigSource(serveOptions{practice: "heron"})
	require.NoError(t, err)
	members, err := newMembers(files, facility)
	require.NoError(t, err)
	for name, by := range map[string]time.Duration{"an hour back": -time.Hour, "a day forward": 24 * time.Hour} {
		allowed, held := 0, 0
		for n, clean := 1, false; !clean; n++ {
			s := newStepping(t, members)
			s.clock.Wait(time.Minute)
			s.sv.look()
			q := s.question(t)
			due := s.clock.Now()
			reads := s.clock.Reads()
			s.clock.StepAt(n, by)
			a, err := s.ask.Ask(t.Context(), q)
			require.NoError(t, err)
			clean = s.clock.Reads() < reads+n
			if n == 1 {
				held++
				heldForTheStep(t, a, due, by)
				continue
			}
			allowed++
			require.Equal(t, pb.Verdict_VERDICT_ALLOW, a.GetJudgement().GetVerdict(), "%s, reading %d: %s", name, n, said(a.GetJudgement()))
			judgedAt(t, a, due)
			if clean {
				continue
			}
			again, err := s.ask.Ask(t.Context(), s.question(t))
			require.NoError(t, err)
			heldForTheStep(t, again, due, by)
			s.livesItsTime(t, a.GetPermit())
		}
		assert.Equal(t, 1, held, name)
		assert.GreaterOrEqual(t, allowed, 2, "%s: the clock is read for the question and for its receipt", name)
	}
}

// heldForTheStep wants a hold by time/agree with both readings, to the second.
func heldForTheStep(t *testing.T, a *pb.AskResponse, due time.Time, by time.Duration) {
	t.Helper()
	assert.Equal(t, pb.Verdict_VERDICT_HOLD, a.GetJudgement().GetVerdict())
	assert.Nil(t, a.GetPermit())
	for _, rule := range []string{"time/agree", "pose/fresh"} {
		var found *pb.Finding
		for _, f := range a.GetJudgement().GetFindings() {
			if f.GetRuleId() == rule {
				found = f
			}
		}
		assert.Equal(t, pb.Effect_EFFECT_HOLD, found.GetEffect(), rule)
		assert.Contains(t, found.GetSentence(), "it reads "+stamp(due.UTC().Add(by)), rule)
		assert.Contains(t, found.GetSentence(), stamp(due.UTC())+" was due", rule)
		assert.NotEmpty(t, found.GetRemedy(), rule)
	}
}

// judgedAt wants every instant of an allow to be one reading of the clock plus its duration.
func judgedAt(t *testing.T, a *pb.AskResponse, due time.Time) {
	t.Helper()
	for _, d := range []*pb.Deadline{a.GetPermit().GetStartBy(), a.GetPermit().GetStopBy()} {
		assert.WithinDuration(t, due, d.GetAtTime().AsTime().Add(-d.GetWithinDuration().AsDuration()), 0)
	}
	assert.WithinDuration(t, due, a.GetReceipt().GetRecordTime().AsTime(), 0)
	assert.Zero(t, a.GetReceipt().GetTookDuration().AsDuration(), "no time passed, whatever the wall clock says")
}

// livesItsTime wants the permit open until its stop_by by the monotonic clock, and over afterwards.
func (s *stepping) livesItsTime(t *testing.T, p *pb.Permit) {
	t.Helper()
	open := func() string {
		v, err := s.sv.decider.Look(t.Context(), "heron")
		require.NoError(t, err)
		require.NotNil(t, v.State.Permit)
		if v.State.Permit.Open() {
			return ""
		}
		return v.State.Permit.Because
	}
	left := p.GetStopBy().GetWithinDuration().AsDuration()
	s.clock.Wait(left)
	s.sv.server.Every()
	assert.Empty(t, open())
	s.clock.Wait(time.Second)
	s.sv.server.Every()
	assert.Contains(t, open(), "past its stop_by")
	s.clock.Wait(time.Minute)
	s.sv.look()
	a, err := s.ask.Ask(t.Context(), s.question(t))
	require.NoError(t, err)
	assert.Equal(t, pb.Verdict_VERDICT_ALLOW, a.GetJudgement().GetVerdict(), "a minute later it is trusted again: %s", said(a.GetJudgement()))
}

// Fault 11: a rehearsal from where the rig is goes by one reading too: a mount that tracks is not carried a day along.
func TestRehearsalGoesByOneReading(t *testing.T) {
	t.Parallel()
	files, facility, err := rigSource(serveOptions{practice: "heron"})
	require.NoError(t, err)
	members, err := newMembers(files, facility)
	require.NoError(t, err)
	s := newStepping(t, members)
	tracks, motion := s.sample(t), pb.Motion_MOTION_TRACKING
	tracks.Time, tracks.Motion = timestamppb.New(tracks.GetTime().AsTime().Add(time.Millisecond)), &motion
	_, err = s.ask.Report(t.Context(), &pb.ReportRequest{RequestId: newID(), Rig: "heron", Asker: "test", SentTime: timestamppb.New(s.clock.Now()), Sample: tracks})
	require.NoError(t, err)
	s.clock.Wait(time.Second)
	plan := &pb.RehearseRequest{
		Rig: "heron", Start: &pb.RehearseRequest_StartHere{StartHere: true}, WithFacts: true, Steps: []*pb.RehearsalStep{{Action: s.question(t).GetAction()}},
	}
	s.clock.StepAt(2, 24*time.Hour)
	out, err := s.plan.Rehearse(t.Context(), plan)
	require.NoError(t, err)
	for _, f := range out.GetSteps()[0].GetOutlook().GetFacts() {
		if f.GetName() == "pose_sigma_axis1_deg" {
			assert.Less(t, f.GetNumber(), 0.1)
			return
		}
	}
	require.Fail(t, "no spread of the pose")
}

// sleep lets the machine sleep: the wall clock goes on and the monotonic one does not.
func (s *stepping) sleep(d time.Duration) {
	s.slept.Add(int64(d))
	s.clock.StepAt(0, d)
}

// Faults, rows 18 and 19: the machine sleeps while a permit is begun that has most of its time left by the monotonic clock. Whatever is
// asked first afterwards finds the permit taken back, with the sleep as the reason, and a new question is held with that reason.
func TestSleepTakesLeaveBackBeforeAnyOtherAnswer(t *testing.T) {
	t.Parallel()
	files, facility, err := rigSource(serveOptions{practice: "heron"})
	require.NoError(t, err)
	members, err := newMembers(files, facility)
	require.NoError(t, err)
	const words = "taken back by keepclear: this machine slept for 3.0 s: nobody watched what happened meanwhile"
	for name, first := range map[string]func(t *testing.T, s *stepping, q *pb.AskRequest) *pb.Permit{
		"the same question again": func(t *testing.T, s *stepping, q *pb.AskRequest) *pb.Permit {
			a, err := s.ask.Ask(t.Context(), q)
			require.NoError(t, err)
			return a.GetPermit()
		},
		"a report": func(t *testing.T, s *stepping, q *pb.AskRequest) *pb.Permit {
			_, err := s.ask.Report(t.Context(), &pb.ReportRequest{RequestId: newID(), Rig: "heron", Asker: "test", SentTime: timestamppb.New(s.clock.Now()), Sample: s.sample(t)})
			require.NoError(t, err)
			a, err := s.ask.Ask(t.Context(), q)
			require.NoError(t, err)
			return a.GetPermit()
		},
		"another question": func(t *testing.T, s *stepping, q *pb.AskRequest) *pb.Permit {
			out, err := s.ask.Ask(t.Context(), s.question(t))
			require.NoError(t, err)
			assert.Equal(t, pb.Verdict_VERDICT_HOLD, out.GetJudgement().GetVerdict())
			assert.Nil(t, out.GetPermit())
			for _, f := range out.GetJudgement().GetFindings() {
				if f.GetRuleId() == "time/agree" {
					assert.Contains(t, f.GetSentence(), "this machine slept for 3.0 s")
				}
				if f.GetRuleId() == "permit/one" {
					assert.NotEqual(t, pb.Effect_EFFECT_HOLD, f.GetEffect(), f.GetSentence())
				}
			}
			a, err := s.ask.Ask(t.Context(), q)
			require.NoError(t, err)
			return a.GetPermit()
		},
	} {
		s := newStepping(t, members)
		q := s.question(t)
		a, err := s.ask.Ask(t.Context(), q)
		require.NoError(t, err)
		require.Equal(t, pb.PermitState_PERMIT_STATE_BEGUN, a.GetPermit().GetState(), "%s: %s", name, said(a.GetJudgement()))
		s.clock.Wait(time.Second)
		s.sleep(3 * time.Second)
		p := first(t, s, q)
		s.sv.look()
		assert.Equal(t, pb.PermitState_PERMIT_STATE_WITHDRAWN, p.GetState(), name)
		assert.Equal(t, words, p.GetEndedBecause(), name)
		s.clock.Wait(2 * time.Minute)
		s.sv.look()
		a, err = s.ask.Ask(t.Context(), s.question(t))
		require.NoError(t, err)
		assert.Equal(t, pb.Verdict_VERDICT_ALLOW, a.GetJudgement().GetVerdict(), "%s: it goes on: %s", name, said(a.GetJudgement()))
	}
}

// Faults, row 18: the process stands still for longer than a permit lives, and nothing of its own goes round meanwhile. Whatever is asked
// first afterwards finds the permit over, with the reason.
func TestStoppedForLongerThanAPermitLives(t *testing.T) {
	t.Parallel()
	files, facility, err := rigSource(serveOptions{practice: "heron"})
	require.NoError(t, err)
	members, err := newMembers(files, facility)
	require.NoError(t, err)
	for _, waits := range []bool{false, true} {
		for name, first := range map[string]func(s *stepping, q *pb.AskRequest){
			"the same question again": func(*stepping, *pb.AskRequest) {},
			"another question": func(s *stepping, _ *pb.AskRequest) {
				out, err := s.ask.Ask(t.Context(), s.question(t))
				require.NoError(t, err)
				assert.Equal(t, pb.Verdict_VERDICT_ALLOW, out.GetJudgement().GetVerdict(), said(out.GetJudgement()))
			},
		} {
			s := newStepping(t, members)
			q := s.question(t)
			q.BeginLater = waits
			a, err := s.ask.Ask(t.Context(), q)
			require.NoError(t, err)
			require.NotNil(t, a.GetPermit(), said(a.GetJudgement()))
			s.clock.Wait(a.GetPermit().GetStopBy().GetWithinDuration().AsDuration() + time.Second)
			first(s, q)
			again, err := s.ask.Ask(t.Context(), q)
			require.NoError(t, err)
			want, says := pb.PermitState_PERMIT_STATE_WITHDRAWN, "past its stop_by"
			switch {
			case name == "another question":
				want, says = pb.PermitState_PERMIT_STATE_ENDED, "another was given since"
			case waits:
				want, says = pb.PermitState_PERMIT_STATE_EXPIRED, "not begun by"
			}
			assert.Equal(t, want, again.GetPermit().GetState(), name)
			assert.Contains(t, again.GetPermit().GetEndedBecause(), says, name)
		}
	}
}
