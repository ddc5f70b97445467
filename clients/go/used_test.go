package keepclear_test

import (
	"context"
	"errors"
	"sync/atomic"
	"testing"
	"time"
	"unsafe"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
)

// still fails the test if the mount is moved.
func still(t *testing.T) func(context.Context, *pb.Permit) error {
	return func(context.Context, *pb.Permit) error { t.Error("it moved"); return nil }
}

func numbered(id string, e uint64) *pb.Permit {
	return &pb.Permit{PermitId: id, Epoch: e, State: pb.PermitState_PERMIT_STATE_BEGUN}
}

// An allow is good for one motion, whoever keeps it for a second one: its permit is over, and no reply says so before the axes turn.
func TestAnAllowMovesOnce(t *testing.T) {
	f, m := &fake{}, &mount{}
	h := m.handle(t, served(t, f))
	for _, follow := range []time.Duration{0, time.Hour} { // one that ends with the motion, and one that stays open to track on
		a := h.Slew(context.Background(), keepclear.ICRS(38.2, 61.45), follow)
		require.True(t, a.Allowed())
		require.True(t, a.Move(context.Background(), ok).Moved)
		assert.False(t, a.Allowed())
		done := a.Move(context.Background(), still(t))
		assert.False(t, done.Moved)
		assert.Equal(t, "its permit was used", done.Why)
	}

	a := h.Sync(context.Background(), &pb.Solve{})
	require.True(t, a.Allowed())
	tell := 0
	for range 2 {
		a.Tell(context.Background(), func(context.Context, *pb.SyncLeave) error { tell++; return nil })
	}
	assert.Equal(t, 1, tell, "the mount is told once")
	assert.False(t, a.Allowed())
}

// Of two that move on one allow at once, one does.
func TestTwoMoveOnOneAllow(t *testing.T) {
	f, m := &fake{}, &mount{}
	a := m.handle(t, served(t, f)).Home(context.Background())
	var moved atomic.Int32
	both := make(chan keepclear.Done, 2)
	for range 2 {
		go func() {
			both <- a.Move(context.Background(), func(context.Context, *pb.Permit) error {
				moved.Add(1)
				time.Sleep(50 * time.Millisecond)
				return nil
			})
		}()
	}
	<-both
	<-both
	assert.Equal(t, int32(1), moved.Load())
	for _, r := range f.told() {
		assert.NotEqual(t, pb.EndKind_END_KIND_NOT_MOVED, r.GetEnd().GetKind(), "the other one does not close it")
	}
}

// Leave that this program gave back, replaced, or heard to be over moves nothing, though it is not late and nobody was asked again.
func TestWhatIsOverMovesNothing(t *testing.T) {
	ctx := context.Background()
	for name, c := range map[string]func(t *testing.T, f *fake, h *keepclear.Handle){
		"taken back": func(t *testing.T, _ *fake, h *keepclear.Handle) {
			_, err := h.Withdraw(ctx, "a person came in")
			require.NoError(t, err)
		},
		"replaced": func(t *testing.T, _ *fake, h *keepclear.Handle) { require.True(t, h.Home(ctx).Allowed()) },
		"a clutch was opened": func(t *testing.T, f *fake, h *keepclear.Handle) {
			f.report = func(*pb.ReportRequest) (*pb.ReportResponse, error) { return &pb.ReportResponse{Epoch: 9}, nil }
			_, err := h.Report(ctx, &pb.ReportRequest{Event: &pb.ReportRequest_Act{Act: &pb.Act{Kind: pb.ActKind_ACT_KIND_CLUTCH_OPENED}}})
			require.NoError(t, err)
		},
		"a sample showed it": func(t *testing.T, f *fake, h *keepclear.Handle) {
			f.report = func(*pb.ReportRequest) (*pb.ReportResponse, error) {
				p := numbered("first", 1)
				p.State = pb.PermitState_PERMIT_STATE_WITHDRAWN
				return &pb.ReportResponse{Epoch: 2, Permit: p}, nil
			}
			_, err := h.Report(ctx, &pb.ReportRequest{Sample: &pb.Sample{}})
			require.NoError(t, err)
		},
		"another has one": func(t *testing.T, f *fake, h *keepclear.Handle) {
			f.report = func(*pb.ReportRequest) (*pb.ReportResponse, error) {
				return &pb.ReportResponse{Epoch: 9, Permit: numbered("another's", 9)}, nil
			}
			_, err := h.Report(ctx, &pb.ReportRequest{Sample: &pb.Sample{}})
			require.NoError(t, err)
		},
	} {
		t.Run(name, func(t *testing.T) {
			f, m := &withdrawing{}, &mount{}
			ids := []string{"first", "second"}
			f.ask = func(r *pb.AskRequest) (*pb.AskResponse, error) {
				out := f.allow(r)
				out.GetPermit().PermitId = ids[f.epoch-1]
				return out, nil
			}
			h := m.handle(t, f.served(t))
			a := h.Slew(ctx, keepclear.ICRS(38.2, 61.45), 0)
			require.True(t, a.Allowed(), "%v", a)
			c(t, &f.fake, h)
			assert.False(t, a.Allowed())
			done := a.Move(ctx, still(t))
			assert.False(t, done.Moved)
			assert.Contains(t, done.Why, "no longer open")
			for _, r := range f.told() {
				assert.Nil(t, r.GetEnd(), "what is not open is not closed")
			}
		})
	}
}

// A reply to a report that set out before the permit was granted, and one that names the permit of before, take none of it away.
func TestRepliesOfBeforeLeaveThePermitOpen(t *testing.T) {
	ctx := context.Background()
	ended := numbered("older", 1)
	ended.State = pb.PermitState_PERMIT_STATE_ENDED
	for name, reply := range map[string]*pb.ReportResponse{
		"late":    {Epoch: 2},
		"another": {Epoch: 3, Permit: ended},
		"begun":   {Epoch: 4, Permit: numbered("permit", 3)},
	} {
		f, m := &fake{epoch: 2}, &mount{}
		f.report = func(*pb.ReportRequest) (*pb.ReportResponse, error) { return reply, nil }
		h := m.handle(t, served(t, f))
		a := h.Home(ctx)
		_, err := h.Report(ctx, &pb.ReportRequest{Sample: &pb.Sample{}})
		require.NoError(t, err)
		assert.True(t, a.Allowed(), name)
	}
}

// A later epoch kills leave for a sync.
func TestALaterEpochKillsASyncLeave(t *testing.T) {
	f, m := &fake{}, &mount{}
	h := m.handle(t, served(t, f))
	a := h.Sync(context.Background(), &pb.Solve{})
	require.True(t, a.Allowed())
	f.report = func(*pb.ReportRequest) (*pb.ReportResponse, error) { return &pb.ReportResponse{Epoch: 7}, nil }
	_, err := h.Report(context.Background(), &pb.ReportRequest{Sample: &pb.Sample{}})
	require.NoError(t, err)
	assert.False(t, a.Allowed())
	done := a.Tell(context.Background(), func(context.Context, *pb.SyncLeave) error { t.Error("it was told"); return nil })
	assert.Contains(t, done.Why, "epoch 1, and 7 was seen")
}

// An allow that contradicts itself, or does not say when it ends, is none.
func TestAllowsThatContradictThemselvesHold(t *testing.T) {
	finding := func(e pb.Effect) func(*pb.AskResponse) {
		return func(r *pb.AskResponse) {
			r.Judgement.Findings = []*pb.Finding{{RuleId: "time/agree", Effect: pb.Effect_EFFECT_PASS}, {RuleId: "roof/state", Effect: pb.Effect_EFFECT_NOT_APPLICABLE}, {RuleId: "sky/floor", Effect: e, Sentence: "too low"}}
		}
	}
	for name, c := range map[string]struct {
		spoil func(*pb.AskResponse)
		why   string
	}{
		"a deny in it":      {finding(pb.Effect_EFFECT_DENY), "sky/floor is no pass: too low"},
		"a hold in it":      {finding(pb.Effect_EFFECT_HOLD), "sky/floor is no pass: too low"},
		"nothing said":      {finding(pb.Effect_EFFECT_UNSPECIFIED), "sky/floor is no pass"},
		"a word of later":   {finding(77), "sky/floor is no pass"},
		"no end":            {func(r *pb.AskResponse) { r.GetPermit().StopBy = nil }, "until when the motion must have ended"},
		"an end of no kind": {func(r *pb.AskResponse) { r.GetPermit().StopBy.WithinDuration = &durationpb.Duration{Seconds: 1 << 62} }, "until when the motion must have ended"},
		"an endless start":  {func(r *pb.AskResponse) { r.GetPermit().StartBy.WithinDuration = &durationpb.Duration{Seconds: 1 << 62} }, "until when it may be used"},
	} {
		f, m := &fake{}, &mount{}
		f.ask = func(r *pb.AskRequest) (*pb.AskResponse, error) { out := f.allow(r); c.spoil(out); return out, nil }
		a := m.handle(t, served(t, f)).Home(context.Background())
		assert.Equal(t, keepclear.Hold, a.Verdict, name)
		assert.Contains(t, a.Why, c.why, name)
		assert.False(t, a.Move(context.Background(), still(t)).Moved, name)
	}
	f, m := &fake{}, &mount{}
	f.ask = func(r *pb.AskRequest) (*pb.AskResponse, error) {
		out := f.allow(r)
		finding(pb.Effect_EFFECT_PASS)(out)
		return out, nil
	}
	assert.Equal(t, keepclear.Allow, m.handle(t, served(t, f)).Home(context.Background()).Verdict, "passes speak against nothing")
}

// A permit that comes back from its begin with more than was granted moves nothing; what it does not repeat is as granted.
func TestBeginGrantsNoMoreThanWasAsked(t *testing.T) {
	for why, spoil := range map[string]func(*pb.Permit){
		`"hatch open"`:   func(p *pb.Permit) { p.Critical = []string{"hatch open"} },
		"practice rig":   func(p *pb.Permit) { p.Critical = []string{"practice"} },
		"another action": func(p *pb.Permit) { p.Action = &pb.Action{Kind: &pb.Action_Park{Park: &pb.Park{}}} },
		`rig "crane"`:    func(p *pb.Permit) { p.Rig = "crane" },
	} {
		f, m := &fake{}, &mount{}
		f.report = func(r *pb.ReportRequest) (*pb.ReportResponse, error) {
			p := numbered("permit", 1)
			spoil(p)
			return &pb.ReportResponse{Epoch: 1, Permit: p}, nil
		}
		done := m.handle(t, served(t, f), keepclear.BeginLater()).Home(context.Background()).Move(context.Background(), still(t))
		assert.False(t, done.Moved, why)
		assert.Contains(t, done.Why, why)
		require.Len(t, f.told(), 2, why)
		assert.Equal(t, pb.EndKind_END_KIND_NOT_MOVED, f.told()[1].GetEnd().GetKind(), "it is closed: %s", why)
	}
	f, m := &fake{}, &mount{}
	f.report = func(*pb.ReportRequest) (*pb.ReportResponse, error) {
		p := numbered("permit", 1)
		p.StopBy = &pb.Deadline{WithinDuration: durationpb.New(time.Second)}
		return &pb.ReportResponse{Epoch: 1, Permit: p}, nil
	}
	done := m.handle(t, served(t, f), keepclear.BeginLater()).Home(context.Background()).Move(context.Background(), func(ctx context.Context, p *pb.Permit) error {
		assert.NotNil(t, p.GetAction().GetHome(), "what was granted")
		assert.Equal(t, time.Second, p.GetStopBy().GetWithinDuration().AsDuration())
		<-ctx.Done()
		return nil
	})
	assert.Equal(t, "its time is over", done.Stopped, "sooner than was granted")
}

// Whoever breaks a motion off has it stopped, also where its body does not heed that, and a stop that is seen by nobody is told.
func TestBrokenOffIsStopped(t *testing.T) {
	for name, heeds := range map[string]bool{"heeded": true, "not heeded": false} {
		f, m := &fake{}, &mount{}
		a := m.handle(t, served(t, f)).Home(context.Background())
		ctx, cancel := context.WithCancel(context.Background())
		done := a.Move(ctx, func(ctx context.Context, _ *pb.Permit) error {
			cancel()
			if heeds {
				<-ctx.Done()
				return ctx.Err()
			}
			assert.Eventually(t, func() bool { return m.count() > 0 }, 5*time.Second, time.Millisecond, "the mount turns on, and nobody stops it")
			return nil
		})
		assert.Equal(t, "stopped: the program broke it off", done.String(), name)
		assert.Positive(t, m.count(), name)
		last := f.told()[len(f.told())-1]
		assert.Equal(t, pb.EndKind_END_KIND_STOPPED, last.GetEnd().GetKind(), name)
		assert.NotNil(t, last.GetSample(), "%s: where it stands is told", name)
	}
	f, m := &fake{}, &mount{}
	a := m.handle(t, served(t, f)).Home(context.Background())
	ctx, cancel := context.WithCancelCause(context.Background())
	cancel(errors.New("the window was shut"))
	done := a.Move(ctx, still(t))
	assert.Equal(t, "not moved: it was broken off before it began: the window was shut", done.String())
	assert.Equal(t, pb.EndKind_END_KIND_NOT_MOVED, f.told()[0].GetEnd().GetKind())
}

// A body that heeds its context and names no error has its mount stopped all the same, and what was broken off is never done; what was done before its
// context ended stays so.
func TestBrokenOffWithoutAnErrorIsNotDone(t *testing.T) {
	for _, follow := range []time.Duration{0, time.Hour} {
		for range 40 {
			f, m := &fake{}, &mount{}
			h := m.handle(t, served(t, f))
			ctx, cancel := context.WithCancel(context.Background())
			a := h.Slew(ctx, keepclear.ICRS(38.2, 61.45), follow)
			done := a.Move(ctx, func(ctx context.Context, _ *pb.Permit) error {
				time.AfterFunc(time.Millisecond, cancel)
				<-ctx.Done()
				return nil
			})
			require.Equal(t, "stopped: the program broke it off", done.String())
			require.Positive(t, m.count())
			require.Equal(t, pb.EndKind_END_KIND_STOPPED, f.told()[len(f.told())-1].GetEnd().GetKind())
		}
	}
	f, m := &fake{}, &mount{}
	ctx, cancel := context.WithCancel(context.Background())
	f.report = func(*pb.ReportRequest) (*pb.ReportResponse, error) { cancel(); return &pb.ReportResponse{}, nil } // while its end is told
	done := m.handle(t, served(t, f)).Home(ctx).Move(ctx, ok)
	assert.Equal(t, "done", done.String())
	assert.Zero(t, m.count())
}

// A body that panics has its mount stopped by one at a time.
func TestAPanicStopsOnceAtATime(t *testing.T) {
	var in, both, all atomic.Int32
	for range 20 {
		f := &fake{}
		h := keepclear.Rig("heron", keepclear.Mount{
			Read: func(context.Context) (*pb.Sample, error) { return &pb.Sample{}, nil },
			Stop: func(context.Context) error {
				all.Add(1)
				if in.Add(1) > 1 {
					both.Add(1)
				}
				time.Sleep(10 * time.Millisecond)
				in.Add(-1)
				return nil
			},
		}, keepclear.At(served(t, f)))
		assert.PanicsWithValue(t, "x", func() {
			h.Home(context.Background()).Move(context.Background(), func(context.Context, *pb.Permit) error { time.Sleep(2 * time.Millisecond); panic("x") })
		})
		require.NoError(t, h.Close())
	}
	time.Sleep(30 * time.Millisecond) // one that was begun beside it
	assert.Equal(t, int32(20), all.Load())
	assert.Zero(t, both.Load())
}

// Nor does the stop wait for a mount that is just being read.
func TestBrokenOffWhileTheMountIsRead(t *testing.T) {
	over, reading := make(chan struct{}), make(chan struct{}, 9)
	f, m := &fake{}, &mount{}
	a := m.reading(t, f, func(context.Context) error { reading <- struct{}{}; <-over; return nil }).Home(context.Background())
	ctx, cancel := context.WithCancel(context.Background())
	done := a.Move(ctx, func(context.Context, *pb.Permit) error {
		<-reading
		began := time.Now()
		cancel()
		assert.Eventually(t, func() bool { return m.count() > 0 }, 5*time.Second, time.Millisecond)
		assert.Less(t, time.Since(began), time.Second)
		close(over)
		return nil
	})
	assert.Equal(t, "the program broke it off", done.Stopped)
}

// asleep is an instant so long after another by the wall clock alone, as after a sleep of the machine: a monotonic clock stands still meanwhile.
func asleep(at time.Time, d time.Duration) time.Time {
	(*[3]uint64)(unsafe.Pointer(&at))[0] += uint64(d/time.Second) << 30 // seconds, above 30 bits of nanoseconds: the layout of time.Time
	return at
}

// Leave is not younger for the machine having slept, nor for its clock having been set back.
func TestSleepMakesNoLeaveYounger(t *testing.T) {
	at := time.Now()
	night := asleep(at, 8*time.Hour)
	require.Zero(t, night.Sub(at), "by the monotonic clock")
	require.Equal(t, 8*time.Hour, night.Round(0).Sub(at.Round(0)), "by the other")
	assert.Equal(t, 8*time.Hour, keepclear.Passed(at, night))
	assert.Equal(t, 3*time.Second, keepclear.Passed(night, at.Add(3*time.Second)), "set back")
	assert.Equal(t, time.Minute, keepclear.Passed(at, at.Add(time.Minute)))
	assert.Equal(t, -time.Minute, keepclear.Passed(at, at.Add(-time.Minute)), "both go back: no clock of ours")

	f, m := &fake{}, &mount{}
	var now atomic.Pointer[time.Time]
	now.Store(&at)
	h := m.handle(t, served(t, f), keepclear.Clock(func() time.Time { return *now.Load() }))
	a := h.Home(context.Background())
	require.True(t, a.Allowed())
	now.Store(&night)
	assert.False(t, a.Allowed())
	done := a.Move(context.Background(), still(t))
	assert.Contains(t, done.Why, "too late: 28800.0 s")

	now.Store(&at)
	a = h.Home(context.Background())
	done = a.Move(context.Background(), func(ctx context.Context, _ *pb.Permit) error {
		now.Store(&night)
		<-ctx.Done()
		return nil
	})
	assert.Equal(t, "its time is over", done.Stopped)
}
