package rpc_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// same asserts that two answers are one: all but the leave, which is of now, and the time that judging took.
func same(t *testing.T, want, got *pb.AskResponse, what string) {
	t.Helper()
	w, g := proto.Clone(want).(*pb.AskResponse), proto.Clone(got).(*pb.AskResponse)
	w.Leave, g.Leave, w.Receipt.TookDuration = nil, nil, nil
	a, err := proto.MarshalOptions{Deterministic: true}.Marshal(w)
	require.NoError(t, err)
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(g)
	require.NoError(t, err)
	assert.Equal(t, a, b, "%s: the bytes of the answer", what)
}

func TestSameRequestSameAnswer(t *testing.T) {
	b := newBench(t)
	b.ready()
	q := b.slew(30, 40)
	q.WithFacts = true
	first := b.allowed(q)
	require.NotEmpty(t, first.GetJudgement().GetFacts())
	second := b.mustAsk(q)
	same(t, first, second, "at once")
	assert.Nil(t, second.GetReceipt().GetTookDuration(), "nobody measured it this time")
	assert.True(t, proto.Equal(first.GetPermit(), second.GetPermit()), "the permit is open as it was")

	_, err := b.motion.Withdraw(t.Context(), &pb.WithdrawRequest{Rig: "heron"})
	require.NoError(t, err)
	third := b.mustAsk(q)
	same(t, first, third, "after it was taken back")
	assert.Equal(t, pb.PermitState_PERMIT_STATE_WITHDRAWN, third.GetPermit().GetState())
	assert.NotEmpty(t, third.GetPermit().GetEndedBecause())

	b.restart()
	fourth := b.mustAsk(q)
	same(t, first, fourth, "after a restart")
	assert.Equal(t, pb.PermitState_PERMIT_STATE_WITHDRAWN, fourth.GetPermit().GetState())
}

// Open permits come back withdrawn after a restart, and the repeat of their question says so.
func TestRestartWithdraws(t *testing.T) {
	b := newBench(t)
	b.ready()
	q := b.slew(30, 40)
	b.allowed(q)
	b.restart()
	assert.Equal(t, pb.PermitState_PERMIT_STATE_WITHDRAWN, b.mustAsk(q).GetPermit().GetState())
}

// An id stands for one request, whatever its kind; the first answer is untouched by another that borrows it.
func TestReusedIdsAreRefused(t *testing.T) {
	b := newBench(t)
	b.ready()
	q := b.slew(30, 40)
	first := b.allowed(q)
	for _, when := range []string{"at once", "after a restart"} {
		other := proto.Clone(q).(*pb.AskRequest)
		slewOf(other).Target = &pb.Slew_Axes{Axes: pair(31, 40)}
		_, err := b.motion.Ask(t.Context(), other)
		require.Equal(t, codes.AlreadyExists, status.Code(err), when)
		assert.Equal(t, "REQUEST_ID_REUSED", reason(err))
		_, err = b.locks.Lock(t.Context(), &pb.LockRequest{RequestId: q.GetRequestId(), Scope: &pb.LockRequest_AllRigs{AllRigs: true}, Person: "A. Person", Reason: "x"})
		require.Equal(t, codes.AlreadyExists, status.Code(err), "%s: a lock", when)
		same(t, first, b.mustAsk(q), when)
		b.restart()
	}
	_, err := b.report(&pb.ReportRequest{RequestId: q.GetRequestId(), Sample: b.sample(0, 0), Event: act()})
	require.Equal(t, codes.AlreadyExists, status.Code(err), "a report")
	same(t, first, b.mustAsk(q), "after a report that borrowed its id")
}

// A report repeated is taken in once, and its receipt is that of the first time.
func TestReportRepeatedIsTakenInOnce(t *testing.T) {
	b := newBench(t)
	b.ready()
	r := &pb.ReportRequest{Sample: b.sample(0, 0), Event: act()}
	first := b.mustReport(r)
	again, err := b.motion.Report(t.Context(), r)
	require.NoError(t, err)
	assert.Equal(t, first.GetReceipt().GetNumber(), again.GetReceipt().GetNumber())
	assert.Equal(t, first.GetEpoch(), again.GetEpoch())
}

// The reply to a report repeated is that of the first time: a lost reply must not lose why a begin was refused, or which homing angles
// count from now. Only the epoch and the permit are of now.
func TestReportRepeatedGetsItsReply(t *testing.T) {
	b := newBench(t)
	b.ready()
	q := b.slew(30, 40)
	q.BeginLater = true
	p := b.allowed(q).GetPermit()
	reports := map[string]*pb.ReportRequest{
		"a begin off its start": {Sample: b.sample(4, 4), Event: &pb.ReportRequest_Begin{Begin: &pb.Begin{PermitId: p.GetPermitId()}}},
		"an act":                {Event: act()},
		"a homing":              {Sample: b.sample(0, 0), Event: &pb.ReportRequest_Homed{Homed: &pb.Homed{By: pb.HomedBy_HOMED_BY_SENSED, Axes: pair(0, 0)}}},
	}
	first := map[string]*pb.ReportResponse{}
	for _, name := range []string{"a begin off its start", "an act", "a homing"} {
		b.wait(time.Second)
		first[name] = b.mustReport(reports[name])
		require.NotEmpty(t, first[name].GetFindings(), name)
		first[name].Receipt.TookDuration = nil
		again, err := b.motion.Report(t.Context(), reports[name])
		require.NoError(t, err)
		assert.True(t, proto.Equal(first[name], again), "%s: got %s, want %s", name, prototext.Format(again), prototext.Format(first[name]))
	}
	b.wait(time.Second)
	last := b.allowed(b.slew(10, 10))
	b.restart()
	for name, was := range first {
		again, err := b.motion.Report(t.Context(), reports[name])
		require.NoError(t, err)
		require.Len(t, again.GetFindings(), len(was.GetFindings()), name)
		for i, f := range was.GetFindings() {
			assert.True(t, proto.Equal(f, again.GetFindings()[i]), "%s: got %s, want %s", name, again.GetFindings()[i], f)
		}
		assert.Equal(t, was.GetHomingId(), again.GetHomingId(), name)
		assert.Greater(t, again.GetEpoch(), last.GetPermit().GetEpoch(), "%s: the epoch is of now", name)
		assert.NotEqual(t, pb.PermitState_PERMIT_STATE_GRANTED, again.GetPermit().GetState(), "%s: so is the permit", name)
	}
}

// What leaves is what the record has, and the receipt; asked with its facts it is the same with them.
func TestReplyIsWhatIsRecorded(t *testing.T) {
	b := newBench(t)
	b.ready()
	for _, facts := range []bool{false, true} {
		for _, axis1 := range []float64{30, 500} { // allowed, and beyond its travel
			q := b.slew(axis1, 40)
			q.WithFacts = facts
			got := b.mustAsk(q)
			require.EqualValues(t, axis1 == 30, got.GetPermit() != nil)
			require.Len(t, got.GetReceipt().GetEntrySha256(), 32)
			require.NotNil(t, got.GetReceipt().GetTookDuration())
			assert.Equal(t, facts, len(got.GetJudgement().GetFacts()) > 0)
			stored := b.entry(q.GetRequestId()).GetAsked().GetResponse()
			got.Receipt, got.GetJudgement().Facts = nil, nil
			assert.True(t, proto.Equal(stored, got), "got %v, on record %v", got, stored)
			_, err := b.motion.Withdraw(t.Context(), &pb.WithdrawRequest{Rig: "heron"})
			require.NoError(t, err)
		}
	}
}

// A permit that is taken back before its answer leaves is taken back in that answer, whatever the record has of it.
func TestTakenBackBeforeItLeft(t *testing.T) {
	b := newBench(t)
	b.ready()
	b.judged = func() {
		b.judged = nil
		_, err := b.motion.Withdraw(t.Context(), &pb.WithdrawRequest{Rig: "heron"})
		require.NoError(t, err)
	}
	q := b.slew(30, 40)
	got := b.mustAsk(q)
	require.NotNil(t, got.GetPermit(), objections(got))
	assert.Equal(t, pb.PermitState_PERMIT_STATE_WITHDRAWN, got.GetPermit().GetState())
	assert.NotEmpty(t, got.GetPermit().GetEndedBecause())
	assert.Equal(t, pb.PermitState_PERMIT_STATE_BEGUN, b.entry(q.GetRequestId()).GetAsked().GetResponse().GetPermit().GetState(), "or this test is green for nothing")
}
