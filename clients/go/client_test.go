package keepclear_test

import (
	"context"
	"errors"
	"net"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func ok(context.Context, *pb.Permit) error { return nil }

func TestAllowMovesAndReportsTheEnd(t *testing.T) {
	f, m := &fake{}, &mount{}
	h := m.handle(t, served(t, f))
	a := h.Slew(context.Background(), keepclear.ICRS(38.2, 61.45), 0)
	require.Equal(t, keepclear.Allow, a.Verdict, "%v", a)
	ran := false
	done := a.Move(context.Background(), func(context.Context, *pb.Permit) error { ran = true; return nil })
	assert.True(t, ran)
	assert.Equal(t, "done", done.String())
	require.Len(t, f.told(), 1)
	assert.Equal(t, pb.EndKind_END_KIND_DONE, f.told()[0].GetEnd().GetKind())
	assert.Zero(t, m.count())
	q := f.questions()[0]
	assert.Regexp(t, `^[A-Za-z0-9_-]{16,64}$`, q.GetRequestId())
	assert.NotNil(t, q.GetSentTime())
}

// What is said of an action says the side that it asks for: the other side is another motion, and may be the one that would pass.
func TestSideAndPlaceAreSaid(t *testing.T) {
	slew := &pb.Slew{Target: &pb.Slew_Sky{Sky: &pb.SkyPosition{RaDeg: proto.Float64(10), DecDeg: proto.Float64(-5), Frame: pb.SkyFrame_SKY_FRAME_ICRS}}}
	action := &pb.Action{Kind: &pb.Action_Slew{Slew: slew}}
	assert.Equal(t, "slew to 10.000°, -5.000° ICRS", keepclear.Say(action))
	slew.Side = pb.TubeSide_TUBE_SIDE_EAST.Enum()
	assert.Equal(t, "slew to 10.000°, -5.000° ICRS, tube east", keepclear.Say(action))
	assert.Equal(t, "park at low", keepclear.Say(&pb.Action{Kind: &pb.Action_Park{Park: &pb.Park{Place: "low"}}}))
}

// A creep is asked for as it is meant, its permit is that of the creep, and what is said of it names axis, angle and rate.
func TestCreepIsAskedFor(t *testing.T) {
	f, m := &fake{}, &mount{}
	a := m.handle(t, served(t, f)).Creep(context.Background(), 2, -3.5, 0.2)
	require.Equal(t, keepclear.Allow, a.Verdict, "%v", a)
	asked := f.questions()[0].GetAction()
	assert.Equal(t, uint32(2), asked.GetCreep().GetAxis())
	assert.Equal(t, [2]float64{-3.5, 0.2}, [2]float64{asked.GetCreep().GetByDeg(), asked.GetCreep().GetRateDegPerS()})
	assert.Equal(t, "creep: turn axis 2 by -3.50°, at 0.20°/s at most", keepclear.Say(asked))
	assert.Equal(t, "done", a.Move(context.Background(), ok).String())

	f.ask = func(r *pb.AskRequest) (*pb.AskResponse, error) {
		out := f.allow(r)
		other := proto.Clone(r.GetAction()).(*pb.Action)
		other.GetCreep().Axis = 1
		out.GetPermit().Action = other
		return out, nil
	}
	a = m.handle(t, served(t, f)).Creep(context.Background(), 2, -3.5, 0.2)
	assert.Equal(t, keepclear.Hold, a.Verdict, "leave to turn the other axis is none")
}

// Every way in which an allow can be broken is a hold, and says how; nothing moves.
func TestBrokenAllowsHold(t *testing.T) {
	cases := map[string]struct {
		break_ func(*pb.AskResponse)
		why    string
	}{
		"no permit":          {func(r *pb.AskResponse) { r.Leave = nil }, "sent no permit"},
		"sync leave instead": {func(r *pb.AskResponse) { r.Leave = &pb.AskResponse_SyncLeave{SyncLeave: &pb.SyncLeave{Live: true}} }, "sent no permit"},
		"another action":     {func(r *pb.AskResponse) { r.GetPermit().Action = &pb.Action{Kind: &pb.Action_Home{Home: &pb.Home{}}} }, "another action"},
		"a target nudged":    {func(r *pb.AskResponse) { d := 38.20000001; r.GetPermit().GetAction().GetSlew().GetSky().RaDeg = &d }, "another action"},
		"no action":          {func(r *pb.AskResponse) { r.GetPermit().Action = nil }, "another action"},
		"another question":   {func(r *pb.AskResponse) { r.GetPermit().RequestId = "x" }, "another question"},
		"another rig":        {func(r *pb.AskResponse) { r.GetPermit().Rig = "crane" }, `rig "crane"`},
		"no id":              {func(r *pb.AskResponse) { r.GetPermit().PermitId = "" }, "no id"},
		"no epoch":           {func(r *pb.AskResponse) { r.GetPermit().Epoch = 0 }, "epoch 0"},
		"unknown condition":  {func(r *pb.AskResponse) { r.GetPermit().Critical = []string{"hatch open"} }, `"hatch open"`},
		"practice":           {func(r *pb.AskResponse) { r.GetPermit().Critical = []string{"practice"} }, "practice rig"},
		"granted, not begun": {func(r *pb.AskResponse) { r.GetPermit().State = pb.PermitState_PERMIT_STATE_GRANTED }, "granted"},
		"withdrawn": {func(r *pb.AskResponse) {
			r.GetPermit().State = pb.PermitState_PERMIT_STATE_WITHDRAWN
			r.GetPermit().EndedBecause = "locked"
		}, "withdrawn: locked"},
		"unknown state":         {func(r *pb.AskResponse) { r.GetPermit().State = 99 }, "99"},
		"no deadline":           {func(r *pb.AskResponse) { r.GetPermit().StartBy = nil }, "until when"},
		"deadline of no length": {func(r *pb.AskResponse) { r.GetPermit().StartBy = &pb.Deadline{} }, "until when"},
		"already too late":      {func(r *pb.AskResponse) { r.GetPermit().StartBy.WithinDuration = durationpb.New(0) }, "too late"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			f, m := &fake{}, &mount{}
			f.ask = func(r *pb.AskRequest) (*pb.AskResponse, error) { out := f.allow(r); c.break_(out); return out, nil }
			a := m.handle(t, served(t, f)).Slew(context.Background(), keepclear.ICRS(38.2, 61.45), 0)
			assert.Equal(t, keepclear.Hold, a.Verdict)
			assert.Contains(t, a.Why, c.why)
			done := a.Move(context.Background(), func(context.Context, *pb.Permit) error { t.Error("it moved"); return nil })
			assert.False(t, done.Moved)
		})
	}
}

func TestUnknownVerdictsHold(t *testing.T) {
	for _, v := range []pb.Verdict{0, pb.Verdict_VERDICT_HOLD, 4, 99, -1} {
		f, m := &fake{}, &mount{}
		f.ask = func(r *pb.AskRequest) (*pb.AskResponse, error) {
			out := f.allow(r)
			out.Judgement.Verdict = v
			return out, nil
		}
		a := m.handle(t, served(t, f)).Slew(context.Background(), keepclear.ICRS(38.2, 61.45), 0)
		assert.Equal(t, keepclear.Hold, a.Verdict, "verdict %d", v)
		assert.False(t, a.Move(context.Background(), ok).Moved)
	}
	for _, empty := range []*pb.AskResponse{{}, {Judgement: &pb.Judgement{}}} {
		f, m := &fake{}, &mount{}
		f.ask = func(*pb.AskRequest) (*pb.AskResponse, error) { return empty, nil }
		assert.Equal(t, keepclear.Hold, m.handle(t, served(t, f)).Home(context.Background()).Verdict)
	}
}

// faults.md row 51: every status code is a hold, with the code's reason.
func TestEveryStatusCodeHolds(t *testing.T) {
	for code := codes.Canceled; code <= codes.Unauthenticated; code++ {
		if code == codes.Unavailable || code == codes.DeadlineExceeded {
			continue // tried again: see below
		}
		f, m := &fake{}, &mount{}
		f.ask = func(*pb.AskRequest) (*pb.AskResponse, error) { return nil, status.Error(code, "because") }
		a := m.handle(t, served(t, f)).Home(context.Background())
		assert.Equal(t, keepclear.Hold, a.Verdict, "%s", code)
		assert.Contains(t, a.Why, "because")
		assert.NotContains(t, a.Why, code.String(), "names of codes help nobody at a mount")
		assert.Len(t, f.questions(), 1, "%s is not tried again", code)
		assert.False(t, a.Move(context.Background(), ok).Moved)
	}
}

// A lost reply is asked for again with the same bytes, and the recorded answer serves.
func TestLostReplyIsAskedForAgain(t *testing.T) {
	f, m := &fake{}, &mount{}
	n := 0
	f.ask = func(r *pb.AskRequest) (*pb.AskResponse, error) {
		if n++; n < 3 {
			return nil, status.Error(codes.Unavailable, "gone")
		}
		return f.allow(r), nil
	}
	a := m.handle(t, served(t, f)).Home(context.Background())
	assert.Equal(t, keepclear.Allow, a.Verdict)
	require.Len(t, f.questions(), 3)
	for _, q := range f.questions() {
		assert.Equal(t, f.questions()[0].String(), q.String(), "the same bytes")
	}
}

// Nobody there, or somebody who speaks another language: a hold in bounded time.
func TestNobodyThereHolds(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	gone := l.Addr().String()
	l.Close()
	ctx, cancel := context.WithTimeout(context.Background(), 300*time.Millisecond)
	defer cancel()
	m := &mount{}
	a := m.handle(t, gone).Home(ctx)
	assert.Equal(t, keepclear.Hold, a.Verdict)

	garbage, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer garbage.Close()
	go func() {
		for {
			c, err := garbage.Accept()
			if err != nil {
				return
			}
			c.Write([]byte("HTTP/1.1 200 OK\r\n\r\nallow"))
			c.Close()
		}
	}()
	ctx2, cancel2 := context.WithTimeout(context.Background(), 300*time.Millisecond)
	defer cancel2()
	assert.Equal(t, keepclear.Hold, m.handle(t, garbage.Addr().String()).Home(ctx2).Verdict)
}

func TestHandleWithoutStopHoldsEverything(t *testing.T) {
	f := &fake{}
	h := keepclear.Rig("heron", keepclear.Mount{Read: func(context.Context) (*pb.Sample, error) { return &pb.Sample{}, nil }}, keepclear.At(served(t, f)))
	defer h.Close()
	a := h.Home(context.Background())
	assert.Equal(t, keepclear.Hold, a.Verdict)
	assert.Contains(t, a.Why, "stops the mount")
	assert.Empty(t, f.questions(), "nobody was even asked")
}

func TestUnreadableMountHolds(t *testing.T) {
	f := &fake{}
	h := keepclear.Rig("heron", keepclear.Mount{
		Read: func(context.Context) (*pb.Sample, error) { return nil, errors.New("cable") },
		Stop: func(context.Context) error { return nil },
	}, keepclear.At(served(t, f)))
	defer h.Close()
	a := h.Home(context.Background())
	assert.Equal(t, keepclear.Hold, a.Verdict)
	assert.Contains(t, a.Why, "cable")
}

// The zero answer, and an allow used twice too late, move nothing.
func TestLateAllowsDoNotMove(t *testing.T) {
	assert.False(t, keepclear.Answer{}.Move(context.Background(), ok).Moved)
	assert.Equal(t, keepclear.Hold, keepclear.Answer{}.Verdict)
	now := time.Unix(1_800_000_000, 0)
	f, m := &fake{}, &mount{}
	h := m.handle(t, served(t, f), keepclear.Clock(func() time.Time { return now }))
	a := h.Home(context.Background())
	require.True(t, a.Allowed())
	now = now.Add(11 * time.Second)
	assert.False(t, a.Allowed())
	done := a.Move(context.Background(), ok)
	assert.False(t, done.Moved)
	assert.Contains(t, done.Why, "too late")
	assert.Equal(t, pb.EndKind_END_KIND_NOT_MOVED, f.told()[0].GetEnd().GetKind())
}

// An answer made by hand is none to a question, so it moves nothing.
func TestAnswersMadeByHandMoveNothing(t *testing.T) {
	f := &fake{}
	req := &pb.AskRequest{RequestId: "r", Rig: "heron", Action: &pb.Action{Kind: &pb.Action_Home{Home: &pb.Home{}}}}
	a := keepclear.Answer{Verdict: keepclear.Allow, Reply: f.allow(req)}
	assert.False(t, a.Allowed())
	assert.False(t, a.Move(context.Background(), ok).Moved)
}

// Terms alone hold an allow as a Handle does: the words of the verdict, the epoch seen, the time that passed, and that a clock went back.
func TestTermsHoldAnAllow(t *testing.T) {
	f := &fake{epoch: 4}
	for name, action := range map[string]*pb.Action{"a motion": {Kind: &pb.Action_Home{Home: &pb.Home{}}}, "a sync": {Kind: &pb.Action_Sync{Sync: &pb.Sync{}}}} {
		req := &pb.AskRequest{RequestId: "r", Rig: "heron", Action: action}
		reply := f.allow(req)
		epoch := f.epoch
		assert.Empty(t, keepclear.Terms{Epoch: epoch, Since: 10 * time.Second}.Fault(req, reply), name)
		for wrong, terms := range map[string]keepclear.Terms{
			"and 99 was seen":  {Epoch: 99},
			"too late: 10.1 s": {Since: 10*time.Second + 100*time.Millisecond},
			"too late: -1.0 s": {Since: -time.Second},
		} {
			assert.Contains(t, terms.Fault(req, reply), wrong, name)
		}
		for _, v := range []pb.Verdict{pb.Verdict_VERDICT_UNSPECIFIED, pb.Verdict_VERDICT_DENY, pb.Verdict_VERDICT_HOLD, 99} {
			reply.Judgement.Verdict = v
			assert.Contains(t, keepclear.Terms{}.Fault(req, reply), "no allow", "%s: one key is not two", name)
		}
		assert.NotEmpty(t, keepclear.Terms{}.Fault(req, nil), name)
	}
}

func TestOlderEpochHolds(t *testing.T) {
	f, m := &fake{}, &mount{}
	h := m.handle(t, served(t, f))
	require.Equal(t, keepclear.Allow, h.Home(context.Background()).Verdict)
	require.Equal(t, keepclear.Allow, h.Home(context.Background()).Verdict)
	f.mu.Lock()
	f.epoch = 0
	f.mu.Unlock()
	a := h.Home(context.Background())
	assert.Equal(t, keepclear.Hold, a.Verdict)
	assert.Contains(t, a.Why, "epoch 1, and 2 was seen")
}

// The permit is taken back while the mount moves: it is stopped first, then told about.
func TestWithdrawnUnderWayStops(t *testing.T) {
	f, m := &fake{}, &mount{}
	f.report = func(r *pb.ReportRequest) (*pb.ReportResponse, error) {
		return &pb.ReportResponse{Permit: &pb.Permit{PermitId: "permit", State: pb.PermitState_PERMIT_STATE_WITHDRAWN, EndedBecause: "locked by A"}}, nil
	}
	a := m.handle(t, served(t, f)).Home(context.Background())
	done := a.Move(context.Background(), func(ctx context.Context, _ *pb.Permit) error {
		<-ctx.Done()
		assert.Positive(t, m.count(), "it was stopped before the body heard of it")
		return ctx.Err()
	})
	assert.True(t, done.Moved)
	assert.Contains(t, done.Stopped, "locked by A")
	last := f.told()[len(f.told())-1]
	assert.Equal(t, pb.EndKind_END_KIND_STOPPED, last.GetEnd().GetKind())
}

// A permit that the reply no longer has is gone, and what the sample put in doubt says why.
func TestPermitThatIsGoneIsExplained(t *testing.T) {
	for want, findings := range map[string][]*pb.Finding{
		"the permit is no longer open": nil,
		"the permit is no longer open: the rig is outside its way: stop it": {
			{RuleId: "seen/homed"}, {RuleId: "seen/homed", Sentence: "homed"}, {RuleId: "seen/side_shown", Sentence: "the side is known"}, {RuleId: "seen/permit_begun", Sentence: "the rig may move"},
			{RuleId: "seen/source_closes", Sentence: "it closed"}, {RuleId: "seen/solve_sides_with_pose", Sentence: "a solve agrees"}, {RuleId: "seen/off_way", Sentence: "the rig is outside its way: stop it"}, {Sentence: "a second"},
		},
	} {
		f, m := &fake{}, &mount{}
		f.report = func(*pb.ReportRequest) (*pb.ReportResponse, error) {
			return &pb.ReportResponse{Findings: findings}, nil
		}
		a := m.handle(t, served(t, f)).Home(context.Background())
		done := a.Move(context.Background(), func(ctx context.Context, _ *pb.Permit) error {
			<-ctx.Done()
			return ctx.Err()
		})
		assert.Equal(t, want, done.Stopped)
	}
}

// The service goes silent under way, half-open or gone: the mount is stopped, and told that it was for the silence.
func TestSilenceUnderWayStops(t *testing.T) {
	for name, answer := range map[string]func(done <-chan struct{}) error{
		"half-open": func(done <-chan struct{}) error { <-done; return errors.New("never") },
		"gone":      func(<-chan struct{}) error { return status.Error(codes.Unavailable, "gone") },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			over := make(chan struct{})
			f, m := &fake{}, &mount{}
			f.report = func(*pb.ReportRequest) (*pb.ReportResponse, error) { return nil, answer(over) }
			h := m.handle(t, served(t, f))
			a := h.Home(context.Background())
			done := a.Move(context.Background(), func(ctx context.Context, _ *pb.Permit) error {
				defer close(over)
				select {
				case <-ctx.Done():
				case <-time.After(30 * time.Second):
				}
				return ctx.Err()
			})
			assert.Contains(t, done.Stopped, "nobody answered for")
			assert.Positive(t, m.count())
		})
	}
}

// reading is a handle of a mount that is read in its own way, once the motion has begun.
func (m *mount) reading(t *testing.T, f *fake, read func(ctx context.Context) error) *keepclear.Handle {
	begun := func() bool { return len(f.questions()) > 0 }
	h := keepclear.Rig("heron", keepclear.Mount{
		Read: func(ctx context.Context) (*pb.Sample, error) {
			if !begun() {
				return &pb.Sample{}, nil
			}
			return &pb.Sample{}, read(ctx)
		},
		Stop: func(context.Context) error { m.mu.Lock(); defer m.mu.Unlock(); m.stops++; return nil },
	}, keepclear.At(served(t, f)))
	t.Cleanup(func() { h.Close() })
	return h
}

// A mount that takes a second to be read moves as any other, and one that cannot be read any more is stopped, whether it heeds its context or not.
func TestSlowMountMovesAndMuteOneStops(t *testing.T) {
	over := make(chan struct{})
	t.Cleanup(func() { close(over) })
	for name, c := range map[string]struct {
		read func(ctx context.Context) error
		says string
	}{
		"slow":   {func(context.Context) error { time.Sleep(1100 * time.Millisecond); return nil }, ""},
		"mute":   {func(context.Context) error { <-over; return nil }, "the mount could not be read for"},
		"broken": {func(context.Context) error { return errors.New("no") }, "the mount could not be read for"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f, m := &fake{}, &mount{}
			a := m.reading(t, f, c.read).Home(context.Background())
			done := a.Move(context.Background(), func(ctx context.Context, _ *pb.Permit) error {
				span := 5 * time.Second
				if c.says != "" {
					span = 30 * time.Second
				}
				select {
				case <-ctx.Done():
				case <-time.After(span):
				}
				return ctx.Err()
			})
			if c.says == "" {
				assert.Equal(t, "done", done.String())
				return
			}
			assert.Contains(t, done.Stopped, c.says)
			assert.Positive(t, m.count())
		})
	}
}

// A body that takes the rest of a stopped mount for the end of the motion does not make it one.
func TestStoppedIsNotDone(t *testing.T) {
	f, m := &fake{}, &mount{}
	f.report = func(*pb.ReportRequest) (*pb.ReportResponse, error) {
		return &pb.ReportResponse{Permit: &pb.Permit{PermitId: "permit", State: pb.PermitState_PERMIT_STATE_WITHDRAWN, EndedBecause: "locked by A"}}, nil
	}
	a := m.handle(t, served(t, f)).Home(context.Background())
	done := a.Move(context.Background(), func(context.Context, *pb.Permit) error {
		for m.count() == 0 {
			time.Sleep(time.Millisecond)
		}
		return nil
	})
	assert.Contains(t, done.Stopped, "locked by A")
	last := f.told()[len(f.told())-1]
	assert.Equal(t, pb.EndKind_END_KIND_STOPPED, last.GetEnd().GetKind())
}

func TestFailedBodyStops(t *testing.T) {
	f, m := &fake{}, &mount{}
	a := m.handle(t, served(t, f)).Home(context.Background())
	done := a.Move(context.Background(), func(context.Context, *pb.Permit) error { return errors.New("stalled") })
	assert.Contains(t, done.String(), "stalled")
	assert.Positive(t, m.count())
	assert.Equal(t, pb.EndKind_END_KIND_FAILED, f.told()[0].GetEnd().GetKind())
}

func TestPanickingBodyStopsBeforeThePanicGoesOn(t *testing.T) {
	f, m := &fake{}, &mount{}
	a := m.handle(t, served(t, f)).Home(context.Background())
	assert.Panics(t, func() { a.Move(context.Background(), func(context.Context, *pb.Permit) error { panic("bug") }) })
	assert.Positive(t, m.count())
}

// begin_later: nothing moves until the permit has begun.
func TestBeginLater(t *testing.T) {
	f, m := &fake{}, &mount{}
	h := m.handle(t, served(t, f), keepclear.BeginLater())
	a := h.Home(context.Background())
	require.Equal(t, keepclear.Allow, a.Verdict)
	done := a.Move(context.Background(), ok)
	assert.True(t, done.Moved, "%v", done)
	assert.NotNil(t, f.told()[0].GetBegin())
	assert.NotNil(t, f.told()[0].GetSample())

	f.report = func(*pb.ReportRequest) (*pb.ReportResponse, error) {
		return &pb.ReportResponse{Permit: &pb.Permit{PermitId: "permit", State: pb.PermitState_PERMIT_STATE_EXPIRED}, Findings: []*pb.Finding{{Sentence: "the pose is off the judged start"}}}, nil
	}
	done = h.Home(context.Background()).Move(context.Background(), ok)
	assert.False(t, done.Moved)
	assert.Contains(t, done.Why, "off the judged start")
}

// The open permit is named as the one to replace, until it is over.
func TestOpenPermitIsNamedAsReplaced(t *testing.T) {
	f, m := &fake{}, &mount{}
	h := m.handle(t, served(t, f))
	a := h.Slew(context.Background(), keepclear.ICRS(38.2, 61.45), time.Hour)
	require.True(t, a.Move(context.Background(), ok).Moved)
	h.Slew(context.Background(), keepclear.ICRS(38.2, 61.45), 0)
	assert.Equal(t, "permit", f.questions()[1].GetReplacesPermitId())
	h.Sync(context.Background(), &pb.Solve{})
	assert.Empty(t, f.questions()[2].GetReplacesPermitId(), "a sync replaces none")
}

func TestSyncLeave(t *testing.T) {
	f, m := &fake{}, &mount{}
	h := m.handle(t, served(t, f))
	a := h.Sync(context.Background(), &pb.Solve{Sky: keepclear.ICRS(1, 2)})
	require.Equal(t, keepclear.Allow, a.Verdict, "%v", a)
	assert.False(t, a.Move(context.Background(), ok).Moved, "leave for a sync moves nothing")
	done := a.Tell(context.Background(), func(context.Context, *pb.SyncLeave) error { return errors.New("mount said no") })
	assert.True(t, done.Moved)
	assert.True(t, f.told()[0].GetSynced().GetRefused())
	assert.Equal(t, "leave", f.told()[0].GetSynced().GetLeaveId())

	f.ask = func(r *pb.AskRequest) (*pb.AskResponse, error) {
		out := f.allow(r)
		out.GetSyncLeave().Live = false
		return out, nil
	}
	assert.Equal(t, keepclear.Hold, h.Sync(context.Background(), &pb.Solve{Sky: keepclear.ICRS(1, 2)}).Verdict)
}

// A deny tells the hold that it may come of: a wrong clock denies places that are harmless.
func TestADenyTellsWhatItMayComeOf(t *testing.T) {
	const h, d, p = pb.Effect_EFFECT_HOLD, pb.Effect_EFFECT_DENY, pb.Effect_EFFECT_PASS
	clock := &pb.Finding{RuleId: "mount/map", Effect: h, Sentence: "The mount's clock is off.", Remedy: "Set it."}
	for name, c := range map[string]struct {
		verdict  pb.Verdict
		findings []*pb.Finding
		want     *pb.Finding
	}{
		"a clock":         {pb.Verdict_VERDICT_DENY, []*pb.Finding{{RuleId: "travel/axis1", Effect: d}, {RuleId: "asker/fallback", Effect: h}, clock, {RuleId: "pose/known", Effect: h}}, clock},
		"nothing of that": {pb.Verdict_VERDICT_DENY, []*pb.Finding{{RuleId: "pose/known", Effect: d}, {RuleId: "asker/fallback", Effect: h}, {RuleId: "time/agree", Effect: p}}, nil},
		"a hold":          {pb.Verdict_VERDICT_HOLD, []*pb.Finding{clock}, nil},
	} {
		j := &pb.Judgement{Verdict: c.verdict, Findings: c.findings}
		assert.Same(t, c.want, keepclear.Doubted(j), name)
		a := keepclear.Answer{Verdict: keepclear.Deny, Why: "Too far.", Help: "Turn back.", Reply: &pb.AskResponse{Judgement: j}}
		want := "DENY  Too far.\n      Turn back."
		if c.want != nil {
			want += "\n      It may come of this: The mount's clock is off.\n      Set it."
		}
		assert.Equal(t, want, a.String(), name)
	}
	bare := &pb.Judgement{Verdict: pb.Verdict_VERDICT_DENY, Findings: []*pb.Finding{{RuleId: "pose/known", Effect: h, Sentence: "The pose is not known."}}}
	assert.Equal(t, "DENY  Too far.\n      It may come of this: The pose is not known.", keepclear.Answer{Verdict: keepclear.Deny, Why: "Too far.", Reply: &pb.AskResponse{Judgement: bare}}.String(), "no remedy, no line")
	for _, rule := range []string{"time/agree", "mount/map", "pose/fresh", "belief/agrees", "end/bounded"} {
		assert.NotNil(t, keepclear.Doubted(&pb.Judgement{Verdict: pb.Verdict_VERDICT_DENY, Findings: []*pb.Finding{{RuleId: rule, Effect: h}}}), rule)
	}
}

// A refused question is read with what would pass instead, in a person's words.
func TestAnswerTellsWhatWouldPass(t *testing.T) {
	at := func(a1, a2 float64) *pb.Action {
		return &pb.Action{Kind: &pb.Action_Slew{Slew: &pb.Slew{Target: &pb.Slew_Axes{Axes: keepclear.Axes(a1, a2)}, TrackDuration: durationpb.New(0)}}}
	}
	a := keepclear.Answer{Verdict: keepclear.Deny, Why: "Too near.", Help: "Go round.", AskInstead: []*pb.Action{at(0, 20), at(-30, 20)}}
	assert.Equal(t, "DENY  Too near.\n      Go round.\n      Would pass now: slew to axes (0.00°, 20.00°)\n      and then ask:   slew to axes (-30.00°, 20.00°)", a.String())
}
