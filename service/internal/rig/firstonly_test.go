package rig_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
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
