package decide_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

// same asserts that two answers say the same of a motion: verdict, objections and ends with their sides, to the last bit.
func same(t *testing.T, a, b decide.Answer, what string) {
	t.Helper()
	assert.Equal(t, a.Verdict, b.Verdict, what)
	assert.Equal(t, objections(a), objections(b), what)
	require.Len(t, b.Ends, len(a.Ends), what)
	for i := range a.Ends {
		assert.Equal(t, a.Ends[i].Side, b.Ends[i].Side, what)
		assert.Equal(t, a.Ends[i].Axes, b.Ends[i].Axes, what)
	}
}

// Fault 67: at the meridian to the last bit, at the pole and at the wrap of right ascension a question has the same ends on the same sides
// whenever it is asked, and each end says its side; a neighbour by one bit gets no other verdict.
func TestEqualQuestionsAtTheEdgesGetEqualAnswers(t *testing.T) {
	b := newBench(t)
	b.home()
	m, err := moment(b.clock())
	require.NoError(t, err)
	lst := m.SiderealTime(b.rig.Site.Lon).Positive()
	next := func(a unit.Angle, toward float64) unit.Angle { return unit.Angle(math.Nextafter(float64(a), toward)) }
	ask := func(ra, dec unit.Angle) decide.Answer {
		a, err := b.ask(question.Action{Kind: question.Slew, Sky: &question.Sky{RA: ra, Dec: dec, Frame: question.OfDate}}, zero, "")
		require.NoError(t, err)
		require.NotEmpty(t, a.Ends, a.Sentence)
		for _, e := range a.Ends {
			assert.NotEmpty(t, e.Side, "an end without a side")
		}
		if a.Permit != nil {
			b.d.Withdraw("heron", "test", "next", state.Exchanged{})
			b.onRecord("withdrawn", a.Permit.ID)
		}
		return a
	}
	for name, at := range map[string][2]unit.Angle{
		"on the meridian":          {lst, unit.Deg(40)},
		"on the lower meridian":    {(lst + math.Pi).Positive(), unit.Deg(80)},
		"at the pole":              {lst, unit.Deg(90)},
		"at right ascension 0":     {0, unit.Deg(50)},
		"just below 360°":          {next(unit.Deg(360), 0), unit.Deg(50)},
		"where the mount turns it": {lst - unit.Deg(0.5), unit.Deg(40)},
	} {
		first := ask(at[0], at[1])
		same(t, first, ask(at[0], at[1]), name)
		assert.Equal(t, first.Verdict, ask(next(at[0], 10), next(at[1], 0)).Verdict, "%s, a bit beside", name)
	}
}

// Fault 67: a jog whose every place lies within the travel to the last bit is not refused for it, and one bit of a degree beyond is: what
// counts is the end with its three sigma, so the limit is met where the end stands off by them.
func TestTravelIsHeldToItsLimit(t *testing.T) {
	b := newBench(t)
	b.home()
	const limit = 97.5
	verdictAt := func(by float64) decide.Answer {
		d := rig.DegAxes(by, 0)
		a, err := b.ask(question.Action{Kind: question.Jog, Axes: &d}, zero, "")
		require.NoError(t, err)
		if a.Permit != nil {
			b.d.Withdraw("heron", "test", "next", state.Exchanged{})
			b.onRecord("withdrawn", a.Permit.ID)
			b.wait(time.Second)
		}
		return a
	}
	f := finding(t, verdictAt(limit), "travel/axis1")
	assert.NotEqual(t, verdict.Passes, f.Effect, "the end itself is at the limit, its uncertainty is beyond")
	require.NotNil(t, f.Limit)
	assert.InDelta(t, limit, *f.Limit, 1e-9)
	low, high := 90.0, limit
	for range 20 { // the last end that passes
		mid := (low + high) / 2
		if finding(t, verdictAt(mid), "travel/axis1").Effect == verdict.Passes {
			low = mid
		} else {
			high = mid
		}
	}
	f = finding(t, verdictAt(low), "travel/axis1")
	require.NotNil(t, f.Fact)
	assert.InDelta(t, limit, *f.Fact.Number, 1e-4, "what passes last reaches the limit with its uncertainty")
	assert.LessOrEqual(t, *f.Fact.Number, limit)
	assert.Greater(t, limit-low, 0.01, "and stands off by it itself")
}

// A flip is no question for a mount that never turns over: what helps names no side that it has not.
func TestFlipOfAForkNamesWhatItHas(t *testing.T) {
	r := &rig.Rig{Kind: rig.Fork}
	flip := question.Action{Kind: question.Flip}
	r.Mount.Chooses = rig.AnySide
	faults := decide.ActionFits(r, flip, time.Time{}, "action")
	require.Len(t, faults, 1)
	assert.Contains(t, faults[0].Remedy, "second side")
	r.Mount.Chooses = rig.FirstOnly
	faults = decide.ActionFits(r, flip, time.Time{}, "action")
	require.Len(t, faults, 1)
	assert.Equal(t, "leave flips out: the rig file says that this mount uses its first side only", faults[0].Remedy)
}

// A permit keeps how long the motion to each of its ends takes: near the meridian, where the mount may stay or change sides, that is not the same.
func TestPermitKeepsTheTimeOfEachEnd(t *testing.T) {
	b := newBench(t)
	b.home()
	m, err := moment(b.clock())
	require.NoError(t, err)
	lst := m.SiderealTime(b.rig.Site.Lon).Positive()
	a, err := b.ask(question.Action{Kind: question.Slew, Sky: &question.Sky{RA: lst, Dec: unit.Deg(40), Frame: question.OfDate}}, zero, "")
	require.NoError(t, err)
	require.NotNil(t, a.Permit, a.Sentence)
	require.Len(t, a.Permit.EndS, len(a.Permit.Ends))
	for i, e := range a.Ends {
		assert.Equal(t, e.Axes, a.Permit.Ends[i])
		assert.Equal(t, e.MotionS, a.Permit.EndS[i])
		assert.Equal(t, e.MotionS, a.Permit.Takes(i))
		assert.Positive(t, e.MotionS)
		assert.LessOrEqual(t, e.MotionS, a.Permit.MotionS)
	}
	assert.Equal(t, a.Permit.MotionS, slices.Max(a.Permit.EndS))
}
