package main

import (
	"fmt"
	"math"
	"strings"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// finish has all answers judged together, says what they show, and reports it if the person wants that.
func (p *proof) finish() (int, error) {
	all := p.kept.all(p.plan)
	out, err := p.judge(all)
	if err != nil {
		return 0, err
	}
	p.say("")
	p.say("Measured less the file's, mm:")
	for i, r := range out.GetResiduals() {
		m := all.GetReadings()[i]
		p.say("  %+6.1f  %s and %s at %s", r.GetResidualMm()+0, m.GetPart(), m.GetOtherPart(), axes(m.GetAxes()))
	}
	p.say("%s", out.GetSentence())
	if unseen := p.plan.GetUnseenKeys(); len(unseen) > 0 {
		p.say("No gap here tells anything of %s: measure again what matters.", strings.Join(unseen, ", "))
	}
	if !out.GetSignsRight() {
		p.say("The directions are not all proven: nothing was reported.")
		return exitCheck, nil
	}
	if most, known := p.mostResidual(); known && out.GetResidualMm() > most {
		p.say("More than %g mm (rig/proven) proves nothing, so nothing was reported. Put the file right, start the service with it, and begin anew.", most)
		return exitCheck, nil
	}
	return p.reported(math.Ceil(out.GetResidualMm()*10) / 10)
}

// mostResidual is the limit of rig/proven for this rig.
func (p *proof) mostResidual() (float64, bool) {
	ctx, cancel := p.timed()
	defer cancel()
	out, err := pb.NewRuleServiceClient(p.conn).ListRules(ctx, &pb.ListRulesRequest{Rig: p.rig})
	if err != nil {
		return 0, false
	}
	for _, one := range out.GetRules() {
		for _, l := range one.GetLimits() {
			if one.GetRuleId() == "rig/proven" && l.GetName() == "residual_mm" && l.Value != nil {
				return l.GetValue(), true
			}
		}
	}
	return 0, false
}

// reported asks whether the proof is to be reported, and by whom, and reports it.
func (p *proof) reported(residual float64) (int, error) {
	yes, err := p.yes(fmt.Sprintf("Report that the file fits the rig to %g mm? It then counts for unattended motion (yes, no).", residual))
	if err != nil || !yes {
		if err == nil {
			p.say("Nothing was reported.")
			return exitHold, nil
		}
		return 0, err
	}
	if p.person, err = p.name(); err != nil {
		return 0, err
	}
	r := &pb.ReportRequest{
		RequestId: requestID(), Rig: p.rig, SentTime: timestamppb.New(p.now()), Asker: thisAsker,
		Event: &pb.ReportRequest_Proved{Proved: &pb.Proved{Person: p.person, RigSha256: p.plan.GetRigSha256(), SignsChecked: true, ResidualMm: &residual}},
	}
	p.sent = true
	code, err := p.report(r)
	if err == nil {
		p.kept.gone()
	}
	return code, err
}
