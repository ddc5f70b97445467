package reach_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// rod is check C12: a rod of 1000 from the origin, swept from 0 to 90° past a ball at distance 1100, bearing 60°. Axis 1 turns it; with
// axis 2 it would be the same by another class of pairs, or both.
func rod(link rig.Link, ball float64, required unit.Length) *rig.Scene {
	up := point{Z: 1}
	chain := rig.Chain{Dir1: up, Dir2: up, Tube: point{X: 1}}
	at := point{X: 1100 * math.Cos(math.Pi/3), Y: 1100 * math.Sin(math.Pi/3)}
	rest := rig.Ground
	if link == rig.OnAxis2 {
		rest = rig.OnAxis1
	}
	return scene(chain, []rig.Body{
		{Link: rest, Shape: must(solid.Sphere(at, ball))},
		{Link: link, Shape: must(solid.Capsule(point{}, point{X: 1000}, 0))},
	}, required, nil)
}

func sweep(link rig.Link) (from, to rig.Axes) {
	if link == rig.OnAxis2 {
		return rig.Axes{}, rig.DegAxes(0, 90)
	}
	return rig.Axes{}, rig.DegAxes(90, 0)
}

func TestRodSweepFindsTheLeastClearance(t *testing.T) {
	for _, link := range []rig.Link{rig.OnAxis1, rig.OnAxis2} {
		from, to := sweep(link)
		// checks.md C12: smallest 50 at 60°.
		for _, c := range []struct {
			required unit.Length
			passes   bool
		}{{0, true}, {20, true}, {40, true}, {49, true}, {49.999, true}, {50.001, false}, {60, false}} {
			r := reach.New(rod(link, 50, c.required)).Prove(reach.Straight(from, to, usual), rig.Axes{}, reach.DefaultBudget)
			assert.True(t, r.Decided, "%s, margin %v: decided", link, c.required)
			assert.Equal(t, c.passes, r.Passes(), "%s, margin %v: passes", link, c.required)
			assert.LessOrEqual(t, r.Lower+c.required, unit.Length(50), "%s, margin %v: proven clearance", link, c.required)
			assert.GreaterOrEqual(t, r.Lower+c.required, unit.Length(48), "%s, margin %v: proven clearance", link, c.required)
			assert.InDelta(t, 60, r.Nearest.Pose.Max().Deg(), 3, "%s: bearing of the nearest approach", link)
		}
	}
}

func TestRodSweepIsUndecidedAtExactlyItsClearance(t *testing.T) {
	// checks.md C12b: with margin 50 never proven.
	from, to := sweep(rig.OnAxis1)
	r := reach.New(rod(rig.OnAxis1, 50, 50)).Prove(reach.Straight(from, to, usual), rig.Axes{}, 500)
	assert.False(t, r.Passes(), "got %+v, want no pass at a spare of nothing", r)
}

func TestRodSweepTakesFewPieces(t *testing.T) {
	// checks.md C12b: bisection by displacement alone needs 5, 10, 32 pieces for margins 20, 40, 49. A bisection into n pieces looks at
	// 2n - 1 cells; the plane bound may only better that.
	from, to := sweep(rig.OnAxis1)
	for margin, most := range map[unit.Length]int{0: 9, 20: 11, 40: 19, 49: 63} {
		passes, cells := reach.New(rod(rig.OnAxis1, 50, margin)).Passes(reach.Straight(from, to, usual), rig.Axes{}, reach.DefaultBudget)
		assert.True(t, passes, "margin %v", margin)
		assert.LessOrEqual(t, cells, most, "cells at margin %v", margin)
	}
}

func TestRodSweepFindsTheFirstContact(t *testing.T) {
	// checks.md C12: with radius 150 contact from 53.889354° on. At constant speed over 90 s an angle is a time.
	for _, link := range []rig.Link{rig.OnAxis1, rig.OnAxis2} {
		from, to := sweep(link)
		p := reach.New(rod(link, 150, 0))
		u := p.Touches(reach.Uniform(from, to, 90), rig.Axes{}, reach.DefaultBudget)
		require.True(t, u.Decided, "%+v", u)
		assert.LessOrEqual(t, u.Clear, 53.889354+1e-6, "clear until, s")
		assert.GreaterOrEqual(t, u.Broken, 53.889354-1e-6, "contact by, s")
		assert.InDelta(t, u.Clear, u.Broken, 0.021, "bracket of the contact, s")
		require.NotNil(t, u.Seen)
		assert.InDelta(t, u.Broken, u.Seen.Turned.Max().Deg(), 1e-9, "turned until contact, °")

		r := p.Prove(reach.Uniform(from, to, 90), rig.Axes{}, reach.DefaultBudget)
		require.True(t, r.Fails(), "%+v", r)
		require.NotNil(t, r.Contact)
		assert.InDelta(t, 53.889354, r.Contact.Seconds, 0.021, "first contact, s")
	}
}

func TestKeepsCountsTheMarginForADeparture(t *testing.T) {
	from, to := sweep(rig.OnAxis1)
	p := reach.New(rod(rig.OnAxis1, 50, 20))
	way := reach.Uniform(from, to, 90)
	assert.True(t, p.Keeps(way, rig.Axes{}, 0, reach.DefaultBudget).Whole, "20 mm kept all along")
	// checks.md C12: at 45° the clearance is 241.484446.
	u := p.Keeps(way, rig.Axes{}, 221.484446, reach.DefaultBudget)
	assert.True(t, u.Decided && !u.Whole, "%+v", u)
	assert.InDelta(t, 45, u.Clear, 0.021, "clear until, s")
	assert.InDelta(t, 45, u.Broken, 0.021, "broken by, s")
	spread := p.Keeps(way, rig.DegAxes(1, 0), 221.484446, reach.DefaultBudget)
	assert.InDelta(t, 44, spread.Broken, 0.021, "broken by, s, with 1° of spread")
}

func TestAWireBetweenTwoSamplesIsNotMissed(t *testing.T) {
	// Fault 64: a wire of 0.1 mm, upright in the ring that the rod's end sweeps. Sampling once a degree steps over it.
	up := point{Z: 1}
	at := point{X: 995 * unit.Deg(30.5).Cos(), Y: 995 * unit.Deg(30.5).Sin()}
	s := scene(rig.Chain{Dir1: up, Dir2: up, Tube: point{X: 1}}, []rig.Body{
		{Link: rig.Ground, Shape: must(solid.Capsule(at.Sub(up.Scale(300)), at.Add(up.Scale(300)), 0.05))},
		{Link: rig.OnAxis1, Shape: must(solid.Capsule(point{}, point{X: 1000}, 0))},
	}, 0, nil)
	from, to := sweep(rig.OnAxis1)
	sampled := math.Inf(1)
	for deg := 0.0; deg <= 90; deg++ {
		sampled = min(sampled, least(s, rig.DegAxes(deg, 0)))
	}
	require.Positive(t, sampled, "the samples see nothing")
	for _, sharing := range sharings {
		r := reach.New(s).Prove(reach.WayOf(sharing, usual, from, to), rig.Axes{}, reach.DefaultBudget)
		assert.False(t, r.Passes(), "%s: got %+v, want no pass through a wire", sharing, r)
		assert.True(t, r.Fails(), "%s: got %+v, want the wire seen", sharing, r)
	}
}

func TestWhatLiesBetweenTheOrdersIsInTheRectangle(t *testing.T) {
	// Fault 66: a ball that only the diagonal meets, and one that only a corner meets.
	from, to := rig.Axes{}, rig.DegAxes(60, 60)
	for name, pose := range map[string]rig.Axes{"diagonal": rig.DegAxes(30, 30), "axis 1 first": rig.DegAxes(58, 3), "axis 2 first": rig.DegAxes(3, 58)} {
		s := ballAt(pose)
		for _, sharing := range []rig.Sharing{rig.Straight, rig.Axis1First, rig.Axis2First} {
			meets := name == string(sharing) || name == "diagonal" && sharing == rig.Straight
			r := reach.New(s).Prove(reach.WayOf(sharing, usual, from, to), rig.Axes{}, reach.DefaultBudget)
			assert.Equal(t, !meets, r.Passes(), "ball on the way %s, motion %s", name, sharing)
		}
		r := reach.New(s).Prove(reach.WayOf(rig.AnyOrder, usual, from, to), rig.Axes{}, reach.DefaultBudget)
		assert.True(t, r.Fails(), "ball on the way %s, any order: got %+v", name, r)
	}
}

// ballAt is a short rod on crossing axes and a ball in its way at a pose.
func ballAt(pose rig.Axes) *rig.Scene {
	chain := rig.Chain{Dir1: point{Z: 1}, Dir2: point{X: 1}, Tube: point{Y: 1}}
	return scene(chain, []rig.Body{
		{Link: rig.Ground, Shape: must(solid.Sphere(chain.Direction(pose).Scale(1000), 40))},
		{Link: rig.OnAxis2, Shape: must(solid.Capsule(point{Y: 900}, point{Y: 1000}, 10))},
	}, 0, nil)
}

// Two parts of axis 1 and axis 2 that stand too near each other do so from the first instant on while axis 1 alone turns.
func TestWhatOnlyAxis2MovesIsBrokenFromTheStart(t *testing.T) {
	p := reach.New(rod(rig.OnAxis2, 50, 20))
	way := reach.Uniform(rig.DegAxes(0, 60), rig.DegAxes(90, 60), 90)
	u := p.Keeps(way, rig.Axes{}, 40, reach.DefaultBudget)
	assert.True(t, u.Decided && !u.Whole, "%+v", u)
	assert.Zero(t, u.Clear, "clear until, s")
	assert.InDelta(t, 0, u.Broken, 0.021, "broken by, s")
	for _, spread := range []float64{0.01, 0.3, 2} { // found at once, not after the whole budget
		u = p.Keeps(way, rig.DegAxes(spread, spread), 40, reach.DefaultBudget)
		assert.True(t, u.Decided && !u.Whole && u.Cells < 200, "%v° of spread: %+v", spread, u)
		assert.InDelta(t, 0, u.Broken, 0.021, "broken by, s")
	}
}
