package rpc

import (
	"context"
	"errors"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/wire"
)

// domain is ErrorInfo's.
const domain = "keepclear"

// failure makes a status with its reason.
func failure(code codes.Code, reason pb.ErrorReason, message string, more ...protoadapt.MessageV1) error {
	s := status.New(code, message)
	word := strings.TrimPrefix(reason.String(), "ERROR_REASON_")
	details := append([]protoadapt.MessageV1{&errdetails.ErrorInfo{Reason: word, Domain: domain}}, more...)
	if with, err := s.WithDetails(details...); err == nil {
		return with.Err()
	}
	return s.Err()
}

// refused turns the faults of a request into INVALID_ARGUMENT with every field named.
func refused(faults wire.Faults) error {
	bad := &errdetails.BadRequest{}
	for _, f := range faults {
		bad.FieldViolations = append(bad.FieldViolations, &errdetails.BadRequest_FieldViolation{
			Field: f.Path, Description: "wanted " + f.Wanted + ", got " + f.Got + "; " + f.Remedy,
		})
	}
	code := codes.InvalidArgument
	if faults.Reason() == pb.ErrorReason_ERROR_REASON_TOO_MUCH {
		code = codes.ResourceExhausted
	}
	return failure(code, faults.Reason(), faults.Error(), bad)
}

// conflicts turns contradictions that only the rig file shows into the same.
func conflicts(e *decide.ConflictError) error {
	var faults wire.Faults
	for _, f := range e.Faults {
		faults = append(faults, wire.FieldFault{Path: f.Path, Reason: pb.ErrorReason_ERROR_REASON_FIELD_INVALID, Wanted: f.Wanted, Got: f.Got, Remedy: f.Remedy})
	}
	return refused(faults)
}

// statusOf turns an error of the rooms inside into a status.
func statusOf(err error) error {
	var conflict *decide.ConflictError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &conflict):
		return conflicts(conflict)
	case errors.Is(err, decide.ErrNoRig), errors.Is(err, decide.ErrNoLock), errors.Is(err, record.ErrAbsent):
		return failure(codes.NotFound, pb.ErrorReason_ERROR_REASON_NOT_FOUND, err.Error())
	case errors.Is(err, record.ErrReused):
		return failure(codes.AlreadyExists, pb.ErrorReason_ERROR_REASON_REQUEST_ID_REUSED, err.Error())
	case errors.Is(err, decide.ErrReleased):
		return failure(codes.FailedPrecondition, pb.ErrorReason_ERROR_REASON_OVER, err.Error())
	case errors.Is(err, record.ErrDown), errors.Is(err, record.ErrFull), errors.Is(err, record.ErrNotHead):
		return failure(codes.Unavailable, pb.ErrorReason_ERROR_REASON_RECORD_DOWN, err.Error())
	case errors.Is(err, record.ErrClosed):
		return failure(codes.Unavailable, pb.ErrorReason_ERROR_REASON_NOT_SERVING, err.Error())
	case errors.Is(err, record.ErrLost), errors.Is(err, record.ErrWrong):
		return failure(codes.DataLoss, pb.ErrorReason_ERROR_REASON_RECORD_DAMAGED, err.Error())
	case errors.Is(err, context.Canceled):
		return status.Error(codes.Canceled, err.Error())
	case errors.Is(err, context.DeadlineExceeded):
		return status.Error(codes.DeadlineExceeded, err.Error())
	}
	return failure(codes.Internal, pb.ErrorReason_ERROR_REASON_BUG, err.Error())
}
