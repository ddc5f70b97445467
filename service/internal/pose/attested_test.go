package pose

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
)

// A rig that no sensor homes, says its file, is homed by nobody's word alone; the person who saw it homes it.
func TestNoSensorNoSensedHome(t *testing.T) {
	for _, by := range []rig.HomingKind{rig.ByPerson, rig.ByBelief} {
		r := newRig(rig.German, 48)
		r.Homing = rig.Homing{By: by, Sigma: rig.DegAxes(1, 1)}
		n := newNight(t, r)
		n.m.axes = rig.DegAxes(50, 20)
		h := question.Homing{ID: "h1", At: n.m.at, Sensed: true, Axes: n.m.axes, Sigma: rig.DegAxes(1e-4, 1e-4)}
		x := n.m.sample()
		n.take(Homed(n.w, n.s, h, &x))
		assert.NotEqual(t, question.Known, n.state(), by)
		assert.Contains(t, n.said(), "attested", by)
		h.Sensed, h.Person = false, "A. Nyman"
		n.take(Homed(n.w, n.s, h, &x))
		assert.Equal(t, question.Known, n.state(), "%s: %s", by, n.said())
	}
}

// A sensor is as good as the file says: an asker who tells a smaller sigma is not believed, one who tells a larger is.
func TestSensorIsNoBetterThanItsFile(t *testing.T) {
	for told, want := range map[rig.Axes]rig.Axes{
		rig.DegAxes(1e-4, 2): rig.DegAxes(0.3, 2),
		{}:                   rig.DegAxes(0.3, 0.3),
	} {
		n := newNight(t, newRig(rig.German, 48))
		x := n.m.sample()
		n.take(Homed(n.w, n.s, question.Homing{ID: "h1", At: n.m.at, Sensed: true, Axes: n.m.axes, Sigma: told}, &x))
		require.NotNil(t, n.s.Homing)
		assert.Equal(t, want, n.s.Homing.Sigma)
	}
}

// No person reads marks finer than by eye, whatever is told; who says that it was coarser is believed.
func TestAnEyeIsNoBetterThanAnEye(t *testing.T) {
	for told, want := range map[rig.Axes]rig.Axes{
		rig.DegAxes(1e-7, 0.04): rig.DegAxes(0.05, 0.05),
		rig.DegAxes(0.06, 2):    rig.DegAxes(0.06, 2),
		{}:                      rig.DegAxes(1, 1),
	} {
		n := newNight(t, newRig(rig.German, 48))
		x := n.m.sample()
		n.take(Homed(n.w, n.s, question.Homing{ID: "h1", At: n.m.at, Person: "A. Nyman", Axes: n.m.axes, Sigma: told}, &x))
		require.NotNil(t, n.s.Homing)
		assert.Equal(t, want, n.s.Homing.Sigma)
	}
}
