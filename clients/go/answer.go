package keepclear

import (
	"fmt"
	"slices"
	"strings"
	"time"

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

// String gives the answer as a person reads it: verdict, why, what to do, what would pass instead.
func (a Answer) String() string {
	lines := []string{strings.ToUpper(a.Verdict.String()) + "  " + a.Why}
	if a.Help != "" {
		lines = append(lines, "      "+a.Help)
	}
	if f := Doubted(a.Reply.GetJudgement()); f != nil {
		lines = append(lines, "      It may come of this: "+f.GetSentence())
		if f.GetRemedy() != "" {
			lines = append(lines, "      "+f.GetRemedy())
		}
	}
	for i, instead := range a.AskInstead {
		lines = append(lines, map[bool]string{true: "      Would pass now: ", false: "      and then ask:   "}[i == 0]+Say(instead))
	}
	if a.StopTracking {
		lines = append(lines, "      Stop tracking now: it does not stay clear for long.")
	}
	return strings.Join(lines, "\n")
}

// Doubted is the first hold beside a deny that is of what the rig tells, its clock, its pose, its belief or how far apart it could end by them, and not of
// where it was asked to go: a wrong reading denies what is harmless, and asking for something else does not help then. Nil: there is none, or the answer is no deny.
func Doubted(j *pb.Judgement) *pb.Finding {
	if j.GetVerdict() != pb.Verdict_VERDICT_DENY {
		return nil
	}
	for _, f := range j.GetFindings() {
		area, _, _ := strings.Cut(f.GetRuleId(), "/")
		if f.GetEffect() == pb.Effect_EFFECT_HOLD && slices.Contains([]string{"time", "mount", "pose", "belief", "end"}, area) {
			return f
		}
	}
	return nil
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
		if fault := h.terms(sent).Fault(req, reply); fault != "" {
			return h.held(req, "the service allowed it, but "+fault)
		}
		a.Verdict = Allow
		h.remember(a.epoch(), "")
		if p := reply.GetPermit(); p != nil {
			h.setOpen(p.GetPermitId(), p.GetEpoch())
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

// terms are what an allow is held against now.
func (h *Handle) terms(sent time.Time) Terms {
	h.mu.Lock()
	defer h.mu.Unlock()
	return Terms{Practice: h.practice, Epoch: h.epoch, Since: Passed(sent, h.now())}
}

// late says why an allow can no longer be used; empty: it can.
func (a Answer) late() string {
	by := a.Reply.GetPermit().GetStartBy()
	if a.Reply.GetPermit() == nil {
		by = a.Reply.GetSyncLeave().GetUseBy()
	}
	if a.handle == nil {
		return "it is the answer to no question"
	}
	if m := a.handle.firstUntold(); m != nil {
		return unheard(m)
	}
	if over := a.handle.over(a); over != "" {
		return over
	}
	return late(by, Passed(a.sent, a.handle.now()))
}

// over says why an allow is worth nothing any more by what the handle did and heard since; empty: it knows of nothing.
func (h *Handle) over(a Answer) string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.overNow(a)
}

func (h *Handle) overNow(a Answer) string {
	if l := a.Reply.GetSyncLeave(); l != nil {
		switch {
		case l.GetEpoch() == h.usedSync:
			return "its sync leave was used"
		case l.GetEpoch() < h.epoch:
			return fmt.Sprintf("its sync leave is of epoch %d, and %d was seen", l.GetEpoch(), h.epoch)
		}
		return ""
	}
	switch p := a.Reply.GetPermit(); {
	case p.GetEpoch() == h.usedMove:
		return "its permit was used"
	case p.GetPermitId() != h.permit:
		return "its permit is no longer open: it was taken back, ended or replaced"
	}
	return ""
}

// use takes the leave of an allow, once: of two that try one goes on. It says why there is none to take; empty: it is taken.
func (a Answer) use() string {
	if late := a.late(); late != "" {
		return late
	}
	h := a.handle
	h.mu.Lock()
	defer h.mu.Unlock()
	if over := h.overNow(a); over != "" {
		return over
	}
	if a.Reply.GetSyncLeave() != nil {
		h.usedSync = a.epoch()
	} else {
		h.usedMove = a.epoch()
	}
	return ""
}

// word makes a word of an enum's name: PERMIT_STATE_WITHDRAWN becomes withdrawn.
func word(name string) string {
	return strings.ToLower(name[strings.LastIndex(name, "_")+1:])
}
