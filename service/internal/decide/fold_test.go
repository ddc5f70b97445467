package decide_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/state"
)

// TestRigsAreTold in order, each once.
func TestRigsAreTold(t *testing.T) {
	b := newBench(t)
	m, err := b.d.Member("heron")
	require.NoError(t, err)
	named := func(ids ...string) (out []decide.Member) {
		for _, id := range ids {
			r := *m.Rig
			r.ID = id
			one := m
			one.Rig = &r
			out = append(out, one)
		}
		return out
	}
	d, err := decide.New(decide.Parts{Record: b.rec, Members: named("teal", "avocet", "snipe")})
	require.NoError(t, err)
	assert.Equal(t, []string{"avocet", "snipe", "teal"}, d.Rigs())
	_, err = decide.New(decide.Parts{Record: b.rec, Members: named("teal", "avocet", "teal")})
	require.ErrorContains(t, err, `two rig files describe "teal"`)
}

// TestRecordThatCannotBeReadIsNoStart: nothing is held, so nothing may be answered.
func TestRecordThatCannotBeReadIsNoStart(t *testing.T) {
	b := newBench(t)
	b.home()
	m, err := b.d.Member("heron")
	require.NoError(t, err)
	require.NoError(t, b.rec.Close())
	_, err = decide.New(decide.Parts{Record: b.rec, Members: []decide.Member{m}})
	require.ErrorIs(t, err, record.ErrClosed)
	assert.ErrorContains(t, err, "folding chain")
	assert.ErrorIs(t, b.d.Refold(), record.ErrClosed)
}

// TestStateOfEachChain is what is held of it, and of no other.
func TestStateOfEachChain(t *testing.T) {
	b := newBench(t)
	b.home()
	one, _, _, err := b.d.Lock("heron", "A. Person", "hands inside", b.clock(), request("lock-one", "1"))
	require.NoError(t, err)
	all, _, _, err := b.d.Lock("", "A. Person", "rain", b.clock(), request("lock-all", "2"))
	require.NoError(t, err)
	of := func(chain string) state.Chain {
		c, err := state.DecodeChain(b.d.StateOf(chain, record.Head{}))
		require.NoError(t, err, chain)
		return c
	}
	assert.Contains(t, of("heron").Locks, one.ID)
	assert.Len(t, of("heron").Locks, 1)
	assert.Equal(t, question.Known, of("heron").Rig.Pose.State)
	assert.Contains(t, of(record.ServiceChain).Locks, all.ID)
	assert.Len(t, of(record.ServiceChain).Locks, 1)
	assert.Nil(t, b.d.StateOf("nobody", record.Head{}))
}

// TestRestartFromAStateEntry gives what was held, a thousand entries on.
func TestRestartFromAStateEntry(t *testing.T) {
	b := newBench(t)
	b.home()
	lock, _, _, err := b.d.Lock("heron", "A. Person", "hands inside", b.clock(), request("lock-one", "1"))
	require.NoError(t, err)
	body, err := state.Chain{}.Write(nil, state.Body{})
	require.NoError(t, err)
	var last record.Written
	for range record.StateEvery {
		last, err = b.rec.Append(record.Draft{Chain: "heron", Time: b.clock(), Body: body, Index: record.Index{Kind: state.Rehearsed}}, b.rec.Head("heron"))
		require.NoError(t, err)
	}
	require.NoError(t, last.Wait())
	e, err := b.rec.LastState(t.Context(), "heron")
	require.NoError(t, err)
	require.Greater(t, e.Number, uint64(900))
	before := b.look()
	b.restart()
	after := b.look()
	assert.Equal(t, before.State.Homing.ID, after.State.Homing.ID)
	assert.Equal(t, before.State.Epoch, after.State.Epoch)
	require.Len(t, after.Locks, 1)
	assert.Equal(t, lock.ID, after.Locks[0].ID)
	res, err := b.rec.Verify(t.Context(), record.VerifyOptions{Fold: state.NewFold})
	require.NoError(t, err)
	assert.True(t, res.Whole, res.Sentence)
}

// TestLocksByTheTimeOfTheirSetting, whether they hold one rig or all.
func TestLocksByTheTimeOfTheirSetting(t *testing.T) {
	b := newBench(t)
	var want []string
	for i, rigName := range []string{"heron", "", "heron", ""} {
		b.wait(time.Second)
		l, _, _, err := b.d.Lock(rigName, "A. Person", "x", b.clock(), request("lock-request-"+string(rune('a'+i)), "x"))
		require.NoError(t, err)
		want = append(want, l.ID)
	}
	var got []string
	for _, l := range b.look().Locks {
		got = append(got, l.ID)
	}
	assert.Equal(t, want, got)
}

// TestFoldKeepsLiveLeave: what nobody took back is in force as before, and its epoch too.
func TestFoldKeepsLiveLeave(t *testing.T) {
	f := following(t, there)
	permit := f.look().State.Permit
	_, leave := f.leaved("p1")
	epoch := f.look().State.Epoch
	require.NoError(t, f.d.Refold())
	now := f.look().State
	assert.Equal(t, leave.ID, now.Leave.ID)
	assert.True(t, now.Leave.Live, now.Leave.Because)
	assert.Equal(t, permit.ID, now.Permit.ID)
	assert.True(t, now.Permit.Open(), now.Permit.Because)
	assert.Equal(t, epoch, now.Epoch)
	ids, _ := f.d.Withdraw("heron", "A. Person", "stop", state.Exchanged{})
	assert.ElementsMatch(t, []string{permit.ID, leave.ID}, ids, "and is taken back by its id, once")
}

// TestStartThatCannotBeRecordedIsNone: what was open must be closed on record first.
func TestStartThatCannotBeRecordedIsNone(t *testing.T) {
	b := newBench(t)
	b.home()
	b.allowed(rig.DegAxes(-30, 60), "")
	b.breaks(false)
	require.ErrorIs(t, b.d.WithdrawAfterRestart(), record.ErrDown)
	assert.False(t, b.look().State.Permit.Open())
}
