package main

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// A rig at rest stays clear for the whole day that is looked ahead. Told as a time of day that would be that of the question, as if the
// time were over.
func TestAWholeDayIsNotToldAsThisInstant(t *testing.T) {
	asked := time.Date(2026, 11, 14, 13, 15, 15, 0, time.UTC)
	said := func(in time.Duration) string {
		var out bytes.Buffer
		k := &call{out: &out}
		k.printAnswer(&pb.AskResponse{Judgement: &pb.Judgement{
			Verdict:       pb.Verdict_VERDICT_HOLD,
			HarmlessUntil: &pb.Deadline{WithinDuration: durationpb.New(in), AtTime: timestamppb.New(asked.Add(in))},
		}}, exitHold, "")
		return out.String()
	}
	assert.Contains(t, said(24*time.Hour), "Carrying on as it is stays clear for all of the 24 h that are looked at.")
	assert.NotContains(t, said(24*time.Hour), "13:15:15")
	assert.Contains(t, said(90*time.Minute), "Carrying on as it is stays clear until 14:45:15 UTC.")
}
