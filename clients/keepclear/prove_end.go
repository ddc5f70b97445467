package main

import (
	"fmt"
	"math"
	"strings"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// finish has all answers judged together, says what they show, and reports it if the person wants that. Where reading errors do not explain it, one
// gap after another may be measured again first.
func (p *proof) finish() (int, error) {
	for {
		out, err := p.judged()
		if err != nil {
			return 0, err
		}
		more := false
		if !out.GetFits() {
			more, err = p.remeasured(p.kept.all(p.plan).GetReadings())
		}
		if err != nil {
			return 0, err
		}
		if !more {
			return p.concluded(out)
		}
	}
}

// judged has all answers judged and says what they show.
func (p *proof) judged() (*pb.JudgeGaugesResponse, error) {
	all := p.kept.all(p.plan)
	out, err := p.judge(all)
	if err != nil {
		return nil, err
	}
	p.say("")
	p.say("Measured less the file's, mm:")
	for i, r := range out.GetResiduals() {
		m := all.GetReadings()[i]
		fmt.Fprintf(p.out, "%3d  %+6.1f  %s and %s at %s\n", i+1, r.GetResidualMm()+0, m.GetPart(), m.GetOtherPart(), axes(m.GetAxes()))
	}
	p.say("%s", out.GetSentence())
	if unseen := p.plan.GetUnseenKeys(); len(unseen) > 0 {
		p.say("No gap here tells anything of %s. Wrong by a hand's breadth they let nothing in the travel nearer than its margins; measure again what you doubt.", strings.Join(unseen, ", "))
	}
	p.unmeasured()
	return out, nil
}

// unmeasured says, apart, which lengths that bind the travel the gaps do not prove.
func (p *proof) unmeasured() {
	all := p.plan.GetUnmeasured()
	if len(all) == 0 {
		return
	}
	p.say("")
	p.say("NOT PROVEN BY THIS: no gap shows whether these are right, and they bind the travel. Wrong by more than so much, they let the rig nearer than its margins:")
	for _, u := range all {
		p.say("  %s: %.0f mm", u.GetKey(), u.GetRoomMm())
	}
	p.say("Measure each of them again on the rig, by the tape.")
}

// taped asks whether what no gap proves was measured again.
func (p *proof) taped() (bool, error) {
	if len(p.plan.GetUnmeasured()) == 0 {
		return true, nil
	}
	yes, err := p.yes("Was each length under NOT PROVEN BY THIS measured again today, and is it as the file says (yes, no)?")
	if err == nil && !yes {
		p.say("Nothing was reported: a rig whose file may be wrong in what binds its travel is not proven. Measure them, put right in the file what is not so, and give the same command again.")
	}
	return yes, err
}

// concluded ends the evening with what was found.
func (p *proof) concluded(out *pb.JudgeGaugesResponse) (int, error) {
	if !out.GetSignsRight() {
		p.say("The directions are not all proven.")
		return p.disproved("the directions are not as the file says", false, out.GetResidualMm())
	}
	if most, known := p.mostResidual(); known && out.GetResidualMm() > most {
		p.say("More than %g mm (rig/proven) proves nothing.", most)
		return p.disproved(fmt.Sprintf("the file fits the rig to %.1f mm only", up(out.GetResidualMm())), true, out.GetResidualMm())
	}
	return p.reported(up(out.GetResidualMm()))
}

// up rounds a residual up to what is said of it; one that the API cannot take is its largest.
func up(mm float64) float64 { return min(math.Ceil(mm*10)/10, 1000) }

// disproved ends an evening that found the rig other than its file. Where an earlier proof of the file counts, unattended motion goes on by it until
// this is on record, so it is offered to report it.
func (p *proof) disproved(what string, signs bool, residual float64) (int, error) {
	earlier := p.earlier()
	if earlier == "" {
		p.say("Nothing was reported, and nothing may move %s unattended. %s", p.rig, mendIt)
		return exitCheck, nil
	}
	p.say("An earlier proof of this file %s: until this is reported, %s may be moved unattended by it.", earlier, p.rig)
	yes, err := p.yes(fmt.Sprintf("Report that %s? Unattended motion is then held until the rig is proved anew (yes, no).", what))
	switch {
	case err != nil:
		return 0, err
	case !yes:
		p.say("Nothing was reported: the earlier proof %s, and %s may be moved unattended by it. %s", earlier, p.rig, mendIt)
		return exitCheck, nil
	}
	code, err := p.send(signs, up(residual))
	switch {
	case err != nil:
		return 0, err
	case code == exitCheck:
		p.say("From now on nothing may move %s unattended. %s", p.rig, mendIt)
	default:
		p.say("That unattended motion is held is not certain: see what keepclear rigs %s says, and lock it with keepclear lock if no proof is needed.", p.rig)
	}
	return exitCheck, nil
}

// mendIt is what is left to do after an evening that disproved a file.
const mendIt = "Put it right, start the service with it, and begin anew; if you named or measured something else by mistake, give the same command again, and answer no where it asks whether the rig is as it was."

// earlier says of an earlier proof of the file that it counts, or may; empty: none does.
func (p *proof) earlier() string {
	ctx, cancel := p.timed()
	defer cancel()
	out, err := pb.NewRigServiceClient(p.conn).GetRig(ctx, &pb.GetRigRequest{Rig: p.rig})
	if err != nil {
		return "may count"
	}
	for _, n := range out.GetRig().GetNeeds() {
		if n.GetKind() == pb.NeedKind_NEED_KIND_RIG_PROOF {
			return ""
		}
	}
	return "counts"
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
	measured, err := p.taped()
	if err != nil || !measured {
		return exitHold, err
	}
	yes, err := p.yes(fmt.Sprintf("Report that the file fits the rig to %g mm, its largest difference rounded up? It then counts for unattended motion (yes, no).", residual))
	if err != nil || !yes {
		if err == nil {
			p.say("Nothing was reported.")
			return exitHold, nil
		}
		return 0, err
	}
	if p.kept.dropOld(&p.kept.held) > 0 { // the terminal was left open
		p.say("Some answers are older than a day by now, so nothing was reported: the same command asks them anew.")
		return exitHold, nil
	}
	return p.send(true, residual)
}

// send reports what was found, in the name of whoever looked, and takes the answers away: they are on record.
func (p *proof) send(signs bool, residual float64) (code int, err error) {
	if p.person, err = p.name(); err != nil {
		return 0, err
	}
	r := &pb.ReportRequest{
		RequestId: requestID(), Rig: p.rig, SentTime: timestamppb.New(p.now()), Asker: thisAsker,
		Event: &pb.ReportRequest_Proved{Proved: &pb.Proved{Person: p.person, RigSha256: p.plan.GetRigSha256(), SignsChecked: signs, ResidualMm: &residual}},
	}
	p.sent = true
	code, err = p.report(r)
	if err == nil {
		p.kept.gone()
	}
	return code, err
}
