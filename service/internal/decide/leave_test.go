package decide_test

import (
	"context"
	"fmt"
	"sync"
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
	"keepclear.example/keepclear/service/internal/verdict"
)

// asking is a sync question of now.
func (f *follower) asking(name string) question.Question {
	f.t.Helper()
	v := f.picture(name, rig.Axes{})
	id := "question-" + name
	return question.Question{
		ID: id, Rig: "heron", Action: question.Action{Kind: question.Sync, Solve: v, Message: []byte(id)}, Sample: f.tracking(),
		Sent: f.clock(), At: f.clock(), Asker: "test", AttendedBy: "A. Person",
	}
}

// put asks a question, or asks it again.
func (f *follower) put(q question.Question) decide.Answer {
	f.t.Helper()
	a, err := f.d.Ask(context.Background(), q, request(q.ID, q.ID))
	require.NoError(f.t, err)
	return a
}

// leaved asks for a sync and wants its leave.
func (f *follower) leaved(name string) (question.Question, *question.SyncLeave) {
	f.t.Helper()
	q := f.asking(name)
	a := f.put(q)
	require.Equal(f.t, verdict.Allow, a.Verdict, "%s %v", a.Sentence, objections(a))
	require.NotNil(f.t, a.Leave)
	return q, a.Leave
}

// ends tells that the motion under way is over, so that no permit is open.
func (f *follower) ends() {
	f.t.Helper()
	f.wait(time.Second)
	p := f.look().State.Permit
	require.True(f.t, p.Open())
	_, err := f.report(decide.Report{End: &decide.EndReport{Permit: p.ID, How: pose.Done}, Sample: f.tracking()})
	require.NoError(f.t, err)
	require.False(f.t, f.look().State.Permit.Open(), f.look().State.Permit.State)
}

// TestRepeatShowsTheLeaveOfNow: the same question again gets its leave as it stands, and never a later one.
func TestRepeatShowsTheLeaveOfNow(t *testing.T) {
	f := following(t, there)
	first, leave := f.leaved("p1")
	again := f.put(first)
	assert.True(t, again.Repeated)
	assert.Equal(t, leave.ID, again.Leave.ID)
	assert.True(t, again.Leave.Live)
	assert.Nil(t, again.Permit, "the slew's permit is none of this question's")
	assert.True(t, again.Sent.Equal(first.At), "durations still count from the first sending")

	f.wait(time.Minute)
	second, later := f.leaved("p2")
	again = f.put(first)
	assert.Equal(t, leave.ID, again.Leave.ID)
	assert.False(t, again.Leave.Live)
	assert.Equal(t, "it is over: another was given since", again.Leave.Because)
	again = f.put(second)
	assert.Equal(t, later.ID, again.Leave.ID)
	assert.True(t, again.Leave.Live)

	f.d.Withdraw("heron", "A. Person", "stop", state.Exchanged{})
	again = f.put(second)
	assert.False(t, again.Leave.Live)
	assert.Contains(t, again.Leave.Because, "A. Person")
}

// TestRepeatShowsThePermitOfNow, and that of a permit whose place another took is over.
func TestRepeatShowsThePermitOfNow(t *testing.T) {
	b := newBench(t)
	b.home()
	action := question.Action{Kind: question.Slew, Axes: &there}
	first, err := b.askAs("question-first", "1", action, zero, "")
	require.NoError(t, err)
	second, err := b.askAs("question-second", "2", action, zero, first.Permit.ID)
	require.NoError(t, err)
	require.Equal(t, verdict.Allow, second.Verdict)
	again, err := b.askAs("question-first", "1", action, zero, "")
	require.NoError(t, err)
	assert.Equal(t, first.Permit.ID, again.Permit.ID)
	assert.Equal(t, question.Ended, again.Permit.State)
	assert.Equal(t, "it is over: another was given since", again.Permit.Because)
	assert.Nil(t, again.Leave)
	again, err = b.askAs("question-second", "2", action, zero, "")
	require.NoError(t, err)
	assert.Equal(t, second.Permit.ID, again.Permit.ID)
	assert.Equal(t, question.Begun, again.Permit.State)
}

// TestIdOfALockIsNoQuestion: an entry without a rig's state has no leave to show.
func TestIdOfALockIsNoQuestion(t *testing.T) {
	b := newBench(t)
	b.home()
	_, _, _, err := b.d.Lock("", "A. Person", "hands inside", b.clock(), request("lock-request", "x"))
	require.NoError(t, err)
	a, err := b.askAs("lock-request", "x", question.Action{Kind: question.Slew, Axes: &there}, zero, "")
	require.NoError(t, err)
	assert.Nil(t, a.Permit)
	assert.Nil(t, a.Leave)
	assert.NotEqual(t, verdict.Allow, a.Verdict)
}

// TestBothAreTakenBack: a permit and a sync leave, by one word, at once; and by a lock.
func TestBothAreTakenBack(t *testing.T) {
	for name, take := range map[string]func(f *follower) []string{
		"withdrawn": func(f *follower) []string {
			ids, _ := f.d.Withdraw("heron", "A. Person", "stop", state.Exchanged{})
			return ids
		},
		"locked": func(f *follower) []string {
			_, _, ids, err := f.d.Lock("heron", "A. Person", "stop", f.clock(), request("lock-request", "x"))
			require.NoError(f.t, err)
			return ids
		},
	} {
		f := following(t, there)
		permit := f.look().State.Permit
		_, leave := f.leaved("p1")
		epoch := f.look().State.Epoch
		assert.ElementsMatch(t, []string{permit.ID, leave.ID}, take(f), name)
		now := f.look().State
		assert.Equal(t, permit.ID, now.Permit.ID, name)
		assert.Equal(t, question.Withdrawn, now.Permit.State, name)
		assert.Equal(t, leave.ID, now.Leave.ID, name)
		assert.False(t, now.Leave.Live, name)
		assert.Contains(t, now.Leave.Because, "A. Person", name)
		assert.Greater(t, now.Epoch, epoch, "%s: what was granted before is dead", name)
		ids, _ := f.d.Withdraw("heron", "A. Person", "stop", state.Exchanged{})
		assert.Empty(t, ids, "%s: once", name)
	}
}

// TestLeaveThatNeverLeft: its entry could not be written, so it is none; the permit under which the rig follows the stars is untouched.
func TestLeaveThatNeverLeft(t *testing.T) {
	f := following(t, there)
	permit := f.look().State.Permit
	q := f.asking("p1")
	f.breaks(false)
	_, err := f.d.Ask(context.Background(), q, request(q.ID, q.ID))
	require.ErrorIs(t, err, record.ErrDown)
	now := f.look().State
	require.NotNil(t, now.Leave)
	assert.False(t, now.Leave.Live)
	assert.Contains(t, now.Leave.Because, "never left")
	assert.Equal(t, permit.ID, now.Permit.ID)
	assert.True(t, now.Permit.Open(), "%s", now.Permit.Because)
	f.mends()
	if l := f.look().State.Leave; l != nil {
		assert.False(t, l.Live)
	}
	assert.True(t, f.look().State.Permit.Open())
}

// TestLeaveTakenWhileDownStaysTaken when the state is folded anew from a record that does not know of it.
func TestLeaveTakenWhileDownStaysTaken(t *testing.T) {
	f := following(t, there)
	f.ends()
	_, leave := f.leaved("p1")
	f.breaks(false)
	q := f.asking("p2")
	_, err := f.d.Ask(context.Background(), q, request(q.ID, q.ID))
	require.ErrorIs(t, err, record.ErrDown)
	f.d.Withdraw("heron", "A. Person", "stop", state.Exchanged{})
	f.mends()
	now := f.look().State.Leave
	require.NotNil(t, now)
	assert.Equal(t, leave.ID, now.ID, "the record knows of no other")
	assert.False(t, now.Live)
}

// TestNoLeaveSurvivesARestart, whether or not a permit was open beside it; what ends it is on record.
func TestNoLeaveSurvivesARestart(t *testing.T) {
	for _, open := range []bool{true, false} {
		f := following(t, there)
		if !open {
			f.ends()
		}
		q, leave := f.leaved("p1")
		before := f.rec.Heads()["heron"].Number
		f.restart()
		now := f.look().State
		assert.Equal(t, leave.ID, now.Leave.ID)
		assert.False(t, now.Leave.Live)
		assert.Contains(t, now.Leave.Because, "restarted")
		assert.False(t, now.Permit.Open())
		assert.Equal(t, before+1, f.rec.Heads()["heron"].Number, "one entry says so")
		assert.False(t, f.put(q).Leave.Live)
		f.restart()
		assert.Equal(t, before+1, f.rec.Heads()["heron"].Number, "where nothing was open nothing is said")
	}
}

// TestAnswerThatWaitedShowsItsLeaveOfNow: what happened to a permit, or a leave, while its entry waited for the disk is in the answer.
func TestAnswerThatWaitedShowsItsLeaveOfNow(t *testing.T) {
	f := following(t, there)
	q1, q2 := f.asking("p1"), f.asking("p2")
	q1.At, q1.Sent = f.clock(), f.clock()
	q1.Sample = f.tracking()
	held, release := f.disk.Hold()
	defer release()
	var wg sync.WaitGroup
	answers := make([]decide.Answer, 2)
	ask := func(i int, q question.Question) {
		wg.Go(func() {
			a, err := f.d.Ask(context.Background(), q, request(q.ID, q.ID))
			assert.NoError(t, err)
			answers[i] = a
		})
		require.Eventually(t, func() bool { l := f.look().State.Leave; return l != nil && l.RequestID == q.ID }, 10*time.Second, time.Millisecond)
	}
	ask(0, q1)
	<-held
	ask(1, q2)
	release()
	wg.Wait()
	assert.False(t, answers[0].Leave.Live)
	assert.Equal(t, "it is over: another was given since", answers[0].Leave.Because)
	assert.True(t, answers[1].Leave.Live)
	assert.NotEqual(t, answers[0].Leave.ID, answers[1].Leave.ID)
}

// TestPermitThatWaitedShowsItsStateOfNow is the same for permits, replaced and withdrawn.
func TestPermitThatWaitedShowsItsStateOfNow(t *testing.T) {
	b := newBench(t)
	b.home()
	held, release := b.disk.Hold()
	defer release()
	var wg sync.WaitGroup
	answers := make([]decide.Answer, 2)
	permit := ""
	for i := range answers {
		id := fmt.Sprintf("question-waits-%d", i)
		replaces := permit
		wg.Go(func() {
			a, err := b.askAs(id, id, question.Action{Kind: question.Slew, Axes: &there}, zero, replaces)
			assert.NoError(t, err)
			answers[i] = a
		})
		require.Eventually(t, func() bool { p := b.look().State.Permit; return p.Open() && p.RequestID == id }, 10*time.Second, time.Millisecond)
		permit = b.look().State.Permit.ID
		if i == 0 {
			<-held
		}
	}
	ids, _ := b.d.Withdraw("heron", "A. Person", "stop", state.Exchanged{})
	assert.Equal(t, []string{permit}, ids)
	release()
	wg.Wait()
	assert.Equal(t, question.Ended, answers[0].Permit.State)
	assert.Equal(t, "it is over: another was given since", answers[0].Permit.Because)
	assert.Equal(t, question.Withdrawn, answers[1].Permit.State)
	assert.Contains(t, answers[1].Permit.Because, "A. Person")
}
