package wire

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	keepclearv1 "keepclear.example/keepclear/api/keepclear/v1"
)

// contradicted is one request per check: the paths at fault, and a mending after which there are none.
type contradicted struct {
	check string // the title in checks
	bad   proto.Message
	paths []string
	good  proto.Message
}

func contradictedCases() []contradicted {
	id := "0123456789abcdef"
	reading := func(s keepclearv1.PoseSource) *keepclearv1.AxisReading {
		return &keepclearv1.AxisReading{Source: s, Axes: axes(0, 0)}
	}
	report := func(s *keepclearv1.Sample) *keepclearv1.ReportRequest {
		return &keepclearv1.ReportRequest{Rig: "heron", Sample: s}
	}
	begin := &keepclearv1.ReportRequest_Begin{Begin: &keepclearv1.Begin{PermitId: "p1"}}
	homed := func(person string) *keepclearv1.ReportRequest {
		return &keepclearv1.ReportRequest{RequestId: id, Rig: "heron", Event: &keepclearv1.ReportRequest_Homed{
			Homed: &keepclearv1.Homed{By: keepclearv1.HomedBy_HOMED_BY_ATTESTED, Person: person},
		}}
	}
	count, encoder := keepclearv1.PoseSource_POSE_SOURCE_MOTOR_COUNT, keepclearv1.PoseSource_POSE_SOURCE_AXIS_ENCODER
	return []contradicted{
		{"a report says something", report(nil), []string{"sample"}, report(&keepclearv1.Sample{})},
		{
			"an event has a request id",
			&keepclearv1.ReportRequest{Rig: "heron", Sample: &keepclearv1.Sample{}, Event: begin}, []string{"request_id"},
			&keepclearv1.ReportRequest{RequestId: id, Rig: "heron", Sample: &keepclearv1.Sample{}, Event: begin},
		},
		{
			"a begin has a sample",
			&keepclearv1.ReportRequest{RequestId: id, Rig: "heron", Event: begin}, []string{"sample"},
			&keepclearv1.ReportRequest{RequestId: id, Rig: "heron", Sample: &keepclearv1.Sample{}, Event: begin},
		},
		{"a person saw an attested homing", homed(""), []string{"homed.person"}, homed("M. Aster")},
		{
			"a source reads once",
			report(&keepclearv1.Sample{Readings: []*keepclearv1.AxisReading{reading(count), reading(count)}}), []string{"sample.readings[1].source"},
			report(&keepclearv1.Sample{Readings: []*keepclearv1.AxisReading{reading(count), reading(encoder)}}),
		},
		{
			"a part has one state",
			report(&keepclearv1.Sample{Parts: []*keepclearv1.PartState{part("flap"), part("focuser"), part("flap")}}), []string{"sample.parts[2].part"},
			report(&keepclearv1.Sample{Parts: []*keepclearv1.PartState{part("flap"), part("focuser"), part("Flap")}}),
		},
		{
			"the long side is the long one", solved(1, 2), []string{"action.sync.solve.field_height_deg"}, solved(2, 2),
		},
		{
			"a filter's interval goes forward", listed(5, 5), []string{"filter.before_time"}, listed(5, 6),
		},
		{
			"a chain is followed from one place",
			&keepclearv1.FollowEntriesRequest{After: []*keepclearv1.EntryPlace{{Chain: "heron", Number: 1}, {Chain: "heron", Number: 2}}}, []string{"after[1].chain"},
			&keepclearv1.FollowEntriesRequest{After: []*keepclearv1.EntryPlace{{Chain: "heron", Number: 1}, {Chain: "service", Number: 2}}},
		},
		{
			"a sync cannot be rehearsed",
			rehearsed(&keepclearv1.RehearsalStep{Action: solved(2, 2).GetAction()}), []string{"steps[0].action"}, rehearsed(step(1)),
		},
		{"rehearsed steps go forward", rehearsed(step(5), step(0), step(4)), []string{"steps[2].start_time"}, rehearsed(step(5), step(0), step(5))},
		{
			"uncertainty belongs to stated axes",
			&keepclearv1.RehearseRequest{Rig: "heron", Steps: []*keepclearv1.RehearsalStep{step(0)}, StartSigma: sigma()}, []string{"start_sigma"},
			&keepclearv1.RehearseRequest{
				Rig: "heron", Steps: []*keepclearv1.RehearsalStep{step(0)}, StartSigma: sigma(),
				Start: &keepclearv1.RehearseRequest_StartAxes{StartAxes: axes(1, 2)},
			},
		},
	}
}

func TestContradictions(t *testing.T) {
	c := checker(t)
	missing := map[string]bool{}
	for _, x := range checks {
		missing[x.title] = true
	}
	for _, x := range contradictedCases() {
		delete(missing, x.check)
		fs := c.Check(x.bad)
		var paths []string
		for _, f := range fs {
			paths = append(paths, f.Path)
		}
		assert.Equal(t, x.paths, paths, "%s: %v", x.check, fs)
		assert.Empty(t, c.Check(x.good), "%s: mended", x.check)
	}
	assert.Empty(t, missing, "checks without a case")
}

func axes(a, b float64) *keepclearv1.AxisPair {
	return &keepclearv1.AxisPair{Axis1Deg: proto.Float64(a), Axis2Deg: proto.Float64(b)}
}

func sigma() *keepclearv1.AxisSigma {
	return &keepclearv1.AxisSigma{Axis1Deg: proto.Float64(1), Axis2Deg: proto.Float64(1)}
}

func part(name string) *keepclearv1.PartState {
	return &keepclearv1.PartState{Part: name, State: &keepclearv1.PartState_Name{Name: "in"}}
}

// solved returns a sync with a field of this width and height, degrees.
func solved(widthDeg, heightDeg float64) *keepclearv1.AskRequest {
	return &keepclearv1.AskRequest{RequestId: "0123456789abcdef", Rig: "heron", Action: &keepclearv1.Action{Kind: &keepclearv1.Action_Sync{
		Sync: &keepclearv1.Sync{Solve: &keepclearv1.Solve{
			Sky:           &keepclearv1.SkyPosition{RaDeg: proto.Float64(0), DecDeg: proto.Float64(0), Frame: keepclearv1.SkyFrame_SKY_FRAME_ICRS},
			FieldWidthDeg: &widthDeg, FieldHeightDeg: &heightDeg,
		}},
	}}}
}

// listed returns a list of entries between two instants, seconds.
func listed(from, before int64) *keepclearv1.ListEntriesRequest {
	return &keepclearv1.ListEntriesRequest{Filter: &keepclearv1.EntryFilter{
		FromTime: timestamppb.New(time.Unix(from, 0)), BeforeTime: timestamppb.New(time.Unix(before, 0)),
	}}
}

func rehearsed(steps ...*keepclearv1.RehearsalStep) *keepclearv1.RehearseRequest {
	return &keepclearv1.RehearseRequest{Rig: "heron", Steps: steps}
}

// step returns a step that starts so many seconds after an invented evening began; 0: when the one before ends.
func step(s int64) *keepclearv1.RehearsalStep {
	out := &keepclearv1.RehearsalStep{Action: &keepclearv1.Action{Kind: &keepclearv1.Action_Jog{
		Jog: &keepclearv1.Jog{By: axes(1, 0), TrackDuration: durationpb.New(0)},
	}}}
	if s > 0 {
		out.StartTime = timestamppb.New(time.Date(2026, 11, 14, 18, 0, 0, 0, time.UTC).Add(time.Duration(s) * time.Second))
	}
	return out
}
