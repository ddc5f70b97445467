package main

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// TestExampleRigsCanObserve: from home, each example rig may slew to much of what stands 15° and more above the horizon. An example
// that is refused everything teaches nobody anything.
func TestExampleRigsCanObserve(t *testing.T) {
	t.Parallel()
	conn, stop := served(t, "--rigs", filepath.Join("..", "testdata", "rigs"))
	defer stop()
	client := pb.NewRehearsalServiceClient(conn)
	for rig, night := range map[string]string{"wren": "2026-12-01T13:00:00Z", "curlew": "2026-12-01T11:00:00Z", "bittern": "2026-12-01T22:00:00Z"} {
		at, err := time.Parse(time.RFC3339, night)
		require.NoError(t, err)
		up, allowed := 0, 0
		for ra := 0.0; ra < 360; ra += 45 {
			for dec := -75.0; dec <= 75; dec += 30 {
				step := &pb.RehearsalStep{StartTime: timestamppb.New(at), Action: skySlew(ra, dec)}
				r, err := client.Rehearse(t.Context(), &pb.RehearseRequest{Rig: rig, Steps: []*pb.RehearsalStep{step}})
				require.NoError(t, err, rig)
				out := r.GetSteps()[0].GetOutlook()
				if above(out) < 15 {
					continue
				}
				up++
				if out.GetVerdict() == pb.Verdict_VERDICT_ALLOW {
					allowed++
				}
			}
		}
		t.Logf("%s: %d of %d", rig, allowed, up)
		assert.Greater(t, up, 10, rig)
		assert.GreaterOrEqual(t, 5*allowed, 2*up, "%s: %d of %d allowed", rig, allowed, up)
	}
}

func skySlew(raDeg, decDeg float64) *pb.Action {
	sky := &pb.SkyPosition{RaDeg: &raDeg, DecDeg: &decDeg, Frame: pb.SkyFrame_SKY_FRAME_ICRS}
	return &pb.Action{Kind: &pb.Action_Slew{Slew: &pb.Slew{Target: &pb.Slew_Sky{Sky: sky}, TrackDuration: durationpb.New(0)}}}
}

// above is how high above the skyline the target stands, as sky/horizon found; -90 where it found nothing.
func above(j *pb.Judgement) float64 {
	for _, f := range j.GetFindings() {
		if n, ok := f.GetFact().GetValue().(*pb.Fact_Number); ok && f.GetRuleId() == "sky/horizon" {
			return n.Number
		}
	}
	return -90
}
