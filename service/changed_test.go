package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// rewritten writes a rig file of a folder anew, with one line of it replaced.
func rewritten(t *testing.T, folder, old, new string) {
	t.Helper()
	path := filepath.Join(folder, "heron.yaml")
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Contains(t, string(content), old)
	require.NoError(t, os.WriteFile(path, []byte(strings.Replace(string(content), old, new, 1)), 0o600))
}

// A pose that was homed under one rig file is nothing under one that says otherwise where home is; that is said at the start, where the rig is looked at and in
// the answer. A changed length costs no homing.
func TestAChangedHomeLeavesNoPose(t *testing.T) {
	t.Parallel()
	rigs, record, r := rigFolder(t), filepath.Join(t.TempDir(), "r.keepclear"), heron(t)
	conn, stop := served(t, "--rigs", rigs, "--record", record)
	home(t, pb.NewMotionServiceClient(conn), r)
	stop()

	rewritten(t, rigs, "front_reach_mm: 520", "front_reach_mm: 521")
	conn, stop = served(t, "--rigs", rigs, "--record", record)
	out, err := pb.NewMotionServiceClient(conn).Ask(t.Context(), turn(t, r, 5, 5))
	require.NoError(t, err)
	assert.Equal(t, pb.Verdict_VERDICT_ALLOW, out.GetJudgement().GetVerdict(), said(out.GetJudgement()))
	_, words := stop()
	assert.NotContains(t, words, "POSE UNKNOWN")

	rewritten(t, rigs, "home_deg: [0, 0]", "home_deg: [0, 2.5]")
	conn, stop = served(t, "--rigs", rigs, "--record", record)
	out, err = pb.NewMotionServiceClient(conn).Ask(t.Context(), turn(t, r, 5, 5))
	require.NoError(t, err)
	const why = "the rig file counts the axes otherwise than when they were last seen: home_deg was [0, 0] and is [0, 2.5]"
	assert.Equal(t, pb.Verdict_VERDICT_HOLD, out.GetJudgement().GetVerdict())
	assert.Contains(t, said(out.GetJudgement()), why)
	got, err := pb.NewRigServiceClient(conn).GetRig(t.Context(), &pb.GetRigRequest{Rig: "heron"})
	require.NoError(t, err)
	assert.Equal(t, pb.PoseState_POSE_STATE_UNKNOWN, got.GetRig().GetPose().GetState())
	assert.Equal(t, why, got.GetRig().GetPose().GetBecause())
	_, words = stop()
	assert.Contains(t, words, "\nPOSE UNKNOWN: heron: "+why+"; where the axes are is not known: look, and state it.\n")
}

// A permit that was judged with a flap open begins on no sample that says it is shut, or nothing of it, and one that says so under way ends it.
func TestAPermitGoesWithThePartsThatWereJudged(t *testing.T) {
	t.Parallel()
	rigs, r := rigFolder(t), heron(t)
	rewritten(t, rigs, "has_no:", `parts:
  - name: flap
    fixed_to: ground
    states:
      - {name: open, shapes: [{ball: {centre_mm: [0, 9000, 5000], diameter_mm: 50}}]}
      - {name: shut, shapes: [{ball: {centre_mm: [0, 9000, 6000], diameter_mm: 50}}]}
has_no:`)
	conn, _ := served(t, "--rigs", rigs)
	c := pb.NewMotionServiceClient(conn)
	home(t, c, r)
	flap := func(name string) *pb.Sample {
		s := sampleAt(t, r, 0, 0)
		if name != "" {
			s.Parts = []*pb.PartState{{Part: "flap", State: &pb.PartState_Name{Name: name}}}
		}
		return s
	}
	q := turn(t, r, 5, 5)
	q.Sample, q.BeginLater = flap("open"), true
	out, err := c.Ask(t.Context(), q)
	require.NoError(t, err)
	require.Equal(t, pb.PermitState_PERMIT_STATE_GRANTED, out.GetPermit().GetState(), said(out.GetJudgement()))
	id := out.GetPermit().GetPermitId()
	begin := func(s *pb.Sample) *pb.ReportResponse {
		got, err := c.Report(t.Context(), &pb.ReportRequest{RequestId: newID(), Rig: "heron", Asker: "test", SentTime: timestamppb.Now(), Sample: s, Event: &pb.ReportRequest_Begin{Begin: &pb.Begin{PermitId: id}}})
		require.NoError(t, err)
		return got
	}
	for shown, says := range map[string]string{"shut": "its sample says flap shut", "": "its sample does not say how flap stands"} {
		got := begin(flap(shown))
		assert.Equal(t, pb.PermitState_PERMIT_STATE_GRANTED, got.GetPermit().GetState(), "%q", shown)
		require.Len(t, got.GetFindings(), 1)
		assert.Contains(t, got.GetFindings()[0].GetSentence(), says)
	}
	require.Equal(t, pb.PermitState_PERMIT_STATE_BEGUN, begin(flap("open")).GetPermit().GetState())
	got, err := c.Report(t.Context(), &pb.ReportRequest{Rig: "heron", Asker: "test", SentTime: timestamppb.Now(), Sample: flap("shut")})
	require.NoError(t, err)
	assert.Nil(t, got.GetPermit(), "it is over")
	require.Len(t, got.GetFindings(), 1)
	assert.Contains(t, got.GetFindings()[0].GetSentence(), "the sample of test says flap shut, and permit "+id+" was judged with flap open: stop it")
}
