package main

import (
	"bytes"
	"context"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// proving is a service to which a proof is told: it needs one still, or not.
type proving struct {
	hearing
	pb.UnimplementedRuleServiceServer
	needs   []*pb.Need
	pose    *pb.Pose
	refused bool
	permits []*pb.Permit // one look after another
}

func (p *proving) GetRig(context.Context, *pb.GetRigRequest) (*pb.GetRigResponse, error) {
	r := &pb.Rig{Rig: "heron", RigSha256: bytes.Repeat([]byte{0x5e}, 32), Needs: p.needs, Pose: p.pose, ReportRefused: p.refused}
	if len(p.permits) > 0 {
		r.Permit, p.permits = p.permits[0], p.permits[1:]
	}
	return &pb.GetRigResponse{Rig: r}, nil
}

func (p *proving) ListRules(context.Context, *pb.ListRulesRequest) (*pb.ListRulesResponse, error) {
	return &pb.ListRulesResponse{Rules: []*pb.Rule{{RuleId: "rig/proven", Limits: []*pb.Limit{{Name: "age_days", Value: proto.Float64(1)}, {Name: "residual_mm", Value: proto.Float64(10)}}}}}, nil
}

// mute answers no question about the rig.
type mute struct{ *proving }

func (mute) GetRig(context.Context, *pb.GetRigRequest) (*pb.GetRigResponse, error) {
	return nil, status.Error(codes.Unavailable, "the service is going down")
}

// Where nobody says whether a proof counts, it is not said to.
func TestToldProofOfWhichNothingIsKnown(t *testing.T) {
	p := mute{&proving{}}
	address := listening(t, func(g *grpc.Server) {
		pb.RegisterMotionServiceServer(g, p)
		pb.RegisterRigServiceServer(g, p)
	})
	code, out, errs := typed(t, address, "tell heron proved --person A --signs --residual 4 --digest "+strings.Repeat("5e", 32))
	assert.Equal(t, exitCheck, code, out+errs)
	assert.Contains(t, out, "REPORTED, but whether it counts could not be asked")
}

// A proof that was taken in and does not count says so, and why; its exit code is no zero.
func TestToldProofThatDoesNotCount(t *testing.T) {
	needed := []*pb.Need{{Kind: pb.NeedKind_NEED_KIND_RIG_PROOF}}
	same, other := strings.Repeat("5e", 32), strings.Repeat("ab", 32)
	for line, c := range map[string]struct {
		needs []*pb.Need
		code  int
		says  string
	}{
		"--signs --residual 4 --digest " + same:   {nil, exitDone, "TAKEN IN: it counts. Entry"},
		"--residual 4 --digest " + same:           {needed, exitCheck, "TAKEN IN, but it does not count: turn both axes, see that they go the way that the file says, and tell it again with --signs. Entry"},
		"--signs --residual 400 --digest " + same: {needed, exitCheck, "400 mm is more than the 10 mm of rig/proven"},
		"--signs --residual 4 --digest " + other:  {needed, exitCheck, "NOT TAKEN IN: the digest is of another revision of the rig file than the one in force, whose digest is " + same + ". Entry"},
		"--signs --residual 2 --digest " + other:  {nil, exitCheck, "NOT TAKEN IN: the digest is of another revision"}, // an earlier one counts
		"--signs --residual 3 --digest " + same:   {needed, exitCheck, "a proof is still needed"},
	} {
		p := &proving{needs: c.needs}
		address := listening(t, func(g *grpc.Server) {
			pb.RegisterMotionServiceServer(g, p)
			pb.RegisterRigServiceServer(g, p)
			pb.RegisterRuleServiceServer(g, p)
		})
		code, out, errs := typed(t, address, "tell heron proved --person A "+line)
		assert.Equal(t, c.code, code, "%s: %s%s", line, out, errs)
		assert.Contains(t, strings.Join(strings.Fields(out), " "), c.says, line)
		code, out, errs = typed(t, address, "tell heron proved --json --person A "+line)
		assert.Equal(t, c.code, code, "a program learns it, too: %s: %s%s", line, out, errs)
		assert.JSONEq(t, out, out, "what it reads is the message alone")
		assert.Equal(t, c.code != exitDone, strings.Contains(errs, strings.TrimSuffix(c.says, " Entry")), errs)
	}
}

// One thing that helps is one line, however many needs it serves.
func TestRigsTellsEachNeedOnce(t *testing.T) {
	measure, home := "Measure gaps.", "Home the rig."
	p := &proving{needs: []*pb.Need{
		{Kind: pb.NeedKind_NEED_KIND_ATTENDANCE, Sentence: measure}, {Kind: pb.NeedKind_NEED_KIND_HOMING, Sentence: home}, {Kind: pb.NeedKind_NEED_KIND_RIG_PROOF, Sentence: measure},
	}}
	address := listening(t, func(g *grpc.Server) { pb.RegisterRigServiceServer(g, p) })
	_, out, _ := typed(t, address, "rigs heron")
	assert.Contains(t, out, "      needs attendance or rig proof: Measure gaps.\n      needs homing: Home the rig.\n")
	assert.Equal(t, 1, strings.Count(out, measure), out)
	assert.NotContains(t, out, "not understood")
	p.refused = true
	_, out, _ = typed(t, address, "rigs heron")
	assert.Contains(t, strings.Join(strings.Fields(out), " "), "a report was not understood, or could not be recorded: it holds the rig until the same asker's next one is taken in")
}

// Where homing by itself is held until a person stated the pose, it is not named beside that as what helps.
func TestRigsNamesNoHomingThatIsHeld(t *testing.T) {
	p := &proving{needs: []*pb.Need{{Kind: pb.NeedKind_NEED_KIND_ATTENDANCE, Sentence: "State it."}, {Kind: pb.NeedKind_NEED_KIND_HOMING, Sentence: "Home the rig."}}}
	address := listening(t, func(g *grpc.Server) { pb.RegisterRigServiceServer(g, p) })
	for state, named := range map[pb.PoseState]bool{pb.PoseState_POSE_STATE_UNKNOWN: false, pb.PoseState_POSE_STATE_CANDIDATES: true} {
		p.pose = &pb.Pose{State: state}
		_, out, _ := typed(t, address, "rigs heron")
		assert.Contains(t, out, "needs attendance: State it.")
		assert.Equal(t, named, strings.Contains(out, "needs homing"), out)
	}
	p.pose, p.needs = &pb.Pose{State: pb.PoseState_POSE_STATE_UNKNOWN}, p.needs[1:]
	_, out, _ := typed(t, address, "rigs heron")
	assert.Contains(t, out, "needs homing: Home the rig.", "nothing else helps")
}

// A pose that may be anywhere is not called known.
func TestRigsCallsNoPoseKnownThatMayBeAnywhere(t *testing.T) {
	p := &proving{}
	address := listening(t, func(g *grpc.Server) { pb.RegisterRigServiceServer(g, p) })
	for sigma, known := range map[float64]bool{0.3: true, 9.9: true, 10: false, 61: false} {
		p.pose = &pb.Pose{State: pb.PoseState_POSE_STATE_KNOWN, Axes: &pb.AxisPair{}, Sigma: &pb.AxisSigma{Axis1Deg: proto.Float64(0.1), Axis2Deg: proto.Float64(sigma)}}
		_, out, _ := typed(t, address, "rigs heron")
		assert.Equal(t, known, strings.Contains(out, "pose known, at (0.00°, 0.00°)"), out)
		assert.Equal(t, !known, strings.Contains(out, "pose no longer known after what nobody saw, at (0.00°, 0.00°)"), out)
	}
}

// What the service itself needs stands before all else, and once.
func TestRigsTellsFirstThatTheRecordIsDown(t *testing.T) {
	const down, other = "Nothing is answered but stopping: the record is down: its disk is full.", "A rule is broken."
	p := &proving{needs: []*pb.Need{
		{Kind: pb.NeedKind_NEED_KIND_REPAIR, Sentence: down}, {Kind: pb.NeedKind_NEED_KIND_HOMING, Sentence: "Home the rig."},
		{Kind: pb.NeedKind_NEED_KIND_REPAIR, Sentence: other}, {Kind: pb.NeedKind_NEED_KIND_REPAIR, Sentence: down},
	}}
	address := listening(t, func(g *grpc.Server) { pb.RegisterRigServiceServer(g, p) })
	_, out, _ := typed(t, address, "rigs heron")
	assert.Regexp(t, "^REPAIR  "+down+"\nREPAIR  "+other+"\nheron ", out)
	assert.Equal(t, 1, strings.Count(out, down))
	assert.Equal(t, 1, strings.Count(out, other))
	assert.Contains(t, out, "      needs homing: Home the rig.\n")
}

// What a person states may end the leave under which the mount moves, a creep's too: whoever states it is told to stop the mount.
func TestToldWhatEndsALeave(t *testing.T) {
	begun, waits := &pb.Permit{PermitId: "p1", State: pb.PermitState_PERMIT_STATE_BEGUN}, &pb.Permit{PermitId: "p1", State: pb.PermitState_PERMIT_STATE_GRANTED}
	over := &pb.Permit{PermitId: "p1", State: pb.PermitState_PERMIT_STATE_WITHDRAWN}
	for name, c := range map[string]struct {
		permits []*pb.Permit
		stop    bool
	}{
		"none": {nil, false}, "stays": {[]*pb.Permit{begun, begun}, false}, "begins": {[]*pb.Permit{waits, begun}, false},
		"goes": {[]*pb.Permit{begun, nil}, true}, "is withdrawn": {[]*pb.Permit{begun, over}, true}, "waits and goes": {[]*pb.Permit{waits, over}, true}, "was over": {[]*pb.Permit{over, over}, false},
	} {
		p := &proving{permits: c.permits}
		address := listening(t, func(g *grpc.Server) {
			pb.RegisterMotionServiceServer(g, p)
			pb.RegisterRigServiceServer(g, p)
		})
		for _, line := range []string{"tell heron homed --person A", "tell heron act clutch-opened --person A"} {
			p.permits = c.permits
			code, out, _ := typed(t, address, line)
			assert.Equal(t, exitDone, code, name)
			assert.Equal(t, c.stop, strings.Contains(said(out), "nobody was told to stop: if the mount turns, stop it yourself"), "%s: %s", name, out)
		}
	}
}
