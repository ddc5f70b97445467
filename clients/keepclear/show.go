package main

import (
	"fmt"
	"strings"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
)

// instantOnRecord is how an instant of an entry is written: a solve and a sample are told apart by less than a second.
const instantOnRecord = "2006-01-02 15:04:05.0"

// printEntry prints an entry whole.
func (k *call) printEntry(e *pb.Entry) {
	k.printLine(e)
	fmt.Fprintf(k.out, "      hash %x\n      after %x\n", e.GetReceipt().GetEntrySha256(), e.GetPreviousSha256())
	if e.GetAsker() != "" && e.GetAsked() == nil {
		fmt.Fprintf(k.out, "      told by %s\n", e.GetAsker())
	}
	if r := e.GetReport().GetSample(); r != nil {
		fmt.Fprintf(k.out, "      with a sample of %s\n", sampleWords(r))
	}
	if a := e.GetAsked(); a != nil {
		k.printAsked(a)
	}
	if r := e.GetRehearsed(); r != nil {
		k.printRehearsed(r)
	}
	for _, f := range e.GetFacts() {
		fmt.Fprintf(k.out, "      %-30s %s\n", f.GetName(), valueOf(f))
	}
	for _, r := range e.GetRevisions() {
		fmt.Fprintf(k.out, "      %-12s %x\n", r.GetOf(), r.GetSha256())
	}
}

// printAsked prints of a question what it was asked on, what leave was given, the objections, and by what each rule that passed did so.
func (k *call) printAsked(a *pb.Asked) {
	if who := a.GetRequest().GetAttendedBy(); who != "" {
		fmt.Fprintf(k.out, "      attended by %s\n", who)
	} else {
		fmt.Fprintf(k.out, "      attended by nobody, as told\n")
	}
	if s := a.GetRequest().GetSample(); s != nil {
		fmt.Fprintf(k.out, "      on a sample of %s\n", sampleWords(s))
	} else {
		fmt.Fprintf(k.out, "      no sample was sent with it\n")
	}
	if s := a.GetRequest().GetAction().GetSync(); s != nil {
		fmt.Fprintf(k.out, "      on a solve of %s\n", solveWords(s.GetSolve()))
		if to := s.GetMountSky(); to != nil {
			fmt.Fprintf(k.out, "      the mount to be told %s\n", skyWords(to))
		}
	}
	if p := a.GetResponse().GetPermit(); p != nil {
		fmt.Fprintf(k.out, "      permit %s\n", permitWords(p))
	}
	if l := a.GetResponse().GetSyncLeave(); l != nil {
		fmt.Fprintf(k.out, "      sync leave %s, to be used by %s\n", l.GetLeaveId(), l.GetUseBy().GetAtTime().AsTime().Format(instantOnRecord))
	}
	k.printFindings(a.GetResponse().GetJudgement())
	for _, f := range a.GetResponse().GetJudgement().GetFindings() {
		if f.GetEffect() == pb.Effect_EFFECT_PASS {
			fmt.Fprintf(k.out, "      pass  %-24s %s\n", f.GetRuleId(), decidedBy(f))
		}
	}
}

// printRehearsed prints of a rehearsal each step, when it would be, and its outlook.
func (k *call) printRehearsed(r *pb.Rehearsed) {
	switch at := r.GetRequest().GetStart().(type) {
	case *pb.RehearseRequest_StartAxes:
		fmt.Fprintf(k.out, "      from axes %s\n", axes(at.StartAxes))
	case *pb.RehearseRequest_StartHere:
		fmt.Fprintf(k.out, "      from where the rig stood\n")
	default:
		fmt.Fprintf(k.out, "      from home\n")
	}
	for i, s := range r.GetResponse().GetSteps() {
		what := "a step that was not asked for"
		if asked := r.GetRequest().GetSteps(); i < len(asked) {
			what = keepclear.Say(asked[i].GetAction())
		}
		start := s.GetStartTime().AsTime()
		fmt.Fprintf(k.out, "      %d. %s, %s to %s: %s %s\n", i+1, what, start.Format(onDay), instant(s.GetEndTime().AsTime(), start),
			strings.ToUpper(word(s.GetOutlook().GetVerdict().String(), "VERDICT_")), headed(s.GetOutlook()))
	}
}

// sampleWords are what a sample told, in short.
func sampleWords(s *pb.Sample) string {
	said := s.GetTime().AsTime().Format(instantOnRecord)
	if s.Motion != nil {
		said += ", " + word(s.GetMotion().String(), "MOTION_")
	}
	for _, r := range s.GetReadings() {
		said += fmt.Sprintf(", axes %s by %s", axes(r.GetAxes()), word(r.GetSource().String(), "POSE_SOURCE_"))
	}
	if b := s.GetBelief().GetSky(); b != nil {
		said += ", belief at " + skyWords(b)
		if s.GetBelief().Side != nil {
			said += ", tube " + word(s.GetBelief().GetSide().String(), "TUBE_SIDE_")
		}
	}
	return said
}

// skyWords are a position with its frame: the same numbers in another are another place, by 0.36° in 2026.
func skyWords(p *pb.SkyPosition) string {
	frame := map[pb.SkyFrame]string{pb.SkyFrame_SKY_FRAME_ICRS: "ICRS", pb.SkyFrame_SKY_FRAME_OF_DATE: "of date"}[p.GetFrame()]
	return strings.TrimSpace(fmt.Sprintf("right ascension %.3f°, declination %.3f° %s", p.GetRaDeg(), p.GetDecDeg(), frame))
}

// solveWords are what a solve told, figure by figure; one that it came without is left out.
func solveWords(s *pb.Solve) string {
	said := []string{s.GetExposureStartTime().AsTime().Format(instantOnRecord) + ", " + s.GetExposureDuration().AsDuration().String()}
	if s.GetExposureStartTime() == nil {
		said[0] = "an unknown instant"
	}
	said = append(said, skyWords(s.GetSky()))
	add := func(told bool, format string, args ...any) {
		if told {
			said = append(said, fmt.Sprintf(format, args...))
		}
	}
	add(s.GetOptics() != "", "optics %s", s.GetOptics())
	add(s.MatchedCount != nil, "%d stars", s.GetMatchedCount())
	add(s.ResidualArcsec != nil, "residual %.2f″", s.GetResidualArcsec())
	add(s.PixelArcsec != nil, "%.3f″ a pixel", s.GetPixelArcsec())
	add(s.RotationDeg != nil, "turned %.1f°", s.GetRotationDeg())
	add(s.GetMirrored(), "mirrored")
	switch {
	case s.SearchRadiusDeg != nil && s.GetSearchRadiusDeg() >= 180:
		add(true, "blind")
	case s.SearchRadiusDeg != nil:
		add(true, "searched within %.4g°", s.GetSearchRadiusDeg())
	}
	add(s.GetHint() != nil, "about %s", skyWords(s.GetHint()))
	add(s.GetPictureId() != "", "picture %s", s.GetPictureId())
	return strings.Join(said, ", ")
}

// permitWords are a permit as it was granted: between which instants, and between which axis angles.
func permitWords(p *pb.Permit) string {
	said := p.GetPermitId()
	if p.GetStartBy() != nil && p.GetStopBy() != nil {
		start := p.GetStartBy().GetAtTime().AsTime()
		said += fmt.Sprintf(", to start by %s and be over by %s", start.Format(onDay), instant(p.GetStopBy().GetAtTime().AsTime(), start))
	}
	if legs := p.GetLegs(); len(legs) > 0 {
		said += fmt.Sprintf(", from axes %s to %s", axes(legs[0].GetFrom()), axes(legs[len(legs)-1].GetTo()))
	}
	return said
}

// printFindings prints every objection with its remedy: of an entry all is shown.
func (k *call) printFindings(j *pb.Judgement) {
	first := true
	for _, f := range j.GetFindings() {
		if !objects(f) {
			continue
		}
		effect := word(f.GetEffect().String(), "EFFECT_")
		if first { // its sentence heads the entry
			fmt.Fprintf(k.out, "      %s  %-24s %s\n", effect, f.GetRuleId(), decidedBy(f))
		} else {
			fmt.Fprintf(k.out, "      %s  %s: %s\n", effect, f.GetRuleId(), f.GetSentence())
		}
		if f.GetRemedy() != "" {
			fmt.Fprintf(k.out, "      %s %s\n", map[bool]string{true: "What to do:", false: "           "}[first], f.GetRemedy())
		}
		first = false
	}
}
