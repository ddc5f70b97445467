package rpc_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/dynamicpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

func TestGetRigShowsHowItStands(t *testing.T) {
	b := newBench(t)
	get := func() *pb.Rig {
		g, err := b.rigs.GetRig(t.Context(), &pb.GetRigRequest{Rig: "heron"})
		require.NoError(t, err)
		return g.GetRig()
	}
	r := get()
	assert.Equal(t, pb.PoseState_POSE_STATE_UNKNOWN, r.GetPose().GetState())
	assert.Nil(t, r.GetPose().GetAxes(), "nowhere is not (0, 0)")
	assert.NotEmpty(t, r.GetPose().GetBecause())
	assert.NotEmpty(t, r.GetNeeds())
	b.ready()
	p := b.allowed(b.slew(30, 40)).GetPermit()
	r = get()
	assert.True(t, proto.Equal(p, r.GetPermit()), "the open permit, as it was given")
	assert.Equal(t, b.rig.Digest[:], r.GetRigSha256())
	assert.Equal(t, p.GetEpoch(), r.GetEpoch())
	assert.Equal(t, []string{"drag", "roof", "neighbours"}, r.GetLacks())
	assert.Equal(t, "heron", r.GetChain())
	assert.NotNil(t, r.GetLastSample().GetTime())
	assert.False(t, r.GetStopTracking())
	assert.Equal(t, p.GetPermitId(), r.GetNeeds()[0].GetAbout(), "the permit stands in the way of any other slew")
}

// A rig that tracks toward a contact says so to whoever looks.
func TestGetRigSaysStopTracking(t *testing.T) {
	b := newBench(t)
	b.homedAt(b.sample(0, 0), 0, 0)
	b.proved()
	s := b.sample(0, 0)
	tracking := pb.Motion_MOTION_TRACKING
	s.Motion = &tracking
	b.wait(time.Second)
	s.Time = timestamppb.New(b.clock())
	out := b.mustReport(&pb.ReportRequest{Sample: s})
	g, err := b.rigs.GetRig(t.Context(), &pb.GetRigRequest{Rig: "heron"})
	require.NoError(t, err)
	assert.Equal(t, out.GetStopTracking(), g.GetRig().GetStopTracking())
	assert.Equal(t, out.GetHarmlessUntil().GetAtTime().AsTime(), g.GetRig().GetHarmlessUntil().GetAtTime().AsTime())
}

func TestListsAreRead(t *testing.T) {
	b := newBench(t)
	b.ready()
	for range 5 {
		b.mustAsk(b.slew(30, 40))
	}
	list := func(r *pb.ListEntriesRequest) *pb.ListEntriesResponse {
		out, err := b.reads.ListEntries(t.Context(), r)
		require.NoError(t, err)
		return out
	}
	var numbers []uint64
	req := &pb.ListEntriesRequest{PageSize: 2}
	for {
		out := list(req)
		for _, e := range out.GetEntries() {
			numbers = append(numbers, e.GetReceipt().GetNumber())
		}
		if req.PageToken = out.GetNextPageToken(); req.PageToken == "" {
			break
		}
	}
	assert.Equal(t, []uint64{7, 6, 5, 4, 3, 2, 1}, numbers)
	for _, token := range []string{"x", "-1", "0", "99999999999999999999"} {
		_, err := b.reads.ListEntries(t.Context(), &pb.ListEntriesRequest{PageToken: token})
		assert.Equal(t, codes.InvalidArgument, status.Code(err), token)
		assert.Equal(t, []string{"page_token"}, fields(err))
	}
	count := func(f *pb.EntryFilter) int { return len(list(&pb.ListEntriesRequest{Filter: f}).GetEntries()) }
	assert.Equal(t, 2, count(&pb.EntryFilter{Kinds: []pb.EntryKind{pb.EntryKind_ENTRY_KIND_REPORTED}}))
	assert.Equal(t, 1, count(&pb.EntryFilter{Verdicts: []pb.Verdict{pb.Verdict_VERDICT_ALLOW}}))
	assert.Equal(t, 4, count(&pb.EntryFilter{RuleIds: []string{"permit/one"}}))
	assert.Zero(t, count(&pb.EntryFilter{Rigs: []string{"crane"}}))
	assert.Zero(t, count(&pb.EntryFilter{FromTime: timestamppb.New(evening.Add(time.Hour))}))
	assert.Equal(t, 7, count(&pb.EntryFilter{BeforeTime: timestamppb.New(evening.Add(time.Hour))}))

	rigs, err := b.rigs.ListRigs(t.Context(), &pb.ListRigsRequest{PageSize: 1})
	require.NoError(t, err)
	assert.Len(t, rigs.GetRigs(), 1)
	assert.Empty(t, rigs.GetNextPageToken())
	rigs, err = b.rigs.ListRigs(t.Context(), &pb.ListRigsRequest{PageToken: "heron"})
	require.NoError(t, err)
	assert.Empty(t, rigs.GetRigs())
}

func TestGetEntryByEveryKey(t *testing.T) {
	b := newBench(t)
	b.ready()
	q := b.slew(30, 40)
	out := b.allowed(q)
	byID := b.entry(q.GetRequestId())
	assert.True(t, proto.Equal(q, byID.GetAsked().GetRequest()), "the question as it came")
	assert.Equal(t, out.GetJudgement().GetSentence(), byID.GetAsked().GetResponse().GetJudgement().GetSentence())
	assert.NotEmpty(t, byID.GetFacts())
	assert.NotEmpty(t, byID.GetStored())
	assert.NotEmpty(t, byID.GetRevisions())
	for _, key := range []*pb.GetEntryRequest{
		{Key: &pb.GetEntryRequest_LeaveId{LeaveId: out.GetPermit().GetPermitId()}},
		{Key: &pb.GetEntryRequest_Place{Place: &pb.EntryPlace{Chain: out.GetReceipt().GetChain(), Number: out.GetReceipt().GetNumber()}}},
	} {
		r, err := b.reads.GetEntry(t.Context(), key)
		require.NoError(t, err)
		assert.True(t, proto.Equal(byID, r.GetEntry()))
	}
	_, err := b.reads.GetEntry(t.Context(), &pb.GetEntryRequest{Key: &pb.GetEntryRequest_LeaveId{LeaveId: "made-up"}})
	assert.Equal(t, codes.NotFound, status.Code(err))
}

// follow opens a stream that has its place.
func (b *bench) follow(r *pb.FollowEntriesRequest) grpc.ServerStreamingClient[pb.FollowEntriesResponse] {
	b.t.Helper()
	ctx, cancel := context.WithCancel(b.t.Context())
	b.t.Cleanup(cancel)
	s, err := b.reads.FollowEntries(ctx, r)
	require.NoError(b.t, err)
	_, err = s.Header()
	require.NoError(b.t, err)
	return s
}

// next is the next entry that a stream brings, heartbeats left out.
func next(t *testing.T, s grpc.ServerStreamingClient[pb.FollowEntriesResponse]) *pb.Entry {
	t.Helper()
	for {
		r, err := s.Recv()
		require.NoError(t, err)
		if r.GetEntry() != nil {
			return r.GetEntry()
		}
	}
}

func TestFollowEntries(t *testing.T) {
	b := newBench(t)
	b.ready()
	s := b.follow(&pb.FollowEntriesRequest{})
	beat, err := s.Recv()
	require.NoError(t, err)
	assert.Nil(t, beat.GetEntry(), "a heartbeat where nothing is written")
	allows := b.follow(&pb.FollowEntriesRequest{Filter: &pb.EntryFilter{Verdicts: []pb.Verdict{pb.Verdict_VERDICT_ALLOW}}})
	after := b.follow(&pb.FollowEntriesRequest{After: []*pb.EntryPlace{{Chain: "heron", Number: 1}}})
	assert.Equal(t, uint64(2), next(t, after).GetReceipt().GetNumber(), "the entry after the place named")
	held := b.slew(30, 40)
	held.Sample = nil
	b.wait(time.Minute)
	b.mustAsk(held)
	b.allowed(b.slew(30, 40))
	assert.Equal(t, pb.Verdict_VERDICT_HOLD, next(t, s).GetVerdict())
	assert.Equal(t, pb.Verdict_VERDICT_ALLOW, next(t, s).GetVerdict())
	assert.Equal(t, uint64(4), next(t, allows).GetReceipt().GetNumber(), "the hold is left out")
	bad, err := b.reads.FollowEntries(t.Context(), &pb.FollowEntriesRequest{After: []*pb.EntryPlace{{Chain: "heron", Number: 99}}})
	require.NoError(t, err)
	_, err = bad.Recv()
	assert.Equal(t, codes.NotFound, status.Code(err))
}

// verified runs VerifyRecord to its end.
func (b *bench) verified(r *pb.VerifyRecordRequest) (*pb.VerifyResult, error) {
	s, err := b.reads.VerifyRecord(b.t.Context(), r)
	require.NoError(b.t, err)
	for {
		m, err := s.Recv()
		if err != nil {
			return nil, err
		}
		if m.GetResult() != nil {
			return m.GetResult(), nil
		}
	}
}

func TestVerifyRecord(t *testing.T) {
	b := newBench(t)
	b.ready()
	mine := b.allowed(b.slew(30, 40)).GetReceipt()
	for _, chain := range []string{"", "heron"} {
		v, err := b.verified(&pb.VerifyRecordRequest{Chain: chain, Receipts: []*pb.Receipt{mine}})
		require.NoError(t, err)
		assert.True(t, v.GetWhole(), v.GetSentence())
		assert.Equal(t, uint64(3), v.GetEntryCount())
		assert.Equal(t, mine.GetEntrySha256(), v.GetHeads()[0].GetEntrySha256())
	}
	for name, spoil := range map[string]func(*pb.Receipt){
		"another hash":    func(r *pb.Receipt) { r.EntrySha256[31] ^= 1 },
		"past the end":    func(r *pb.Receipt) { r.Number++ },
		"of another rig":  func(r *pb.Receipt) { r.Chain = "crane" },
		"an entry before": func(r *pb.Receipt) { r.Number-- },
	} {
		forged := proto.Clone(mine).(*pb.Receipt)
		spoil(forged)
		v, err := b.verified(&pb.VerifyRecordRequest{Receipts: []*pb.Receipt{mine, forged}})
		require.NoError(t, err, name)
		assert.False(t, v.GetWhole(), name)
		assert.Equal(t, forged.GetNumber(), v.GetFirstWrong().GetNumber(), name)
		assert.Equal(t, forged.GetChain(), v.GetFirstWrong().GetChain(), name)
	}
	_, err := b.verified(&pb.VerifyRecordRequest{Chain: "crane"})
	assert.Equal(t, codes.NotFound, status.Code(err), "nothing was verified")
}

func TestHealth(t *testing.T) {
	b := newBench(t)
	c := grpc_health_v1.NewHealthClient(b.conn)
	all, err := c.List(t.Context(), &grpc_health_v1.HealthListRequest{})
	require.NoError(t, err)
	assert.Len(t, all.GetStatuses(), 8, "seven services and the whole")
	for name, s := range all.GetStatuses() {
		assert.Equal(t, grpc_health_v1.HealthCheckResponse_SERVING, s.GetStatus(), name)
		assert.Equal(t, s.GetStatus(), b.healthOf(name))
	}
	_, err = c.Check(t.Context(), &grpc_health_v1.HealthCheckRequest{Service: "keepclear.v1.CloudService"})
	assert.Equal(t, codes.NotFound, status.Code(err))
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	w, err := c.Watch(ctx, &grpc_health_v1.HealthCheckRequest{})
	require.NoError(t, err)
	r, err := w.Recv()
	require.NoError(t, err)
	assert.Equal(t, grpc_health_v1.HealthCheckResponse_SERVING, r.GetStatus())
	require.NoError(t, b.rec.Close())
	b.s.Every()
	r, err = w.Recv()
	require.NoError(t, err)
	assert.Equal(t, grpc_health_v1.HealthCheckResponse_NOT_SERVING, r.GetStatus())
	_, err = b.motion.Ask(t.Context(), b.slew(30, 40))
	assert.Equal(t, codes.Unavailable, status.Code(err))
	assert.Equal(t, "NOT_SERVING", reason(err))
}

// A client that has nothing but what the service tells of itself can ask a question.
func TestReflectionIsEnoughToAsk(t *testing.T) {
	b := newBench(t)
	b.ready()
	s, err := grpc_reflection_v1.NewServerReflectionClient(b.conn).ServerReflectionInfo(t.Context())
	require.NoError(t, err)
	ask := func(r *grpc_reflection_v1.ServerReflectionRequest) *grpc_reflection_v1.ServerReflectionResponse {
		require.NoError(t, s.Send(r))
		out, err := s.Recv()
		require.NoError(t, err)
		return out
	}
	var names []string
	for _, x := range ask(&grpc_reflection_v1.ServerReflectionRequest{MessageRequest: &grpc_reflection_v1.ServerReflectionRequest_ListServices{}}).GetListServicesResponse().GetService() {
		names = append(names, x.GetName())
	}
	for _, want := range []string{"MotionService", "RehearsalService", "RigService", "RuleService", "LockService", "RecordService"} {
		assert.Contains(t, names, "keepclear.v1."+want)
	}
	set := &descriptorpb.FileDescriptorSet{}
	for _, raw := range ask(&grpc_reflection_v1.ServerReflectionRequest{MessageRequest: &grpc_reflection_v1.ServerReflectionRequest_FileContainingSymbol{FileContainingSymbol: "keepclear.v1.MotionService"}}).GetFileDescriptorResponse().GetFileDescriptorProto() {
		f := &descriptorpb.FileDescriptorProto{}
		require.NoError(t, proto.Unmarshal(raw, f))
		set.File = append(set.File, f)
	}
	require.NoError(t, s.CloseSend())
	files, err := protodesc.NewFiles(set)
	require.NoError(t, err)
	d, err := files.FindDescriptorByName("keepclear.v1.MotionService")
	require.NoError(t, err)
	m := d.(protoreflect.ServiceDescriptor).Methods().ByName("Ask")
	in, out := dynamicpb.NewMessage(m.Input()), dynamicpb.NewMessage(m.Output())
	text, err := protojson.Marshal(b.slew(30, 40))
	require.NoError(t, err)
	require.NoError(t, protojson.Unmarshal(text, in))
	require.NoError(t, b.conn.Invoke(t.Context(), "/keepclear.v1.MotionService/Ask", in, out))
	said, err := protojson.Marshal(out)
	require.NoError(t, err)
	assert.Contains(t, string(said), "VERDICT_ALLOW")
}

// The largest answers still fit what a client takes by default, 4 MiB, whole entries with facts and stored bytes too: of steps that pass, and of
// steps of which none does, each with its way round.
func TestLargestRehearsalCanBeReadBack(t *testing.T) {
	b := newBench(t)
	blocked := []*pb.Action{b.slew(-90, 0).GetAction(), b.slew(-30, 60).GetAction()}
	for what, step := range map[string]func(i int) *pb.Action{
		"clear":   func(i int) *pb.Action { return b.slew(float64(i%60), 40).GetAction() },
		"blocked": func(i int) *pb.Action { return blocked[i%2] },
	} {
		r := &pb.RehearseRequest{
			Rig: "heron", WithFacts: true, Asker: "test",
			Start: &pb.RehearseRequest_StartAxes{StartAxes: pair(-30, 60)},
		}
		for i := range 256 {
			r.Steps = append(r.Steps, &pb.RehearsalStep{Action: step(i)})
		}
		out, err := pb.NewRehearsalServiceClient(b.conn).Rehearse(t.Context(), r)
		require.NoError(t, err)
		assert.Len(t, out.GetSteps(), 256)
		for i, s := range out.GetSteps() {
			if what == "blocked" {
				require.Len(t, s.GetOutlook().GetAskInstead(), 2, "step %d: %s", i, s.GetOutlook().GetSentence())
				require.Len(t, s.GetOutlook().GetStops(), 2, "step %d", i)
			}
		}
		got, err := b.reads.GetEntry(t.Context(), &pb.GetEntryRequest{Key: &pb.GetEntryRequest_Place{Place: &pb.EntryPlace{Chain: "heron", Number: out.GetReceipt().GetNumber()}}})
		require.NoError(t, err)
		t.Logf("%s: reply %d kB, entry %d kB", what, proto.Size(out)>>10, proto.Size(got)>>10)
		assert.NotEmpty(t, got.GetEntry().GetStored())
	}
}
