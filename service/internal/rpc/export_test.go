package rpc

import (
	"context"
	"time"

	"google.golang.org/grpc"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// Judging adds to how many requests are being judged, and returns how many are then.
func (s *Server) Judging(more int32) int32 { return s.judging.Add(more) }

// PlanFor plans gauges for a caller of the test's own.
func (s *Server) PlanFor(ctx context.Context, rig string) error {
	_, err := s.planGauges(ctx, call[*pb.PlanGaugesRequest]{msg: &pb.PlanGaugesRequest{Rig: rig}})
	return err
}

// SurveyTo surveys a rig for a reader of the test's own.
func (s *Server) SurveyTo(ctx context.Context, r *pb.SurveyRigRequest, ss grpc.ServerStream) error {
	return s.surveyRig(ctx, call[*pb.SurveyRigRequest]{msg: r}, ss)
}

// Crowd takes all the room that questions and reports have, and returns what gives it back.
func (s *Server) Crowd() (leave func()) {
	asks, tells := s.CrowdOfAsks(), fill(s.tells)
	return func() { asks(); tells() }
}

// CrowdOfAsks takes all the room that questions have, and returns what gives it back.
func (s *Server) CrowdOfAsks() (leave func()) { return fill(s.asks) }

// CrowdOfTells takes all the room that reports have, and returns what gives it back.
func (s *Server) CrowdOfTells() (leave func()) { return fill(s.tells) }

func fill(room chan struct{}) (leave func()) {
	for range cap(room) {
		room <- struct{}{}
	}
	return func() {
		for range cap(room) {
			<-room
		}
	}
}

// UnderWay is how many questions and rehearsals, and how many reports, have room.
func (s *Server) UnderWay() [2]int { return [2]int{len(s.asks), len(s.tells)} }

// Due is how long a question of an asker about a rig waits, and whether it is the first of its run; it gives its place up at once.
func (p *Pace) Due(rig, name string) (wait time.Duration, began bool) {
	t := p.due(asker{rig, name})
	p.leave(t)
	return t.wait, t.began
}

// Wait has a question of an asker about a rig wait until leave is called; full: it may not.
func (p *Pace) Wait(rig, name string) (wait time.Duration, full bool, leave func()) {
	t := p.due(asker{rig, name})
	return t.wait, t.full, func() { p.leave(t) }
}

// Note takes in how a question of an asker about a rig was answered.
func (p *Pace) Note(rig, name string, allowed bool) { p.note(asker{rig, name}, allowed) }

// Runs is how many runs of refusals are remembered.
func (p *Pace) Runs() int { return len(p.runs) }
