package decide

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/state"
)

// TestSentencesFitTheIndex: one line, at most a thousand characters.
func TestSentencesFitTheIndex(t *testing.T) {
	assert.Equal(t, "two lines, a return and nothing", oneLine("two\nlines, a\rreturn and\x00nothing"))
	long := strings.Repeat("é", 1000)
	assert.Equal(t, long, oneLine(long))
	cut := oneLine(long + "é")
	assert.Equal(t, strings.Repeat("é", 997)+"...", cut)
}

// TestRetreatsToTheThousandthOfADegree of home or of a place of rest.
func TestRetreatsToTheThousandthOfADegree(t *testing.T) {
	r := fitted(t, func(r *rig.Rig) {
		r.Home, r.Rests = rig.DegAxes(0, 0), []rig.Rest{{Name: "low", Axes: rig.DegAxes(10, 20)}}
	})
	for _, to := range []rig.Axes{rig.DegAxes(0, 0), rig.DegAxes(0.00099, -0.00099), rig.DegAxes(10, 20), rig.DegAxes(10.0009, 20)} {
		assert.True(t, Retreats(r, to), "%v", to)
	}
	for _, to := range []rig.Axes{rig.DegAxes(0.00101, 0), rig.DegAxes(0, -0.00101), rig.DegAxes(10, 0), rig.DegAxes(10.0011, 20), rig.DegAxes(10, 20.0011)} {
		assert.False(t, Retreats(r, to), "%v", to)
	}
}

// TestSoonIsLessThanTheSpare: without a limit ten minutes; without an end, a rig that follows the stars is soon somewhere.
func TestSoonIsLessThanTheSpare(t *testing.T) {
	snap := question.Snapshot{At: asked}
	assert.False(t, soon(snap, nil, limits.Set{}), "nothing is known to move")
	for doing, want := range map[question.Doing]bool{question.AtRest: false, question.Tracking: true, question.Moving: false} {
		snap.Rig.Sample = &question.Sample{Doing: doing}
		assert.Equal(t, want, soon(snap, nil, limits.Set{}), doing)
	}
	for after, want := range map[time.Duration]bool{-time.Minute: true, 599 * time.Second: true, 600 * time.Second: false, time.Hour: false} {
		until := asked.Add(after)
		assert.Equal(t, want, soon(snap, &until, limits.Set{}), "%v ahead", after)
	}
}

// TestStartWaitsAsLongAsTheSampleIsFresh, never longer than the limit, and never a negative time.
func TestStartWaitsAsLongAsTheSampleIsFresh(t *testing.T) {
	g := &group{member: Member{Limits: someLimits(t)}}
	within := func(doing question.Doing, age time.Duration, later bool) time.Duration {
		s := question.Snapshot{At: asked}
		s.Rig.Sample = &question.Sample{Doing: doing, Time: asked.Add(-age)}
		return startWithin(g, question.Question{BeginLater: later}, s)
	}
	assert.Equal(t, 10*time.Second, within(question.AtRest, 0, false))
	assert.Equal(t, 7*time.Second, within(question.AtRest, 3*time.Second, false))
	assert.Equal(t, 7*time.Second, within(question.Tracking, 3*time.Second, false))
	assert.Equal(t, time.Second, within(question.Moving, time.Second, false), "a moving one is fresh for two seconds")
	assert.Zero(t, within(question.Moving, 3*time.Second, false))
	assert.Equal(t, 10*time.Second, within(question.AtRest, 3*time.Second, true), "a begin brings a sample of its own")
	assert.Equal(t, 10*time.Second, within(question.AtRest, -time.Minute, false), "a sample from the future lengthens nothing")
	s := question.Snapshot{At: asked}
	assert.Equal(t, 10*time.Second, startWithin(g, question.Question{}, s), "no sample")
	assert.Zero(t, startWithin(&group{}, question.Question{}, s), "no limit, no time")
}

// TestRefusalsAreOnceAMinute and bounded, and forgotten after that minute.
func TestRefusalsAreOnceAMinute(t *testing.T) {
	r := refusals{seen: map[record.Hash]*refusal{}}
	due := func(n int, after time.Duration) (int, bool) {
		return r.due(record.Hash{byte(n), byte(n >> 8)}, asked.Add(after))
	}
	want := func(count int, is bool, n int, after time.Duration) {
		t.Helper()
		c, d := due(n, after)
		assert.Equal(t, is, d, "%d after %v", n, after)
		assert.Equal(t, count, c, "%d after %v", n, after)
	}
	want(1, true, 0, 0)
	want(1, false, 0, time.Second)
	want(2, false, 0, time.Minute-1)
	want(3, true, 0, time.Minute)
	want(1, true, 0, 0) // the clock went back: said anew rather than not at all
	for n := 1; n < 1000; n++ {
		want(1, true, n, time.Second)
	}
	_, is := due(1000, 2*time.Second)
	assert.False(t, is, "a thousand different ones are remembered, no more")
	_, is = due(1000, time.Minute)
	assert.True(t, is, "one is a minute old by now")
	_, is = due(1001, time.Minute)
	assert.False(t, is)
	_, is = due(1001, time.Minute+time.Second)
	assert.True(t, is, "and now the others are")
}

// someLimits are the defaults with travel.
func someLimits(t *testing.T) limits.Set {
	t.Helper()
	defs, err := limits.Read(policies.Files())
	require.NoError(t, err)
	travel := limits.Layer{Name: "rig heron"}
	for _, rule := range []string{"travel/axis1", "travel/axis2"} {
		travel.Entries = append(travel.Entries, limits.Entry{Rule: rule, Name: "low_deg", Value: -95}, limits.Entry{Rule: rule, Name: "high_deg", Value: 95})
	}
	s, err := limits.Merge(defs, travel)
	require.NoError(t, err)
	return s
}

// A sample may be dated ahead as far as the rig's limit lets the clocks differ.
func TestSkewOfTheRig(t *testing.T) {
	d := &Decider{}
	assert.Equal(t, 5*time.Second, d.world(&group{member: Member{Limits: someLimits(t)}}).Skew)
	defs, err := limits.Read(policies.Files())
	require.NoError(t, err)
	s, err := limits.Merge(defs, limits.Layer{Name: "rig heron", Entries: []limits.Entry{
		{Rule: "time/agree", Name: "skew_s", Value: 2.5},
		{Rule: "travel/axis1", Name: "low_deg", Value: -95}, {Rule: "travel/axis1", Name: "high_deg", Value: 95},
		{Rule: "travel/axis2", Name: "low_deg", Value: -95}, {Rule: "travel/axis2", Name: "high_deg", Value: 95},
	}})
	require.NoError(t, err)
	assert.Equal(t, 2500*time.Millisecond, d.world(&group{member: Member{Limits: s}}).Skew)
}

// When a sample was read goes by how old it was when it was sent.
func TestReadAt(t *testing.T) {
	at := time.Date(2026, 11, 14, 21, 0, 0, 0, time.UTC)
	sent := at.Add(-30 * time.Second) // by a clock that is behind, or after so long on its way
	for read, want := range map[time.Time]time.Time{
		sent:                       at,
		sent.Add(-3 * time.Second): at.Add(-3 * time.Second),
		sent.Add(3 * time.Second):  at, // read after it was sent: not later than it came
		{}:                         {},
	} {
		assert.Equal(t, want, readAt(at, sent, read), read)
	}
	assert.Zero(t, readAt(at, time.Time{}, at))
	assert.Zero(t, readAt(at, sent.Add(-time.Millisecond), sent), "a clock that says nothing of anything")
}

// Row 19: after a sleep leave is taken back though nobody asks, by the look at the clock of whoever lapses; and taking it back does not look again.
func TestLapsingLooksForSleepAndWithdrawingDoesNot(t *testing.T) {
	looks, reads := 0, 0
	d := &Decider{service: &group{}, parts: Parts{
		Now: func() time.Time { looks++; return time.Time{} }, Here: func() time.Time { reads++; return time.Time{} },
	}}
	d.LapseAll()
	assert.Equal(t, []int{1, 0}, []int{looks, reads})
	d.Withdraw("", Ourselves, "it slept", state.Exchanged{})
	assert.Equal(t, []int{1, 1}, []int{looks, reads})
	d.parts.Here = nil
	d.Withdraw("", Ourselves, "it slept", state.Exchanged{})
	assert.Equal(t, []int{2, 1}, []int{looks, reads}, "where there is but one clock")
}
