package decide_test

import (
	"context"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/state"
)

// A lock on all rigs tells on each chain whether leave ended by it: who reads of leave that ended looks for the permit.
func TestLockOnAllEndsNoLeaveThatNeverWas(t *testing.T) {
	lock := func(f *follower, why string) (kind, sentence string) {
		t.Helper()
		at := f.rec.Head("heron").Number
		_, _, _, err := f.d.Lock("", "A. Person", why, f.clock(), request("lock-of-all-"+why+"-0001", why))
		require.NoError(t, err)
		require.Equal(t, at+1, f.rec.Head("heron").Number)
		e := f.newest()
		return e.Kind, e.Sentence
	}
	f := following(t, there)
	kind, sentence := lock(f, "rain")
	assert.Equal(t, state.Withdrawn, kind, "a permit was open")
	assert.Equal(t, "Leave ended: locked by A. Person: rain.", sentence)
	kind, sentence = lock(f, "wind")
	assert.Equal(t, state.LockKind, kind, "it ended before")
	assert.Equal(t, "With every rig locked by A. Person: wind; no leave was open.", sentence)

	f = following(t, there)
	f.ends()
	f.leaved("p1")
	kind, _ = lock(f, "hail")
	assert.Equal(t, state.Withdrawn, kind, "a sync leave was live")
	kind, _ = lock(f, "snow")
	assert.Equal(t, state.LockKind, kind)

	empty := &follower{bench: newBench(t)}
	kind, _ = lock(empty, "fog")
	assert.Equal(t, state.LockKind, kind, "nothing was ever asked")
}

// What ends by a lock on all is told by what the chain has open: a permit that was on its way while the lock took leave back was never among that leave.
func TestLockOnAllEndsThePermitOnItsWay(t *testing.T) {
	b := watched(t, "owl")
	b.home()
	_, err := b.report(decide.Report{Rig: "owl", Homed: &decide.HomedReport{Sensed: true}, Sample: b.sample(b.rig.Home)})
	require.NoError(t, err)
	slew := question.Action{Kind: question.Slew, Axes: &there}
	first, err := b.put(b.of("owl", slew))
	require.NoError(t, err)
	require.NotNil(t, first.Permit)
	entered, leave := make(chan struct{}), make(chan struct{})
	var once sync.Once
	b.onEntering(func(room string) {
		if room == "record" { // judged, and not on record yet
			once.Do(func() { close(entered); <-leave })
		}
	})
	var a decide.Answer
	var both sync.WaitGroup
	both.Go(func() { a, _ = b.put(b.of("heron", slew)) })
	<-entered
	both.Go(func() {
		_, _, taken, err := b.d.Lock("", "A. Person", "rain", b.clock(), request("lock-of-all-rain-0002", "rain"))
		assert.NoError(t, err)
		assert.Equal(t, []string{first.Permit.ID}, taken, "of heron nothing was open yet")
	})
	require.Eventually(t, func() bool { return !must(b.d.Look(context.Background(), "owl")).State.Permit.Open() }, 10*time.Second, time.Millisecond)
	close(leave)
	both.Wait()
	require.NotNil(t, a.Permit)
	assert.False(t, a.Permit.Open())
	e := b.newest()
	assert.Equal(t, state.Withdrawn, e.Kind)
	assert.Equal(t, "Leave ended: locked by A. Person: rain.", e.Sentence)
}

// A withdrawal that could not be recorded leaves its permit open on the chain, until a lock on all ends it there.
func TestLockOnAllEndsWhatIsStillOpenOnRecord(t *testing.T) {
	b := newBench(t)
	b.home()
	b.allowed(there, "")
	b.breaks(false)
	b.d.Withdraw("heron", "A. Person", "stop", state.Exchanged{})
	require.Eventually(t, func() bool { return b.d.Down() != nil }, 10*time.Second, time.Millisecond)
	b.mends()
	_, _, _, err := b.d.Lock("", "A. Person", "rain", b.clock(), request("lock-of-all-rain-0003", "rain"))
	require.NoError(t, err)
	assert.Equal(t, state.Withdrawn, b.newest().Kind)
}
