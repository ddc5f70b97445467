package facts_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/practice"
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
	require.Len(t, open.Instead, 2, "one that keeps the floor, and then the quickest")
	series := open.Instead[0].Steps
	assert.Equal(t, "a way round", open.Instead[0].Found)
	assert.Positive(t, open.Sought, "cells looked at for it")
	require.GreaterOrEqual(t, len(series), 2, "a stop at least, and the same again: %v", series)
	assert.Equal(t, to, *series[len(series)-1].Axes)
	lowest := func(series []question.Action) (least float64) {
		at := from
		for _, a := range series {
			require.Equal(t, question.Slew, a.Kind)
			leg := facts.Compute(standing(t, r, at, rig.Axes{}, axesSlew(*a.Axes)))
			assert.GreaterOrEqual(t, number(t, leg.Facts, "clearance_spare_mm"), 0.0, "from %v to %v", at, *a.Axes)
			least = min(least, number(t, leg.Facts, "altitude_min_deg"))
			at = *a.Axes
		}
		return least
	}
	assert.GreaterOrEqual(t, lowest(series), -3.0, "the first keeps the floor: %v", series)
	assert.Less(t, lowest(open.Instead[1].Steps), -3.0, "the quickest does not")
	assert.NotContains(t, fmt.Sprint(open.Notes), "way round")
}

// TestAFlipGoesRound: where the way of a flip is barred and another is not, stops are named and then a slew to where the tube points, to the other side. A
// flip from a stop would turn over what stands there; and where nobody knows which side the mount takes, a slew is no flip.
func TestAFlipGoesRound(t *testing.T) {
	past := rig.DegAxes(92, -60) // tube west, two degrees past the meridian
	flip := question.Action{Kind: question.Flip, Follow: 10 * time.Minute}
	r := fenced(t, -96, -20)
	in := standing(t, r, past, rig.Axes{}, flip)
	out := facts.Compute(in)
	require.Less(t, number(t, out.Facts, "clearance_sharp_spare_mm"), 0.0)
	require.NotEmpty(t, out.Instead)
	for _, p := range out.Instead {
		last := p.Steps[len(p.Steps)-1]
		require.Equal(t, question.Slew, last.Kind, "%v", p.Steps)
		require.NotNil(t, last.Sky)
		assert.InDelta(t, in.Snapshot.Rig.Sample.Belief.Sky.Dec.Deg(), last.Sky.Dec.Deg(), 1e-9)
		assert.InDelta(t, in.Snapshot.Rig.Sample.Belief.Sky.RA.Deg(), last.Sky.RA.Deg(), 0.01, "it stood still for a second")
		assert.Equal(t, flip.Follow, last.Follow)
		assert.Empty(t, last.Side, "this mount takes none")
		at := past
		for _, a := range p.Steps {
			leg := facts.Compute(standing(t, r, at, rig.Axes{}, a))
			assert.GreaterOrEqual(t, number(t, leg.Facts, "clearance_spare_mm"), 0.0, "from %v: %v", at, a)
			at = leg.Ends[0].Axes
		}
		assert.Equal(t, rig.East, r.Kind.SideOf(at), "it ends on the other side")
	}

	asked := *r
	asked.Mount.Chooses = rig.AskerChooses
	for _, p := range facts.Compute(standing(t, &asked, past, rig.Axes{}, flip)).Instead {
		assert.Equal(t, rig.East, p.Steps[len(p.Steps)-1].Side)
	}
	early := facts.Compute(standing(t, r, rig.DegAxes(85, -60), rig.Axes{}, flip))
	assert.Empty(t, early.Instead, "before the meridian a slew would not change sides")
	assert.Less(t, early.Sought, 100, "a creep out of it is looked at, and no way round sought that nothing can come of")
	unknown := *r
	unknown.Mount.Chooses = rig.AnySide
	lost := facts.Compute(standing(t, &unknown, past, rig.Axes{}, flip))
	assert.Empty(t, lost.Instead)
	assert.Less(t, lost.Sought, 100)
}

// TestAWayThatIsClearAndTooLowGoesRound: near the equator a German mount that turns both axes at once points below the floor on the way from one side to the
// other. Beside home and the corners a way is named that is known to keep the floor.
func TestAWayThatIsClearAndTooLowGoesRound(t *testing.T) {
	low := strings.NewReplacer("latitude_deg: 46.20", "latitude_deg: 3", "crossing_north_of_hub_mm: 125", "crossing_north_of_hub_mm: 230",
		"leg_foot_radius_mm: 520", "leg_foot_radius_mm: 300").Replace(string(practice.HeronFile()))
	r, bad := rig.Parse("heron.yaml", []byte(low), nil)
	require.NotNil(t, r, "%v", bad)
	for _, ends := range [][2]rig.Axes{{rig.DegAxes(0, 80), rig.DegAxes(40, -90)}, {rig.DegAxes(-40, 110), rig.DegAxes(80, -90)}} {
		out := facts.Compute(standing(t, r, ends[0], rig.Axes{}, axesSlew(ends[1])))
		require.GreaterOrEqual(t, number(t, out.Facts, "clearance_spare_mm"), 0.0)
		require.Less(t, number(t, out.Facts, "altitude_min_deg"), -10.0)
		i := slices.IndexFunc(out.Instead, func(p facts.Proposal) bool { return p.Found == "a way round" })
		require.GreaterOrEqual(t, i, 0, "%v", out.Instead)
		assert.Positive(t, out.Sought)
		at := ends[0]
		for _, a := range out.Instead[i].Steps {
			leg := facts.Compute(standing(t, r, at, rig.Axes{}, axesSlew(*a.Axes)))
			assert.GreaterOrEqual(t, number(t, leg.Facts, "clearance_spare_mm"), 0.0, "from %v to %v", at, *a.Axes)
			assert.GreaterOrEqual(t, number(t, leg.Facts, "altitude_min_deg"), -3.0, "from %v to %v", at, *a.Axes)
			at = *a.Axes
		}
		assert.Equal(t, ends[1], at)
	}
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
