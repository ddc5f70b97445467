package decide_test

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/rules"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/verdict"
)

var (
	zero  = rig.DegAxes(0, 0)
	there = rig.DegAxes(-30, 60)
)

func objections(a decide.Answer) (out []string) {
	for _, f := range a.Findings {
		if f.Effect != verdict.Passes && f.Effect != verdict.NotApplicable {
			out = append(out, f.Rule)
		}
	}
	return out
}

func TestUnhomedRigHoldsAndNamesHoming(t *testing.T) {
	b := newBench(t)
	a, err := b.slew(zero, there)
	require.NoError(t, err)
	assert.Equal(t, verdict.Hold, a.Verdict)
	assert.Contains(t, objections(a), "pose/known")
	kinds := map[verdict.NeedKind]bool{}
	for _, n := range a.Needs {
		kinds[n.Kind] = true
	}
	assert.True(t, kinds[verdict.NeedHoming], "%v", a.Needs)
	assert.Nil(t, a.Permit)
}

// The whole spine: an allow has its permit, its entry on disk, every rule's finding, and the permit's epoch.
func TestAllowIsOnRecord(t *testing.T) {
	b := newBench(t)
	b.home()
	a, err := b.slew(zero, there)
	require.NoError(t, err)
	require.Equal(t, verdict.Allow, a.Verdict, "%s %v", a.Sentence, objections(a))
	require.NotNil(t, a.Permit)
	assert.Equal(t, question.Begun, a.Permit.State)
	e, err := b.rec.Get(context.Background(), "heron", a.Receipt.Place.Number)
	require.NoError(t, err)
	assert.Equal(t, a.Receipt.Place.Hash, e.Hash)
	body, err := state.Decode(e.Body)
	require.NoError(t, err)
	m, err := b.d.Member("heron")
	require.NoError(t, err)
	assert.Len(t, body.Findings, len(m.Rules.IDs()), "one finding for every loaded rule")
	for _, f := range body.Findings {
		assert.Contains(t, []verdict.Effect{verdict.Passes, verdict.NotApplicable}, f.Effect)
	}
	assert.Equal(t, a.Permit.Epoch, body.Event.After.Epoch)
	assert.Equal(t, []string{a.Permit.ID}, e.LeaveIDs)
}

// The same id with the same bytes gives the recorded answer, after a restart too, and the permit's present state; other bytes are an
// error and change nothing (faults 8 and 45).
func TestSameRequestSameAnswer(t *testing.T) {
	b := newBench(t)
	b.home()
	action := question.Action{Kind: question.Slew, Axes: &there}
	first, err := b.askAs("question-repeated", "bytes", action, zero, "")
	require.NoError(t, err)
	require.Equal(t, verdict.Allow, first.Verdict)
	again, err := b.askAs("question-repeated", "bytes", action, zero, "")
	require.NoError(t, err)
	assert.True(t, again.Repeated)
	assert.Equal(t, first.Receipt.Place, again.Receipt.Place)
	assert.Equal(t, question.Begun, again.Permit.State)
	_, err = b.askAs("question-repeated", "other bytes", action, zero, "")
	assert.ErrorIs(t, err, record.ErrReused)
	assert.ErrorContains(t, err, "use a new id for what is new")

	b.restart()
	later, err := b.askAs("question-repeated", "bytes", action, zero, "")
	require.NoError(t, err)
	assert.Equal(t, again.Stored, later.Stored, "the same decision bytes for ever")
	assert.Equal(t, question.Withdrawn, later.Permit.State, "a permit does not survive a restart")
	assert.Contains(t, later.Permit.Because, "restarted")
}

func TestOnePermitPerRig(t *testing.T) {
	b := newBench(t)
	b.home()
	first, err := b.slew(zero, there)
	require.NoError(t, err)
	require.Equal(t, verdict.Allow, first.Verdict)
	second, err := b.slew(zero, rig.DegAxes(-10, 30))
	require.NoError(t, err)
	assert.Equal(t, verdict.Hold, second.Verdict)
	assert.Equal(t, []string{"permit/one"}, objections(second))
	require.Len(t, second.Needs, 1)
	assert.Equal(t, first.Permit.ID, second.Needs[0].About, "the hold names the permit")
	third, err := b.ask(question.Action{Kind: question.Slew, Axes: &there}, zero, first.Permit.ID)
	require.NoError(t, err)
	assert.Equal(t, verdict.Allow, third.Verdict, "%v", objections(third))
}

// Two askers, one rig, one instant: one permit (fault 52).
func TestRacingAskersGetOnePermit(t *testing.T) {
	b := newBench(t)
	b.home()
	for round := range 20 {
		var wg sync.WaitGroup
		answers := make([]decide.Answer, 8)
		for i := range answers {
			wg.Go(func() {
				a, err := b.slew(zero, rig.DegAxes(-float64(10+i), 40))
				assert.NoError(t, err)
				answers[i] = a
			})
		}
		wg.Wait()
		allowed := ""
		for _, a := range answers {
			if a.Verdict == verdict.Allow {
				assert.Empty(t, allowed, "round %d: two permits at once", round)
				allowed = a.Permit.ID
			}
		}
		require.NotEmpty(t, allowed)
		_, known := b.d.Withdraw("heron", "test", "next round", state.Exchanged{})
		require.True(t, known)
	}
	v, err := b.d.Look(context.Background(), "heron")
	require.NoError(t, err)
	assert.False(t, v.State.Permit.Open())
}

// A lock set while a permit is being issued wins, whichever comes first (fault 54).
func TestLockWins(t *testing.T) {
	b := newBench(t)
	b.home()
	for round := range 20 {
		var wg sync.WaitGroup
		var a decide.Answer
		var l question.Lock
		wg.Go(func() { a, _ = b.slew(zero, there) })
		wg.Go(func() {
			var err error
			id := fmt.Sprintf("lock-request-%04d", round)
			l, _, _, err = b.d.Lock(map[bool]string{true: "heron", false: ""}[round%2 == 0], "A. Person", "hands inside", b.clock(), request(id, id))
			assert.NoError(t, err)
		})
		wg.Wait()
		if a.Verdict == verdict.Allow {
			assert.NotNil(t, a.Permit)
		}
		v, err := b.d.Look(context.Background(), "heron")
		require.NoError(t, err)
		assert.False(t, v.State.Permit.Open(), "round %d: no permit is open under a lock", round)
		after, err := b.slew(zero, there)
		require.NoError(t, err)
		assert.Equal(t, verdict.Hold, after.Verdict)
		assert.Contains(t, objections(after), "lock/none")
		id := fmt.Sprintf("release-request-%04d", round)
		_, _, err = b.d.Release([]string{l.ID}, "A. Person", "hands out", b.clock(), request(id, id))
		require.NoError(t, err)
	}
}

// Locks survive a restart; releasing is once, all or none, and a later lock stays.
func TestLocksSurviveAndReleaseOnce(t *testing.T) {
	b := newBench(t)
	b.home()
	lock := func(rigName string) question.Lock {
		id := fmt.Sprintf("lock-request-%08d", b.ids.Add(1))
		l, _, _, err := b.d.Lock(rigName, "A. Person", "hands inside", b.clock(), request(id, id))
		require.NoError(t, err)
		return l
	}
	release := func(ids ...string) ([]question.Lock, error) {
		id := fmt.Sprintf("release-request-%08d", b.ids.Add(1))
		left, _, err := b.d.Release(ids, "A. Person", "hands out", b.clock(), request(id, id))
		return left, err
	}
	one, all := lock("heron"), lock("")
	b.restart()
	v, err := b.d.Look(context.Background(), "heron")
	require.NoError(t, err)
	require.Len(t, v.Locks, 2)
	_, err = release(one.ID, "no-such-lock")
	assert.ErrorIs(t, err, decide.ErrNoLock)
	v, _ = b.d.Look(context.Background(), "heron")
	assert.Len(t, v.Locks, 2, "all or none")
	left, err := release(one.ID)
	require.NoError(t, err)
	require.Len(t, left, 1)
	assert.Equal(t, all.ID, left[0].ID)
	_, err = release(one.ID)
	assert.ErrorIs(t, err, decide.ErrReleased)
}

// Withdraw answers while a question is being judged, and the permit that was on its way does not live.
func TestWithdrawWhileJudging(t *testing.T) {
	b := newBench(t)
	b.home()
	slow := &slowJudge{real: must(b.d.Member("heron")).Rules, entered: make(chan struct{}), leave: make(chan struct{})}
	b.judge = slow
	b.restart()
	var a decide.Answer
	var wg sync.WaitGroup
	wg.Go(func() { a, _ = b.slew(zero, there) })
	<-slow.entered
	ids, known := b.d.Withdraw("heron", "A. Person", "stop", state.Exchanged{})
	assert.True(t, known)
	assert.Empty(t, ids, "nothing was open yet")
	close(slow.leave)
	wg.Wait()
	require.NotNil(t, a.Permit)
	assert.Equal(t, question.Withdrawn, a.Permit.State)
	assert.True(t, a.Changed, "what the record has of the answer is not what leaves")
}

type slowJudge struct {
	real    decide.Judge
	once    sync.Once
	entered chan struct{}
	leave   chan struct{}
}

func (s *slowJudge) Judge(ctx context.Context, sub rules.Subject, f facts.Set, at time.Time) []verdict.Finding {
	s.once.Do(func() { close(s.entered); <-s.leave })
	return s.real.Judge(ctx, sub, f, at)
}

func (s *slowJudge) IDs() []string { return s.real.IDs() }

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// Every way in which the rules can fall short is a hold (invariants 2 and 6).
func TestRulesThatFallShortHold(t *testing.T) {
	b := newBench(t)
	b.home()
	real := must(b.d.Member("heron")).Rules
	cases := map[string]func([]verdict.Finding) []verdict.Finding{
		"none at all":       func([]verdict.Finding) []verdict.Finding { return nil },
		"one left out":      func(f []verdict.Finding) []verdict.Finding { return f[1:] },
		"one twice":         func(f []verdict.Finding) []verdict.Finding { return append(f, f[0]) },
		"an unknown effect": func(f []verdict.Finding) []verdict.Finding { f[0].Effect = "fine"; return f },
		"an unknown rule": func(f []verdict.Finding) []verdict.Finding {
			return append(f, verdict.Finding{Rule: "site/x", Effect: verdict.Passes})
		},
		"a required one not applicable": func(f []verdict.Finding) []verdict.Finding {
			for i := range f {
				if f[i].Rule == "clear/path" {
					f[i].Effect = verdict.NotApplicable
				}
			}
			return f
		},
	}
	for name, change := range cases {
		b.judge = &changedJudge{real, change}
		b.restart()
		a, err := b.slew(zero, there)
		require.NoError(t, err, name)
		assert.Equal(t, verdict.Hold, a.Verdict, name)
		assert.Nil(t, a.Permit, name)
		assert.NotEmpty(t, a.Sentence, name)
	}
}

type changedJudge struct {
	real   decide.Judge
	change func([]verdict.Finding) []verdict.Finding
}

func (c *changedJudge) Judge(ctx context.Context, sub rules.Subject, f facts.Set, at time.Time) []verdict.Finding {
	return c.change(c.real.Judge(ctx, sub, f, at))
}

func (c *changedJudge) IDs() []string { return c.real.IDs() }

// A refused report holds its rig until the same asker's next one is understood.
func TestRefusedReportHolds(t *testing.T) {
	b := newBench(t)
	b.home()
	require.NoError(t, b.d.Refuse("heron", "test", "sample.#77: unknown field", true, b.clock(), record.Hash{1}, state.Exchanged{}))
	b.restart()
	a, err := b.slew(zero, there)
	require.NoError(t, err)
	assert.Equal(t, verdict.Hold, a.Verdict)
	assert.Contains(t, a.Sentence, "not understood: that of test (sample.#77: unknown field)", "whose report it was")
	worst, _ := verdict.Gravest(a.Findings)
	assert.Contains(t, worst.Remedy, "Have test send a report that is understood", "whose report ends it")
	v, err := b.d.Look(context.Background(), "heron")
	require.NoError(t, err)
	assert.Contains(t, v.Needs, verdict.Need{Kind: verdict.NeedSample, Sentence: worst.Remedy})
	home, err := b.ask(question.Action{Kind: question.Home}, zero, "")
	require.NoError(t, err)
	assert.Equal(t, verdict.Hold, home.Verdict, "the way home is judged from a pose that the report may have called lost")
	assert.Contains(t, home.Sentence, "that of test (sample.#77: unknown field)")
	_, err = b.report(decide.Report{Sample: b.sample(zero)})
	require.NoError(t, err)
	a, err = b.slew(zero, there)
	require.NoError(t, err)
	assert.Equal(t, verdict.Allow, a.Verdict, "%v", objections(a))
}

// Repeats of one refusal are one entry a minute, with a count.
func TestRefusalsAreCounted(t *testing.T) {
	b := newBench(t)
	count := func() (n, last int) {
		for e, err := range b.rec.Scan(context.Background(), record.ServiceChain, 1) {
			require.NoError(t, err)
			body, err := state.Decode(e.Body)
			require.NoError(t, err)
			n, last = n+1, body.Count
		}
		return n, last
	}
	for range 50 {
		require.NoError(t, b.d.Refuse("nobody", "test", "rig: unknown", false, b.clock(), record.Hash{2}, state.Exchanged{}))
	}
	n, _ := count()
	assert.Equal(t, 1, n)
	b.wait(61 * time.Second)
	require.NoError(t, b.d.Refuse("nobody", "test", "rig: unknown", false, b.clock(), record.Hash{2}, state.Exchanged{}))
	n, last := count()
	assert.Equal(t, 2, n)
	assert.Equal(t, 50, last, "49 repeats and this one")
}

// Who lifts another's lock is told from who lifts their own, in the entry itself.
func TestReleaseSaysWhoseLockItWas(t *testing.T) {
	b := newBench(t)
	lock, _, _, err := b.d.Lock("heron", "V. Elm", "at the pier", b.clock(), request("lock-request-0001", "x"))
	require.NoError(t, err)
	_, _, err = b.d.Release([]string{lock.ID}, "W. Oak", "left the pier", b.clock(), request("release-request-1", "x"))
	require.NoError(t, err)
	var said []string
	for e, err := range b.rec.Scan(context.Background(), "heron", 1) {
		require.NoError(t, err)
		if e.Kind == state.LockKind {
			said = append(said, e.Sentence)
		}
	}
	assert.Equal(t, []string{"Locked by V. Elm: at the pier (lock " + lock.ID + ")", "W. Oak released " + lock.ID + ": left the pier (" + lock.ID + " set by V. Elm: at the pier)"}, said)
}

// A question that was refused is found by its rig, so that who looks for what was asked of it finds it too.
func TestRefusedQuestionIsFoundByItsRig(t *testing.T) {
	b := newBench(t)
	require.NoError(t, b.d.Refuse("heron", "test", "action.slew.sky.dec_deg: got NaN", false, b.clock(), record.Hash{3}, state.Exchanged{}))
	require.NoError(t, b.d.Refuse("nobody", "test", "rig: unknown", false, b.clock(), record.Hash{4}, state.Exchanged{}))
	rigs := map[string]string{}
	for e, err := range b.rec.Scan(context.Background(), record.ServiceChain, 1) {
		require.NoError(t, err)
		rigs[e.Sentence] = e.Rig
	}
	assert.Equal(t, map[string]string{"Refused: action.slew.sky.dec_deg: got NaN": "heron", "Refused: rig: unknown": ""}, rigs)
	b.restart() // the fold of either chain is none the wiser
	v, err := b.d.Look(context.Background(), "heron")
	require.NoError(t, err)
	assert.Empty(t, v.State.Refused, "a question holds nothing back")
}

func TestContradictionsAreRefusedWithEveryField(t *testing.T) {
	b := newBench(t)
	b.home()
	past := b.clock().Add(-time.Minute)
	_, err := b.ask(question.Action{Kind: question.Track, Until: &past}, zero, "")
	var c *decide.ConflictError
	require.True(t, errors.As(err, &c))
	assert.Equal(t, "action.track.until_time", c.Faults[0].Path)
	sky := question.Sky{RA: 1, Dec: 1, Frame: question.ICRS}
	_, err = b.ask(question.Action{Kind: question.Slew, Sky: &sky, Side: rig.First}, zero, "")
	require.True(t, errors.As(err, &c))
	assert.Equal(t, "action.slew.side", c.Faults[0].Path)
	_, err = b.ask(question.Action{Kind: question.Park, Place: "shed"}, zero, "")
	require.True(t, errors.As(err, &c))
	assert.Equal(t, decide.FieldFault{
		Path: "action.park.place", Wanted: "a place of rest in the rig file", Got: "none there",
		Remedy: "write one under rests in the rig file, or ask for a slew to the angles of home",
	}, c.Faults[0], "it says what to do where there is no place to name")
	place := func(names ...string) string {
		r := *b.rig
		r.Rests = nil
		for _, n := range names {
			r.Rests = append(r.Rests, rig.Rest{Name: n})
		}
		for _, f := range decide.ActionFits(&r, question.Action{Kind: question.Park}, b.clock(), "action") {
			return f.Wanted
		}
		return ""
	}
	assert.Empty(t, place("low"), "the only one need not be named")
	assert.Equal(t, `one of "low", "high"`, place("low", "high"))
}

// The fold of the record is what was held, and verification recomputes it (restart = fold).
func TestRestartIsTheFold(t *testing.T) {
	b := newBench(t)
	b.home()
	for i := range 5 {
		a, err := b.slew(zero, rig.DegAxes(-float64(10*i+10), 40))
		require.NoError(t, err)
		require.Equal(t, verdict.Allow, a.Verdict)
		_, _ = b.d.Withdraw("heron", "test", "next", state.Exchanged{})
		b.wait(time.Second)
		_, err = b.report(decide.Report{Sample: b.sample(zero)})
		require.NoError(t, err)
	}
	before, err := b.d.Look(context.Background(), "heron")
	require.NoError(t, err)
	b.restart()
	after, err := b.d.Look(context.Background(), "heron")
	require.NoError(t, err)
	assert.Equal(t, before.State.Epoch, after.State.Epoch)
	assert.Equal(t, before.State.Homing, after.State.Homing)
	assert.Equal(t, before.State.Permit, after.State.Permit)
	res, err := b.rec.Verify(context.Background(), record.VerifyOptions{Fold: state.NewFold})
	require.NoError(t, err)
	assert.True(t, res.Whole, res.Sentence)
}

// A record that is closed, or down, gives no allow; withdrawing still works.
func TestRecordGoneMeansNoAllow(t *testing.T) {
	b := newBench(t)
	b.home()
	a, err := b.slew(zero, there)
	require.NoError(t, err)
	require.NoError(t, b.rec.Close())
	_, err = b.slew(zero, there)
	assert.Error(t, err)
	ids, known := b.d.Withdraw("heron", "A. Person", "stop", state.Exchanged{})
	assert.True(t, known)
	assert.Equal(t, []string{a.Permit.ID}, ids)
}

// A question for a rig that does not exist names those that do.
func TestUnknownRig(t *testing.T) {
	b := newBench(t)
	q := question.Question{ID: "question-unknown", Rig: "crane", At: b.clock(), Action: question.Action{Kind: question.Home}}
	_, err := b.d.Ask(context.Background(), q, request("question-unknown", "x"))
	assert.ErrorIs(t, err, decide.ErrNoRig)
	assert.Contains(t, err.Error(), "heron")
}
