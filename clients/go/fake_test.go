package keepclear_test

import (
	"context"
	"net"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
)

// fake is a service that answers as it is told: by default it allows everything, in good order.
type fake struct {
	pb.UnimplementedMotionServiceServer
	pb.UnimplementedRigServiceServer

	mu      sync.Mutex
	ask     func(*pb.AskRequest) (*pb.AskResponse, error)
	report  func(*pb.ReportRequest) (*pb.ReportResponse, error)
	asked   []*pb.AskRequest
	reports []*pb.ReportRequest
	epoch   uint64
}

func (f *fake) Ask(_ context.Context, r *pb.AskRequest) (*pb.AskResponse, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.asked = append(f.asked, proto.Clone(r).(*pb.AskRequest))
	if f.ask != nil {
		return f.ask(r)
	}
	return f.allow(r), nil
}

func (f *fake) Report(_ context.Context, r *pb.ReportRequest) (*pb.ReportResponse, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.reports = append(f.reports, proto.Clone(r).(*pb.ReportRequest))
	if f.report != nil {
		return f.report(r)
	}
	return &pb.ReportResponse{Epoch: f.epoch, Permit: &pb.Permit{PermitId: "permit", State: pb.PermitState_PERMIT_STATE_BEGUN}}, nil
}

// allow is an answer in which everything is in order.
func (f *fake) allow(r *pb.AskRequest) *pb.AskResponse {
	f.epoch++
	within := &pb.Deadline{WithinDuration: durationpb.New(10 * time.Second)}
	out := &pb.AskResponse{Judgement: &pb.Judgement{Verdict: pb.Verdict_VERDICT_ALLOW, Sentence: "Every rule that applies passed."}}
	if s := r.GetAction().GetSync(); s != nil {
		out.Leave = &pb.AskResponse_SyncLeave{SyncLeave: &pb.SyncLeave{LeaveId: "leave", RequestId: r.GetRequestId(), Rig: r.GetRig(), Sync: s, Epoch: f.epoch, UseBy: within, Live: true}}
		return out
	}
	state := pb.PermitState_PERMIT_STATE_BEGUN
	if r.GetBeginLater() {
		state = pb.PermitState_PERMIT_STATE_GRANTED
	}
	out.Leave = &pb.AskResponse_Permit{Permit: &pb.Permit{
		PermitId: "permit", RequestId: r.GetRequestId(), Rig: r.GetRig(), Action: r.GetAction(), Epoch: f.epoch, State: state,
		StartBy: within, StopBy: &pb.Deadline{WithinDuration: durationpb.New(time.Minute)},
	}}
	return out
}

func (f *fake) questions() []*pb.AskRequest {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.asked
}

func (f *fake) told() []*pb.ReportRequest {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.reports
}

// served serves a fake on loopback until the test ends, and returns its address.
func served(t *testing.T, f *fake) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	s := grpc.NewServer()
	pb.RegisterMotionServiceServer(s, f)
	pb.RegisterRigServiceServer(s, f)
	go s.Serve(l)
	t.Cleanup(s.Stop)
	return l.Addr().String()
}

// mount is a mount that counts its stops.
type mount struct {
	mu    sync.Mutex
	stops int
}

func (m *mount) count() int {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.stops
}

func (m *mount) handle(t *testing.T, address string, options ...keepclear.Option) *keepclear.Handle {
	t.Helper()
	h := keepclear.Rig("heron", keepclear.Mount{
		Read: func(context.Context) (*pb.Sample, error) { return &pb.Sample{}, nil },
		Stop: func(context.Context) error { m.mu.Lock(); defer m.mu.Unlock(); m.stops++; return nil },
	}, append([]keepclear.Option{keepclear.At(address)}, options...)...)
	t.Cleanup(func() { h.Close() })
	return h
}

// withdrawing is a fake that takes leave back when it is told to.
type withdrawing struct{ fake }

func (*withdrawing) Withdraw(context.Context, *pb.WithdrawRequest) (*pb.WithdrawResponse, error) {
	return &pb.WithdrawResponse{RigKnown: true}, nil
}

func (w *withdrawing) served(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	s := grpc.NewServer()
	pb.RegisterMotionServiceServer(s, w)
	go s.Serve(l)
	t.Cleanup(s.Stop)
	return l.Addr().String()
}
