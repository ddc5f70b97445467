package pointing

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

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

func sigmaOf(m Model, t Term) unit.Angle { return m.Sigma(t) }

func chainAt(lat float64) *rig.Chain {
	c := rig.NewChain(rig.German, unit.Deg(lat), rig.Tilt{}, vec{}, 0)
	return &c
}

// What had settled before an act stays what it was less what the act may have changed, whatever the few solves after it say, until it settles again.
func TestActLeavesWhatHadSettled(t *testing.T) {
	g := rand.New(rand.NewPCG(31, 2))
	mount := mounts()[0]
	f := truth(g, 0.3)
	learn := func(m Model, n int, off unit.Angle) Model {
		for _, o := range nightOf(g, mount, &f, n, float64(misfit)/2) {
			v := f.At(mount, o.pose)
			m = m.Learnt(mount, o.pose, o.sigma, o.seen.Add(v.along.Scale(float64(off))).Unit())
		}
		return m
	}
	fresh := learn(New(mount, rig.Axes{}), 3, 0).Turned()
	assert.Nil(t, fresh.Opened, "nothing had settled")
	taught := learn(fresh, 3, 0)
	assert.Equal(t, taught, taught.Forgot())

	m := learn(New(mount, rig.Axes{}), 40, 0)
	require.NotNil(t, m.Settled)
	assert.Nil(t, m.Opened)
	m.OnSensor = true
	turned := m.Turned()
	require.NotNil(t, turned.Opened)
	assert.Equal(t, turned.Fit, *turned.Opened)
	assert.Less(t, turned.Sigma(Index2), unit.Deg(0.1), "a base that moved leaves axis 2 as it was")
	astray := learn(turned, 5, unit.Deg(1.5))
	assert.NotEqual(t, turned.Fit, astray.Fit)
	assert.Equal(t, turned, astray.Forgot())

	small := rig.DegAxes(0.02, 0.02)
	stated := astray.Stated(rig.DegAxes(1, 1))
	assert.Greater(t, stated.Opened.Sigma(Index2), unit.Deg(0.9), "another zero is one of what was opened, too")
	back := stated.Sensed(small)
	assert.Equal(t, astray.Opened.Terms, back.Opened.Terms, "at the sensor as it was there")
	assert.Less(t, back.Opened.Sigma(Index2), unit.Deg(0.1))
	loosened := stated.Loosened(Cone)
	assert.Equal(t, loosened.AtSensor.Fit, *loosened.AtSensor.Opened)
	assert.Zero(t, loosened.AtSensor.Opened.Terms[Cone], "an act opens what was learnt at the sensor, too")

	again := astray.Aligned()
	assert.Equal(t, again.Fit, *again.Opened)
	assert.Equal(t, turned.Aligned().Fit, again.Fit, "what few solves taught between two acts goes with the second")
	settled := learn(turned, 40, 0)
	require.NotNil(t, settled.Settled)
	assert.Nil(t, settled.Opened)

	broken := turned
	broken.Opened = &Fit{Home: rig.Axes{A1: unit.Angle(math.NaN())}}
	assert.False(t, broken.Finite())
	broken = turned
	broken.AtSensor = &Kept{Opened: &Fit{Home: rig.Axes{A1: unit.Angle(math.NaN())}}}
	assert.False(t, broken.Finite())
}
