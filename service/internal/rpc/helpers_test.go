package rpc_test

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"net"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/gauge"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rpc"
	"keepclear.example/keepclear/service/internal/rules"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/store"
	"keepclear.example/keepclear/service/internal/timescale"
	"keepclear.example/keepclear/service/internal/verdict"
	"keepclear.example/keepclear/service/internal/wire"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// evening is a dark instant at the practice rig's invented place.
var evening = time.Date(2026, 11, 14, 18, 2, 11, 200_000_000, time.UTC)

// bench is a served decider over a real record and the practice rig, with a clock of its own and faults to switch on.
type bench struct {
	t    testing.TB
	path string
	disk *faults.Disk
	rig  *rig.Rig
	log  *lines

	rec    *record.Record
	d      *decide.Decider
	s      *rpc.Server
	conn   *grpc.ClientConn
	motion pb.MotionServiceClient
	locks  pb.LockServiceClient
	rigs   pb.RigServiceClient
	reads  pb.RecordServiceClient
	stop   func() error // ends the server and returns what Serve did

	ids     atomic.Int64
	judged  func()          // called by the stand-in for the rules before they judge; may panic
	coded   func()          // called by the stand-in for the encoder
	gauging func()          // called before gauges of a rig are planned
	looked  func()          // called by the stand-in for the sky
	tables  timescale.Table // of the sky; the zero one: the built-in
	after   func(time.Duration) <-chan time.Time

	mu  sync.Mutex
	now time.Time
}

// lines is a log that can be read while it is written.
type lines struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lines) Write(p []byte) (int, error) { l.mu.Lock(); defer l.mu.Unlock(); return l.b.Write(p) }
func (l *lines) String() string              { l.mu.Lock(); defer l.mu.Unlock(); return l.b.String() }

// judge stands for the rules: it lets the test break them.
type judge struct {
	real decide.Judge
	b    *bench
}

func (j judge) IDs() []string { return j.real.IDs() }

func (j judge) Judge(ctx context.Context, sub rules.Subject, f facts.Set, at time.Time) []verdict.Finding {
	if j.b.judged != nil {
		j.b.judged()
	}
	return j.real.Judge(ctx, sub, f, at)
}

// shared is what every bench needs and never changes.
var shared = sync.OnceValues(func() (decide.Member, error) {
	r, bad := rig.Parse("heron.yaml", practice.HeronFile(), nil)
	if r == nil {
		return decide.Member{}, fmt.Errorf("%v", bad)
	}
	defs, err := limits.Read(policies.Files())
	if err != nil {
		return decide.Member{}, err
	}
	own := limits.Layer{Name: "rig heron"}
	for _, l := range r.Limits {
		own.Entries = append(own.Entries, limits.Entry{Rule: l.Rule, Name: l.Name, Value: l.Value})
	}
	low, high := r.Travel.Low, r.Travel.High
	own.Entries = append(own.Entries,
		limits.Entry{Rule: "travel/axis1", Name: "low_deg", Value: low.A1.Deg()}, limits.Entry{Rule: "travel/axis1", Name: "high_deg", Value: high.A1.Deg()},
		limits.Entry{Rule: "travel/axis2", Name: "low_deg", Value: low.A2.Deg()}, limits.Entry{Rule: "travel/axis2", Name: "high_deg", Value: high.A2.Deg()})
	lim, err := limits.Merge(defs, own)
	if err != nil {
		return decide.Member{}, err
	}
	set, err := rules.Load(policies.Files(), lim)
	return decide.Member{Rig: r, Limits: lim, Rules: set, Shelf: reach.NewShelf(), Revs: map[string]string{"rig": fmt.Sprintf("%x", r.Digest)}}, err
})

// gauged is the practice rig, to be held against its file, and the plan of that.
var gauged = sync.OnceValues(func() (*gauge.Subject, gauge.Plan) {
	m, err := shared()
	if err != nil {
		panic(err)
	}
	s := gauge.New(m.Rig, 10, 10, "heron.yaml", practice.HeronFile(), nil)
	p, err := s.Plan(func() bool { return true })
	if err != nil {
		panic(err)
	}
	return s, p
})

func newBench(t testing.TB) *bench {
	t.Helper()
	b := &bench{t: t, path: filepath.Join(t.TempDir(), "record.keepclear"), disk: &faults.Disk{}, log: &lines{}, now: evening}
	b.open()
	t.Cleanup(b.close)
	return b
}

// open opens the record, folds it and serves; after a close it is a restart.
func (b *bench) open() {
	b.t.Helper()
	m, err := shared()
	require.NoError(b.t, err)
	practiceRig := *m.Rig
	practiceRig.Practice = false // as a real one would be
	m.Rig, b.rig, m.Rules = &practiceRig, &practiceRig, judge{m.Rules, b}
	var d *decide.Decider
	b.rec, err = record.Open(b.path, record.Options{
		State: func(chain string, on record.Head) []byte { return d.StateOf(chain, on) },
		Reopened: func(map[string]record.Head) error {
			if err := d.Refold(); err != nil {
				return err
			}
			d.Withdraw("", decide.Ourselves, "the record was down", state.Exchanged{})
			return nil
		},
		After: func(time.Duration) <-chan time.Time { return time.After(20 * time.Millisecond) },
		Store: store.Options{Wrap: b.disk.Wrap},
	})
	require.NoError(b.t, err)
	encode := rpc.Encode(func(name string) (*rig.Rig, bool) { return b.rig, name == "heron" })
	d, err = decide.New(decide.Parts{
		Record: b.rec, Members: []decide.Member{m}, Moment: b.moment, Now: b.clock, Cells: 20_000,
		Clock: func(time.Time) question.Clock { return question.Clock{KernelSynced: true, KernelBoundS: 0.01} },
		NewID: func() string { return fmt.Sprintf("id-%04d", b.ids.Add(1)) },
		Encode: func(a decide.Answer, name string) (state.Exchanged, error) {
			if b.coded != nil {
				b.coded()
			}
			return encode(a, name)
		},
	})
	require.NoError(b.t, err)
	require.NoError(b.t, d.WithdrawAfterRestart())
	b.d = d
	b.serve()
}

func (b *bench) serve() {
	checker, err := wire.NewChecker()
	require.NoError(b.t, err)
	b.s = rpc.New(rpc.Parts{
		Decider: b.d, Record: b.rec, Checker: checker, Log: slog.New(slog.NewTextHandler(b.log, nil)),
		Rules: func(string) (*pb.ListRulesResponse, error) { return &pb.ListRulesResponse{}, nil },
		CheckFile: func(context.Context, *pb.CheckRigRequest) (*pb.CheckRigResponse, error) {
			return &pb.CheckRigResponse{}, nil
		},
		WhatIf: whatIf,
		Gauges: func(name string, going func() bool) (*gauge.Subject, gauge.Plan, error) {
			if name != "heron" {
				return nil, gauge.Plan{}, decide.ErrNoRig
			}
			s, p := gauged()
			if b.gauging != nil {
				b.gauging()
			}
			if !going() {
				return nil, p, gauge.ErrStopped
			}
			return s, p, nil
		},
		Heartbeat: 50 * time.Millisecond, After: b.timer,
	})
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(b.t, err)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- b.s.Serve(ctx, l) }()
	b.stop = sync.OnceValue(func() error { cancel(); return <-done })
	b.conn = dial(b.t, l.Addr().String())
	b.motion, b.locks, b.rigs, b.reads = pb.NewMotionServiceClient(b.conn), pb.NewLockServiceClient(b.conn), pb.NewRigServiceClient(b.conn), pb.NewRecordServiceClient(b.conn)
}

func dial(t testing.TB, address string) *grpc.ClientConn {
	conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	require.NoError(t, err)
	return conn
}

// close ends everything: an ordinary stop.
func (b *bench) close() {
	b.conn.Close()
	if err := b.stop(); err != nil {
		b.t.Errorf("serving ended with %v", err)
	}
	b.rec.Close()
}

// restart is a stop and a start.
func (b *bench) restart() {
	b.t.Helper()
	b.close()
	b.open()
}

func (b *bench) clock() time.Time { b.mu.Lock(); defer b.mu.Unlock(); return b.now }

func (b *bench) wait(d time.Duration) { b.mu.Lock(); defer b.mu.Unlock(); b.now = b.now.Add(d) }

// timer is the server's; the test may put another in its place.
func (b *bench) timer(d time.Duration) <-chan time.Time {
	if b.after != nil {
		return b.after(d)
	}
	return time.After(d)
}

func (b *bench) moment(t time.Time) (*sky.Moment, error) {
	if b.looked != nil {
		b.looked()
	}
	if b.tables.GoodUntil().IsZero() {
		return moment(t)
	}
	i, err := timescale.New(t, b.tables)
	if err != nil {
		return nil, err
	}
	return sky.At(i, timescale.UT1{}), nil
}

func moment(t time.Time) (*sky.Moment, error) {
	i, err := timescale.New(t, timescale.BuiltIn())
	if err != nil {
		return nil, err
	}
	return sky.At(i, timescale.UT1{}), nil
}

func (b *bench) id(what string) string { return fmt.Sprintf("%s-%012d", what, b.ids.Add(1)) }

// sample is the rig at rest at a pose, all that it can say, degrees.
func (b *bench) sample(axis1, axis2 float64) *pb.Sample {
	m, err := moment(b.clock())
	require.NoError(b.t, err)
	lst := m.SiderealTime(b.rig.Site.Lon)
	ra, dec, side := b.rig.Unmap(rig.MountSky{Sidereal: lst, Lat: b.rig.Site.Lat}, rig.DegAxes(axis1, axis2))
	tube := map[rig.Side]pb.TubeSide{rig.East: pb.TubeSide_TUBE_SIDE_EAST, rig.West: pb.TubeSide_TUBE_SIDE_WEST}[side]
	raDeg, decDeg, lstDeg, lat, lon := ra.Positive().Deg(), dec.Deg(), lst.Positive().Deg(), b.rig.Site.Lat.Deg(), b.rig.Site.Lon.Deg()
	count, motion := uint32(0), pb.Motion_MOTION_AT_REST
	return &pb.Sample{
		Time: timestamppb.New(b.clock()), Motion: &motion, MountLstDeg: &lstDeg, MountSite: &pb.SitePoint{LatDeg: &lat, LonDeg: &lon}, RunMark: "boot-1", SyncCount: &count,
		Belief:   &pb.Belief{Sky: &pb.SkyPosition{RaDeg: &raDeg, DecDeg: &decDeg, Frame: pb.SkyFrame_SKY_FRAME_OF_DATE}, Side: &tube},
		Readings: []*pb.AxisReading{{Source: pb.PoseSource_POSE_SOURCE_MOTOR_COUNT, Axes: pair(axis1, axis2)}},
	}
}

func pair(axis1, axis2 float64) *pb.AxisPair { return &pb.AxisPair{Axis1Deg: &axis1, Axis2Deg: &axis2} }

// ready homes the rig by sensor and has a person prove its file.
func (b *bench) ready() {
	b.t.Helper()
	b.homedAt(b.sample(0, 0), 0, 0)
	b.proved()
}

// homedAt says that the marks were found, and that they stand at these angles.
func (b *bench) homedAt(s *pb.Sample, axis1, axis2 float64) {
	b.t.Helper()
	b.mustReport(&pb.ReportRequest{Sample: s, Event: &pb.ReportRequest_Homed{Homed: &pb.Homed{By: pb.HomedBy_HOMED_BY_SENSED, Axes: pair(axis1, axis2)}}})
}

// proved says that a person checked the rig file against the rig.
func (b *bench) proved() {
	b.t.Helper()
	residual := 2.0
	b.mustReport(&pb.ReportRequest{Event: &pb.ReportRequest_Proved{Proved: &pb.Proved{Person: "M. Tester", RigSha256: b.rig.Digest[:], SignsChecked: true, ResidualMm: &residual}}})
}

// report sends a report, filled in as a client would.
func (b *bench) report(r *pb.ReportRequest) (*pb.ReportResponse, error) {
	r.Rig, r.SentTime = "heron", timestamppb.New(b.clock())
	if r.RequestId == "" {
		r.RequestId = b.id("report")
	}
	if r.Asker == "" {
		r.Asker = "test"
	}
	return b.motion.Report(b.t.Context(), r)
}

func (b *bench) mustReport(r *pb.ReportRequest) *pb.ReportResponse {
	b.t.Helper()
	out, err := b.report(r)
	require.NoError(b.t, err)
	return out
}

// slew is a whole question: a slew by axes from home.
func (b *bench) slew(axis1, axis2 float64) *pb.AskRequest {
	return &pb.AskRequest{
		RequestId: b.id("question"), Rig: "heron", Asker: "test", SentTime: timestamppb.New(b.clock()), Sample: b.sample(0, 0),
		Action: &pb.Action{Kind: &pb.Action_Slew{Slew: &pb.Slew{Target: &pb.Slew_Axes{Axes: pair(axis1, axis2)}, TrackDuration: durationpb.New(0)}}},
	}
}

func (b *bench) mustAsk(r *pb.AskRequest) *pb.AskResponse {
	b.t.Helper()
	out, err := b.motion.Ask(b.t.Context(), r)
	require.NoError(b.t, err)
	return out
}

// allowed asks and wants an allow.
func (b *bench) allowed(r *pb.AskRequest) *pb.AskResponse {
	b.t.Helper()
	out := b.mustAsk(r)
	require.Equal(b.t, pb.Verdict_VERDICT_ALLOW, out.GetJudgement().GetVerdict(), "%s", objections(out))
	return out
}

// objections lists what did not pass.
func objections(r *pb.AskResponse) string {
	s := r.GetJudgement().GetSentence()
	for _, f := range r.GetJudgement().GetFindings() {
		if f.GetEffect() != pb.Effect_EFFECT_PASS && f.GetEffect() != pb.Effect_EFFECT_NOT_APPLICABLE {
			s += fmt.Sprintf("\n%s %s %s: %s", f.GetRuleId(), f.GetEffect(), f.GetCode(), f.GetSentence())
		}
	}
	return s
}

// reason is ErrorInfo's.
func reason(err error) string {
	for _, d := range status.Convert(err).Details() {
		if i, ok := d.(*errdetails.ErrorInfo); ok {
			return i.GetReason()
		}
	}
	return ""
}

// fields are BadRequest's.
func fields(err error) []string {
	var out []string
	for _, d := range status.Convert(err).Details() {
		if bad, ok := d.(*errdetails.BadRequest); ok {
			for _, v := range bad.GetFieldViolations() {
				out = append(out, v.GetField())
			}
		}
	}
	return out
}

// entry reads an entry by request id.
func (b *bench) entry(id string) *pb.Entry {
	b.t.Helper()
	r, err := b.reads.GetEntry(b.t.Context(), &pb.GetEntryRequest{Key: &pb.GetEntryRequest_RequestId{RequestId: id}})
	require.NoError(b.t, err)
	return r.GetEntry()
}

// newest lists the newest entries.
func (b *bench) newest(n int32) []*pb.Entry {
	b.t.Helper()
	r, err := b.reads.ListEntries(b.t.Context(), &pb.ListEntriesRequest{PageSize: n})
	require.NoError(b.t, err)
	return r.GetEntries()
}

// whatIf reads the practice rig's file with a change, under the limits of the file as it is.
func whatIf(_ string, all []rig.Change) (*rig.Rig, limits.Set, error) {
	content, _, err := rig.Changed("heron.yaml", practice.HeronFile(), nil, all...)
	if err != nil {
		return nil, limits.Set{}, err
	}
	m, err := shared()
	r, bad := rig.Parse("heron.yaml", content, nil)
	if r == nil {
		err = fmt.Errorf("%v", bad)
	}
	return r, m.Limits, err
}
