package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// gauges is a service with one plan: three steps, two poses of which the first has two gaps.
type gauges struct {
	pb.UnimplementedGaugeServiceServer
	pb.UnimplementedMotionServiceServer
	pb.UnimplementedRigServiceServer
	pb.UnimplementedRuleServiceServer
	plan     *pb.PlanGaugesResponse
	pose     *pb.Pose
	looks    int // at the rig
	reported []*pb.ReportRequest
	proved   bool // what was last reported counts
	stubborn bool // it goes on counting whatever is reported
}

func num(v float64) *float64 { return &v }

func pairAt(a, b float64) *pb.AxisPair { return &pb.AxisPair{Axis1Deg: num(a), Axis2Deg: num(b)} }

func newGauges() *gauges {
	return &gauges{plan: &pb.PlanGaugesResponse{
		RigSha256: bytes.Repeat([]byte{7}, 32), Home: pairAt(0, 0),
		SignSteps: []*pb.SignStep{
			{Axes: pairAt(0, 0), Watch: "the far end of the tube", Toward: pb.Toward_TOWARD_NORTH, ByMm: num(400)},
			{Axis: 1, TurnDeg: num(10), Axes: pairAt(10, 0), Watch: "the far end of the bar", Toward: pb.Toward_TOWARD_EAST, ByMm: num(70)},
			{Axis: 2, TurnDeg: num(10), Axes: pairAt(0, 10), Watch: "the far end of the tube", Toward: pb.Toward_TOWARD_WEST, ByMm: num(90)},
		},
		GaugePoses: []*pb.GaugePose{
			{Axes: pairAt(30, -45), Way: []*pb.AxisPair{pairAt(30, 0), pairAt(30, -45)}, KeepWithin: pairAt(1, 1),
				Gaps: []*pb.Gap{{Parts: []string{"floor", "tube"}, ComputedMm: num(800)}, {Parts: []string{"north leg", "camera"}, ComputedMm: num(200)}}},
			{Axes: pairAt(0, 60), Way: []*pb.AxisPair{pairAt(0, 60)}, KeepWithin: pairAt(1, 1), Gaps: []*pb.Gap{{Parts: []string{"hub", "tube"}, ComputedMm: num(120)}}},
		},
	}}
}

func (g *gauges) PlanGauges(context.Context, *pb.PlanGaugesRequest) (*pb.PlanGaugesResponse, error) {
	return g.plan, nil
}

// JudgeGauges holds answers against the plan.
func (g *gauges) JudgeGauges(_ context.Context, r *pb.JudgeGaugesRequest) (*pb.JudgeGaugesResponse, error) {
	if !bytes.Equal(r.GetRigSha256(), g.plan.GetRigSha256()) {
		return nil, status.Error(codes.InvalidArgument, "another revision")
	}
	out := &pb.JudgeGaugesResponse{SignsRight: len(r.GetSigns()) == 3, Sentence: "What the gaps say."}
	for _, a := range r.GetSigns() {
		f := &pb.SignFinding{Axis: a.GetAxis(), Cause: pb.SignCause_SIGN_CAUSE_AS_DESCRIBED, Sentence: "As the file says."}
		if s := g.plan.GetSignSteps()[a.GetAxis()]; s.GetToward() != a.GetToward() {
			f.Cause, f.Sentence, out.SignsRight = pb.SignCause_SIGN_CAUSE_MIRRORED, "Mirrored: so it is.", false
		}
		out.Signs = append(out.Signs, f)
	}
	worst := 0.0
	for _, m := range r.GetReadings() {
		for _, pose := range g.plan.GetGaugePoses() {
			for _, gap := range pose.GetGaps() {
				if apart(pose.GetAxes(), m.GetAxes()) < 1 && gap.GetParts()[0] == m.GetPart() {
					d := m.GetGapMm() - gap.GetComputedMm()
					worst = max(worst, math.Abs(d))
					out.Residuals = append(out.Residuals, &pb.GaugeResidual{ComputedMm: gap.ComputedMm, ResidualMm: &d, AllowedMm: num(3)})
				}
			}
		}
	}
	out.ResidualMm, out.Fits = &worst, worst <= 5
	return out, nil
}

func (g *gauges) GetRig(context.Context, *pb.GetRigRequest) (*pb.GetRigResponse, error) {
	g.looks++
	r := &pb.Rig{Rig: "heron", RigSha256: g.plan.GetRigSha256(), Pose: g.pose}
	if !g.proved {
		r.Needs = []*pb.Need{{Kind: pb.NeedKind_NEED_KIND_RIG_PROOF}}
	}
	return &pb.GetRigResponse{Rig: r}, nil
}

func (g *gauges) ListRules(context.Context, *pb.ListRulesRequest) (*pb.ListRulesResponse, error) {
	return &pb.ListRulesResponse{Rules: []*pb.Rule{{RuleId: "rig/proven", Limits: []*pb.Limit{{Name: "residual_mm", Value: num(10)}}}}}, nil
}

func (g *gauges) Report(_ context.Context, r *pb.ReportRequest) (*pb.ReportResponse, error) {
	g.reported = append(g.reported, r)
	g.proved = g.stubborn || r.GetProved().GetSignsChecked() && r.GetProved().GetResidualMm() <= 10
	return &pb.ReportResponse{Receipt: &pb.Receipt{Chain: "heron", Number: 3}}, nil
}

// sitting is one person at a terminal.
type sitting struct {
	t       *testing.T
	g       *gauges
	address string
	file    string
}

func newSitting(t *testing.T) *sitting {
	g := newGauges()
	address := listening(t, func(s *grpc.Server) {
		pb.RegisterGaugeServiceServer(s, g)
		pb.RegisterMotionServiceServer(s, g)
		pb.RegisterRigServiceServer(s, g)
		pb.RegisterRuleServiceServer(s, g)
	})
	return &sitting{t, g, address, filepath.Join(t.TempDir(), "answers.json")}
}

// types runs the command with some lines typed; then the terminal is closed.
func (p *sitting) types(typed ...string) (code int, out string) {
	p.t.Helper()
	return p.typesAt(time.Now, typed...)
}

// typesAt is the same by another clock.
func (p *sitting) typesAt(now func() time.Time, typed ...string) (code int, out string) {
	p.t.Helper()
	var o, e bytes.Buffer
	in := strings.NewReader("")
	if len(typed) > 0 {
		in = strings.NewReader(strings.Join(typed, "\n") + "\n")
	}
	code = run(p.t.Context(), []string{"prove", "heron", "--answers", p.file, "--at-address", p.address}, in, &o, &e, now)
	assert.Empty(p.t, e.String())
	return code, o.String()
}

// right are all answers of an evening on which everything is as described, by 4 mm.
var right = []string{"", "north", "", "east", "70", "", "west", "90", "", "804", "804", "200", "", "120", "yes", "A. Person"}

func TestAnEveningIsProved(t *testing.T) {
	p := newSitting(t)
	code, out := p.types(right...)
	require.Equal(t, exitDone, code, out)
	require.Len(t, p.g.reported, 1)
	proved := p.g.reported[0].GetProved()
	assert.Equal(t, "A. Person", proved.GetPerson())
	assert.True(t, proved.GetSignsChecked())
	assert.InDelta(t, 4, proved.GetResidualMm(), 1e-9)
	assert.Equal(t, p.g.plan.GetRigSha256(), proved.GetRigSha256())
	assert.NoFileExists(t, p.file, "what is on record need not be kept")
	for _, want := range []string{"turn axis 1 to 30.0°, then turn axis 2 to -45.0°", "That is not what the file says. Take the tape off and measure it once more.", "+4.0  floor and tube at (30.0°, -45.0°)"} {
		assert.Contains(t, out, want)
	}
	assert.NotContains(t, out, "\x1b")
	for line := range strings.Lines(out) {
		assert.LessOrEqual(t, len([]rune(strings.TrimRight(line, "\n"))), columns, line)
	}
}

// TestWhatNoGapProvesIsAskedFor, apart and before anything is reported: a length that binds the travel and that no gap shows is measured by the tape again.
func TestWhatNoGapProvesIsAskedFor(t *testing.T) {
	p := newSitting(t)
	p.g.plan.UnseenKeys = []string{"tape.walls.1.height_mm"}
	p.g.plan.Unmeasured = []*pb.UnmeasuredLength{{Key: "tape.front_reach_mm", RoomMm: num(4.9)}}
	begun := right[:len(right)-2]
	code, out := p.types(append(slices.Clone(begun), "no")...)
	assert.Equal(t, exitHold, code, out)
	assert.Empty(t, p.g.reported)
	assert.FileExists(t, p.file, "what was answered is kept")
	assert.Contains(t, said(out), "NOT PROVEN BY THIS: no gap shows whether these are right")
	assert.Contains(t, said(out), "tape.front_reach_mm: 5 mm")
	assert.Less(t, strings.Index(out, "NOT PROVEN"), strings.Index(out, "(yes, no)"), "before it is asked for")
	assert.Greater(t, strings.Index(out, "NOT PROVEN"), strings.Index(out, "tape.walls.1.height_mm"), "apart, and last")
	assert.NotContains(t, out, "Report that")

	code, out = p.types("yes", "yes", "yes", "A. Person") // it is as it was; measured; report
	assert.Equal(t, exitDone, code, out)
	assert.Len(t, p.g.reported, 1)
}

// Wherever the terminal is closed nothing is reported, and the next evening ends as it would have.
func TestClosedAnywhereAndTakenUp(t *testing.T) {
	for n := range len(right) {
		p := newSitting(t)
		code, out := p.types(right[:n]...)
		assert.Equal(t, exitHold, code, "after %d answers: %s", n, out)
		assert.Empty(t, p.g.reported, "after %d answers", n)
		// The answers that complete a step are kept; the rest of that step is asked again.
		rest := right
		for _, done := range []int{14, 12, 8, 5, 2} {
			if n >= done {
				rest = append([]string{"yes"}, right[done:]...)
				break
			}
		}
		code, out = p.types(rest...)
		assert.Equal(t, exitDone, code, "after %d answers: %s", n, out)
		if assert.Len(t, p.g.reported, 1, "after %d answers: %s", n, out) {
			assert.InDelta(t, 4, p.g.reported[0].GetProved().GetResidualMm(), 1e-9)
		}
	}
}

// An interrupt ends it at once, though nothing is typed.
func TestInterruptWhileItWaits(t *testing.T) {
	p := newSitting(t)
	ctx, cancel := context.WithCancel(t.Context())
	in, hand := io.Pipe()
	defer hand.Close()
	var o bytes.Buffer
	go func() {
		_, _ = io.WriteString(hand, "\nnorth\n")
		for !exists(p.file) { // then it waits for the next answer, which never comes
			time.Sleep(time.Millisecond)
		}
		cancel()
	}()
	code := run(ctx, []string{"prove", "heron", "--answers", p.file, "--at-address", p.address}, in, &o, io.Discard, time.Now)
	assert.Equal(t, exitHold, code, o.String())
	assert.Empty(t, p.g.reported)
	assert.Contains(t, o.String(), "Stopped; nothing was reported.")
}

func exists(file string) bool {
	_, err := os.Stat(file)
	return err == nil
}

func TestAWrongSideEndsIt(t *testing.T) {
	p := newSitting(t)
	code, out := p.types("", "north", "", "west", "70")
	assert.Equal(t, exitCheck, code)
	assert.Contains(t, out, "Mirrored: so it is.")
	assert.Contains(t, said(out), "Nothing was reported, and nothing may move heron unattended.")
	assert.Empty(t, p.g.reported)
	code, out = p.types(append([]string{"yes", "", "east", "70"}, right[5:]...)...) // named by mistake: the step is asked again
	assert.Equal(t, exitDone, code, out)
}

func TestWhatProvesNothingIsNotReported(t *testing.T) {
	p := newSitting(t)
	code, out := p.types("", "north", "", "east", "70", "", "west", "90", "", "830", "830", "200", "", "120", "", "yes", "A. Person")
	assert.Equal(t, exitCheck, code, out)
	assert.Contains(t, out, "More than 10 mm (rig/proven) proves nothing")
	assert.Empty(t, p.g.reported)
	code, out = newSitting(t).types(append(append([]string{}, right[:14]...), "no")...)
	assert.Equal(t, exitHold, code)
	assert.Contains(t, out, "Nothing was reported.")
}

// mirrored and tooFar are evenings that find the rig other than its file.
var mirrored, tooFar = []string{"", "north", "", "west", "70"}, []string{"", "north", "", "east", "70", "", "west", "90", "", "830", "830", "200", "", "120", ""}

// What disproves a file that was proved before is reported, if the person wants that: else unattended motion goes on by the earlier proof.
func TestAnEarlierProofIsTakenBack(t *testing.T) {
	for name, c := range map[string]struct {
		typed    []string
		signs    bool
		residual float64
	}{"a wrong side": {mirrored, false, 0}, "30 mm": {tooFar, true, 30}} {
		t.Run(name, func(t *testing.T) {
			p := newSitting(t)
			p.g.proved = true
			code, out := p.types(append(append([]string{}, c.typed...), "yes", "A. Person")...)
			assert.Equal(t, exitCheck, code, out)
			require.Len(t, p.g.reported, 1, out)
			proved := p.g.reported[0].GetProved()
			assert.Equal(t, c.signs, proved.GetSignsChecked())
			assert.InDelta(t, c.residual, proved.GetResidualMm(), 1e-9)
			assert.Equal(t, p.g.plan.GetRigSha256(), proved.GetRigSha256())
			assert.Contains(t, said(out), "From now on nothing may move heron unattended.")
			assert.NoFileExists(t, p.file)
		})
	}
}

// Where it is not reported, or does not hold anything, nobody is told that nothing moves.
func TestAnEarlierProofThatStandsIsSaid(t *testing.T) {
	for _, last := range [][]string{{"no"}, {"stop"}, nil} {
		p := newSitting(t)
		p.g.proved = true
		code, out := p.types(append(append([]string{}, mirrored...), last...)...)
		assert.NotEqual(t, exitDone, code)
		assert.Empty(t, p.g.reported)
		assert.NotContains(t, said(out), "nothing may move")
		assert.Contains(t, said(out), "An earlier proof of this file counts: until this is reported, heron may be moved unattended by it.")
	}
	p := newSitting(t)
	p.g.proved, p.g.stubborn = true, true
	code, out := p.types(append(append([]string{}, mirrored...), "yes", "A. Person")...)
	assert.Equal(t, exitCheck, code)
	assert.NotContains(t, said(out), "nothing may move")
	assert.Contains(t, said(out), "That unattended motion is held is not certain")
}

// said is what was said, its lines joined.
func said(out string) string { return strings.Join(strings.Fields(out), " ") }

// A slip that is seen only at the end costs one gap and no evening; one reading alone does not undo two.
func TestOneGapIsMeasuredAgain(t *testing.T) {
	begin := []string{"", "north", "", "east", "70", "", "west", "90", "", "860", "861", "200", "", "120"}
	p := newSitting(t)
	code, out := p.types(append(begin, "9", "floor", "1", "", "802", "801", "yes", "A. Person")...)
	require.Equal(t, exitDone, code, out)
	for _, want := range []string{" 1   +61.0  floor and tube at (30.0°, -45.0°)", `"9" is none of the numbers, 1 to 3.`, `"floor" is none of the numbers`, "From home turn axis 1 to 30.0°", "It was measured before, otherwise.", "Take the tape off"} {
		assert.Contains(t, out, want)
	}
	assert.InDelta(t, 2, p.g.reported[0].GetProved().GetResidualMm(), 1e-9, "the farther of the two")

	p = newSitting(t)
	code, out = p.types(append(begin, "1", "", "800", "860", "860", "")...)
	assert.Equal(t, exitCheck, code, out)
	assert.Contains(t, out, "The two readings disagree. Measure it a third time.")
	assert.Empty(t, p.g.reported)
	code, out = p.types("yes", "1", "", "800", "800", "yes", "A. Person") // another evening
	assert.Equal(t, exitDone, code, out)
}

// A reading that would be right in another unit is asked about, and taken as typed.
func TestReadingsInInchesAreAskedAbout(t *testing.T) {
	for typed, hint := range map[string]string{"31.5": "It would be in inches: if that is what the tape shows, type \"in\" behind the number.", "80": "It would be in centimetres", "760": ""} {
		p := newSitting(t)
		_, out := p.types(append(right[:9:9], typed, "800")...)
		assert.Contains(t, said(out), strings.TrimSpace("That is not what the file says. "+hint))
		if hint == "" {
			assert.NotContains(t, out, "It would be")
		}
	}
	p := newSitting(t)
	_, out := p.types(append(right[:9:9], "31.5 in", "200")...)
	assert.NotContains(t, out, "not what the file says")
}

// A second reading is not led by the file's number, and does not replace the first: of those that agree the farthest from the file counts.
func TestReadingsThatDisagree(t *testing.T) {
	for _, c := range []struct {
		typed    []string // of a gap that is 800 mm by the file
		residual float64
	}{
		{[]string{"802"}, 2}, {[]string{"808", "805"}, 8}, {[]string{"805", "808"}, 8}, {[]string{"840", "800", "801"}, 1}, {[]string{"840", "800", "840"}, 40},
		{[]string{"760", "800", "840"}, 40}, {[]string{"780", "800", "830"}, 30}, {[]string{"800"}, 0}, {[]string{"792", "799", "797"}, 8},
	} {
		p := newSitting(t)
		p.g.proved = true // so that it is reported, however far
		all := append(append(append([]string{}, right[:9]...), c.typed...), "200", "", "120")
		if c.residual > 5 {
			all = append(all, "") // none is measured again
		}
		code, out := p.types(append(all, "yes", "A. Person")...)
		require.Len(t, p.g.reported, 1, "%v, exit %d: %s", c.typed, code, out)
		assert.InDelta(t, c.residual, p.g.reported[0].GetProved().GetResidualMm(), 1e-9, "%v", c.typed)
		before, _, _ := strings.Cut(out, "Measured less the file's")
		before = strings.ReplaceAll(before, filepath.Dir(p.file), "") // its number may hold any figure
		assert.NotContains(t, before, "800", "%v: the file's number leads whoever measures", c.typed)
	}
}

// What is typed is understood or asked again, whatever it is.
func TestWhatIsTyped(t *testing.T) {
	p := newSitting(t)
	long := strings.Repeat("9", 3000)
	code, out := p.types("", "nort", "\x1b[2J", "NORTH ", "", "sideways", "e", "NaN", "", "-5", "inf", "1e999", long, "0x10", "7,0 cm", "", "w", "9 cm",
		"", "0.8041 km", "0.804 m", "804,0 mm", "200", "", "1,120", "120", "maybe", "yes", "", strings.Repeat("x", 129), "A.\tPerson", "A. Person")
	require.Equal(t, exitDone, code, out)
	assert.Equal(t, "A. Person", p.g.reported[0].GetProved().GetPerson())
	assert.NotContains(t, out, "\x1b")
	assert.NotContains(t, out, "99999999999999999999999999999999")
	assert.Contains(t, out, `"1,120" may mean 1120 or 1.120`)
}

func TestLengthsAsTyped(t *testing.T) {
	for text, want := range map[string]float64{"12": 12, "12.5": 12.5, "12,5": 12.5, "12.5 mm": 12.5, "12,5mm": 12.5, "3 cm": 30, "1.2m": 1200, "0": 0, "0,125": 0.125, "1e2": 100, " 7 ": 7, "2 in": 50.8, "2 inches": 50.8, `1"`: 25.4} {
		mm, why := millimetres(text)
		assert.Empty(t, why, text)
		assert.InDelta(t, want, mm, 1e-9, text)
	}
	for _, text := range []string{"", "mm", "nan", "inf", "-inf mm", "-3", "twelve", "1_000", "0x1p4", "1,250", "12.5.1", "1,2,3", "20001", "21 m", "12 feet", "12\x00", "1 2"} {
		_, why := millimetres(text)
		assert.NotEmpty(t, why, text)
		assert.Equal(t, oneLine(why), why, text)
	}
}

// Whatever makes the answers so far doubtful, all of it is asked anew.
func TestDoubtfulAnswersAreAskedAnew(t *testing.T) {
	halfway := func(t *testing.T) *sitting {
		p := newSitting(t)
		code, _ := p.types(right[:8]...)
		require.Equal(t, exitHold, code)
		return p
	}
	for name, spoil := range map[string]func(*sitting){
		"cut short":  func(p *sitting) { p.edit(func(b []byte) []byte { return b[:len(b)/2] }) },
		"no JSON":    func(p *sitting) { p.edit(func([]byte) []byte { return []byte("north") }) },
		"more in it": func(p *sitting) { p.edit(func(b []byte) []byte { return append(b, b...) }) },
		"other key": func(p *sitting) {
			p.edit(func(b []byte) []byte { return bytes.Replace(b, []byte(`"signs"`), []byte(`"sings"`), 1) })
		},
		"other rig": func(p *sitting) {
			p.edit(func(b []byte) []byte { return bytes.Replace(b, []byte(`"heron"`), []byte(`"egret"`), 1) })
		},
		"other file": func(p *sitting) { p.g.plan.RigSha256 = bytes.Repeat([]byte{8}, 32) },
		"too large": func(p *sitting) {
			p.edit(func(b []byte) []byte { return append(b, bytes.Repeat([]byte(" "), largestKept)...) })
		},
		"from future": func(p *sitting) {
			p.edit(func(b []byte) []byte {
				return bytes.Replace(b, []byte(fmt.Sprint(time.Now().UTC().Year())), []byte("9999"), 1)
			})
		},
		"no file": func(p *sitting) {
			require.NoError(p.t, os.Remove(p.file))
			require.NoError(p.t, os.Mkdir(p.file, 0o700))
		},
	} {
		t.Run(name, func(t *testing.T) {
			p := halfway(t)
			spoil(p)
			_, out := p.types()
			assert.Contains(t, strings.Join(strings.Fields(out), " "), "all is asked anew")
			assert.Contains(t, out, "1 of 5: stand the rig at home")
		})
	}
	t.Run("the rig was changed", func(t *testing.T) {
		_, out := halfway(t).types("no")
		assert.Contains(t, out, "1 of 5: stand the rig at home")
	})
	t.Run("another step", func(t *testing.T) { // as of another version of the service: that one alone
		p := halfway(t)
		p.g.plan.SignSteps[1].TurnDeg = num(-10)
		_, out := p.types("yes")
		assert.Contains(t, out, "1 of 5: home was as the file says")
		assert.Contains(t, out, "2 of 5: look where")
	})
}

// A proof is dated when it is reported, so what was answered more than a day before is asked anew.
func TestOldAnswersAreAskedAnew(t *testing.T) {
	start := time.Now()
	after := func(d time.Duration) func() time.Time { return func() time.Time { return start.Add(d) } }
	p := newSitting(t)
	code, _ := p.typesAt(after(0), right[:5]...) // home and axis 1
	require.Equal(t, exitHold, code)
	code, _ = p.typesAt(after(20*time.Hour), append([]string{"yes"}, right[5:12]...)...) // axis 2 and the first pose
	require.Equal(t, exitHold, code)
	code, out := p.typesAt(after(25*time.Hour), append(append([]string{"yes"}, right[:5]...), right[12:]...)...)
	assert.Equal(t, exitDone, code, out)
	assert.Contains(t, said(out), "Of the earlier answers 2 are older than a day: they are asked anew.")
	assert.Contains(t, said(out), "1 of directions, 1 poses measured")
	assert.Len(t, p.g.reported, 1)

	p = newSitting(t)
	_, _ = p.typesAt(after(0), right[:14]...)
	code, out = p.typesAt(after(365*24*time.Hour), right...)
	assert.Equal(t, exitDone, code, out)
	assert.Contains(t, said(out), "Of the earlier answers 5 are older than a day: they are asked anew.")
	assert.Contains(t, out, "1 of 5: stand the rig at home")
}

// An evening that is left open for longer than that reports nothing.
func TestLeftOpenForDays(t *testing.T) {
	p := newSitting(t)
	looks := 0
	code, out := p.typesAt(func() time.Time { looks++; return time.Now().Add(time.Duration(looks) * 10 * time.Hour) }, right...)
	assert.Equal(t, exitHold, code, out)
	assert.Contains(t, said(out), "so nothing was reported: the same command asks them anew")
	assert.Empty(t, p.g.reported)
}

func (p *sitting) edit(how func([]byte) []byte) {
	p.t.Helper()
	b, err := os.ReadFile(p.file)
	require.NoError(p.t, err)
	require.NoError(p.t, os.WriteFile(p.file, how(b), 0o600))
}

// Where the service knows where the axes are, the step waits for them, and what is judged goes by where they stand.
func TestGoesByWhereTheAxesStand(t *testing.T) {
	p := newSitting(t)
	p.g.pose = &pb.Pose{State: pb.PoseState_POSE_STATE_KNOWN, Source: pb.PoseSource_POSE_SOURCE_AXIS_ENCODER, Axes: pairAt(5, 0), PoseTime: timestamppb.Now()}
	_, out := p.types("", "")
	assert.Contains(t, out, "The service holds the axes at (5.0°, 0.0°), not at (0.0°, 0.0°).")
	assert.Equal(t, 2, p.g.looks, "asked again until they stand there")
	p.g.pose.Axes = pairAt(0.4, -0.3)
	_, out = p.types("", "north")
	assert.Contains(t, out, "As the file says.")
	for _, unsure := range []*pb.Pose{
		{State: pb.PoseState_POSE_STATE_CANDIDATES, Axes: pairAt(5, 0), PoseTime: timestamppb.Now()},
		{State: pb.PoseState_POSE_STATE_KNOWN, Source: pb.PoseSource_POSE_SOURCE_RECKONED, Axes: pairAt(5, 0), PoseTime: timestamppb.Now()}, // homed by a person a moment ago: sees no hand controller
		{State: pb.PoseState_POSE_STATE_KNOWN, Axes: pairAt(5, 0), PoseTime: timestamppb.New(time.Now().Add(-time.Hour))},
		{State: pb.PoseState_POSE_STATE_KNOWN, Axes: pairAt(5, 0)}, {State: pb.PoseState_POSE_STATE_KNOWN, PoseTime: timestamppb.Now()}, nil,
	} {
		p := newSitting(t)
		p.g.pose = unsure
		_, out := p.types("", "north")
		assert.Contains(t, out, "No sample says for certain where the axes are now")
	}
}

// A plan that proves nothing begins no evening.
func TestPlansThatProveNothing(t *testing.T) {
	for _, spoil := range []func(*pb.PlanGaugesResponse){
		func(p *pb.PlanGaugesResponse) { p.SignSteps = p.GetSignSteps()[:2] },
		func(p *pb.PlanGaugesResponse) { p.GaugePoses, p.ShortBecause = nil, "nothing is clear" },
	} {
		p := newSitting(t)
		p.g.plan = proto.CloneOf(p.g.plan)
		spoil(p.g.plan)
		code, out := p.types(right...)
		assert.Equal(t, exitCheck, code)
		assert.Contains(t, out, "heron cannot be proved")
		assert.Empty(t, p.g.reported)
	}
}

func TestProveUsedWrongly(t *testing.T) {
	for _, line := range []string{"prove", "prove heron egret", "prove heron --json"} {
		code, _, errs := typed(t, "", line)
		assert.Equal(t, exitUsage, code, line)
		assert.Contains(t, errs, "usage: keepclear prove RIG", line)
	}
}
