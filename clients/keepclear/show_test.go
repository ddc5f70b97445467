package main

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// shown is an entry as show prints it, on one line.
func shown(e *pb.Entry) string {
	var out bytes.Buffer
	(&call{out: &out}).printEntry(e)
	return strings.Join(strings.Fields(out.String()), " ")
}

// TestTheSolveOfASyncIsShown: what was believed, or was not, is a solve; the page of a sync says which, with each figure that came with it and none that
// did not.
func TestTheSolveOfASyncIsShown(t *testing.T) {
	taken, stars, side := time.Date(2026, 11, 14, 23, 40, 5, 3e8, time.UTC), uint32(19), pb.TubeSide_TUBE_SIDE_WEST
	solve := &pb.Solve{Sky: &pb.SkyPosition{RaDeg: num(23.3824), DecDeg: num(30.002), Frame: pb.SkyFrame_SKY_FRAME_ICRS}, ExposureStartTime: timestamppb.New(taken),
		ExposureDuration: durationpb.New(5 * time.Second), Optics: "main", MatchedCount: &stars, ResidualArcsec: num(0.9), SearchRadiusDeg: num(180), PictureId: "p-17"}
	sync := &pb.Sync{Solve: solve, MountSky: &pb.SkyPosition{RaDeg: num(23.74), DecDeg: num(30.14), Frame: pb.SkyFrame_SKY_FRAME_OF_DATE}}
	entry := &pb.Entry{Content: &pb.Entry_Asked{Asked: &pb.Asked{
		Request: &pb.AskRequest{Action: &pb.Action{Kind: &pb.Action_Sync{Sync: sync}}, Sample: &pb.Sample{Time: timestamppb.New(taken),
			Belief: &pb.Belief{Sky: &pb.SkyPosition{RaDeg: num(21.8), DecDeg: num(-0.5), Frame: pb.SkyFrame_SKY_FRAME_OF_DATE}, Side: &side}}},
		Response: &pb.AskResponse{Leave: &pb.AskResponse_SyncLeave{SyncLeave: &pb.SyncLeave{LeaveId: "leave-3", UseBy: &pb.Deadline{AtTime: timestamppb.New(taken.Add(10 * time.Second))}}}},
	}}}
	said := shown(entry)
	assert.Contains(t, said, "on a solve of 2026-11-14 23:40:05.3, 5s, right ascension 23.382°, declination 30.002° ICRS, optics main, 19 stars, residual 0.90″, blind, picture p-17")
	assert.Contains(t, said, "the mount to be told right ascension 23.740°, declination 30.140° of date")
	assert.Contains(t, said, "belief at right ascension 21.800°, declination -0.500° of date, tube west", "the same numbers in another frame are another place")
	assert.Contains(t, said, "sync leave leave-3, to be used by 2026-11-14 23:40:15.3")
	assert.NotContains(t, said, "a pixel", "that figure did not come")
	assert.NotContains(t, said, "turned")

	entry.GetAsked().Request.GetAction().GetSync().Solve = &pb.Solve{Sky: solve.GetSky(), SearchRadiusDeg: num(20), Hint: solve.GetSky()}
	assert.Contains(t, shown(entry), "on a solve of an unknown instant, right ascension 23.382°, declination 30.002° ICRS, searched within 20°, about right ascension 23.382°")
}

// TestHowLongAPermitWasGivenIsShown: whoever asks what was allowed at 02:13 asks until when, and from where to where.
func TestHowLongAPermitWasGivenIsShown(t *testing.T) {
	at := time.Date(2026, 11, 14, 23, 59, 58, 0, time.UTC)
	permit := &pb.Permit{PermitId: "permit-7", StartBy: &pb.Deadline{AtTime: timestamppb.New(at)}, StopBy: &pb.Deadline{AtTime: timestamppb.New(at.Add(time.Hour))},
		Legs: []*pb.Leg{{From: pairAt(75.6, -44.9), To: pairAt(0, 0)}, {From: pairAt(0, 0), To: pairAt(-12, 30)}}}
	entry := &pb.Entry{Content: &pb.Entry_Asked{Asked: &pb.Asked{Request: &pb.AskRequest{}, Response: &pb.AskResponse{Leave: &pb.AskResponse_Permit{Permit: permit}}}}}
	assert.Contains(t, shown(entry), "permit permit-7, to start by 2026-11-14 23:59:58 UTC and be over by 2026-11-15 00:59:58 UTC, from axes (75.6°, -44.9°) to (-12.0°, 30.0°)")
}

// TestWhatWasRehearsedIsShown: each step with when and how it came out.
func TestWhatWasRehearsedIsShown(t *testing.T) {
	at := time.Date(2026, 11, 14, 22, 0, 0, 0, time.UTC)
	step := func(v pb.Verdict, sentence string) *pb.RehearsedStep {
		return &pb.RehearsedStep{Outlook: &pb.Judgement{Verdict: v, Sentence: sentence}, StartTime: timestamppb.New(at), EndTime: timestamppb.New(at.Add(time.Hour))}
	}
	r := &pb.Rehearsed{Request: &pb.RehearseRequest{Steps: []*pb.RehearsalStep{{Action: &pb.Action{Kind: &pb.Action_Home{Home: &pb.Home{}}}}, {Action: &pb.Action{Kind: &pb.Action_Park{Park: &pb.Park{Place: "low"}}}}}},
		Response: &pb.RehearseResponse{Steps: []*pb.RehearsedStep{step(pb.Verdict_VERDICT_ALLOW, "Every rule passed."), step(pb.Verdict_VERDICT_DENY, "Below the floor.")}}}
	said := shown(&pb.Entry{Content: &pb.Entry_Rehearsed{Rehearsed: r}})
	assert.Contains(t, said, "from home 1. home, 2026-11-14 22:00:00 UTC to 23:00:00 UTC: ALLOW Every rule passed. 2. park at low, 2026-11-14 22:00:00 UTC to 23:00:00 UTC: DENY Below the floor.")
	r.Request.Start = &pb.RehearseRequest_StartAxes{StartAxes: pairAt(3, 4)}
	assert.Contains(t, shown(&pb.Entry{Content: &pb.Entry_Rehearsed{Rehearsed: r}}), "from axes (3.0°, 4.0°)")
	r.Request.Start = &pb.RehearseRequest_StartHere{StartHere: true}
	assert.Contains(t, shown(&pb.Entry{Content: &pb.Entry_Rehearsed{Rehearsed: r}}), "from where the rig stood")
}
