package main

import (
	"bytes"
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
)

// A rig at rest stays clear for the whole day that is looked ahead. Told as a time of day that would be that of the question, as if the
// time were over.
func TestAWholeDayIsNotToldAsThisInstant(t *testing.T) {
	asked := time.Date(2026, 11, 14, 13, 15, 15, 0, time.UTC)
	said := func(in time.Duration) string {
		var out bytes.Buffer
		k := &call{out: &out, now: func() time.Time { return asked }}
		k.printAnswer(&pb.AskResponse{Judgement: &pb.Judgement{
			Verdict:       pb.Verdict_VERDICT_HOLD,
			HarmlessUntil: &pb.Deadline{WithinDuration: durationpb.New(in), AtTime: timestamppb.New(asked.Add(in))},
		}}, exitHold, "")
		return out.String()
	}
	assert.Contains(t, said(24*time.Hour), "Carrying on as it is does no harm for all of the 24 h that are looked at.")
	assert.NotContains(t, said(24*time.Hour), "13:15:15")
	assert.Contains(t, said(11*time.Hour), "does no harm until 2026-11-15 00:15:15 UTC.", "over midnight the day is told")
	assert.Contains(t, said(90*time.Minute), "Carrying on as it is does no harm until 14:45:15 UTC.")
}

// outlook is a service that would let everything pass for seven hours from a start, but for what is blocked.
type outlook struct {
	pb.UnimplementedRehearsalServiceServer
	start   time.Time
	blocked *pb.Judgement
}

func (o outlook) Rehearse(context.Context, *pb.RehearseRequest) (*pb.RehearseResponse, error) {
	end := timestamppb.New(o.start.Add(7 * time.Hour))
	if o.blocked != nil {
		return &pb.RehearseResponse{Steps: []*pb.RehearsedStep{{Outlook: o.blocked, StartTime: timestamppb.New(o.start), EndTime: end}}}, nil
	}
	return &pb.RehearseResponse{Assumed: []string{"the clock"}, Steps: []*pb.RehearsedStep{{
		Outlook: &pb.Judgement{Verdict: pb.Verdict_VERDICT_ALLOW, Sentence: "Every rule passed."}, StartTime: timestamppb.New(o.start), EndTime: end, PassesUntilTime: end,
	}}}, nil
}

// A rehearsal tells the day of what it tells, until when only where something is tracked, and that a start is past.
func TestWhatARehearsalTells(t *testing.T) {
	tonight := time.Date(2026, 11, 14, 21, 0, 0, 0, time.UTC)
	said := func(line string, now time.Time) string {
		address := listening(t, func(g *grpc.Server) { pb.RegisterRehearsalServiceServer(g, outlook{start: tonight}) })
		var out, errs bytes.Buffer
		code := run(t.Context(), append(strings.Fields(line), "--at-address", address), nil, &out, &errs, func() time.Time { return now })
		require.Equal(t, exitDone, code, errs.String())
		return strings.Join(strings.Fields(out.String()), " ")
	}
	tracks := said("rehearse heron track --for 7h --at 2026-11-14T21:00:00Z", tonight.Add(-time.Hour))
	assert.Contains(t, tracks, "WOULD PASS 2026-11-14 21:00:00 UTC to 2026-11-15 04:00:00 UTC: Every rule passed.")
	assert.Contains(t, tracks, "Passes until 2026-11-15 04:00:00 UTC.")
	assert.NotContains(t, tracks, "past")
	assert.Contains(t, tracks, "It starts at home (with --from-now: where the rig stands now).")
	assert.Contains(t, said("rehearse heron home --from-now", tonight), "It starts where the rig stands now.")
	past := said("rehearse heron slew --axis1 1 --axis2 2 --at 2026-11-14T21:00:00Z", tonight.Add(48*time.Hour))
	assert.Contains(t, past, "(that start is past: judged as of then)")
	assert.NotContains(t, past, "Passes until", "nothing is tracked")
	assert.Contains(t, said("rehearse heron slew --axis1 1 --axis2 2 --track 7h", tonight), "Passes until")
}

// TestARehearsalTellsAWayRound: what would pass instead, in order, and what was found of ways round.
func TestARehearsalTellsAWayRound(t *testing.T) {
	tonight := time.Date(2026, 11, 14, 21, 0, 0, 0, time.UTC)
	at := func(a1, a2 float64) *pb.Action {
		return &pb.Action{Kind: &pb.Action_Slew{Slew: &pb.Slew{Target: &pb.Slew_Axes{Axes: keepclear.Axes(a1, a2)}}}}
	}
	address := listening(t, func(g *grpc.Server) {
		pb.RegisterRehearsalServiceServer(g, outlook{start: tonight, blocked: &pb.Judgement{
			Verdict: pb.Verdict_VERDICT_DENY, Sentence: "Too near.", AskInstead: []*pb.Action{at(1, 2), at(3, 4)}, Notes: []string{"a note of it"},
		}})
	})
	var out, errs bytes.Buffer
	code := run(t.Context(), append(strings.Fields("rehearse heron slew --axis1 3 --axis2 4"), "--at-address", address), nil, &out, &errs, func() time.Time { return tonight })
	require.Equal(t, exitDeny, code, errs.String())
	assert.Contains(t, out.String(), "      Would pass instead: slew to axes (1.00°, 2.00°)\n      and then ask:       slew to axes (3.00°, 4.00°)\n      (a note of it)\n")
}

// TestStopsStandBesideWhatTheyStandFor: a slew by axes that is named is told as the mount's own position too, and nothing else is.
func TestStopsStandBesideWhatTheyStandFor(t *testing.T) {
	var b bytes.Buffer
	now := time.Date(2026, 11, 14, 21, 0, 0, 0, time.UTC)
	k := &call{out: &b, now: func() time.Time { return now }}
	at := func(a1, a2 float64) *pb.Action {
		return &pb.Action{Kind: &pb.Action_Slew{Slew: &pb.Slew{Target: &pb.Slew_Axes{Axes: keepclear.Axes(a1, a2)}}}}
	}
	creep := &pb.Action{Kind: &pb.Action_Creep{Creep: &pb.Creep{Axis: 2}}}
	k.printAnswer(&pb.AskResponse{Judgement: &pb.Judgement{
		Verdict: pb.Verdict_VERDICT_DENY, Sentence: "Too near.", AskInstead: []*pb.Action{creep, at(10, 20)},
		Stops: []*pb.Stop{{Step: 1, MountSky: &pb.SkyPosition{RaDeg: proto.Float64(12.5), DecDeg: proto.Float64(-3.25)}, Side: pb.TubeSide_TUBE_SIDE_WEST, ValidTime: timestamppb.New(now)}},
	}}, exitDeny, "")
	assert.Contains(t, b.String(), "Would pass now: creep: turn axis 2 by 0.00°, at 0.00°/s at most\n      and then ask:   slew to axes (10.00°, 20.00°)\n        (for the mount that is 12.500°, -3.250° of date, tube west, at 21:00:00")
	assert.Equal(t, 1, strings.Count(b.String(), "for the mount"))
}
