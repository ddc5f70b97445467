package rpc_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// unknown is one field that no version knows.
var unknown = protowire.AppendVarint(protowire.AppendTag(nil, 77, protowire.VarintType), 1)

// skySlew is a slew to a place on the sky, whole.
func (b *bench) skySlew() *pb.AskRequest {
	r := b.smallestSlew()
	r.RequestId, r.Asker, r.SentTime = b.id("question"), "test", timestamppb.New(b.clock())
	return r
}

// What a request says that this version does not know is refused by its path, at any depth; so are numbers that are none, and all
// faults are named at once. Each refusal is on record.
func TestRefusedByName(t *testing.T) {
	b := newBench(t)
	b.ready()
	for name, c := range map[string]struct {
		spoil  func(*pb.AskRequest)
		path   string
		reason string
	}{
		"unknown field at the top":           {func(r *pb.AskRequest) { r.ProtoReflect().SetUnknown(unknown) }, "#77", "FIELD_UNKNOWN"},
		"unknown action":                     {func(r *pb.AskRequest) { r.Action = &pb.Action{}; r.Action.ProtoReflect().SetUnknown(unknown) }, "action.#77", "FIELD_UNKNOWN"},
		"unknown field of the target":        {func(r *pb.AskRequest) { slewOf(r).GetSky().ProtoReflect().SetUnknown(unknown) }, "action.slew.sky.#77", "FIELD_UNKNOWN"},
		"unknown field of the sample":        {func(r *pb.AskRequest) { r.Sample.Belief.Sky.ProtoReflect().SetUnknown(unknown) }, "sample.belief.sky.#77", "FIELD_UNKNOWN"},
		"unknown field of an instant":        {func(r *pb.AskRequest) { r.Sample.Time.ProtoReflect().SetUnknown(unknown) }, "sample.time.#77", "FIELD_UNKNOWN"},
		"unknown number of a frame":          {func(r *pb.AskRequest) { slewOf(r).GetSky().Frame = 77 }, "action.slew.sky.frame", "FIELD_UNKNOWN"},
		"unknown number of a side":           {func(r *pb.AskRequest) { side := pb.TubeSide(77); slewOf(r).Side = &side }, "action.slew.side", "FIELD_UNKNOWN"},
		"NaN":                                {func(r *pb.AskRequest) { *slewOf(r).GetSky().RaDeg = math.NaN() }, "action.slew.sky.ra_deg", "FIELD_INVALID"},
		"infinity":                           {func(r *pb.AskRequest) { *slewOf(r).GetSky().DecDeg = math.Inf(-1) }, "action.slew.sky.dec_deg", "FIELD_INVALID"},
		"the largest number":                 {func(r *pb.AskRequest) { *r.Sample.MountLstDeg = math.MaxFloat64 }, "sample.mount_lst_deg", "FIELD_INVALID"},
		"one step out of range":              {func(r *pb.AskRequest) { *slewOf(r).GetSky().DecDeg = math.Nextafter(90, 91) }, "action.slew.sky.dec_deg", "FIELD_INVALID"},
		"right ascension in the second turn": {func(r *pb.AskRequest) { *slewOf(r).GetSky().RaDeg = 360 }, "action.slew.sky.ra_deg", "FIELD_INVALID"},
		"a line break in a name":             {func(r *pb.AskRequest) { r.Asker = "a\nlevel=INFO msg=allowed" }, "asker", "FIELD_INVALID"},
		"a path for a rig":                   {func(r *pb.AskRequest) { r.Rig = "../heron" }, "rig", "FIELD_INVALID"},
		"half a request id":                  {func(r *pb.AskRequest) { r.RequestId = "short" }, "request_id", "FIELD_INVALID"},
	} {
		r := b.skySlew()
		c.spoil(r)
		_, err := b.motion.Ask(t.Context(), r)
		require.Equal(t, codes.InvalidArgument, status.Code(err), "%s: %v", name, err)
		assert.Equal(t, c.reason, reason(err), "%s: %v", name, err)
		assert.Contains(t, fields(err), c.path, "%s: %v", name, err)
		assert.NotContains(t, status.Convert(err).Message(), "\n", name)
		e := b.newest(1)[0]
		assert.Equal(t, pb.EntryKind_ENTRY_KIND_REFUSED, e.GetKind(), name)
		assert.NotContains(t, e.GetSentence(), "\n", name)
	}
	b.allowed(b.skySlew())
}

// An error travels in trailers: its size is bounded whatever was sent, and it still names what is wrong.
func TestJunkGivesABoundedError(t *testing.T) {
	b := newBench(t)
	r := b.skySlew()
	for n := protowire.Number(100); n < 400; n++ {
		r.ProtoReflect().SetUnknown(protowire.AppendVarint(protowire.AppendTag(r.ProtoReflect().GetUnknown(), n, protowire.VarintType), 1))
	}
	_, err := b.motion.Ask(t.Context(), r)
	s := status.Convert(err)
	require.Equal(t, codes.InvalidArgument, s.Code())
	assert.Less(t, proto.Size(s.Proto()), 6<<10, "bytes of the status")
	assert.Greater(t, len(fields(err)), 10, "fields named")
	assert.Contains(t, s.Proto().String(), "more; mend those named")
}

func TestUnknownRigIsNotFoundAndOnRecord(t *testing.T) {
	b := newBench(t)
	r := b.skySlew()
	r.Rig = "crane"
	_, err := b.motion.Ask(t.Context(), r)
	require.Equal(t, codes.NotFound, status.Code(err))
	assert.Equal(t, "NOT_FOUND", reason(err))
	assert.Contains(t, err.Error(), "heron", "says which rigs there are")
	assert.Contains(t, b.newest(1)[0].GetSentence(), "crane")
	_, err = b.rigs.GetRig(t.Context(), &pb.GetRigRequest{Rig: "crane"})
	assert.Equal(t, codes.NotFound, status.Code(err))
}

// What a refused report meant is unknown, so its rig is held until the same asker's next one is understood, also over a restart.
func TestRefusedReportHoldsItsRig(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(*pb.ReportRequest)
		code  codes.Code
	}{
		"an act that nobody knows":     {func(r *pb.ReportRequest) { r.Event = &pb.ReportRequest_Act{Act: &pb.Act{Kind: 77}} }, codes.InvalidArgument},
		"an event that nobody knows":   {func(r *pb.ReportRequest) { r.ProtoReflect().SetUnknown(unknown) }, codes.InvalidArgument},
		"a roof that the file has not": {func(r *pb.ReportRequest) { r.Event = roof() }, codes.InvalidArgument},
		"a part that the file has not": {func(r *pb.ReportRequest) {
			r.Sample.Parts = []*pb.PartState{{Part: "flapp", State: &pb.PartState_Name{Name: "shut"}}}
		}, codes.InvalidArgument},
		"a side that no German has":     {func(r *pb.ReportRequest) { r.Sample.Belief.Side = pb.TubeSide_TUBE_SIDE_SECOND.Enum() }, codes.InvalidArgument},
		"more than is ever needed":      {func(r *pb.ReportRequest) { r.Sample.RunMark = strings.Repeat("x", 200<<10) }, codes.ResourceExhausted},
		"an id used for another report": {func(r *pb.ReportRequest) { r.RequestId = "report-used-before"; r.Event = act() }, codes.AlreadyExists},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			b.ready()
			b.mustReport(&pb.ReportRequest{RequestId: "report-used-before", Event: &pb.ReportRequest_MountLimitSeen{MountLimitSeen: &pb.MountLimitSeen{Axis: 1, LimitDeg: proto.Float64(10)}}})
			bad := &pb.ReportRequest{Sample: b.sample(0, 0), Asker: "camera"}
			c.spoil(bad)
			_, err := b.report(bad)
			require.Equal(t, c.code, status.Code(err), "%v", err)
			b.restart()
			out := b.mustAsk(b.slew(30, 40))
			assert.Equal(t, pb.Verdict_VERDICT_HOLD, out.GetJudgement().GetVerdict())
			assert.Contains(t, findingOf(out, "pose/fresh").GetFact().GetMissing(), "not understood")
			g, err := b.rigs.GetRig(t.Context(), &pb.GetRigRequest{Rig: "heron"})
			require.NoError(t, err)
			assert.True(t, g.GetRig().GetReportRefused())
			b.mustReport(&pb.ReportRequest{Sample: b.sample(0, 0), Asker: "another"})
			assert.Equal(t, pb.Verdict_VERDICT_HOLD, b.mustAsk(b.slew(30, 40)).GetJudgement().GetVerdict(), "another asker's report settles nothing")
			b.mustReport(&pb.ReportRequest{Sample: b.sample(0, 0), Asker: "camera"})
			b.allowed(b.slew(30, 40))
		})
	}
}

func act() *pb.ReportRequest_Act {
	return &pb.ReportRequest_Act{Act: &pb.Act{Kind: pb.ActKind_ACT_KIND_CLUTCH_OPENED}}
}

func roof() *pb.ReportRequest_Roof {
	return &pb.ReportRequest_Roof{Roof: &pb.Roof{State: pb.RoofState_ROOF_STATE_SHUT, SeenTime: timestamppb.New(evening)}}
}

// Locks are set by people; the service's own name is not to be had. Ids that were never given release nothing.
func TestLockAndReleaseOverTheWire(t *testing.T) {
	b := newBench(t)
	b.ready()
	p := b.allowed(b.slew(30, 40)).GetPermit()
	_, err := b.locks.Lock(t.Context(), &pb.LockRequest{RequestId: b.id("lock-request"), Scope: &pb.LockRequest_Rig{Rig: "heron"}, Person: "keepclear", Reason: "x"})
	assert.Equal(t, codes.InvalidArgument, status.Code(err))
	assert.Equal(t, []string{"person"}, fields(err))
	l, err := b.locks.Lock(t.Context(), &pb.LockRequest{RequestId: b.id("lock-request"), Scope: &pb.LockRequest_Rig{Rig: "heron"}, Person: "A. Person", Reason: "a cable is loose"})
	require.NoError(t, err)
	assert.Equal(t, pb.LockCause_LOCK_CAUSE_PERSON, l.GetLock().GetCause())
	assert.Equal(t, []string{p.GetPermitId()}, l.GetWithdrawnPermitIds())
	out := b.mustAsk(b.slew(30, 40))
	assert.Equal(t, pb.Effect_EFFECT_HOLD, findingOf(out, "lock/none").GetEffect())
	release := func(ids ...string) error {
		_, err := b.locks.Release(t.Context(), &pb.ReleaseRequest{RequestId: b.id("release-request"), LockIds: ids, Person: "A. Person", Reason: "tied up"})
		return err
	}
	id := l.GetLock().GetLockId()
	assert.Equal(t, codes.NotFound, status.Code(release(id, "made-up")), "all or none")
	require.NoError(t, release(id))
	err = release(id)
	assert.Equal(t, codes.FailedPrecondition, status.Code(err))
	assert.Equal(t, "OVER", reason(err))
	b.allowed(b.slew(30, 40))
}

// A withdrawal is never refused: unknown fields, junk, two rigs.
func TestWithdrawIsNeverRefused(t *testing.T) {
	b := newBench(t)
	b.ready()
	p := b.allowed(b.slew(30, 40)).GetPermit()
	r := &pb.WithdrawRequest{Rig: "heron", Asker: "a\nb", Reason: strings.Repeat("y", 300<<10)}
	r.ProtoReflect().SetUnknown(unknown)
	out, err := b.motion.Withdraw(t.Context(), r)
	require.NoError(t, err)
	assert.Equal(t, []string{p.GetPermitId()}, out.GetPermitIds())
	assert.True(t, out.GetRigKnown())
	assert.False(t, out.GetControllerTold())
	require.Eventually(t, func() bool { return b.newest(1)[0].GetKind() == pb.EntryKind_ENTRY_KIND_WITHDRAWN }, 5*time.Second, time.Millisecond)
	out, err = b.motion.Withdraw(t.Context(), &pb.WithdrawRequest{Rig: "crane"})
	require.NoError(t, err)
	assert.False(t, out.GetRigKnown())
}
