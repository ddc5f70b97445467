package solid_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/solid"
)

// TestWithin: the ball lies in the solid along every way, and is as large as the point lies deep; a point outside has none.
func TestWithin(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 5))
	dir := func() solid.Point {
		return solid.Point{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Unit()
	}
	size := func() float64 { return 20 + 100*r.Float64() }
	kinds := map[string]func(at solid.Point) (solid.Shape, error){
		"sphere": func(at solid.Point) (solid.Shape, error) { return solid.Sphere(at, size()) },
		"capsule": func(at solid.Point) (solid.Shape, error) {
			return solid.Capsule(at, at.Add(dir().Scale(size())), size())
		},
		"cylinder": func(at solid.Point) (solid.Shape, error) {
			return solid.Cylinder(at, at.Add(dir().Scale(size())), size())
		},
		"frustum": func(at solid.Point) (solid.Shape, error) {
			return solid.Frustum(at, at.Add(dir().Scale(size())), size(), size())
		},
		"box": func(at solid.Point) (solid.Shape, error) {
			return solid.Box(at, frame.About(dir(), 2), solid.Point{X: size(), Y: size(), Z: size()})
		},
		"hull": func(at solid.Point) (solid.Shape, error) {
			var points []solid.Point
			for range 15 {
				points = append(points, at.Add(dir().Scale(size())))
			}
			return solid.GrownHull(points, 20*r.Float64())
		},
	}
	for name, of := range kinds {
		t.Run(name, func(t *testing.T) {
			inside := 0
			for range 300 {
				s, err := of(dir().Scale(300))
				require.NoError(t, err)
				_, ball := s.Ball()
				p := s.Centre().Add(dir().Scale(ball * r.Float64()))
				point, err := solid.Sphere(p, 0)
				require.NoError(t, err)
				depth := solid.Distance(s, point)
				got := s.Within(p)
				if math.IsInf(got, -1) {
					assert.Greater(t, depth.Upper, -1e-6)
					continue
				}
				inside++
				assert.LessOrEqual(t, got, -depth.Lower)
				assert.GreaterOrEqual(t, got, -depth.Upper-1e-6)
				for range 40 {
					u := dir()
					assert.LessOrEqual(t, p.Dot(u)+got, s.SupportDistance(u)+1e-9)
				}
			}
			assert.Greater(t, inside, 50)
		})
	}
	assert.True(t, math.IsInf(solid.Shape{}.Within(solid.Point{}), -1))
}
