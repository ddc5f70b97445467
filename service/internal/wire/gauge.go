package wire

import (
	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/gauge"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// towards are the directions that a person can name.
var towards = map[gauge.Side]pb.Toward{
	gauge.West: pb.Toward_TOWARD_WEST, gauge.East: pb.Toward_TOWARD_EAST, gauge.North: pb.Toward_TOWARD_NORTH, gauge.South: pb.Toward_TOWARD_SOUTH,
	gauge.Up: pb.Toward_TOWARD_UP, gauge.Down: pb.Toward_TOWARD_DOWN, gauge.Still: pb.Toward_TOWARD_STILL,
}

// causes are what a sign answer shows.
var causes = map[gauge.Cause]pb.SignCause{
	gauge.AsDescribed: pb.SignCause_SIGN_CAUSE_AS_DESCRIBED, gauge.Mirrored: pb.SignCause_SIGN_CAUSE_MIRRORED, gauge.Swapped: pb.SignCause_SIGN_CAUSE_SWAPPED,
	gauge.SwappedBack: pb.SignCause_SIGN_CAUSE_SWAPPED_AND_MIRRORED, gauge.Scale: pb.SignCause_SIGN_CAUSE_OTHER_SCALE, gauge.Otherwise: pb.SignCause_SIGN_CAUSE_OTHERWISE,
}

// Plan turns a plan of gauges into its response.
func Plan(s *gauge.Subject, p gauge.Plan) *pb.PlanGaugesResponse {
	out := &pb.PlanGaugesResponse{RigSha256: s.Rig.Digest[:], Home: pair(s.Rig.Home), ShortBecause: p.Short, UnseenKeys: p.Unseen}
	for i := range p.Unmeasured {
		out.Unmeasured = append(out.Unmeasured, &pb.UnmeasuredLength{Key: p.Unmeasured[i].Name, RoomMm: &p.Unmeasured[i].Room})
	}
	for i := range p.Signs {
		x := &p.Signs[i]
		turn, by := x.Turn.Deg(), x.Expected.MM
		out.SignSteps = append(out.SignSteps, &pb.SignStep{
			Axis: uint32(x.Axis), TurnDeg: &turn, Axes: pair(x.At), Watch: x.What, Toward: towards[x.Expected.Side], TowardAlso: towards[x.Expected.Also], ByMm: &by,
		})
	}
	for _, x := range p.Poses {
		m := &pb.GaugePose{Axes: pair(x.At), KeepWithin: pair(s.Creep())}
		for _, stop := range x.Way {
			m.Way = append(m.Way, pair(stop))
		}
		for _, g := range x.Gaps {
			m.Gaps = append(m.Gaps, &pb.Gap{Parts: g.Parts[:], ComputedMm: &g.MM, ReadingErrorMm: &g.Err})
		}
		out.GaugePoses = append(out.GaugePoses, m)
	}
	return out
}

// SignAnswer reads what was seen at a step.
func SignAnswer(m *pb.SignAnswer) (side gauge.Side, mm float64) {
	for s, word := range towards {
		if word == m.GetToward() {
			side = s
		}
	}
	return side, m.GetByMm()
}

// SignFinding says what an answer shows.
func SignFinding(x *gauge.Sign, c gauge.Cause) *pb.SignFinding {
	return &pb.SignFinding{Axis: uint32(x.Axis), Cause: causes[c], Sentence: x.Sentence(c)}
}

// Measured reads a measured gap.
func Measured(m *pb.GaugeReading) gauge.Measured {
	at := rig.Axes{A1: unit.Deg(m.GetAxes().GetAxis1Deg()), A2: unit.Deg(m.GetAxes().GetAxis2Deg())}
	return gauge.Measured{Place: gauge.Place{At: at, Parts: [2]string{m.GetPart(), m.GetOtherPart()}}, MM: m.GetGapMm(), Err: m.GetReadingErrorMm()}
}

// Judged puts what measured gaps say of a file into the response.
func Judged(j *gauge.Judgement, out *pb.JudgeGaugesResponse) {
	for _, r := range j.Residuals {
		out.Residuals = append(out.Residuals, &pb.GaugeResidual{ComputedMm: &r.Computed, ResidualMm: &r.MM, AllowedMm: &r.May})
	}
	if len(j.Residuals) == 0 {
		return
	}
	worst := j.Worst
	out.ResidualMm, out.Fits, out.Sentence = &worst, j.Fits, j.Says
	for i := range j.Suspects {
		out.Suspects = append(out.Suspects, suspect(&j.Suspects[i]))
	}
	if j.Helps != nil {
		out.Nearest = suspect(j.Helps)
	}
}

func suspect(x *gauge.Suspect) *pb.SuspectLength {
	is, would := x.Is, x.Is+x.More
	out := &pb.SuspectLength{Key: x.Name, LeftMm: &x.Left}
	if x.Unit == "deg" {
		out.IsDeg, out.WouldBeDeg = &is, &would
		return out
	}
	out.IsMm, out.WouldBeMm = &is, &would
	return out
}
