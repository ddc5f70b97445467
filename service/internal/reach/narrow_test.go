package reach

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

func TestCornersByHand(t *testing.T) {
	box := rect{axes(1, -4), axes(3, 2)}
	for k, want := range map[corner]rig.Axes{{}: axes(2, -1), {-1, 0}: axes(1, -1), {1, 0}: axes(3, -1), {0, -1}: axes(2, -4), {0, 1}: axes(2, 2), {1, -1}: axes(3, -4), {-1, 1}: axes(1, 2)} {
		assert.Equal(t, want, k.at(box), "%v", k)
	}
}

// TestWorstCornerIsNearest: of a plane, by each corner alone.
func TestWorstCornerIsNearest(t *testing.T) {
	rng, seen := rand.New(rand.NewPCG(3, 4)), map[corner]int{}
	for range 60 {
		p := New(lot(rng))
		low := rig.DegAxes(360*rng.Float64(), 360*rng.Float64())
		box := rect{low, low.Add(rig.DegAxes(8*rng.Float64(), 8*rng.Float64()))}
		for k := range classes {
			turns1, turns2 := k.turns()
			for _, i := range p.of[k] {
				n := point{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}.Unit()
				arc1, arc2, here1, here2 := still(), still(), still(), still()
				var ends1, ends2 = []int8{0}, []int8{0}
				if turns1 {
					arc1, _ = over(box.low.A1, box.high.A1)
					ends1 = []int8{-1, 1}
				}
				if turns2 {
					arc2, _ = over(box.low.A2, box.high.A2)
					ends2 = []int8{-1, 1}
				}
				want, least := corner{}, math.Inf(1)
				for _, e1 := range ends1 {
					for _, e2 := range ends2 {
						at := corner{e1, e2}.at(box)
						if turns1 {
							here1, _ = over(at.A1, at.A1)
						}
						if turns2 {
							here2, _ = over(at.A2, at.A2)
						}
						if apart := p.plane(&p.pairs[i], n, &here1, &here2); apart < least {
							want, least = corner{e1, e2}, apart
						}
					}
				}
				assert.Equal(t, want, p.worst(&p.pairs[i], n, &arc1, &arc2), "class %d", k)
				seen[want]++
			}
		}
	}
	assert.Len(t, seen, 8, "two of each axis alone, and four: %v", seen)
}

// coming is a search for when a ball of 10 at 1000 on X that axis 1 turns about Z, at 0.01 a second from 0, is as near as 30 to one of 50 as far off,
// at a right angle: their centres 90 apart.
func coming(t *testing.T, spread rig.Axes) *search {
	t.Helper()
	s := &rig.Scene{
		Chain:  &rig.Chain{Dir1: point{Z: 1}, Dir2: point{Z: 1}, Tube: point{X: 1}},
		Bodies: []rig.Body{{Link: rig.Ground, Shape: sure(solid.Sphere(point{Y: 1000}, 50))}, {Link: rig.OnAxis1, Shape: sure(solid.Sphere(point{X: 1000}, 10))}},
		Pairs:  []rig.Pair{{A: 0, B: 1, Required: 30}},
	}
	out := New(s).search(Uniform(rig.Axes{}, axes(2, 0), 200), spread, 1000)
	require.Empty(t, out.why)
	out.aim = soonest
	return out
}

// meets is when it is.
func meets(spread rig.Axes) float64 {
	return (math.Pi/2 - 2*math.Asin(0.045) - float64(spread.A1)) / 0.01
}

// TestOverBoundsWhatIsSwept: between the marks asked for, by the plane last seen, of the pair that has least.
func TestOverBoundsWhatIsSwept(t *testing.T) {
	s := coming(t, axes(0.05, 0))
	whole := hull(s.way.legs[0].from, s.way.legs[0].to, s.spread)
	c := cell{box: whole, first: 0.6, last: 1, class: groundAxis1}
	s.open = []int32{0}
	c.n = 1
	low, pair := s.over(&c, 0.7)
	assert.Equal(t, []any{math.Inf(-1), int32(-1)}, []any{low, pair}, "no plane was seen")
	at := 0.7*2 + 0.05
	to := point{X: math.Cos(at), Y: math.Sin(at)}.Scale(1000).Sub(point{Y: 1000})
	s.towards[0] = to.Unit()
	low, pair = s.over(&c, 0.7)
	assert.Equal(t, int32(0), pair)
	truth := to.Norm() - 60 - 30
	assert.LessOrEqual(t, low, truth)
	assert.InDelta(t, truth, low, 1e-6, "at its last pose, by the plane of that")
	sooner, _ := s.over(&c, 0.6)
	assert.Greater(t, sooner, low+50)
	later, _ := s.over(&c, 0.8)
	assert.Less(t, later, low-50)
	c.box = rect{axes(-9, -9), axes(1.2, 9)}
	up, _ := s.over(&c, 0.7)
	assert.Greater(t, up, low+50, "no more than the cell has")
	c.box = rect{axes(-9, -9), axes(1, 9)}
	low, pair = s.over(&c, 0.7)
	assert.Equal(t, []any{math.Inf(1), int32(-1)}, []any{low, pair}, "nothing is there")
	c.box, c.first = whole, 0
	s.spread = axes(3, 3)
	low, _ = s.over(&c, 1)
	assert.True(t, math.IsInf(low, -1), "too wide")
	assert.Equal(t, corner{}, s.worst(&cell{box: hull(axes(0, 0), axes(0, 0), axes(3, 3)), last: 1, class: groundAxis1}, 0))
}

// TestAdvanceLeavesBehindWhatIsKept and what comes after a break.
func TestAdvanceLeavesBehindWhatIsKept(t *testing.T) {
	begin := func(from, to float64) (*search, *cell) {
		s := coming(t, axes(0.05, 0))
		c := &cell{box: hull(axes(unit.Angle(from/100), 0), axes(unit.Angle(to/100), 0), s.spread), first: from / 200, last: to / 200, low: math.Inf(-1), class: groundAxis1}
		require.True(t, s.look(c, s.p.of[groundAxis1]))
		at := math.Pi/2 - 2*math.Asin(0.045) // by the plane that is best when it is
		s.towards[0] = point{X: math.Cos(at), Y: math.Sin(at) - 1}.Unit()
		c.low, _ = s.over(c, c.last)
		return s, c
	}
	when := meets(axes(0.05, 0))

	s, c := begin(when-30, when+10)
	require.Less(t, c.low, 0.0)
	require.False(t, s.best.found, "at the middle it is kept")
	require.False(t, s.advance(c))
	assert.Greater(t, c.first*200, when-3)
	assert.LessOrEqual(t, c.first*200, when)
	assert.InDelta(t, (when+10)/200, c.last, 1e-12)
	assert.Equal(t, corner{1, 0}, c.corner, "where it is going, with all of the spread")
	assert.GreaterOrEqual(t, s.settled, 0.0)
	assert.Less(t, s.settled, 25.0, "of what was left behind")

	s, c = begin(when-10, when+30)
	require.True(t, s.best.found)
	broken := s.best.mark
	assert.InDelta(t, (when+10-0.05/0.01)/200, broken, 1e-9, "the middle, with all of the spread sooner")
	require.False(t, s.advance(c))
	assert.Equal(t, broken, c.last)
	assert.Greater(t, c.first*200, when-3)
	assert.LessOrEqual(t, c.first*200, when)

	s, c = begin(when-10, when+30)
	s.best.mark = (when - 5) / 200
	assert.True(t, s.advance(c), "all is kept until the break")
	assert.GreaterOrEqual(t, s.settled, 0.0)
	assert.False(t, math.IsInf(s.settled, 1))
	s, c = begin(when-10, when+30)
	s.best.mark = c.first
	assert.True(t, s.advance(c), "it begins where the break is")
	s, c = begin(when-10, when+30)
	s.best.leg = 1
	s.best.mark = c.first
	assert.False(t, s.advance(c), "a break of another leg")
	assert.Equal(t, (when+30)/200, c.last)
	s, c = begin(when+1, when+31)
	first := c.first
	assert.False(t, s.advance(c), "broken from the start")
	assert.Equal(t, first, c.first)
	s, c = begin(when-30, when+10)
	c.low, first = math.NaN(), c.first
	assert.False(t, s.advance(c))
	assert.Equal(t, first, c.first, "a bound that is no number proves nothing")
}

// TestNextLookIsNearTheStart of a stretch, no nearer than an instant is wanted, and not beyond it.
func TestNextLookIsNearTheStart(t *testing.T) {
	s := coming(t, rig.Axes{}) // 200 s, to 20 ms
	for _, c := range []struct{ first, last, want float64 }{{40, 120, 50}, {40, 40.08, 40.018}, {40, 40.01, 40.01}} {
		assert.InDelta(t, c.want, 200*s.ahead(&cell{first: c.first / 200, last: c.last / 200}), 1e-9, "%v … %v s", c.first, c.last)
	}
	c := cell{box: rect{axes(0.4, 0), axes(1.2, 0)}, first: 40. / 200, last: 120. / 200, class: groundAxis1}
	v := s.sight(&c)
	assert.InDelta(t, 0.8, float64(v.pose.A1), 1e-12, "the middle")
	c.corner = corner{1, 0}
	v = s.sight(&c)
	assert.InDelta(t, 0.5, float64(v.pose.A1), 1e-12)
	assert.InDelta(t, 0.25, v.mark, 1e-12)
	s.spread = axes(0.1, 0)
	v = s.sight(&c)
	assert.InDelta(t, 0.6, float64(v.pose.A1), 1e-12, "with the spread")
	c.corner = corner{-1, 0}
	v = s.sight(&c)
	assert.InDelta(t, 0.4, float64(v.pose.A1), 1e-12, "against it")
}

// TestStretchesAreHalvedUntilABreak that was seen, where they are wider than the spread: the later half waits.
func TestStretchesAreHalvedUntilABreak(t *testing.T) {
	s := coming(t, axes(0.05, 0))
	c := cell{box: rect{axes(0.35, 0), axes(1.65, 0)}, first: 0.2, last: 0.8, low: -7, class: groundAxis1, corner: corner{1, 0}, n: 1}
	s.open = []int32{0}
	s.best = seen{found: true, mark: 0.8, time: 160}
	require.True(t, s.splitStretch(&c))
	require.Len(t, s.queue, 1, "the first is kept: the later half")
	got := s.queue[0]
	assert.Equal(t, []any{0.5, 0.8, 100.0, true, corner{1, 0}, int32(1)}, []any{got.first, got.last, got.key, got.fresh, got.corner, got.n})
	assert.GreaterOrEqual(t, s.settled, 0.0)
	assert.False(t, math.IsInf(s.settled, 1))
	cells := s.cells
	got = s.queue.pop()
	require.True(t, s.work(&got), "its own pair is looked at")
	assert.Equal(t, cells+1, s.cells)

	for what, c := range map[string]cell{
		"no break":              {box: rect{axes(0.35, 0), axes(1.65, 0)}, first: 0.2, last: 0.7, class: groundAxis1, corner: corner{1, 0}, n: 1},
		"wider than it is long": {box: rect{axes(0.75, 0), axes(0.86, 0)}, first: 0.4, last: 0.405, class: groundAxis1, corner: corner{1, 0}, n: 1},
	} {
		s := coming(t, axes(0.05, 0))
		s.open = []int32{0}
		s.best = seen{found: true, mark: c.last, time: 200 * c.last}
		if what == "no break" {
			s.best.mark = 0.75
		}
		cells := s.cells
		require.True(t, s.splitStretch(&c), what)
		assert.Equal(t, cells+2, s.cells, "%s: both halves of the box are looked at", what)
		assert.Equal(t, what == "no break", c.corner == corner{}, what)
	}
	hair := cell{first: 0.5, last: math.Nextafter(0.5, 1)}
	assert.False(t, s.halveStretch(&hair), "nothing lies between")
	point := cell{box: rect{axes(1, 0), axes(1, 0)}, first: 0.5, last: 0.5}
	assert.False(t, s.splitStretch(&point))
}

// TestInstantTakesFewLooks: to 20 ms of 200 s, with a spread and without.
func TestInstantTakesFewLooks(t *testing.T) {
	for _, spread := range []rig.Axes{{}, axes(0.003, 0.002), axes(0.05, 0.05)} {
		s := coming(t, spread)
		got := s.until()
		require.True(t, got.Decided)
		when := meets(spread)
		assert.LessOrEqual(t, got.Clear, when)
		assert.GreaterOrEqual(t, got.Broken, when-1e-9)
		assert.LessOrEqual(t, got.Broken-got.Clear, 0.02)
		assert.LessOrEqual(t, got.Cells, 9)
	}
}

// TestWhatWasProvenIsNotLookedAt: until an instant of a line or a curve.
func TestWhatWasProvenIsNotLookedAt(t *testing.T) {
	s := coming(t, rig.Axes{})
	when := meets(rig.Axes{})
	for _, c := range []struct{ from, clear, broken float64 }{{0, when, when}, {when - 1, when, when}, {when + 1, when + 1, when + 1}, {math.NaN(), when, when}, {math.Inf(1), when, when}, {-5, when, when}} {
		got := s.p.KeepsAfter(s.way, rig.Axes{}, 0, c.from, 1000)
		assert.InDelta(t, c.clear, got.Clear, 0.02, "from %v s", c.from)
		assert.InDelta(t, c.broken, got.Broken, 0.02, "from %v s", c.from)
	}
	assert.True(t, s.p.KeepsAfter(s.way, rig.Axes{}, 0, 201, 1000).Whole)
	touch := s.p.Touches(s.way, rig.Axes{}, 1000).Clear
	require.Greater(t, touch, when+2)
	assert.InDelta(t, touch, s.p.TouchesAfter(s.way, rig.Axes{}, when, 1000).Clear, 0.02)
	assert.InDelta(t, touch+1, s.p.TouchesAfter(s.way, rig.Axes{}, touch+1, 1000).Clear, 0.02)
	s.p.leastRequired[groundAxis2] = -1e-9
	assert.InDelta(t, touch, s.p.TouchesAfter(s.way, rig.Axes{}, touch+1, 1000).Clear, 0.02, "who keeps less than nothing may touch")

	whole := Rectangle(rig.Axes{}, axes(2, 0), rig.Motion{RateDeg: [2]float64{unit.Angle(0.01).Deg(), 1}})
	s = s.p.search(whole, rig.Axes{}, 1000)
	s.from = 1e9
	assert.Zero(t, s.after(&s.way.legs[0], 0), "a rectangle has no order")
}
