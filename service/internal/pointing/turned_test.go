package pointing

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// Axis 1 that stands off in azimuth is set anew by a turn of all the base about the vertical. Where the tube looks then is foretold by geometry alone:
// by the chain of a mount that never stood off.
func TestAlignedTurnsTheReadingsToo(t *testing.T) {
	for _, mount := range mounts() {
		g := rand.New(rand.NewPCG(31, 1))
		azimuth := unit.Deg(2)
		off := rig.NewChain(mount.Kind, unit.Angle(math.Asin(-mount.Chain.Dir1.Z)), rig.Tilt{East: azimuth}, vec{}, 0)
		if mount.Kind == rig.AltAzimuth {
			off = *mount.Chain
		}
		m := New(mount, rig.Axes{})
		for range 30 {
			pose := somewhere(g)
			m = m.Learnt(mount, pose, rig.Axes{}, off.Direction(pose))
		}
		m = m.Aligned()
		for range 20 {
			pose := somewhere(g)
			v := m.At(mount, pose)
			o := v.Off(mount.Chain.Direction(pose))
			assert.Less(t, math.Hypot(o[0], o[1]), float64(unit.Deg(0.2)), "%s %s", mount.Kind, pose)
			assert.Less(t, v.Scatter.Plus(Misfit()).D2(o), 13.8)
			assert.Less(t, math.Sqrt(v.Scatter[0]+v.Scatter[2]), float64(unit.Deg(2)), "it says something all the same")
		}
	}
}

// What a base that moved may have turned about axis 1 is as open as the design lets an axis stand off: five degrees at three sigmas.
func TestTurnedOpensTheReadings(t *testing.T) {
	mount := mounts()[0]
	m := New(mount, rig.Axes{})
	m.set(Index1, Index1, 0)
	assert.InDelta(t, math.Hypot(5.0/3, 0.5), sigmaOf(m.Turned(), Index1).Deg(), 1e-3)
	assert.InDelta(t, 1, sigmaOf(m.Turned(), Index2).Deg(), 1e-6)
	m.set(TiltB, TiltB, 0)
	assert.InDelta(t, 20*math.Hypot(1, math.Tan(52*math.Pi/180)), sigmaOf(m.Aligned(), Index1).Arcmin(), 1e-3, "twenty arcminutes each way, one of them about the vertical")
	m.Terms[TiltB] = unit.Deg(-3)
	assert.InDelta(t, 3*math.Tan(52*math.Pi/180), m.Aligned().Terms[Index1].Abs().Deg(), 1e-3)
	assert.InDelta(t, math.Hypot(20*math.Hypot(1, math.Tan(52*math.Pi/180)), 60*math.Tan(52*math.Pi/180)), sigmaOf(m.Aligned(), Index1).Arcmin(), 1e-3)
	polar := New(Mount{Kind: rig.German, Chain: chainAt(81)}, rig.Axes{})
	polar.Terms[TiltB] = unit.Deg(-3)
	assert.Zero(t, polar.Aligned().Terms[Index1], "near a pole nobody turns it toward the pole about the vertical")
}

// A base that is moved night after night, and of which little is learnt between, is no more open than one that nobody knows.
func TestTurnedAgainAndAgain(t *testing.T) {
	m := New(mounts()[0], rig.Axes{})
	for range 13 {
		m = m.Turned()
		assert.InDelta(t, math.Hypot(1, 5.0/3), m.Sigma(Index1).Deg(), 1e-3)
	}
	m.set(Index1, Index1, sq(unit.Deg(0.5)))
	assert.InDelta(t, math.Hypot(math.Hypot(0.5, 0.5), 5.0/3), sigmaOf(m.Turned(), Index1).Deg(), 1e-3, "what is known better stays so")
}

func sigmaOf(m Model, t Term) unit.Angle { return m.Sigma(t) }

func chainAt(lat float64) *rig.Chain {
	c := rig.NewChain(rig.German, unit.Deg(lat), rig.Tilt{}, vec{}, 0)
	return &c
}
