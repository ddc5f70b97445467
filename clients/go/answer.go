package keepclear

import (
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// Verdict is the answer in one word. The zero value holds.
type Verdict int

// Verdicts.
const (
	Hold Verdict = iota
	Deny
	Allow
)

// String returns the word.
func (v Verdict) String() string {
	switch v {
	case Allow:
		return "allow"
	case Deny:
		return "deny"
	case Hold:
	}
	return "hold"
}

// practiceWord is the one condition that this version knows: no real rig may move on it.
const practiceWord = "practice"

// Answer is what came of a question. The zero Answer holds.
type Answer struct {
	// Verdict is Allow only if the leave beside it is whole; a broken allow is a hold.
	Verdict Verdict
	// Why is one line for a person.
	Why string
	// Help is what to do, one line; may be empty.
	Help string
	// AskInstead are questions that would pass: give them to Handle.Ask, in order.
	AskInstead []*pb.Action
	// StopTracking: doing nothing is not harmless for long. Stop tracking now.
	StopTracking bool
	// Reply is the whole reply; nil where nobody answered.
	Reply *pb.AskResponse

	handle  *Handle
	request *pb.AskRequest
	sent    time.Time // by the handle's clock, of the first sending
}

// String gives the answer as a person reads it: verdict, why, what to do.
func (a Answer) String() string {
	lines := []string{strings.ToUpper(a.Verdict.String()) + "  " + a.Why}
	if a.Help != "" {
		lines = append(lines, "      "+a.Help)
	}
	if a.StopTracking {
		lines = append(lines, "      Stop tracking now: it does not stay clear for long.")
	}
	return strings.Join(lines, "\n")
}

// Allowed tells whether the answer is an allow that can still be used.
func (a Answer) Allowed() bool { return a.Verdict == Allow && a.late() == "" }

// held makes a hold of our own.
func (h *Handle) held(req *pb.AskRequest, reason string) Answer {
	return Answer{Why: "Held: " + reason + ".", Help: "Nothing may move. Put it right and ask again.", handle: h, request: req}
}

// judge turns a reply into an answer: an allow only if every part of it is in order.
func (h *Handle) judge(req *pb.AskRequest, reply *pb.AskResponse, sent time.Time) Answer {
	j := reply.GetJudgement()
	a := Answer{Why: j.GetSentence(), AskInstead: j.GetAskInstead(), StopTracking: j.GetStopTracking(), Reply: reply, handle: h, request: req, sent: sent}
	for _, f := range j.GetFindings() {
		if f.GetEffect() != pb.Effect_EFFECT_PASS && f.GetEffect() != pb.Effect_EFFECT_NOT_APPLICABLE && f.GetRemedy() != "" {
			a.Help = f.GetRemedy()
			break
		}
	}
	switch j.GetVerdict() {
	case pb.Verdict_VERDICT_DENY:
		a.Verdict = Deny
	case pb.Verdict_VERDICT_ALLOW:
		if fault := h.wrongWith(req, reply); fault != "" {
			return h.held(req, "the service allowed it, but "+fault)
		}
		a.Verdict = Allow
		if late := a.late(); late != "" {
			return h.held(req, late)
		}
		h.remember(a.epoch(), "")
		if p := reply.GetPermit(); p != nil {
			h.setOpen(p.GetPermitId())
		}
	case pb.Verdict_VERDICT_HOLD, pb.Verdict_VERDICT_UNSPECIFIED:
	}
	if a.Why == "" {
		a.Why = "Held: the service gave no reason."
	}
	return a
}

func (a Answer) epoch() uint64 {
	if p := a.Reply.GetPermit(); p != nil {
		return p.GetEpoch()
	}
	return a.Reply.GetSyncLeave().GetEpoch()
}

// wrongWith says what of an allow is not in order; empty: nothing.
func (h *Handle) wrongWith(req *pb.AskRequest, reply *pb.AskResponse) string {
	if req.GetAction().GetSync() != nil {
		return h.wrongWithLeave(req, reply.GetSyncLeave())
	}
	p := reply.GetPermit()
	if p == nil {
		return "sent no permit"
	}
	want := pb.PermitState_PERMIT_STATE_BEGUN
	if req.GetBeginLater() {
		want = pb.PermitState_PERMIT_STATE_GRANTED
	}
	if p.GetState() != want {
		return fmt.Sprintf("the permit is %s: %s", word(p.GetState().String()), p.GetEndedBecause())
	}
	if !proto.Equal(p.GetAction(), req.GetAction()) {
		return "understood another action than was sent"
	}
	return h.wrongWithKeys(req, p.GetPermitId(), p.GetRequestId(), p.GetRig(), p.GetEpoch(), p.GetCritical())
}

func (h *Handle) wrongWithLeave(req *pb.AskRequest, l *pb.SyncLeave) string {
	switch {
	case l == nil:
		return "sent no sync leave"
	case !l.GetLive():
		return "the sync leave is over"
	case !proto.Equal(l.GetSync(), req.GetAction().GetSync()):
		return "understood another sync than was sent"
	}
	return h.wrongWithKeys(req, l.GetLeaveId(), l.GetRequestId(), l.GetRig(), l.GetEpoch(), l.GetCritical())
}

func (h *Handle) wrongWithKeys(req *pb.AskRequest, id, requestID, rig string, epoch uint64, critical []string) string {
	h.mu.Lock()
	seen := h.epoch
	h.mu.Unlock()
	switch {
	case id == "":
		return "the leave has no id"
	case requestID != req.GetRequestId():
		return "the leave is for another question"
	case rig != req.GetRig():
		return fmt.Sprintf("the leave is for rig %q", rig)
	case epoch == 0 || epoch < seen:
		return fmt.Sprintf("the leave is of epoch %d, and %d was seen", epoch, seen)
	}
	for _, c := range critical {
		if c != practiceWord {
			return fmt.Sprintf("it has a condition that this version does not know: %q", c)
		}
		if !h.practice {
			return "it is for a practice rig: no real mount may move on it"
		}
	}
	return ""
}

// late says why an allow can no longer be used; empty: it can.
func (a Answer) late() string {
	d := a.Reply.GetPermit().GetStartBy()
	if a.Reply.GetPermit() == nil {
		d = a.Reply.GetSyncLeave().GetUseBy()
	}
	if d.GetWithinDuration() == nil {
		return "the leave does not say until when it may be used"
	}
	if since := a.handle.now().Sub(a.sent); since < 0 || since > d.GetWithinDuration().AsDuration() {
		return fmt.Sprintf("it came too late: %.1f s after it was asked, and it was good for %.1f s", since.Seconds(), d.GetWithinDuration().AsDuration().Seconds())
	}
	return ""
}

// word makes a word of an enum's name: PERMIT_STATE_WITHDRAWN becomes withdrawn.
func word(name string) string {
	return strings.ToLower(name[strings.LastIndex(name, "_")+1:])
}
