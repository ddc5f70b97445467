package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"regexp"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/rig"
)

// childMark turns the test binary into the service itself, to be killed.
const childMark = "KEEPCLEAR_TEST_CHILD"

func TestMain(m *testing.M) {
	if mark := os.Getenv(echoMark); mark != "" {
		fmt.Fprintln(os.Stderr, echo(mark))
		os.Exit(exitCheck)
	}
	if os.Getenv(childMark) != "" {
		ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
		go losesLocks()
		code := profiled(func() int { return run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr, time.Now) })
		stop()
		os.Exit(code)
	}
	flag.Parse()
	named := false
	flag.Visit(func(f *flag.Flag) { named = named || f.Name == "test.parallel" })
	if !named { // most of these wait for a mount that moves in real time, or for another process: they need no processor of their own
		if err := flag.Set("test.parallel", "8"); err != nil {
			panic(err)
		}
	}
	goleak.VerifyTestMain(m)
}

// losesLocks gives all locks of this process up whenever it is told to, as a file system does that forgets them.
func losesLocks() {
	told := make(chan os.Signal, 1)
	signal.Notify(told, syscall.SIGUSR1)
	for range told {
		for fd := range 256 {
			_ = syscall.Flock(fd, syscall.LOCK_UN) // those that are no files have none
		}
	}
}

// text is output that can be read while it is written.
type text struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *text) Write(p []byte) (int, error) { s.mu.Lock(); defer s.mu.Unlock(); return s.b.Write(p) }
func (s *text) String() string              { s.mu.Lock(); defer s.mu.Unlock(); return s.b.String() }

// ran runs a command to its end.
func ran(t *testing.T, args ...string) (code int, out string) {
	t.Helper()
	var b text
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute) // the detector of races makes a night of practice long
	defer cancel()
	code = run(ctx, args, nil, &b, &b, time.Now)
	return code, b.String()
}

// rigFolder is a folder with the practice rig's file, as if it were a real one.
func rigFolder(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	content := regexp.MustCompile(`(?m)^practice: yes\n`).ReplaceAll(practice.HeronFile(), nil)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "heron.yaml"), content, 0o600))
	return dir
}

var answersOn = regexp.MustCompile(`answers on (\S+),`)

// addressIn waits for the line that says where a service answers.
func addressIn(t testing.TB, out *text) string {
	t.Helper()
	var addr string
	require.Eventually(t, func() bool {
		if m := answersOn.FindStringSubmatch(out.String()); m != nil {
			addr = m[1]
		}
		return addr != ""
	}, 30*time.Second, 2*time.Millisecond, "no service: %s", out)
	return addr
}

// served runs serve in this process until the test ends, or stop is called, which returns exit code and output. Its record is the test's own
// unless args say otherwise: never that of whoever runs the tests.
func served(t *testing.T, args ...string) (conn *grpc.ClientConn, stop func() (int, string)) {
	t.Helper()
	out := &text{}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan int, 1)
	record := filepath.Join(t.TempDir(), "own.keepclear")
	go func() {
		done <- run(ctx, append([]string{"serve", "--listen", "127.0.0.1:0", "--clock-within", "1", "--record", record}, args...), nil, out, out, time.Now)
	}()
	conn = connect(t, addressIn(t, out))
	stop = sync.OnceValues(func() (int, string) { conn.Close(); cancel(); return <-done, out.String() })
	t.Cleanup(func() { stop() })
	return conn, stop
}

func connect(t testing.TB, address string) *grpc.ClientConn {
	t.Helper()
	conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	require.NoError(t, err)
	return conn
}

// child runs serve in a process of its own.
func child(t testing.TB, args ...string) (*exec.Cmd, *grpc.ClientConn) {
	t.Helper()
	out := &text{}
	c := exec.Command(os.Args[0], append([]string{"serve", "--listen", "127.0.0.1:0", "--clock-within", "1"}, args...)...)
	c.Env = append(os.Environ(), childMark+"=1")
	c.Stdout, c.Stderr = out, out
	require.NoError(t, c.Start())
	t.Cleanup(func() {
		_ = c.Process.Kill()
		_ = c.Wait()
	})
	return c, connect(t, addressIn(t, out))
}

// heron is the practice rig as a test needs it to make samples.
func heron(t testing.TB) *rig.Rig {
	r, bad := rig.Parse("heron.yaml", practice.HeronFile(), nil)
	require.NotNil(t, r, "%v", bad)
	return r
}

// sampleAt is the rig at rest at angles, degrees, now.
func sampleAt(t testing.TB, r *rig.Rig, axis1, axis2 float64) *pb.Sample {
	return sampleOf(t, r, time.Now(), axis1, axis2)
}

// sampleOf is the same at another instant.
func sampleOf(t testing.TB, r *rig.Rig, now time.Time, axis1, axis2 float64) *pb.Sample {
	m, err := newMoment()(now)
	require.NoError(t, err)
	lst := m.SiderealTime(r.Site.Lon)
	ra, dec, side := r.Unmap(rig.MountSky{Sidereal: lst, Lat: r.Site.Lat}, rig.DegAxes(axis1, axis2))
	tube := map[rig.Side]pb.TubeSide{rig.East: pb.TubeSide_TUBE_SIDE_EAST, rig.West: pb.TubeSide_TUBE_SIDE_WEST}[side]
	raDeg, decDeg, lstDeg, lat, lon := ra.Positive().Deg(), dec.Deg(), lst.Positive().Deg(), r.Site.Lat.Deg(), r.Site.Lon.Deg()
	motion, count := pb.Motion_MOTION_AT_REST, uint32(0)
	return &pb.Sample{
		Time: timestamppb.New(now), Motion: &motion, MountLstDeg: &lstDeg, MountSite: &pb.SitePoint{LatDeg: &lat, LonDeg: &lon}, RunMark: "boot-1", SyncCount: &count,
		Belief:   &pb.Belief{Sky: &pb.SkyPosition{RaDeg: &raDeg, DecDeg: &decDeg, Frame: pb.SkyFrame_SKY_FRAME_OF_DATE}, Side: &tube},
		Readings: []*pb.AxisReading{{Source: pb.PoseSource_POSE_SOURCE_MOTOR_COUNT, Axes: pairOf(axis1, axis2)}},
	}
}

func pairOf(a, b float64) *pb.AxisPair { return &pb.AxisPair{Axis1Deg: &a, Axis2Deg: &b} }

// home reports a sensed homing.
func home(t testing.TB, c pb.MotionServiceClient, r *rig.Rig) {
	t.Helper()
	_, err := c.Report(t.Context(), &pb.ReportRequest{
		RequestId: newID(), Rig: "heron", Asker: "test", SentTime: timestamppb.Now(), Sample: sampleAt(t, r, 0, 0),
		Event: &pb.ReportRequest_Homed{Homed: &pb.Homed{By: pb.HomedBy_HOMED_BY_SENSED}},
	})
	require.NoError(t, err)
}

// turn asks to turn to angles near home, where neither Sun nor tripod is near at any hour.
func turn(t testing.TB, r *rig.Rig, axis1, axis2 float64) *pb.AskRequest {
	return &pb.AskRequest{
		RequestId: newID(), Rig: "heron", Asker: "test", AttendedBy: "M. Tester", SentTime: timestamppb.Now(), Sample: sampleAt(t, r, 0, 0),
		Action: &pb.Action{Kind: &pb.Action_Slew{Slew: &pb.Slew{Target: &pb.Slew_Axes{Axes: pairOf(axis1, axis2)}, TrackDuration: durationpb.New(0)}}},
	}
}

// long tells whether the heavier counts are wanted.
func long() bool { return os.Getenv("KEEPCLEAR_LONG") != "" }

func said(j *pb.Judgement) string {
	s := fmt.Sprint(j.GetVerdict(), " ", j.GetSentence())
	for _, f := range j.GetFindings() {
		if f.GetEffect() != pb.Effect_EFFECT_PASS && f.GetEffect() != pb.Effect_EFFECT_NOT_APPLICABLE {
			s += "\n" + f.GetRuleId() + ": " + f.GetSentence()
		}
	}
	return s
}
