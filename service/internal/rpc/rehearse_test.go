package rpc_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/state"
)

// What a step names is held against the rig file as a question's is: every field is named by the path of its step, in one error.
func TestRehearsedStepsFitTheRig(t *testing.T) {
	b := newBench(t)
	rehearsal := func(steps ...*pb.RehearsalStep) error {
		_, err := pb.NewRehearsalServiceClient(b.conn).Rehearse(t.Context(), &pb.RehearseRequest{Rig: "heron", Steps: steps})
		return err
	}
	step := func(a *pb.Action) *pb.RehearsalStep { return &pb.RehearsalStep{Action: a} }
	ra, dec := 38.2, 61.45
	sky := &pb.Slew_Sky{Sky: &pb.SkyPosition{RaDeg: &ra, DecDeg: &dec, Frame: pb.SkyFrame_SKY_FRAME_ICRS}}
	side := func(s pb.TubeSide) *pb.RehearsalStep {
		return step(&pb.Action{Kind: &pb.Action_Slew{Slew: &pb.Slew{Target: sky, Side: &s, TrackDuration: durationpb.New(0)}}})
	}
	park := func(place string) *pb.RehearsalStep {
		return step(&pb.Action{Kind: &pb.Action_Park{Park: &pb.Park{Place: place}}})
	}
	until := func(at time.Time) *pb.RehearsalStep {
		return step(&pb.Action{Kind: &pb.Action_Track{Track: &pb.Track{End: &pb.Track_UntilTime{UntilTime: timestamppb.New(at)}}}})
	}
	at := func(s *pb.RehearsalStep, t time.Time) *pb.RehearsalStep { s.StartTime = timestamppb.New(t); return s }
	flip := step(&pb.Action{Kind: &pb.Action_Flip{Flip: &pb.Flip{TrackDuration: durationpb.New(0)}}})
	const rest = "low"
	b.rig.Rests = []rig.Rest{{Name: rest, Axes: rig.DegAxes(0, 20)}}
	require.NoError(t, rehearsal(side(pb.TubeSide_TUBE_SIDE_EAST), flip, park(rest), until(b.clock().Add(time.Hour))))

	tracked := func(d time.Duration) *pb.RehearsalStep {
		return step(&pb.Action{Kind: &pb.Action_Track{Track: &pb.Track{End: &pb.Track_TrackDuration{TrackDuration: durationpb.New(d)}}}})
	}
	require.NoError(t, rehearsal(tracked(12*time.Hour), until(b.clock().Add(30*time.Hour))), "a day is counted from its own start")
	late := []string{"steps[1].action.track.until_time", "steps[1].start_time"}
	dusk := b.clock().Add(2 * time.Hour)
	for name, c := range map[string]struct {
		steps []*pb.RehearsalStep
		want  []string
		says  string
	}{
		"a side of another kind of mount":     {[]*pb.RehearsalStep{park(rest), side(pb.TubeSide_TUBE_SIDE_SECOND)}, []string{"steps[1].action.slew.side"}, "east or west"},
		"a place that the file does not have": {[]*pb.RehearsalStep{park("the moon")}, []string{"steps[0].action.park.place"}, rest},
		"an end before its start":             {[]*pb.RehearsalStep{at(until(dusk.Add(-time.Minute)), dusk)}, []string{"steps[0].action.track.until_time"}, "after its start"},
		"an end before an earlier start":      {[]*pb.RehearsalStep{at(park(rest), dusk), until(dusk.Add(-time.Minute))}, late, "when the step before ends"},
		"an end before the step before ends":  {[]*pb.RehearsalStep{tracked(time.Hour), until(b.clock().Add(30 * time.Minute))}, late, "when the step before ends"},
		"a start that comes too late":         {[]*pb.RehearsalStep{tracked(time.Hour), at(until(b.clock().Add(30*time.Minute)), b.clock().Add(time.Minute))}, late, "and the step before ends at"},
		"an end more than a day later":        {[]*pb.RehearsalStep{tracked(time.Hour), until(b.clock().Add(26 * time.Hour))}, late, "24 h"},
		"an end beyond a day":                 {[]*pb.RehearsalStep{until(dusk.Add(48 * time.Hour))}, []string{"steps[0].action.track.until_time"}, "24 h"},
		"all at once":                         {[]*pb.RehearsalStep{park("a"), side(pb.TubeSide_TUBE_SIDE_SECOND), park("b")}, []string{"steps[0].action.park.place", "steps[1].action.slew.side", "steps[2].action.park.place"}, "east or west"},
	} {
		err := rehearsal(c.steps...)
		assert.Equal(t, codes.InvalidArgument, status.Code(err), "%s: %v", name, err)
		assert.Equal(t, c.want, fields(err), name)
		assert.Contains(t, status.Convert(err).Message(), c.says, name)
		assert.Equal(t, pb.EntryKind_ENTRY_KIND_REFUSED, b.newest(1)[0].GetKind(), "%s: it is on record", name)
	}
	b.rig.Kind = rig.Fork
	err := rehearsal(park(rest), flip)
	assert.Equal(t, codes.InvalidArgument, status.Code(err), "%v", err)
	assert.Equal(t, []string{"steps[1].action.flip"}, fields(err), "a flip of a mount that has none")
}

// A rehearsal goes by what was proved of the rig file, as the night will.
func TestRehearsalCountsWhatGaugesFound(t *testing.T) {
	b := newBench(t)
	ask := func() *pb.Judgement {
		out, err := pb.NewRehearsalServiceClient(b.conn).Rehearse(t.Context(), &pb.RehearseRequest{Rig: "heron", Steps: []*pb.RehearsalStep{{
			Action: &pb.Action{Kind: &pb.Action_Slew{Slew: &pb.Slew{Target: &pb.Slew_Axes{Axes: pair(30, 40)}, TrackDuration: durationpb.New(0)}}},
		}}})
		require.NoError(t, err)
		return out.GetSteps()[0].GetOutlook()
	}
	plain := ask().GetClosest().GetRequiredMm()
	b.proved()
	assert.InDelta(t, plain+2, ask().GetClosest().GetRequiredMm(), 1e-9)
}

// A rehearsal whose asker went while it was judged is not on record as if it were whole.
func TestRehearsalOfWhoWentIsNotOnRecord(t *testing.T) {
	b := newBench(t)
	b.ready()
	raw, err := proto.Marshal(&pb.RehearseRequest{Rig: "heron", Steps: []*pb.RehearsalStep{{Action: b.slew(30, 40).GetAction()}}})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	b.judged = cancel
	_, err = b.s.Call(ctx, "/keepclear.v1.RehearsalService/Rehearse", raw)
	assert.Equal(t, codes.Canceled, status.Code(err))
	require.NoError(t, b.stop()) // which waits for what is under way
	rehearsed := 0
	for e, err := range b.rec.Scan(t.Context(), "heron", 1) {
		require.NoError(t, err)
		if e.Kind == state.Rehearsed {
			rehearsed++
		}
	}
	assert.Zero(t, rehearsed)
}
