package solid_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/solid"
)

// TestCoreLiesInside the solid, by no less than its depth where that is thick enough and flat or round; a cone's and a hull's no less than none.
func TestCoreLiesInside(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 5))
	dir := func() solid.Point {
		return solid.Point{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Unit()
	}
	kinds := map[string]func(at solid.Point) (solid.Shape, error){
		"sphere":  func(at solid.Point) (solid.Shape, error) { return solid.Sphere(at, 40) },
		"capsule": func(at solid.Point) (solid.Shape, error) { return solid.Capsule(at, at.Add(dir().Scale(200)), 40) },
		"cylinder": func(at solid.Point) (solid.Shape, error) {
			return solid.Cylinder(at, at.Add(dir().Scale(200)), 40)
		},
		"frustum": func(at solid.Point) (solid.Shape, error) {
			return solid.Frustum(at, at.Add(dir().Scale(200)), 80, 40)
		},
		"box": func(at solid.Point) (solid.Shape, error) {
			return solid.Box(at, frame.About(dir(), 1), solid.Point{X: 30, Y: 40, Z: 200})
		},
		"hull": func(at solid.Point) (solid.Shape, error) {
			var points []solid.Point
			for range 12 {
				points = append(points, at.Add(dir().Scale(100)))
			}
			return solid.GrownHull(points, 3)
		},
	}
	for name, of := range kinds {
		t.Run(name, func(t *testing.T) {
			for _, depth := range []float64{0, 10, 25, 1000} {
				s, err := of(dir().Scale(300))
				require.NoError(t, err)
				core := s.Core(depth)
				for range 300 {
					u := dir()
					in := s.SupportDistance(u) - core.SupportDistance(u)
					least := -1e-9
					if depth < 30 && name != "hull" {
						least = depth - 1e-9
					}
					assert.GreaterOrEqual(t, in, least)
					if depth < 30 && (name == "sphere" || name == "capsule") {
						assert.InDelta(t, depth, in, 1e-9)
					}
				}
				if depth == 0 {
					assert.Equal(t, s, core)
				}
			}
		})
	}
	assert.Equal(t, solid.Shape{}, solid.Shape{}.Core(5))
}
