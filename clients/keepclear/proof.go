package main

import (
	"bytes"
	"fmt"

	"google.golang.org/grpc"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// counts tells what the service makes of a proof that it took in, and the exit code: one that does not count lets nothing move, and a
// person who told it should not find that out at night.
func (k *call) counts(conn *grpc.ClientConn, r *pb.ReportRequest) (code int, said string) {
	ctx, cancel := k.timed()
	defer cancel()
	now, err := pb.NewRigServiceClient(conn).GetRig(ctx, &pb.GetRigRequest{Rig: r.GetRig()})
	if err != nil {
		return exitCheck, "REPORTED, but whether it counts could not be asked: keepclear rigs RIG tells."
	}
	if ours := now.GetRig().GetRigSha256(); !bytes.Equal(r.GetProved().GetRigSha256(), ours) {
		return exitCheck, fmt.Sprintf("NOT TAKEN IN: the digest is of another revision of the rig file than the one in force, whose digest is %x.", ours)
	}
	for _, n := range now.GetRig().GetNeeds() {
		if n.GetKind() == pb.NeedKind_NEED_KIND_RIG_PROOF {
			return exitCheck, "TAKEN IN, but it does not count: " + k.whyNot(conn, r.GetProved(), now.GetRig()) + "."
		}
	}
	return exitDone, "TAKEN IN: it counts."
}

// whyNot says why a proof does not count.
func (k *call) whyNot(conn *grpc.ClientConn, p *pb.Proved, r *pb.Rig) string {
	if !p.GetSignsChecked() {
		return "turn both axes, see that they go the way that the file says, and tell it again with --signs"
	}
	ctx, cancel := k.timed()
	defer cancel()
	out, err := pb.NewRuleServiceClient(conn).ListRules(ctx, &pb.ListRulesRequest{Rig: r.GetRig()})
	if err != nil {
		return "a proof is still needed"
	}
	for _, one := range out.GetRules() {
		for _, l := range one.GetLimits() {
			if one.GetRuleId() == "rig/proven" && l.GetName() == "residual_mm" && p.GetResidualMm() > l.GetValue() {
				return fmt.Sprintf("a residual of %g mm is more than the %g mm of rig/proven; mend the rig file or measure again", p.GetResidualMm(), l.GetValue())
			}
		}
	}
	return "a proof is still needed"
}
