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
