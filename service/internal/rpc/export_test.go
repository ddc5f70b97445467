package rpc

import (
	"context"

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
	for range cap(s.room) {
		s.room <- struct{}{}
	}
	return func() {
		for range cap(s.room) {
			<-s.room
		}
	}
}

// UnderWay is how many questions and reports have room.
func (s *Server) UnderWay() int { return len(s.room) }
