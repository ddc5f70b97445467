package slow_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/slow"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// The two descriptions of a rig are of one rig: every pair is as far apart in both, at poses drawn by lot.
func TestBothStandInTheSamePlaces(t *testing.T) {
	for n := range 12 {
		s, err := stand(n)
		require.NoError(t, err)
		rng := rand.New(rand.NewPCG(uint64(n), 99))
		part, general := s.drawn.limits["clear/path part_mm"], s.drawn.limits["clear/path general_mm"]
		scene := s.rig.Scene(nil, unit.Length(part), unit.Length(general))
		for range 6 {
			a := slow.Axes{7 * (rng.Float64() - 0.5), 7 * (rng.Float64() - 0.5)}
			placed := scene.Place(axes(a))
			least, by := 1e9, [2]string{}
			for _, p := range scene.Pairs {
				g := solid.Distance(placed[p.A], placed[p.B])
				if v := g.Upper - float64(p.Required); v < least {
					least, by = v, [2]string{scene.Names[scene.Bodies[p.A].Part], scene.Names[scene.Bodies[p.B].Part]}
				}
			}
			if got := s.slow.Clear(a, s.drawn.limits); least > -5 && least < 29 || got > -5 && got < 29 {
				assert.InDelta(t, least, got, 0.3, "rig %d %s at %v: %v", n, s.slow.Kind, a, by)
			}
		}
	}
}

// Parts touch at the same poses in both, overlap they by much or by little: to and fro alone finds an overlap of some millimetres of long round
// parts too slowly.
func TestBothTouchInTheSamePlaces(t *testing.T) {
	little := 0
	for n := range 12 {
		s, err := stand(n)
		require.NoError(t, err)
		rng := rand.New(rand.NewPCG(uint64(n), 77))
		scene := s.rig.Scene(nil, 0, 0)
		for range 400 {
			a := slow.Axes{7 * (rng.Float64() - 0.5), 7 * (rng.Float64() - 0.5)}
			placed, least := scene.Place(axes(a)), 1e9
			for _, p := range scene.Pairs {
				least = min(least, solid.Distance(placed[p.A], placed[p.B]).Upper)
			}
			if least > -0.2 && least < 0.2 {
				continue
			}
			if least < 0 && least > -10 {
				little++
			}
			assert.Equal(t, least < 0, s.slow.Touches(a, s.drawn.limits), "rig %d %s at %v: %v mm", n, s.slow.Kind, a, least)
		}
	}
	assert.Greater(t, little, 50)
}
