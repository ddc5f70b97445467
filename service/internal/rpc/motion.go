package rpc

import (
	"context"
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rehearse"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
	"keepclear.example/keepclear/service/internal/wire"
)

// retreats tells whether a slew by axes of a rig goes to home or a place of rest.
func (s *Server) retreats(rigName string, to rig.Axes) bool {
	m, err := s.decider.Member(rigName)
	return err == nil && decide.Retreats(m.Rig, to)
}

// ask judges one question. Once begun it outlives its asker: a call that is cancelled meanwhile is judged and recorded all the same.
func (s *Server) ask(ctx context.Context, c call[*pb.AskRequest]) (proto.Message, error) {
	m, err := s.decider.Member(c.msg.GetRig())
	if err != nil {
		return nil, err
	}
	q := wire.Question(c.msg, c.at, s.retreats)
	a, err := s.decider.Ask(ctx, q, c.request(c.msg.GetRequestId()))
	if err != nil {
		return nil, err
	}
	if !a.Repeated {
		s.Pace.note(asker{c.msg.GetRig(), c.msg.GetAsker()}, a.Verdict == verdict.Allow)
		if !c.msg.GetWithFacts() && !a.Changed {
			return newAnswered(a)
		}
		return wire.Answer(a, m.Rig, c.msg.GetWithFacts()), nil
	}
	return s.again(context.WithoutCancel(ctx), c.msg, a, m.Rig)
}

// answered is a reply that is encoded already.
type answered struct {
	*pb.AskResponse // nil: for its type alone
	raw             []byte
}

// newAnswered is the answer as the record has it, with its receipt behind: one message after the other is the two merged (the protobuf
// encoding, "Last One Wins").
func newAnswered(a decide.Answer) (proto.Message, error) {
	b := make([]byte, 0, len(a.Stored.Bytes)+128)
	b, err := proto.MarshalOptions{}.MarshalAppend(append(b, a.Stored.Bytes...), &pb.AskResponse{Receipt: wire.Receipt(a.Receipt)})
	if err != nil {
		return nil, fmt.Errorf("encoding a receipt: %w", err)
	}
	return &answered{raw: b}, nil
}

// again is the recorded answer to a question asked before, with its leave as it stands now.
func (s *Server) again(ctx context.Context, r *pb.AskRequest, a decide.Answer, of *rig.Rig) (proto.Message, error) {
	stored := &pb.AskResponse{}
	if a.Stored.Type != string(stored.ProtoReflect().Descriptor().FullName()) {
		return nil, fmt.Errorf("%w: %s was no question", errReused, r.GetRequestId())
	}
	if err := proto.Unmarshal(a.Stored.Bytes, stored); err != nil {
		return nil, fmt.Errorf("reading the recorded answer: %w", err)
	}
	if r.GetWithFacts() { // the record holds them apart from the answer
		e, err := flushed(s.Record.ByRequestID(ctx, r.GetRequestId()))
		if err != nil {
			return nil, err
		}
		body, err := state.Decode(e.Body)
		if err != nil {
			return nil, err
		}
		stored.GetJudgement().Facts = wire.Facts(body.Facts)
	}
	return wire.Again(stored, a, of), nil
}

// Encode turns an answer into the bytes that the record keeps of it: the response without its receipt.
func Encode(members func(string) (*rig.Rig, bool)) func(decide.Answer, string) (state.Exchanged, error) {
	return func(a decide.Answer, rigName string) (state.Exchanged, error) {
		r, ok := members(rigName)
		if !ok {
			return state.Exchanged{}, fmt.Errorf("%w: %q", decide.ErrNoRig, rigName)
		}
		m := wire.Answer(a, r, false)
		b, err := proto.Marshal(m)
		return exchanged(m, b), err
	}
}

// report takes a report in.
func (s *Server) report(ctx context.Context, c call[*pb.ReportRequest]) (proto.Message, error) {
	m, err := s.decider.Member(c.msg.GetRig())
	if err != nil {
		return nil, err
	}
	if c.msg.GetRoof() != nil && slices.Contains(m.Rig.Lacks, "roof") {
		// Taking it in silently would let its sender believe that the roof is looked after.
		return nil, conflict("roof", "no roof: the rig file declares that there is none", "a roof's state", "declare the roof in the rig file, or leave this out")
	}
	out, err := s.decider.Report(context.WithoutCancel(ctx), wire.Report(c.msg, c.at), c.request(c.msg.GetRequestId()))
	if err != nil {
		return nil, err
	}
	return wire.Outcome(out, m.Rig), nil
}

// withdraw takes leave back. It is never refused, and answers before it is recorded.
func (s *Server) withdraw(_ context.Context, c call[*pb.WithdrawRequest]) (proto.Message, error) {
	ids, known := s.decider.Withdraw(c.msg.GetRig(), c.msg.GetAsker(), c.msg.GetReason(), kept(c.msg, c.raw))
	// controller_told stays false: nobody attends in this version.
	return &pb.WithdrawResponse{PermitIds: ids, RigKnown: known}, nil
}

// rehearse judges a plan.
func (s *Server) rehearse(ctx context.Context, c call[*pb.RehearseRequest]) (proto.Message, error) {
	m, err := s.decider.Member(c.msg.GetRig())
	if err != nil {
		return nil, err
	}
	p := rehearse.Plan{Member: m, Moment: s.decider.Moment, Cells: s.decider.Cells(), Now: c.at}
	if t := c.msg.GetSteps()[0].GetStartTime(); t != nil {
		p.Now = t.AsTime() // a past evening can be rehearsed too
	}
	held, err := s.decider.LookAt(ctx, m.Rig.ID, c.at)
	if err != nil {
		return nil, err
	}
	p.Proof = held.State.Proof
	if p.From, err = s.start(ctx, c, m.Rig); err != nil {
		return nil, err
	}
	if p.Steps, err = plan(c.msg, m.Rig, p.Now); err != nil {
		return nil, err
	}
	outlooks, err := rehearse.Rehearse(ctx, p)
	if err != nil {
		return nil, err
	}
	out := &pb.RehearseResponse{Assumed: rehearse.Assumed()}
	passed := 0
	for _, o := range outlooks {
		if o.Answer.Verdict == verdict.Allow {
			passed++
		}
		out.Steps = append(out.Steps, wire.Outlook(o, c.msg.GetWithFacts()))
	}
	b, err := proto.Marshal(out)
	if err != nil {
		return nil, err
	}
	say := fmt.Sprintf("Rehearsed %d %s: %d would pass.", len(out.Steps), map[bool]string{true: "step", false: "steps"}[len(out.Steps) == 1], passed)
	rc, err := s.decider.Rehearsal(c.msg.GetRig(), c.msg.GetAsker(), say, c.at, decide.Request{Sent: exchanged(c.msg, c.raw)}, exchanged(out, b))
	if err != nil {
		return nil, err
	}
	out.Receipt = wire.Receipt(rc)
	return out, nil
}

// plan turns the steps into nouns, or names every field that does not fit the rig. Whether a step ends after it begins shows only as the plan
// is gone through, where the step does not begin at an instant of its own.
func plan(r *pb.RehearseRequest, of *rig.Rig, now time.Time) ([]rehearse.Step, error) {
	var steps []rehearse.Step
	var faults []decide.FieldFault
	for i, m := range r.GetSteps() {
		s := rehearsed(m, of)
		a := s.Action
		switch {
		case s.Start != nil:
			now = *s.Start
		case i > 0:
			a.Until = nil
		}
		faults = append(faults, decide.ActionFits(of, a, now, fmt.Sprintf("steps[%d].action", i))...)
		steps = append(steps, s)
	}
	if len(faults) > 0 {
		return nil, &decide.ConflictError{Faults: faults}
	}
	return steps, nil
}

// rehearsed turns a step into its noun.
func rehearsed(step *pb.RehearsalStep, r *rig.Rig) rehearse.Step {
	out := rehearse.Step{Action: wire.Action(step.GetAction())}
	if a := &out.Action; a.Kind == question.Slew && a.Axes != nil && decide.Retreats(r, *a.Axes) {
		a.Kind = question.Retreat
	}
	if t := step.GetStartTime(); t != nil {
		at := t.AsTime()
		out.Start = &at
	}
	return out
}

// start is where a rehearsal begins: at angles stated, at the pose as it is held now, or (nothing) at home.
func (s *Server) start(ctx context.Context, c call[*pb.RehearseRequest], of *rig.Rig) ([]question.Candidate, error) {
	switch r := c.msg; {
	case r.GetStartAxes() != nil:
		at := question.Candidate{Axes: rig.DegAxes(r.GetStartAxes().GetAxis1Deg(), r.GetStartAxes().GetAxis2Deg()), Sigma: of.Homing.Sigma}
		if g := r.GetStartSigma(); g != nil {
			at.Sigma = rig.Axes{A1: unit.Deg(g.GetAxis1Deg()), A2: unit.Deg(g.GetAxis2Deg())}
		}
		return []question.Candidate{at}, nil
	case r.GetStart() != nil:
		v, err := s.decider.LookAt(ctx, r.GetRig(), c.at)
		if err != nil {
			return nil, err
		}
		if len(v.Pose.Candidates) == 0 {
			return nil, conflict("start_here", "a rig whose pose is known", "pose unknown: "+v.Pose.Because, "state start_axes, or leave both out to start at home")
		}
		return v.Pose.Candidates, nil
	}
	return nil, nil
}

// lock locks a rig, or all.
func (s *Server) lock(_ context.Context, c call[*pb.LockRequest]) (proto.Message, error) {
	if c.msg.GetPerson() == decide.Ourselves {
		return nil, conflict("person", "a person's name", "the service's own", "name who sets the lock")
	}
	l, rc, taken, err := s.decider.Lock(c.msg.GetRig(), c.msg.GetPerson(), c.msg.GetReason(), c.at, c.request(c.msg.GetRequestId()))
	if err != nil {
		return nil, err
	}
	return &pb.LockResponse{Lock: wire.Lock(l), Receipt: wire.Receipt(rc), WithdrawnPermitIds: taken}, nil
}

// release releases locks.
func (s *Server) release(_ context.Context, c call[*pb.ReleaseRequest]) (proto.Message, error) {
	left, rc, err := s.decider.Release(c.msg.GetLockIds(), c.msg.GetPerson(), c.msg.GetReason(), c.at, c.request(c.msg.GetRequestId()))
	if err != nil {
		return nil, err
	}
	out := &pb.ReleaseResponse{Receipt: wire.Receipt(rc)}
	for _, l := range left {
		out.Remaining = append(out.Remaining, wire.Lock(l))
	}
	return out, nil
}
