package main

import (
	"time"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
)

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
func wrongWith(req *pb.AskRequest, r *pb.AskResponse, practice bool, took time.Duration) string {
	terms := keepclear.Terms{Practice: practice, Since: took}
	fault := terms.Fault(req, r)
	if terms.Practice = true; fault != "" && terms.Fault(req, r) == "" {
		fault += " (--practice takes it)"
	}
	return fault
}
