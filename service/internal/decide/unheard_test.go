package decide_test

import (
	"context"
	"fmt"
	"strings"
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

// unheard asks for a slew by axes with a sample of one place, while one of another place, or the same, is held.
func unheard(t *testing.T, held, told rig.Axes, change func(s *question.Sample)) decide.Answer {
	t.Helper()
	b := newBench(t)
	b.home()
	b.wait(5 * time.Second)
	_, err := b.report(decide.Report{Sample: b.sample(held)})
	require.NoError(t, err)
	s := b.sample(told)
	change(s)
	b.wait(time.Second)
	to := rig.DegAxes(10, 30)
	q := question.Question{
		ID: "question-unheard", Rig: "heron", Action: question.Action{Kind: question.Slew, Axes: &to, Message: []byte("x")},
		Sample: s, Sent: b.clock(), At: b.clock(), Asker: "test", AttendedBy: "A. Person",
	}
	a, err := b.d.Ask(context.Background(), q, request(q.ID, q.ID))
	require.NoError(t, err)
	return a
}

// A question whose own sample is not taken in is not answered from the one held, which says otherwise: it holds and says why. One that came
// late and says the same loses nothing.
func TestQuestionIsNotAnsweredFromAnotherSampleThanItsOwn(t *testing.T) {
	there := rig.DegAxes(63.8, 16)
	late := func(s *question.Sample) { s.Time = s.Time.Add(-time.Second) }
	for name, c := range map[string]struct {
		told   rig.Axes
		change func(s *question.Sample)
		says   string
	}{
		"counts from another homing": {there, func(s *question.Sample) { s.HomingID = "homing-of-yesterday" }, "counts from homing"},
		"another homing, same place": {zero, func(s *question.Sample) { s.HomingID = "homing-of-yesterday" }, "counts from homing"},
		"late, from elsewhere":       {there, late, "came after that of"},
		"late and moving":            {zero, func(s *question.Sample) { late(s); s.Doing = question.Moving }, "came after that of"},
		"much too late":              {zero, func(s *question.Sample) { s.Time = s.Time.Add(-4 * time.Second) }, "came after that of"},
		"late, another clock":        {zero, func(s *question.Sample) { late(s); *s.Sidereal += 0.2 }, "came after that of"},
		"late, restarted":            {zero, func(s *question.Sample) { late(s); s.RunMark = "boot-2" }, "came after that of"},
		"late, synced":               {zero, func(s *question.Sample) { late(s); s.Belief.Sky.Dec -= 0.1 }, "came after that of"},
		"late, another side":         {zero, func(s *question.Sample) { late(s); s.Belief.Side = s.Belief.Side.Other() }, "came after that of"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			a := unheard(t, zero, c.told, c.change)
			assert.Equal(t, verdict.Hold, a.Verdict)
			assert.Nil(t, a.Permit)
			assert.Contains(t, fmt.Sprint(objections(a)), "pose/fresh")
			assert.Contains(t, a.Sentence, c.says)
		})
	}
	for name, change := range map[string]func(s *question.Sample){"in time": func(*question.Sample) {}, "late, the same": late} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			a := unheard(t, zero, zero, change)
			assert.Equal(t, verdict.Allow, a.Verdict, a.Sentence)
		})
	}
}

// Who gives no name and who goes by "unnamed" are one asker: either's report ends the hold for the other's.
func TestUnnamedAskerIsHeardByEitherName(t *testing.T) {
	for lost, next := range map[string]string{"": "unnamed", "unnamed": ""} {
		b := newBench(t)
		b.home()
		b.wait(5 * time.Second)
		require.NoError(t, b.d.Refuse("heron", lost, "sample.#77: unknown field", true, b.clock(), record.Hash{1}, state.Exchanged{}))
		a, err := b.slew(zero, there)
		require.NoError(t, err)
		assert.Contains(t, a.Sentence, "an unnamed asker")
		assert.Contains(t, fmt.Sprint(a.Findings), "--as unnamed")
		for _, asker := range []string{"heron-watch", next} {
			id := "report-of-" + asker + "-000001"
			_, err = b.d.Report(t.Context(), decide.Report{Rig: "heron", Asker: asker, At: b.clock(), Sent: b.clock(), Sample: b.sample(zero)}, request(id, id))
			require.NoError(t, err)
			v, err := b.d.Look(t.Context(), "heron")
			require.NoError(t, err)
			assert.Equal(t, asker == next, len(v.State.Refused) == 0, v.State.Refused)
		}
	}
}

// refusedOf has a report of each asker refused.
func (b *bench) refusedOf(t *testing.T, askers ...string) {
	t.Helper()
	for i, asker := range askers {
		require.NoError(t, b.d.Refuse("heron", asker, "sample.#77: unknown field", true, b.clock(), record.Hash{1, byte(i), byte(i >> 8)}, state.Exchanged{}))
	}
}

// understood has a report of an asker taken in, and tells in how many names a report is missing after it.
func (b *bench) understood(t *testing.T, asker string) int {
	t.Helper()
	id := "report-of-" + asker + "-000001"
	_, err := b.d.Report(t.Context(), decide.Report{Rig: "heron", Asker: asker, At: b.clock(), Sent: b.clock(), Sample: b.sample(zero)}, request(id, id))
	require.NoError(t, err)
	v, err := b.d.Look(t.Context(), "heron")
	require.NoError(t, err)
	return len(v.State.Refused)
}

// A report refused in a name that no lawful report may bear holds the rig as one of nobody's does: in its own name nothing could ever end that.
func TestUnlawfulNameIsHeardAsUnnamed(t *testing.T) {
	for what, name := range map[string]string{"blank": " ", "blank of another kind": "\u2003\u00a0", "129 letters": strings.Repeat("ä", 129)} {
		t.Run(what, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			b.home()
			b.refusedOf(t, name)
			a, err := b.slew(zero, there)
			require.NoError(t, err)
			assert.Equal(t, verdict.Hold, a.Verdict)
			assert.Contains(t, fmt.Sprint(a.Findings), "--as unnamed")
			assert.Equal(t, 1, b.understood(t, "heron-watch"))
			assert.Zero(t, b.understood(t, "unnamed"))
		})
	}
	b := newBench(t)
	b.home()
	longest := strings.Repeat("ä", 128)
	b.refusedOf(t, longest)
	assert.Equal(t, 1, b.understood(t, "unnamed"), "128 letters are a lawful name")
	assert.Zero(t, b.understood(t, longest))
}

// Of more askers than are remembered by name no report is forgotten: a person tells what happened for all of them.
func TestReportsOfManyAskersHold(t *testing.T) {
	b := newBench(t)
	b.home()
	names := askers("asker", 70)
	b.refusedOf(t, names...)
	for _, n := range names {
		b.understood(t, n)
	}
	assert.Equal(t, 1, b.understood(t, names[69]), "which of those beyond are heard cannot be told")
	a, err := b.slew(zero, there)
	require.NoError(t, err)
	assert.Equal(t, verdict.Hold, a.Verdict)
	assert.Contains(t, fmt.Sprint(a.Findings), "act NAME --person NAME --as 'further askers'`.")
	assert.Contains(t, fmt.Sprint(a.Findings), "Of too many askers a report is missing to name them: have a person look")
	assert.Zero(t, b.understood(t, "further askers"))
	a, err = b.slew(zero, there)
	require.NoError(t, err)
	assert.Equal(t, verdict.Allow, a.Verdict, a.Sentence)
}

// The 63rd asker is remembered by name, the 64th no more.
func TestHowManyAskersAreRememberedByName(t *testing.T) {
	for n, left := range map[int]int{63: 0, 64: 1} {
		b := newBench(t)
		b.home()
		names := askers("asker", n)
		b.refusedOf(t, names...)
		last := -1
		for _, name := range names {
			last = b.understood(t, name)
		}
		assert.Equal(t, left, last, "of %d askers", n)
	}
}

// A remedy names the asker as a shell reads it back.
func TestRemedyQuotesTheName(t *testing.T) {
	for name, want := range map[string]string{
		"prog-2.1@pier:7_a/b": "--as prog-2.1@pier:7_a/b", "zAZ09": "--as zAZ09", "night script": "--as 'night script'", "{Ä}": "--as '{Ä}'", "O'Brien $1": `--as 'O'\''Brien $1'`,
	} {
		b := newBench(t)
		b.home()
		b.refusedOf(t, name)
		a, err := b.slew(zero, there)
		require.NoError(t, err)
		assert.Contains(t, fmt.Sprint(a.Findings), "`keepclear tell heron homed --person NAME --axis1 DEG --axis2 DEG "+want+"`")
		assert.Contains(t, fmt.Sprint(a.Findings), "`keepclear tell heron act NAME --person NAME "+want+"`")
	}
}

// A remedy says of how many more askers a report is missing.
func TestRemedyCountsTheAskers(t *testing.T) {
	for n, want := range map[int]string{
		1: "Have asker 00 send", 2: "Have asker 00 (and 1 more asker) send", 3: "Have asker 00 (and 2 more askers) send", 63: "Have asker 00 (and 62 more askers) send",
		64: "Have asker 00 (and at least 63 more) send", 70: "Have asker 00 (and at least 63 more) send",
	} {
		b := newBench(t)
		b.home()
		b.refusedOf(t, askers("asker", n)...)
		a, err := b.slew(zero, there)
		require.NoError(t, err)
		assert.Contains(t, fmt.Sprint(a.Findings), want)
	}
	b := newBench(t)
	b.home()
	b.refusedOf(t, askers("later", 65)...)
	a, err := b.slew(zero, there)
	require.NoError(t, err)
	assert.Contains(t, fmt.Sprint(a.Findings), "to name them (and 63 more askers): have")
}

// askers are names of so many.
func askers(name string, n int) []string {
	var out []string
	for i := range n {
		out = append(out, fmt.Sprintf("%s %02d", name, i))
	}
	return out
}

// One more loss of an asker who is remembered by name stays in that name, though no more are remembered by theirs.
func TestAnotherLossOfAKnownAskerStaysHis(t *testing.T) {
	b := newBench(t)
	b.home()
	names := askers("asker", 63)
	b.refusedOf(t, names...)
	require.NoError(t, b.d.Refuse("heron", names[0], "another reason", true, b.clock(), record.Hash{2}, state.Exchanged{}))
	last := -1
	for _, name := range names {
		last = b.understood(t, name)
	}
	assert.Zero(t, last)
}

// A record of before knows losses in names that nobody may bear: a report of an unnamed asker ends them.
func TestLossesOfOlderRecordsAreHeardAsUnnamed(t *testing.T) {
	long := strings.Repeat("ä", 129)
	for _, names := range [][]string{{""}, {" "}, {long}, {"", " ", long}} {
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
		s.Refused = map[string]string{}
		for i, name := range names {
			s.Refused[name] = fmt.Sprintf("that of asker %d of before (unknown field)", i)
		}
		body, err := chain.Write(nil, state.Body{Event: state.Event{After: &s}})
		require.NoError(t, err)
		w, err := b.rec.Append(record.Draft{Chain: "heron", Time: b.clock(), Body: body, Index: record.Index{Kind: state.Refused, Rig: "heron", Sentence: "of before"}}, b.rec.Head("heron"))
		require.NoError(t, err)
		require.NoError(t, w.Wait())
		b.restart()
		a, err := b.slew(zero, there)
		require.NoError(t, err)
		assert.Equal(t, verdict.Hold, a.Verdict)
		assert.Contains(t, fmt.Sprint(a.Findings), "Have an unnamed asker send")
		assert.Contains(t, fmt.Sprint(a.Findings), "--as unnamed`")
		assert.Equal(t, len(names), b.understood(t, "heron-watch"))
		assert.Zero(t, b.understood(t, "unnamed"))
	}
}
