package main

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// kind is one thing that is asked or reported, and what must have happened before it.
type kind struct {
	name    string
	away    bool // the rig stands away from the pole
	prepare func(s *stand)
	act     func(s *stand)
}

// kinds are every kind of question and report of the API, and what else comes to the record.
func kinds() []kind {
	none := func(*stand) {}
	slew := func(s *stand) { _, _ = s.call(turn(s.t, s.rig, 5, 5)) }
	out := []kind{
		{"slew", false, none, slew},
		{"slew that is held", false, slew, slew},
		{"slew in the place of another", false, none, nil}, // below
		{"slew by sky, then track", true, seen, func(s *stand) { _, _ = s.call(s.ask(slewBack(s, 10*time.Minute))) }},
		{"sync", true, seen, func(s *stand) { _, _ = s.call(s.ask(solved(s))) }},
		{"track", true, seen, func(s *stand) { _, _ = s.call(s.ask(track())) }},
		{"jog", false, none, func(s *stand) { _, _ = s.call(s.ask(jog())) }},
		{"creep", false, none, func(s *stand) { _, _ = s.call(s.ask(creep())) }},
		{"home", false, none, func(s *stand) { _, _ = s.call(s.ask(&pb.Action{Kind: &pb.Action_Home{Home: &pb.Home{}}})) }},
		{"park", false, none, func(s *stand) {
			_, _ = s.call(s.ask(&pb.Action{Kind: &pb.Action_Park{Park: &pb.Park{Place: "low"}}}))
		}},
		{"flip", true, seen, func(s *stand) {
			_, _ = s.call(s.ask(&pb.Action{Kind: &pb.Action_Flip{Flip: &pb.Flip{TrackDuration: durationpb.New(0)}}}))
		}},
		{"repeat", false, slew, func(s *stand) { _, _ = s.call(s.all()[len(s.all())-1].request) }},
		{"fifty askers", false, none, crowd},
		{"begin", false, later, func(s *stand) { _, _ = s.call(begin(s)) }},
		{"end", false, slew, func(s *stand) { _, _ = s.call(end(s)) }},
		{"homed", false, none, func(s *stand) { _, _ = s.call(homedAt(s, 0, 0)) }},
		{"synced", true, leave, func(s *stand) { _, _ = s.call(synced(s)) }},
		{"act", false, slew, func(s *stand) { _, _ = s.call(clutch(s)) }},
		{"proved", false, none, func(s *stand) { _, _ = s.call(proved(s)) }},
		{"limit in the mount", false, none, func(s *stand) { _, _ = s.call(mountLimit(s)) }},
		{"sample", false, slew, func(s *stand) { _, _ = s.call(s.report()) }},
		{"lock", false, slew, func(s *stand) { _, _ = s.call(lock("heron")) }},
		{"lock on all", false, slew, func(s *stand) { _, _ = s.call(lock("")) }},
		{"release", false, func(s *stand) { s.must(lock("heron")) }, release},
		{"rehearse", false, none, func(s *stand) { _, _ = s.call(plan(3)) }},
		{"question that is none", false, none, func(s *stand) {
			q := turn(s.t, s.rig, 5, 5)
			q.Sample.MountLstDeg = proto.Float64(math.NaN())
			_, _ = s.call(q)
		}},
		{"report that is none", false, slew, func(s *stand) {
			r := s.report()
			r.Sample.MountLstDeg = proto.Float64(math.NaN())
			_, _ = s.call(r)
		}},
		{"withdraw", false, slew, func(s *stand) {
			_, _ = s.call(&pb.WithdrawRequest{Rig: "heron", Asker: "test"})
			_, _ = s.call(turn(s.t, s.rig, 5, 5))
		}},
		{"moving the log", false, full, func(s *stand) { _, _ = s.call(plan(240)); _, _ = s.call(turn(s.t, s.rig, 5, 5)) }},
	}
	out[2].prepare, out[2].act = slew, func(s *stand) {
		q := turn(s.t, s.rig, -5, 5)
		q.ReplacesPermitId = lastPermit(s)
		_, _ = s.call(q)
	}
	return out
}

// parkFolder is a folder with the practice rig as a real one that names a place of rest.
func parkFolder(t testing.TB) string {
	t.Helper()
	dir := rigFolder(t)
	file := filepath.Join(dir, "heron.yaml")
	content, err := os.ReadFile(file)
	require.NoError(t, err)
	with := strings.Replace(string(content), "\ntravel_from_home:", "\nrests:\n  - name: low\n    axes_deg: [0, 20]\ntravel_from_home:", 1)
	require.NoError(t, os.WriteFile(file, []byte(with), 0o600))
	return dir
}

// Where a rig stands that is away from the pole: under the pole at 19°, where no Sun is near.
const away1, away2 = 30, 40

// ask is a question about an action, from where the rig stands.
func (s *stand) ask(a *pb.Action) *pb.AskRequest {
	q := turn(s.t, s.rig, 0, 0)
	q.Action = a
	if s.isAway {
		q.Sample = sampleAt(s.t, s.rig, away1, away2)
	}
	return q
}

func (s *stand) report() *pb.ReportRequest {
	return &pb.ReportRequest{RequestId: newID(), Rig: "heron", Asker: "test", SentTime: timestamppb.Now(), Sample: s.ask(nil).GetSample()}
}

// homedAt is a homing of a moment ago, so that what is sampled from now on is later.
func homedAt(s *stand, axis1, axis2 float64) *pb.ReportRequest {
	r := s.report()
	r.Sample = sampleOf(s.t, s.rig, time.Now().Add(-4*time.Second), axis1, axis2)
	r.Event = &pb.ReportRequest_Homed{Homed: &pb.Homed{By: pb.HomedBy_HOMED_BY_SENSED, Axes: pairOf(axis1, axis2)}}
	return r
}

// seen reports a sample from before the picture that a sync will be about.
func seen(s *stand) {
	r := s.report()
	r.Sample = sampleOf(s.t, s.rig, time.Now().Add(-3*time.Second), away1, away2)
	s.must(r)
}

func track() *pb.Action {
	return &pb.Action{Kind: &pb.Action_Track{Track: &pb.Track{End: &pb.Track_TrackDuration{TrackDuration: durationpb.New(10 * time.Minute)}}}}
}

func jog() *pb.Action {
	return &pb.Action{Kind: &pb.Action_Jog{Jog: &pb.Jog{By: pairOf(1, 1), TrackDuration: durationpb.New(0)}}}
}

func creep() *pb.Action {
	by, rate := 1.0, 0.3
	return &pb.Action{Kind: &pb.Action_Creep{Creep: &pb.Creep{Axis: 2, ByDeg: &by, RateDegPerS: &rate}}}
}

// slewBack goes to the sky where the rig points already, and tracks on.
func slewBack(s *stand, follow time.Duration) *pb.Action {
	sky := sampleAt(s.t, s.rig, away1, away2).GetBelief().GetSky()
	return &pb.Action{Kind: &pb.Action_Slew{Slew: &pb.Slew{Target: &pb.Slew_Sky{Sky: sky}, TrackDuration: durationpb.New(follow)}}}
}

// solved is a sync to a good solve of a picture of where the rig points.
func solved(s *stand) *pb.Action {
	middle := time.Now().Add(-3 * time.Second / 2)
	sky := proto.Clone(sampleOf(s.t, s.rig, middle, away1, away2).GetBelief().GetSky()).(*pb.SkyPosition)
	*sky.DecDeg += 0.2
	f, no, stars := proto.Float64, false, uint32(61)
	return &pb.Action{Kind: &pb.Action_Sync{Sync: &pb.Sync{Solve: &pb.Solve{
		Sky: sky, ExposureStartTime: timestamppb.New(middle.Add(-time.Second / 2)), ExposureDuration: durationpb.New(time.Second), PixelArcsec: f(1.55), FieldWidthDeg: f(1.79),
		RotationDeg: f(92.4), Mirrored: &no, MatchedCount: &stars, ResidualArcsec: f(0.8), SearchRadiusDeg: f(180), MidExposure: sampleOf(s.t, s.rig, middle, away1, away2),
	}}}}
}

// leave gets a sync leave.
func leave(s *stand) {
	seen(s)
	s.must(s.ask(solved(s)))
}

func synced(s *stand) *pb.ReportRequest {
	r, id := s.report(), last[*pb.AskResponse](&s.history).GetSyncLeave().GetLeaveId()
	require.NotEmpty(s.t, id, "the sync was not allowed")
	count := uint32(1)
	r.Sample.SyncCount = &count
	r.Event = &pb.ReportRequest_Synced{Synced: &pb.Synced{LeaveId: id}}
	return r
}

// later gets a permit that waits for its begin.
func later(s *stand) {
	q := turn(s.t, s.rig, 5, 5)
	q.BeginLater = true
	s.must(q)
}

func lastPermit(s *stand) string {
	id := last[*pb.AskResponse](&s.history).GetPermit().GetPermitId()
	require.NotEmpty(s.t, id, "nothing was allowed")
	return id
}

func begin(s *stand) *pb.ReportRequest {
	r := s.report()
	r.Event = &pb.ReportRequest_Begin{Begin: &pb.Begin{PermitId: lastPermit(s)}}
	return r
}

func end(s *stand) *pb.ReportRequest {
	r := s.report()
	r.Sample = sampleAt(s.t, s.rig, 5, 5)
	r.Event = &pb.ReportRequest_End{End: &pb.End{PermitId: lastPermit(s), Kind: pb.EndKind_END_KIND_DONE}}
	return r
}

func clutch(s *stand) *pb.ReportRequest {
	r := s.report()
	r.Event = &pb.ReportRequest_Act{Act: &pb.Act{Kind: pb.ActKind_ACT_KIND_CLUTCH_OPENED, Person: "M. Tester"}}
	return r
}

func proved(s *stand) *pb.ReportRequest {
	r := s.report()
	got, err := s.clients.rigs.GetRig(s.t.Context(), &pb.GetRigRequest{Rig: "heron"})
	require.NoError(s.t, err)
	r.Event = &pb.ReportRequest_Proved{Proved: &pb.Proved{Person: "M. Tester", RigSha256: got.GetRig().GetRigSha256(), SignsChecked: true, ResidualMm: proto.Float64(3)}}
	return r
}

func mountLimit(s *stand) *pb.ReportRequest {
	r := s.report()
	r.Event = &pb.ReportRequest_MountLimitSeen{MountLimitSeen: &pb.MountLimitSeen{Axis: 1, LimitDeg: proto.Float64(95)}}
	return r
}

func lock(rigName string) *pb.LockRequest {
	r := &pb.LockRequest{RequestId: newID(), Scope: &pb.LockRequest_AllRigs{AllRigs: true}, Person: "M. Tester", Reason: "hands inside"}
	if rigName != "" {
		r.Scope = &pb.LockRequest_Rig{Rig: rigName}
	}
	return r
}

func release(s *stand) {
	_, _ = s.call(released(last[*pb.LockResponse](&s.history).GetLock().GetLockId()))
}

// plan is a rehearsal of so many steps.
func plan(n int) *pb.RehearseRequest {
	r := &pb.RehearseRequest{Rig: "heron", Asker: "test", WithFacts: true}
	for i := range n {
		to := pairOf(float64(i%7), float64(i%5))
		r.Steps = append(r.Steps, &pb.RehearsalStep{Action: &pb.Action{Kind: &pb.Action_Slew{Slew: &pb.Slew{Target: &pb.Slew_Axes{Axes: to}, TrackDuration: durationpb.New(0)}}}})
	}
	return r
}

// full writes so much that one more rehearsal has the log moved into the database.
func full(s *stand) {
	for range 4 { // of about 0.97 MB in the log each, by the store's own count
		s.must(plan(240))
	}
}

// crowd asks fifty at once: they share flushes.
func crowd(s *stand) {
	var all sync.WaitGroup
	for range 50 {
		q := turn(s.t, s.rig, 5, 5)
		all.Go(func() { _, _ = s.call(q) })
	}
	all.Wait()
}
