package rpc_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// plan is the practice rig's, and a request with every answer as its file has it.
func (b *bench) plan() (*pb.PlanGaugesResponse, *pb.JudgeGaugesRequest) {
	b.t.Helper()
	p, err := pb.NewGaugeServiceClient(b.conn).PlanGauges(b.t.Context(), &pb.PlanGaugesRequest{Rig: "heron"})
	require.NoError(b.t, err)
	all := &pb.JudgeGaugesRequest{Rig: "heron", RigSha256: p.GetRigSha256()}
	for _, x := range p.GetSignSteps() {
		all.Signs = append(all.Signs, &pb.SignAnswer{Axis: x.GetAxis(), Toward: x.GetToward(), ByMm: x.ByMm})
	}
	for _, x := range p.GetGaugePoses() {
		for _, g := range x.GetGaps() {
			all.Readings = append(all.Readings, &pb.GaugeReading{Axes: x.GetAxes(), Part: g.GetParts()[1], OtherPart: g.GetParts()[0], GapMm: g.ComputedMm})
		}
	}
	return p, all
}

func (b *bench) gauge(r *pb.JudgeGaugesRequest) (*pb.JudgeGaugesResponse, error) {
	return pb.NewGaugeServiceClient(b.conn).JudgeGauges(b.t.Context(), r)
}

func TestPlanOfGauges(t *testing.T) {
	b := newBench(t)
	p, _ := b.plan()
	assert.Equal(t, b.rig.Digest[:], p.GetRigSha256())
	assert.Zero(t, p.GetHome().GetAxis1Deg())
	require.Len(t, p.GetSignSteps(), 3)
	for i, x := range p.GetSignSteps() {
		assert.Equal(t, uint32(i), x.GetAxis())
		assert.NotEmpty(t, x.GetWatch())
		assert.Positive(t, x.GetByMm())
		assert.NotEqual(t, pb.Toward_TOWARD_UNSPECIFIED, x.GetToward())
		turned := x.GetAxes().GetAxis1Deg() + x.GetAxes().GetAxis2Deg() // from home at nothing
		assert.InDelta(t, x.GetTurnDeg(), turned, 1e-9, "step %d", i)
	}
	assert.Len(t, p.GetGaugePoses(), 5)
	assert.Empty(t, p.GetShortBecause())
	assert.Empty(t, p.GetUnseenKeys(), "every length of the practice rig is told of")
	assert.Empty(t, p.GetUnmeasured())
	for _, x := range p.GetGaugePoses() {
		assert.True(t, proto.Equal(x.GetAxes(), x.GetWay()[len(x.GetWay())-1]))
		assert.InDelta(t, 1, x.GetKeepWithin().GetAxis1Deg(), 1e-9)
		assert.NotEmpty(t, x.GetGaps())
	}
}

// TestGaugesAreWorkedOutOneAtATime: who waits for another's may go, and who goes in the middle of it ends the work.
func TestGaugesAreWorkedOutOneAtATime(t *testing.T) {
	b := newBench(t)
	ctx, cancel := context.WithCancel(t.Context())
	begun, on := make(chan struct{}, 2), make(chan struct{})
	b.gauging = func() { begun <- struct{}{}; <-on }
	first := make(chan error, 1)
	go func() { first <- b.s.PlanFor(ctx, "heron") }()
	<-begun
	gone, leave := context.WithCancel(t.Context())
	leave()
	second := make(chan error, 1)
	go func() { second <- b.s.PlanFor(gone, "heron") }()
	select {
	case err := <-second:
		assert.ErrorIs(t, err, context.Canceled)
	case <-begun:
		assert.Fail(t, "it is begun beside the first")
	}
	cancel()
	close(on)
	assert.ErrorIs(t, <-first, context.Canceled)
	assert.NoError(t, b.s.PlanFor(t.Context(), "heron"), "the turn is given up")
}

func TestAnswersThatFit(t *testing.T) {
	b := newBench(t)
	_, all := b.plan()
	out, err := b.gauge(all)
	require.NoError(t, err)
	assert.True(t, out.GetSignsRight())
	assert.True(t, out.GetFits())
	assert.InDelta(t, 0, out.GetResidualMm(), 1e-6)
	assert.NotNil(t, out.ResidualMm)
	assert.Len(t, out.GetResiduals(), len(all.GetReadings()))
	assert.Contains(t, out.GetSentence(), "Reading errors explain all of it")

	none, err := b.gauge(&pb.JudgeGaugesRequest{Rig: "heron", RigSha256: all.GetRigSha256()})
	require.NoError(t, err)
	assert.False(t, none.GetSignsRight(), "nothing answered proves nothing")
	assert.False(t, none.GetFits())
	assert.Nil(t, none.ResidualMm)
}

// Directions are proven by all the steps, each right: one left out, or one wrong beside a right one, is no proof.
func TestSignsAreRightTogether(t *testing.T) {
	b := newBench(t)
	_, all := b.plan()
	for i := range all.GetSigns() {
		some := proto.CloneOf(all)
		some.Signs = append(some.Signs[:i], some.Signs[i+1:]...)
		out, err := b.gauge(some)
		require.NoError(t, err)
		assert.False(t, out.GetSignsRight(), "without step %d", i)
	}
	wrong := proto.CloneOf(all)
	back := proto.CloneOf(all.GetSigns()[2])
	back.Toward = map[pb.Toward]pb.Toward{pb.Toward_TOWARD_EAST: pb.Toward_TOWARD_WEST, pb.Toward_TOWARD_WEST: pb.Toward_TOWARD_EAST}[back.GetToward()]
	wrong.Signs = []*pb.SignAnswer{all.GetSigns()[0], all.GetSigns()[1], back}
	out, err := b.gauge(wrong)
	require.NoError(t, err)
	assert.False(t, out.GetSignsRight())
	assert.Equal(t, pb.SignCause_SIGN_CAUSE_MIRRORED, out.GetSigns()[2].GetCause())
	assert.Contains(t, out.GetSigns()[2].GetSentence(), "Mirrored: axis 2 turns the other way than the file says.")
}

func TestAWrongLengthIsNamedInTheReply(t *testing.T) {
	b := newBench(t)
	_, all := b.plan()
	for _, r := range all.GetReadings() { // as if the crossing stood 30 mm lower: the floor is nearer
		if r.GetOtherPart() == "floor" {
			less := r.GetGapMm() - 30
			r.GapMm = &less
		}
	}
	out, err := b.gauge(all)
	require.NoError(t, err)
	assert.False(t, out.GetFits())
	assert.InDelta(t, 30, out.GetResidualMm(), 1e-6)
	assert.Empty(t, out.GetSuspects(), "legs and hub have not come nearer, so that is no length alone")
	require.NotNil(t, out.GetNearest())
	assert.NotNil(t, out.GetNearest().WouldBeMm)
}

func TestAnswersThatAreRefused(t *testing.T) {
	b := newBench(t)
	_, all := b.plan()
	for name, spoil := range map[string]func(*pb.JudgeGaugesRequest){
		"rig_sha256":       func(r *pb.JudgeGaugesRequest) { r.RigSha256 = make([]byte, 32) },
		"readings[0].part": func(r *pb.JudgeGaugesRequest) { r.Readings[0].Part = "no such part" },
		"signs[1].axis":    func(r *pb.JudgeGaugesRequest) { r.Signs[1].Axis = 3 },
		"readings[2].gap":  func(r *pb.JudgeGaugesRequest) { r.Readings[2].GapMm = nil },
	} {
		r := proto.CloneOf(all)
		spoil(r)
		_, err := b.gauge(r)
		assert.Equal(t, codes.InvalidArgument, status.Code(err), name)
		assert.ErrorContains(t, err, name)
	}
	_, err := b.gauge(&pb.JudgeGaugesRequest{Rig: "egret", RigSha256: make([]byte, 32)})
	assert.Equal(t, codes.NotFound, status.Code(err))
	_, err = pb.NewGaugeServiceClient(b.conn).PlanGauges(t.Context(), &pb.PlanGaugesRequest{Rig: "egret"})
	assert.Equal(t, codes.NotFound, status.Code(err))
}
