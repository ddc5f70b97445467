package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
)

// Evenings are scripts in testdata/evenings: a person proves a rig file with the command, line by line. The rig itself is the practice rig; its
// file may have it otherwise, and so may the wires. The person sees and measures the rig itself, by geometry that stands here and not in the service.
// What the command says stands beside each script.

// evening is one being played.
type evening struct {
	t       *testing.T
	binary  string
	dir     string // of the answers
	record  string
	stop    func() // ends the service
	address string
	conn    *grpc.ClientConn
	said    strings.Builder // by the command, all runs

	truly  *rig.Rig
	mount  *practice.Mount
	clock  time.Time // the mount's
	wired  string
	within float64
	lot    *rand.Rand
	person string
	before rig.Axes // where the axes truly were when the step began
	lines  []string // that the command said since the last answer
	count  int      // answers in this run
}

func TestEvenings(t *testing.T) {
	if os.Getenv("KEEPCLEAR_CI") == "" && !*update {
		t.Skip("set KEEPCLEAR_CI=1 to build the other command and play the evenings with it")
	}
	binary := filepath.Join(t.TempDir(), "keepclear")
	out, err := exec.Command("go", "build", "-o", binary, "../clients/keepclear").CombinedOutput()
	require.NoError(t, err, "%s", out)
	scripts, err := filepath.Glob("../testdata/evenings/*.txt")
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(scripts), 5)
	for _, script := range scripts {
		t.Run(strings.TrimSuffix(filepath.Base(script), ".txt"), func(t *testing.T) { playEvening(t, binary, script) })
	}
}

// playEvening plays a script: prose, an empty line, then a line for each thing that happens.
func playEvening(t *testing.T, binary, script string) {
	content, err := os.ReadFile(script)
	require.NoError(t, err)
	_, rest, found := strings.Cut(string(content), "\n\n")
	require.True(t, found, "%s has no prose", script)
	e := &evening{t: t, binary: binary, dir: t.TempDir(), record: filepath.Join(t.TempDir(), "r.keepclear"), truly: heron(t), clock: goldenTime}
	e.mount = practice.NewMount(e.truly, newMoment(), e.clock)
	file := practice.HeronFile()
	for _, line := range strings.Split(strings.TrimSpace(rest), "\n") {
		word, rest, _ := strings.Cut(line, " ")
		if word != "file" && word != "wired" && word != "tape" && word != "person" && e.conn == nil {
			e.serve(file)
		}
		switch word {
		case "file":
			c, err := rig.ReadChange(rest)
			require.NoError(t, err, line)
			file, err = c.In("heron.yaml", file)
			require.NoError(t, err, line)
		case "wired":
			e.wired = rest
		case "tape":
			seed := uint64(0)
			_, err := fmt.Sscanf(rest, "%f seed %d", &e.within, &seed)
			require.NoError(t, err, line)
			e.lot = rand.New(rand.NewPCG(seed, 0))
		case "person":
			e.person = strings.Trim(rest, `"`)
		case "prove":
			e.prove(rest)
		case "shifted": // the rig itself, while its file stays
			fmt.Fprintf(&e.said, "(on the rig, not in its file: %s)\n", rest)
			e.truly = e.shifted(rest)
		case "rewired":
			fmt.Fprintf(&e.said, "(the wires: %s)\n", rest)
			e.wired = rest
		case "refile":
			e.stop()
			c, err := rig.ReadChange(rest)
			require.NoError(t, err, line)
			file, err = c.In("heron.yaml", file)
			require.NoError(t, err, line)
			fmt.Fprintf(&e.said, "(the file is changed: %s)\n", rest)
			e.serve(file)
		case "told":
			fmt.Fprintf(&e.said, "$ keepclear tell heron act %s\n", rest)
			out, err := e.command("tell", "heron", "act", rest, "--person", e.person).CombinedOutput()
			require.NoError(t, err, "%s", out)
		case "unattended":
			e.unattended(rest)
		default:
			require.Fail(t, "not understood", "%s: %s", script, line)
		}
	}
	said := []byte(e.said.String())
	for _, v := range hurried {
		said = v.what.ReplaceAll(said, []byte(v.name))
	}
	golden(t, strings.TrimSuffix(script, ".txt")+".said", said, nil)
}

// shifted is the practice rig with a change.
func (e *evening) shifted(change string) *rig.Rig {
	c, err := rig.ReadChange(change)
	require.NoError(e.t, err, change)
	file, err := c.In("heron.yaml", practice.HeronFile())
	require.NoError(e.t, err, change)
	r, bad := rig.Parse("heron.yaml", file, nil)
	require.NotNil(e.t, r, "%v", bad)
	return r
}

// hurried is what goes by how fast the evening is played: faster than the axes can turn, so that the service may doubt where they are.
var hurried = []struct {
	what *regexp.Regexp
	name string
}{
	{regexp.MustCompile(`\(No sample says[^)]*\)\n`), ""},
	{regexp.MustCompile(`Entry heron/\d+; the rig's epoch is \d+`), "Entry heron/<number>; the rig's epoch is <number>"},
}

// serve starts the service with the file, and homes the rig.
func (e *evening) serve(file []byte) {
	dir := e.t.TempDir()
	content := regexp.MustCompile(`(?m)^practice: yes\n`).ReplaceAll(file, nil)
	require.NoError(e.t, os.WriteFile(filepath.Join(dir, "heron.yaml"), content, 0o600))
	c, conn := child(e.t, "--rigs", dir, "--record", e.record)
	e.stop = sync.OnceFunc(func() { conn.Close(); _ = c.Process.Kill(); _ = c.Wait() })
	e.t.Cleanup(e.stop)
	e.conn, e.address = conn, conn.Target()
	e.tell(&pb.ReportRequest{Event: &pb.ReportRequest_Homed{Homed: &pb.Homed{By: pb.HomedBy_HOMED_BY_SENSED}}})
}

// tell reports with a sample of where the axes read to be.
func (e *evening) tell(r *pb.ReportRequest) {
	at := e.reads(e.mount.Axes(e.clock))
	r.RequestId, r.Rig, r.Asker, r.SentTime = newID(), "heron", "evening", timestamppb.Now()
	r.Sample = sampleOf(e.t, e.truly, time.Now(), at.A1.Deg(), at.A2.Deg())
	_, err := pb.NewMotionServiceClient(e.conn).Report(e.t.Context(), r)
	require.NoError(e.t, err)
}

// reads is what the wires make of where the axes are; of what they read, the same again is where they are.
func (e *evening) reads(a rig.Axes) rig.Axes {
	switch e.wired {
	case "swapped":
		return rig.Axes{A1: a.A2, A2: a.A1}
	case "axis 1 backward":
		return rig.Axes{A1: -a.A1, A2: a.A2}
	}
	return a
}

func (e *evening) command(args ...string) *exec.Cmd {
	c := exec.Command(e.binary, append(args, "--at-address", e.address)...)
	c.Dir = e.dir
	return c
}

// prove runs the command and answers it: "-> CODE", or "after N stop -> CODE" where the terminal is closed after so many answers.
func (e *evening) prove(rest string) {
	stopAfter := math.MaxInt
	before, want, _ := strings.Cut(rest, "-> ")
	if before != "" {
		_, err := fmt.Sscanf(before, "after %d stop", &stopAfter)
		require.NoError(e.t, err, rest)
	}
	fmt.Fprintln(&e.said, "$ keepclear prove heron")
	c := e.command("prove", "heron", "--answers", "answers.json")
	in, err := c.StdinPipe()
	require.NoError(e.t, err)
	out, err := c.StdoutPipe()
	require.NoError(e.t, err)
	c.Stderr = os.Stderr
	require.NoError(e.t, c.Start())
	e.count, e.lines = 0, nil
	for said := bufio.NewScanner(out); said.Scan(); {
		fmt.Fprintln(&e.said, said.Text())
		e.lines = append(e.lines, said.Text())
		answer, asked := e.answer()
		switch {
		case !asked:
			continue
		case e.count >= stopAfter:
			require.NoError(e.t, in.Close())
		default:
			fmt.Fprintf(&e.said, "> %s\n", answer)
			_, err := io.WriteString(in, answer+"\n")
			require.NoError(e.t, err)
		}
		e.count, e.lines = e.count+1, nil
	}
	code := 0
	if err := c.Wait(); err != nil {
		var exit *exec.ExitError
		require.True(e.t, errors.As(err, &exit), "%v", err)
		code = exit.ExitCode()
	}
	assert.Equal(e.t, want, strconv.Itoa(code), "exit code; it said:\n%s", e.said.String())
	e.goTo(rig.Axes{}) // home again
}

// What the command says, in the words that a person goes by.
var (
	turnsTo  = regexp.MustCompile(`(?:turn|then turn) axis (\d) to (-?[\d.]+)°`)
	turnsBy  = regexp.MustCompile(`until the axes read \((-?[\d.]+)°, (-?[\d.]+)°\)`)
	standsAt = regexp.MustCompile(`on which side of where the axes cross is the (?:far|front|rear) end of the (.+)\?`)
	wentTo   = regexp.MustCompile(`Where did the (?:far|front|rear) end of the (.+) go, most of all\?`)
	lastEnd  = regexp.MustCompile(`.*the (?:far|front|rear) end of the (.+)$`)
	between  = regexp.MustCompile(`How many mm between the ([^,]+) and the ([^,]+), where they are nearest\?`)
)

// answer does what was said since the last answer and says what the person would; asked is false where nothing is asked yet.
func (e *evening) answer() (answer string, asked bool) {
	all := strings.Join(strings.Fields(strings.Join(e.lines, " ")), " ")
	last := e.lines[len(e.lines)-1]
	switch {
	case strings.HasPrefix(last, "Press Enter when"):
		e.turn(all)
		return "", true
	case strings.HasSuffix(all, "to go on, just press Enter."):
		return "", true
	case strings.HasSuffix(all, "west, east, north, south)") || strings.HasSuffix(all, "up, down, still)"):
		if m := standsAt.FindStringSubmatch(all); m != nil {
			d := e.farEnd(m[1], e.mount.Axes(e.clock)).Sub(e.truly.Chain.Point1)
			return mostly(frame.Vec[frame.Rig]{X: d.X, Y: d.Y}), true
		}
		m := wentTo.FindStringSubmatch(all)
		require.NotNil(e.t, m, all)
		return mostly(e.went(m[1])), true
	case strings.HasSuffix(all, "within a third will do."):
		return fmt.Sprintf("%.0f", e.went(e.watched()).Norm()), true
	case strings.HasSuffix(all, "where they are nearest?"):
		found := between.FindAllStringSubmatch(all, -1)
		m := found[len(found)-1]
		return fmt.Sprintf("%.0f mm", e.gap(m[1], m[2])+e.within*(2*e.lot.Float64()-1)), true
	case strings.Contains(all, "Is the rig as it was then") && strings.HasSuffix(all, "(yes, no)?"), strings.HasSuffix(all, "is it as the file says (yes, no)?"), strings.HasSuffix(all, "(yes, no)."):
		return "yes", true
	case strings.HasPrefix(last, "Who looked"):
		return e.person, true
	}
	return "", false
}

// turn goes where the step says, by what the axes read, and reports where they then are.
func (e *evening) turn(all string) {
	e.goTo(rig.Axes{})
	e.before = e.mount.Axes(e.clock)
	reading := e.reads(e.before)
	if m := turnsBy.FindStringSubmatch(all); m != nil {
		reading = rig.DegAxes(number(m[1]), number(m[2]))
	}
	for _, m := range turnsTo.FindAllStringSubmatch(all, -1) {
		to := rig.DegAxes(number(m[2]), reading.A2.Deg())
		if m[1] == "2" {
			to = rig.DegAxes(reading.A1.Deg(), number(m[2]))
		}
		e.goTo(e.reads(to))
		reading = to
	}
	e.goTo(e.reads(reading))
	e.tell(&pb.ReportRequest{})
}

func number(s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		panic(err) // a bug of the expressions
	}
	return v
}

// goTo has the mount turn and waits for it.
func (e *evening) goTo(to rig.Axes) {
	e.mount.SlewAxes(e.clock, to)
	e.clock = e.mount.Arrival(e.clock).Add(time.Second)
}

// watched is the part that the command last asked about.
func (e *evening) watched() string {
	all := strings.Join(strings.Fields(e.said.String()), " ")
	found := wentTo.FindAllStringSubmatch(all, -1)
	at := found[len(found)-1][1]
	if m := lastEnd.FindStringSubmatch(at); m != nil { // of a question that was asked again
		return m[1]
	}
	return at
}

// went is by how much the far end of a part moved since the step began.
func (e *evening) went(part string) frame.Vec[frame.Rig] {
	return e.farEnd(part, e.mount.Axes(e.clock)).Sub(e.farEnd(part, e.before))
}

// farEnd is where the end of a part that lies farther from the axes truly is.
func (e *evening) farEnd(part string, at rig.Axes) solid.Point {
	shapes := e.shapesOf(part, rig.Axes{})
	require.NotEmpty(e.t, shapes, "the rig has no %s", part)
	end, b := shapes[0].Axis()
	if b.Sub(e.truly.Chain.Point2).Norm() > end.Sub(e.truly.Chain.Point2).Norm() {
		end = b
	}
	if e.linkOf(part) == rig.OnAxis1 {
		return e.truly.Chain.Link1(at).Point(end)
	}
	return e.truly.Chain.Link2(at).Point(end)
}

func (e *evening) linkOf(part string) rig.Link {
	for _, p := range e.truly.Parts {
		if p.Name == part {
			return p.Link
		}
	}
	return rig.Ground
}

func (e *evening) shapesOf(part string, at rig.Axes) []solid.Shape {
	scene := e.truly.Scene(nil, 0, 0)
	var out []solid.Shape
	for i, s := range scene.Place(at) {
		if scene.Names[scene.Bodies[i].Part] == part {
			out = append(out, s)
		}
	}
	return out
}

// gap is what a perfect tape would read between two parts as the axes truly stand.
func (e *evening) gap(a, b string) float64 {
	at, least := e.mount.Axes(e.clock), math.Inf(1)
	for _, x := range e.shapesOf(a, at) {
		for _, y := range e.shapesOf(b, at) {
			least = min(least, solid.Distance(x, y).Upper)
		}
	}
	require.False(e.t, math.IsInf(least, 0), "no gap of %s and %s", a, b)
	return least
}

// mostly is the word for where something went.
func mostly(d frame.Vec[frame.Rig]) string {
	word, most := "still", 3.0
	for _, c := range []struct {
		v           float64
		plus, minus string
	}{{d.X, "east", "west"}, {d.Y, "north", "south"}, {d.Z, "up", "down"}} {
		if math.Abs(c.v) > most {
			most, word = math.Abs(c.v), c.plus
			if c.v < 0 {
				word = c.minus
			}
		}
	}
	return word
}

// unattended asks for a small jog with nobody present, and looks at what rig/proven finds: "-> proven", or `-> held "WORDS"`.
func (e *evening) unattended(rest string) {
	at := e.reads(e.mount.Axes(e.clock))
	out, err := pb.NewMotionServiceClient(e.conn).Ask(e.t.Context(), &pb.AskRequest{
		RequestId: newID(), Rig: "heron", Asker: "evening", SentTime: timestamppb.Now(), Sample: sampleOf(e.t, e.truly, time.Now(), at.A1.Deg(), at.A2.Deg()),
		Action: &pb.Action{Kind: &pb.Action_Jog{Jog: &pb.Jog{By: pairOf(1, 0), TrackDuration: durationpb.New(0)}}},
	})
	require.NoError(e.t, err)
	defer func() {
		_, err := pb.NewMotionServiceClient(e.conn).Withdraw(e.t.Context(), &pb.WithdrawRequest{Rig: "heron", Asker: "evening"})
		require.NoError(e.t, err)
	}()
	for _, f := range out.GetJudgement().GetFindings() {
		if f.GetRuleId() != "rig/proven" {
			continue
		}
		_, words, held := strings.Cut(rest, `-> held "`)
		if held {
			assert.Equal(e.t, pb.Effect_EFFECT_HOLD, f.GetEffect(), rest)
			assert.Contains(e.t, f.GetSentence(), strings.TrimSuffix(words, `"`))
		} else {
			assert.Equal(e.t, pb.Effect_EFFECT_PASS, f.GetEffect(), "%s: %s", rest, f.GetSentence())
		}
		return
	}
	require.Fail(e.t, "rig/proven was not asked")
}
