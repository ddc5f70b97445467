package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// planned is a service that would let all steps pass but the second.
type planned struct {
	pb.UnimplementedRehearsalServiceServer
	got *pb.RehearseRequest
}

func (p *planned) Rehearse(_ context.Context, r *pb.RehearseRequest) (*pb.RehearseResponse, error) {
	p.got = r
	out := &pb.RehearseResponse{}
	for i := range r.GetSteps() {
		j := &pb.Judgement{Verdict: pb.Verdict_VERDICT_ALLOW, Sentence: "Every rule passed."}
		if i == 1 {
			j = &pb.Judgement{Verdict: pb.Verdict_VERDICT_DENY, Sentence: "Too near."}
		}
		out.Steps = append(out.Steps, &pb.RehearsedStep{Outlook: j, PassesUntilTime: r.GetSteps()[0].GetStartTime()})
	}
	return out, nil
}

// A plan is rehearsed whole: each step is told with what it was, and one that would not pass makes the exit code.
func TestAPlanIsRehearsed(t *testing.T) {
	p := &planned{}
	address := listening(t, func(g *grpc.Server) { pb.RegisterRehearsalServiceServer(g, p) })
	dir := t.TempDir()
	typedFor := func(content, flags string) (int, string) {
		file := filepath.Join(dir, "steps")
		require.NoError(t, os.WriteFile(file, []byte(content), 0o600))
		var out, errs bytes.Buffer
		code := run(t.Context(), append([]string{"rehearse", "heron", "plan", "--at-address", address, "--steps", file}, strings.Fields(flags)...), nil, &out, &errs, time.Now)
		return code, out.String() + errs.String()
	}
	plan := stepsAsJSON[strings.Index(stepsAsJSON, "{"):]
	code, said := typedFor(plan, "--from-now")
	require.Equal(t, exitDeny, code, said)
	assert.Equal(t, "heron", p.got.GetRig())
	assert.Equal(t, thisAsker, p.got.GetAsker())
	assert.True(t, p.got.GetStartHere())
	_, said2 := typedFor(plan, "--from-axes 75.6,-44.9")
	assert.Equal(t, []float64{75.6, -44.9}, []float64{p.got.GetStartAxes().GetAxis1Deg(), p.got.GetStartAxes().GetAxis2Deg()}, said2)
	assert.Contains(t, said2, "It starts at axes (75.60°, -44.90°).")
	for _, bad := range []string{"--from-axes 75.6", "--from-axes 1,x", "--from-axes 1,2 --from-now"} {
		code, said2 := typedFor(plan, bad)
		assert.Equal(t, exitUsage, code, "%s: %s", bad, said2)
	}
	require.Len(t, p.got.GetSteps(), 3)
	assert.Equal(t, time.Date(2026, 11, 14, 18, 40, 0, 0, time.UTC), p.got.GetSteps()[0].GetStartTime().AsTime())
	for _, want := range []string{"1. slew to 38.200°, +61.450° ICRS, then track 1h30m0s\nWOULD PASS", "2. slew to 83.600°, +22.000° ICRS, then track 1h0m0s\nWOULD BE DENIED", "3. home\nWOULD PASS"} {
		assert.Contains(t, said, want)
	}
	const notThere = "(judged from where step 2 was to end, which would not pass)"
	assert.Equal(t, 1, strings.Count(said, "judged from where"), said)
	assert.Greater(t, strings.Index(said, notThere), strings.Index(said, "3. home"), "of the third alone: %s", said)
	assert.Equal(t, 2, strings.Count(said, "Passes until"), "of what tracks: %s", said)

	_, said = typedFor(strings.Replace(plan, `"startTime": "2026-11-14T18:40:00Z",`, "", 1), "--at 2026-11-14T19:00:00Z")
	assert.Equal(t, time.Date(2026, 11, 14, 19, 0, 0, 0, time.UTC), p.got.GetSteps()[0].GetStartTime().AsTime(), said)
	p.got = nil
	for content, want := range map[string]string{
		`{}`:                                    "has no steps",
		strings.Replace(plan, "38.2", "382", 1): "steps[0].action.slew.sky.ra_deg must be greater",
		strings.Replace(plan, `"slew"`, `"slwe"`, 1): `unknown field "slwe"`,
	} {
		code, said := typedFor(content, "")
		assert.Equal(t, exitUsage, code, content)
		assert.Contains(t, said, want)
	}
	excess := `{"rig": "wren", "startHere": true, "asker": "a", "startSigma": {}, "withFacts": true, "steps"`
	code, said = typedFor(strings.Replace(plan, `{
    "steps"`, excess, 1), "")
	assert.Equal(t, exitUsage, code, said)
	assert.Contains(t, strings.Join(strings.Fields(said), " "), "has rig, startHere, asker, startSigma, withFacts beside its steps, which are all that is read of it: give the rig as a word, --from-now as a flag")
	code, said = typedFor(plan, "--at 2026-11-14T19:00:00Z")
	assert.Equal(t, exitUsage, code, said)
	assert.Contains(t, strings.Join(strings.Fields(said), " "), "has a startTime of its own; leave one of the two out")
	assert.Nil(t, p.got, "none of these was sent")
}
