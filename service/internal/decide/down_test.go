package decide_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/faults"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/verdict"
)

// allowed asks for a slew and wants its permit.
func (b *bench) allowed(to rig.Axes, replaces string) *question.Permit {
	b.t.Helper()
	a, err := b.ask(question.Action{Kind: question.Slew, Axes: &to}, zero, replaces)
	require.NoError(b.t, err)
	require.Equal(b.t, verdict.Allow, a.Verdict, "%s %v", a.Sentence, objections(a))
	return a.Permit
}

// breaks makes every commit fail from now on; lost: it is done, and its answer is lost.
func (b *bench) breaks(lost bool) {
	when := faults.Before
	if lost {
		when = faults.After
	}
	b.disk.FailAtOnly("commit", 1, when, true)
}

// mends lets the disk work, has the record try again, and waits until it takes entries.
func (b *bench) mends() {
	b.t.Helper()
	b.disk.Heal()
	select {
	case b.retry <- time.Time{}:
	case <-time.After(10 * time.Second):
		b.t.Fatal("the record does not try again")
	}
	require.Eventually(b.t, func() bool { return b.d.Down() == nil }, 10*time.Second, time.Millisecond)
}

func (b *bench) look() decide.View {
	b.t.Helper()
	v, err := b.d.Look(b.t.Context(), "heron")
	require.NoError(b.t, err)
	return v
}

// A permit whose entry could not be written never left, so nobody is told that it was taken back: what is named is the permit in force.
func TestWithdrawNamesWhatLeft(t *testing.T) {
	for name, lost := range map[string]bool{"nothing on disk": false, "on disk, its answer lost": true} {
		b := newBench(t)
		b.home()
		b.breaks(lost)
		_, err := b.ask(question.Action{Kind: question.Slew, Axes: &there}, zero, "")
		require.ErrorIs(t, err, record.ErrDown, name)
		ids, known := b.d.Withdraw("heron", "A. Person", "stop", state.Exchanged{})
		assert.True(t, known)
		assert.Empty(t, ids, "%s: no permit left", name)
		assert.False(t, b.look().State.Permit.Open(), name)
		b.mends()
		assert.False(t, b.look().State.Permit.Open(), "%s: nor after the record came back", name)

		first := b.allowed(there, "")
		b.breaks(lost)
		to := rig.DegAxes(-10, 30)
		_, err = b.ask(question.Action{Kind: question.Slew, Axes: &to}, zero, first.ID)
		require.ErrorIs(t, err, record.ErrDown, name)
		ids, _ = b.d.Withdraw("heron", "A. Person", "stop", state.Exchanged{})
		assert.Equal(t, []string{first.ID}, ids, "%s: the permit that is out there", name)
	}
}

// What was taken back while the record was down stays so when the state is folded anew from a record that does not know of it: whether
// a person took it back or a lock that could not be set did, and also where memory had another permit in its place.
func TestTakenBackWhileDownStaysSoAfterTheFold(t *testing.T) {
	withdraw := func(b *bench) {
		ids, _ := b.d.Withdraw("heron", "A. Person", "stop", state.Exchanged{})
		assert.NotEmpty(b.t, ids)
	}
	lock := func(rigName string) func(b *bench) {
		return func(b *bench) {
			_, _, _, err := b.d.Lock(rigName, "A. Person", "hands inside", b.clock(), request("lock-request-down", "x"))
			assert.Error(b.t, err, "a lock that is not on record is none")
		}
	}
	for name, take := range map[string]func(b *bench){"withdrawn": withdraw, "locked": lock("heron"), "all locked": lock("")} {
		for _, replaced := range []bool{false, true} {
			b := newBench(t)
			b.home()
			p := b.allowed(there, "")
			b.breaks(false)
			to, replaces := rig.DegAxes(-10, 30), ""
			if replaced { // the record goes down over a question whose permit would take the place of the one in force
				replaces = p.ID
			}
			_, err := b.ask(question.Action{Kind: question.Slew, Axes: &to}, zero, replaces)
			require.ErrorIs(t, err, record.ErrDown)
			take(b)
			b.mends()
			require.EqualValues(t, 1, b.refolds.Load(), "the state was folded anew")
			now := b.look().State.Permit
			require.NotNil(t, now)
			assert.Equal(t, p.ID, now.ID, "%s: the record knows of no other", name)
			assert.Equal(t, question.Withdrawn, now.State, "%s, replaced %v", name, replaced)
			assert.Contains(t, now.Because, "A. Person", "%s, replaced %v: by whom", name, replaced)

			next := b.allowed(there, "")
			require.NoError(t, b.d.Refold())
			assert.Equal(t, next.ID, b.look().State.Permit.ID, name)
			assert.True(t, b.look().State.Permit.Open(), "%s: a later permit is not taken back by a later fold (%s)", name, b.look().State.Permit.Because)
			b.restart()
			old, err := b.rec.ByLeaveID(context.Background(), p.ID)
			require.NoError(t, err)
			assert.NotZero(t, old.Entry.Number)
			assert.Equal(t, question.Withdrawn, b.look().State.Permit.State, "%s: nothing is open after a restart", name)
		}
	}
}

// Leave that was given after an earlier one was taken back, on record, is not taken back by a fold.
func TestFoldKeepsLeaveGivenSince(t *testing.T) {
	for _, rigName := range []string{"heron", ""} {
		b := newBench(t)
		b.home()
		b.allowed(there, "")
		l, _, _, err := b.d.Lock(rigName, "A. Person", "hands inside", b.clock(), request("lock-request-1", "x"))
		require.NoError(t, err)
		_, _, err = b.d.Release([]string{l.ID}, "A. Person", "hands out", b.clock(), request("release-request-1", "x"))
		require.NoError(t, err)
		p := b.allowed(there, "")
		require.NoError(t, b.d.Refold())
		assert.Equal(t, question.Begun, b.look().State.Permit.State, "after a lock on %q: %s", rigName, b.look().State.Permit.Because)

		b.d.Withdraw("heron", "A. Person", "stop", state.Exchanged{})
		b.onRecord(state.Withdrawn, p.ID)
		b.allowed(there, "")
		require.NoError(t, b.d.Refold())
		assert.Equal(t, question.Begun, b.look().State.Permit.State, "after a withdrawal: %s", b.look().State.Permit.Because)
	}
}

// onRecord waits until a permit's withdrawal is the chain's last entry.
func (b *bench) onRecord(kind, permit string) {
	b.t.Helper()
	require.Eventually(b.t, func() bool {
		head := b.rec.Heads()["heron"]
		e, err := b.rec.Get(b.t.Context(), "heron", head.Number)
		require.NoError(b.t, err)
		body, err := state.Decode(e.Body)
		require.NoError(b.t, err)
		return e.Kind == kind && body.Event.After.Permit.ID == permit
	}, 10*time.Second, time.Millisecond)
}

// A rig as it stands says first that the record is down, and why, and no more once it is up.
func TestViewSaysThatTheRecordIsDown(t *testing.T) {
	b := newBench(t)
	_, err := b.ask(question.Action{Kind: question.Slew, Axes: &rig.Axes{}}, zero, "") // with a sample, as below
	require.NoError(t, err)
	up := b.look().Needs
	require.NotEmpty(t, up, "it was never homed")
	b.breaks(false)
	_, err = b.ask(question.Action{Kind: question.Slew, Axes: &rig.Axes{}}, zero, "")
	require.Error(t, err)
	down := b.look().Needs
	require.Equal(t, up, down[1:], "the rest as before")
	assert.Equal(t, verdict.NeedRepair, down[0].Kind)
	assert.Contains(t, down[0].Sentence, "Nothing is answered but stopping: the record is down: ")
	b.mends()
	for _, n := range b.look().Needs {
		assert.NotEqual(t, verdict.NeedRepair, n.Kind)
	}
}
