package main

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// practiceWord is the one condition that this version knows: no real rig may move on it.
const practiceWord = "practice"

// code is the exit code of an answer: an allow with anything wrong about it is a hold.
func code(r *pb.AskResponse, fault string) int {
	switch v := r.GetJudgement().GetVerdict(); {
	case v == pb.Verdict_VERDICT_DENY:
		return exitDeny
	case v == pb.Verdict_VERDICT_ALLOW && fault == "":
		return exitDone
	}
	return exitHold
}

// wrongWith says what of an allow is not in order, since a script that goes by the exit code moves a mount on it; empty: nothing.
// It holds the leave against what was sent, as every client has to.
func wrongWith(req *pb.AskRequest, r *pb.AskResponse, practice bool, took time.Duration) string {
	if req.GetAction().GetSync() != nil {
		l := r.GetSyncLeave()
		switch {
		case l == nil:
			return "sent no sync leave"
		case !l.GetLive():
			return "the sync leave is over"
		case !proto.Equal(l.GetSync(), req.GetAction().GetSync()):
			return "understood another sync than was sent"
		}
		return wrongKeys(req, l, l.GetUseBy(), practice, took)
	}
	p, want := r.GetPermit(), pb.PermitState_PERMIT_STATE_BEGUN
	if req.GetBeginLater() {
		want = pb.PermitState_PERMIT_STATE_GRANTED
	}
	switch {
	case p == nil:
		return "sent no permit"
	case p.GetState() != want:
		return fmt.Sprintf("its permit is %s: %s", word(p.GetState().String(), "PERMIT_STATE_"), p.GetEndedBecause())
	case !proto.Equal(p.GetAction(), req.GetAction()):
		return "understood another action than was sent"
	}
	return wrongKeys(req, p, p.GetStartBy(), practice, took)
}

// leave is what permits and sync leaves have in common.
type leave interface {
	GetRequestId() string
	GetRig() string
	GetEpoch() uint64
	GetCritical() []string
}

func wrongKeys(req *pb.AskRequest, l leave, by *pb.Deadline, practice bool, took time.Duration) string {
	switch {
	case l.GetRequestId() != req.GetRequestId():
		return "its leave is for another question"
	case l.GetRig() != req.GetRig():
		return fmt.Sprintf("its leave is for rig %q", l.GetRig())
	case l.GetEpoch() == 0:
		return "its leave names no epoch"
	case by.GetWithinDuration() == nil:
		return "its leave does not say until when it may be used"
	case took < 0 || took > by.GetWithinDuration().AsDuration():
		return fmt.Sprintf("it came too late: %s after it was asked", short(took))
	}
	for _, c := range l.GetCritical() {
		switch {
		case c != practiceWord:
			return fmt.Sprintf("it has a condition that this version does not know: %q", c)
		case !practice:
			return "for a practice rig: no real mount may move on it (--practice takes it)"
		}
	}
	return ""
}
