package main

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	keepclear "keepclear.example/keepclear/clients/go"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/wire"
)

// mixSeed chooses targets and the order of questions, of the comparison and of the load.
const mixSeed = 20261128

// Kinds of question in the mix, the share of each in a hundred, and what must come of it. Near contact, where the proof and the search for
// a way around take most, is asked for by itself.
const (
	slewAxes   = "slew by axes"
	slewSky    = "slew by sky"
	slewTrack  = "slew by sky, then track"
	trackHere  = "track"
	syncHere   = "sync"
	tooFar     = "slew beyond its travel"
	intoTripod = "slew into the tripod"
	nearTripod = "slew close by the tripod"
)

var mix = []struct {
	kind  string
	share int
}{{slewAxes, 35}, {slewSky, 15}, {slewTrack, 15}, {trackHere, 10}, {syncHere, 15}, {tooFar, 10}}

// wanted is the verdict that a kind of question must get.
func wanted(kind string) pb.Verdict {
	if kind == intoTripod || kind == tooFar {
		return pb.Verdict_VERDICT_DENY
	}
	return pb.Verdict_VERDICT_ALLOW
}

// nightRigs writes n rigs like the practice rig into a folder, at a longitude where it is now the middle of the night, their reference
// away from the pole, where a sync is an ordinary one, and returns them by id.
func nightRigs(t testing.TB, n int) (dir string, rigs []*rig.Rig) {
	t.Helper()
	dir = t.TempDir()
	now := time.Now().UTC()
	lon := -15 * (float64(now.Hour()) + float64(now.Minute())/60) // mean solar time is then 0 h, to a quarter of an hour
	if lon < -180 {
		lon += 360
	}
	for i := range n {
		id := fmt.Sprintf("rig-%02d", i)
		text := practice.HeronFile()
		for _, change := range [][2]string{
			{"practice: yes\n", ""}, {"rig: heron\n", "rig: " + id + "\n"}, {"end: heron\n", "end: " + id + "\n"},
			{"longitude_deg: 11.10", fmt.Sprintf("longitude_deg: %.2f", lon)}, {"home_deg: [0, 0]", "home_deg: [-40, 50]"},
			{"axis1_deg: [-97.5, 97.5]", "axis1_deg: [-57.5, 137.5]"}, {"axis2_deg: [-180, 180]", "axis2_deg: [-230, 130]"},
		} {
			require.Equal(t, 1, bytes.Count(text, []byte(change[0])), change[0])
			text = bytes.Replace(text, []byte(change[0]), []byte(change[1]), 1)
		}
		require.NoError(t, os.WriteFile(filepath.Join(dir, id+".yaml"), text, 0o600))
		r, bad := rig.Parse(id+".yaml", text, nil)
		require.NotNil(t, r, "%v", bad)
		rigs = append(rigs, r)
	}
	return dir, rigs
}

// mixer asks the questions of one rig, one after the other, each with a fresh sample and an id of its own. The mount stays where it is: it
// is asked for many motions and makes none, so that every answer is known beforehand.
type mixer struct {
	rig    *rig.Rig
	mount  *practice.Mount
	camera *practice.Camera
	lot    *rand.Rand
	conn   *grpc.ClientConn
	motion pb.MotionServiceClient
	permit string // the open permit, which the next question replaces
	facts  bool
}

func newMixer(r *rig.Rig, conn *grpc.ClientConn, number uint64) *mixer {
	m := practice.NewMount(r, newMoment(), time.Now())
	return &mixer{rig: r, mount: m, camera: practice.NewCamera(m, number), lot: rand.New(rand.NewPCG(mixSeed, number)), conn: conn, motion: pb.NewMotionServiceClient(conn)}
}

// home reports a sensed homing of some seconds ago, which makes the pose known, during the first picture too.
func (m *mixer) home(ctx context.Context) error {
	s, err := m.mount.Sample(time.Now().Add(-5 * time.Second))
	if err != nil {
		return err
	}
	_, err = m.motion.Report(ctx, &pb.ReportRequest{
		RequestId: newID(), Rig: m.rig.ID, Asker: "mix", SentTime: timestamppb.Now(), Sample: wire.SampleOf(&s),
		Event: &pb.ReportRequest_Homed{Homed: &pb.Homed{By: pb.HomedBy_HOMED_BY_SENSED}},
	})
	return err
}

// draw chooses the kind of the next question.
func (m *mixer) draw() string {
	n := m.lot.IntN(100)
	for _, k := range mix {
		if n -= k.share; n < 0 {
			return k.kind
		}
	}
	panic("the shares do not make a hundred")
}

// question makes one question of a kind, as of now.
func (m *mixer) question(kind string) (*pb.AskRequest, error) {
	now := time.Now()
	s, err := m.mount.Sample(now)
	if err != nil {
		return nil, err
	}
	a, err := m.action(kind, now)
	if err != nil {
		return nil, err
	}
	return &pb.AskRequest{
		RequestId: newID(), Rig: m.rig.ID, Asker: "mix", AttendedBy: "M. Tester", SentTime: timestamppb.New(now), Sample: wire.SampleOf(&s),
		Action: a, ReplacesPermitId: m.permit, WithFacts: m.facts,
	}, nil
}

func (m *mixer) action(kind string, now time.Time) (*pb.Action, error) {
	somewhere := rig.DegAxes(-60+40*m.lot.Float64(), 40+35*m.lot.Float64()) // 100 mm clear of everything, and on the way there too
	switch kind {
	case slewAxes:
		return turnTo(somewhere), nil
	case intoTripod:
		return turnTo(rig.DegAxes(84+4*m.lot.Float64(), -30+4*m.lot.Float64())), nil
	case tooFar:
		return turnTo(rig.DegAxes(-100+2*m.lot.Float64(), 70+10*m.lot.Float64())), nil
	case nearTripod:
		return turnTo(rig.DegAxes(66.4+0.1*m.lot.Float64(), -28.55)), nil
	case slewSky:
		return m.slewTo(somewhere, now, 0)
	case slewTrack:
		return m.slewTo(somewhere, now, 20*time.Minute)
	case trackHere:
		return &pb.Action{Kind: &pb.Action_Track{Track: &pb.Track{End: &pb.Track_TrackDuration{TrackDuration: durationpb.New(20 * time.Minute)}}}}, nil
	case syncHere:
		return m.syncTo(now)
	}
	return nil, fmt.Errorf("no kind %q", kind)
}

func turnTo(to rig.Axes) *pb.Action {
	return &pb.Action{Kind: &pb.Action_Slew{Slew: &pb.Slew{
		Target: &pb.Slew_Axes{Axes: keepclear.Axes(to.A1.Deg(), to.A2.Deg())}, TrackDuration: durationpb.New(0)}}}
}

// slewTo is a slew to where on the sky the axes would point now.
func (m *mixer) slewTo(to rig.Axes, now time.Time, track time.Duration) (*pb.Action, error) {
	s, err := newMoment()(now)
	if err != nil {
		return nil, err
	}
	ra, dec, _ := m.rig.Unmap(rig.MountSky{Sidereal: s.SiderealTime(m.rig.Site.Lon), Lat: m.rig.Site.Lat}, to)
	ra, dec = s.ICRS(frame.FromLonLat[frame.Date](ra, dec)).LonLat()
	return &pb.Action{Kind: &pb.Action_Slew{Slew: &pb.Slew{
		Target: &pb.Slew_Sky{Sky: keepclear.ICRS(ra.Positive().Deg(), dec.Deg())}, TrackDuration: durationpb.New(track)}}}, nil
}

// syncTo is a sync to a picture just taken, with the sample of its middle.
func (m *mixer) syncTo(now time.Time) (*pb.Action, error) {
	const exposure = 2 * time.Second
	start := now.Add(-exposure - 500*time.Millisecond)
	v := m.camera.Picture(start, exposure)
	v.Picture = newID()
	mid, err := m.mount.Sample(start.Add(exposure / 2))
	if err != nil {
		return nil, err
	}
	v.Mid = &mid
	return &pb.Action{Kind: &pb.Action_Sync{Sync: &pb.Sync{Solve: wire.SolveOf(&v)}}}, nil
}

// ask asks one question and holds the answer against what must come of it. It returns how long the answer took.
func (m *mixer) ask(ctx context.Context, kind string) (*pb.AskResponse, time.Duration, error) {
	q, err := m.question(kind)
	if err != nil {
		return nil, 0, err
	}
	began := time.Now()
	out, err := m.motion.Ask(ctx, q)
	took := time.Since(began)
	if err != nil {
		return nil, took, err
	}
	return out, took, m.judge(kind, q, out)
}

// judge tells what is wrong with an answer.
func (m *mixer) judge(kind string, q *pb.AskRequest, out *pb.AskResponse) error {
	if got, want := out.GetJudgement().GetVerdict(), wanted(kind); got != want {
		return fmt.Errorf("%s of %s: got %s, want %s", kind, m.rig.ID, said(out.GetJudgement()), want)
	}
	p, l := out.GetPermit(), out.GetSyncLeave()
	switch {
	case wanted(kind) != pb.Verdict_VERDICT_ALLOW && (p != nil || l != nil):
		return fmt.Errorf("%s of %s: leave beside a refusal", kind, m.rig.ID)
	case kind == syncHere && (l.GetRequestId() != q.GetRequestId() || !l.GetLive()):
		return fmt.Errorf("%s of %s: no live leave of its own: %v", kind, m.rig.ID, l)
	case kind != syncHere && wanted(kind) == pb.Verdict_VERDICT_ALLOW && (p.GetRequestId() != q.GetRequestId() || p.GetState() != pb.PermitState_PERMIT_STATE_BEGUN):
		return fmt.Errorf("%s of %s: no permit of its own that has begun: %v", kind, m.rig.ID, p)
	}
	if p != nil {
		m.permit = p.GetPermitId()
	}
	return nil
}

// Of every kind of question that comparison and load ask, the answer is the one that they count on.
func TestMixIsAnsweredAsWanted(t *testing.T) {
	t.Parallel()
	dir, rigs := nightRigs(t, 1)
	conn, _ := served(t, "--rigs", dir)
	m := newMixer(rigs[0], conn, 0)
	require.NoError(t, m.home(t.Context()))
	for range 6 {
		for _, kind := range []string{slewAxes, slewSky, slewTrack, trackHere, syncHere, tooFar, intoTripod, nearTripod} {
			_, _, err := m.ask(t.Context(), kind)
			require.NoError(t, err)
		}
	}
}
