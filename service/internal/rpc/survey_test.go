package rpc_test

import (
	"context"
	"errors"
	"io"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/draw"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/survey"
	"keepclear.example/keepclear/service/internal/unit"
)

// beyond is a gap that no pose keeps: its map takes next to no time.
var beyond = 10_000.0

// surveyed runs SurveyRig to its end.
func (b *bench) surveyed(r *pb.SurveyRigRequest) (progress []*pb.SurveyProgress, surveys []*pb.RigSurvey, err error) {
	s, err := b.rigs.SurveyRig(b.t.Context(), r)
	require.NoError(b.t, err)
	for {
		m, err := s.Recv()
		switch {
		case errors.Is(err, io.EOF):
			return progress, surveys, nil
		case err != nil:
			return progress, surveys, err
		case m.GetSurvey() != nil:
			surveys = append(surveys, m.GetSurvey())
		default:
			progress = append(progress, m.GetProgress())
		}
	}
}

// TestSurveyRig: the message says what the survey found, with words of progress before it, and for each what-if.
func TestSurveyRig(t *testing.T) {
	b := newBench(t)
	before := len(b.newest(100))
	gap, band, more := 5.0, 90.0, 150.0
	progress, surveys, err := b.surveyed(&pb.SurveyRigRequest{Rig: "heron", GapMm: &gap, BandDeg: &band, WhatIfs: []*pb.WhatIf{{Key: "tape.floor_to_crossing_mm", Value: &more, Added: true}}})
	require.NoError(t, err)
	require.Len(t, surveys, 2)
	for i, p := range progress[1:] {
		was := progress[i]
		assert.True(t, p.GetWhatIf() == was.GetWhatIf() && p.GetDoneRatio() >= was.GetDoneRatio()+0.1 || p.GetWhatIf() == was.GetWhatIf()+1, "%v after %v", p, was)
	}
	last := progress[len(progress)-1]
	assert.Equal(t, uint32(1), last.GetWhatIf())
	assert.InDelta(t, 1, last.GetDoneRatio(), 0.1)

	m, err := b.d.Member("heron")
	require.NoError(t, err)
	keep := unit.Length(5)
	found, err := survey.New(nil).Survey(t.Context(), survey.Of{Rig: m.Rig, Limits: m.Limits, Gap: &keep, Band: unit.Deg(90)}, func(float64) {})
	require.NoError(t, err)
	s := surveys[0]
	assert.Zero(t, s.GetWhatIf())
	assert.Equal(t, b.rig.Digest[:], s.GetRigSha256())
	assert.Equal(t, draw.Room(m.Rig, found, draw.Asked{Gap: &keep}), strings.Join(s.GetLines(), "\n")+"\n")
	assert.True(t, s.GetClear())
	assert.InDelta(t, found.Widest[0].Low.Deg(), s.GetAxis1().GetLowDeg(), 1e-9)
	assert.InDelta(t, found.Widest[0].High.Deg(), s.GetAxis1().GetHighDeg(), 1e-9)
	assert.Nil(t, s.GetAxis2().LowDeg, "all round")
	assert.Nil(t, s.GetAxis2().GetBeyondLow())
	assert.Equal(t, []string{"south-east leg", "camera"}, []string{s.GetAxis1().GetBeyondLow().GetPart(), s.GetAxis1().GetBeyondLow().GetOtherPart()})
	assert.Less(t, s.GetAxis1().GetBeyondLow().GetGapMm(), 5.0)
	assert.False(t, s.GetHere().GetTouching())
	assert.InDelta(t, 108.1, s.GetHere().GetGapMm(), 0.1)
	assert.True(t, s.GetLeast().GetTouching())
	assert.Zero(t, s.GetLeast().GetGapMm())
	require.Len(t, s.GetBands(), 4)
	assert.InDelta(t, -180, s.GetBands()[0].GetAxis2LowDeg(), 1e-9)
	assert.InDelta(t, -90, s.GetBands()[0].GetAxis2HighDeg(), 1e-9)
	assert.Less(t, s.GetBands()[0].GetAxis1LowDeg(), s.GetAcross().GetAxis1LowDeg()+1e-9)
	assert.InDelta(t, found.Reached, s.GetReachedRatio(), 1e-12)
	assert.False(t, s.GetSpent())

	higher := surveys[1]
	assert.Equal(t, uint32(1), higher.GetWhatIf())
	assert.NotEqual(t, s.GetRigSha256(), higher.GetRigSha256())
	assert.Len(t, higher.GetRigSha256(), 32)
	assert.Contains(t, strings.Join(higher.GetLines(), " "), "tape.floor_to_crossing_mm+=150")
	assert.Greater(t, higher.GetAxis1().GetHighDeg(), s.GetAxis1().GetHighDeg(), "a higher crossing frees the camera of the legs")
	assert.Len(t, b.newest(100), before, "reading is not on record")
	assert.Empty(t, s.GetSideBySide())
	beside := strings.Join(higher.GetSideBySide(), "\n")
	assert.Contains(t, beside, "(1) if tape.floor_to_crossing_mm+=150")
	assert.Regexp(t, `(?m)^axis 1 +-\d+\.\d+° to \d+\.\d+° +-\d+\.\d+° to \d+\.\d+°$`, beside)
}

// TestWhatChangesTogether is one what-if: a pier extension is also a higher crossing.
func TestWhatChangesTogether(t *testing.T) {
	b := newBench(t)
	more := 150.0
	also := []*pb.FileChange{{Key: "tape.tripod.hub_top_mm", Value: &more, Added: true}}
	_, surveys, err := b.surveyed(&pb.SurveyRigRequest{Rig: "heron", GapMm: &beyond, WhatIfs: []*pb.WhatIf{{Key: "tape.floor_to_crossing_mm", Value: &more, Added: true, Also: also}}})
	require.NoError(t, err)
	want, _, err := whatIf("heron", []rig.Change{{Key: "tape.floor_to_crossing_mm", By: true, Value: 150}, {Key: "tape.tripod.hub_top_mm", By: true, Value: 150}})
	require.NoError(t, err)
	assert.Equal(t, want.Digest[:], surveys[1].GetRigSha256())
	also[0].Value = nil
	_, _, err = b.surveyed(&pb.SurveyRigRequest{Rig: "heron", WhatIfs: []*pb.WhatIf{{Key: "tape.floor_to_crossing_mm", Value: &more, Also: also}}})
	assert.Equal(t, codes.InvalidArgument, status.Code(err))
	assert.Contains(t, fields(err), "what_ifs[0].also[0].value")
}

func TestSurveyRigSaysWhatIsWrong(t *testing.T) {
	b := newBench(t)
	f := func(v float64) *float64 { return &v }
	key := "tape.floor_to_crossing_mm"
	for _, c := range []struct {
		code  codes.Code
		field string
		r     *pb.SurveyRigRequest
	}{
		{codes.NotFound, "", &pb.SurveyRigRequest{Rig: "crane"}},
		{codes.InvalidArgument, "rig", &pb.SurveyRigRequest{}},
		{codes.InvalidArgument, "gap_mm", &pb.SurveyRigRequest{Rig: "heron", GapMm: f(math.NaN())}},
		{codes.InvalidArgument, "gap_mm", &pb.SurveyRigRequest{Rig: "heron", GapMm: f(-1)}},
		{codes.InvalidArgument, "parts[0]", &pb.SurveyRigRequest{Rig: "heron", Parts: []*pb.PartState{{Part: "roof", State: &pb.PartState_Name{Name: "open"}}}}},
		{codes.InvalidArgument, "gap_mm", &pb.SurveyRigRequest{Rig: "heron", GapMm: f(10001)}},
		{codes.InvalidArgument, "band_deg", &pb.SurveyRigRequest{Rig: "heron", BandDeg: f(0.5)}},
		{codes.InvalidArgument, "band_deg", &pb.SurveyRigRequest{Rig: "heron", BandDeg: f(math.Inf(1))}},
		{codes.InvalidArgument, "what_ifs[0].value", &pb.SurveyRigRequest{Rig: "heron", WhatIfs: []*pb.WhatIf{{Key: key}}}},
		{codes.InvalidArgument, "what_ifs[1].value", &pb.SurveyRigRequest{Rig: "heron", WhatIfs: []*pb.WhatIf{{Key: key, Value: f(1500)}, {Key: key, Value: f(math.NaN())}}}},
		{codes.InvalidArgument, "what_ifs[0].value", &pb.SurveyRigRequest{Rig: "heron", WhatIfs: []*pb.WhatIf{{Key: key, Value: f(1)}}}},
		{codes.InvalidArgument, "what_ifs[1].key", &pb.SurveyRigRequest{Rig: "heron", WhatIfs: []*pb.WhatIf{{Key: key, Value: f(1500)}, {Key: "tape.wings_mm", Value: f(1)}}}},
		{codes.InvalidArgument, "what_ifs", &pb.SurveyRigRequest{Rig: "heron", WhatIfs: []*pb.WhatIf{{Key: key, Value: f(1)}, {Key: key, Value: f(1)}, {Key: key, Value: f(1)}, {Key: key, Value: f(1)}, {Key: key, Value: f(1)}, {Key: key, Value: f(1)}, {Key: key, Value: f(1)}, {Key: key, Value: f(1)}, {Key: key, Value: f(1)}}}},
	} {
		progress, surveys, err := b.surveyed(c.r)
		assert.Equal(t, c.code, status.Code(err), "%v: %v", c.r, err)
		assert.Empty(t, progress, "no work is begun for %v", c.r)
		assert.Empty(t, surveys)
		if c.field != "" {
			assert.Contains(t, fields(err), c.field, "%v", c.r)
		}
	}
	assert.Empty(t, b.newest(10), "nor is what was refused of it")
}

// TestSurveyEndsWithItsCaller, who is in the middle of it; questions are answered meanwhile, and the next survey has its turn.
func TestSurveyEndsWithItsCaller(t *testing.T) {
	b := newBench(t)
	b.ready()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	s, err := b.rigs.SurveyRig(ctx, &pb.SurveyRigRequest{Rig: "heron"})
	require.NoError(t, err)
	m, err := s.Recv()
	require.NoError(t, err)
	require.NotNil(t, m.GetProgress())
	b.allowed(b.slew(30, 40))
	cancel()
	for err == nil {
		_, err = s.Recv()
	}
	assert.Equal(t, codes.Canceled, status.Code(err))
	_, surveys, err := b.surveyed(&pb.SurveyRigRequest{Rig: "heron", GapMm: &beyond})
	require.NoError(t, err)
	assert.Len(t, surveys, 1)
}

// stuck is a stream whose reader takes nothing until read is closed.
type stuck struct {
	grpc.ServerStream
	sent, read chan struct{}
	got        []*pb.SurveyRigResponse
}

func (s *stuck) SendMsg(m any) error {
	select {
	case s.sent <- struct{}{}:
	default:
	}
	<-s.read
	s.got = append(s.got, m.(*pb.SurveyRigResponse))
	return nil
}

// TestReaderWhoTakesNothingKeepsNobodyWaiting: the map of others is worked out meanwhile, and the reader hears the newest progress later.
func TestReaderWhoTakesNothingKeepsNobodyWaiting(t *testing.T) {
	b := newBench(t)
	reader := &stuck{sent: make(chan struct{}, 1), read: make(chan struct{})}
	var surveying sync.WaitGroup
	surveying.Go(func() {
		assert.NoError(t, b.s.SurveyTo(t.Context(), &pb.SurveyRigRequest{Rig: "heron", GapMm: &beyond}, reader))
	})
	<-reader.sent
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second) // reached only where the turn is kept
	defer cancel()
	_, err := b.rigs.DrawRig(ctx, &pb.DrawRigRequest{Rig: "heron", Kind: pb.PictureKind_PICTURE_KIND_MAP, GapMm: &beyond})
	assert.NoError(t, err)
	close(reader.read)
	surveying.Wait()
	require.GreaterOrEqual(t, len(reader.got), 2)
	assert.InDelta(t, 1, reader.got[len(reader.got)-2].GetProgress().GetDoneRatio(), 0.1, "the newest")
	assert.NotNil(t, reader.got[len(reader.got)-1].GetSurvey())
	assert.LessOrEqual(t, len(reader.got), 3, "what was not taken is left out")
}

// TestFirstAnswerIsTold: work that can wait learns when the first request was judged; what is only read is none.
func TestFirstAnswerIsTold(t *testing.T) {
	b := newBench(t)
	answered := func() bool {
		select {
		case <-b.s.Answered():
			return true
		default:
			return false
		}
	}
	_, err := b.drawn(&pb.DrawRigRequest{Kind: pb.PictureKind_PICTURE_KIND_RIG, Axes: pair(1, 2)})
	require.NoError(t, err)
	assert.False(t, answered(), "nothing was judged yet")
	b.ready()
	assert.True(t, answered())
	b.allowed(b.slew(30, 40))
	assert.True(t, answered())
}

// TestSurveyGivesWay: while a question is judged, a survey stands still; a picture of the rig waits for no map.
func TestSurveyGivesWay(t *testing.T) {
	b := newBench(t)
	waits, on := make(chan struct{}, 1), make(chan time.Time)
	b.after = func(d time.Duration) <-chan time.Time {
		if d != time.Millisecond {
			return time.After(d)
		}
		select {
		case waits <- struct{}{}:
		default:
		}
		return on
	}
	b.ready()
	during := int32(0)
	b.judged = func() { during = b.s.Judging(0) }
	b.allowed(b.slew(30, 40))
	assert.Equal(t, int32(1), during, "the question is counted")
	assert.Zero(t, b.s.Judging(0), "and no longer")

	b.s.Judging(1)
	var surveying sync.WaitGroup
	ended := make(chan struct{})
	surveying.Go(func() {
		defer close(ended)
		_, surveys, err := b.surveyed(&pb.SurveyRigRequest{Rig: "heron", GapMm: &beyond})
		assert.NoError(t, err)
		assert.Len(t, surveys, 1)
	})
	select {
	case <-waits:
	case <-ended:
		t.Error("it went on beside the question")
	}
	drawn, err := b.drawn(&pb.DrawRigRequest{Kind: pb.PictureKind_PICTURE_KIND_RIG, Axes: pair(1, 2)})
	assert.NoError(t, err)
	assert.NotEmpty(t, drawn.GetSvg())
	b.s.Judging(-1)
	close(on)
	surveying.Wait()
}

// TestWhatGaugesFoundWidensTheGaps of pictures and surveys, as it does those of questions.
func TestWhatGaugesFoundWidensTheGaps(t *testing.T) {
	b := newBench(t)
	required := func() float64 {
		out, err := b.drawn(&pb.DrawRigRequest{Kind: pb.PictureKind_PICTURE_KIND_RIG, Axes: pair(0, 0)})
		require.NoError(t, err)
		return out.GetNearest().GetRequiredMm()
	}
	plain := required()
	b.proved()
	assert.InDelta(t, plain+2, required(), 1e-9)
	_, surveys, err := b.surveyed(&pb.SurveyRigRequest{Rig: "heron", GapMm: &beyond})
	require.NoError(t, err)
	assert.InDelta(t, plain+2, surveys[0].GetHere().GetRequiredMm(), 1e-9)
}

func (b *bench) drawn(r *pb.DrawRigRequest) (*pb.DrawRigResponse, error) {
	r.Rig = "heron"
	return b.rigs.DrawRig(b.t.Context(), r)
}

// TestDrawRig draws the rig where it is held to be, or at a pose that is named.
func TestDrawRig(t *testing.T) {
	b := newBench(t)
	_, err := b.drawn(&pb.DrawRigRequest{Kind: pb.PictureKind_PICTURE_KIND_RIG})
	assert.Equal(t, codes.InvalidArgument, status.Code(err), "nowhere is not home")
	assert.Equal(t, []string{"axes"}, fields(err))
	named, err := b.drawn(&pb.DrawRigRequest{Kind: pb.PictureKind_PICTURE_KIND_RIG, Axes: pair(60, -40)})
	require.NoError(t, err)
	assert.Contains(t, named.GetSvg(), "south-west leg – camera: 107.3 mm")
	assert.Contains(t, named.GetLines(), "heron: axis 1 at 60.00°, axis 2 at -40.00°")
	assert.Equal(t, []string{"south-west leg", "camera"}, []string{named.GetNearest().GetPart(), named.GetNearest().GetOtherPart()})
	assert.InDelta(t, 107.3, named.GetNearest().GetGapMm(), 0.1)
	assert.Equal(t, b.rig.Digest[:], named.GetRigSha256())

	b.homedAt(b.sample(0, 0), 0, 0)
	held, err := b.drawn(&pb.DrawRigRequest{Kind: pb.PictureKind_PICTURE_KIND_RIG})
	require.NoError(t, err)
	assert.InDelta(t, 0, held.GetAxes().GetAxis1Deg(), 1e-9)
	assert.Contains(t, held.GetSvg(), "axis 1 at 0.00°, axis 2 at 0.00°")
}

// TestDrawMap draws the map with the place that is held and the open permit's ends, or what is named in their stead.
func TestDrawMap(t *testing.T) {
	b := newBench(t)
	draw := func(r *pb.DrawRigRequest) string {
		r.Kind, r.GapMm = pb.PictureKind_PICTURE_KIND_MAP, &beyond
		out, err := b.drawn(r)
		require.NoError(t, err)
		assert.Equal(t, b.rig.Digest[:], out.GetRigSha256())
		assert.Contains(t, out.GetLines()[0], "room to move")
		return out.GetSvg()
	}
	assert.Contains(t, draw(&pb.DrawRigRequest{}), "where the rig is now is not known")
	b.ready()
	svg := draw(&pb.DrawRigRequest{})
	assert.Contains(t, svg, "where the rig is: (0.00°, 0.00°)")
	assert.NotContains(t, svg, "to end")
	b.allowed(b.slew(30, 40))
	assert.Contains(t, draw(&pb.DrawRigRequest{}), "where the motion is to end: (30.00°, 40.00°)", "as the permit says")
	svg = draw(&pb.DrawRigRequest{IntendedEnd: pair(50, 60), PredictedEnds: []*pb.AxisPair{pair(55, 65)}})
	assert.Contains(t, svg, "where the motion is to end: (50.00°, 60.00°)")
	assert.Contains(t, svg, "where it may end instead: (55.00°, 65.00°)")
	assert.NotContains(t, svg, "(30.00°, 40.00°)")
	svg = draw(&pb.DrawRigRequest{Axes: pair(-20, 10)})
	assert.Contains(t, svg, "where the rig is: (-20.00°, 10.00°)")
	assert.NotContains(t, svg, "to end", "the permit is not of a motion from there")
	assert.Contains(t, svg, "with a gap of 10000 mm kept")
	b.wait(time.Hour)
	assert.NotContains(t, draw(&pb.DrawRigRequest{}), "(30.00°, 40.00°)", "a permit that is over says nothing")
}

func TestDrawRigSaysWhatIsWrong(t *testing.T) {
	b := newBench(t)
	nan := math.NaN()
	_, err := b.rigs.DrawRig(t.Context(), &pb.DrawRigRequest{Rig: "crane", Kind: pb.PictureKind_PICTURE_KIND_MAP})
	assert.Equal(t, codes.NotFound, status.Code(err))
	for field, r := range map[string]*pb.DrawRigRequest{
		"kind":                        {},
		"axes.axis1_deg":              {Kind: pb.PictureKind_PICTURE_KIND_RIG, Axes: pair(nan, 0)},
		"axes.axis2_deg":              {Kind: pb.PictureKind_PICTURE_KIND_RIG, Axes: &pb.AxisPair{Axis1Deg: new(float64)}},
		"gap_mm":                      {Kind: pb.PictureKind_PICTURE_KIND_MAP, GapMm: &nan},
		"intended_end.axis2_deg":      {Kind: pb.PictureKind_PICTURE_KIND_MAP, IntendedEnd: pair(0, 4000)},
		"predicted_ends[1].axis1_deg": {Kind: pb.PictureKind_PICTURE_KIND_MAP, PredictedEnds: []*pb.AxisPair{pair(0, 0), pair(nan, 0)}},
	} {
		_, err := b.drawn(r)
		assert.Equal(t, codes.InvalidArgument, status.Code(err), "%s: %v", field, err)
		assert.Contains(t, strings.Join(fields(err), " "), field)
	}
	assert.Empty(t, b.newest(10))
}
