package rig_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// TestFirstOnly: a fork that never turns over has one end, the side asked for notwithstanding; no german equatorial is such.
func TestFirstOnly(t *testing.T) {
	r, faults := rig.Parse("wren.yaml", []byte(text(t, rigs+"wren.yaml")), nil)
	require.Empty(t, faults)
	assert.Equal(t, []rig.Side{rig.First}, r.SidesFor("", 1, 2))
	assert.Equal(t, []rig.Side{rig.First}, r.SidesFor(rig.First, 1, 2))
	assert.Equal(t, []rig.Side{rig.Second, rig.First}, r.SidesFor(rig.Second, 1), "where the asker means to go, and where it would")

	in, _ := changed(t, text(t, "../practice/heron.yaml"), "side_chosen_by: hour angle", "side_chosen_by: first only")
	r, faults = rig.Parse("heron.yaml", []byte(in), nil)
	assert.Nil(t, r)
	require.Len(t, faults, 1)
	assert.Contains(t, faults[0].Error(), `mount.side_chosen_by: wanted hour angle, asker or any: a german equatorial works on both sides, got "first only"`)
}

// TestSideByTheHourOfTheOffset: a mount that keeps its syncs on the sky may choose the side by the target or by the target less its
// offset; a sync of 2° in right ascension and a target 1.2° before the change-over lie on both sides of it.
func TestSideByTheHourOfTheOffset(t *testing.T) {
	r, faults := rig.Parse("heron.yaml", []byte(heronText(t)), nil)
	require.Empty(t, faults)
	sky := rig.MountSky{Sidereal: unit.Deg(100), Lat: r.Site.Lat}
	p := rig.DegAxes(45, -60)
	ra, dec, _ := r.Unmap(sky, p)
	sides := func(keeps rig.SyncKeeping, offDeg float64) map[rig.Side]bool {
		q := *r
		q.Mount.Sync = keeps
		ends, err := q.Ends(rig.Going{Poses: []rig.Axes{p}, BeliefRA: ra + unit.Deg(offDeg), BeliefDec: dec, Now: sky, Then: sky, OursThen: sky, TargetRA: unit.Deg(101.2), TargetDec: unit.Deg(20)})
		require.NoError(t, err)
		out := map[rig.Side]bool{}
		for _, e := range ends {
			out[e.Side] = true
		}
		return out
	}
	assert.Equal(t, map[rig.Side]bool{rig.West: true}, sides(rig.KeptOnAxes, 2))
	assert.Equal(t, map[rig.Side]bool{rig.West: true}, sides(rig.KeptOnSky, 0))
	assert.Len(t, sides(rig.KeptOnSky, 2), 2)
	assert.Len(t, sides(rig.KeptUnknown, 2), 2)
}
