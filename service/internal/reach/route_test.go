package reach_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
)

// walls is ballAt's rod among balls that stand at poses.
func walls(poses ...rig.Axes) *rig.Scene {
	chain := rig.Chain{Dir1: point{Z: 1}, Dir2: point{X: 1}, Tube: point{Y: 1}}
	bodies := []rig.Body{{Link: rig.OnAxis2, Shape: must(solid.Capsule(point{Y: 900}, point{Y: 1000}, 10))}}
	for _, at := range poses {
		bodies = append(bodies, rig.Body{Link: rig.Ground, Shape: must(solid.Sphere(chain.Direction(at).Scale(1000), 60))})
	}
	return scene(chain, bodies, 10, nil)
}

func TestRoundWhatStandsInTheWay(t *testing.T) {
	from, to := rig.Axes{}, rig.DegAxes(60, 60)
	travel := rig.Travel{Low: rig.DegAxes(-30, -30), High: rig.DegAxes(90, 80)}
	m := rig.Motion{Sharing: rig.Straight, RateDeg: [2]float64{4, 4}, AccelDeg: [2]float64{4, 4}}
	for name, c := range map[string]struct {
		scene *rig.Scene
		stops []rig.Axes // nil: none to be found; empty: any
	}{
		"by the corners":      {walls(rig.DegAxes(30, 30)), []rig.Axes{rig.DegAxes(60, 0)}},
		"by the other corner": {walls(rig.DegAxes(30, 30), rig.DegAxes(60, 10)), []rig.Axes{rig.DegAxes(0, 60)}},
		"by a stop":           {walls(rig.DegAxes(30, 30), rig.DegAxes(60, 8), rig.DegAxes(8, 60)), []rig.Axes{}},
		"not at all":          {walls(rig.DegAxes(60, 60)), nil},
	} {
		p := reach.New(c.scene)
		direct := p.Prove(reach.WayOf(m.Sharing, m, from, to), rig.DegAxes(0.5, 0.5), reach.DefaultBudget)
		require.True(t, direct.Fails(), "%s: the direct way", name)
		r, found := p.Around(from, to, m, travel, rig.DegAxes(0.5, 0.5), reach.DefaultBudget)
		if c.stops == nil {
			assert.False(t, found, "%s: got %+v", name, r)
			continue
		}
		require.True(t, found, "%s: got %+v", name, r)
		if len(c.stops) > 0 {
			assert.Equal(t, c.stops, r.Stops, "%s", name)
		}
		poses := append(append([]rig.Axes{from}, r.Stops...), to)
		way := reach.Through(m.Sharing, m, poses...)
		again := p.Prove(way, rig.DegAxes(0.5, 0.5), reach.DefaultBudget)
		assert.True(t, again.Passes(), "%s: the legs: got %+v", name, again)
		assert.InDelta(t, way.Seconds(), r.Seconds, 1e-9, "%s: seconds", name)
	}
}

func TestNoWayRoundWithoutWork(t *testing.T) {
	_, found := reach.New(walls(rig.DegAxes(30, 30))).Around(rig.Axes{}, rig.DegAxes(60, 60), usual, rig.Travel{High: rig.DegAxes(90, 90)}, rig.Axes{}, 0)
	assert.False(t, found, "found a way without work")
}
