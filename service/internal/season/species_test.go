package season

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
)

// Every species has a file that loads, of its kind, half of the Earth, source and homing.
func TestSpecies(t *testing.T) {
	_, rigs := world(t)
	kinds := map[string]rig.Kind{"german": rig.German, "fork": rig.Fork, "alt-azimuth": rig.AltAzimuth}
	sources := map[string]rig.SourceKind{"encoders": rig.AxisEncoder, "counts": rig.MotorCount, "belief": rig.UnsyncedBelief, "reckoned": rig.Reckoned}
	for mount, kind := range kinds {
		for _, south := range []bool{false, true} {
			for source, want := range sources {
				s := Species{mount, south, source, south && source == "belief"}
				m, err := rigs.member(s)
				require.NoError(t, err, s)
				assert.Equal(t, kind, m.Rig.Kind)
				assert.Equal(t, south, m.Rig.Site.Lat < 0)
				assert.Equal(t, want, m.Rig.Sources[0].Kind)
				assert.Equal(t, s.Attested, m.Rig.Homing.By == rig.ByPerson)
				assert.True(t, m.Rig.Practice, "its permits bind no real rig")
			}
		}
	}
}
