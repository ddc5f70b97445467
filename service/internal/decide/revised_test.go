package decide_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
)

// What judges a rig is another since a start: that stands on its chain, once, before anything that is judged by it.
func TestAnotherRevisionIsOnRecord(t *testing.T) {
	b := newBench(t)
	b.revs = map[string]string{"rig": "r1", "limits": "l1", "rules": "u1", "build": "b1"}
	b.restart()
	assert.Zero(t, b.rec.Head("heron").Number, "nothing was judged before")
	assert.Empty(t, b.d.Revised())
	b.home()
	at := b.rec.Head("heron").Number
	restarted := func(revs map[string]string) string {
		t.Helper()
		b.revs = revs
		b.restart()
		if b.rec.Head("heron").Number == at {
			require.Empty(t, b.d.Revised())
			return ""
		}
		at++
		require.Equal(t, at, b.rec.Head("heron").Number, "one entry")
		e := b.newest()
		assert.Equal(t, state.Changed, e.Kind)
		assert.Equal(t, decide.Ourselves, e.Asker)
		require.Equal(t, map[string]string{"heron": strings.TrimPrefix(e.Sentence, "Judged otherwise from here on: ")}, b.d.Revised())
		body, err := state.Decode(e.Body)
		require.NoError(t, err)
		assert.Equal(t, revs, body.Revs)
		return e.Sentence
	}
	epoch, pose := b.look().State.Epoch, b.look().State.Pose
	const begins = "Judged otherwise from here on: "
	assert.Empty(t, restarted(b.revs))
	assert.Empty(t, restarted(map[string]string{"rig": "r1", "limits": "l1", "rules": "u1", "build": "b2"}), "another build alone is told by each entry")
	assert.Equal(t, begins+"limits l2, it was l1", restarted(map[string]string{"rig": "r1", "limits": "l2", "rules": "u1", "build": "b2"}))
	assert.Empty(t, restarted(b.revs), "once")
	assert.Equal(t, begins+"rig r2, it was r1; rules u2, it was u1", restarted(map[string]string{"rig": "r2", "limits": "l2", "rules": "u2", "build": "b2"}))
	assert.Empty(t, restarted(map[string]string{"rig": "r2", "limits": "", "rules": "u2", "build": "b2"}), "what is not told is no other")
	assert.Equal(t, begins+"limits l3, it was l2", restarted(map[string]string{"rig": "r2", "limits": "l3", "rules": "u2", "build": "b2"}))
	b.differs = func(m decide.Member, of, was string) string { return m.Rig.ID + " has other " + of + " than " + was }
	assert.Equal(t, begins+"heron has other rules than u2", restarted(map[string]string{"rig": "r2", "limits": "l3", "rules": "u1", "build": "b2"}))
	require.NoError(t, b.d.WithdrawAfterRestart())
	assert.Equal(t, at, b.rec.Head("heron").Number, "once in one start, too")
	assert.Equal(t, epoch, b.look().State.Epoch)
	assert.Equal(t, pose, b.look().State.Pose, "what is known of the axes stays")
}

// No start is refused because the record is down when that is told, as on a full disk; it is told once the record takes entries again, before what is judged by it.
func TestARevisionThatCannotBeToldYet(t *testing.T) {
	b := newBench(t)
	b.revs = map[string]string{"rig": "r1", "limits": "l1", "rules": "u1"}
	b.restart()
	b.home()
	b.restart()
	require.NoError(t, b.d.Untold())
	at := b.rec.Head("heron").Number
	b.revs = map[string]string{"rig": "r1", "limits": "l2", "rules": "u1"}
	b.breaks(false)
	b.restart()
	require.ErrorIs(t, b.d.Untold(), record.ErrDown)
	require.ErrorContains(t, b.d.Untold(), `putting on record what judges "heron" from here on`)
	assert.Equal(t, map[string]string{"heron": "limits l2, it was l1"}, b.d.Revised(), "the start says it all the same")
	_, err := b.slew(zero, there)
	require.ErrorIs(t, err, record.ErrDown, "and nothing is answered")
	b.mends()
	require.Equal(t, at, b.rec.Head("heron").Number)
	b.allowed(there, "")
	_, err = b.report(decide.Report{Limit: &question.MountLimit{Axis: 1}})
	require.NoError(t, err)
	var kinds []string
	for e, err := range b.rec.Scan(t.Context(), "heron", at+1) {
		require.NoError(t, err)
		kinds = append(kinds, e.Kind)
		if e.Kind == state.Changed {
			assert.Equal(t, "Judged otherwise from here on: limits l2, it was l1", e.Sentence)
		}
	}
	assert.Equal(t, []string{state.Changed, state.Asked, state.Reported}, kinds, "once, and first")
}
