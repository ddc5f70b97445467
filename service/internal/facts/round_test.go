package facts_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
)

// fenced is the practice rig with a row of balls where its dew shield comes by with axis 2 at 30°, over all of its travel of axis 1 but for
// some degrees.
func fenced(t *testing.T, openFrom, openTo float64) *rig.Rig {
	t.Helper()
	r := *heron(t)
	r.Parts = slices.Clone(r.Parts)
	i := slices.IndexFunc(r.Parts, func(p rig.Part) bool { return p.Name == "dew shield" })
	require.GreaterOrEqual(t, i, 0)
	centre := r.Parts[i].Shapes[0].Centre()
	for deg := -96.0; deg <= 96; deg += 4 {
		if deg >= openFrom && deg <= openTo {
			continue
		}
		ball, err := solid.Sphere(r.Chain.Link2(rig.DegAxes(deg, 30)).Point(centre), 40)
		require.NoError(t, err)
		r.Parts = append(r.Parts, rig.Part{Name: fmt.Sprintf("ball at %g", deg), Link: rig.Ground, Shapes: []solid.Shape{ball}})
	}
	return &r
}

func TestWaysRoundAreWholeOrSaidToBeNone(t *testing.T) {
	from, to := rig.DegAxes(-20, 80), rig.DegAxes(-20, -70)
	slew := axesSlew(to)

	shut := facts.Compute(standing(t, fenced(t, 1, 0), from, rig.Axes{}, slew))
	assert.Less(t, number(t, shut.Facts, "clearance_sharp_spare_mm"), 0.0)
	assert.Empty(t, shut.Instead)
	assert.Contains(t, fmt.Sprint(shut.Notes), "no way leads there: it is proven")

	in := standing(t, fenced(t, 1, 0), from, rig.Axes{}, slew)
	in.Cells = 300
	assert.Contains(t, fmt.Sprint(facts.Compute(in).Notes), "no way round was found within the work", "with little work nothing is proven")

	r := fenced(t, -20, 96)
	from, to = rig.DegAxes(-90, 75), rig.DegAxes(70, -5)
	open := facts.Compute(standing(t, r, from, rig.Axes{}, axesSlew(to)))
	assert.Less(t, number(t, open.Facts, "clearance_sharp_spare_mm"), 0.0)
	require.Len(t, open.Instead, 1)
	series := open.Instead[0].Steps
	assert.Equal(t, "a way round", open.Instead[0].Found)
	assert.Positive(t, open.Sought, "cells looked at for it")
	require.GreaterOrEqual(t, len(series), 2, "a stop at least, and the same again: %v", series)
	assert.Equal(t, to, *series[len(series)-1].Axes)
	at := from
	for _, a := range series {
		require.Equal(t, question.Slew, a.Kind)
		leg := facts.Compute(standing(t, r, at, rig.Axes{}, axesSlew(*a.Axes)))
		assert.GreaterOrEqual(t, number(t, leg.Facts, "clearance_spare_mm"), 0.0, "from %v to %v", at, *a.Axes)
		at = *a.Axes
	}
	assert.NotContains(t, fmt.Sprint(open.Notes), "way round")
}

// TestStopsAsPositions: a mount whose belief is off, sent to the position of a stop, turns its axes to the stop; where that cannot be told, none is.
func TestStopsAsPositions(t *testing.T) {
	r, off := heron(t), rig.DegAxes(1.3, -0.7)
	stops := []rig.Axes{rig.DegAxes(-40, 70), rig.DegAxes(65, -20), r.Home}
	in := standing(t, r, rig.DegAxes(-20, 40), off, axesSlew(r.Home))
	m, err := moment(in.Snapshot.At)
	require.NoError(t, err)
	got := facts.AsPositions(in, stops)
	require.Len(t, got, len(stops))
	for i, s := range got {
		believed := r.Map(rig.MountSky{Sidereal: m.SiderealTime(r.Site.Lon), Lat: r.Site.Lat}, s.Sky.RA, s.Sky.Dec, s.Side)
		d := believed.Sub(off).Sub(stops[i])
		assert.InDelta(t, 0, d.A1.Wrapped().Deg(), 1e-6)
		assert.InDelta(t, 0, d.A2.Wrapped().Deg(), 1e-6)
		assert.Equal(t, question.OfDate, s.Sky.Frame)
		assert.Equal(t, in.Snapshot.At, s.At)
	}

	for what, change := range map[string]func(*facts.Input){
		"no belief": func(in *facts.Input) { in.Snapshot.Rig.Sample.Belief = nil },
		"another place": func(in *facts.Input) {
			in.Snapshot.Rig.Pose.Candidates = append(in.Snapshot.Rig.Pose.Candidates, question.Candidate{Axes: r.Home})
		},
		"not for sure":   func(in *facts.Input) { in.Snapshot.Rig.Pose.State = question.Candidates },
		"no mount clock": func(in *facts.Input) { in.Snapshot.Rig.Sample.Sidereal = nil },
	} {
		in := standing(t, r, rig.DegAxes(-20, 40), off, axesSlew(r.Home))
		change(&in)
		assert.Empty(t, facts.AsPositions(in, stops), what)
	}
}

// An alt-azimuth that goes the shortest way comes to the end of its cables. Where the same direction lies within travel a turn of axis 1 before, home and then
// the same again is proposed, for from there it goes the other way round; of a mount that never goes through the end of travel, and where no turn of
// axis 1 leads back into travel, nothing is.
func TestHomeFirstWhereTheCablesEnd(t *testing.T) {
	m, err := moment(evening)
	require.NoError(t, err)
	proposed := func(at float64, to rig.Axes, way rig.WayRound, change ...string) bool {
		r := *example(t, "bittern.yaml", change...)
		r.Motion.Way = way
		ra, dec, _ := r.Unmap(rig.MountSky{Sidereal: m.SiderealTime(r.Site.Lon), Lat: r.Site.Lat}, to)
		star := question.Sky{RA: ra, Dec: dec, Frame: question.OfDate}
		out := facts.Compute(standing(t, &r, rig.DegAxes(at, 30), rig.Axes{}, question.Action{Kind: question.Slew, Sky: &star}))
		for _, p := range out.Instead {
			if s := p.Steps; len(s) == 2 && s[0].Axes != nil && *s[0].Axes == r.Home && s[1].Sky != nil {
				return true
			}
		}
		return false
	}
	assert.True(t, proposed(200, rig.DegAxes(300, 40), rig.Shortest))
	assert.True(t, proposed(-200, rig.DegAxes(-300, 40), rig.Shortest))
	assert.False(t, proposed(200, rig.DegAxes(300, 40), rig.WithinTravel))
	narrow := []string{"axis1_deg: [-270, 270]", "axis1_deg: [-50, 270]"}
	assert.False(t, proposed(200, rig.DegAxes(300, 40), rig.Shortest, narrow...), "a turn before it lies beyond travel too")
}
