package facts_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// A mount that keeps its syncs on the sky was started anew two and a half degrees beside its home, so its counters stand beside the axes. A slew ends where
// counters, the syncs since the homing taken off the target, bring the axes: with none by what belief is off; once a sync has taken that off on the one side
// of the pole, twice as far off on the other, where belief says nothing of it. Played here with the counters themselves.
func TestCountersBesideThePose(t *testing.T) {
	beside := rig.DegAxes(0, 2.5) // axes less counters
	at := rig.DegAxes(-60, 65)
	for _, keeping := range []rig.SyncKeeping{rig.KeptOnSky, rig.KeptUnknown} {
		r := *heron(t)
		r.Mount.Sync, r.Rests = keeping, []rig.Rest{{Name: "beside the pier", Axes: rig.DegAxes(0, 40)}}
		m, err := moment(evening)
		require.NoError(t, err)
		sky := rig.MountSky{Sidereal: m.SiderealTime(r.Site.Lon), Lat: r.Site.Lat}
		for _, synced := range []bool{false, true} {
			shown, by := beside.Scale(-1), [2]unit.Angle{}
			if synced {
				ra, dec, _ := r.Unmap(sky, at)
				cRA, cDec, _ := r.Unmap(sky, at.Sub(beside))
				shown, by = rig.Axes{}, [2]unit.Angle{(ra - cRA).Wrapped(), dec - cDec}
			}
			for _, hour := range []float64{25, -25} {
				side := rig.East
				if hour < 0 {
					side = rig.West
				}
				star := question.Sky{RA: (sky.Sidereal - unit.Deg(hour)).Positive(), Dec: unit.Deg(30), Frame: question.OfDate}
				in := standing(t, &r, at, shown, question.Action{Kind: question.Slew, Sky: &star, Side: side})
				in.Snapshot.Rig.Homing = &question.Homing{ID: "h1", Person: "A. Person"}
				if synced {
					in.Snapshot.Rig.Steps = []question.Step{{Sky: by, Asked: true}}
				}
				out := facts.Compute(in)
				then := sky
				then.Sidereal += unit.Angle(out.MotionS) * question.SiderealRate
				truly := r.Map(then, star.RA-by[0], star.Dec-by[1], side).Add(beside)
				assert.True(t, ends(out, truly), "%s, synced %t, hour %g: truly at %s, told %v", keeping, synced, hour, truly, out.Ends)
				if synced && hour < 0 {
					assert.InDelta(t, 5, number(t, out.Facts, "end_spread_deg"), 0.05, "twice")
					in.Snapshot.Rig.Homing.Sensed = true
					assert.Less(t, number(t, facts.Compute(in).Facts, "end_spread_deg"), 0.05, "a sensor set the counters")
					for why, change := range map[string]func(in *facts.Input){
						"an encoder may have seen what slipped since": func(in *facts.Input) {
							with := r
							with.Sources = append(slices.Clone(r.Sources), rig.Source{Kind: rig.AxisEncoder})
							in.Rig = &with
						},
						"the homing read one": func(in *facts.Input) {
							h := *in.Snapshot.Rig.Homing
							h.CountZero = map[rig.SourceKind]rig.Axes{rig.AxisEncoder: {}}
							in.Snapshot.Rig.Homing = &h
						},
						"a count was told apart": func(in *facts.Input) {
							in.Snapshot.Rig.Parted = map[rig.SourceKind]string{rig.MotorCount: "it slipped"}
						},
					} {
						slipped := in
						change(&slipped)
						assert.InDelta(t, 5, number(t, facts.Compute(slipped).Facts, "end_spread_deg"), 0.05, why)
					}
				}
			}
			rest := r.Rests[0]
			in := standing(t, &r, at, shown, question.Action{Kind: question.Park, Place: rest.Name})
			if synced {
				in.Snapshot.Rig.Steps = []question.Step{{Sky: by, Asked: true}}
			}
			assert.True(t, ends(facts.Compute(in), rest.Axes.Add(beside)), "%s, synced %t: parks by its counters", keeping, synced)

			in.Snapshot.Rig.Pose.Source = rig.UnsyncedBelief
			to := rig.DegAxes(-30, 50)
			in.Question.Action = axesSlew(to)
			assert.True(t, ends(facts.Compute(in), to.Add(beside)), "%s, synced %t: to axis angles by its counters", keeping, synced)
			in.Snapshot.Rig.Pose.Source = rig.MotorCount
			assert.False(t, ends(facts.Compute(in), to.Add(beside)), "%s, synced %t: counts say where it is", keeping, synced)
			byBelief := r
			byBelief.Homing.By = rig.ByBelief
			in.Rig, in.Question.Action = &byBelief, question.Action{Kind: question.Home}
			assert.True(t, ends(facts.Compute(in), r.Home.Add(beside)), "%s, synced %t: homes by its counters", keeping, synced)
		}
	}
}

// ends tells whether a place is among the predicted ends.
func ends(out facts.Outcome, at rig.Axes) bool {
	for _, e := range out.Ends {
		if e.Axes.Sub(at).Abs().Max() < 0.05*unit.Degree {
			return true
		}
	}
	return false
}

// So near the pole that an offset on the sky may be any turn of axis 1 counters that may stand beside lead nowhere that is told, and parking counts axis 2
// alone; a step off it shows what there is of it.
func TestCountersBesideNearThePole(t *testing.T) {
	r := *heron(t)
	r.Mount.Sync, r.Rests = rig.KeptOnSky, []rig.Rest{{Name: "beside the pier", Axes: rig.DegAxes(0, 40)}}
	m, err := moment(evening)
	require.NoError(t, err)
	star := question.Sky{RA: (m.SiderealTime(r.Site.Lon) + unit.Deg(45)).Positive(), Dec: unit.Deg(30), Frame: question.OfDate}
	in := standing(t, &r, rig.DegAxes(-20, 4), rig.DegAxes(20, -2), question.Action{Kind: question.Slew, Sky: &star, Side: rig.West})
	assert.Contains(t, facts.Compute(in).Facts["end_spread_deg"].Missing, "near the pole")
	off := standing(t, &r, rig.DegAxes(-20, 14), rig.DegAxes(20, -2), in.Question.Action)
	assert.InDelta(t, 20, number(t, facts.Compute(off).Facts, "end_spread_deg"), 0.5)

	rest := r.Rests[0]
	parks := facts.Compute(standing(t, &r, rig.DegAxes(-20, 4), rig.DegAxes(20, -2), question.Action{Kind: question.Park, Place: rest.Name}))
	assert.True(t, ends(parks, rest.Axes.Add(rig.DegAxes(0, 2))), "told %v", parks.Ends)
	assert.Len(t, parks.Ends, 2)
}
