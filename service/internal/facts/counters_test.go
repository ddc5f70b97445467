package facts_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// A sync across the end of axis 1 takes the counters half a turn round, which belief does not show: both ends count. Without a sync since
// homing the counters are where homing left them, and a belief off by little is no half turn.
func TestSyncAcrossTheEndOfAxis1(t *testing.T) {
	r := *heron(t)
	r.Mount.SideSensed = false
	m, err := moment(evening)
	assert.NoError(t, err)
	star := question.Sky{RA: (m.SiderealTime(r.Site.Lon) + unit.Deg(45)).Positive(), Dec: unit.Deg(30), Frame: question.OfDate}
	in := standing(t, &r, rig.DegAxes(-80, 1), rig.DegAxes(180, 0), question.Action{Kind: question.Slew, Sky: &star, Side: rig.West})
	assert.Less(t, number(t, facts.Compute(in).Facts, "end_spread_deg"), 5.0, "never synced")
	in.Snapshot.Rig.Steps = []question.Step{{At: evening, Axes: rig.DegAxes(0, 2)}}
	assert.Less(t, number(t, facts.Compute(in).Facts, "end_spread_deg"), 5.0, "synced elsewhere")
	in.Snapshot.Rig.Steps[0].AtEnd = true
	in.Proposes = true
	out := facts.Compute(in)
	for _, name := range []string{"end_spread_deg", "clearance_spare_mm"} { // half a turn further the camera meets a leg
		assert.Contains(t, out.Facts[name].Missing, "near the pole")
		assert.Contains(t, out.Facts[name].Remedy, "ten degrees off the pole")
	}
	require.Len(t, out.Instead, 2)
	assert.Equal(t, question.Action{Kind: question.Jog, Axes: &rig.Axes{A2: unit.Deg(10)}}, out.Instead[0].Steps[0], "off by as it is turned")
	assert.InDelta(t, -12, out.Instead[1].Steps[0].Axes.A2.Deg(), 1e-9, "across, to as far off")

	off := standing(t, &r, rig.DegAxes(-80, 11), rig.DegAxes(180, 0), in.Question.Action)
	off.Snapshot.Rig.Steps = in.Snapshot.Rig.Steps
	assert.Greater(t, number(t, facts.Compute(off).Facts, "end_spread_deg"), 5.0, "there it shows")
}

// A mount that counts from one of the places where it may be turns by what is missing from there, wherever it is.
func TestRetreatCountsFromEveryPlace(t *testing.T) {
	r := heron(t)
	home := r.Home
	first, second := rig.DegAxes(4.77, -55.47), rig.DegAxes(92.93, -134.02)
	in := standing(t, r, first, second.Sub(first), question.Action{Kind: question.Retreat, Axes: &home})
	p := &in.Snapshot.Rig.Pose
	p.State, p.Candidates = question.Candidates, append(p.Candidates, question.Candidate{Axes: second, Sigma: rig.DegAxes(0.02, 0.02)})
	out := facts.Compute(in)
	assert.Less(t, number(t, out.Facts, "clearance_spare_mm"), -20.0, "at the first, counting from the second, the camera passes a leg")
}

// A good solve that agreed with the pose and was held for something else (a lock, an old sample) leaves nothing in doubt.
func TestHeldForSomethingElseIsNoDoubt(t *testing.T) {
	in := solved(t, heron(t), rig.DegAxes(-40, 50), rig.Axes{})
	in.Snapshot.Rig.Solves = []question.JudgedSolve{{
		RequestID: "first", Picture: "p2", Mid: evening.Add(-10 * time.Second), Blind: true, Verdict: question.Held, Good: true,
		Side: rig.East, Pose: rig.DegAxes(-40, 50), Solved: rig.DegAxes(-40, 50), Field: unit.Deg(1.79),
	}}
	assert.Zero(t, number(t, facts.Compute(in).Facts, "pictures_lacking_count"), "asked again with the same picture")
}

// A mount that parks by a false belief, past the border between its sides as it truly goes, takes the way for none that changes sides:
// it goes by none of the poses of a change.
func TestParkingByTheMountsOwnSide(t *testing.T) {
	r := *example(t, "wren.yaml")
	r.Mount.Sync, r.Motion.Sharing = rig.KeptOnAxes, rig.Straight
	r.Motion.Via, r.Motion.FlipVia = []rig.Axes{rig.DegAxes(-12.46, -9.15)}, []rig.Axes{rig.DegAxes(17.5, -16.06)}
	off := rig.DegAxes(-12.71, 8.81) // belief less pose: it ends at -97.81°, and believes at -89°
	in := standing(t, &r, rig.DegAxes(-96.86, -60.14), off, question.Action{Kind: question.Park, Place: "at the pole"})
	highest := number(t, facts.Compute(in).Facts, "altitude_max_deg")
	from, to := rig.DegAxes(-12.46, -9.15).Sub(off), rig.DegAxes(0, -89).Sub(off)
	played := 0.0
	for i := range 101 {
		_, alt := frame.AzAlt(r.Chain.Direction(from.Add(to.Sub(from).Scale(float64(i) / 100))))
		played = max(played, alt.Deg())
	}
	assert.GreaterOrEqual(t, highest, played, "the way without the poses of a change of side is judged")
}
