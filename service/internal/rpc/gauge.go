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

// mostGaugeWhiles bounds for how many whiles in all gauges stand still beside a service that is never idle. Choice: 5 s, a quarter of ownLimit.
const mostGaugeWhiles = 5000

// gauges takes the turn of gauges, for they keep a processor busy, and has a rig's plan; done gives the turn up. going lets go first who waits
// to be judged, and is false where the asker is gone.
func (s *Server) gauges(ctx context.Context, name string) (subject *gauge.Subject, plan gauge.Plan, going func() bool, done func(), err error) {
	left := mostGaugeWhiles
	going = func() bool {
		if left > 0 {
			left -= s.giveWay(ctx)
		}
		return ctx.Err() == nil
	}
	if done, err = s.gauging.Take(ctx); err == nil {
		subject, plan, err = s.Gauges(name, going)
	}
	return subject, plan, going, done, gone(ctx, err)
}

// gone is the error of what came to nothing because its asker is gone, where it is that.
func gone(ctx context.Context, err error) error {
	if err != nil && ctx.Err() != nil {
		return context.Cause(ctx)
	}
	return err
}

// planGauges says how a person holds a described rig against the rig itself.
func (s *Server) planGauges(ctx context.Context, c call[*pb.PlanGaugesRequest]) (proto.Message, error) {
	subject, plan, _, done, err := s.gauges(ctx, c.msg.GetRig())
	defer done()
	if err != nil {
		return nil, err
	}
	return wire.Plan(subject, plan), nil
}

// judgeGauges says what a person's answers show of the file. Those that were given for another revision of it are refused.
func (s *Server) judgeGauges(ctx context.Context, c call[*pb.JudgeGaugesRequest]) (proto.Message, error) {
	subject, plan, going, done, err := s.gauges(ctx, c.msg.GetRig())
	defer done()
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
	j, err := subject.Judge(all, going)
	if err != nil {
		return nil, gone(ctx, err)
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
