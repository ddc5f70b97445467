package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/rig"
)

// TestExampleRigsCanObserve: from home, each example rig may slew to much of what stands 15° and more above the horizon. An example
// that is refused everything teaches nobody anything. Not beside the loops of system calls, which leave nobody the time.
func TestExampleRigsCanObserve(t *testing.T) {
	conn, stop := served(t, "--rigs", filepath.Join("..", "testdata", "rigs"))
	defer stop()
	client := pb.NewRehearsalServiceClient(conn)
	for rig, night := range map[string]string{"wren": "2026-12-01T13:00:00Z", "curlew": "2026-12-01T11:00:00Z", "bittern": "2026-12-01T22:00:00Z"} {
		at, err := time.Parse(time.RFC3339, night)
		require.NoError(t, err)
		up, allowed := observable(t, client, rig, at, 45)
		t.Logf("%s: %d of %d", rig, allowed, up)
		assert.Greater(t, up, 10, rig)
		assert.GreaterOrEqual(t, 5*allowed, 2*up, "%s: %d of %d allowed", rig, allowed, up)
	}
}

// observable counts the targets that stand 15° and more above the horizon, on a grid so far apart in right ascension, and those that a rig may slew to from home.
func observable(t *testing.T, client pb.RehearsalServiceClient, rig string, at time.Time, apartDeg float64) (up, allowed int) {
	for ra := 0.0; ra < 360; ra += apartDeg {
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
	return up, allowed
}

// TestFilledInFormCanObserve: a blank form filled in with the ordinary choice of side, all else left at the form's defaults, may slew
// to half of what is up, and to nearly all once the order of the axes was watched; with the side not known to next to nothing.
func TestFilledInFormCanObserve(t *testing.T) {
	t.Parallel()
	values := map[string]string{}
	for _, m := range regexp.MustCompile(`(?m)^ *([a-z0-9_]+): ([^#\n]+)`).FindAllStringSubmatch(string(practice.HeronFile()), -1) {
		values[m[1]] = strings.TrimSpace(m[2])
	}
	form := regexp.MustCompile(`(?m)^( *)([a-z0-9_]+): *(#.*)?$`).ReplaceAllStringFunc(rig.Blank(rig.German), func(line string) string {
		head, _, _ := strings.Cut(line, ":")
		return head + ": " + values[strings.TrimSpace(head)]
	})
	night := time.Date(2026, 12, 1, 20, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		old, by     string
		least, most int // per cent
	}{
		{"", "", 50, 90},
		{"axes_move: any order ", "axes_move: independent ", 90, 100},
		{"side_chosen_by: hour angle", "side_chosen_by: any", 0, 10},
	} {
		dir := t.TempDir()
		require.NoError(t, os.WriteFile(filepath.Join(dir, "heron.yaml"), []byte(strings.Replace(form, c.old, c.by, 1)), 0o600))
		conn, stop := served(t, "--rigs", dir, "--record", filepath.Join(dir, "r.keepclear"))
		up, allowed := observable(t, pb.NewRehearsalServiceClient(conn), "heron", night, 90)
		stop()
		t.Logf("%s: %d of %d", c.by, allowed, up)
		assert.Greater(t, up, 7)
		assert.GreaterOrEqual(t, 100*allowed, c.least*up, "%q: %d of %d", c.by, allowed, up)
		assert.LessOrEqual(t, 100*allowed, c.most*up, "%q: %d of %d", c.by, allowed, up)
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
