package main

import (
	"context"
	"errors"
	"net"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// programmersWords are what a person at a mount cannot do anything with.
var programmersWords = []string{"desc =", "rpc", "transport", "dial tcp", "preface", "http2", "resolver", "Argument:", "NotFound", "Exceeded", "Unknown", "Precondition", "Exhausted", "Internal"}

// Whatever goes wrong, its first line is in a person's words and names the reason where there is one.
func TestFailuresInPlainWords(t *testing.T) {
	closed, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, closed.Close())
	web, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer web.Close()
	go func() {
		for c, err := web.Accept(); err == nil; c, err = web.Accept() {
			_, _ = c.Write([]byte("HTTP/1.1 200 OK\r\nContent-Length: 5\r\n\r\nallow"))
			defer c.Close()
		}
	}()
	for address, want := range map[string]string{
		closed.Addr().String(): "Nobody answers at " + closed.Addr().String() + " (connection refused).",
		web.Addr().String():    "(what listens there speaks otherwise: another program?)",
		"nowhere.invalid:7413": "(there is no such host)",
	} {
		code, out, errs := typed(t, address, "ask heron home")
		assert.Equal(t, exitHold, code, address)
		assert.Contains(t, said(out), want)
		assertPlain(t, out+errs)
	}
	for code, want := range map[codes.Code]string{
		codes.InvalidArgument: "HOLD The service does not take this: it was so.", codes.NotFound: "HOLD The service answers: it was so.", codes.FailedPrecondition: "HOLD The service answers: it was so.",
		codes.ResourceExhausted: "HOLD The service has too much to do: it was so.", codes.Internal: "HOLD The service failed: it was so.", codes.Unknown: "HOLD The service failed: it was so.",
		codes.DeadlineExceeded: "HOLD No answer came in time: it was so.", codes.Unimplemented: "HOLD What listens there does not know this request",
	} {
		address := served(t, &service{ask: func(*pb.AskRequest) (*pb.AskResponse, error) { return nil, status.Error(code, "it was so") }})
		exit, out, errs := typed(t, address, "ask heron home")
		assert.Equal(t, exitHold, exit, code)
		assert.True(t, strings.HasPrefix(said(out), want), "%s: %s", code, out)
		assertPlain(t, out+errs)
	}
}

// refusing is a service that answers a release and a drawing so.
type refusing struct {
	pb.UnimplementedRigServiceServer
	pb.UnimplementedLockServiceServer
	err error
}

func (r *refusing) Release(context.Context, *pb.ReleaseRequest) (*pb.ReleaseResponse, error) {
	return nil, r.err
}

func (r *refusing) Lock(context.Context, *pb.LockRequest) (*pb.LockResponse, error) {
	return nil, r.err
}

func (r *refusing) DrawRig(context.Context, *pb.DrawRigRequest) (*pb.DrawRigResponse, error) {
	return nil, r.err
}

// ofField refuses a request for a field, as the service does.
func ofField(field, message string) error {
	s, err := status.New(codes.InvalidArgument, message).WithDetails(&errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{{Field: field, Description: message}}})
	if err != nil {
		return err
	}
	return s.Err()
}

// What reads or releases warns of no motion where the service answers that something is not so; where it failed, and where something was to be made safe, it does.
func TestPlainRefusals(t *testing.T) {
	const release, lock, view = "release x --person A --reason b", "lock heron --person A --reason b", "view heron"
	for name, c := range map[string]struct {
		line string
		err  error
		says string
	}{
		"released already": {release, status.Error(codes.FailedPrecondition, "it was released"), "NOT DONE The service answers: it was released."},
		"no such lock":     {release, status.Error(codes.NotFound, "there is none"), "NOT DONE The service answers: there is none."},
		"record down":      {release, status.Error(codes.Internal, "it broke"), "HOLD The service failed: it broke. Nothing may move on this. Put it right and ask again."},
		"a lock":           {lock, status.Error(codes.NotFound, "no such rig"), "HOLD The service answers: no such rig. Nothing may move on this. Put it right and ask again."},
		"no pose":          {view, ofField("axes", "axes: name the pose"), "NOT DONE The service does not take this: axes: name the pose (--axis1 DEG --axis2 DEG)."},
		"a pose":           {view + " --axis1 1 --axis2 2", ofField("axes", "axes: beyond"), "NOT DONE The service does not take this: axes: beyond."},
		"a pose, in words": {view, status.Error(codes.InvalidArgument, "axes: name the pose"), "NOT DONE The service does not take this: axes: name the pose."},
		"no part":          {view, ofField("parts", "parts: none"), "NOT DONE The service does not take this: parts: none."},
	} {
		address := listening(t, func(g *grpc.Server) {
			pb.RegisterRigServiceServer(g, &refusing{err: c.err})
			pb.RegisterLockServiceServer(g, &refusing{err: c.err})
		})
		code, out, _ := typed(t, address, c.line)
		assert.Equal(t, exitHold, code, name)
		assert.Equal(t, c.says, said(out), name)
	}
}

// What goes wrong on this side is not laid at the service's door.
func TestOwnFailuresAreOwn(t *testing.T) {
	assert.Equal(t, "keeping the answers: no space left", refusal(errors.New("keeping the answers: no space left")))
}

func assertPlain(t *testing.T, said string) {
	t.Helper()
	for _, word := range programmersWords {
		assert.NotContains(t, said, word)
	}
}
