package reach

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// TestStripsByHand: the lines of the grid, every 3°, between the ends of an interval.
func TestStripsByHand(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		want      []float64
	}{
		{1, 10, []float64{1, 3, 6, 9, 10}}, {-4, 1, []float64{-4, -3, 0, 1}}, {4, 5, []float64{4, 5}}, {5, 5, []float64{5, 5}},
		{0, 2.9, []float64{0, 2.9}}, {0, 5.9, []float64{0, 3, 5.9}}, {-1, 0, []float64{-1, 0}}, {359, 361, []float64{359, 360, 361}}, {2.9, 3.1, []float64{2.9, 3, 3.1}},
	} {
		got := strips(unit.Deg(c.low), unit.Deg(c.high))
		require.Len(t, got, len(c.want), "%v … %v: got %v", c.low, c.high, got)
		for i := range got {
			assert.InDelta(t, c.want[i], got[i].Deg(), 1e-9, "%v … %v", c.low, c.high)
		}
	}
	assert.Equal(t, []unit.Angle{cellStep, 2 * cellStep, 3 * cellStep}, strips(cellStep, 3*cellStep), "ends that are lines")
}

// gridded is a search over a way of an invented scene that stands on a shelf.
func gridded(way Way, spread rig.Axes, what aim) *search {
	scene := lot(rand.New(rand.NewPCG(1, 2)))
	p := WithGrid(scene, scene)
	s := p.search(way, spread, 1000)
	s.aim = what
	return s
}

// perClass is the pieces of one class.
func perClass(s *search, k class) []cell {
	var out []cell
	for _, c := range s.pieces {
		if c.class == k {
			out = append(out, c)
		}
	}
	return out
}

// TestLegsAreCutIntoPieces that hold the leg from end to end, none longer than a cell of the grid, each known as the grid knows it.
func TestLegsAreCutIntoPieces(t *testing.T) {
	m := rig.Motion{RateDeg: [2]float64{3, 3}, AccelDeg: [2]float64{2, 2}}
	spread := rig.DegAxes(0.5, 0.25)
	for what, c := range map[string]struct {
		way    Way
		pieces int
	}{
		"a line of 11°":              {Straight(rig.DegAxes(10, 20), rig.DegAxes(21, 18), m), 4},
		"a line of 20° of axis 2":    {Straight(rig.DegAxes(10, 20), rig.DegAxes(9, 40), m), 8},
		"a line back":                {Straight(rig.DegAxes(21, 18), rig.DegAxes(10, 20), m), 4},
		"a short line":               {Straight(rig.DegAxes(10, 20), rig.DegAxes(12.9, 20), m), 1},
		"none":                       {Hold(rig.DegAxes(10, 20)), 1},
		"a curve at constant speeds": {wayOf(leg{kind: curveLeg, from: rig.DegAxes(10, 20), to: rig.DegAxes(21, 18), laws: [2]law{newLaw(radians(11), 1, math.Inf(1)), newLaw(radians(2), 1, math.Inf(1))}}), 4},
	} {
		s := gridded(c.way, spread, tight)
		s.cutLeg(0)
		l := &s.way.legs[0]
		for k := range classes {
			got := perClass(s, k)
			require.Len(t, got, c.pieces, "%s: class %d", what, k)
			at := 0.0
			for _, piece := range got {
				assert.Equal(t, at, piece.first, "%s: it goes on where the last one ends", what)
				at = piece.last
				from, to := l.point(piece.first), l.point(piece.last)
				near(t, hull(from, to, spread), piece.box)
				assert.LessOrEqual(t, to.Sub(from).Abs().Max(), cellStep, what)
				assert.True(t, piece.fresh)
				assert.Equal(t, s.p.known.over(k, piece.box, math.Inf(-1)).spare, piece.low, what)
				assert.Equal(t, s.p.known.over(k, piece.box, math.Inf(-1)).pair, piece.at, what)
				assert.Equal(t, int32(0), piece.leg)
			}
			assert.Equal(t, l.lastMark(), at, "%s: to its end", what)
		}
	}
}

// TestRectanglesAreCutAlongTheGrid and hold all of what is swept, once.
func TestRectanglesAreCutAlongTheGrid(t *testing.T) {
	m := rig.Motion{RateDeg: [2]float64{3, 3}, AccelDeg: [2]float64{2, 2}}
	s := gridded(Rectangle(rig.DegAxes(10, 20), rig.DegAxes(17, 16), m), rig.DegAxes(0.5, 0.25), tight)
	s.cutLeg(0)
	for k := range classes {
		got, area := perClass(s, k), 0.0
		require.Len(t, got, 3*2, "from 9.5° to 17.5° and from 15.75° to 20.25°")
		for _, c := range got {
			assert.Equal(t, []float64{0, 1}, []float64{c.first, c.last})
			d := c.box.high.Sub(c.box.low)
			assert.LessOrEqual(t, d.Max(), cellStep+1e-12)
			area += d.A1.Deg() * d.A2.Deg()
		}
		assert.InDelta(t, 8*4.5, area, 1e-6)
		near(t, rect{rig.DegAxes(9.5, 15.75), rig.DegAxes(17.5, 20.25)}, rect{got[0].box.low, got[5].box.high})
		near(t, rect{rig.DegAxes(9.5, 18), rig.DegAxes(12, 20.25)}, got[1].box)
		near(t, rect{rig.DegAxes(12, 15.75), rig.DegAxes(15, 18)}, got[2].box)
	}
}

// TestTooLargeIsNotLookedUp: of a rectangle with as many cells as a turn of both axes has nothing is known; it is one piece.
func TestTooLargeIsNotLookedUp(t *testing.T) {
	for _, c := range []struct {
		d, spread rig.Axes
		large     bool
	}{
		{rig.DegAxes(353.9, 353.9), rig.Axes{}, true}, {rig.DegAxes(353.9, 350.9), rig.Axes{}, false}, {rig.DegAxes(350.9, 353.9), rig.Axes{}, false},
		{rig.DegAxes(353.9, 350.9), rig.DegAxes(0, 1), true}, {rig.DegAxes(350.9, 353.9), rig.DegAxes(1, 0), true}, {rig.DegAxes(-353.9, -353.9), rig.Axes{}, true},
		{rig.DegAxes(9000, 2), rig.Axes{}, false}, {rig.DegAxes(10803, 6), rig.Axes{}, true}, {rig.DegAxes(6, 10803), rig.Axes{}, true}, {rig.DegAxes(1e300, 1e300), rig.Axes{}, true},
	} {
		s := gridded(wayOf(leg{kind: lineLeg, to: c.d}), c.spread, tight)
		s.p.known = newKnown(&Prover{}) // of a scene without pairs all is known at once
		s.cutLeg(0)
		got := perClass(s, groundAxis2)
		if !c.large {
			require.Greater(t, len(got), 60, "%v", c.d)
			assert.True(t, math.IsInf(got[0].low, 1))
			continue
		}
		require.Len(t, got, 1, "%v", c.d)
		if c.d.Max() < 1e9 {
			near(t, hull(rig.Axes{}, c.d, c.spread), got[0].box)
		}
		assert.True(t, got[0].fresh)
		assert.True(t, math.IsInf(got[0].low, -1), "nothing is known of it")
	}
}

// TestWhatIsKnownIsOfTheGoal: less the extra margin, or of the gap alone.
func TestWhatIsKnownIsOfTheGoal(t *testing.T) {
	s := gridded(Hold(rig.DegAxes(10, 20)), rig.Axes{}, tight)
	box := hull(rig.DegAxes(10, 20), rig.DegAxes(10, 20), s.way.legs[0].fuzz())
	for k := range classes {
		known := s.p.known.over(k, box, math.Inf(-1)).spare
		for _, c := range []struct{ share, extra, want float64 }{{1, 0, known}, {1, 15, known - 15}, {0, 0, known + s.p.leastRequired[k]}, {0, 15, known - 15 + s.p.leastRequired[k]}, {0.5, 0, known}} {
			s.goal(c.share, c.extra)
			s.pieces = s.pieces[:0]
			s.cutLeg(0)
			assert.InDelta(t, c.want, perClass(s, k)[0].low, 1e-9, "class %d, %v of what is required and %v", k, c.share, c.extra)
		}
		least := math.Inf(1)
		for _, i := range s.p.of[k] {
			least = min(least, s.p.pairs[i].required)
		}
		assert.Equal(t, least, s.p.leastRequired[k])
	}
	s.p.of[groundAxis1] = nil
	s.pieces = s.pieces[:0]
	s.cutLeg(0)
	assert.Empty(t, perClass(s, groundAxis1), "no pairs")
	assert.Len(t, s.pieces, 2)
}

// TestCutQueuesWhatIsNotSettled: the pieces with enough spare are settled by the least that they have, the others wait by their bound, or by
// their instant.
func TestCutQueuesWhatIsNotSettled(t *testing.T) {
	m := rig.Motion{RateDeg: [2]float64{3, 3}, AccelDeg: [2]float64{2, 2}}
	way := Straight(rig.DegAxes(10, 20), rig.DegAxes(70, 60), m)
	s := gridded(way, rig.Axes{}, tight)
	s.cut()
	all := len(s.pieces)
	require.True(t, s.best.found, "one pair was looked at")
	require.NotEmpty(t, s.queue)
	require.Less(t, len(s.queue), all)
	least, settled := math.Inf(1), math.Inf(1)
	for _, c := range s.pieces {
		least = min(least, c.low)
		if c.low >= s.enough() {
			settled = min(settled, c.low)
		}
	}
	assert.Equal(t, settled, s.settled)
	assert.Equal(t, least, s.queue[0].key)
	for _, c := range s.queue {
		assert.Equal(t, c.low, c.key)
		assert.Less(t, c.low, s.enough())
	}
	s.pieces = append(s.pieces, cell{low: -1e9})
	s.queue = s.queue[:0]
	s.cut()
	assert.Len(t, s.pieces, all, "the last question's are gone")

	late := gridded(way, rig.Axes{}, soonest)
	late.goal(1, 1e4) // so that nothing is kept
	late.cut()
	require.Len(t, late.queue, int(classes), "one piece; what comes later waits")
	assert.False(t, late.best.found, "an instant is looked for in order of time")
	assert.Zero(t, late.queue[0].key, "the start")
	var pieces []cell
	for at := 0.0; late.more(); {
		c := late.queue.pop()
		require.GreaterOrEqual(t, c.key, at, "in order of time")
		assert.Equal(t, way.legs[0].earliest(&c, rig.Axes{}), c.key)
		at, pieces = c.key, append(pieces, c)
	}
	require.Len(t, pieces, all)
	for i, c := range pieces {
		n := slices.IndexFunc(s.pieces, func(p cell) bool {
			return p.class == c.class && p.box == c.box && p.first == c.first && p.last == c.last
		})
		assert.GreaterOrEqual(t, n, 0, "piece %d is one of those", i)
	}
	late.cut()
	late.queue = late.queue[:0]
	late.best = seen{found: true, time: 1e-9}
	assert.False(t, late.more(), "what comes after a break is not cut")
	late.best.found = false
	assert.True(t, late.more())

	late.cut()
	late.queue, late.from = late.queue[:0], way.Seconds()/2
	from := late.way.legs[0].mark(late.from)
	for n := 0; late.more(); n++ {
		c := late.queue.pop()
		require.GreaterOrEqual(t, c.first, from, "what was proven is not looked at again")
		if n == 0 {
			assert.Equal(t, from, c.first)
			assert.Equal(t, late.way.legs[0].point(from).A1-late.way.legs[0].fuzz().A1, c.box.low.A1)
		}
	}
	exactly := gridded(way, rig.Axes{}, verdict)
	exactly.goal(1, s.pieces[0].low) // of which the first then has just enough
	exactly.cut()
	assert.Zero(t, exactly.settled)
	assert.Empty(t, exactly.pieces, "no list is kept where what is enough does not go by the others")
	for _, c := range exactly.queue {
		assert.Negative(t, c.low)
	}
}

// TestProbeLooksAtThePairThatIsKnownToBeNearest, or where the scene is another one, whose balls are.
func TestProbeLooksAtThePairThatIsKnownToBeNearest(t *testing.T) {
	m := rig.Motion{RateDeg: [2]float64{3, 3}, AccelDeg: [2]float64{2, 2}}
	s := gridded(Straight(rig.DegAxes(10, 20), rig.DegAxes(70, 60), m), rig.Axes{}, tight)
	s.probe()
	assert.False(t, s.best.found, "no pieces")
	s.cutLeg(0)
	c := &s.pieces[0]
	for i := range s.pieces {
		if s.pieces[i].low < c.low {
			c = &s.pieces[i]
		}
	}
	stamp := s.stamp
	s.probe()
	require.True(t, s.best.found)
	assert.Equal(t, stamp+1, s.stamp, "a pose of its own")
	assert.Equal(t, c.at, s.best.pair)
	assertPose(t, s.way.legs[0].point((c.first+c.last)/2), s.best.pose, "the middle of its piece")
	exact := gapAt(lot(rand.New(rand.NewPCG(1, 2))), rig.Pair{A: int(s.p.pairs[c.at].a), B: int(s.p.pairs[c.at].b)}, s.best.pose)
	assert.InDelta(t, exact.Upper, s.best.upper, 1e-6)
	for _, what := range []string{"another scene", "a piece of which nothing is known"} {
		s.best = seen{spare: math.Inf(1)}
		low := c.low
		if what == "another scene" {
			s.p.fullest = false
		} else {
			s.p.fullest, c.low = true, math.Inf(-1)
		}
		s.probe()
		c.low = low
		v := s.sight(c)
		want, least := int32(-1), math.Inf(1)
		for _, i := range s.p.of[c.class] {
			a, b := &s.p.bodies[s.p.pairs[i].a], &s.p.bodies[s.p.pairs[i].b]
			if d := v.motion.Point(b.centre).Sub(a.centre).Norm() - a.radius - b.radius - s.p.pairs[i].required; d < least {
				want, least = i, d
			}
		}
		assert.Equal(t, want, s.best.pair, what)
	}
}

// TestWhatIsKeptByFarIsNotCut: a long stretch is looked up at once, where it has few cells of the grid and each class keeps enough.
func TestWhatIsKeptByFarIsNotCut(t *testing.T) {
	s := gridded(Uniform(rig.DegAxes(10, 20), rig.DegAxes(50, 20), 9600), rig.Axes{}, soonest)
	box := hull(rig.DegAxes(10, 20), rig.DegAxes(50, 20), rig.Axes{})
	least := math.Inf(1)
	for k := range classes {
		least = min(least, s.p.known.over(k, box, math.Inf(-1)).spare)
	}
	s.goal(1, least-1)
	assert.True(t, s.clears(box))
	assert.InDelta(t, 1, s.settled, 1e-9)
	s.cut()
	assert.Empty(t, s.queue)
	assert.Empty(t, s.uncut)
	s.goal(1, least)
	assert.True(t, s.clears(box), "none to spare is enough")
	s.settled = 5
	s.goal(1, least+1)
	assert.False(t, s.clears(box))
	assert.Equal(t, 5.0, s.settled)
	s.goal(1, -1e6)
	for what, c := range map[string]struct {
		d    rig.Axes
		want bool
	}{
		"20 cells": {rig.DegAxes(59.9, 2), true}, "21": {rig.DegAxes(60.1, 2), false}, "4 by 5": {rig.DegAxes(14.9, 11.9), true}, "5 by 5": {rig.DegAxes(14.9, 14.9), false},
		"no number": {rig.Axes{A1: unit.Angle(math.NaN())}, false},
	} {
		assert.Equal(t, c.want, s.clears(rect{rig.DegAxes(10, 20), rig.DegAxes(10, 20).Add(c.d)}), what)
	}
	s.goal(0, 0)
	assert.Equal(t, s.p.leastRequired[groundAxis2], s.beyond(groundAxis2))
}

// TestLowsByHand: the lesser of two has the pair, and all others have what both prove of them.
func TestLowsByHand(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	for _, c := range []struct{ a, b, want lows }{
		{lows{-3, 1, 5}, lows{-2, 1, 4}, lows{-3, 1, 4}}, {lows{-3, 1, 4}, lows{-2, 1, 5}, lows{-3, 1, 4}}, {lows{-3, 1, 5}, lows{-2, 2, 4}, lows{-3, 1, -2}},
		{lows{-3, 1, -2.5}, lows{-2, 2, 4}, lows{-3, 1, -2.5}}, {none, lows{-2, 2, 4}, lows{-2, 2, 4}}, {lows{-2, 2, inf}, none, lows{-2, 2, inf}},
	} {
		assert.Equal(t, c.want, c.a.least(c.b), "%v and %v", c.a, c.b)
		assert.Equal(t, c.want, c.b.least(c.a), "%v and %v", c.b, c.a)
	}
	assert.Equal(t, int32(1), lows{2, 1, 3}.least(lows{2, 4, 3}).pair, "of equals the first")
	assert.True(t, math.IsNaN(lows{nan, 1, 3}.least(lows{2, 4, 3}).spare))
}

// TestPackedLowsAreRoundedDown: and the pair is told, where it has room.
func TestPackedLowsAreRoundedDown(t *testing.T) {
	inf := math.Inf(1)
	for _, l := range []lows{{1.5, 0, 2.5}, {-1.5, 7, -2.5}, {-inf, 1, -inf}, {inf, 1, inf}, {0, 65533, 0}, {math.MaxFloat64, 1, math.MaxFloat32}} {
		got := unpack(pack(l))
		assert.Equal(t, l.pair, got.pair, "%v", l)
		assert.LessOrEqual(t, got.spare, l.spare)
		assert.LessOrEqual(t, got.rest, l.rest)
		if math.Abs(l.spare) < 10 {
			assert.Equal(t, l, got, "what has few digits stays")
		}
	}
	rng := rand.New(rand.NewPCG(1, 7))
	for range 2000 {
		l := lows{1000 * rng.NormFloat64(), rng.Int32N(mostPacked), 1000 * rng.NormFloat64()}
		got := unpack(pack(l))
		assert.Equal(t, l.pair, got.pair)
		assert.LessOrEqual(t, got.spare, l.spare)
		assert.InEpsilon(t, l.spare, got.spare, 1e-6)
		assert.LessOrEqual(t, got.rest, l.rest)
		assert.InEpsilon(t, l.rest, got.rest, 1.0/127)
	}
	for _, pair := range []int32{mostPacked, mostPacked + 1, math.MaxInt32} {
		assert.Equal(t, lows{-4, -1, math.Inf(-1)}, unpack(pack(lows{-4, pair, 9})), "a pair that has no room: nothing is told of it and the rest")
	}
	assert.Equal(t, math.Inf(-1), unpack(pack(lows{1, 1, math.NaN()})).rest)
	assert.NotZero(t, pack(lows{0, 0, 0}), "0 is not worked out yet")
}

func TestLeastOfByHand(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		v    []float64
		but  int
		want int
	}{{[]float64{3, 1, 2}, -1, 1}, {[]float64{3, 1, 2}, 1, 2}, {[]float64{3, 1, 2}, 2, 1}, {[]float64{5}, -1, 0}, {[]float64{5}, 0, -1}, {[]float64{2, 2}, -1, 0}, {[]float64{2, nan, 1}, -1, 1}, {[]float64{nan, 1}, -1, 0}, {[]float64{1, nan, 0}, 1, 2}} {
		assert.Equal(t, c.want, leastOf(c.v, c.but), "%v but %d", c.v, c.but)
	}
}
