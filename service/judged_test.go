package main

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/record"
)

// lawful is an invented history of one fault, with nothing wrong: a lock and its release, a permit, a report that came to nothing, a stop, a
// restart, and all of it again.
func lawful(t *testing.T) *evidence {
	t.Helper()
	q := turn(t, heron(t), 5, 5)
	permit := func(s pb.PermitState) *pb.Permit {
		return &pb.Permit{PermitId: "permit-1", RequestId: q.GetRequestId(), Rig: "heron", Action: q.GetAction(), State: s, StopBy: &pb.Deadline{WithinDuration: durationpb.New(time.Minute)}}
	}
	receipt := func(n uint64) *pb.Receipt {
		return &pb.Receipt{Chain: "heron", Number: n, EntrySha256: append(make([]byte, 31), byte(n))}
	}
	judged := &pb.Judgement{Verdict: pb.Verdict_VERDICT_ALLOW, Findings: []*pb.Finding{
		{RuleId: "clear/path", Effect: pb.Effect_EFFECT_PASS}, {RuleId: "roof/state", Effect: pb.Effect_EFFECT_NOT_APPLICABLE},
	}}
	allow := func(s pb.PermitState) *pb.AskResponse {
		return &pb.AskResponse{Judgement: judged, Leave: &pb.AskResponse_Permit{Permit: permit(s)}, Receipt: receipt(5)}
	}
	locked, free := lock("heron"), released("lock-1")
	kept, gone := &pb.LockResponse{Lock: &pb.HeldLock{LockId: "lock-2"}, Receipt: receipt(3)}, &pb.ReleaseResponse{Receipt: receipt(4)}
	held := lock("heron")
	first := &pb.LockResponse{Lock: &pb.HeldLock{LockId: "lock-1"}, Receipt: receipt(2)}
	lost := &pb.ReportRequest{RequestId: newID(), Rig: "heron", Asker: "another", Event: &pb.ReportRequest_Act{Act: &pb.Act{}}}
	stop := &pb.WithdrawRequest{Rig: "heron"}
	down, err := status.New(codes.Unavailable, "the record is down: disk I/O error").WithDetails(&errdetails.ErrorInfo{Reason: "RECORD_DOWN"})
	require.NoError(t, err)
	entry := func(n uint64) *pb.Entry { return &pb.Entry{Receipt: receipt(n)} }
	asked := entry(5)
	asked.Content = &pb.Entry_Asked{Asked: &pb.Asked{Request: q, Response: allow(pb.PermitState_PERMIT_STATE_BEGUN)}}
	whole := record.Result{Whole: true}
	return &evidence{
		calls: []heard{
			{request: locked, reply: first, life: 1}, {request: held, reply: kept, life: 1}, {request: free, reply: gone, life: 1},
			{request: q, reply: allow(pb.PermitState_PERMIT_STATE_BEGUN), life: 1, under: true},
			{request: lost, err: down.Err(), life: 1, under: true, names: []string{"I/O"}},
			{at: time.Time{}.Add(time.Second), request: stop, reply: &pb.WithdrawResponse{PermitIds: []string{"permit-1"}, RigKnown: true}, life: 1, under: true, stop: true},
		},
		crashed: whole, whole: whole, rules: []string{"clear/path", "roof/state"},
		rig: &pb.Rig{Permit: permit(pb.PermitState_PERMIT_STATE_WITHDRAWN), Locks: []*pb.HeldLock{{LockId: "lock-2"}}},
		entries: map[string]*pb.Entry{
			locked.GetRequestId(): entry(2), held.GetRequestId(): entry(3), free.GetRequestId(): entry(4), q.GetRequestId(): asked,
		},
		again: []heard{
			{request: locked, reply: first, life: 2}, {request: held, reply: kept, life: 2}, {request: free, reply: gone, life: 2},
			{request: q, reply: allow(pb.PermitState_PERMIT_STATE_WITHDRAWN), life: 2},
			{request: lost, reply: &pb.ReportResponse{Receipt: receipt(9)}, life: 2},
		},
	}
}

// Where the parts of the lawful history stand.
const (
	theAsk, theLost, theStop = 3, 4, 5
)

func answered5(h *heard) *pb.AskResponse { return h.reply.(*pb.AskResponse) }

// TestJudgeConvicts doctors a lawful history in every way that the judge is to see: each is convicted, in its own words, and the lawful one is
// not.
func TestJudgeConvicts(t *testing.T) {
	require.Empty(t, lawful(t).judge(), "nothing is wrong with it")
	for want, doctor := range map[string]func(e *evidence){
		"as the crash left it":              func(e *evidence) { e.crashed.Whole = false },
		"after the restart":                 func(e *evidence) { e.whole.Whole = false },
		"allowed although clear/path says":  func(e *evidence) { answered5(&e.calls[theAsk]).Judgement.Findings[0].Effect = pb.Effect_EFFECT_HOLD },
		"allowed without a finding of":      func(e *evidence) { e.rules = append(e.rules, "sky/floor") },
		"answered without a receipt":        func(e *evidence) { answered5(&e.calls[theAsk]).Receipt = nil },
		"the leave is for another question": func(e *evidence) { answered5(&e.calls[theAsk]).GetPermit().RequestId = "another" },
		"the leave is for another":          func(e *evidence) { answered5(&e.calls[theAsk]).GetPermit().Action = jog() },
		"refused as Internal":               func(e *evidence) { e.calls[theLost].err = status.Error(codes.Internal, "I/O") },
		"does not name the fault":           func(e *evidence) { e.calls[theLost].names = []string{"full"} },
		"refused with no fault there":       func(e *evidence) { e.calls[theLost].under = false },
		"left while permit-1 was open": func(e *evidence) {
			e.calls = append(e.calls[:theAsk+1], anotherAllow(e, "another asker"), e.calls[theLost])
		},
		"stopping failed": func(e *evidence) { e.calls[theStop].err = status.Error(codes.DeadlineExceeded, "") },
		"and permit permit-2 was open": func(e *evidence) {
			e.calls[theLost] = anotherAllow(e, "x")
			e.calls[theLost].request.(*pb.AskRequest).ReplacesPermitId = "permit-1"
		},
		"is open after the restart":            func(e *evidence) { e.rig.Permit.State = pb.PermitState_PERMIT_STATE_BEGUN },
		"lock lock-2 was answered and is lost": func(e *evidence) { e.rig.Locks = nil },
		"lock lock-1 was released and is back": func(e *evidence) { e.rig.Locks = append(e.rig.Locks, &pb.HeldLock{LockId: "lock-1"}) },
		"told, and not on record":              func(e *evidence) { delete(e.entries, requestID(e.calls[theAsk].request)) },
		"told is not that of its entry":        func(e *evidence) { answered5(&e.calls[theAsk]).Receipt.EntrySha256[0]++ },
		"the judgement told is not":            func(e *evidence) { answered5(&e.calls[theAsk]).Judgement.Sentence = "other" },
		"the leave told is not":                func(e *evidence) { answered5(&e.calls[theAsk]).GetPermit().PermitId = "permit-9" },
		"the judgement told again is not":      func(e *evidence) { answered5(&e.again[theAsk]).Judgement.Verdict = pb.Verdict_VERDICT_HOLD },
		"the leave told again is not":          func(e *evidence) { answered5(&e.again[theAsk]).GetPermit().PermitId = "permit-9" },
		"told again is not that of its entry":  func(e *evidence) { e.again[0].reply.(*pb.LockResponse).Receipt.Number++ },
		"its leave is open again":              func(e *evidence) { answered5(&e.again[theAsk]).GetPermit().State = pb.PermitState_PERMIT_STATE_BEGUN },
		"on record, and not answered from it":  func(e *evidence) { e.again[theAsk].err = status.Error(codes.NotFound, "") },
		"allowed after a report of another was": func(e *evidence) {
			late := anotherAllow(e, "another")
			e.calls = append(e.calls, late)
		},
	} {
		e := lawful(t)
		for i := range e.calls { // so that what is doctored in one place stays as it was in the others
			e.calls[i].reply = cloned(e.calls[i].reply)
		}
		for i := range e.again {
			e.again[i].reply = cloned(e.again[i].reply)
		}
		doctor(e)
		assert.Contains(t, strings.Join(e.judge(), "\n"), want)
	}
}

func cloned(m proto.Message) proto.Message {
	if m == nil {
		return nil
	}
	return proto.Clone(m)
}

// anotherAllow is a second permit, to an asker of this name.
func anotherAllow(e *evidence, asker string) heard {
	c := e.calls[theAsk]
	q, a := proto.Clone(c.request).(*pb.AskRequest), proto.Clone(c.reply).(*pb.AskResponse)
	q.RequestId, q.Asker = newID(), asker
	a.GetPermit().PermitId, a.GetPermit().RequestId = "permit-2", q.GetRequestId()
	c.request, c.reply = q, a
	return c
}
