package reach_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// slopes is Slopes as a bound of a gap of which nothing else is told.
func slopes(p *reach.Prover, pair int, low, high rig.Axes, axis int, forth bool, share float64) (rate, least, most float64) {
	rate, _ = p.Slopes(pair, low, high, axis, forth, share)
	return rate, math.Inf(-1), math.Inf(1)
}

// TestSlopeIsBoundedOverParts: nowhere in a rectangle of poses does a gap widen more slowly than is said of all of it.
func TestSlopeIsBoundedOverParts(t *testing.T) {
	told := 0
	seeds(t, 6000, 120_000, func(r *rand.Rand, seed uint64) {
		rateBy, _, ok := bounded(r, slopes, 1)
		if ok {
			told++
		}
		require.LessOrEqual(t, rateBy, 0.05, "seed %d", seed)
	})
	assert.Greater(t, told, 500)
}

// TestCarelessSlopeIsFound: the same looking finds a bound by a tenth of what a gap may bend.
func TestCarelessSlopeIsFound(t *testing.T) {
	found := 0
	for seed := range uint64(400) {
		if rateBy, _, _ := bounded(rand.New(rand.NewPCG(seed, 63)), slopes, 0.1); rateBy > 0.05 {
			found++
		}
	}
	assert.Greater(t, found, 10)
}

// TestSlopeOfBallsByAPost: of a ball that the axes swing by a post the distance is known in closed form, and so what the slope says: it is worked out here
// anew. An axis that does not move the two against each other is no part of it, however wide.
func TestSlopeOfBallsByAPost(t *testing.T) {
	const postAt, ballAt, radius = 500.0, 560.0, 10.0
	chain := rig.NewChain(rig.AltAzimuth, unit.Deg(0), rig.Tilt{}, point{}, 0) // axis 1 straight down, axis 2 east at zero, the tube level toward north
	for _, links := range []struct {
		post, ball rig.Link
		moves      [2]float64
		reach      [2]float64
	}{
		{rig.Ground, rig.OnAxis2, [2]float64{1, 1}, [2]float64{postAt + radius, ballAt + radius}},
		{rig.Ground, rig.OnAxis1, [2]float64{1, 0}, [2]float64{postAt + radius, 0}},
		{rig.OnAxis1, rig.OnAxis2, [2]float64{0, 1}, [2]float64{0, postAt + radius}},
	} {
		post := rig.Body{Link: links.post, Shape: must(solid.Sphere(point{Y: postAt}, radius))}
		ball := rig.Body{Link: links.ball, Shape: must(solid.Sphere(point{Y: ballAt}, radius))}
		p := reach.New(scene(chain, []rig.Body{post, ball}, 100, nil))
		gap := func(a1, a2 float64) float64 { // east, north, up
			a1, a2 = a1*links.moves[0], a2*links.moves[1]
			at := point{X: ballAt * math.Cos(a2) * math.Sin(a1), Y: ballAt * math.Cos(a2) * math.Cos(a1), Z: ballAt * math.Sin(a2)}
			return at.Sub(point{Y: postAt}).Norm() - 2*radius
		}
		for _, q := range []struct{ mid, half [2]float64 }{
			{[2]float64{0.01, 0}, [2]float64{0.002, 0}}, {[2]float64{0.02, 0.01}, [2]float64{0.004, 0.001}}, {[2]float64{-0.03, 0.02}, [2]float64{0.001, 0.003}},
			{[2]float64{0, 0}, [2]float64{0.001, 0.001}}, {[2]float64{0.02, -0.03}, [2]float64{0, 0.002}}, {[2]float64{0.1, 0.1}, [2]float64{0, 0}},
		} {
			low := rig.Axes{A1: unit.Angle(q.mid[0] - q.half[0]), A2: unit.Angle(q.mid[1] - q.half[1])}
			high := rig.Axes{A1: unit.Angle(q.mid[0] + q.half[0]), A2: unit.Angle(q.mid[1] + q.half[1])}
			half := [2]float64{q.half[0] * links.moves[0], q.half[1] * links.moves[1]}
			for axis := range 2 {
				for _, forth := range []bool{true, false} {
					if links.moves[axis] == 0 {
						continue
					}
					got, long := p.Slopes(0, low, high, axis, forth, 1)
					want, wantLong := slopeByHand(gap, q.mid, half, links.reach, axis, forth)
					assert.InDelta(t, want, got, 0.02+1e-3*math.Abs(want), "%v, %v, axis %d, forth %v", q, links, axis, forth)
					assert.Equal(t, wantLong, long, "%v, %v, axis %d, forth %v", q, links, axis, forth)
				}
			}
		}
	}
}

// slopeByHand is the bound of slope.go from a gap in closed form: reach is that of the pair from each axis.
func slopeByHand(gap func(a1, a2 float64) float64, mid, half, reach [2]float64, axis int, forth bool) (rate float64, long int) {
	other, sign := 1-axis, 1.0
	if !forth {
		sign = -1
	}
	on := max(1e-4, math.Hypot(half[axis], half[other]*reach[other]/reach[axis]))
	far := half
	far[axis] += on
	least := gap(mid[0], mid[1]) - reach[0]*2*math.Sin(far[0]/2) - reach[1]*2*math.Sin(far[1]/2)
	wide := [2]float64{reach[0] + reach[1]*2*math.Sin(far[1]/2), reach[1]}
	k := [2]float64{}
	for i, r := range wide {
		k[i] = r*r/(2*least) + r/2
		if half[other] > 0 {
			k[i] = r*r/least + (r+reach[1])/2
		}
	}
	at := func(x, y float64) float64 {
		by := [2]float64{}
		by[axis], by[other] = sign*x, y
		return gap(mid[0]+by[0], mid[1]+by[1])
	}
	const h = 1e-6
	rate = math.Inf(1)
	for _, x := range []float64{-half[axis], half[axis]} {
		for _, y := range []float64{-half[other], half[other]} {
			tangent := (at(h, 0)-at(-h, 0))/(2*h)*x + (at(0, h)-at(0, -h))/(2*h)*y
			grown := at(x+on, y) - k[axis]*(x+on)*(x+on) - k[other]*y*y - at(0, 0) - tangent
			rate = min(rate, grown/on+2*k[axis]*x)
		}
	}
	if long = axis; reach[other]*half[other] > reach[axis]*half[axis] {
		long = other
	}
	return rate, long
}

// TestSlopeOfWhatMayTouch: of a gap that may close over the part, or a little farther on, nothing is told, and the creep's own axis is cut where no other is wider.
func TestSlopeOfWhatMayTouch(t *testing.T) {
	chain := rig.NewChain(rig.AltAzimuth, unit.Deg(0), rig.Tilt{}, point{}, 0)
	post := rig.Body{Link: rig.Ground, Shape: must(solid.Sphere(point{Y: 500}, 10))}
	ball := rig.Body{Link: rig.OnAxis1, Shape: must(solid.Sphere(point{Y: 521}, 10))} // 1 mm apart; they reach 510 mm from axis 1
	p := reach.New(scene(chain, []rig.Body{post, ball}, 100, nil))
	for _, x := range []struct {
		half float64
		told bool
	}{{0.0005, true}, {0.0009, true}, {0.001, false}, {0.01, false}} { // and as far beyond: 510·2·0.0009 is 0.92 mm
		half := rig.Axes{A1: unit.Angle(x.half)}
		rate, long := p.Slopes(0, half.Scale(-1), half, 0, true, 1)
		assert.Equal(t, x.told, rate > math.Inf(-1), "half %g: %g", x.half, rate)
		assert.Equal(t, 0, long)
	}
}

// offTheRim is a German on a pier, invented, as tape measures give it, overrun and all.
const offTheRim = `rig: rim
title: An invented German on a pier
kind: german equatorial
site: {latitude_deg: 46.2, longitude_deg: 10, height_m: 200}
tape:
  floor_to_crossing_mm: 1134.7
  crossing_north_of_hub_mm: 131.1
  crossing_east_of_hub_mm: 12.4
  pier: {diameter_mm: 167.8, height_mm: 949.4}
  crossing_to_tube_mm: 259
  tube_diameter_mm: 247.7
  front_reach_mm: 440.9
  back_reach_mm: 291.3
  bar_diameter_mm: 23.5
  weights_radius_mm: 67.8
  weights_from_mm: 257.2
  weights_to_mm: 330.7
home_deg: [0, 0]
travel_from_home: {axis1_deg: [-170, 170], axis2_deg: [-179, 179]}
motion: {axes_move: independent, rate_deg_per_s: [4, 4], acceleration_deg_per_s2: [4, 4], overrun_deg: [0.5, 0.6], way_round: within travel}
mount: {keeps_sync_on: axes, side_chosen_by: asker, flips_while_tracking: no}
pose_sources:
  - {kind: axis encoder, sigma_deg: [0.01, 0.01]}
homing: {by: sensor, sigma_deg: [0.01, 0.01]}
if_asker_dies: {stops_it: nothing}
has_no: [drag, roof, neighbours]
end: rim
`

// TestCreepOffARimIsProven: where a tube's end stands beside the rim of a pier, 18 mm of 30 from it, both axes lead out at 1.4 and 2 mm a degree, and it is
// proven so by a third of what a creep may take, with all of the overrun about where the rig stands. Before there was a slope that took 12,500 and 80,000 cells.
func TestCreepOffARimIsProven(t *testing.T) {
	r, bad := rig.Parse("rim.yaml", []byte(offTheRim), nil)
	require.NotNil(t, r, "%v", bad)
	s := r.Scene(nil, 10, 10)
	p, from := reach.New(s), rig.DegAxes(119.691, 7.217)
	for _, by := range []rig.Axes{rig.DegAxes(-2, 0), rig.DegAxes(0, 2)} {
		for _, spread := range []rig.Axes{{}, rig.DegAxes(0.05, 0.05), r.Motion.Overrun} {
			c := p.Creeps(from, by, spread, creepSlack, reach.DefaultBudget/18)
			assert.True(t, opens(c), "by %v, spread %v: %+v", by, spread, c)
			back := p.Creeps(from, by.Scale(-1), spread, creepSlack, reach.DefaultBudget/18)
			assert.True(t, closes(back), "by %v, spread %v: %+v", by.Scale(-1), spread, back)
			_, closing := func() (rig.Axes, float64) {
				l := newLooker(s, by)
				return l.worst(rand.New(rand.NewPCG(1, 1)), from, by, spread, 20)
			}()
			assert.LessOrEqual(t, closing, creepSlack*1.02)
		}
	}
}
