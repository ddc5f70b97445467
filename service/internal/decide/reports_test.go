package decide_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

// reportAs sends a report under an id of its own.
func (b *bench) reportAs(id, content string, r decide.Report) (decide.Outcome, error) {
	r.Rig, r.Asker, r.At, r.Sent = "heron", "test", b.clock(), b.clock()
	return b.d.Report(context.Background(), r, request(id, content))
}

// TestReportRepeatedShowsThePermitOfNow: what it did is that of then; epoch and permit are of now.
func TestReportRepeatedShowsThePermitOfNow(t *testing.T) {
	b := newBench(t)
	homed := decide.Report{Homed: &decide.HomedReport{Sensed: true}, Sample: b.sample(b.rig.Home)}
	first, err := b.reportAs("report-homed", "bytes", homed)
	require.NoError(t, err)
	assert.False(t, first.Repeated)
	then := b.clock()
	b.wait(time.Second)
	again, err := b.reportAs("report-homed", "bytes", homed)
	require.NoError(t, err)
	assert.True(t, again.Repeated)
	assert.Equal(t, first.HomingID, again.HomingID, "homed once")
	assert.Equal(t, first.Notices, again.Notices)
	assert.True(t, again.At.Equal(then))
	assert.Nil(t, again.Permit)
	_, err = b.reportAs("report-homed", "other bytes", homed)
	require.ErrorIs(t, err, record.ErrReused)
	assert.ErrorContains(t, err, "use a new id for what is new")

	permit := b.allowed(there, "")
	again, err = b.reportAs("report-homed", "bytes", homed)
	require.NoError(t, err)
	require.NotNil(t, again.Permit, "one granted since is open")
	assert.Equal(t, permit.ID, again.Permit.ID)
	assert.Equal(t, b.look().State.Epoch, again.Epoch)

	act := decide.Report{Limit: &question.MountLimit{Axis: 1, Limit: unit.Deg(90)}}
	_, err = b.reportAs("report-limit", "bytes", act)
	require.NoError(t, err)
	later := b.allowed(there, permit.ID)
	again, err = b.reportAs("report-limit", "bytes", act)
	require.NoError(t, err)
	require.NotNil(t, again.Permit)
	assert.Equal(t, permit.ID, again.Permit.ID, "the permit of then")
	assert.Equal(t, question.Ended, again.Permit.State)
	b.d.Withdraw("heron", "A. Person", "stop", state.Exchanged{})
	again, err = b.reportAs("report-homed", "bytes", homed)
	require.NoError(t, err)
	assert.Nil(t, again.Permit, "permit %s is open no more", later.ID)
}

// TestReportRepeatedWhileItsPermitIsOpen shows that permit, and how it ended once it has.
func TestReportRepeatedWhileItsPermitIsOpen(t *testing.T) {
	b := newBench(t)
	b.home()
	permit := b.allowed(there, "")
	seen := decide.Report{Limit: &question.MountLimit{Axis: 1, Limit: unit.Deg(90)}}
	for _, want := range []question.PermitState{question.Begun, question.Begun, question.Withdrawn} {
		if want == question.Withdrawn {
			b.d.Withdraw("heron", "A. Person", "stop", state.Exchanged{})
		}
		out, err := b.reportAs("report-limit", "bytes", seen)
		require.NoError(t, err)
		require.NotNil(t, out.Permit)
		assert.Equal(t, permit.ID, out.Permit.ID)
		assert.Equal(t, want, out.Permit.State)
	}
}

// TestIdOfALockIsNoReport: its entry has no state of the rig, so that of now is shown.
func TestIdOfALockIsNoReport(t *testing.T) {
	b := newBench(t)
	b.home()
	_, _, _, err := b.d.Lock("", "A. Person", "hands inside", b.clock(), request("lock-request", "x"))
	require.NoError(t, err)
	out, err := b.reportAs("lock-request", "x", decide.Report{Sample: b.sample(b.rig.Home)})
	require.NoError(t, err)
	assert.True(t, out.Repeated)
	assert.Equal(t, b.look().State.Epoch, out.Epoch)
	assert.Equal(t, b.look().State.Pose.HomingID, out.HomingID)
}

// TestReportThatIsLostHoldsTheRig until its asker reports again: it may have said that a clutch was opened. (Of one with a request id
// room rpc remembers that it was lost.)
func TestReportThatIsLostHoldsTheRig(t *testing.T) {
	b := newBench(t)
	b.home()
	act := decide.Report{Limit: &question.MountLimit{Axis: 1, Limit: unit.Deg(90)}}
	b.breaks(false)
	_, err := b.report(act) // takes the record down
	require.ErrorIs(t, err, record.ErrDown)
	act.Rig, act.Asker, act.At = "heron", "test", b.clock()
	_, err = b.d.Report(t.Context(), act, decide.Request{})
	require.ErrorIs(t, err, record.ErrDown)
	b.mends()
	a, err := b.slew(zero, there)
	require.NoError(t, err)
	assert.Equal(t, verdict.Hold, a.Verdict)
	assert.Contains(t, objections(a), "pose/fresh")
	assert.Contains(t, a.Sentence, "could not be recorded")
	_, err = b.report(act)
	require.NoError(t, err)
	a, err = b.slew(zero, there)
	require.NoError(t, err)
	assert.Equal(t, verdict.Allow, a.Verdict, a.Sentence)
}

// TestHomedWhereToldAndHowWell: angles and uncertainty as stated, else those of the file, or of a person's eye.
func TestHomedWhereToldAndHowWell(t *testing.T) {
	at, sigma := rig.DegAxes(10, 20), rig.DegAxes(0.2, 0.3)
	for name, c := range map[string]struct {
		homed       decide.HomedReport
		axes, sigma func(r *rig.Rig) rig.Axes
	}{
		"sensed": {decide.HomedReport{Sensed: true}, func(r *rig.Rig) rig.Axes { return r.Home }, func(r *rig.Rig) rig.Axes { return r.Homing.Sigma }},
		"seen":   {decide.HomedReport{Person: "A. Person"}, func(r *rig.Rig) rig.Axes { return r.Home }, func(*rig.Rig) rig.Axes { return rig.DegAxes(1, 1) }},
		"told":   {decide.HomedReport{Person: "A. Person", At: &at, Sigma: &sigma}, func(*rig.Rig) rig.Axes { return at }, func(*rig.Rig) rig.Axes { return sigma }},
	} {
		b := newBench(t)
		homed := c.homed
		_, err := b.report(decide.Report{Homed: &homed, Sample: b.sample(c.axes(b.rig))})
		require.NoError(t, err, name)
		h := b.look().State.Homing
		require.NotNil(t, h, name)
		assert.Equal(t, c.axes(b.rig), h.Axes, name)
		assert.Equal(t, c.sigma(b.rig), h.Sigma, name)
		assert.Equal(t, c.homed.Person, h.Person, name)
	}
}

// TestProofIsOfOneRevision, and dated by our clock: one of another than the one in force is not taken in, which is said with the digest that is meant.
func TestProofIsOfOneRevision(t *testing.T) {
	for _, signs := range []bool{false, true} {
		b := newBench(t)
		tell := func(digest [32]byte) decide.Outcome {
			out, err := b.report(decide.Report{Proved: &question.Proof{Person: "A. Person", RigDigest: digest, ResidualMM: 4, SignsChecked: signs, At: b.clock().Add(-time.Hour)}})
			require.NoError(t, err)
			return out
		}
		other := [32]byte{1}
		says := fmt.Sprintf("the proof of A. Person is not taken in: it is of revision %x of the rig file, and the one in force is %x; ", other, b.rig.Digest)
		for range 2 { // nothing is proved
			out := tell(other)
			require.Len(t, out.Notices, 1)
			assert.Equal(t, says+"if that is the file that was measured, tell it again with its digest", out.Notices[0].Sentence)
			assert.Nil(t, b.look().State.Proof)
		}
		assert.Empty(t, tell(b.rig.Digest).Notices)
		first := *b.look().State.Proof
		assert.True(t, first.At.Equal(b.clock()))
		assert.Equal(t, 4.0, first.ResidualMM)
		assert.Empty(t, first.Stale)
		b.wait(time.Hour)
		out := tell(other)
		require.Len(t, out.Notices, 1)
		assert.Equal(t, says+"that of A. Person of 2026-11-14 stays as it is", out.Notices[0].Sentence)
		assert.Equal(t, first, *b.look().State.Proof)
		assert.Equal(t, out.Notices[0].Sentence, b.newest().Sentence)
		b.restart()
		assert.Equal(t, first.Person, b.look().State.Proof.Person, "what was proved stands, after a restart too")

		b.alter = func(r *rig.Rig) { r.Digest[0]++ }
		b.restart()
		out = tell(other)
		require.Len(t, out.Notices, 1)
		assert.Contains(t, out.Notices[0].Sentence, "; if that is the file that was measured, tell it again with its digest", "what was proved is of another revision by now")
		_, err := b.report(decide.Report{Proved: &question.Proof{Person: "A. Person", RigDigest: b.rig.Digest, ResidualMM: 1}})
		require.NoError(t, err)
		assert.Equal(t, 1.0, b.look().State.Proof.ResidualMM, "what was found of another revision says nothing of this one")
	}
}

// TestWhatGaugesFoundStaysFound: a later proof of another revision changes nothing, one without the signs makes the one in force count no longer, and widens
// gaps by no less; one that is whole takes its place.
func TestWhatGaugesFoundStaysFound(t *testing.T) {
	b := newBench(t)
	ours := b.rig.Digest
	for _, c := range []struct {
		digest   [32]byte
		signs    bool
		residual float64
		counts   bool
		widens   float64
	}{
		{ours, true, 9, true, 9},
		{[32]byte{1}, true, 0, true, 9},
		{ours, false, 0, false, 9},
		{ours, false, 12, false, 12},
		{[32]byte{1}, true, 0, false, 12},
		{ours, true, 3, true, 3},
		{[32]byte{2}, false, 99, true, 3},
	} {
		b.wait(time.Second)
		_, err := b.report(decide.Report{Proved: &question.Proof{Person: "A. Person", RigDigest: c.digest, ResidualMM: c.residual, SignsChecked: c.signs}})
		require.NoError(t, err)
		p := b.look().State.Proof
		require.NotNil(t, p)
		assert.Equal(t, c.counts, p.Stale == "" && p.SignsChecked, "%+v", c)
		assert.Equal(t, c.widens, p.Widens(ours), "%+v", c)
	}
}

// TestLimitsOfTheMount: one an axis, the last seen.
func TestLimitsOfTheMount(t *testing.T) {
	b := newBench(t)
	for _, l := range []question.MountLimit{{Axis: 1, Limit: unit.Deg(80)}, {Axis: 2, Limit: unit.Deg(100)}, {Axis: 1, Limit: unit.Deg(85)}} {
		b.wait(time.Second)
		_, err := b.report(decide.Report{Limit: &l})
		require.NoError(t, err)
	}
	got := map[int]unit.Angle{}
	for _, l := range b.look().State.Limits {
		got[l.Axis] = l.Limit
		if l.Axis == 1 {
			assert.True(t, l.Seen.Equal(b.clock()))
		}
	}
	assert.Len(t, b.look().State.Limits, 2)
	assert.Equal(t, map[int]unit.Angle{1: unit.Deg(85), 2: unit.Deg(100)}, got)
}

// TestSyncDoneUsesItsLeave up, and its solve becomes an accepted one; one that the mount refused uses it up too, and is none.
func TestSyncDoneUsesItsLeave(t *testing.T) {
	for refused, want := range map[bool]question.SolveVerdict{false: question.Accepted, true: question.Leaved} {
		f := following(t, there)
		_, leave := f.leaved("p1")
		out, err := f.report(decide.Report{Synced: &decide.SyncReport{Leave: leave.ID, Refused: refused}})
		require.NoError(t, err)
		require.NotNil(t, out.Receipt)
		assert.False(t, f.look().State.Leave.Live)
		require.Len(t, f.solves(), 1)
		assert.Equal(t, want, f.solves()[0].Verdict, "refused %v", refused)
	}
}

// TestRefusedReportKillsWhatWaits: leave not yet used is dead, for the report may have said that a clutch was opened; what has begun is not.
func TestRefusedReportKillsWhatWaits(t *testing.T) {
	f := following(t, there)
	permit := f.look().State.Permit
	_, leave := f.leaved("p1")
	epoch := f.look().State.Epoch
	refuse := func() {
		require.NoError(t, f.d.Refuse("heron", "test", "field 9 is unknown", true, f.clock(), record.Hash{7}, state.Exchanged{}))
	}
	refuse()
	now := f.look().State
	assert.Equal(t, leave.ID, now.Leave.ID)
	assert.False(t, now.Leave.Live)
	assert.Equal(t, "a report was not understood", now.Leave.Because)
	assert.Equal(t, epoch+1, now.Epoch)
	assert.Equal(t, permit.ID, now.Permit.ID)
	assert.True(t, now.Permit.Open())
	ids, _ := f.d.Withdraw("heron", "A. Person", "stop", state.Exchanged{})
	assert.Equal(t, []string{permit.ID}, ids, "a dead leave is not taken back again")
	f.onRecord(state.Withdrawn, permit.ID)

	entries := f.rec.Heads()["heron"].Number
	refuse()
	assert.Equal(t, entries, f.rec.Heads()["heron"].Number, "the same again is no news")
	f.wait(time.Minute)
	refuse()
	assert.Equal(t, entries+1, f.rec.Heads()["heron"].Number, "but for once a minute")
}

// TestMotionEndsASyncLeave: what was judged before the motion is not to be used after it.
func TestMotionEndsASyncLeave(t *testing.T) {
	f := following(t, there)
	_, leave := f.leaved("p1")
	to := rig.DegAxes(-40, 50)
	a, err := f.askFollowing(question.Action{Kind: question.Slew, Axes: &to})
	require.NoError(t, err)
	require.Equal(t, verdict.Allow, a.Verdict, "%s %v", a.Sentence, objections(a))
	now := f.look().State
	assert.Equal(t, leave.ID, now.Leave.ID)
	assert.False(t, now.Leave.Live)
	assert.Equal(t, "a motion was permitted after it", now.Leave.Because)
}

// TestPracticeLeaveIsMarked: on a real rig nobody may use it.
func TestPracticeLeaveIsMarked(t *testing.T) {
	for _, practice := range []bool{true, false} {
		f := &follower{bench: newBenchOf(t, func(r *rig.Rig) { r.Practice = practice })}
		f.home()
		f.goTo(f.bench.rig.Home, there)
		_, leave := f.leaved("p1")
		want := []string(nil)
		if practice {
			want = []string{decide.PracticeWord}
		}
		assert.Equal(t, want, leave.Critical)
		assert.Equal(t, want, f.look().State.Permit.Critical)
	}
}

// TestLapseAllEndsWhatTimeHasEnded, once, on record; where there is nothing it writes nothing.
func TestLapseAllEndsWhatTimeHasEnded(t *testing.T) {
	b := newBench(t)
	b.home()
	id := "question-later"
	q := question.Question{ID: id, Rig: "heron", Action: question.Action{Kind: question.Slew, Axes: &there, Message: []byte(id)}, Sample: b.sample(zero), Sent: b.clock(), At: b.clock(), Asker: "test", AttendedBy: "A. Person", BeginLater: true}
	a, err := b.d.Ask(context.Background(), q, request(id, id))
	require.NoError(t, err)
	require.Equal(t, verdict.Allow, a.Verdict)
	last := func() record.Head { return b.rec.Head("heron") }
	head := last()
	b.d.LapseAll()
	assert.Equal(t, head, last(), "nothing has ended")
	b.wait(time.Hour)
	b.d.LapseAll()
	assert.Equal(t, head.Number+1, last().Number)
	assert.Equal(t, question.Expired, b.look().State.Permit.State)
	ids, _ := b.d.Withdraw("heron", "A. Person", "stop", state.Exchanged{})
	assert.Empty(t, ids, "it is open no more")
	b.onRecord(state.Withdrawn, a.Permit.ID)
	head = last()
	b.d.LapseAll()
	assert.Equal(t, head, last())
}

// TestDoubtfulPoseJogsSlowly: to the limit, and no faster; the hold names the slow one.
func TestDoubtfulPoseJogsSlowly(t *testing.T) {
	f := following(t, there)
	require.Equal(t, verdict.Deny, f.sync(f.picture("p1", rig.DegAxes(0, -45))).Verdict)
	by := rig.DegAxes(0, 2)
	rate := func(deg float64) *unit.Angle { r := unit.Deg(deg); return &r }
	for name, c := range map[string]struct {
		rate *unit.Angle
		want bool
	}{"at the limit": {rate(0.5), true}, "slower": {rate(0.2), true}, "faster": {rate(0.501), false}, "as fast as it can": {nil, false}} {
		f.show()
		a, err := f.askFollowing(question.Action{Kind: question.Jog, Axes: &by, Rate: c.rate, Follow: time.Hour})
		require.NoError(t, err)
		if c.want {
			assert.Equal(t, verdict.Allow, a.Verdict, "%s: %s", name, a.Sentence)
			continue
		}
		assert.Equal(t, []string{"permit/slow"}, objections(a), name)
		require.Len(t, a.Instead, 1, name)
		assert.InDelta(t, 0.5, a.Instead[0].Rate.Deg(), 1e-9, name)
		assert.Empty(t, a.Instead[0].Message, "%s: it is not what was sent", name)
	}
}

// TestNobodyIsAnErrorEverywhere: a rig that is not known.
func TestNobodyIsAnErrorEverywhere(t *testing.T) {
	b := newBench(t)
	_, err := b.d.Look(t.Context(), "nobody")
	require.ErrorIs(t, err, decide.ErrNoRig)
	_, err = b.d.Member("nobody")
	require.ErrorIs(t, err, decide.ErrNoRig)
	_, _, _, err = b.d.Lock("nobody", "A. Person", "x", b.clock(), request("lock-request", "x"))
	require.ErrorIs(t, err, decide.ErrNoRig)
	_, err = b.d.Report(t.Context(), decide.Report{Rig: "nobody"}, request("report-0001", "x"))
	require.ErrorIs(t, err, decide.ErrNoRig)
	_, err = b.d.Rehearsal("nobody", "test", "x", b.clock(), request("rehearsal-1", "x"), state.Exchanged{})
	require.ErrorIs(t, err, decide.ErrNoRig)
	_, known := b.d.Withdraw("nobody", "A. Person", "x", state.Exchanged{})
	assert.False(t, known)
	ids, known := b.d.Withdraw("", "A. Person", "x", state.Exchanged{})
	assert.True(t, known, "all rigs are known")
	assert.Empty(t, ids)
}

// TestNothingIsDoneWhileTheRecordIsDown: each request fails, as the first that finds out and as one behind it.
func TestNothingIsDoneWhileTheRecordIsDown(t *testing.T) {
	n := 0
	next := func() decide.Request { n++; id := fmt.Sprintf("request-%08d", n); return request(id, id) }
	for name, do := range map[string]func(b *bench, lock string) error{
		"lock": func(b *bench, _ string) error {
			_, _, _, err := b.d.Lock("heron", "A. Person", "x", b.clock(), next())
			return err
		},
		"lock on all": func(b *bench, _ string) error {
			_, _, _, err := b.d.Lock("", "A. Person", "x", b.clock(), next())
			return err
		},
		"release": func(b *bench, lock string) error {
			_, _, err := b.d.Release([]string{lock}, "A. Person", "x", b.clock(), next())
			return err
		},
		"rehearsal": func(b *bench, _ string) error {
			_, err := b.d.Rehearsal("heron", "test", "x", b.clock(), next(), state.Exchanged{})
			return err
		},
		"refusal": func(b *bench, _ string) error {
			b.wait(2 * time.Minute)
			return b.d.Refuse("", "test", "x", false, b.clock(), record.Hash{1}, state.Exchanged{})
		},
		"refused report": func(b *bench, _ string) error {
			b.wait(2 * time.Minute)
			return b.d.Refuse("heron", "test", "x", true, b.clock(), record.Hash{2}, state.Exchanged{})
		},
		"report": func(b *bench, _ string) error {
			_, err := b.report(decide.Report{Limit: &question.MountLimit{Axis: 1, Limit: unit.Deg(float64(b.ids.Load()))}})
			return err
		},
		"homing": func(b *bench, _ string) error {
			_, err := b.report(decide.Report{Homed: &decide.HomedReport{Sensed: true}, Sample: b.sample(b.rig.Home)})
			return err
		},
		"end": func(b *bench, _ string) error {
			_, err := b.report(decide.Report{End: &decide.EndReport{Permit: "none", How: pose.Done}})
			return err
		},
	} {
		b := newBench(t)
		lock, _, _, err := b.d.Lock("heron", "A. Person", "hands inside", b.clock(), request("lock-first", "x"))
		require.NoError(t, err)
		b.breaks(false)
		require.ErrorIs(t, do(b, lock.ID), record.ErrDown, "%s: the flush that fails", name)
		require.Eventually(t, func() bool { return b.d.Down() != nil }, 10*time.Second, time.Millisecond)
		require.ErrorIs(t, do(b, lock.ID), record.ErrDown, "%s: with the record down", name)
		b.mends()
		ids := []string{}
		for _, l := range b.look().Locks {
			ids = append(ids, l.ID)
		}
		assert.Equal(t, []string{lock.ID}, ids, "%s: nothing was locked or released", name)
		b.wait(2 * time.Minute)
		assert.NoError(t, do(b, lock.ID), "%s: once the record is back", name)
	}
}

// TestAnswerThatCannotBeWrittenIsNone: its encoding fails, so nothing is on record and nothing is held.
func TestAnswerThatCannotBeWrittenIsNone(t *testing.T) {
	b := newBench(t)
	b.home()
	head := b.rec.Head("heron")
	b.unwritable = errors.New("no such form")
	_, err := b.slew(zero, there)
	require.ErrorIs(t, err, b.unwritable)
	require.ErrorContains(t, err, "encoding the answer")
	assert.Equal(t, head, b.rec.Head("heron"))
	assert.False(t, b.look().State.Permit.Open())
	b.unwritable = nil
	b.allowed(there, "")
}

// A proof lifts a demotion only with the signs checked and of the revision in force; who looks is told what would, and by a restart nothing is lifted.
func TestAProofLiftsADemotion(t *testing.T) {
	for name, c := range map[string]struct{ signs, other, before, lifted bool }{
		"signs checked":                           {signs: true, lifted: true},
		"signs not checked":                       {},
		"of another revision":                     {signs: true, other: true},
		"of another revision, this proved before": {signs: true, other: true, before: true},
	} {
		b := newBench(t)
		b.home()
		if c.before {
			b.wait(time.Second)
			_, err := b.report(decide.Report{Proved: &question.Proof{Person: "A. Person", RigDigest: b.rig.Digest, SignsChecked: true}})
			require.NoError(t, err)
		}
		b.wait(time.Second)
		_, err := b.report(decide.Report{Sample: b.sample(b.rig.Home.Add(rig.DegAxes(30, 30)))}) // belief and counts alike, faster than the axes turn
		require.NoError(t, err)
		b.restart()
		v := b.look()
		require.NotEmpty(t, v.State.Demoted, name)
		last := v.Needs[len(v.Needs)-1]
		require.Equal(t, verdict.NeedRigProof, last.Kind, "%s: %v", name, v.Needs)
		require.Regexp(t, "^The motor count is no source .*`keepclear tell heron proved`", last.Sentence)

		digest := b.rig.Digest
		if c.other {
			digest[0]++
		}
		out, err := b.report(decide.Report{Proved: &question.Proof{Person: "A. Person", RigDigest: digest, ResidualMM: 4, SignsChecked: c.signs}})
		require.NoError(t, err)
		require.Equal(t, c.lifted, len(b.look().State.Demoted) == 0, name)
		require.Equal(t, c.lifted || c.other, len(out.Notices) == 1, "%s: %v", name, out.Notices)
		require.Equal(t, c.other, c.other && strings.Contains(out.Notices[0].Sentence, "is not taken in"), "%s: %v", name, out.Notices)

		b.wait(time.Second)
		b.home()
		v = b.look()
		require.Equal(t, question.Known, v.Pose.State, name)
		require.Equal(t, !c.lifted, v.Pose.Because != "", "%s: %s", name, v.Pose.Because)
		for _, n := range v.Needs {
			require.NotContains(t, n.Sentence, "is no source of the pose", "%s: known all the same", name)
		}
	}
}
