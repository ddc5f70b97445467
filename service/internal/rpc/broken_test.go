package rpc_test

import (
	"context"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/faults"
)

// once panics the first time it is called, with a text that would break a log.
func once() func() {
	done := false
	return func() {
		if !done {
			done = true
			panic("boom\nlevel=INFO msg=\"all is well\"")
		}
	}
}

// A panic in any room is an error, is on record and in the log on one line, and the next question is answered.
func TestPanicIsAnErrorOnRecord(t *testing.T) {
	for name, arm := range map[string]func(b *bench){
		"judging":    func(b *bench) { b.judged = once() },
		"encoding":   func(b *bench) { b.coded = once() },
		"looking up": func(b *bench) { b.looked = once() },
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			b.ready()
			arm(b)
			q := b.slew(30, 40)
			_, err := b.motion.Ask(t.Context(), q)
			require.Equal(t, codes.Internal, status.Code(err), "%v", err)
			assert.Equal(t, "BUG", reason(err))
			e := b.newest(1)[0]
			assert.Equal(t, pb.EntryKind_ENTRY_KIND_REFUSED, e.GetKind())
			assert.Contains(t, e.GetSentence(), "a fault of ours: boom")
			for _, line := range strings.Split(strings.TrimSpace(b.log.String()), "\n") {
				assert.True(t, strings.HasPrefix(line, "time="), "a line of its own: %s", line)
			}
			b.allowed(q)
		})
	}
}

// A panic over a report leaves its rig held: what it said may be lost.
func TestPanicOverAReportHoldsItsRig(t *testing.T) {
	b := newBench(t)
	b.ready()
	b.looked = once()
	_, err := b.report(&pb.ReportRequest{Sample: b.sample(0, 0)})
	require.Equal(t, codes.Internal, status.Code(err))
	assert.Equal(t, pb.Verdict_VERDICT_HOLD, b.mustAsk(b.slew(30, 40)).GetJudgement().GetVerdict())
	b.mustReport(&pb.ReportRequest{Sample: b.sample(0, 0)})
	b.allowed(b.slew(30, 40))
}

// An asker who goes while the answer is on its way to the disk stops nothing: the entry is there, and asking again gets the answer.
func TestCancelNeverInterruptsAnAppend(t *testing.T) {
	b := newBench(t)
	b.ready()
	held, release := b.disk.Hold()
	q := b.slew(30, 40)
	ctx, cancel := context.WithCancel(t.Context())
	gone := make(chan error, 1)
	go func() {
		_, err := b.motion.Ask(ctx, q)
		gone <- err
	}()
	<-held
	cancel()
	assert.Equal(t, codes.Canceled, status.Code(<-gone))
	release()
	out := b.allowed(q)
	assert.Equal(t, out.GetPermit().GetPermitId(), b.entry(q.GetRequestId()).GetAsked().GetResponse().GetPermit().GetPermitId())
}

// Every deadline however short gives an error or an answer, never half of one; what was begun is on record afterwards.
func TestShortDeadlines(t *testing.T) {
	b := newBench(t)
	b.ready()
	for d := time.Microsecond; d < 8*time.Millisecond; d *= 2 {
		q := b.slew(30, 40)
		ctx, cancel := context.WithTimeout(t.Context(), d)
		out, err := b.motion.Ask(ctx, q)
		cancel()
		if err != nil {
			assert.Equal(t, codes.DeadlineExceeded, status.Code(err))
			assert.Nil(t, out)
		}
		again := b.mustAsk(q)
		require.NotZero(t, again.GetReceipt().GetNumber())
		if p := again.GetPermit(); p != nil {
			b.mustReport(&pb.ReportRequest{Sample: b.sample(0, 0), Event: &pb.ReportRequest_End{End: &pb.End{PermitId: p.GetPermitId(), Kind: pb.EndKind_END_KIND_NOT_MOVED}}})
		}
	}
}

// A disk that does not answer: an asker without a deadline is told so by the service's own limit, with the reason.
func TestOwnLimit(t *testing.T) {
	b := newBench(t)
	b.ready()
	held, release := b.disk.Hold()
	fire := make(chan time.Time)
	b.after = func(time.Duration) <-chan time.Time { return fire }
	q := b.slew(30, 40)
	late := make(chan error, 1)
	go func() {
		_, err := b.motion.Ask(t.Context(), q)
		late <- err
	}()
	<-held
	fire <- time.Time{}
	err := <-late
	assert.Equal(t, codes.DeadlineExceeded, status.Code(err))
	assert.Equal(t, "LATE", reason(err))
	release()
	b.after = nil
	b.allowed(q)
}

func (b *bench) healthOf(service string) grpc_health_v1.HealthCheckResponse_ServingStatus {
	b.t.Helper()
	r, err := grpc_health_v1.NewHealthClient(b.conn).Check(b.t.Context(), &grpc_health_v1.HealthCheckRequest{Service: service})
	require.NoError(b.t, err)
	return r.GetStatus()
}

// While the record takes nothing, no answer leaves, health says so, and withdrawing works. Once it takes entries again the service
// goes on by itself: what was taken back stays so, and a report that was lost meanwhile holds its rig.
func TestRecordDown(t *testing.T) {
	b := newBench(t)
	b.ready()
	first := b.slew(30, 40)
	p := b.allowed(first).GetPermit()
	b.disk.FailAtOnly("commit", 1, faults.Before, true)

	q := b.slew(30, 40)
	q.ReplacesPermitId = p.GetPermitId()
	_, err := b.motion.Ask(t.Context(), q)
	require.Equal(t, codes.Unavailable, status.Code(err), "%v", err)
	assert.Equal(t, "RECORD_DOWN", reason(err))
	assert.True(t, says[*errdetails.RetryInfo](err), "when to ask again")
	b.s.Every()
	assert.Equal(t, grpc_health_v1.HealthCheckResponse_NOT_SERVING, b.healthOf(""))
	assert.Equal(t, grpc_health_v1.HealthCheckResponse_NOT_SERVING, b.healthOf("keepclear.v1.MotionService"))

	w, err := b.motion.Withdraw(t.Context(), &pb.WithdrawRequest{Rig: "heron"})
	require.NoError(t, err)
	assert.Equal(t, []string{p.GetPermitId()}, w.GetPermitIds(), "the permit that is out there, not the one that never left")
	_, err = b.report(&pb.ReportRequest{Asker: "mount", Event: act()})
	assert.Equal(t, codes.Unavailable, status.Code(err))
	_, err = b.report(&pb.ReportRequest{Asker: "camera", Event: &pb.ReportRequest_Act{Act: &pb.Act{Kind: 77}}})
	assert.Equal(t, codes.InvalidArgument, status.Code(err))
	_, err = b.locks.Lock(t.Context(), &pb.LockRequest{RequestId: b.id("lock-request"), Scope: &pb.LockRequest_Rig{Rig: "heron"}, Person: "A. Person", Reason: "x"})
	assert.Equal(t, codes.Unavailable, status.Code(err), "a lock that is not on record is none")

	b.disk.FailAt(0, faults.Before, false)
	require.Eventually(t, func() bool {
		b.s.Healthy()
		return b.healthOf("") == grpc_health_v1.HealthCheckResponse_SERVING
	}, 10*time.Second, 5*time.Millisecond)
	assert.Equal(t, pb.PermitState_PERMIT_STATE_WITHDRAWN, b.mustAsk(first).GetPermit().GetState(), "it stays taken back")
	for _, one := range []string{"mount", "camera"} {
		out := b.mustAsk(b.slew(30, 40))
		assert.Equal(t, pb.Effect_EFFECT_HOLD, findingOf(out, "pose/fresh").GetEffect(), "the report of %s was lost: %s", one, objections(out))
		b.mustReport(&pb.ReportRequest{Asker: one, Sample: b.sample(0, 0)})
	}
	b.allowed(b.slew(30, 40))
}

// says tells whether an error carries a detail of this kind.
func says[D any](err error) bool {
	for _, d := range status.Convert(err).Details() {
		if _, ok := d.(D); ok {
			return true
		}
	}
	return false
}

// Faults, row 50: an asker who goes as each room is entered, or while the disk works, stops nothing: the append is finished, the same request
// gets that very answer, and a permit on which nobody moves is over after its start_by, so that the next asker may.
func TestCancelInEveryRoomFinishesTheAppend(t *testing.T) {
	for _, room := range []string{"facts", "rules", "encoding", "disk"} {
		b := newBench(t)
		b.ready()
		ctx, cancel := context.WithCancel(t.Context())
		gone := make(chan struct{})
		goes := sync.OnceFunc(func() {
			cancel()
			gone <- struct{}{} // the asker is gone before anything goes on
		})
		release := func() {}
		switch room {
		case "facts":
			b.looked = goes
		case "rules":
			b.judged = goes
		case "encoding":
			b.coded = goes
		case "disk":
			var held <-chan struct{}
			held, release = b.disk.Hold()
			go func() { <-held; goes() }()
		}
		q := b.slew(30, 40)
		_, err := b.motion.Ask(ctx, q)
		<-gone
		assert.Equal(t, codes.Canceled, status.Code(err), room)
		release()
		again := b.allowed(q)
		e := b.entry(q.GetRequestId())
		assert.Equal(t, e.GetReceipt().GetEntrySha256(), again.GetReceipt().GetEntrySha256(), room)
		assert.Equal(t, e.GetAsked().GetResponse().GetPermit().GetPermitId(), again.GetPermit().GetPermitId(), room)
		b.wait(again.GetPermit().GetStartBy().GetWithinDuration().AsDuration() + time.Second)
		b.allowed(b.slew(20, 20))
		over := b.mustAsk(q).GetPermit()
		assert.NotContains(t, []pb.PermitState{pb.PermitState_PERMIT_STATE_GRANTED, pb.PermitState_PERMIT_STATE_BEGUN}, over.GetState(), room)
		res, err := b.verified(&pb.VerifyRecordRequest{})
		require.NoError(t, err)
		assert.True(t, res.GetWhole(), room)
	}
}
