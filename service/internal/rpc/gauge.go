package rpc

import (
	"bytes"
	"context"
	"fmt"

	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/gauge"
	"keepclear.example/keepclear/service/internal/wire"
)

// planGauges says how a person holds a described rig against the rig itself.
func (s *Server) planGauges(_ context.Context, c call[*pb.PlanGaugesRequest]) (proto.Message, error) {
	subject, plan, err := s.Gauges(c.msg.GetRig())
	if err != nil {
		return nil, err
	}
	return wire.Plan(subject, plan), nil
}

// judgeGauges says what a person's answers show of the file. Those that were given for another revision of it are refused.
func (s *Server) judgeGauges(_ context.Context, c call[*pb.JudgeGaugesRequest]) (proto.Message, error) {
	subject, plan, err := s.Gauges(c.msg.GetRig())
	if err != nil {
		return nil, err
	}
	if !bytes.Equal(c.msg.GetRigSha256(), subject.Rig.Digest[:]) {
		return nil, conflict("rig_sha256", fmt.Sprintf("the digest of the revision in force, %x", subject.Rig.Digest), fmt.Sprintf("%x", c.msg.GetRigSha256()),
			"the file was changed: ask for its plan and begin anew")
	}
	out := &pb.JudgeGaugesResponse{}
	if err := judgeSigns(plan, c.msg.GetSigns(), out); err != nil {
		return nil, err
	}
	var all []gauge.Measured
	for i, m := range c.msg.GetReadings() {
		if !subject.Has(wire.Measured(m).Place) {
			return nil, conflict(fmt.Sprintf("readings[%d].part", i), "two parts that turn with different axes and have no states", fmt.Sprintf("%q and %q", m.GetPart(), m.GetOtherPart()),
				"name them as the plan does")
		}
		all = append(all, wire.Measured(m))
	}
	if len(all) == 0 {
		return out, nil
	}
	j, err := subject.Judge(all)
	if err != nil {
		return nil, err
	}
	wire.Judged(&j, out)
	return out, nil
}

// judgeSigns judges the answers to sign steps. All are right where every step of the plan, one for each axis among them, has answers and each
// is as the file says.
func judgeSigns(plan gauge.Plan, answers []*pb.SignAnswer, out *pb.JudgeGaugesResponse) error {
	right := map[int]bool{}
	wrong := false
	for i, a := range answers {
		step := plan.Sign(int(a.GetAxis()))
		if step == nil {
			return conflict(fmt.Sprintf("signs[%d].axis", i), "the axis of a step of the plan", fmt.Sprint(a.GetAxis()), "answer the steps that the plan has")
		}
		cause := step.Judge(wire.SignAnswer(a))
		right[step.Axis] = true
		wrong = wrong || cause != gauge.AsDescribed
		out.Signs = append(out.Signs, wire.SignFinding(step, cause))
	}
	for _, x := range plan.Signs {
		wrong = wrong || !right[x.Axis]
	}
	out.SignsRight = !wrong && right[1] && right[2]
	return nil
}
