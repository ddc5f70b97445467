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
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

// habits are mounts of which many an ordinary slew fails directly.
func habits() map[string]func(*rig.Rig) {
	return map[string]func(*rig.Rig){
		"takes the side asked for":          func(r *rig.Rig) { r.Mount.Chooses = rig.AskerChooses },
		"chooses as nobody knows":           func(r *rig.Rig) { r.Mount.Chooses = rig.AnySide },
		"turns its axes in any order":       func(r *rig.Rig) { r.Motion.Sharing = rig.AnyOrder },
		"turns axis 2 first, side by asker": func(r *rig.Rig) { r.Motion.Sharing, r.Mount.Chooses = rig.Axis2First, rig.AskerChooses },
	}
}

// What is named instead passes when it is asked for, each question of a series from where the one before ended.
func TestWhatIsNamedInsteadPasses(t *testing.T) {
	for name, alter := range habits() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			followed, refused := 0, 0
			for _, hour := range []float64{-75, -45, -15, 20, 50, 80} {
				for _, dec := range []float64{-5, 25, 62} {
					b := newBenchOf(t, alter)
					b.home()
					star := question.Sky{RA: b.meridian() - unit.Deg(hour), Dec: unit.Deg(dec), Frame: question.OfDate}
					a, err := b.ask(question.Action{Kind: question.Slew, Sky: &star}, zero, "")
					require.NoError(t, err)
					if a.Verdict == verdict.Allow {
						continue
					}
					refused++
					if len(a.Instead) > 0 {
						followed++
						b.stopsFit(a)
						b.follow(a.Instead, fmt.Sprintf("hour angle %v°, declination %v°", hour, dec))
					}
				}
			}
			t.Logf("%d of 18 refused; what was named for %d of them passed", refused, followed)
			if name != "chooses as nobody knows" { // whichever it chooses must be clear, so that there is often nothing to name
				assert.Greater(t, followed, 1)
			}
		})
	}
}

// stopsFit wants each slew by axes that is named as a position, too: the mount's belief is right here, so that it is where the axes point.
func (b *bench) stopsFit(a decide.Answer) {
	b.t.Helper()
	got := map[int]decide.Stop{}
	for _, s := range a.Stops {
		got[s.Step] = s
	}
	for i, x := range a.Instead {
		s, ok := got[i]
		if !assert.Equal(b.t, x.Kind == question.Slew && x.Axes != nil, ok, "question %d of %v", i, a.Instead) || !ok {
			continue
		}
		m, err := moment(s.At)
		require.NoError(b.t, err)
		at := b.rig.Map(rig.MountSky{Sidereal: m.SiderealTime(b.rig.Site.Lon), Lat: b.rig.Site.Lat}, s.Sky.RA, s.Sky.Dec, s.Side)
		assert.InDelta(b.t, 0, at.Sub(*x.Axes).A1.Wrapped().Deg(), 0.01)
		assert.InDelta(b.t, 0, at.Sub(*x.Axes).A2.Wrapped().Deg(), 0.01)
	}
}

func (b *bench) meridian() unit.Angle {
	m, err := moment(b.clock())
	require.NoError(b.t, err)
	return m.SiderealTime(b.rig.Site.Lon)
}

// follow asks for a series, the rig moving as allowed.
func (b *bench) follow(series []question.Action, of string) {
	b.t.Helper()
	at := zero
	for i, next := range series {
		b.wait(time.Second)
		a, err := b.ask(next, at, "")
		require.NoError(b.t, err)
		require.Equal(b.t, verdict.Allow, a.Verdict, "%s: question %d of %v: %s", of, i, series, a.Sentence)
		at = a.Ends[0].Axes
		b.wait(time.Duration(a.Ends[0].MotionS * float64(time.Second))) // a leg of a way by stops may take longer than half a minute
		for range 3 {
			b.wait(time.Minute / 2)
			_, err = b.report(decide.Report{Sample: b.sample(at)})
			require.NoError(b.t, err)
		}
	}
}

// TestAWayRoundThatDoesNotPassIsTold: found and denied by another rule, or held by one, it is not dropped in silence.
func TestAWayRoundThatDoesNotPassIsTold(t *testing.T) {
	b := newBench(t)
	b.home()
	to := func(a1, a2 float64) question.Action {
		at := rig.DegAxes(a1, a2)
		return question.Action{Kind: question.Slew, Axes: &at}
	}
	b.follow([]question.Action{to(-60, 30)}, "where it stands")
	stands := rig.DegAxes(-60, 30)

	a, err := b.ask(to(-90, -90), stands, "")
	require.NoError(t, err)
	assert.Equal(t, verdict.Deny, a.Verdict, a.Sentence)
	assert.Empty(t, a.Instead)
	assert.Contains(t, fmt.Sprint(a.Notes), "a way round was found, but question 1 of its 2 would not pass: The telescope would point down to")

	b.wait(time.Second)
	a, err = b.ask(to(-90, 0), stands, "")
	require.NoError(t, err)
	assert.Len(t, a.Instead, 2)
	assert.NotContains(t, fmt.Sprint(a.Notes), "way round")

	_, _, _, err = b.d.Lock(b.rig.ID, "A. Person", "under the tube", b.clock(), request("lock-while-round-is-asked", "lock"))
	require.NoError(t, err)
	b.wait(time.Second)
	a, err = b.ask(to(-90, 0), stands, "")
	require.NoError(t, err)
	assert.Empty(t, a.Instead)
	assert.Contains(t, fmt.Sprint(a.Notes), "a way round was found, but question 1 of its 2 would not pass: ")
	assert.Contains(t, fmt.Sprint(a.Notes), "locked")
}

// A mount that was started anew believes itself elsewhere than its counts say: where that would lead is denied, and what mends belief is told beside it.
func TestADenialByAFalseBeliefIsNoted(t *testing.T) {
	for _, off := range []bool{false, true} {
		b := newBench(t)
		b.home()
		q := question.Question{ID: "question-believes-otherwise", Rig: "heron", Sample: b.sample(zero), Sent: b.clock(), At: b.clock(), Asker: "test", AttendedBy: "A. Person"}
		q.Action = question.Action{Kind: question.Slew, Sky: &question.Sky{RA: b.meridian() - unit.Deg(30), Dec: unit.Deg(-20), Frame: question.OfDate}, Message: []byte("m")}
		if off {
			q.Sample.Belief = b.sample(rig.DegAxes(70, 60)).Belief
		} else {
			q.Action.Sky.Dec = unit.Deg(-60)
		}
		a, err := b.d.Ask(context.Background(), q, request(q.ID, "m"))
		require.NoError(t, err)
		require.Equal(t, verdict.Deny, a.Verdict, a.Sentence)
		assert.Equal(t, off, strings.Contains(fmt.Sprint(a.Notes), "do first what belief/agrees says; before that, to ask for something else may not help"), "%s %v", a.Sentence, a.Notes)
		assert.NotContains(t, a.Notes, "")
	}
}
