package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/record"
)

// evidence is all that is known from outside of one service that met a fault and was started again: what its askers were told, what the
// record holds, what the next process says. It holds nothing of the service's own, so it can be doctored, and the judge tried.
type evidence struct {
	calls   []heard // to the process that met the fault
	crashed record.Result
	rules   []string             // the loaded rules
	rig     *pb.Rig              // first look after the restart
	ids     map[string]bool      // of the requests that were looked up and sent again; nil: all
	entries map[string]*pb.Entry // by request id, after the restart, before anything was asked again
	again   []heard              // the same requests, sent to the next process
	whole   record.Result        // at the end
}

// judge holds the evidence against the invariants of outer edges: it returns what breaks one, in words; nothing: all hold.
func (e *evidence) judge() (wrong []string) {
	say := func(format string, args ...any) { wrong = append(wrong, fmt.Sprintf(format, args...)) }
	if !e.crashed.Whole {
		say("as the crash left it: %s", e.crashed.Sentence)
	}
	if !e.whole.Whole {
		say("after the restart: %s", e.whole.Sentence)
	}
	for _, c := range append(slices.Clone(e.calls), e.again...) {
		e.answer(c, say)
	}
	e.onePermit(say)
	e.stopping(say)
	e.restarted(say)
	e.repeats(say)
	e.lostReports(say)
	return wrong
}

type sayer func(format string, args ...any)

// answer judges one reply by itself: an allow is a full set of passes with a permit for what was asked, on record; a refusal names the
// fault.
func (e *evidence) answer(c heard, say sayer) {
	id := requestID(c.request)
	if c.err != nil {
		if !c.stop {
			e.refusal(c, say)
		}
		return
	}
	if receiptOf(c.reply) == nil && recorded(c.request) {
		say("%s: answered without a receipt", id)
	}
	r, asked := c.reply.(*pb.AskResponse)
	if !asked || r.GetJudgement().GetVerdict() != pb.Verdict_VERDICT_ALLOW {
		return
	}
	seen := map[string]bool{}
	for _, f := range r.GetJudgement().GetFindings() {
		seen[f.GetRuleId()] = true
		if f.GetEffect() != pb.Effect_EFFECT_PASS && f.GetEffect() != pb.Effect_EFFECT_NOT_APPLICABLE {
			say("%s: allowed although %s says %s", id, f.GetRuleId(), f.GetEffect())
		}
	}
	for _, rule := range e.rules {
		if !seen[rule] {
			say("%s: allowed without a finding of %s", id, rule)
		}
	}
	if q := c.request.(*pb.AskRequest); !fitsQuestion(q, r) {
		say("%s: the leave is for another question", id)
	}
}

// recorded tells whether a reply to a request always names an entry: what takes leave back does not wait for one, and a sample that
// changes nothing makes none.
func recorded(m proto.Message) bool {
	switch r := m.(type) {
	case *pb.WithdrawRequest:
		return false
	case *pb.ReportRequest:
		return r.GetEvent() != nil
	}
	return true
}

// fitsQuestion tells whether the leave of an allow names the question and repeats its action.
func fitsQuestion(q *pb.AskRequest, r *pb.AskResponse) bool {
	if p := r.GetPermit(); p != nil {
		return p.GetRequestId() == q.GetRequestId() && p.GetRig() == q.GetRig() && proto.Equal(p.GetAction(), q.GetAction())
	}
	l := r.GetSyncLeave()
	return l.GetRequestId() == q.GetRequestId() && l.GetRig() == q.GetRig() && proto.Equal(l.GetSync(), q.GetAction().GetSync())
}

// refusal judges an error: a fault of the disk is no bug of ours and no fault of the asker's, and is named.
func (e *evidence) refusal(c heard, say sayer) {
	s := status.Convert(c.err)
	switch s.Code() {
	case codes.Internal, codes.Unknown:
		say("%s: refused as %s: %s", requestID(c.request), s.Code(), s.Message())
	case codes.Unavailable, codes.DataLoss:
		named := func(word string) bool { return strings.Contains(s.Message(), word) }
		switch {
		case c.died:
		case !c.under:
			say("%s: refused with no fault there: %s", requestID(c.request), s.Message())
		case c.names != nil && !slices.ContainsFunc(c.names, named):
			say("%s: the refusal does not name the fault (one of %q): %s", requestID(c.request), c.names, s.Message())
		}
	}
}

// onePermit walks through what was told: a permit is given only while none is open, or in the place of the one that is.
func (e *evidence) onePermit(say sayer) {
	life, open, until := 0, "", time.Time{} // every stand has one rig
	for _, c := range append(slices.Clone(e.calls), e.again...) {
		if c.life != life {
			life, open = c.life, ""
		}
		switch r := c.request.(type) {
		case *pb.WithdrawRequest, *pb.LockRequest, *pb.ReportRequest: // tried is enough: what was taken back in memory may be given anew
			open = ""
		case *pb.AskRequest:
			a, _ := c.reply.(*pb.AskResponse)
			p := a.GetPermit()
			if !isOpen(p) || p.GetPermitId() == open {
				continue
			}
			if open != "" && c.at.Before(until) && r.GetReplacesPermitId() != open {
				say("permit %s left while %s was open", p.GetPermitId(), open)
			}
			open, until = p.GetPermitId(), c.at.Add(p.GetStopBy().GetWithinDuration().AsDuration())
		}
	}
}

func isOpen(p *pb.Permit) bool {
	return p.GetState() == pb.PermitState_PERMIT_STATE_BEGUN || p.GetState() == pb.PermitState_PERMIT_STATE_GRANTED
}

// stopping works under every fault that leaves the process alive, and names the last permit that left, was not ended and is not past its time.
func (e *evidence) stopping(say sayer) {
	life, open, until := 0, "", time.Time{}
	for _, c := range e.calls {
		if c.life != life {
			life, open = c.life, ""
		}
		w, _ := c.reply.(*pb.WithdrawResponse)
		switch {
		case c.stop && c.err != nil:
			say("stopping failed: %v", c.err)
		case c.stop && open != "" && c.at.Before(until) && !slices.Contains(w.GetPermitIds(), open):
			say("stopping took back %q, and permit %s was open", w.GetPermitIds(), open)
		}
		switch c.request.(type) {
		case *pb.WithdrawRequest, *pb.LockRequest, *pb.ReportRequest: // it may have ended the permit
			open = ""
		}
		if a, ok := c.reply.(*pb.AskResponse); ok && isOpen(a.GetPermit()) {
			open = a.GetPermit().GetPermitId()
			until = c.at.Add(a.GetPermit().GetStopBy().GetWithinDuration().AsDuration())
		}
	}
}

// restarted: no permit is open, every lock that was answered holds, every one whose release was answered is gone.
func (e *evidence) restarted(say sayer) {
	if isOpen(e.rig.GetPermit()) {
		say("permit %s is open after the restart", e.rig.GetPermit().GetPermitId())
	}
	held := map[string]bool{}
	for _, l := range e.rig.GetLocks() {
		held[l.GetLockId()] = true
	}
	tried := map[string]bool{} // locks whose release was asked for
	for _, c := range e.calls {
		if r, ok := c.request.(*pb.ReleaseRequest); ok {
			for _, id := range r.GetLockIds() {
				tried[id] = true
				if c.err == nil && held[id] {
					say("lock %s was released and is back", id)
				}
			}
		}
	}
	for _, c := range e.calls {
		if r, ok := c.reply.(*pb.LockResponse); ok && !held[r.GetLock().GetLockId()] && !tried[r.GetLock().GetLockId()] {
			say("lock %s was answered and is lost", r.GetLock().GetLockId())
		}
	}
}

// repeats: what is on record under a request id is what was told and what is told again, byte for byte, and no leave of it is open.
func (e *evidence) repeats(say sayer) {
	first := map[string]heard{}
	for _, c := range e.calls {
		if id := requestID(c.request); id != "" && c.err == nil {
			first[id] = c
		}
	}
	for id, c := range first {
		if e.ids != nil && !e.ids[id] {
			continue
		}
		if recorded(c.request) || receiptOf(c.reply) != nil {
			e.onRecord(id, c, "told", say)
		}
	}
	for _, c := range e.again {
		id := requestID(c.request)
		if e.entries[id] == nil {
			continue
		}
		if c.err != nil {
			say("%s: on record, and not answered from it: %v", id, c.err)
			continue
		}
		e.onRecord(id, c, "told again", say)
		if r, ok := c.reply.(*pb.AskResponse); ok && (isOpen(r.GetPermit()) || r.GetSyncLeave().GetLive()) {
			say("%s: its leave is open again after the restart", id)
		}
	}
}

// onRecord compares a reply with the entry of its request id.
func (e *evidence) onRecord(id string, c heard, when string, say sayer) {
	entry := e.entries[id]
	if entry == nil {
		say("%s: %s, and not on record", id, when)
		return
	}
	if placeOf(receiptOf(c.reply)) != placeOf(entry.GetReceipt()) {
		say("%s: the receipt %s is not that of its entry", id, when)
	}
	r, asked := c.reply.(*pb.AskResponse)
	if !asked {
		return
	}
	kept := entry.GetAsked().GetResponse()
	if !proto.Equal(kept.GetJudgement(), r.GetJudgement()) {
		say("%s: the judgement %s is not the one on record", id, when)
	}
	if kept.GetPermit().GetPermitId() != r.GetPermit().GetPermitId() || kept.GetSyncLeave().GetLeaveId() != r.GetSyncLeave().GetLeaveId() {
		say("%s: the leave %s is not the one on record", id, when)
	}
}

// lostReports: a report that came to nothing holds its rig until a report of the same asker is understood, as long as the process lives.
func (e *evidence) lostReports(say sayer) {
	lost, life := map[string]bool{}, 0 // by asker
	for _, c := range e.calls {
		if c.life != life {
			life = c.life
			clear(lost)
		}
		switch r := c.request.(type) {
		case *pb.ReportRequest:
			lost[r.GetAsker()] = c.err != nil
		case *pb.AskRequest:
			if a, ok := c.reply.(*pb.AskResponse); ok && lost[r.GetAsker()] && isOpen(a.GetPermit()) {
				say("%s: allowed after a report of %s was lost", r.GetRequestId(), r.GetAsker())
			}
		}
	}
}
