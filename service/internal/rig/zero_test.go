package rig_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// TestZeroChangesWithWhatTheAnglesMean: and with no length, and not where a figure is written otherwise.
func TestZeroChangesWithWhatTheAnglesMean(t *testing.T) {
	content := heronText(t)
	was, faults := rig.Parse("heron.yaml", []byte(content), nil)
	require.Empty(t, faults)
	for _, c := range []struct{ old, new, says string }{
		{"home_deg: [0, 0]", "home_deg: [0.0, 0.00]", ""},
		{"front_reach_mm: 520", "front_reach_mm: 530", ""},
		{"axis1_deg: [-97.5, 97.5]", "axis1_deg: [-90, 90]", ""},
		{"home_deg: [0, 0]", "home_deg: [0, 2.5]", "home_deg was [0, 0] and is [0, 2.5]"},
		{"  by: sensor", "  by: person", "homing.by was sensor and is person"},
	} {
		text, _ := changed(t, content, c.old, c.new)
		is, faults := rig.Parse("heron.yaml", []byte(text), nil)
		require.Empty(t, faults, c.new)
		assert.Equal(t, c.says, is.Zero().Since(was.Zero()), c.new)
		assert.Empty(t, is.Zero().Since(is.Zero()))
	}
	z := rig.Zero{Kind: rig.German, Home: rig.DegAxes(0, 30), HomedBy: rig.ByPerson}
	assert.Equal(t, "kind was fork equatorial and is german equatorial; site.latitude_deg was in the south and is in the north; home_deg was [-1, 0] and is [0, 30]; homing.by was sensor and is person",
		z.Since(rig.Zero{Kind: rig.Fork, South: true, Home: rig.DegAxes(-1, 0), HomedBy: rig.BySensor}))
	south := *was
	south.Site.Lat = -was.Site.Lat
	assert.Equal(t, "site.latitude_deg was in the north and is in the south", south.Zero().Since(was.Zero()))
	near := was.Zero()
	near.Home.A2 += unit.Deg(9e-5)
	assert.Empty(t, near.Since(was.Zero()))
	near.Home.A2 += unit.Deg(2e-5)
	assert.NotEmpty(t, near.Since(was.Zero()))
}
