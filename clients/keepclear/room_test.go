package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// surveying is a service that surveys and draws, and keeps what it was asked.
type surveying struct {
	pb.UnimplementedRigServiceServer
	surveys int // how many it sends before it ends
	survey  *pb.SurveyRigRequest
	draw    *pb.DrawRigRequest
}

func (s *surveying) SurveyRig(r *pb.SurveyRigRequest, to grpc.ServerStreamingServer[pb.SurveyRigResponse]) error {
	s.survey = r
	for i := range s.surveys {
		for _, share := range []float64{0.2, 0.5, 0.9} {
			if err := to.Send(&pb.SurveyRigResponse{Step: &pb.SurveyRigResponse_Progress{Progress: &pb.SurveyProgress{WhatIf: uint32(i), DoneRatio: &share}}}); err != nil {
				return err
			}
		}
		var beside []string
		if i > 0 && i == s.surveys-1 {
			beside = []string{"all of them"}
		}
		lines := []string{"survey " + string(rune('a'+i)), "  stands in"}
		if err := to.Send(&pb.SurveyRigResponse{Step: &pb.SurveyRigResponse_Survey{Survey: &pb.RigSurvey{Lines: lines, RigSha256: []byte{0xab}, SideBySide: beside}}}); err != nil {
			return err
		}
	}
	return nil
}

func (s *surveying) DrawRig(_ context.Context, r *pb.DrawRigRequest) (*pb.DrawRigResponse, error) {
	s.draw = r
	return &pb.DrawRigResponse{Svg: "<svg/>", Lines: []string{"near", "  and far"}}, nil
}

func (s *surveying) register(g *grpc.Server) { pb.RegisterRigServiceServer(g, s) }

// TestRoomPrintsEachSurvey, says once a map how far it is, and draws the map that was asked about.
func TestRoomPrintsEachSurvey(t *testing.T) {
	s := &surveying{surveys: 3}
	picture := filepath.Join(t.TempDir(), "map.svg")
	code, out, errs := typed(t, listening(t, s.register), "room heron --gap 5 --what-if tape.a_mm=3 --what-if tape.b_mm+=−4,tape.c_mm=5,tape.d_mm+=6 --picture "+picture)
	require.Equal(t, exitDone, code, "%s%s", out, errs)
	assert.Equal(t, "survey a\n  stands in\ndigest ab\n\nsurvey b\n  stands in\ndigest ab\n\nsurvey c\n  stands in\ndigest ab\n\nall of them\nThe map is drawn in "+picture+".\n", out)
	assert.Equal(t, 3, strings.Count(errs, "half of the map"))
	assert.InDelta(t, 5, s.survey.GetGapMm(), 0)
	assert.Nil(t, s.survey.BandDeg)
	assert.Equal(t, "tape.a_mm", s.survey.GetWhatIfs()[0].GetKey())
	assert.InDelta(t, 3, s.survey.GetWhatIfs()[0].GetValue(), 0)
	assert.False(t, s.survey.GetWhatIfs()[0].GetAdded())
	assert.Equal(t, "tape.b_mm", s.survey.GetWhatIfs()[1].GetKey())
	assert.InDelta(t, -4, s.survey.GetWhatIfs()[1].GetValue(), 0)
	assert.True(t, s.survey.GetWhatIfs()[1].GetAdded())
	assert.Empty(t, s.survey.GetWhatIfs()[0].GetAlso())
	also := s.survey.GetWhatIfs()[1].GetAlso()
	require.Len(t, also, 2)
	assert.Equal(t, "tape.c_mm", also[0].GetKey())
	assert.False(t, also[0].GetAdded())
	assert.InDelta(t, 6, also[1].GetValue(), 0)
	assert.True(t, also[1].GetAdded())
	assert.Equal(t, pb.PictureKind_PICTURE_KIND_MAP, s.draw.GetKind())
	assert.InDelta(t, 5, s.draw.GetGapMm(), 0)
	drawn, err := os.ReadFile(picture)
	require.NoError(t, err)
	assert.Equal(t, "<svg/>", string(drawn))
}

// TestRoomThatEndsEarlyIsNone: a survey that was asked for and did not come is an error, whatever came before it.
func TestRoomThatEndsEarlyIsNone(t *testing.T) {
	for _, sent := range []int{0, 1} {
		s := &surveying{surveys: sent}
		code, out, _ := typed(t, listening(t, s.register), "room heron --what-if tape.a_mm=3")
		assert.Equal(t, exitHold, code)
		assert.Contains(t, out, "the survey ended early")
	}
}

func TestViewOfARunningRig(t *testing.T) {
	s := &surveying{}
	address := listening(t, s.register)
	code, out, _ := typed(t, address, "view heron")
	assert.Equal(t, exitDone, code)
	assert.Equal(t, "near\n  and far\n", out)
	assert.Nil(t, s.draw.GetAxes(), "where it is held to be")
	code, _, _ = typed(t, address, "view heron --axis1 20 --axis2 −35.5")
	assert.Equal(t, exitDone, code)
	assert.InDelta(t, -35.5, s.draw.GetAxes().GetAxis2Deg(), 0)
	code, _, _ = typed(t, address, "view heron --state roof=open --state focuser=35mm --state rotator=−20.5deg")
	assert.Equal(t, exitDone, code)
	require.Len(t, s.draw.GetParts(), 3)
	assert.Equal(t, "open", s.draw.GetParts()[0].GetName())
	assert.InDelta(t, 35, s.draw.GetParts()[1].GetTravelMm(), 0)
	assert.Equal(t, "rotator", s.draw.GetParts()[2].GetPart())
	assert.InDelta(t, -20.5, s.draw.GetParts()[2].GetAngleDeg(), 0)
	code, out, errs := typed(t, address, "view heron --json --picture "+filepath.Join(t.TempDir(), "none", "x.svg"))
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, out, `"svg"`)
	assert.Contains(t, errs, "--picture")
	for line, want := range map[string]string{
		"room":                               "one rig is wanted",
		"room heron --gap -1":                "--gap -1: must be",
		"room heron --band 0":                "--band 0: must be",
		"room heron --what-if tape.a_mm":     "KEY=NUMBER is wanted",
		"room heron --what-if =4":            "KEY=NUMBER is wanted",
		"room heron --what-if a=4,":          "KEY=NUMBER is wanted",
		"room heron --what-if a=NaN":         "KEY=NUMBER is wanted",
		"room heron --what-if tape.a_mm=9e9": "--what-if",
		"view heron --axis1 5":               "both axes or none",
		"view heron --axis1 5 --axis2 4000":  "--axis2 4000: must be",
		"view":                               "one rig is wanted",
		"view heron --state roof":            "PART=STATE is wanted",
		"room heron --state roof=":           "PART=STATE is wanted",
	} {
		code, _, errs := typed(t, address, line)
		assert.Equal(t, exitUsage, code, line)
		assert.Contains(t, errs, want, line)
	}
}
