package decide_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

// Every entry of a report says what was reported: that a sample was taken in only where that was all.
func TestEntriesSayWhatWasReported(t *testing.T) {
	b := newBench(t)
	b.home()
	a, err := b.slew(zero, there)
	require.NoError(t, err)
	require.Equal(t, verdict.Allow, a.Verdict, a.Sentence)
	id := a.Permit.ID
	for name, c := range map[string]struct {
		report decide.Report
		says   []string
	}{
		"an end without a sample": {decide.Report{End: &decide.EndReport{Permit: id, How: pose.Done, Note: "guider lost its star"}}, []string{id, "done", "guider lost its star"}},
		"a refused sync":          {decide.Report{Synced: &decide.SyncReport{Refused: true}}, []string{"refused", "without leave"}},
		"a limit":                 {decide.Report{Limit: &question.MountLimit{Axis: 1, Limit: unit.Deg(96)}}, []string{"axis 1", "96.0°"}},
		"a proof":                 {decide.Report{Proved: &question.Proof{Person: "A. Person", RigDigest: b.rig.Digest, ResidualMM: 2}}, []string{"A. Person", "2.0 mm"}},
	} {
		out, err := b.report(c.report)
		require.NoError(t, err, name)
		require.NotNil(t, out.Receipt, "%s: it has an entry", name)
		say := b.entryAt(out.Receipt.Place).Sentence
		assert.NotContains(t, say, "sample", name)
		for _, s := range c.says {
			assert.Contains(t, say, s, name)
		}
	}
	out, err := b.report(decide.Report{Sample: b.sample(rig.DegAxes(0, 0))})
	require.NoError(t, err)
	if out.Receipt != nil {
		assert.NotEmpty(t, b.entryAt(out.Receipt.Place).Sentence)
	}
}

// A jog too fast for a pose that is not known is told how many places it may be, where they are several: after a restart of a mount that holds
// without power it is one, and not known for sure.
func TestJogTooFastSaysWhatIsNotKnown(t *testing.T) {
	b := newBenchOf(t, func(r *rig.Rig) { r.Mount.HoldsUnpowered = true })
	b.home()
	_, err := b.report(decide.Report{Act: &pose.Act{Kind: pose.ControllerRestarted}})
	require.NoError(t, err)
	require.Len(t, b.look().State.Pose.Candidates, 1)
	by := rig.DegAxes(2, 0)
	a, err := b.ask(question.Action{Kind: question.Jog, Axes: &by}, zero, "")
	require.NoError(t, err)
	f := finding(t, a, "permit/slow")
	assert.NotContains(t, f.Sentence, "1 places")
	assert.Contains(t, f.Sentence, "not known for sure")
	require.NotEmpty(t, f.Needs)
	assert.NotContains(t, f.Needs[0].Sentence, "1 places")
}

// entryAt reads an entry.
func (b *bench) entryAt(p record.Place) record.Entry {
	b.t.Helper()
	e, err := b.rec.Get(b.t.Context(), p.Chain, p.Number)
	require.NoError(b.t, err)
	return e
}

// The line of an event's entry says who did it and all that came of it, not the last thing alone: a homing beside a sample whose numbers began anew is a homing.
func TestLineOfAnEventSaysAllOfIt(t *testing.T) {
	b := newBench(t)
	b.home()
	b.wait(time.Second)
	_, err := b.report(decide.Report{Act: &pose.Act{Kind: pose.ClutchOpened, Person: "A. Person"}})
	require.NoError(t, err)
	for _, says := range []string{"clutch opened (A. Person); ", "where the axes are is not known"} {
		assert.Contains(t, b.newest().Sentence, says)
	}
	b.wait(time.Second)
	for _, n := range []uint64{7, 1} {
		b.wait(time.Second)
		x := b.sample(b.rig.Home)
		x.Asker, x.Sequence = "test", &n
		_, err = b.report(decide.Report{Sample: x, Homed: &decide.HomedReport{Sensed: true}})
		require.NoError(t, err)
	}
	assert.Regexp(t, `^homed \(sensed\): .*; .*began anew`, b.newest().Sentence)
}
