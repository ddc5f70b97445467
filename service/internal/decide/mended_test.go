package decide_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

// A sending time that is an hour off, either way, makes no duration longer: a jog is not judged by the clocks.
func TestSkewedSendingTimeLengthensNothing(t *testing.T) {
	for _, off := range []time.Duration{0, -time.Hour, time.Hour} {
		b := newBench(t)
		b.home()
		by := rig.DegAxes(1, 1)
		id := fmt.Sprintf("skewed-%09d", b.ids.Add(1))
		q := question.Question{
			ID: id, Rig: "heron", Action: question.Action{Kind: question.Jog, Axes: &by, Message: []byte(id)}, Sample: b.sample(b.rig.Home),
			Sent: b.clock().Add(off), At: b.clock(), Asker: "test", AttendedBy: "A. Person",
		}
		a, err := b.d.Ask(context.Background(), q, request(id, id))
		require.NoError(t, err)
		require.Equal(t, verdict.Allow, a.Verdict, a.Sentence)
		assert.LessOrEqual(t, a.Permit.StartWithin, 10*time.Second, "sent %v", off)
		assert.LessOrEqual(t, a.Permit.StopWithin, a.Permit.StartWithin+10*time.Second, "sent %v", off)
		assert.Equal(t, b.clock(), a.Sent, "what deadlines are counted from")
	}
}

// A permit that another replaces is closed on record, with what became of it.
func TestReplacedPermitIsClosed(t *testing.T) {
	b := newBench(t)
	b.home()
	first, err := b.slew(b.rig.Home, rig.DegAxes(20, 20))
	require.NoError(t, err)
	require.Equal(t, verdict.Allow, first.Verdict, first.Sentence)
	b.wait(time.Second)
	to := rig.DegAxes(10, 10)
	second, err := b.ask(question.Action{Kind: question.Slew, Axes: &to}, b.rig.Home, first.Permit.ID)
	require.NoError(t, err)
	require.Equal(t, verdict.Allow, second.Verdict, second.Sentence)
	assert.Greater(t, second.Permit.Epoch, first.Permit.Epoch)
	w, err := b.rec.ByRequestID(context.Background(), second.Permit.RequestID)
	require.NoError(t, err)
	body, err := state.Decode(w.Entry.Body)
	require.NoError(t, err)
	var said []string
	for _, n := range body.Notices {
		said = append(said, n.Sentence)
	}
	require.NotEmpty(t, said)
	assert.Contains(t, said[len(said)-1], "permit "+first.Permit.ID+" is over: replaced by permit "+second.Permit.ID)
}

// A lock on all rigs ends their leave on their own chains too, and raises the epoch even of a rig without any.
func TestLockOnAllIsOnEveryChain(t *testing.T) {
	b := newBench(t)
	b.home()
	a, err := b.slew(b.rig.Home, rig.DegAxes(20, 20))
	require.NoError(t, err)
	require.Equal(t, verdict.Allow, a.Verdict, a.Sentence)
	_, _, taken, err := b.d.Lock("", "A. Person", "somebody is inside", b.clock(), request("lock-00000000001", "x"))
	require.NoError(t, err)
	assert.Contains(t, taken, a.Permit.ID)
	require.NoError(t, b.d.Refold())
	v, err := b.d.Look(context.Background(), "heron")
	require.NoError(t, err)
	assert.False(t, v.State.Permit.Open(), "not after a fold of the record either")
	before := v.State.Epoch
	assert.Greater(t, before, a.Permit.Epoch)
	_, _, _, err = b.d.Lock("heron", "A. Person", "again", b.clock(), request("lock-00000000002", "y"))
	require.NoError(t, err)
	v, err = b.d.Look(context.Background(), "heron")
	require.NoError(t, err)
	assert.Greater(t, v.State.Epoch, before)
}

// Leave that is taken back while the record is down is taken back in memory at once.
func TestLeaveIsTakenWhileTheRecordIsDown(t *testing.T) {
	b := newBench(t)
	b.home()
	a, err := b.slew(b.rig.Home, rig.DegAxes(20, 20))
	require.NoError(t, err)
	require.Equal(t, verdict.Allow, a.Verdict, a.Sentence)
	require.NoError(t, b.rec.Close())
	ids, known := b.d.Withdraw("heron", "A. Person", "stop", state.Exchanged{})
	require.True(t, known)
	assert.Contains(t, ids, a.Permit.ID)
	v, err := b.d.Look(context.Background(), "heron")
	require.NoError(t, err)
	assert.Equal(t, question.Withdrawn, v.State.Permit.State)
}

// A report that was not understood kills leave that waits to be used, is remembered of a bounded number of askers, and is recorded once
// where it only comes again.
func TestRefusedReportsAreBounded(t *testing.T) {
	b := newBench(t)
	b.home()
	count := func() int {
		n := 0
		for _, err := range b.rec.Scan(context.Background(), "heron", 1) {
			require.NoError(t, err)
			n++
		}
		return n
	}
	refuse := func(asker string) {
		require.NoError(t, b.d.Refuse("heron", asker, "field 99 is not known", true, b.clock(), record.Hash{1}, state.Exchanged{}))
	}
	was := count()
	for range 20 {
		refuse("one")
	}
	assert.Equal(t, was+1, count(), "the same again within a minute")
	for i := range 100 {
		refuse(fmt.Sprintf("asker %d", i))
	}
	v, err := b.d.Look(context.Background(), "heron")
	require.NoError(t, err)
	assert.LessOrEqual(t, len(v.State.Refused), 64)
	a, err := b.slew(b.rig.Home, rig.DegAxes(20, 20))
	require.NoError(t, err)
	assert.Equal(t, verdict.Hold, a.Verdict)
}

// A permit to track ends no later than the first thing that ends the tracking.
func TestStopByEndsWithTheTracking(t *testing.T) {
	b := newBench(t)
	b.home()
	by := rig.DegAxes(60, 0)
	a, err := b.ask(question.Action{Kind: question.Jog, Axes: &by, Follow: time.Hour}, b.rig.Home, "")
	require.NoError(t, err)
	require.Equal(t, verdict.Allow, a.Verdict, a.Sentence)
	travel := time.Duration(float64((unit.Deg(97.5)-by.A1)/question.SiderealRate)*float64(time.Second)) + 30*time.Second
	assert.False(t, a.Permit.StopBy.After(b.clock().Add(travel)), "stop by %v", a.Permit.StopBy)
}

// An exposure that ends an hour from now names the hour.
func TestExposureAnHourAheadNamesTheHour(t *testing.T) {
	b := newBench(t)
	b.home()
	v := question.Solve{Sky: question.Sky{Frame: question.ICRS}, Start: b.clock().Add(time.Hour - 10*time.Second), Exposure: 5 * time.Second}
	_, err := b.ask(question.Action{Kind: question.Sync, Solve: &v}, b.rig.Home, "")
	var conflict *decide.ConflictError
	require.ErrorAs(t, err, &conflict)
	assert.Contains(t, conflict.Faults[0].Remedy, "one hour")
}

// Fault 70b: a jog that waits for a begin was judged by the motor counts, and by the site that the mount told: a sample that shows no count
// begins nothing, nor does a track's that shows the mount's clock off by more than the limit of mount/map.
func TestBeginByLessThanWasJudged(t *testing.T) {
	by := rig.DegAxes(1, 1)
	jog := question.Action{Kind: question.Jog, Axes: &by}
	track := question.Action{Kind: question.Track, Follow: 10 * time.Minute}
	slow := func(x *question.Sample) { lst := *x.Sidereal - unit.Deg(0.6); x.Sidereal = &lst }
	for name, c := range map[string]struct {
		action question.Action
		shows  func(*question.Sample)
		want   question.PermitState
	}{
		"as judged":               {jog, func(*question.Sample) {}, question.Begun},
		"no belief":               {jog, func(x *question.Sample) { x.Belief = nil }, question.Begun},
		"no count":                {jog, func(x *question.Sample) { x.Readings = nil }, question.Granted},
		"track":                   {track, func(*question.Sample) {}, question.Begun},
		"track, the clock is off": {track, slow, question.Withdrawn},
	} {
		b := newBench(t)
		b.home()
		id := fmt.Sprintf("later-%09d", b.ids.Add(1))
		c.action.Message = []byte(id)
		q := question.Question{ID: id, Rig: "heron", Action: c.action, Sample: b.sample(b.rig.Home), Sent: b.clock(), At: b.clock(), Asker: "test", AttendedBy: "A. Person", BeginLater: true}
		a, err := b.d.Ask(context.Background(), q, request(id, id))
		require.NoError(t, err)
		require.Equal(t, verdict.Allow, a.Verdict, "%s: %s", name, a.Sentence)
		b.wait(2 * time.Second)
		x := b.sample(b.rig.Home)
		c.shows(x)
		_, err = b.report(decide.Report{Begin: a.Permit.ID, Sample: x})
		require.NoError(t, err)
		assert.Equal(t, c.want, b.look().State.Permit.State, name)
	}
}
