package decide_test

import (
	"context"
	"fmt"
	"os"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/verdict"
)

// finding is that of one rule.
func finding(t *testing.T, a decide.Answer, rule string) verdict.Finding {
	t.Helper()
	for _, f := range a.Findings {
		if f.Rule == rule {
			return f
		}
	}
	require.Failf(t, "finding", "no finding of %s", rule)
	return verdict.Finding{}
}

// Fault 11: the service's clock jumps. A question that the sky is part of is held, with what the clock reads and what was due; a step while
// a question is being judged gives no permit that lives on by it.
func TestClockThatJumpsHolds(t *testing.T) {
	for name, step := range map[string]time.Duration{"an hour back": -time.Hour, "a day forward": 24 * time.Hour} {
		b := newBench(t)
		b.home()
		b.wait(time.Minute)
		was := b.clock()
		b.wait(step)
		b.jumped = fmt.Sprintf("the clock jumped by %+.1f s: it reads %s where %s was due", step.Seconds(), b.clock().Format(time.DateTime), was.Format(time.DateTime))
		sky := question.Sky{RA: 1, Dec: 0.9, Frame: question.ICRS}
		a, err := b.ask(question.Action{Kind: question.Slew, Sky: &sky}, zero, "")
		require.NoError(t, err)
		assert.NotEqual(t, verdict.Allow, a.Verdict, name)
		assert.Nil(t, a.Permit, name)
		f := finding(t, a, "time/agree")
		assert.Equal(t, verdict.Holds, f.Effect, name)
		assert.Contains(t, f.Sentence, b.clock().Format(time.DateTime), "%s: what it reads", name)
		assert.Contains(t, f.Sentence, was.Format(time.DateTime), "%s: what was due", name)
	}
}

// Fault 52: many askers, one rig, one instant: one permit, and every other answer is a hold that names it.
func TestRacersAreToldWhoHasThePermit(t *testing.T) {
	rounds := 5
	if os.Getenv("KEEPCLEAR_LONG") != "" {
		rounds = 500
	}
	b := newBench(t)
	b.home()
	for round := range rounds {
		answers := make([]decide.Answer, 20)
		var wg sync.WaitGroup
		for i := range answers {
			wg.Go(func() {
				var err error
				answers[i], err = b.slew(zero, there)
				assert.NoError(t, err)
			})
		}
		wg.Wait()
		var allowed []string
		for _, a := range answers {
			if a.Verdict == verdict.Allow {
				allowed = append(allowed, a.Permit.ID)
			}
		}
		require.Len(t, allowed, 1, "round %d", round)
		for _, a := range answers {
			if a.Verdict == verdict.Allow {
				continue
			}
			assert.Equal(t, verdict.Hold, a.Verdict)
			assert.Equal(t, []string{"permit/one"}, objections(a))
			assert.Equal(t, allowed, finding(t, a, "permit/one").About, "round %d: the permit in force is named", round)
		}
		b.d.Withdraw("heron", "test", "next round", state.Exchanged{})
		b.onRecord(state.Withdrawn, allowed[0])
	}
}

// Fault 54: a lock and a permit, in both orders. Set before the question is judged, the lock holds it by its id; set while it is judged, the
// permit leaves as withdrawn, by the lock's person and reason.
func TestLockWinsInBothOrders(t *testing.T) {
	b := newBench(t)
	b.home()
	l, _, _, err := b.d.Lock("heron", "A. Person", "hands inside", b.clock(), request("lock-request-1", "x"))
	require.NoError(t, err)
	a, err := b.slew(zero, there)
	require.NoError(t, err)
	assert.Equal(t, verdict.Hold, a.Verdict)
	assert.Equal(t, []string{"lock/none"}, objections(a))
	assert.Contains(t, finding(t, a, "lock/none").Sentence, l.ID)
	_, _, err = b.d.Release([]string{l.ID}, "A. Person", "hands out", b.clock(), request("release-request-1", "x"))
	require.NoError(t, err)

	for _, rigName := range []string{"heron", ""} {
		b := newBench(t)
		b.home()
		slow := &slowJudge{real: must(b.d.Member("heron")).Rules, entered: make(chan struct{}), leave: make(chan struct{})}
		b.judge = slow
		b.restart()
		var wg sync.WaitGroup
		var a decide.Answer
		wg.Go(func() { a, _ = b.slew(zero, there) })
		<-slow.entered
		ids := b.ids.Load()
		locked := make(chan error, 1)
		wg.Go(func() {
			_, _, _, err := b.d.Lock(rigName, "A. Person", "hands inside", b.clock(), request("lock-request-1", "x"))
			locked <- err
		})
		require.Eventually(t, func() bool { return b.ids.Load() > ids }, 10*time.Second, time.Millisecond, "the lock is under way")
		select {
		case err := <-locked:
			assert.Fail(t, "a lock was set in the middle of a turn", "%v", err)
		case <-time.After(50 * time.Millisecond): // it waits for its turn; that it took leave back already shows below
		}
		close(slow.leave)
		wg.Wait()
		require.NoError(t, <-locked)
		require.NotNil(t, a.Permit, "%q: %s", rigName, a.Sentence)
		assert.Equal(t, question.Withdrawn, a.Permit.State, "%q: it leaves as withdrawn", rigName)
		assert.NotEmpty(t, a.Permit.Because)
		assert.Len(t, b.look().Locks, 1)
		assert.False(t, b.look().State.Permit.Open())
	}
}

// Faults, row 50: whoever goes while he waits for his turn is not judged: nothing is on record, no permit stands in anybody's way, and the
// same request is judged when it comes again.
func TestWhoGoesBeforeHisTurnIsNotJudged(t *testing.T) {
	b := newBench(t)
	b.judge = entering{must(b.d.Member("heron")).Rules, b.enter}
	b.restart()
	b.home()
	entered, goOn := make(chan struct{}), make(chan struct{})
	b.onEntering(func(room string) {
		if room == "rules" {
			close(entered)
			b.onEntering(nil)
			<-goOn
		}
	})
	done := make(chan error, 1)
	go func() {
		_, err := b.ask(question.Action{Kind: question.Track, Follow: time.Hour}, zero, "")
		done <- err
	}()
	<-entered // the turn is taken
	ctx, cancel := context.WithCancel(t.Context())
	id := "question-of-one-who-goes"
	q := question.Question{
		ID: id, Rig: "heron", Action: question.Action{Kind: question.Slew, Axes: &there, Message: []byte(id)}, Sample: b.sample(zero),
		Sent: b.clock(), At: b.clock(), Asker: "test", AttendedBy: "A. Person",
	}
	left := make(chan error, 1)
	go func() { _, err := b.d.Ask(ctx, q, request(id, id)); left <- err }()
	cancel()
	close(goOn)
	require.NoError(t, <-done)
	require.ErrorIs(t, <-left, context.Canceled)
	_, err := b.rec.ByRequestID(t.Context(), id)
	assert.ErrorIs(t, err, record.ErrAbsent)
	b.d.Withdraw("heron", "test", "", state.Exchanged{})
	a, err := b.d.Ask(t.Context(), q, request(id, id))
	require.NoError(t, err)
	assert.Equal(t, verdict.Allow, a.Verdict, a.Sentence)
	assert.False(t, a.Repeated)
}

// Faults, row 50: one who goes as any room is entered, the turn once his, is judged and recorded to the end.
func TestCancelInEveryRoomIsRecorded(t *testing.T) {
	for _, room := range []string{"clock", "facts", "rules", "record", "reply"} {
		b := newBench(t)
		b.judge = entering{must(b.d.Member("heron")).Rules, b.enter}
		b.restart()
		b.home()
		ctx, cancel := context.WithCancel(t.Context())
		cancelled := 0
		b.onEntering(func(in string) {
			if in == room {
				cancelled++
				cancel()
			}
		})
		id := "question-cancelled"
		q := question.Question{
			ID: id, Rig: "heron", Action: question.Action{Kind: question.Slew, Axes: &there, Message: []byte(id)}, Sample: b.sample(zero),
			Sent: b.clock(), At: b.clock(), Asker: "test", AttendedBy: "A. Person",
		}
		a, err := b.d.Ask(ctx, q, request(id, id))
		require.NoError(t, err, room)
		require.Positive(t, cancelled, room)
		require.Equal(t, verdict.Allow, a.Verdict, "%s: %s", room, a.Sentence)
		w, err := b.rec.ByRequestID(t.Context(), id)
		require.NoError(t, err, room)
		assert.Equal(t, a.Receipt.Place, w.Entry.Place(), room)
		assert.Equal(t, []string{a.Permit.ID}, w.Entry.LeaveIDs, room)
	}
}
