package main

import (
	"bytes"
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// service answers as it is told.
type service struct {
	pb.UnimplementedMotionServiceServer
	pb.UnimplementedRigServiceServer
	pb.UnimplementedLockServiceServer
	ask func(*pb.AskRequest) (*pb.AskResponse, error)
}

func (s *service) Ask(_ context.Context, r *pb.AskRequest) (*pb.AskResponse, error) { return s.ask(r) }

func (s *service) Withdraw(_ context.Context, r *pb.WithdrawRequest) (*pb.WithdrawResponse, error) {
	if r.GetRig() == "idle" {
		return &pb.WithdrawResponse{RigKnown: true}, nil
	}
	return &pb.WithdrawResponse{PermitIds: []string{"p"}, RigKnown: true}, nil
}

func served(t *testing.T, s *service) string {
	t.Helper()
	return listening(t, func(g *grpc.Server) {
		pb.RegisterMotionServiceServer(g, s)
		pb.RegisterRigServiceServer(g, s)
		pb.RegisterLockServiceServer(g, s)
	})
}

// listening starts a server of these services and returns where it listens.
func listening(t *testing.T, register func(*grpc.Server)) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	g := grpc.NewServer()
	register(g)
	go g.Serve(l)
	t.Cleanup(g.Stop)
	return l.Addr().String()
}

// typed runs a command line, as a shell would split it.
func typed(t *testing.T, address, line string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	args := strings.Fields(line)
	if address != "" {
		args = append(args, "--at-address", address)
	}
	code = run(t.Context(), args, strings.NewReader("{}"), &o, &e, time.Now)
	return code, o.String(), e.String()
}

func TestWrongUsageSaysWhatIsWanted(t *testing.T) {
	for line, want := range map[string]string{
		"":                                  "keepclear: ask a running service",
		"dance":                             `there is no command "dance"`,
		"ask":                               "a rig and an action are wanted",
		"ask heron dance":                   `ask knows no action "dance": slew, track, jog, creep, home, park, flip, sync`,
		"rehearse heron sync":               `rehearse knows no action "sync": slew, track, jog, creep, home, park, flip`,
		"rehearse heron home --solve x":     "there is no flag --solve",
		"ask heron slew --ra 1 --dec 2":     "want icrs or date",
		"ask heron slew --ra 1":             "goes to --ra and --dec",
		"ask heron slew --axis1 1 --ra 2":   "goes to --ra and --dec",
		"ask heron track":                   "--for 3h or --until",
		"ask heron track --until yesterday": "is no instant",
		"ask heron home --order sideways":   "want together, axis1-first or axis2-first",
		"ask heron sync":                    "a file with JSON is wanted",
		"ask heron sync --solve /no/such":   "no such file",
		"ask heron slew --axis1 north":      "--axis1 north: a number is wanted",
		"ask heron jog":                     "turns by --axis1, --axis2, or both",
		"ask heron creep --axis1 1 --axis2 1 --rate 1":      "by --axis1 or by --axis2, not both",
		"ask heron creep --axis1 1":                         "needs --rate",
		"ask heron home --ra 3":                             "ask home takes no --ra",
		"ask heron track --for 10":                          "10m (minutes) or 10s (seconds) is wanted",
		"ask heron track --for long":                        "a length of time is wanted",
		"ask heron track --for":                             "--for: a value is wanted",
		"ask heron slew --dec NaN":                          "--dec NaN: a number is wanted",
		"ask heron home --begin-later":                      "there is no --begin-later: a permit that waits for a begin moves nothing until a report with a sample begins it, and this command sends none",
		"rigs --foo":                                        "there is no flag --foo",
		"entries list --count many":                         "--count many",
		"lock heron":                                        "a person and a reason are wanted",
		"lock heron --all --person A --reason b":            "one rig or --all",
		"release":                                           "ids of locks",
		"withdraw":                                          "one rig or --all",
		"tell heron proved --person A":                      "64 hexadecimal digits",
		"tell heron act fell-over --person A":               "there is no act",
		"entries":                                           "list, show, export or follow",
		"rehearse heron slew --axis1 1 --axis2 2 --at noon": "is no instant",
	} {
		code, out, errs := typed(t, "", line)
		assert.Equal(t, exitUsage, code, line)
		assert.Contains(t, out+errs, want, line)
	}
	code, _, _ := typed(t, "", "help")
	assert.Equal(t, exitDone, code)
}

// inOrder is an allow in which everything is in order.
func inOrder(r *pb.AskRequest) *pb.AskResponse {
	within := &pb.Deadline{WithinDuration: durationpb.New(time.Hour)}
	out := &pb.AskResponse{Judgement: &pb.Judgement{Verdict: pb.Verdict_VERDICT_ALLOW, Sentence: "Every rule that applies passed."}}
	if x := r.GetAction().GetSync(); x != nil {
		out.Leave = &pb.AskResponse_SyncLeave{SyncLeave: &pb.SyncLeave{LeaveId: "l1", RequestId: r.GetRequestId(), Rig: r.GetRig(), Sync: x, Epoch: 3, UseBy: within, Live: true}}
		return out
	}
	state := pb.PermitState_PERMIT_STATE_BEGUN
	if r.GetBeginLater() {
		state = pb.PermitState_PERMIT_STATE_GRANTED
	}
	out.Leave = &pb.AskResponse_Permit{Permit: &pb.Permit{PermitId: "p1", RequestId: r.GetRequestId(), Rig: r.GetRig(), Action: r.GetAction(), Epoch: 3, State: state, StartBy: within, StopBy: &pb.Deadline{WithinDuration: durationpb.New(2 * time.Hour)}}}
	return out
}

// Exit codes are the verdict: 0, 4, 3. A script moves a mount on a 0, so an allow with anything wrong about it is a hold.
func TestExitCodes(t *testing.T) {
	permit := func(spoil func(*pb.Permit)) func(*pb.AskResponse) {
		return func(r *pb.AskResponse) { spoil(r.GetPermit()) }
	}
	for name, c := range map[string]struct {
		spoil func(*pb.AskResponse)
		flags string
		code  int
		word  string
		says  string
	}{
		"allow":            {func(*pb.AskResponse) {}, "", exitDone, "ALLOW", "Permit p1, begun"},
		"no permit":        {func(r *pb.AskResponse) { r.Leave = nil }, "", exitHold, "HOLD", "sent no permit"},
		"taken back":       {permit(func(p *pb.Permit) { p.State = pb.PermitState_PERMIT_STATE_WITHDRAWN; p.EndedBecause = "locked" }), "", exitHold, "HOLD", "withdrawn: locked"},
		"not begun":        {permit(func(p *pb.Permit) { p.State = pb.PermitState_PERMIT_STATE_GRANTED }), "", exitHold, "HOLD", "granted"},
		"another action":   {permit(func(p *pb.Permit) { p.Action = &pb.Action{Kind: &pb.Action_Home{Home: &pb.Home{}}} }), "", exitHold, "HOLD", "another action"},
		"another question": {permit(func(p *pb.Permit) { p.RequestId = "x" }), "", exitHold, "HOLD", "another question"},
		"another rig":      {permit(func(p *pb.Permit) { p.Rig = "crane" }), "", exitHold, "HOLD", `rig "crane"`},
		"no id":            {permit(func(p *pb.Permit) { p.PermitId = "" }), "", exitHold, "HOLD", "no id"},
		"no epoch":         {permit(func(p *pb.Permit) { p.Epoch = 0 }), "", exitHold, "HOLD", "no epoch"},
		"no deadline":      {permit(func(p *pb.Permit) { p.StartBy = nil }), "", exitHold, "HOLD", "until when"},
		"too late":         {permit(func(p *pb.Permit) { p.StartBy.WithinDuration = durationpb.New(0) }), "", exitHold, "HOLD", "too late"},
		"no end":           {permit(func(p *pb.Permit) { p.StopBy = nil }), "", exitHold, "HOLD", "until when the motion must have ended"},
		"a hold in it": {func(r *pb.AskResponse) {
			r.Judgement.Findings = []*pb.Finding{{RuleId: "sky/floor", Effect: pb.Effect_EFFECT_HOLD, Sentence: "Too low."}}
		}, "", exitHold, "HOLD", "its own finding of sky/floor is no pass"},
		"unknown condition":   {permit(func(p *pb.Permit) { p.Critical = []string{"hatch open"} }), "", exitHold, "HOLD", `"hatch open"`},
		"practice":            {permit(func(p *pb.Permit) { p.Critical = []string{"practice"} }), "", exitHold, "HOLD", "no real mount may move on it (--practice takes it)"},
		"practice, left open": {permit(func(p *pb.Permit) { p.Critical = []string{"practice"} }), "", exitHold, "HOLD", "or taken back: keepclear withdraw heron"},
		"practice, as wanted": {permit(func(p *pb.Permit) { p.Critical = []string{"practice"} }), "--practice", exitDone, "ALLOW", "no real mount"},
		"deny": {func(r *pb.AskResponse) {
			r.Judgement = &pb.Judgement{Verdict: pb.Verdict_VERDICT_DENY, Sentence: "Too near."}
			r.Leave = nil
		}, "", exitDeny, "DENY", "Too near."},
		"hold":           {func(r *pb.AskResponse) { r.Judgement.Verdict = pb.Verdict_VERDICT_HOLD }, "", exitHold, "HOLD", ""},
		"unknown word":   {func(r *pb.AskResponse) { r.Judgement.Verdict = 99 }, "", exitHold, "HOLD", ""},
		"nothing at all": {func(r *pb.AskResponse) { proto.Reset(r) }, "", exitHold, "HOLD", ""},
	} {
		s := &service{ask: func(r *pb.AskRequest) (*pb.AskResponse, error) { out := inOrder(r); c.spoil(out); return out, nil }}
		address := served(t, s)
		line := "ask heron slew --axis1 1 --axis2 2 " + c.flags
		code, out, _ := typed(t, address, line)
		assert.Equal(t, c.code, code, name)
		assert.True(t, strings.HasPrefix(out, c.word), "%s: the verdict comes first: %s", name, out)
		assert.Contains(t, strings.Join(strings.Fields(out), " "), c.says, name)
		code, out, errs := typed(t, address, line+" --json")
		assert.Equal(t, c.code, code, name)
		assert.True(t, strings.HasPrefix(out, "{"), name)
		assert.Equal(t, strings.HasPrefix(errs, "HOLD"), c.code == exitHold && strings.Contains(out, "VERDICT_ALLOW"), "%s: a broken allow is said beside the JSON: %s", name, errs)
	}
}

// Who is told to stop is not told beside it how long carrying on does no harm.
func TestStopTrackingIsSaidAlone(t *testing.T) {
	for stop, says := range map[bool]string{true: "STOP TRACKING NOW", false: "Carrying on as it is does no harm"} {
		s := &service{ask: func(*pb.AskRequest) (*pb.AskResponse, error) {
			return &pb.AskResponse{Judgement: &pb.Judgement{Verdict: pb.Verdict_VERDICT_HOLD, Sentence: "Too near.", StopTracking: stop, HarmlessUntil: &pb.Deadline{WithinDuration: durationpb.New(time.Second)}}}, nil
		}}
		_, out, _ := typed(t, served(t, s), "ask heron home")
		assert.Contains(t, out, says)
		assert.Equal(t, 1, strings.Count(out, "arrying on"), out)
	}
}

// A sync is held against what was sent as a motion is.
func TestSyncExitCodes(t *testing.T) {
	solve := filepath.Join(t.TempDir(), "solve.json")
	require.NoError(t, os.WriteFile(solve, []byte(solveAsJSON[strings.Index(solveAsJSON, "{"):]), 0o600))
	for name, c := range map[string]struct {
		spoil func(*pb.SyncLeave)
		code  int
	}{
		"allow":        {func(*pb.SyncLeave) {}, exitDone},
		"over":         {func(l *pb.SyncLeave) { l.Live = false }, exitHold},
		"another sync": {func(l *pb.SyncLeave) { l.Sync = nil }, exitHold},
		"another rig":  {func(l *pb.SyncLeave) { l.Rig = "crane" }, exitHold},
	} {
		s := &service{ask: func(r *pb.AskRequest) (*pb.AskResponse, error) {
			out := inOrder(r)
			c.spoil(out.GetSyncLeave())
			return out, nil
		}}
		code, out, _ := typed(t, served(t, s), "ask heron sync --solve "+solve)
		assert.Equal(t, c.code, code, "%s: %s", name, out)
	}
}

// At three in the morning the page is a phone's: lines fold at spaces, ids stay whole.
func TestLinesFold(t *testing.T) {
	var b bytes.Buffer
	f := &folded{to: &b}
	digest := strings.Repeat("5e", 45)
	fmt.Fprintf(f, "      What to do: %s\n", strings.Repeat("turn axis 1 back by °", 9))
	fmt.Fprintf(f, "      digest %s\n\nshort", digest)
	f.flush()
	for _, line := range strings.Split(b.String(), "\n") {
		if !strings.Contains(line, digest) {
			assert.LessOrEqual(t, len([]rune(line)), 79, line)
		}
	}
	assert.Contains(t, b.String(), "\n            "+digest+"\n\nshort\n")
	assert.Equal(t, strings.Fields("What to do: "+strings.Repeat("turn axis 1 back by °", 9)+" digest "+digest+" short"), strings.Fields(b.String()), "nothing is lost")
}

// faults.md row 51: every status code is a hold, and so is nobody there.
func TestEveryErrorIsAHold(t *testing.T) {
	for code := codes.Canceled; code <= codes.Unauthenticated; code++ {
		s := &service{ask: func(*pb.AskRequest) (*pb.AskResponse, error) { return nil, status.Error(code, "because") }}
		exit, out, _ := typed(t, served(t, s), "ask heron home")
		assert.Equal(t, exitHold, exit, "%s", code)
		assert.True(t, strings.HasPrefix(out, "HOLD"), "%s: %s", code, out)
		assert.Contains(t, out, "because")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	gone := l.Addr().String()
	l.Close()
	for _, line := range []string{"ask heron home", "rigs", "rigs heron", "withdraw heron", "lock heron --person A --reason b", "release x --person A --reason b", "entries list", "entries follow", "verify", "rules", "tell heron homed --person A", "rehearse heron home"} {
		exit, out, _ := typed(t, gone, line)
		assert.Equal(t, exitHold, exit, line)
		assert.True(t, strings.HasPrefix(out, "HOLD"), "%s: %s", line, out)
	}
}

// What is typed is what is asked.
func TestFlagsBecomeTheQuestion(t *testing.T) {
	var got *pb.AskRequest
	s := &service{ask: func(r *pb.AskRequest) (*pb.AskResponse, error) { got = r; return &pb.AskResponse{}, nil }}
	address := served(t, s)
	typed(t, address, "ask heron slew --ra 38.2 --dec -61.45 --frame date --side east --track 90m --attended-by A --replaces p0")
	k := got.GetAction().GetSlew()
	assert.Equal(t, 38.2, k.GetSky().GetRaDeg())
	assert.Equal(t, -61.45, k.GetSky().GetDecDeg())
	assert.Equal(t, pb.SkyFrame_SKY_FRAME_OF_DATE, k.GetSky().GetFrame())
	assert.Equal(t, pb.TubeSide_TUBE_SIDE_EAST, k.GetSide())
	assert.Equal(t, 90*time.Minute, k.GetTrackDuration().AsDuration())
	assert.Equal(t, "A", got.GetAttendedBy())
	assert.Equal(t, "p0", got.GetReplacesPermitId())
	assert.False(t, got.GetBeginLater())
	assert.Nil(t, got.GetSample(), "no sample: the last one reported counts")
	typed(t, address, "ask heron jog --axis2 -3.5 --rate 0.5 --sample -")
	assert.Equal(t, -3.5, got.GetAction().GetJog().GetBy().GetAxis2Deg())
	assert.NotNil(t, got.GetSample())
	for axis, line := range map[uint32]string{1: "ask heron creep --axis1 -3.5 --rate 0.2", 2: "ask heron creep --axis2 -3.5 --rate 0.2"} {
		typed(t, address, line)
		c := got.GetAction().GetCreep()
		assert.Equal(t, axis, c.GetAxis(), line)
		assert.Equal(t, [2]float64{-3.5, 0.2}, [2]float64{c.GetByDeg(), c.GetRateDegPerS()}, line)
	}
	code, out, _ := typed(t, address, "withdraw heron")
	assert.Equal(t, exitDone, code)
	assert.Contains(t, out, "emergency stop")
	assert.Contains(t, out, "TAKEN BACK (permits and sync leaves): 1.")
	_, out, _ = typed(t, address, "withdraw idle")
	assert.Contains(t, out, "NOTHING TO TAKE BACK: no permit and no sync leave was open.")
}
