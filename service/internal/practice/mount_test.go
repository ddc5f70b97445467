package practice_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/sky"
	"keepclear.example/keepclear/service/internal/timescale"
	"keepclear.example/keepclear/service/internal/unit"
)

var dusk = time.Date(2026, 11, 14, 18, 20, 0, 0, time.UTC)

func moment(t time.Time) (*sky.Moment, error) {
	i, err := timescale.New(t, timescale.BuiltIn())
	if err != nil {
		return nil, err
	}
	return sky.At(i, timescale.UT1{}), nil
}

func heron(t *testing.T) *rig.Rig {
	t.Helper()
	r, bad := rig.Parse("heron.yaml", practice.HeronFile(), nil)
	require.NotNil(t, r, "%v", bad)
	return r
}

// It moves by its rates: 90° at 4°/s and 4°/s² take 23.5 s (Lynch & Park, Modern Robotics 2017, section 9.2.2.2).
func TestMovesByItsRates(t *testing.T) {
	m := practice.NewMount(heron(t), moment, dusk)
	m.SlewAxes(dusk, rig.DegAxes(-30, 90))
	assert.True(t, m.Moving(dusk.Add(23*time.Second)))
	assert.Equal(t, 23500*time.Millisecond, m.Arrival(dusk).Sub(dusk))
	end := m.Axes(dusk.Add(time.Minute))
	assert.InDelta(t, 90, end.A2.Deg(), 1e-9)
	assert.InDelta(t, 45, m.Axes(dusk.Add(11750*time.Millisecond)).A2.Deg(), 1e-9, "half the time, half the way")
}

// A right belief ends a slew on the target, which the camera then sees; a sync moves belief and with it the end of the next slew.
func TestSyncMovesBeliefAndTheNextSlew(t *testing.T) {
	r := heron(t)
	m := practice.NewMount(r, moment, dusk)
	ra, dec := unit.Deg(38), unit.Deg(61)
	m.Slew(dusk, ra, dec, "", true)
	at := m.Arrival(dusk).Add(time.Second)
	right := m.Axes(at)
	bra, bdec, side := m.Belief(at)
	assert.InDelta(t, 38, bra.Deg(), 0.01)
	assert.InDelta(t, 61, bdec.Deg(), 0.01)
	assert.Equal(t, rig.West, side, "before the meridian")
	m.Sync(at, bra, bdec+unit.Deg(2))
	_, after, _ := m.Belief(at)
	assert.InDelta(t, 63, after.Deg(), 0.01)
	assert.Equal(t, right, m.Axes(at), "a sync moves no metal")
	m.Slew(at, ra, dec, "", true)
	later := m.Arrival(at).Add(time.Second)
	want := right.A1 + unit.Angle(later.Sub(at).Seconds())*question.SiderealRate
	assert.InDelta(t, want.Deg(), m.Axes(later).A1.Deg(), 0.05)
	assert.InDelta(t, 2, (m.Axes(later).A2 - right.A2).Abs().Deg(), 0.01)
}

// A power dip forgets counts and belief, not where the metal is; homing finds it again.
func TestPowerDip(t *testing.T) {
	r := heron(t)
	m := practice.NewMount(r, moment, dusk)
	m.SlewAxes(dusk, rig.DegAxes(-30, 60))
	at := dusk.Add(time.Minute)
	before, err := m.Sample(at)
	require.NoError(t, err)
	m.PowerDip(at)
	after, err := m.Sample(at)
	require.NoError(t, err)
	assert.NotEqual(t, before.RunMark, after.RunMark)
	assert.InDelta(t, 0, after.Readings[0].Axes.A2.Deg(), 1e-9, "it believes that it is at home")
	assert.InDelta(t, 60, m.Axes(at).A2.Deg(), 1e-9, "and is not")
	m.Home(at, rig.Axis1First)
	at = m.Arrival(at).Add(time.Second)
	m.Homed(at)
	assert.InDelta(t, 0, m.Axes(at).Abs().Max().Deg(), 1e-9)
}

// The camera sees where the tube points; a false solve says otherwise.
func TestCamera(t *testing.T) {
	r := heron(t)
	m := practice.NewMount(r, moment, dusk)
	m.Slew(dusk, unit.Deg(38), unit.Deg(61), "", true)
	at := m.Arrival(dusk).Add(time.Second)
	c := practice.NewCamera(m, 1)
	v := c.Picture(at, 5*time.Second)
	assert.InDelta(t, 61, v.Sky.Dec.Deg(), 0.2, "of date and ICRS, and the air, differ by less")
	f := c.False(at, 5*time.Second, rig.DegAxes(0, 20), 19)
	assert.Greater(t, (f.Sky.Dec - v.Sky.Dec).Abs().Deg(), 10.0)
	assert.NotEqual(t, v.Picture, f.Picture)
	m.Silent = true
	_, err := m.Sample(at)
	assert.Error(t, err)
}
