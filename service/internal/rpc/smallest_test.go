package rpc_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// The smallest useful slew, in the twelve values of the API's own description; the belief is put in where the rig stands. Invented.
const smallestSlew = `{"requestId": "0b0f6a52-8c1e-4a53-9f0e-5d6f3f4f7a11", "rig": "heron",
 "action": {"slew": {"sky": {"raDeg": 38.20, "decDeg": 61.45, "frame": "SKY_FRAME_ICRS"}, "trackDuration": "600s"}},
 "sample": {"time": "2026-11-14T18:02:11.2Z", "motion": "MOTION_AT_REST"}}`

// The smallest useful sync; solve and belief are put in where the rig points. Invented.
const smallestSync = `{"requestId": "c0c7a2de-5e0f-4b57-8d0a-95c9d6a0a9f2", "rig": "heron",
 "action": {"sync": {"solve": {"exposureStartTime": "2026-11-14T18:02:13Z", "exposureDuration": "1s",
   "pixelArcsec": 1.55, "fieldWidthDeg": 1.79, "rotationDeg": 92.4, "mirrored": false,
   "matchedCount": 61, "residualArcsec": 0.8, "searchRadiusDeg": 180}}},
 "sample": {"time": "2026-11-14T18:02:20.2Z", "motion": "MOTION_AT_REST"}}`

// smallestSlew is the question, of a rig that stands at home.
func (b *bench) smallestSlew() *pb.AskRequest {
	r := &pb.AskRequest{}
	require.NoError(b.t, protojson.Unmarshal([]byte(smallestSlew), r))
	full := b.sample(0, 0)
	r.Sample.Belief = &pb.Belief{Sky: full.GetBelief().GetSky()}
	r.Sample.MountLstDeg = full.MountLstDeg
	return r
}

// smallestSync is the question, 9 s later, of a rig that stands where its pole of both axes is far away: (30°, 40°).
func (b *bench) smallestSync() *pb.AskRequest {
	b.wait(9 * time.Second)
	r := &pb.AskRequest{}
	require.NoError(b.t, protojson.Unmarshal([]byte(smallestSync), r))
	full := b.sample(30, 40)
	r.Sample.Belief = &pb.Belief{Sky: full.GetBelief().GetSky()}
	r.Sample.MountLstDeg = full.MountLstDeg
	solved := proto.Clone(full.GetBelief().GetSky()).(*pb.SkyPosition)
	*solved.DecDeg += 0.2
	r.GetAction().GetSync().GetSolve().Sky = solved
	return r
}

// cost is one line of the table of what leaving a part out costs.
type cost struct {
	left  string // what is left out, in the table's words
	out   func(b *bench, r *pb.AskRequest)
	field string                                            // INVALID_ARGUMENT naming it
	holds []string                                          // rules that hold, each named
	check func(t *testing.T, b *bench, out *pb.AskResponse) // anything else that it costs
}

// settle runs one line.
func (c cost) settle(t *testing.T, b *bench, r *pb.AskRequest) {
	if c.out != nil {
		c.out(b, r)
	}
	out, err := b.motion.Ask(t.Context(), r)
	if c.field != "" {
		require.Equal(t, codes.InvalidArgument, status.Code(err), "%v", err)
		assert.Equal(t, "FIELD_INVALID", reason(err))
		assert.Contains(t, fields(err), c.field)
		return
	}
	require.NoError(t, err)
	want := pb.Verdict_VERDICT_ALLOW
	if len(c.holds) > 0 {
		want = pb.Verdict_VERDICT_HOLD
		assert.NotEmpty(t, out.GetJudgement().GetNeeds(), "a hold names its need")
	}
	require.Equal(t, want, out.GetJudgement().GetVerdict(), "%s", objections(out))
	assert.Equal(t, want == pb.Verdict_VERDICT_ALLOW, out.GetPermit() != nil || out.GetSyncLeave() != nil, "leave only with an allow")
	for _, id := range c.holds {
		f := findingOf(out, id)
		assert.Equal(t, pb.Effect_EFFECT_HOLD, f.GetEffect(), "%s: %s", id, objections(out))
		assert.NotEmpty(t, f.GetRemedy(), id)
	}
	if c.check != nil {
		c.check(t, b, out)
	}
}

func findingOf(out *pb.AskResponse, id string) *pb.Finding {
	for _, f := range out.GetJudgement().GetFindings() {
		if f.GetRuleId() == id {
			return f
		}
	}
	return nil
}

func noted(words string) func(*testing.T, *bench, *pb.AskResponse) {
	return func(t *testing.T, _ *bench, out *pb.AskResponse) {
		assert.Contains(t, strings.Join(out.GetJudgement().GetNotes(), "\n"), words)
	}
}

func slewOf(r *pb.AskRequest) *pb.Slew { return r.GetAction().GetSlew() }

func action(r *pb.AskRequest, a *pb.Action) { r.Action = a }

var still = durationpb.New(0)

func TestWhatASlewCostsWithout(t *testing.T) {
	jog := &pb.Action{Kind: &pb.Action_Jog{Jog: &pb.Jog{By: pair(1, 0), TrackDuration: still}}}
	home := &pb.Action{Kind: &pb.Action_Home{Home: &pb.Home{}}}
	retreat := &pb.Action{Kind: &pb.Action_Slew{Slew: &pb.Slew{Target: &pb.Slew_Axes{Axes: pair(0, 0)}, TrackDuration: still}}}
	noBelief := func(a *pb.Action) func(*bench, *pb.AskRequest) {
		return func(_ *bench, r *pb.AskRequest) { r.Sample.Belief = nil; action(r, a) }
	}
	for _, c := range []cost{
		{left: "nothing"},
		{left: "requestId", out: func(_ *bench, r *pb.AskRequest) { r.RequestId = "" }, field: "request_id"},
		{left: "rig", out: func(_ *bench, r *pb.AskRequest) { r.Rig = "" }, field: "rig"},
		{left: "action", out: func(_ *bench, r *pb.AskRequest) { r.Action = nil }, field: "action"},
		{left: "target", out: func(_ *bench, r *pb.AskRequest) { slewOf(r).Target = nil }, field: "action.slew.target"},
		{left: "frame", out: func(_ *bench, r *pb.AskRequest) { slewOf(r).GetSky().Frame = 0 }, field: "action.slew.sky.frame"},
		{left: "trackDuration", out: func(_ *bench, r *pb.AskRequest) { slewOf(r).TrackDuration = nil }, field: "action.slew.track_duration"},
		{left: "slew.side: the side that the mount will choose is judged", check: func(t *testing.T, _ *bench, out *pb.AskResponse) {
			require.Len(t, out.GetJudgement().GetEnds(), 1)
			assert.NotZero(t, out.GetJudgement().GetEnds()[0].GetSide())
		}},
		{left: "sample: the last one counts", out: func(_ *bench, r *pb.AskRequest) { r.Sample, r.SentTime = nil, timestamppb.New(evening) }, check: noted("the last one reported counts")},
		{left: "sample, the last one old", out: func(b *bench, r *pb.AskRequest) {
			r.Sample = nil
			b.wait(11 * time.Second)
			r.SentTime = timestamppb.New(b.clock())
		},
			holds: []string{"pose/fresh"}, check: needs(pb.NeedKind_NEED_KIND_SAMPLE)},
		{left: "sample, of homing: judged from what its age allows", out: func(b *bench, r *pb.AskRequest) {
			r.Sample = nil
			b.wait(11 * time.Second)
			r.SentTime = timestamppb.New(b.clock())
			action(r, home)
		}, check: func(t *testing.T, _ *bench, out *pb.AskResponse) {
			assert.Equal(t, 10*time.Second, out.GetPermit().GetStartBy().GetWithinDuration().AsDuration(), "and long enough to be used")
		}},
		{left: "sample.time", out: func(b *bench, r *pb.AskRequest) { r.Sample.Time = nil; r.SentTime = timestamppb.New(b.clock()) }, holds: []string{"pose/fresh"}},
		{left: "sample.belief", out: noBelief(nil), field: "action"}, // without an action; with one:
		{left: "sample.belief, slew", out: func(_ *bench, r *pb.AskRequest) { r.Sample.Belief = nil }, holds: []string{"belief/agrees"}},
		{left: "sample.belief, park", out: noBelief(&pb.Action{Kind: &pb.Action_Park{Park: &pb.Park{}}}), field: "action.park.place"}, // heron names none
		{left: "sample.belief, flip", out: noBelief(&pb.Action{Kind: &pb.Action_Flip{Flip: &pb.Flip{TrackDuration: still}}}), check: nil, holds: []string{"belief/agrees"}},
		{left: "sample.belief, track", out: noBelief(&pb.Action{Kind: &pb.Action_Track{Track: &pb.Track{End: &pb.Track_TrackDuration{TrackDuration: durationpb.New(time.Minute)}}}}), holds: []string{"belief/agrees"}},
		{left: "sample.belief, jog", out: noBelief(jog)},
		{left: "sample.belief, home", out: noBelief(home)},
		{left: "sample.belief, retreat by axes", out: noBelief(retreat)},
		{left: "belief.side: the other solution cannot follow from the last sample", check: func(t *testing.T, b *bench, _ *pb.AskResponse) {
			g, err := b.rigs.GetRig(t.Context(), &pb.GetRigRequest{Rig: "heron"})
			require.NoError(t, err)
			assert.Equal(t, pb.PoseState_POSE_STATE_KNOWN, g.GetRig().GetPose().GetState())
		}},
		{left: "motion: taken as moving, so that the pose blurs as the sample ages", out: func(b *bench, r *pb.AskRequest) {
			r.Sample.Motion = nil
			b.wait(time.Second)
			r.SentTime = timestamppb.New(b.clock())
		}, holds: []string{"pose/sharp"}},
		{left: "readings: reckoned", check: func(t *testing.T, b *bench, _ *pb.AskResponse) {
			g, err := b.rigs.GetRig(t.Context(), &pb.GetRigRequest{Rig: "heron"})
			require.NoError(t, err)
			assert.Equal(t, pb.PoseSource_POSE_SOURCE_RECKONED, g.GetRig().GetPose().GetSource())
		}},
		{left: "mountLstDeg", out: func(_ *bench, r *pb.AskRequest) { r.Sample.MountLstDeg = nil }, holds: []string{"mount/map"}},
		{left: "homingId", check: noted("no homing id was given")},
		{left: "runMark", check: noted("no run mark was given")},
		{left: "sentTime", check: noted("no sending time was given")},
		{left: "sentTime: the sample's age counts as skew", out: func(b *bench, _ *pb.AskRequest) { b.wait(6 * time.Second) }, holds: []string{"time/agree"}},
		{left: "asker", check: func(t *testing.T, b *bench, out *pb.AskResponse) {
			noted(`"unnamed" in the record`)(t, b, out)
			assert.Equal(t, "unnamed", b.entry(out.GetPermit().GetRequestId()).GetAsker())
		}},
		{left: "attendedBy", check: noted("judged as unattended")},
		{left: "beginLater: the permit begins with the answer", check: func(t *testing.T, _ *bench, out *pb.AskResponse) {
			assert.Equal(t, pb.PermitState_PERMIT_STATE_BEGUN, out.GetPermit().GetState())
			assert.LessOrEqual(t, out.GetPermit().GetStartBy().GetWithinDuration().AsDuration(), 10*time.Second)
		}},
		{left: "nothing, and begin_later", out: func(_ *bench, r *pb.AskRequest) { r.BeginLater = true }, check: func(t *testing.T, _ *bench, out *pb.AskResponse) {
			assert.Equal(t, pb.PermitState_PERMIT_STATE_GRANTED, out.GetPermit().GetState())
		}},
	} {
		t.Run(c.left, func(t *testing.T) {
			b := newBench(t)
			b.ready()
			c.settle(t, b, b.smallestSlew())
		})
	}
}

func needs(kind pb.NeedKind) func(*testing.T, *bench, *pb.AskResponse) {
	return func(t *testing.T, _ *bench, out *pb.AskResponse) {
		for _, n := range out.GetJudgement().GetNeeds() {
			if n.GetKind() == kind {
				return
			}
		}
		assert.Failf(t, "need", "%v, want %v", out.GetJudgement().GetNeeds(), kind)
	}
}

// What belongs to the rig's past and not to the question costs too.
func TestWhatASlewCostsBesides(t *testing.T) {
	t.Run("mountSite, ever", func(t *testing.T) {
		b := newBench(t)
		s := b.sample(0, 0)
		s.MountSite = nil
		b.homedAt(s, 0, 0)
		b.proved()
		cost{holds: []string{"mount/map"}}.settle(t, b, b.smallestSlew())
	})
	t.Run("attendedBy, of an unproven rig", func(t *testing.T) {
		b := newBench(t)
		b.homedAt(b.sample(0, 0), 0, 0)
		cost{holds: []string{"rig/proven"}, check: needs(pb.NeedKind_NEED_KIND_RIG_PROOF)}.settle(t, b, b.smallestSlew())
	})
	t.Run("attendedBy given, of an unproven rig", func(t *testing.T) {
		b := newBench(t)
		b.homedAt(b.sample(0, 0), 0, 0)
		cost{out: func(_ *bench, r *pb.AskRequest) { r.AttendedBy = "M. Tester" }}.settle(t, b, b.smallestSlew())
	})
	t.Run("replacesPermitId", func(t *testing.T) {
		b := newBench(t)
		b.ready()
		first := b.allowed(b.smallestSlew()).GetPermit().GetPermitId()
		again := b.smallestSlew()
		again.RequestId = b.id("question")
		cost{holds: []string{"permit/one"}, check: func(t *testing.T, _ *bench, out *pb.AskResponse) {
			needs(pb.NeedKind_NEED_KIND_PERMIT_END)(t, nil, out)
			assert.Equal(t, first, out.GetJudgement().GetNeeds()[0].GetAbout(), "the id to put there")
		}}.settle(t, b, again)
		third := b.smallestSlew()
		third.RequestId, third.ReplacesPermitId = b.id("question"), first
		assert.NotEqual(t, first, b.allowed(third).GetPermit().GetPermitId())
	})
}

func solveOf(r *pb.AskRequest) *pb.Solve { return r.GetAction().GetSync().GetSolve() }

func TestWhatASyncCostsWithout(t *testing.T) {
	for _, c := range []cost{
		{left: "nothing"},
		{left: "solve", out: func(_ *bench, r *pb.AskRequest) { r.GetAction().GetSync().Solve = nil }, field: "action.sync.solve"},
		{left: "solve.sky", out: func(_ *bench, r *pb.AskRequest) { solveOf(r).Sky = nil }, field: "action.sync.solve.sky"},
		{left: "frame", out: func(_ *bench, r *pb.AskRequest) { solveOf(r).Sky.Frame = 0 }, field: "action.sync.solve.sky.frame"},
		{left: "exposure start", out: func(_ *bench, r *pb.AskRequest) { solveOf(r).ExposureStartTime = nil }, holds: []string{"solve/fresh", "solve/still"}},
		{left: "exposure length", out: func(_ *bench, r *pb.AskRequest) { solveOf(r).ExposureDuration = nil }, holds: []string{"solve/fresh", "solve/still"}},
		{left: "pixelArcsec", out: func(_ *bench, r *pb.AskRequest) { solveOf(r).PixelArcsec = nil }, holds: []string{"solve/optics"}},
		{left: "rotationDeg", out: func(_ *bench, r *pb.AskRequest) { solveOf(r).RotationDeg = nil }, holds: []string{"solve/optics"}},
		{left: "mirrored", out: func(_ *bench, r *pb.AskRequest) { solveOf(r).Mirrored = nil }, holds: []string{"solve/optics"}},
		{left: "matchedCount", out: func(_ *bench, r *pb.AskRequest) { solveOf(r).MatchedCount = nil }, holds: []string{"solve/quality"}},
		{left: "residualArcsec", out: func(_ *bench, r *pb.AskRequest) { solveOf(r).ResidualArcsec = nil }, holds: []string{"solve/quality"}},
		{left: "searchRadiusDeg", out: func(_ *bench, r *pb.AskRequest) { solveOf(r).SearchRadiusDeg = nil }, holds: []string{"solve/blind"}},
		{left: "fieldWidthDeg: from the optics of the rig file", out: func(_ *bench, r *pb.AskRequest) { solveOf(r).FieldWidthDeg = nil }},
		{left: "optics: the only one"},
		{left: "optics named wrongly", out: func(_ *bench, r *pb.AskRequest) { solveOf(r).Optics = "finder" }, field: "action.sync.solve.optics"},
		{left: "pictureId: start, length and position name the picture"},
		{left: "midExposure: worked out from the samples on both sides"},
		{left: "midExposure, and no sample before the exposure", out: func(_ *bench, r *pb.AskRequest) {
			solveOf(r).ExposureStartTime = timestamppb.New(evening.Add(-time.Minute))
		},
			holds: []string{"solve/still"}, check: func(t *testing.T, _ *bench, out *pb.AskResponse) {
				assert.Contains(t, findingOf(out, "solve/still").GetSentence()+findingOf(out, "solve/still").GetFact().GetMissing(), "18:01", "names the interval")
			}},
		{left: "mountSky: solve.sky goes to the mount", check: func(t *testing.T, _ *bench, out *pb.AskResponse) {
			assert.True(t, out.GetSyncLeave().GetLive())
			assert.Nil(t, out.GetSyncLeave().GetSync().GetMountSky(), "the leave repeats what was asked")
		}},
		{left: "belief", out: func(_ *bench, r *pb.AskRequest) { r.Sample.Belief = nil }, holds: []string{"sync/jump"}},
	} {
		t.Run(c.left, func(t *testing.T) {
			b := newBench(t)
			b.homedAt(b.sample(30, 40), 30, 40)
			b.proved()
			c.settle(t, b, b.smallestSync())
		})
	}
}
