package reach_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// through goes through some angles of axis 2.
func through(heights ...float64) reach.Way {
	var poses []rig.Axes
	for _, h := range heights {
		poses = append(poses, rig.DegAxes(10, h))
	}
	return reach.Through(rig.Independent, rig.Motion{RateDeg: [2]float64{3, 3}, AccelDeg: [2]float64{2, 2}}, poses...)
}

// An alt-azimuth's second angle is the altitude, so that each way's heights are written in it.
func TestSinksAgain(t *testing.T) {
	c := rig.NewChain(rig.AltAzimuth, unit.Deg(48), rig.Tilt{}, frame.Vec[frame.Rig]{}, 0)
	up, level, tolerance := frame.Vec[frame.Rig]{Z: 1}, unit.Deg(-3), unit.Deg(0.01)
	m := rig.Motion{RateDeg: [2]float64{3, 3}, AccelDeg: [2]float64{2, 2}}
	sinks := func(w reach.Way) bool { return w.SinksAgain(&c, up, rig.Axes{}, level, tolerance) }
	assert.False(t, sinks(through(-40, -20)), "below all the way")
	assert.False(t, sinks(through(-40, 20)))
	assert.False(t, sinks(through(20, 60)), "never below")
	assert.False(t, sinks(through(-40, -20, -30, 10)), "what never rose sinks as it likes")
	assert.True(t, sinks(through(-40, 20, -30, 10)))
	assert.True(t, sinks(through(20, -3.5)))
	assert.False(t, sinks(through(-40, -2, -3.005, 10)), "within the tolerance")
	assert.True(t, sinks(through(-40, -2, -3.02)))
	assert.False(t, sinks(through(-40, -3.2, -3.5, 10)))
	assert.True(t, sinks(through(-40, -2.9, -3.5, 10)))
	assert.True(t, sinks(through(100, 200)), "over the zenith")
	assert.False(t, sinks(reach.Hold(rig.DegAxes(10, -20))))
	assert.False(t, sinks(reach.Hold(rig.DegAxes(10, 20))))
	assert.True(t, sinks(reach.Uniform(rig.DegAxes(0, 10), rig.DegAxes(0, -10), 60)))
	assert.True(t, sinks(reach.Straight(rig.DegAxes(0, 10), rig.DegAxes(400, -3.5), m)), "the end counts")
	assert.True(t, sinks(through(-40, 20, -3.005, -3.02)), "risen on a leg before")
	assert.False(t, sinks(through(-40, -3.005, -3.5, 10)), "not risen within the tolerance")
	// How closely it looks: every half degree, every eighth of the spread, a 720th of a long turn. Within 0.02° of the zenith the tube is above the level.
	for _, c1 := range []struct{ turn, share, spread float64 }{{59.9, 60.0 / 121, 0}, {59.9, 30.0 / 61, 8}, {400, 441.0 / 720, 0}} {
		at := 90 - c1.turn*c1.share
		for _, off := range []float64{0, 0.05} { // between two looks it is not seen
			w := reach.Uniform(rig.DegAxes(0, at+off), rig.DegAxes(0, at+c1.turn+off), 60)
			assert.Equal(t, off == 0, w.SinksAgain(&c, up, rig.DegAxes(c1.spread, 0), unit.Deg(89.98), tolerance), "%v %v", c1, off)
		}
	}
}

// Of any order it tells where a monotone way by two corners would: up to the one that stands above, then on to the one that stands below.
func TestSinksAgainInAnyOrder(t *testing.T) {
	g := rand.New(rand.NewPCG(8, 1))
	c := rig.NewChain(rig.German, unit.Deg(40), rig.Tilt{}, frame.Vec[frame.Rig]{}, 0)
	m := rig.Motion{RateDeg: [2]float64{3, 3}, AccelDeg: [2]float64{2, 2}}
	level, told := unit.Deg(-3), map[bool]int{}
	for n := range 300 {
		from := rig.DegAxes(400*g.Float64()-200, 400*g.Float64()-200)
		d := rig.DegAxes(160*g.Float64()-80, 160*g.Float64()-80)
		at := func(i, j int) rig.Axes {
			return from.Add(rig.Axes{A1: d.A1 * unit.Angle(i) / 24, A2: d.A2 * unit.Angle(j) / 24})
		}
		above := func(i, j int, by float64) bool { // by so many degrees
			_, alt := frame.AzAlt(c.Direction(at(i, j)))
			return alt >= level+unit.Deg(by)
		}
		sinks := func(margin float64) bool {
			for i := range 25 {
				for j := range 25 {
					if !above(i, j, margin) {
						continue
					}
					for k := i; k < 25; k++ {
						for l := j; l < 25; l++ {
							if !above(k, l, -margin) {
								return true
							}
						}
					}
				}
			}
			return false
		}
		got := reach.Rectangle(from, at(24, 24), m).SinksAgain(&c, frame.Vec[frame.Rig]{Z: 1}, rig.Axes{}, level, unit.Deg(0.01))
		told[got]++
		if sinks(0.3) {
			require.True(t, got, n)
		}
		if got {
			require.True(t, sinks(-4), "%d: it sees what a grid of no more than 3.4° comes near to", n)
		}
	}
	assert.Greater(t, told[true], 60)
	assert.Greater(t, told[false], 60)
	after := func(heights ...float64) bool { // the rectangle first, then down
		w := reach.Chain(reach.Rectangle(rig.DegAxes(10, heights[0]), rig.DegAxes(20, heights[1]), m), reach.Straight(rig.DegAxes(20, heights[1]), rig.DegAxes(20, heights[2]), m))
		alt := rig.NewChain(rig.AltAzimuth, unit.Deg(48), rig.Tilt{}, frame.Vec[frame.Rig]{}, 0)
		return w.SinksAgain(&alt, frame.Vec[frame.Rig]{Z: 1}, rig.Axes{}, level, unit.Deg(0.01))
	}
	assert.True(t, after(-40, 20, -20))
	assert.False(t, after(-40, -10, -20))
	assert.False(t, after(-40, 10, 20))
	assert.True(t, after(-40, -2.9, -3.02), "risen on a leg before")
	assert.True(t, after(-40, 183.005, 183.02), "risen in a rectangle, over the zenith")
	w := reach.Chain(through(-40, 20, -3.005), reach.Rectangle(rig.DegAxes(10, -3.005), rig.DegAxes(20, -3.02), m))
	alt := rig.NewChain(rig.AltAzimuth, unit.Deg(48), rig.Tilt{}, frame.Vec[frame.Rig]{}, 0)
	assert.True(t, w.SinksAgain(&alt, frame.Vec[frame.Rig]{Z: 1}, rig.Axes{}, level, unit.Deg(0.01)), "and a rectangle goes on")
	at := 90 - 59.9*60.0/121
	tall := reach.Rectangle(rig.DegAxes(0, at), rig.DegAxes(1, at+59.9), m)
	assert.True(t, tall.SinksAgain(&alt, frame.Vec[frame.Rig]{Z: 1}, rig.Axes{}, unit.Deg(89.98), unit.Deg(0.01)), "each axis as closely as it turns")
	_, end := frame.AzAlt(c.Direction(rig.DegAxes(80, 75)))
	last := reach.Rectangle(rig.DegAxes(-90, 75), rig.DegAxes(80, 75), m)
	assert.True(t, last.SinksAgain(&c, frame.Vec[frame.Rig]{Z: 1}, rig.Axes{}, end+unit.Deg(0.06), unit.Deg(0.05)), "the end counts")
	north := rig.NewChain(rig.German, unit.Deg(40), rig.Tilt{}, frame.Vec[frame.Rig]{}, 0)
	one, other := rig.DegAxes(-90, 140), rig.DegAxes(90, -20)
	assert.NotEqual(t, reach.Straight(one, other, m).SinksAgain(&north, frame.Vec[frame.Rig]{Z: 1}, rig.Axes{}, level, unit.Deg(0.01)),
		reach.Rectangle(one, other, m).SinksAgain(&north, frame.Vec[frame.Rig]{Z: 1}, rig.Axes{}, level, unit.Deg(0.01)), "of one way less than of any")
}

// Of a pose that is not known well it counts where the tube stands above for certain, and where it may stand below afterwards.
func TestSinksAgainWithinSpread(t *testing.T) {
	c := rig.NewChain(rig.AltAzimuth, unit.Deg(48), rig.Tilt{}, frame.Vec[frame.Rig]{}, 0)
	m := rig.Motion{RateDeg: [2]float64{3, 3}, AccelDeg: [2]float64{2, 2}}
	sinks := func(sharing rig.Sharing, spread rig.Axes, heights ...float64) bool {
		var poses []rig.Axes
		for i, h := range heights {
			poses = append(poses, rig.DegAxes(10*float64(i), h))
		}
		return reach.Through(sharing, m, poses...).SinksAgain(&c, frame.Vec[frame.Rig]{Z: 1}, spread, unit.Deg(-3), unit.Deg(0.05))
	}
	for _, sharing := range []rig.Sharing{rig.Straight, rig.AnyOrder} {
		assert.False(t, sinks(sharing, rig.DegAxes(0, 4), -2, 20, 1.1, 20), "never below")
		assert.True(t, sinks(sharing, rig.DegAxes(0, 4), -2, 20, 0.9, 20), "it may be")
		assert.True(t, sinks(sharing, rig.DegAxes(0, 4), -2, 1.1, 0.9, 20))
		assert.False(t, sinks(sharing, rig.DegAxes(4, 4), 182, 160, 178.9, 160), "1.1° up beyond the zenith")
		assert.True(t, sinks(sharing, rig.DegAxes(4, 4), 182, 160, 179.1, 160))
		assert.False(t, sinks(sharing, rig.DegAxes(0, 4), -2, 0.9, -1, 20), "it never rose for certain")
		assert.False(t, sinks(sharing, rig.DegAxes(4, 0), -2, 20, -2.9, 20), "azimuth lowers nothing")
	}
	// From the zenith to 15° beside the nadir: of a pose 10° uncertain the lowest, 5° beside it, lies on a side of the spread and in no corner.
	g := rig.NewChain(rig.German, unit.Deg(0), rig.Tilt{}, frame.Vec[frame.Rig]{}, 0)
	over := reach.Straight(rig.DegAxes(-90, 75), rig.DegAxes(90, 75), m)
	assert.True(t, over.SinksAgain(&g, frame.Vec[frame.Rig]{Z: 1}, rig.DegAxes(10, 10), unit.Deg(-84), unit.Deg(0.1)))
	assert.False(t, over.SinksAgain(&g, frame.Vec[frame.Rig]{Z: 1}, rig.DegAxes(10, 10), unit.Deg(-86), unit.Deg(0.1)))
	assert.False(t, over.SinksAgain(&g, frame.Vec[frame.Rig]{Z: 1}, rig.DegAxes(10, 3), unit.Deg(-84), unit.Deg(0.1)))
	for _, to := range [][2]float64{{-90, 80}, {270, 100}} { // 10° of axis 1 beside its lowest, 75° down, from either side
		aside := reach.Straight(rig.DegAxes(to[0], 75), rig.DegAxes(to[1], 75), m)
		assert.True(t, aside.SinksAgain(&g, frame.Vec[frame.Rig]{Z: 1}, rig.DegAxes(10, 0), unit.Deg(-74.9), unit.Deg(0.05)), to)
		assert.False(t, aside.SinksAgain(&g, frame.Vec[frame.Rig]{Z: 1}, rig.DegAxes(5, 0), unit.Deg(-74.9), unit.Deg(0.05)), to)
	}
}
