package reach_test

import (
	"math"
	"math/rand/v2"
	"runtime"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

func always(int, int) bool { return true }

// rasterOf works a scene's map out.
func rasterOf(t testing.TB, s *rig.Scene) *reach.Raster {
	t.Helper()
	out := reach.New(s).NewMap().Raster(reach.RasterBudget, always)
	require.NotNil(t, out)
	require.False(t, out.Spent)
	return out
}

// clearDeg is from which angle on the rod of walls is clear of a ball: its end turns on a circle of 1 m, and 80 mm are wanted between the
// ball's centre and the end's: 10 and 60 of radius, 10 required.
var clearDeg = 2 * math.Asin(0.04) * 180 / math.Pi

func TestRasterIsTheMap(t *testing.T) {
	seeds(t, 4, 40, func(r *rand.Rand, seed uint64) {
		s := randomScene(r, randomShape)
		m := reach.New(s).NewMap()
		raster := m.Raster(reach.RasterBudget, always)
		for range 400 {
			at := randomPose(r, 700)
			require.Equal(t, m.Standing(at, at, reach.DefaultBudget), raster.At(at), "seed %d: %v", seed, at)
			switch spare := least(s, at); raster.At(at) {
			case reach.Clear:
				require.GreaterOrEqual(t, spare, -slack, "seed %d: %v", seed, at)
			case reach.Barred:
				require.Less(t, spare, slack, "seed %d: %v", seed, at)
			case reach.Unknown:
				require.Less(t, math.Abs(spare), 60.0, "seed %d: left open at %v", seed, at)
			}
		}
	})
}

func TestRasterStopsWhenTold(t *testing.T) {
	parts := 0
	assert.Nil(t, reach.New(walls(rig.DegAxes(30, 30))).NewMap().Raster(reach.RasterBudget, func(done, of int) bool {
		parts++
		assert.Equal(t, parts, done)
		assert.Greater(t, of, 3)
		return done < 3
	}))
	assert.Equal(t, 3, parts)
	spent := reach.New(walls(rig.DegAxes(30, 30))).NewMap().Raster(50, always)
	assert.True(t, spent.Spent)
	assert.Equal(t, reach.Unknown, spent.At(rig.DegAxes(-170, -170)))
}

// TestWidestEndsAtTheWalls: bounds that are known beforehand, and what makes them.
func TestWidestEndsAtTheWalls(t *testing.T) {
	box := append(fence(40, -1), fence(-30, -1)...)
	for deg := -26.0; deg < 40; deg += 8 {
		box = append(box, rig.DegAxes(deg, 60), rig.DegAxes(deg, -50))
	}
	r := rasterOf(t, walls(box...))
	axis1, axis2, ok := r.Widest(rig.Axes{}, rig.Axes{})
	require.True(t, ok)
	for what, c := range map[string]struct{ got, wall, way float64 }{
		"low of axis 1":  {axis1.Low.Deg(), -30, 1},
		"high of axis 1": {axis1.High.Deg(), 40, -1},
		"low of axis 2":  {axis2.Low.Deg(), -50, 1},
		"high of axis 2": {axis2.High.Deg(), 60, -1},
	} {
		want := c.wall + c.way*clearDeg
		inside := (c.got - want) * c.way
		const askew = 5.0 // away from axis 2 at 0 a degree of axis 1 is less: what is lost of one axis is won of the other
		assert.GreaterOrEqual(t, inside, -1e-6, "%s: got %v, the wall asks for %v", what, c.got, want)
		assert.LessOrEqual(t, inside, askew, "%s: got %v, the wall asks for %v", what, c.got, want)
	}
	near, _, ok := r.Widest(rig.Axes{}, rig.DegAxes(2, 1))
	require.True(t, ok)
	assert.InDelta(t, axis1.High.Deg()-2, near.High.Deg(), 1e-6, "what lies within the spread of an end is inside too")
	binds := r.Binds(axis1, axis2, 0, 1, rig.Axes{})
	require.NotNil(t, binds)
	assert.InDelta(t, axis1.High.Deg(), binds.Pose.A1.Deg(), 0.3)
	assert.Less(t, float64(binds.Lower), 10.0)
	_, _, ok = r.Widest(rig.DegAxes(40, 1), rig.Axes{})
	assert.False(t, ok, "about a pose that is not clear")
	_, _, ok = r.Widest(rig.Axes{A1: axis1.High - unit.Deg(0.1)}, rig.DegAxes(1, 0))
	assert.False(t, ok, "about a pose that is not clear with its spread")
}

func TestNothingBoundsAFreeAxis(t *testing.T) {
	axis1, axis2, ok := rasterOf(t, walls()).Widest(rig.DegAxes(10, 10), rig.Axes{})
	require.True(t, ok)
	assert.True(t, axis1.Free)
	assert.True(t, axis2.Free)
	ring := walls()
	for deg := 0.0; deg < 360; deg += 4 {
		ring.Bodies = append(ring.Bodies, walls(rig.DegAxes(deg, 40)).Bodies[1])
		ring.Pairs = append(ring.Pairs, rig.Pair{A: len(ring.Bodies) - 1, B: 0, Required: 10})
	}
	axis1, axis2, ok = rasterOf(t, ring).Widest(rig.DegAxes(700, 10), rig.Axes{})
	require.True(t, ok)
	assert.True(t, axis1.Free, "whole turns away from where the balls stand")
	assert.False(t, axis2.Free)
	assert.InDelta(t, 40-clearDeg, axis2.High.Deg(), 0.6)
	assert.InDelta(t, 10-180, axis2.Low.Deg(), 0.6, "half a turn is as far as it looks: the ring is met again over the pole, at -215.4")
}

// TestWidestIsWholeAndWidest: every cell of what is found is clear; no row or column of cells can be added; and no rectangle drawn by lot
// about the pose that is clear is larger.
func TestWidestIsWholeAndWidest(t *testing.T) {
	found := 0
	seeds(t, 6, 60, func(r *rand.Rand, seed uint64) {
		var box []rig.Axes
		for range 40 {
			box = append(box, randomPose(r, 180))
		}
		raster, at := rasterOf(t, walls(box...)), randomPose(r, 180)
		axis1, axis2, ok := raster.Widest(at, rig.Axes{})
		require.Equal(t, raster.At(at) == reach.Clear, ok, "seed %d", seed)
		if !ok || axis1.Free || axis2.Free {
			return
		}
		found++
		whole := func(lo1, hi1, lo2, hi2 float64) bool {
			for a := lo1 + 0.125; a < hi1; a += 0.25 {
				for b := lo2 + 0.125; b < hi2; b += 0.25 {
					if raster.At(rig.DegAxes(a, b)) != reach.Clear {
						return false
					}
				}
			}
			return true
		}
		l1, h1, l2, h2 := axis1.Low.Deg(), axis1.High.Deg(), axis2.Low.Deg(), axis2.High.Deg()
		require.True(t, whole(l1, h1, l2, h2), "seed %d", seed)
		const more = 0.25
		require.False(t, whole(l1-more, l1, l2, h2) || whole(h1, h1+more, l2, h2), "seed %d: axis 1 could go on", seed)
		require.False(t, whole(l1, h1, l2-more, l2) && l2 > at.A2.Deg()-179 || whole(l1, h1, h2, h2+more) && h2 < at.A2.Deg()+179, "seed %d: axis 2 could go on", seed)
		for range 30 {
			a, b := at.A1.Deg()-120*r.Float64(), at.A2.Deg()-120*r.Float64()
			c, d := at.A1.Deg()+120*r.Float64(), at.A2.Deg()+120*r.Float64()
			if (c-a)*(d-b) > (h1-l1+1)*(h2-l2+1) {
				require.False(t, whole(a, c, b, d), "seed %d: %g to %g by %g to %g is larger", seed, a, c, b, d)
			}
		}
	})
	assert.NotZero(t, found)
}

func TestBandsFollowTheWalls(t *testing.T) {
	r := rasterOf(t, walls(rig.DegAxes(40, 5), rig.DegAxes(60, 20), rig.DegAxes(-35, 20), rig.DegAxes(0, 35)))
	bands := r.Bands(0, unit.Deg(0), unit.Deg(40), unit.Deg(10), rig.Axes{})
	require.Len(t, bands, 4)
	for i, want := range []float64{40 - clearDeg, 0, 60 - clearDeg/math.Cos(20*math.Pi/180)} {
		assert.True(t, bands[i].Clear)
		if want != 0 {
			assert.InDelta(t, want, bands[i].Axis1.High.Deg(), 0.7, "band %d", i)
		}
	}
	assert.InDelta(t, bands[2].Axis1.Low.Deg(), -35+clearDeg/math.Cos(20*math.Pi/180), 0.7)
	assert.False(t, bands[3].Clear, "a ball stands at 0, 35")
	assert.InDelta(t, 30, bands[3].Axis2.Low.Deg(), 1e-9)
	assert.Less(t, r.Bands(0, 0, unit.Deg(10), unit.Deg(10), rig.DegAxes(3, 0))[0].Axis1.High, bands[0].Axis1.High-unit.Deg(2.9))
	assert.Len(t, r.Bands(0, unit.Deg(-90), unit.Deg(91), unit.Deg(90), rig.Axes{}), 3, "the last one is less")
}

func TestRegionsThatCannotBeReached(t *testing.T) {
	travel := rig.Travel{Low: rig.DegAxes(-30, -30), High: rig.DegAxes(90, 80)}
	r := rasterOf(t, walls(fence(30, -1)...))
	reached, apart, ok := r.Regions(travel, rig.Axes{}, onward)
	require.True(t, ok)
	require.Len(t, apart, 1)
	assert.Greater(t, apart[0].Pose.A1.Deg(), 30.0)
	assert.InDelta(t, (30-clearDeg+30)/120, reached, 0.02)
	assert.InDelta(t, (60-clearDeg)/120, apart[0].Share, 0.02)
	_, apart, _ = rasterOf(t, walls(fence(30, 6)...)).Regions(travel, rig.Axes{}, onward)
	assert.Empty(t, apart, "by the opening all is reached")
	reached, apart, _ = r.Regions(travel, rig.DegAxes(30, 0), onward)
	assert.Zero(t, reached, "from where it is not clear nothing is")
	assert.Len(t, apart, 2)
}

func onward() bool { return true }

// TestRegionsOfWideTravelTakeLittleRoom: a byte a cell, whatever is clear; and they end where they are told to.
func TestRegionsOfWideTravelTakeLittleRoom(t *testing.T) {
	travel := rig.Travel{Low: rig.DegAxes(-1080, -90), High: rig.DegAxes(1080, 90)}
	const cells = 2160 * 180 * 16
	r := rasterOf(t, walls(fence(30, -1)...))
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	_, apart, ok := r.Regions(travel, rig.DegAxes(30, 0), onward) // of no region: all are apart
	runtime.ReadMemStats(&after)
	assert.True(t, ok)
	assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(cells*3/2))
	require.NotEmpty(t, apart)
	assert.Greater(t, apart[0].Share, 0.5)

	asked := 0
	_, apart, ok = r.Regions(travel, rig.DegAxes(30, 0), func() bool { asked++; return asked < 3 })
	assert.False(t, ok)
	assert.Equal(t, 3, asked)
	assert.Empty(t, apart)
}

// TestWhatBindsGoesByTheGapThatIsKept: the pair that is nearest, not the one that its own margins would find nearest.
func TestWhatBindsGoesByTheGapThatIsKept(t *testing.T) {
	s := walls(rig.DegAxes(30, 0), rig.DegAxes(40, 25))
	for i := range s.Pairs {
		if s.Bodies[s.Pairs[i].A].Shape.Centre().Sub(s.Chain.Direction(rig.DegAxes(40, 25)).Scale(1000)).Norm() < 1 {
			s.Pairs[i].Required = 400
		}
	}
	axis1, axis2 := reach.Extent{Low: unit.Deg(-10), High: unit.Deg(25.25)}, reach.Extent{Low: unit.Deg(-10), High: unit.Deg(30)}
	for required, m := range map[unit.Length]*reach.Map{10: reach.New(s).NewMapOfGap(10), 400: reach.New(s).NewMap()} {
		binds := m.Raster(reach.RasterBudget, always).Binds(axis1, axis2, 0, 1, rig.Axes{})
		require.NotNil(t, binds)
		assert.Equal(t, required, binds.Required)
	}
}

// TestACornerBinds: what stands beyond a corner, within the spread of both sides, bounds each of the two.
func TestACornerBinds(t *testing.T) {
	const spread = 3.0
	for dir, wall := range map[int]rig.Axes{1: rig.DegAxes(40, 30), -1: rig.DegAxes(-40, -30)} {
		r := rasterOf(t, walls(wall))
		beside := func(at float64) reach.Extent { // its corner lies beside the wall, and what is within the spread of it does not
			if dir < 0 {
				return reach.Extent{Low: unit.Deg(at + clearDeg + 0.5), High: unit.Deg(10)}
			}
			return reach.Extent{Low: unit.Deg(-10), High: unit.Deg(at - clearDeg - 0.5)}
		}
		axis1, axis2 := beside(wall.A1.Deg()), beside(wall.A2.Deg())
		for axis := range 2 {
			assert.Nil(t, r.Binds(axis1, axis2, axis, dir, rig.Axes{}), "axis %d, %d", axis+1, dir)
			binds := r.Binds(axis1, axis2, axis, dir, rig.DegAxes(spread, spread))
			require.NotNil(t, binds, "axis %d, %d", axis+1, dir)
			assert.Less(t, float64(binds.Lower), float64(binds.Required), "axis %d, %d: nearer than is kept", axis+1, dir)
			ends := [2]reach.Extent{axis1, axis2}[axis]
			at, end := [2]unit.Angle{binds.Pose.A1, binds.Pose.A2}[axis], map[int]unit.Angle{1: ends.High, -1: ends.Low}[dir]
			beyond := float64(dir) * (at - end).Deg()
			assert.GreaterOrEqual(t, beyond, spread-1e-6, "axis %d, %d: in the first cells beyond", axis+1, dir)
			assert.LessOrEqual(t, beyond, spread+0.26, "axis %d, %d", axis+1, dir)
			assert.Nil(t, r.Binds(axis1, axis2, axis, -dir, rig.DegAxes(spread, spread)), "axis %d, %d", axis+1, dir)
		}
	}
}
