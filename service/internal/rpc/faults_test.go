package rpc_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// standing is a whole question about a rig that stands at (30°, 40°) and was homed two seconds ago.
func (b *bench) standing() *pb.AskRequest {
	b.homedAt(b.sample(30, 40), 30, 40)
	b.proved()
	b.wait(2 * time.Second)
	r := b.skySlew()
	r.Sample, r.SentTime = b.sample(30, 40), timestamppb.New(b.clock())
	return r
}

// Faults 5, 12 and 13: what a client or a mount gets wrong about its numbers, its clock or its place is no allow, and the finding of the
// rule that saw it tells the value, the limit, and the likely cause where there is one.
func TestWrongReadingsAreNotAllowedAndSaidWhy(t *testing.T) {
	at := func(r *pb.AskRequest, when time.Time) {
		r.SentTime, r.Sample.Time = timestamppb.New(when), timestamppb.New(when)
	}
	for name, c := range map[string]struct {
		spoil func(b *bench, r *pb.AskRequest)
		rule  string
		says  []string // in the finding's sentence
		about string
	}{
		"5: belief in hours": {func(_ *bench, r *pb.AskRequest) { *r.Sample.Belief.Sky.RaDeg /= 15 }, "belief/agrees", []string{"78.38°", "3° is the most"}, ""},
		"5: belief in radians": {func(_ *bench, r *pb.AskRequest) {
			*r.Sample.Belief.Sky.RaDeg *= math.Pi / 180
			*r.Sample.Belief.Sky.DecDeg *= math.Pi / 180
		}, "belief/agrees", []string{"122.34°", "3° is the most"}, ""},
		"12: the client's clock a minute behind": {func(b *bench, r *pb.AskRequest) { at(r, b.clock().Add(-time.Minute)) }, "time/agree", []string{"60 s", "5 s is the most"}, ""},
		"12: the client's clock a minute ahead":  {func(b *bench, r *pb.AskRequest) { at(r, b.clock().Add(time.Minute)) }, "time/agree", []string{"60 s", "5 s is the most"}, ""},
		"12: only its sending time is off":       {func(b *bench, r *pb.AskRequest) { r.SentTime = timestamppb.New(b.clock().Add(-6 * time.Second)) }, "time/agree", []string{"6 s", "5 s is the most"}, ""},
		"12: an hour ahead":                      {func(b *bench, r *pb.AskRequest) { at(r, b.clock().Add(time.Hour)) }, "time/agree", []string{"60 min", "5 s is the most"}, "looks like one hour"},
		"13: the mount's clock an hour ahead": {func(_ *bench, r *pb.AskRequest) {
			*r.Sample.MountLstDeg = math.Mod(*r.Sample.MountLstDeg+15, 360)
		}, "mount/map", []string{"23:22:02, ours 22:22:02", "0.5° is the most", "looks like one hour"}, ""},
		"13: the longitude's sign":  {func(_ *bench, r *pb.AskRequest) { *r.Sample.MountSite.LonDeg *= -1 }, "mount/map", []string{"-11.10°", "11.10°", "0.5° is the most", "sign of the longitude"}, ""},
		"13: another site":          {func(_ *bench, r *pb.AskRequest) { *r.Sample.MountSite.LonDeg -= 12 }, "mount/map", []string{"-0.90°", "11.10°", "0.5° is the most"}, ""},
		"13: the latitude's sign":   {func(_ *bench, r *pb.AskRequest) { *r.Sample.MountSite.LatDeg *= -1 }, "mount/map", []string{"-46.20°", "46.20°", "sign of the latitude"}, ""},
		"13: nothing of its clock":  {func(_ *bench, r *pb.AskRequest) { r.Sample.MountLstDeg = nil }, "mount/map", []string{"not known"}, ""},
		"12: a sample without time": {func(_ *bench, r *pb.AskRequest) { r.Sample.Time = nil }, "pose/fresh", []string{"not known"}, ""},
	} {
		b := newBench(t)
		r := b.standing()
		c.spoil(b, r)
		out := b.mustAsk(r)
		assert.NotEqual(t, pb.Verdict_VERDICT_ALLOW, out.GetJudgement().GetVerdict(), name)
		assert.Nil(t, out.GetLeave(), name)
		f := findingOf(out, c.rule)
		assert.Equal(t, pb.Effect_EFFECT_HOLD, f.GetEffect(), "%s: %s", name, objections(out))
		for _, s := range c.says {
			assert.Contains(t, f.GetSentence(), s, name)
		}
		assert.Contains(t, strings.Join(f.GetAbout(), "\n"), c.about, name)
		assert.NotEmpty(t, f.GetRemedy(), name)
	}
	b := newBench(t)
	b.allowed(b.standing())
}

// Fault 5: a position that does not say its frame is refused by that field, and fault 6: so is an exposure that ends after now, by both of
// the fields that make it so, with the hour that a clock is often off by.
func TestWhatIsNotSaidOrCannotBeIsRefused(t *testing.T) {
	b := newBench(t)
	r := b.standing()
	r.Sample.Belief.Sky.Frame, slewOf(r).GetSky().Frame = 0, 0
	_, err := b.motion.Ask(t.Context(), r)
	require.Equal(t, codes.InvalidArgument, status.Code(err), "%v", err)
	assert.Equal(t, []string{"action.slew.sky.frame", "sample.belief.sky.frame"}, fields(err))

	b = newBench(t)
	b.homedAt(b.sample(30, 40), 30, 40)
	b.proved()
	q := b.smallestSync()
	solveOf(q).ExposureStartTime = timestamppb.New(b.clock().Add(time.Hour - 5*time.Second))
	_, err = b.motion.Ask(t.Context(), q)
	require.Equal(t, codes.InvalidArgument, status.Code(err), "%v", err)
	assert.Equal(t, []string{"action.sync.solve.exposure_start_time", "action.sync.solve.exposure_duration"}, fields(err))
	assert.Contains(t, err.Error(), "looks like one hour")
}

// Fault 11: a wall clock set an hour back leaves an honest question sound, so that the answer is a hold which names both readings and ends
// with the clock set right: no picture is of after now by the clock that took it.
func TestOurClockMakesNoQuestionMalformed(t *testing.T) {
	b := newBench(t)
	b.homedAt(b.sample(30, 40), 30, 40)
	b.proved()
	q := b.smallestSync()
	theirs := b.clock().Add(time.Hour)
	q.SentTime = timestamppb.New(theirs)
	solveOf(q).ExposureStartTime = timestamppb.New(theirs.Add(-5 * time.Second))
	out := b.mustAsk(q)
	assert.Equal(t, pb.Verdict_VERDICT_HOLD, out.GetJudgement().GetVerdict(), "%s", objections(out))
	assert.Contains(t, findingOf(out, "time/agree").GetSentence(), "differ by 60 min")
	assert.Contains(t, findingOf(out, "time/agree").GetSentence(), "looks like one hour")
	assert.Equal(t, pb.Effect_EFFECT_HOLD, findingOf(out, "solve/fresh").GetEffect(), "%s", objections(out))

	track := b.standing()
	track.SentTime = timestamppb.New(b.clock().Add(-24 * time.Hour))
	track.Action = &pb.Action{Kind: &pb.Action_Track{Track: &pb.Track{End: &pb.Track_UntilTime{UntilTime: timestamppb.New(b.clock().Add(-23 * time.Hour))}}}}
	out = b.mustAsk(track)
	assert.Equal(t, pb.Verdict_VERDICT_HOLD, out.GetJudgement().GetVerdict(), "%s", objections(out))
	assert.Contains(t, findingOf(out, "time/agree").GetSentence(), "differ by 24 h")
}

// Faults 74 and 76: a picture of yesterday, and one whose time is off by the hour of summer time, are held for their age, which is told,
// and the hour is named as what it looks like.
func TestOldPicturesAreHeldForTheirAge(t *testing.T) {
	for name, c := range map[string]struct {
		ago  time.Duration
		says string
		like string
	}{
		"yesterday's":      {24 * time.Hour, "24 h", ""},
		"an hour off":      {time.Hour, "60 min", "looks like one hour: summer time or zone"},
		"two hours off":    {2 * time.Hour, "2 h", "looks like 2 hours"},
		"two minutes late": {121 * time.Second, "121 s", ""},
	} {
		b := newBench(t)
		b.homedAt(b.sample(30, 40), 30, 40)
		b.proved()
		r := b.smallestSync()
		solveOf(r).ExposureStartTime = timestamppb.New(b.clock().Add(-time.Second - c.ago))
		out := b.mustAsk(r)
		assert.Equal(t, pb.Verdict_VERDICT_HOLD, out.GetJudgement().GetVerdict(), name)
		assert.Nil(t, out.GetSyncLeave(), name)
		f := findingOf(out, "solve/fresh")
		assert.Equal(t, pb.Effect_EFFECT_HOLD, f.GetEffect(), "%s: %s", name, objections(out))
		assert.Equal(t, "picture_old", f.GetCode(), name)
		assert.Contains(t, f.GetSentence(), c.says, name)
		assert.Contains(t, f.GetSentence(), "120 s is the most", name)
		assert.Contains(t, strings.Join(f.GetAbout(), "\n"), c.like, name)
		assert.Contains(t, f.GetSentence(), c.like, name)
	}
}

// Fault 45: the reply is lost and asked for again: the permit's deadlines are those of the first time, counted from the first sending, and
// its state is of now.
func TestRepeatDoesNotLengthenAPermit(t *testing.T) {
	b := newBench(t)
	b.ready()
	q := b.slew(30, 40)
	q.BeginLater = true
	first := b.allowed(q).GetPermit()
	require.Equal(t, pb.PermitState_PERMIT_STATE_GRANTED, first.GetState())
	b.wait(4 * time.Second)
	again := b.mustAsk(q).GetPermit()
	assert.True(t, proto.Equal(first, again), "got %s, want %s", again, first)
	b.wait(time.Hour)
	b.d.LapseAll()
	later := b.mustAsk(q).GetPermit()
	assert.True(t, proto.Equal(first.GetStartBy(), later.GetStartBy()), "got %s, want %s", later, first)
	assert.Equal(t, pb.PermitState_PERMIT_STATE_EXPIRED, later.GetState())
	assert.Contains(t, later.GetEndedBecause(), "not begun by 2026-11-14 18:02:21")
}

// Fault 70b: a permit that waits begins only in time, from the homing and at the place that were judged: each reason is told alone, and
// what was not begun may not move.
func TestBeginIsRefusedWithItsReason(t *testing.T) {
	for name, c := range map[string]struct {
		before func(b *bench)
		axis1  float64
		state  pb.PermitState
		says   string
	}{
		"in order":            {func(*bench) {}, 0, pb.PermitState_PERMIT_STATE_BEGUN, "begins"},
		"too late":            {func(b *bench) { b.wait(11 * time.Second) }, 0, pb.PermitState_PERMIT_STATE_EXPIRED, "not begun by 2026-11-14 18:02:21"},
		"from another homing": {func(b *bench) { b.homedAt(b.sample(0, 0), 0, 0) }, 0, pb.PermitState_PERMIT_STATE_WITHDRAWN, "the rig was homed"},
		"off its start":       {func(*bench) {}, 4, pb.PermitState_PERMIT_STATE_WITHDRAWN, "moved"},
		"taken back": {func(b *bench) {
			_, err := b.motion.Withdraw(b.t.Context(), &pb.WithdrawRequest{Rig: "heron", Asker: "A. Person"})
			require.NoError(b.t, err)
		}, 0, pb.PermitState_PERMIT_STATE_WITHDRAWN, "taken back by A. Person"},
	} {
		b := newBench(t)
		b.ready()
		q := b.slew(30, 40)
		q.BeginLater = true
		p := b.allowed(q).GetPermit()
		b.wait(time.Second)
		c.before(b)
		out := b.mustReport(&pb.ReportRequest{Sample: b.sample(c.axis1, 0), Event: &pb.ReportRequest_Begin{Begin: &pb.Begin{PermitId: p.GetPermitId()}}})
		assert.Equal(t, c.state, out.GetPermit().GetState(), "%s: %s", name, out.GetPermit().GetEndedBecause())
		var said []string
		for _, f := range out.GetFindings() {
			said = append(said, f.GetSentence())
		}
		assert.Contains(t, strings.Join(said, "\n"), c.says, name)
	}
}

// Fault 70c: a hold stops nothing. Where a tracking mount is soon at what it must not reach, the hold says how long doing nothing stays
// clear, and to stop tracking; where there is time it says only until when.
func TestHoldSaysHowLongDoingNothingStaysClear(t *testing.T) {
	for _, c := range []struct {
		axis1 float64
		stop  bool
	}{{60, false}, {90.5, true}} {
		b := newBench(t)
		b.homedAt(b.sample(c.axis1, 0), c.axis1, 0)
		b.proved()
		_, err := b.locks.Lock(t.Context(), &pb.LockRequest{RequestId: b.id("lock-request"), Scope: &pb.LockRequest_Rig{Rig: "heron"}, Person: "A. Person", Reason: "x"})
		require.NoError(t, err)
		b.wait(time.Second)
		r := b.slew(30, 40)
		r.Sample = b.sample(c.axis1, 0)
		tracking := pb.Motion_MOTION_TRACKING
		r.Sample.Motion = &tracking
		j := b.mustAsk(r).GetJudgement()
		require.Equal(t, pb.Verdict_VERDICT_HOLD, j.GetVerdict())
		assert.Equal(t, c.stop, j.GetStopTracking(), "%.1f°: clear for %s", c.axis1, j.GetHarmlessUntil())
		within := j.GetHarmlessUntil().GetWithinDuration().AsDuration()
		assert.Equal(t, c.stop, within < 10*time.Minute, "%.1f°: clear for %s", c.axis1, within)
		// What ends it is the leg at about 92°, which the sky's turning reaches after (92° - axis 1)·240 s, and no later than the end of travel.
		assert.Less(t, within.Seconds(), (97.5-c.axis1)*240, "%.1f°", c.axis1)
		assert.Positive(t, within, "%.1f°", c.axis1)
	}
}

// Fault 72: a home sensor that answers where it is not (stuck on) homes nothing, and one that never answers (stuck off) leaves the rig as
// it was: not homed, a hold that names homing.
func TestStuckHomeSensorHomesNothing(t *testing.T) {
	b := newBench(t)
	b.proved()
	unhomed := func(what string) {
		t.Helper()
		out := b.mustAsk(b.skySlew())
		assert.Equal(t, pb.Verdict_VERDICT_HOLD, out.GetJudgement().GetVerdict(), what)
		assert.Equal(t, pb.Effect_EFFECT_HOLD, findingOf(out, "pose/known").GetEffect(), "%s: %s", what, objections(out))
		needs(pb.NeedKind_NEED_KIND_HOMING)(t, b, out)
	}
	unhomed("stuck off: it never answered")
	b.homedAt(b.sample(0, 0), 0, 0)
	b.wait(time.Second)
	out := b.mustReport(&pb.ReportRequest{Sample: b.sample(40, 0), Event: &pb.ReportRequest_Homed{Homed: &pb.Homed{
		By: pb.HomedBy_HOMED_BY_SENSED, Axes: pair(0, 0), Closure: pair(40, 0),
	}}})
	assert.Empty(t, out.GetHomingId(), "nothing counts from it")
	var said []string
	for _, f := range out.GetFindings() {
		said = append(said, f.GetSentence())
	}
	assert.Contains(t, strings.Join(said, "\n"), "the home sensor answered where the counts")
	unhomed("stuck on: it answers everywhere")
}
