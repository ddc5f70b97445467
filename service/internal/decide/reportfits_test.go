package decide_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/pose"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// A sample that names a part which the file has not is refused, and nothing of it is taken in; a report that was taken in gets its reply again, whatever the
// file says by now.
func TestAReportOfAPartThatIsNotThere(t *testing.T) {
	b := newBench(t)
	b.home()
	b.wait(time.Second)
	at := b.rec.Head("heron").Number
	told := func(id, part string) error {
		t.Helper()
		x := b.sample(b.rig.Home)
		x.Doing, x.Parts = question.Tracking, []rig.PartState{{Part: part}} // worth an entry: nobody allowed it
		_, err := b.d.Report(t.Context(), decide.Report{Rig: "heron", Asker: "test", Sample: x, At: b.clock()}, request(id, id))
		return err
	}
	first := b.rig.Parts[0].Name
	require.ErrorIs(t, told("report-of-parts-01", "kite"), decide.ErrConflict)
	assert.Equal(t, at, b.rec.Head("heron").Number)
	require.NoError(t, told("report-of-parts-02", first))
	b.alter = func(r *rig.Rig) {
		r.Parts = slices.Clone(r.Parts)
		r.Parts[0].Name = "otherwise"
	}
	b.restart()
	require.NoError(t, told("report-of-parts-02", first), "again")
	require.ErrorIs(t, told("report-of-parts-03", first), decide.ErrConflict)
}

// What happened has happened, whatever is wrong with the sample beside it: an opened clutch is not forgotten for a part that the file calls otherwise.
func TestAnEventBesideAPartThatIsNotThere(t *testing.T) {
	b := newBenchOf(t, withFlap)
	b.home()
	b.wait(time.Second)
	x := b.sample(b.rig.Home)
	x.Belief.Side = "north"
	x.Parts = []rig.PartState{{Part: "kite", Name: "open"}, {Part: "flap", Name: "open"}}
	whole := *x
	whole.Parts = slices.Clone(x.Parts)
	r := decide.Report{Rig: "heron", Asker: "test", Sample: x, At: b.clock(), Act: &pose.Act{Kind: pose.ClutchOpened, Person: "A. Person"}}
	out, err := b.d.Report(t.Context(), r, request("report-of-a-clutch-01", "clutch"))
	require.NoError(t, err)
	s := b.look().State
	assert.Equal(t, question.Unknown, s.Pose.State)
	assert.Equal(t, []rig.PartState{{Part: "flap", Name: "open"}}, s.Sample.Parts, "what fits counts")
	assert.Empty(t, s.Sample.Belief.Side)
	assert.Empty(t, s.Refused)
	assert.Equal(t, whole.Parts, x.Parts, "the report itself is as it came")
	assert.Equal(t, rig.Side("north"), x.Belief.Side)
	require.NotEmpty(t, out.Notices)
	last := out.Notices[len(out.Notices)-1]
	assert.Equal(t, pose.Ignored, last.Kind)
	for _, says := range []string{"of the sample of test", "sample.parts[0].part: want a part of the rig file, got \"kite\"", "sample.belief.side: want east or west"} {
		assert.Contains(t, last.Sentence, says)
	}
	assert.NotContains(t, b.newest().Sentence, "kite", "the entry's line is of the event")
	again, err := b.d.Report(t.Context(), r, request("report-of-a-clutch-01", "clutch"))
	require.NoError(t, err)
	assert.True(t, again.Repeated)
	assert.Equal(t, out.Notices, again.Notices)
}

// A part beside an event that is told in a state it has not may be in any: a permit that goes by one of them is over.
func TestAnEventBesideAStateThatIsNone(t *testing.T) {
	for told, want := range map[string]question.PermitState{"opne": question.Withdrawn, "open": question.Begun} {
		b := newBenchOf(t, withFlap)
		b.home()
		flap := func(state string) *question.Sample {
			x := b.sample(b.rig.Home)
			x.Parts = []rig.PartState{{Part: "flap", Name: state}}
			return x
		}
		q := b.of("heron", question.Action{Kind: question.Slew, Axes: &there})
		q.Sample = flap("open")
		a, err := b.put(q)
		require.NoError(t, err)
		require.NotNil(t, a.Permit, objections(a))
		b.wait(time.Second)
		x := flap(told)
		_, err = b.report(decide.Report{Sample: x, Limit: &question.MountLimit{Axis: 1}})
		require.NoError(t, err)
		s := b.look().State
		assert.Equal(t, want, s.Permit.State, told)
		assert.Len(t, s.Limits, 1)
		assert.Equal(t, x.Parts, s.Sample.Parts)
		assert.NotEmpty(t, s.Sample.Belief.Side, "a side that the mount has stays told")
		b.wait(time.Second)
		x = flap(told)
		x.Belief, x.Parts = nil, []rig.PartState{{Part: "kite"}}
		_, err = b.report(decide.Report{Sample: x, Limit: &question.MountLimit{Axis: 2}})
		require.NoError(t, err, "nor need a belief be told")
		assert.Empty(t, b.look().State.Sample.Parts)
	}
}
