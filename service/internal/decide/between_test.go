package decide_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"runtime"
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

// watched is a bench whose rules tell that they are entered.
func watched(t *testing.T, beside ...string) *bench {
	b := newBench(t)
	b.judge = entering{must(b.d.Member("heron")).Rules, b.enter}
	b.beside = beside
	b.restart()
	return b
}

// of is a question about a rig by name, from zero.
func (b *bench) of(rigName string, a question.Action) question.Question {
	id := fmt.Sprintf("question-%08d", b.ids.Add(1))
	a.Message = []byte(id)
	return question.Question{ID: id, Rig: rigName, Action: a, Sample: b.sample(zero), Sent: b.clock(), At: b.clock(), Asker: "test", AttendedBy: "A. Person"}
}

func (b *bench) put(q question.Question) (decide.Answer, error) {
	return b.d.Ask(context.Background(), q, request(q.ID, q.ID))
}

// Fault 53: something that changes what the answer rests on arrives after its facts were worked out and before it is on record. The answer is
// that of its own snapshot, on the head it names; what arrived comes after it on record, and the leave that was judged without it is dead,
// with what ended it as the reason.
func TestWhatArrivesBetweenFactsAndRecordKillsTheLeave(t *testing.T) {
	wait := func(b *bench, r decide.Report) error { _, err := b.report(r); return err }
	for name, c := range map[string]struct {
		arrives func(b *bench) error
		says    string
	}{
		"homed": {func(b *bench) error {
			return wait(b, decide.Report{Homed: &decide.HomedReport{Sensed: true}, Sample: b.sample(zero)})
		}, "the rig was homed"},
		"synced": {func(b *bench) error {
			return wait(b, decide.Report{Synced: &decide.SyncReport{}, Sample: b.sample(zero)})
		}, "the state of the rig changed before the motion began"},
		"clutch opened": {func(b *bench) error {
			return wait(b, decide.Report{Act: &pose.Act{Kind: pose.ClutchOpened, Person: "A. Person"}})
		}, ""},
		"moved": {func(b *bench) error { return wait(b, decide.Report{Sample: b.sample(rig.DegAxes(7, 0))}) }, "moved"},
		"locked": {func(b *bench) error {
			_, _, _, err := b.d.Lock("heron", "A. Person", "hands inside", b.clock(), request("lock-request-1", "x"))
			return err
		}, "locked by A. Person: hands inside"},
		"all locked": {func(b *bench) error {
			_, _, _, err := b.d.Lock("", "A. Person", "storm", b.clock(), request("lock-request-2", "x"))
			return err
		}, "locked by A. Person: storm"},
	} {
		b := watched(t)
		b.home()
		b.wait(2 * time.Second)
		arrived := make(chan error, 1)
		before := b.rec.Head("heron").Number
		b.onEntering(func(room string) {
			if room != "rules" {
				return
			}
			b.onEntering(nil)
			go func() { arrived <- c.arrives(b) }()
			runtime.Gosched()
		})
		q := b.of("heron", question.Action{Kind: question.Slew, Axes: &there})
		q.BeginLater = true
		a, err := b.put(q)
		require.NoError(t, err, name)
		require.NoError(t, <-arrived, name)
		require.Equal(t, verdict.Allow, a.Verdict, "%s: %s", name, a.Sentence)
		e := b.entryAt(a.Receipt.Place)
		assert.Equal(t, before+1, e.Number, "%s: it stands on the head it was judged on", name)
		body, err := state.Decode(e.Body)
		require.NoError(t, err)
		assert.Empty(t, body.Snapshot.Locks, "%s: and on its own snapshot", name)
		assert.Equal(t, before+2, b.rec.Head("heron").Number, "%s: what arrived comes after it", name)
		b.wait(time.Second)
		out, err := b.report(decide.Report{Begin: a.Permit.ID, Sample: b.sample(zero)})
		require.NoError(t, err, name)
		p := b.look().State.Permit
		require.Equal(t, a.Permit.ID, p.ID, name)
		assert.False(t, p.Open(), "%s: %s %v", name, p.State, out.Notices)
		assert.NotEmpty(t, p.Because, name)
		assert.Contains(t, p.Because, c.says, name)
	}
}

// Fault 53: an entry that comes between the snapshot and the append, by whatever hand: the append is refused, nothing is answered and no leave
// is left in memory.
func TestAppendIsRefusedWhereTheHeadHasMovedOn(t *testing.T) {
	b := watched(t)
	b.home()
	b.strangerComes(t)
	q := b.of("heron", question.Action{Kind: question.Slew, Axes: &there})
	a, err := b.put(q)
	require.ErrorIs(t, err, record.ErrNotHead)
	assert.Contains(t, err.Error(), "judge it again")
	assert.Nil(t, a.Permit)
	assert.Nil(t, b.look().State.Permit)
	_, err = b.rec.ByRequestID(t.Context(), q.ID)
	require.ErrorIs(t, err, record.ErrAbsent)
	a, err = b.put(q)
	require.NoError(t, err)
	assert.Equal(t, verdict.Allow, a.Verdict, "asked again it is judged on the new head: %s", a.Sentence)
}

// Fault 53: two groups do not disturb each other: one is judged, appended and answered while the other's turn is taken, and neither's chain
// has an entry of the other.
func TestGroupsDoNotWaitForEachOther(t *testing.T) {
	b := watched(t, "crane")
	for _, name := range []string{"heron", "crane"} {
		out, err := b.report(decide.Report{Rig: name, Homed: &decide.HomedReport{Sensed: true}, Sample: b.sample(zero)})
		require.NoError(t, err)
		require.NotEmpty(t, out.HomingID)
	}
	entered, goOn := make(chan struct{}), make(chan struct{})
	b.onEntering(func(room string) {
		if room == "rules" {
			b.onEntering(nil)
			close(entered)
			<-goOn
		}
	})
	slow := make(chan decide.Answer, 1)
	go func() {
		a, err := b.put(b.of("heron", question.Action{Kind: question.Slew, Axes: &there}))
		assert.NoError(t, err)
		slow <- a
	}()
	<-entered
	a, err := b.put(b.of("crane", question.Action{Kind: question.Slew, Axes: &there}))
	require.NoError(t, err)
	require.Equal(t, verdict.Allow, a.Verdict, a.Sentence)
	assert.Equal(t, "crane", a.Receipt.Place.Chain)
	_, err = b.report(decide.Report{Rig: "crane", Act: &pose.Act{Kind: pose.ClutchOpened, Person: "A. Person"}})
	require.NoError(t, err)
	close(goOn)
	other := <-slow
	require.Equal(t, verdict.Allow, other.Verdict, "what became of crane is none of heron's: %s", other.Sentence)
	assert.True(t, other.Permit.Open())
	for _, chain := range []string{"heron", "crane"} {
		for e, err := range b.rec.Scan(t.Context(), chain, 1) {
			require.NoError(t, err)
			assert.Equal(t, chain, e.Index.Rig)
		}
	}
}

// Faults, row 83: a rig called like the service's own chain would share it; two groups would append on one head.
func TestNoRigSharesTheServicesChain(t *testing.T) {
	b := newBench(t)
	r := *b.rig
	r.ID = record.ServiceChain
	m := must(b.d.Member("heron"))
	m.Rig = &r
	_, err := decide.New(decide.Parts{Record: b.rec, Members: []decide.Member{m}, Now: b.clock})
	require.ErrorContains(t, err, `a rig is called "service"`)
}

// Fault 44: nobody waits for ever. Askers, reporters, lockers, releasers, withdrawers, readers and the service's own rounds, on two rigs, by
// a seed, while commits fail now and then and the record is folded anew: all of it ends, and afterwards everything is answered.
func TestNobodyWaitsForEver(t *testing.T) {
	const seed = 20261128
	b := newBench(t)
	b.beside = []string{"crane"}
	b.restart()
	rigs := []string{"heron", "crane"}
	for _, name := range rigs {
		_, err := b.report(decide.Report{Rig: name, Homed: &decide.HomedReport{Sensed: true}, Sample: b.sample(zero)})
		require.NoError(t, err)
	}
	var all sync.WaitGroup
	for worker := range 8 {
		g := rand.New(rand.NewPCG(seed, uint64(worker)))
		all.Go(func() {
			for range 30 {
				b.anything(g, rigs)
			}
		})
	}
	ended := make(chan struct{})
	go func() { all.Wait(); close(ended) }()
	select {
	case <-ended:
	case <-time.After(2 * time.Minute): // a watchdog, not a measurement
		stacks := make([]byte, 1<<20)
		t.Fatalf("seed %d: somebody waits for ever\n%s", seed, stacks[:runtime.Stack(stacks, true)])
	}
	for _, name := range rigs {
		v, err := b.d.Look(t.Context(), name)
		require.NoError(t, err)
		for _, l := range v.Locks {
			_, _, err := b.d.Release([]string{l.ID}, "A. Person", "x", b.clock(), request("release-"+l.ID, "x"))
			require.NoError(t, err)
		}
	}
	for _, name := range rigs {
		b.d.Withdraw(name, "test", "", state.Exchanged{})
		_, err := b.report(decide.Report{Rig: name, Homed: &decide.HomedReport{Sensed: true}, Sample: b.sample(zero)})
		require.NoError(t, err)
		a, err := b.put(b.of(name, question.Action{Kind: question.Slew, Axes: &there}))
		require.NoError(t, err)
		assert.Equal(t, verdict.Allow, a.Verdict, "%s, seed %d: %s", name, seed, a.Sentence)
	}
}

// anything does one thing chosen by lot. What it is answered is other tests' affair.
func (b *bench) anything(g *rand.Rand, rigs []string) {
	name := rigs[g.IntN(len(rigs))]
	id := fmt.Sprintf("anything-%08d", b.ids.Add(1))
	switch g.IntN(9) {
	case 0, 1:
		_, _ = b.put(b.of(name, question.Action{Kind: question.Slew, Axes: &there}))
	case 2:
		_, _ = b.report(decide.Report{Rig: name, Sample: b.sample(zero)})
	case 3:
		scope := []string{name, ""}[g.IntN(2)]
		if l, _, _, err := b.d.Lock(scope, "A. Person", "x", b.clock(), request(id, id)); err == nil {
			_, _, _ = b.d.Release([]string{l.ID}, "A. Person", "x", b.clock(), request(id+"-r", id))
		}
	case 4:
		b.d.Withdraw([]string{name, ""}[g.IntN(2)], "test", "x", state.Exchanged{})
	case 5:
		b.d.LapseAll()
	case 6:
		_, _ = b.d.Look(context.Background(), name)
	case 7:
		_ = b.d.Refold()
	case 8:
		_, _ = b.d.Rehearsal(name, "test", "x", b.clock(), request("", ""), state.Exchanged{Type: "test"})
	}
}

// A sample that was read before leave was taken back does not bring the rig back to where it stood then: the motion may be under way. How old it is,
// the asker's own clock says, which may be off from ours: no more is held for that, and no less.
func TestNoOldSampleAfterAWithdrawal(t *testing.T) {
	for _, off := range []time.Duration{0, 2 * time.Second, -2 * time.Second} {
		for name, read := range map[string]time.Duration{"before the permit": 0, "between permit and withdrawal": 300 * time.Millisecond} {
			name = fmt.Sprintf("%s, asker's clock off by %s", name, off)
			b := newBench(t)
			b.home()
			b.wait(time.Minute)
			sample := func() *question.Sample {
				x := b.sample(zero)
				x.Time = x.Time.Add(off)
				return x
			}
			ask := func(to rig.Axes, x *question.Sample) decide.Answer {
				q := b.of("heron", question.Action{Kind: question.Slew, Axes: &to})
				q.Sample, q.AttendedBy, q.Sent = x, "A. Person", b.clock().Add(off)
				a, err := b.put(q)
				require.NoError(t, err, name)
				return a
			}
			old := sample()
			first := ask(there, old)
			require.Equal(t, verdict.Allow, first.Verdict, "%s: %v", name, first.Sentence)
			if read > 0 {
				b.wait(read)
				old = sample()
			}
			b.wait(1700 * time.Millisecond)
			b.d.Withdraw("heron", "test", "", state.Exchanged{})
			b.wait(700 * time.Millisecond)
			a := ask(rig.DegAxes(-10, 30), old)
			require.Equal(t, verdict.Hold, a.Verdict, "%s: %v", name, a.Sentence)
			assert.Contains(t, objections(a), "pose/sharp", name)
			a = ask(rig.DegAxes(-10, 30), sample())
			assert.Equal(t, verdict.Allow, a.Verdict, "%s: %v", name, a.Sentence)
		}
	}
}

// strangerComes has an entry by another hand come between the snapshot of the next question and its append.
func (b *bench) strangerComes(t *testing.T) {
	b.onEntering(func(room string) {
		if room != "rules" {
			return
		}
		b.onEntering(nil)
		body, err := state.Chain{}.Write(nil, state.Body{})
		assert.NoError(t, err)
		w, err := b.rec.Append(record.Draft{Chain: "heron", Time: b.clock(), Body: body, Index: record.Index{Kind: state.Reported, Rig: "heron", Sentence: "a stranger's"}}, b.rec.Head("heron"))
		assert.NoError(t, err)
		assert.NoError(t, w.Wait())
	})
}

// The same where the record was down at the start, so that what judges from there on is still to be put on record: its entry, which comes first, brings no
// answer past a head that has moved on.
func TestAppendIsRefusedWhereARevisionIsOwedToo(t *testing.T) {
	b := watched(t)
	b.revs = map[string]string{"rig": "r1"}
	b.restart()
	b.home()
	b.restart()
	b.revs = map[string]string{"rig": "r2"}
	b.breaks(false)
	b.restart()
	require.ErrorIs(t, b.d.Untold(), record.ErrDown)
	b.mends()
	b.strangerComes(t)
	a, err := b.put(b.of("heron", question.Action{Kind: question.Slew, Axes: &there}))
	require.ErrorIs(t, err, record.ErrNotHead)
	assert.Nil(t, a.Permit)
	assert.Nil(t, b.look().State.Permit)
}
