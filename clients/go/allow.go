package keepclear

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// practiceWord is the one condition that this version knows: no real rig may move on it.
const practiceWord = "practice"

// Terms are what an allow is held against, beside the question that was sent. Their zero value is the strictest: no simulated mount, and
// no time passed. For programs that speak to the service without a Handle, which does the same by itself.
type Terms struct {
	Practice bool          // the mount is a simulated one: a practice permit may move it
	Epoch    uint64        // highest epoch of the rig that was seen; 0: none
	Since    time.Duration // since the question was first sent, as Passed tells it
}

// Fault says what of a reply to req keeps it from being an allow on which the mount may move, or be synced; empty: nothing, it is one.
// Every other reply is a deny, if its verdict says so, or a hold.
func (t Terms) Fault(req *pb.AskRequest, reply *pb.AskResponse) string {
	if reply.GetJudgement().GetVerdict() != pb.Verdict_VERDICT_ALLOW {
		return "its verdict is no allow"
	}
	if f := contradicted(reply.GetJudgement()); f != nil {
		return fmt.Sprintf("its own finding of %s is no pass: %s", f.GetRuleId(), f.GetSentence())
	}
	if req.GetAction().GetSync() != nil {
		l := reply.GetSyncLeave()
		switch {
		case l == nil:
			return "sent no sync leave"
		case !l.GetLive():
			return "the sync leave is over"
		case !proto.Equal(l.GetSync(), req.GetAction().GetSync()):
			return "understood another sync than was sent"
		}
		return t.keys(req, l.GetLeaveId(), l, l.GetUseBy())
	}
	p, want := reply.GetPermit(), pb.PermitState_PERMIT_STATE_BEGUN
	if req.GetBeginLater() {
		want = pb.PermitState_PERMIT_STATE_GRANTED
	}
	switch {
	case p == nil:
		return "sent no permit"
	case p.GetState() != want:
		return fmt.Sprintf("the permit is %s: %s", word(p.GetState().String()), p.GetEndedBecause())
	case !proto.Equal(p.GetAction(), req.GetAction()):
		return "understood another action than was sent"
	case !stated(p.GetStopBy()):
		return "the permit does not say until when the motion must have ended"
	}
	return t.keys(req, p.GetPermitId(), p, p.GetStartBy())
}

// contradicted is a finding that speaks against the allow it stands beside: only a full set of passes allows. Nil: there is none.
func contradicted(j *pb.Judgement) *pb.Finding {
	for _, f := range j.GetFindings() {
		if f.GetEffect() != pb.Effect_EFFECT_PASS && f.GetEffect() != pb.Effect_EFFECT_NOT_APPLICABLE {
			return f
		}
	}
	return nil
}

// leave is what permits and sync leaves have in common.
type leave interface {
	GetRequestId() string
	GetRig() string
	GetEpoch() uint64
	GetCritical() []string
}

func (t Terms) keys(req *pb.AskRequest, id string, l leave, by *pb.Deadline) string {
	switch {
	case id == "":
		return "the leave has no id"
	case l.GetRequestId() != req.GetRequestId():
		return "the leave is for another question"
	case l.GetRig() != req.GetRig():
		return fmt.Sprintf("the leave is for rig %q", l.GetRig())
	case l.GetEpoch() == 0:
		return "the leave names no epoch (epoch 0)"
	case l.GetEpoch() < t.Epoch:
		return fmt.Sprintf("the leave is of epoch %d, and %d was seen", l.GetEpoch(), t.Epoch)
	}
	if fault := t.conditions(l.GetCritical()); fault != "" {
		return fault
	}
	return late(by, t.Since)
}

// conditions says which of an allow's conditions cannot be kept; empty: none.
func (t Terms) conditions(critical []string) string {
	for _, c := range critical {
		switch {
		case c != practiceWord:
			return fmt.Sprintf("it has a condition that this version does not know: %q", c)
		case !t.Practice:
			return "it is for a practice rig: no real mount may move on it"
		}
	}
	return ""
}

// stated tells whether a deadline says when it is: one out of the range of its own kind would read as three centuries.
func stated(by *pb.Deadline) bool {
	return by.GetWithinDuration() != nil && by.GetWithinDuration().CheckValid() == nil
}

// Passed is how long it is since an instant that this program read off its clock, by the monotonic clock or by the wall clock, whichever tells more:
// the first stands still while the machine sleeps, the second may be set back. A wall clock that is set forward meanwhile ends leave early.
func Passed(since, now time.Time) time.Duration {
	return max(now.Sub(since), now.Round(0).Sub(since.Round(0)))
}

// late says why leave can no longer be used so long after its question was first sent; empty: it can.
func late(by *pb.Deadline, since time.Duration) string {
	if !stated(by) {
		return "the leave does not say until when it may be used"
	}
	within := by.GetWithinDuration()
	if since < 0 || since > within.AsDuration() {
		return fmt.Sprintf("it came too late: %.1f s after it was asked, and it was good for %.1f s", since.Seconds(), within.AsDuration().Seconds())
	}
	return ""
}
