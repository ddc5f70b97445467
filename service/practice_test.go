package main

import (
	"context"
	"encoding/json"
	"io"
	"path/filepath"
	"regexp"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	reflection "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/dynamicpb"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/rig"
)

// servedPractice runs serve --practice heron as a user would, with no other word, and waits until it is homed.
func servedPractice(t *testing.T) (*grpc.ClientConn, *text) {
	t.Helper()
	out := &text{}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan int, 1)
	args := []string{"serve", "--practice", "heron", "--listen", "127.0.0.1:0", "--record", filepath.Join(t.TempDir(), "practice.keepclear")}
	go func() { done <- run(ctx, args, nil, out, out, time.Now) }()
	conn := connect(t, addressIn(t, out))
	stop := sync.OnceFunc(func() { conn.Close(); cancel(); <-done })
	t.Cleanup(stop)
	require.Eventually(t, func() bool { return rigOf(t, conn).GetPose().GetState() == pb.PoseState_POSE_STATE_KNOWN }, 20*time.Second, 20*time.Millisecond, "it homes by itself")
	return conn, out
}

func rigOf(t *testing.T, conn *grpc.ClientConn) *pb.Rig {
	t.Helper()
	r, err := pb.NewRigServiceClient(conn).GetRig(t.Context(), &pb.GetRigRequest{Rig: "heron"})
	require.NoError(t, err)
	return r.GetRig()
}

// through is the Go library, which reads the mount from the service.
func through(t *testing.T, conn *grpc.ClientConn) *keepclear.Handle {
	return keepclear.Rig("heron", keepclear.Mount{
		Read: func(context.Context) (*pb.Sample, error) { return rigOf(t, conn).GetLastSample(), nil },
		Stop: func(context.Context) error { return nil },
	}, keepclear.Over(conn), keepclear.Practice(), keepclear.Attended("M. Tester"))
}

// A question without a sample is judged by the last one reported; the mount does what is allowed, in real time, and the permit ends. It
// follows the Go library.
func TestPracticeRigDoesWhatIsAllowed(t *testing.T) {
	t.Parallel()
	conn, _ := servedPractice(t)
	h := through(t, conn)
	a := h.SlewAxes(t.Context(), keepclear.Axes(-3, 4))
	require.Equal(t, keepclear.Allow, a.Verdict, a.String())
	require.Eventually(t, func() bool {
		r := rigOf(t, conn)
		return r.GetPermit() == nil && r.GetPose().GetAxes().GetAxis1Deg() < -2.9 && r.GetPose().GetAxes().GetAxis2Deg() > 3.9
	}, 20*time.Second, 50*time.Millisecond, "it goes there, and the permit ends")

	b := h.SlewAxes(t.Context(), keepclear.Axes(0, 150))
	assert.Equal(t, keepclear.Deny, b.Verdict, "into the tripod: %s", b)
}

// handDriven is the practice rig beside a service of its own, both by a clock that stands still unless the test lets time pass: how fast the machine
// is makes no difference.
type handDriven struct {
	*practiceRig
	clock *faults.Clock
	ask   pb.MotionServiceClient
	open  string // the permit last given
}

func newHandDriven(t *testing.T) *handDriven {
	t.Helper()
	files, facility, err := rigSource(serveOptions{practice: "heron"})
	require.NoError(t, err)
	members, err := newMembers(files, facility)
	require.NoError(t, err)
	s := newStepping(t, members)
	p := newPracticeRig(s.sv.decider, s.rig, io.Discard, s.clock.Now())
	require.NoError(t, p.homed(t.Context()))
	return &handDriven{practiceRig: p, clock: s.clock, ask: s.ask}
}

// slew asks for a turn to axis angles, degrees, without a sample, and wants leave.
func (h *handDriven) slew(t *testing.T, axis1, axis2 float64) {
	t.Helper()
	a, err := h.ask.Ask(t.Context(), &pb.AskRequest{
		RequestId: newID(), Rig: "heron", Asker: "test", AttendedBy: "M. Tester", SentTime: timestamppb.New(h.clock.Now()), ReplacesPermitId: h.open,
		Action: &pb.Action{Kind: &pb.Action_Slew{Slew: &pb.Slew{Target: &pb.Slew_Axes{Axes: pairOf(axis1, axis2)}, TrackDuration: durationpb.New(0)}}},
	})
	require.NoError(t, err)
	require.Equal(t, pb.Verdict_VERDICT_ALLOW, a.GetJudgement().GetVerdict(), said(a.GetJudgement()))
	h.open = a.GetPermit().GetPermitId()
}

// pass lets so much time pass, in which the rig heeds its permits and reports as run has it do; it returns once is says so, after a report.
func (h *handDriven) pass(t *testing.T, most time.Duration, is func() bool) {
	t.Helper()
	for gone := practiceHeeds; gone <= most; gone += practiceHeeds {
		h.clock.Wait(practiceHeeds)
		require.NoError(t, h.heed())
		if gone%practiceEvery != 0 {
			continue
		}
		require.NoError(t, h.turn(t.Context()))
		if is() {
			return
		}
	}
	require.Fail(t, "it has not come to pass")
}

// Sent elsewhere under way it turns there at once, as a mount does that is told: one that went on for a second would be off the way that was
// checked from where it stood, and be stopped.
func TestPracticeRigIsSentElsewhereUnderWay(t *testing.T) {
	t.Parallel()
	h := newHandDriven(t)
	at := func() rig.Axes { return h.mount.Axes(h.clock.Now()) }
	h.slew(t, 30, -60)
	h.pass(t, 20*time.Second, func() bool { return at().A1.Deg() > 5 })
	h.slew(t, -10, 20)
	h.pass(t, 30*time.Second, func() bool {
		v, err := h.decider.Look(t.Context(), "heron")
		require.NoError(t, err)
		return !v.State.Permit.Open()
	})
	assert.InDelta(t, -10, at().A1.Deg(), 0.1)
	assert.InDelta(t, 20, at().A2.Deg(), 0.1)
}

// Tracking, it shows a solve, which may be synced.
func TestPracticeRigTakesASync(t *testing.T) {
	t.Parallel()
	conn, out := servedPractice(t)
	h := through(t, conn)
	c := h.Jog(t.Context(), keepclear.Axes(0, 1), 10*time.Minute)
	require.Equal(t, keepclear.Allow, c.Verdict, c.String())
	shown := regexp.MustCompile(`\{"sky".*\}`)
	require.Eventually(t, func() bool { return shown.MatchString(out.String()) }, 20*time.Second, 50*time.Millisecond, "it shows what its camera solves")
	solve := &pb.Solve{}
	require.NoError(t, protojson.Unmarshal([]byte(shown.FindString(out.String())), solve))
	d := h.Sync(t.Context(), solve)
	require.Equal(t, keepclear.Allow, d.Verdict, d.String())
	require.Eventually(t, func() bool { return rigOf(t, conn).GetLastSample().GetSyncCount() == 1 }, 20*time.Second, 50*time.Millisecond, "it takes the sync")
	dec := solve.GetSky().GetDecDeg() + 40
	if dec > 89 {
		dec -= 80
	}
	solve.Sky.DecDeg = &dec
	assert.Equal(t, keepclear.Deny, h.Sync(t.Context(), solve).Verdict, "the same solve, 40° off")
}

// A tool that knows nothing of keepclear asks by reflection: it fetches the messages, makes a question of JSON and reads the answer.
func TestGenericToolAsksByReflection(t *testing.T) {
	t.Parallel()
	conn, _ := servedPractice(t)
	service := reflected(t, conn, "keepclear.v1.MotionService")
	method := service.Methods().ByName("Ask")
	require.NotNil(t, method)
	ask := func(question string) (verdict string, err error) {
		in, out := dynamicpb.NewMessage(method.Input()), dynamicpb.NewMessage(method.Output())
		require.NoError(t, protojson.Unmarshal([]byte(question), in))
		if err := conn.Invoke(t.Context(), "/keepclear.v1.MotionService/Ask", in, out); err != nil {
			return "", err
		}
		b, err := protojson.Marshal(out)
		require.NoError(t, err)
		var answer struct {
			Judgement struct{ Verdict, Sentence string }
		}
		require.NoError(t, json.Unmarshal(b, &answer))
		return answer.Judgement.Verdict, nil
	}
	now := time.Now().UTC().Format(time.RFC3339Nano)
	verdict, err := ask(`{"requestId": "by-a-generic-tool-1", "rig": "heron", "sentTime": "` + now + `", "attendedBy": "M. Tester", "action": {"slew": {"axes": {"axis1Deg": -30, "axis2Deg": 60}, "trackDuration": "0s"}}}`)
	require.NoError(t, err)
	assert.Equal(t, "VERDICT_ALLOW", verdict)
	_, err = ask(`{"requestId": "by-a-generic-tool-2", "rig": "heron", "sentTime": "` + now + `"}`)
	assert.Equal(t, codes.InvalidArgument, status.Code(err), "a question without an action")
}

// reflected fetches a service's description from the server, with all that it needs.
func reflected(t *testing.T, conn *grpc.ClientConn, name string) protoreflect.ServiceDescriptor {
	t.Helper()
	stream, err := reflection.NewServerReflectionClient(conn).ServerReflectionInfo(t.Context())
	require.NoError(t, err)
	fetch := func(r *reflection.ServerReflectionRequest) []*descriptorpb.FileDescriptorProto {
		require.NoError(t, stream.Send(r))
		reply, err := stream.Recv()
		require.NoError(t, err)
		var out []*descriptorpb.FileDescriptorProto
		for _, b := range reply.GetFileDescriptorResponse().GetFileDescriptorProto() {
			f := &descriptorpb.FileDescriptorProto{}
			require.NoError(t, proto.Unmarshal(b, f))
			out = append(out, f)
		}
		return out
	}
	files := fetch(&reflection.ServerReflectionRequest{MessageRequest: &reflection.ServerReflectionRequest_FileContainingSymbol{FileContainingSymbol: name}})
	have := func(name string) bool {
		return slices.ContainsFunc(files, func(f *descriptorpb.FileDescriptorProto) bool { return f.GetName() == name })
	}
	for i := 0; i < len(files); i++ {
		for _, need := range files[i].GetDependency() {
			if !have(need) {
				files = append(files, fetch(&reflection.ServerReflectionRequest{MessageRequest: &reflection.ServerReflectionRequest_FileByFilename{FileByFilename: need}})...)
			}
		}
	}
	require.NoError(t, stream.CloseSend())
	all, err := protodesc.NewFiles(&descriptorpb.FileDescriptorSet{File: files})
	require.NoError(t, err)
	d, err := all.FindDescriptorByName(protoreflect.FullName(name))
	require.NoError(t, err)
	return d.(protoreflect.ServiceDescriptor)
}

// Somebody who pulls the plug on a practice rig's permit stops it.
func TestPracticeRigStopsWhenWithdrawn(t *testing.T) {
	t.Parallel()
	conn, _ := servedPractice(t)
	c := pb.NewMotionServiceClient(conn)
	q := turn(t, heron(t), -60, 60)
	q.Sample = nil
	q.Action.GetSlew().TrackDuration = durationpb.New(0)
	a, err := c.Ask(t.Context(), q)
	require.NoError(t, err)
	require.Equal(t, pb.Verdict_VERDICT_ALLOW, a.GetJudgement().GetVerdict(), said(a.GetJudgement()))
	require.Eventually(t, func() bool { return rigOf(t, conn).GetLastSample().GetMotion() == pb.Motion_MOTION_MOVING }, 20*time.Second, 20*time.Millisecond)
	_, err = c.Withdraw(t.Context(), &pb.WithdrawRequest{Rig: "heron", Asker: "M. Tester", Reason: "trial"})
	require.NoError(t, err)
	require.Eventually(t, func() bool { return rigOf(t, conn).GetLastSample().GetMotion() == pb.Motion_MOTION_AT_REST }, 20*time.Second, 20*time.Millisecond, "it stops")
	x := rigOf(t, conn).GetPose().GetAxes()
	assert.Greater(t, x.GetAxis1Deg(), -60.0, "on the way")
	assert.Less(t, x.GetAxis1Deg(), 0.0)
}
