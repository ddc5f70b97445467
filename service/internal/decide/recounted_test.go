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
	"keepclear.example/keepclear/service/internal/verdict"
)

// A pose holds by what the rig file said of the axis angles when the rig was homed. Where the file that the service starts on says otherwise nothing is known
// of the axes, on record, until the rig is homed under it; where it differs in anything else the pose stays.
func TestPoseEndsWithWhatItsAnglesMean(t *testing.T) {
	const begins = "the rig file counts the axes otherwise than when they were last seen: "
	for name, c := range map[string]struct {
		alter func(*rig.Rig)
		says  string // empty: the pose stays
	}{
		"another length":     {func(r *rig.Rig) { r.Digest[0]++; r.Placing++ }, ""},
		"home turned a bit":  {func(r *rig.Rig) { r.Home = rig.DegAxes(0, 2.5) }, "home_deg was [0, 0] and is [0, 2.5]"},
		"another kind":       {func(r *rig.Rig) { r.Kind = rig.Fork }, "kind was german equatorial and is fork equatorial"},
		"homed by an eye":    {func(r *rig.Rig) { r.Homing.By = rig.ByPerson }, "homing.by was sensor and is person"},
		"the other way down": {func(r *rig.Rig) { r.Site.Lat = -r.Site.Lat }, "site.latitude_deg was in the north and is in the south"},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			b.home()
			b.wait(time.Second)
			a, err := b.slew(zero, beside)
			require.NoError(t, err)
			require.Equal(t, verdict.Allow, a.Verdict, a.Sentence)
			epoch := b.look().State.Epoch
			number := func() uint64 { return b.rec.Head("heron").Number }
			at := number()

			b.alter = c.alter
			b.restart()
			s := b.look().State
			require.Equal(t, question.Withdrawn, s.Permit.State)
			assert.Equal(t, at+1, number(), "one entry of what became of it")
			if c.says == "" {
				assert.Equal(t, question.Known, s.Pose.State)
				assert.Empty(t, b.d.Recounted())
				return
			}
			assert.Equal(t, question.Unknown, s.Pose.State)
			assert.Equal(t, begins+c.says, s.Pose.Because)
			assert.Nil(t, s.Homing)
			assert.Greater(t, s.Epoch, epoch)
			assert.Equal(t, []string{"heron: " + begins + c.says + "; where the axes are is not known: look, and state it"}, b.d.Recounted())
			e := b.newest()
			assert.Equal(t, decide.Ourselves, e.Asker)
			assert.Contains(t, e.Sentence, c.says)
			held := b.askBlind(question.Action{Kind: question.Slew, Axes: &beside})
			require.Equal(t, verdict.Hold, held.Verdict)
			at = number()

			b.alter = nil // back as it was, and what is on record stays
			b.restart()
			assert.Equal(t, question.Unknown, b.look().State.Pose.State)
			b.alter = c.alter
			b.restart()
			assert.Equal(t, at, number(), "nothing was known that could be lost")
			assert.Empty(t, b.d.Recounted())

			_, err = b.report(decide.Report{Homed: &decide.HomedReport{Person: "A. Person", Sigma: &rig.Axes{}}, Sample: b.sample(b.rig.Home)})
			require.NoError(t, err)
			assert.Equal(t, question.Known, b.look().State.Pose.State)
			b.restart()
			assert.Equal(t, question.Known, b.look().State.Pose.State, "homed under this file")
			assert.Empty(t, b.d.Recounted())
		})
	}
}

// newest is the last entry of the rig's chain.
func (b *bench) newest() record.Entry {
	b.t.Helper()
	var last record.Entry
	for e, err := range b.rec.Scan(b.t.Context(), "heron", b.rec.Head("heron").Number) {
		require.NoError(b.t, err)
		last = e
	}
	return last
}

// A record from before it was noted how the file counts the axes is taken to go by the one that it is first read with, on record: not by each that comes after.
func TestZeroIsNotedWhereAPoseIsKnown(t *testing.T) {
	b := newBench(t)
	b.home()
	fold := state.NewRefold("heron").(*state.Fold)
	for e, err := range b.rec.Scan(t.Context(), "heron", 1) {
		require.NoError(t, err)
		require.NoError(t, fold.Apply(e))
	}
	chain, err := fold.Settled()
	require.NoError(t, err)
	s := chain.Rig
	s.Zero = nil
	body, err := chain.Write(nil, state.Body{Event: state.Event{After: &s}})
	require.NoError(t, err)
	w, err := b.rec.Append(record.Draft{Chain: "heron", Time: b.clock(), Body: body, Index: record.Index{Kind: state.Reported, Rig: "heron", Sentence: "of before"}}, b.rec.Head("heron"))
	require.NoError(t, err)
	require.NoError(t, w.Wait())

	at := b.rec.Head("heron").Number
	for range 2 {
		b.restart()
		assert.Equal(t, question.Known, b.look().State.Pose.State)
		assert.Empty(t, b.d.Recounted())
		assert.Equal(t, at+1, b.rec.Head("heron").Number, "noted once")
	}
	b.alter = func(r *rig.Rig) { r.Home = rig.DegAxes(0, 25) }
	b.restart()
	assert.Equal(t, question.Unknown, b.look().State.Pose.State)
	assert.Len(t, b.d.Recounted(), 1)
}
