package rpc

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/store"
	"keepclear.example/keepclear/service/internal/wire"
)

// domain is ErrorInfo's.
const domain = "keepclear"

// Bounds of what an error carries, in bytes: it travels in HTTP/2 trailers, of which some clients take 8 KiB in all and read
// anything longer as another error. From memory: the soft limit of gRPC's C core.
const (
	mostMessage = 1 << 10
	mostDetails = 3 << 10
)

// retry is when to ask again where the record or the service is not there: the record's own first retry.
const retry = time.Second

var (
	errReused   = record.ErrReused
	errStopping = errors.New("the service is stopping")
)

// failure makes a status with its reason.
func failure(code codes.Code, reason pb.ErrorReason, message string, more ...protoadapt.MessageV1) error {
	s := status.New(code, cut(wire.OneLine(message), mostMessage))
	word := strings.TrimPrefix(reason.String(), "ERROR_REASON_")
	details := append([]protoadapt.MessageV1{&errdetails.ErrorInfo{Reason: word, Domain: domain}}, more...)
	if with, err := s.WithDetails(details...); err == nil {
		return with.Err()
	}
	return s.Err()
}

// cut shortens a text at a character and says so.
func cut(s string, most int) string {
	if len(s) <= most {
		return s
	}
	return strings.ToValidUTF8(s[:most-len("…")], "") + "…"
}

// later is the detail that says when repeating can help.
func later() protoadapt.MessageV1 {
	return &errdetails.RetryInfo{RetryDelay: durationpb.New(retry)}
}

// refused turns the faults of a request into INVALID_ARGUMENT with every field named, as many as an error carries.
func refused(faults wire.Faults) error {
	code := codes.InvalidArgument
	if faults.Reason() == pb.ErrorReason_ERROR_REASON_TOO_MUCH {
		code = codes.ResourceExhausted
	}
	return failure(code, faults.Reason(), faults.Error(), violations(faults))
}

// violations names the fields.
func violations(faults wire.Faults) *errdetails.BadRequest {
	bad, size := &errdetails.BadRequest{}, 0
	for i, f := range faults {
		v := &errdetails.BadRequest_FieldViolation{
			Field: wire.OneLine(f.Path), Description: wire.OneLine("wanted " + f.Wanted + ", got " + f.Got + "; " + f.Remedy),
		}
		if size += proto.Size(v); size > mostDetails {
			v = &errdetails.BadRequest_FieldViolation{Description: fmt.Sprintf("and %d more; mend those named and send it again", len(faults)-i)}
			bad.FieldViolations = append(bad.FieldViolations, v)
			break
		}
		bad.FieldViolations = append(bad.FieldViolations, v)
	}
	return bad
}

// conflicts turns contradictions that only the rig file shows into the same.
func conflicts(e *decide.ConflictError) error {
	var faults wire.Faults
	for _, f := range e.Faults {
		faults = append(faults, wire.FieldFault{Path: f.Path, Reason: pb.ErrorReason_ERROR_REASON_FIELD_INVALID, Wanted: f.Wanted, Got: f.Got, Remedy: f.Remedy})
	}
	return refused(faults)
}

// conflict makes one such contradiction.
func conflict(path, wanted, got, remedy string) error {
	return &decide.ConflictError{Faults: []decide.FieldFault{{Path: path, Wanted: wanted, Got: got, Remedy: remedy}}}
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
	case errors.Is(err, errStopping), errors.Is(err, record.ErrClosed):
		return failure(codes.Unavailable, pb.ErrorReason_ERROR_REASON_NOT_SERVING, err.Error(), later())
	case errors.Is(err, record.ErrLost), errors.Is(err, record.ErrWrong), errors.Is(err, store.ErrDamaged):
		return failure(codes.DataLoss, pb.ErrorReason_ERROR_REASON_RECORD_DAMAGED, err.Error())
	case recordDown(err):
		return failure(codes.Unavailable, pb.ErrorReason_ERROR_REASON_RECORD_DOWN, err.Error(), later())
	case errors.Is(err, context.Canceled):
		return failure(codes.Canceled, pb.ErrorReason_ERROR_REASON_LATE, "the caller went away; what was appended stays")
	case errors.Is(err, context.DeadlineExceeded):
		return failure(codes.DeadlineExceeded, pb.ErrorReason_ERROR_REASON_LATE, "the caller's time ran out; ask again with the same request id to learn what came of it")
	}
	return failure(codes.Internal, pb.ErrorReason_ERROR_REASON_BUG, err.Error())
}

// recordDown tells whether the record could not be written or read, which passes.
func recordDown(err error) bool {
	for _, class := range []error{record.ErrDown, record.ErrFull, record.ErrNotHead, store.ErrRead, store.ErrCommit, store.ErrReplaced, store.ErrOpen} {
		if errors.Is(err, class) {
			return true
		}
	}
	return false
}
