package main

import (
	"testing"

	"github.com/stretchr/testify/assert"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// Who asked for 20° and is refused for 110° is told that the mount might go there, and why.
func TestEndsElsewhereAreSaid(t *testing.T) {
	end := func(a1 float64, intended bool) *pb.PredictedEnd {
		return &pb.PredictedEnd{Axes: pairAt(a1, 20), Intended: intended, Because: map[bool]string{true: "the angles asked for", false: "turned by what is missing."}[intended]}
	}
	for name, c := range map[string]struct {
		verdict pb.Verdict
		ends    []*pb.PredictedEnd
		says    string
	}{
		"far":  {pb.Verdict_VERDICT_DENY, []*pb.PredictedEnd{end(20, true), end(50, false), end(110, false), end(-30, false)}, "It is meant to end at (20.0°, 20.0°); it might end at (110.0°, 20.0°), turned by what is missing."},
		"near": {pb.Verdict_VERDICT_HOLD, []*pb.PredictedEnd{end(20, true), end(22.9, false)}, ""}, "none meant": {pb.Verdict_VERDICT_HOLD, []*pb.PredictedEnd{end(20, false), end(110, false)}, ""},
		"none": {pb.Verdict_VERDICT_DENY, nil, ""},
	} {
		address := served(t, &service{ask: func(*pb.AskRequest) (*pb.AskResponse, error) {
			return &pb.AskResponse{Judgement: &pb.Judgement{Verdict: c.verdict, Sentence: "No.", Ends: c.ends}}, nil
		}})
		_, out, _ := typed(t, address, "ask heron slew --axis1 20 --axis2 20")
		if c.says == "" {
			assert.NotContains(t, out, "might end", name)
			continue
		}
		assert.Contains(t, said(out), c.says, name)
	}
}
