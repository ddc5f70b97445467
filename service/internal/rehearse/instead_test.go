package rehearse_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rehearse"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

// turns rehearses slews by axes of the practice rig, from a pose on.
func turns(t *testing.T, from rig.Axes, steps ...question.Action) []rehearse.Outlook {
	t.Helper()
	return turnsWithin(t, int(reach.DefaultBudget), from, steps...)
}

func turnsWithin(t *testing.T, cells int, from rig.Axes, steps ...question.Action) []rehearse.Outlook {
	t.Helper()
	m := member(t)
	p := rehearse.Plan{
		Member: m, Moment: moment, Cells: cells, Now: time.Date(2026, 11, 14, 18, 20, 0, 0, time.UTC),
		From: []question.Candidate{{Axes: from, Sigma: m.Rig.Homing.Sigma}},
	}
	for _, a := range steps {
		p.Steps = append(p.Steps, rehearse.Step{Action: a})
	}
	out, err := rehearse.Rehearse(context.Background(), p)
	require.NoError(t, err)
	return out
}

func toAxes(a1, a2 float64) question.Action {
	to := rig.DegAxes(a1, a2)
	return question.Action{Kind: question.Slew, Axes: &to}
}

// TestAWayRoundIsNamed: what is denied for its way names stops, as a live denial does, and what is named passes when that is rehearsed; each stop is told as
// a position, where the axes point then.
func TestAWayRoundIsNamed(t *testing.T) {
	from, m := rig.DegAxes(-30, 60), member(t)
	a := turns(t, from, toAxes(-90, 0))[0].Answer
	require.Equal(t, verdict.Deny, a.Verdict, a.Sentence)
	require.GreaterOrEqual(t, len(a.Instead), 2)
	assert.Equal(t, rig.DegAxes(-90, 0), *a.Instead[len(a.Instead)-1].Axes, "at last the same again")
	assert.Empty(t, a.Notes)
	for i, o := range turns(t, from, a.Instead...) {
		assert.Equal(t, verdict.Allow, o.Answer.Verdict, "question %d: %s", i, o.Answer.Sentence)
		assert.Empty(t, o.Answer.Instead)
		assert.Empty(t, o.Answer.Notes)
	}
	require.Len(t, a.Stops, len(a.Instead))
	now, err := moment(a.Stops[0].At)
	require.NoError(t, err)
	for _, s := range a.Stops {
		at := m.Rig.Map(rig.MountSky{Sidereal: now.SiderealTime(m.Rig.Site.Lon), Lat: m.Rig.Site.Lat}, s.Sky.RA, s.Sky.Dec, s.Side)
		off := at.Sub(*a.Instead[s.Step].Axes)
		assert.InDelta(t, 0, off.A1.Wrapped().Deg(), 1e-6)
		assert.InDelta(t, 0, off.A2.Wrapped().Deg(), 1e-6)
	}
}

// TestHomeFirstWhereTheSunStands: a way that is clear and passes the Sun names the one by home, which is far from it, and that passes; so does a mount
// that takes the side asked for name the other one.
func TestHomeFirstWhereTheSunStands(t *testing.T) {
	morning := time.Date(2026, 11, 15, 8, 0, 0, 0, time.UTC)
	from := rig.DegAxes(-70, -10)
	at := func(m decide.Member, steps ...question.Action) []rehearse.Outlook {
		p := rehearse.Plan{
			Member: m, Moment: moment, Cells: int(reach.DefaultBudget), Now: morning,
			From: []question.Candidate{{Axes: from, Sigma: m.Rig.Homing.Sigma}},
		}
		for _, a := range steps {
			p.Steps = append(p.Steps, rehearse.Step{Action: a})
		}
		out, err := rehearse.Rehearse(context.Background(), p)
		require.NoError(t, err)
		return out
	}
	m := member(t)
	a := at(m, toAxes(70, -90))[0].Answer
	require.Equal(t, verdict.Deny, a.Verdict)
	require.Contains(t, a.Sentence, "from the Sun")
	require.Len(t, a.Instead, 2)
	assert.Equal(t, m.Rig.Home, *a.Instead[0].Axes)
	for i, o := range at(m, a.Instead...) {
		assert.Equal(t, verdict.Allow, o.Answer.Verdict, "question %d: %s", i, o.Answer.Sentence)
	}

	m = member(t)
	changed := *m.Rig
	changed.Mount.Chooses = rig.AskerChooses
	m.Rig = &changed
	now, err := moment(morning)
	require.NoError(t, err)
	star := question.Sky{RA: (now.SiderealTime(m.Rig.Site.Lon) - unit.Deg(60)).Positive(), Frame: question.OfDate}
	from = rig.DegAxes(-80, 0)
	west := at(m, question.Action{Kind: question.Slew, Sky: &star, Side: rig.West})[0].Answer
	require.Contains(t, west.Sentence, "from the Sun")
	require.Len(t, west.Instead, 1)
	assert.Equal(t, rig.East, west.Instead[0].Side)
	assert.Equal(t, verdict.Allow, at(m, west.Instead...)[0].Answer.Verdict)
}

// TestAWayRoundThatDoesNotPassIsTold, with what stands in its way; one that is proven not to be is said to be none.
func TestAWayRoundThatDoesNotPassIsTold(t *testing.T) {
	a := turns(t, rig.DegAxes(-60, 30), toAxes(-90, -90))[0].Answer
	require.Equal(t, verdict.Deny, a.Verdict)
	assert.Empty(t, a.Instead)
	require.Len(t, a.Notes, 1)
	assert.Contains(t, a.Notes[0], "a way round was found, but question 1 of its 2 would not pass: The telescope would point down to")

	a = turns(t, rig.DegAxes(-30, -30), toAxes(-90, 30))[0].Answer
	require.Equal(t, verdict.Deny, a.Verdict)
	assert.Contains(t, fmt.Sprint(a.Notes), "no way leads there: it is proven")
}

// TestOneRehearsalSeeksOnlySoMuch: of a plan whose every step is blocked, with less work than the service gives, the first ones name a way round, and the
// others say that none was sought; the same each time. With what the service gives all of them name one.
func TestOneRehearsalSeeksOnlySoMuch(t *testing.T) {
	var steps []question.Action
	for i := range 30 {
		steps = append(steps, toAxes(-90, float64(i%2)/10), toAxes(-30, 60))
	}
	told := func(cells int) (named, unsought int, last []string) {
		for i, o := range turnsWithin(t, cells, rig.DegAxes(-30, 60), steps...) {
			switch {
			case o.Answer.Verdict == verdict.Allow:
			case len(o.Answer.Instead) > 0:
				assert.Zero(t, unsought, "step %d: named again", i)
				named++
			default:
				unsought++
				last = o.Answer.Notes
			}
		}
		return named, unsought, last
	}
	const little = 1000
	named, unsought, last := told(little)
	t.Logf("%d named, %d not sought", named, unsought)
	assert.Greater(t, named, 10)
	assert.Positive(t, unsought)
	assert.Equal(t, []string{rehearse.Unsought}, last)
	again, left, _ := told(little)
	assert.Equal(t, []int{named, unsought}, []int{again, left})
	named, unsought, _ = told(int(reach.DefaultBudget))
	assert.Equal(t, []int{len(steps), 0}, []int{named, unsought})
}

// TestSearchesCountThoughTheyFindNothing: of steps for which there is no way, each search takes off the work that is left, too.
func TestSearchesCountThoughTheyFindNothing(t *testing.T) {
	var steps []question.Action
	for range 30 {
		steps = append(steps, toAxes(-90, 30), toAxes(-30, -30))
	}
	said := map[string]int{}
	for _, o := range turnsWithin(t, 600, rig.DegAxes(-30, -30), steps...) {
		for _, n := range o.Answer.Notes {
			said[n]++
		}
	}
	t.Log(said)
	assert.Greater(t, said[rehearse.Unsought], 20, "26 are sought; without the searches it would be all")
	assert.Less(t, said[rehearse.Unsought], 58, "the first are sought")
}
