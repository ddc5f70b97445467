package practice_test

import (
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// rigs are every invented rig: German north and south, fork, alt-azimuth.
func rigs(t *testing.T) map[string]*rig.Rig {
	t.Helper()
	out := map[string]*rig.Rig{"heron": heron(t)}
	dir := filepath.Join("..", "..", "..", "testdata", "rigs")
	open := func(name string) ([]byte, error) { return os.ReadFile(filepath.Join(dir, name)) }
	for _, name := range []string{"wren", "bittern", "curlew"} {
		content, err := open(name + ".yaml")
		require.NoError(t, err)
		r, bad := rig.Parse(name+".yaml", content, open)
		require.NotNil(t, r, "%v", bad)
		out[name] = r
	}
	return out
}

// play gives a mount a few hundred random orders, and calls see after each with the instant.
func play(r *rig.Rig, seed uint64, see func(m *practice.Mount, at time.Time, order string)) {
	rng := rand.New(rand.NewPCG(seed, 41))
	span := func(w float64) unit.Angle { return unit.Deg((2*rng.Float64() - 1) * w) }
	m, at := practice.NewMount(r, moment, dusk), dusk
	for range 300 {
		at = at.Add(time.Duration(rng.Float64() * float64(40*time.Second)))
		order := ""
		switch rng.IntN(12) {
		case 0, 1:
			order = "slew"
			m.Slew(at, span(180).Positive(), span(85), "", rng.IntN(2) == 0)
		case 2:
			order = "slew by axes"
			m.SlewAxes(at, rig.Axes{A1: span(90), A2: span(90)})
		case 3:
			order = "jog"
			rate := unit.Deg(0.5)
			m.Jog(at, rig.Axes{A1: span(3), A2: span(3)}, &rate, rng.IntN(2) == 0)
		case 4:
			order = "home"
			m.Home(at, "")
		case 5:
			order = "homed"
			m.Homed(at)
		case 6:
			order = "stop"
			m.Stop(at)
		case 7:
			order = "track"
			m.Track(at)
		case 8:
			order = "sync"
			ra, dec, _ := m.Belief(at)
			m.Sync(at, (ra + span(2)).Positive(), dec/2)
		case 9:
			order = "power dip"
			m.PowerDip(at)
		case 10:
			order = "slip"
			m.Slip(at, rig.Axes{A1: span(1), A2: span(1)})
		case 11:
			order = "stick"
			m.Stick(at, rng.IntN(4) == 0, rng.IntN(4) == 0)
		}
		see(m, at, order)
	}
}

// Metal does not jump: whatever is ordered, the axes stand where they stood, except in a slip; and nothing is ever not a number.
func TestNoOrderMovesMetalAtOnce(t *testing.T) {
	for name, r := range rigs(t) {
		for seed := range uint64(6) {
			play(r, seed, func(m *practice.Mount, at time.Time, order string) {
				here := m.Axes(at)
				ra, dec, _ := m.Belief(at)
				for _, x := range []float64{here.A1.Deg(), here.A2.Deg(), ra.Deg(), dec.Deg()} {
					require.False(t, math.IsNaN(x) || math.IsInf(x, 0), "%s: %s gives %v", name, order, x)
				}
				require.LessOrEqual(t, dec.Abs().Deg(), 90+1e-9, "%s: %s", name, order)
				if order != "slip" {
					// Rates up to 6°/s: within a microsecond they turn 6e-6°.
					assert.InDelta(t, 0, m.Axes(at.Add(time.Microsecond)).Sub(here).Abs().Max().Deg(), 2e-5, "%s: just after %s", name, order)
				}
			})
		}
	}
}

// It never turns faster than its rates, gathers speed no faster than its accelerations, and rests or tracks on arrival.
func TestRatesAndAccelerationsHold(t *testing.T) {
	const step = 50 * time.Millisecond
	for name, r := range rigs(t) {
		rng := rand.New(rand.NewPCG(5, 6))
		m, at := practice.NewMount(r, moment, dusk), dusk
		for range 20 {
			m.SlewAxes(at, rig.DegAxes(rng.Float64()*120-60, rng.Float64()*120-60))
			var last, speed rig.Axes
			first := true
			for t0 := at; m.Moving(at); at = at.Add(step) {
				now := m.Axes(at)
				if v := now.Sub(last).Scale(1 / step.Seconds()); !first {
					assert.LessOrEqual(t, v.A1.Abs().Deg(), r.Motion.RateDeg[0]+1e-6, name)
					assert.LessOrEqual(t, v.A2.Abs().Deg(), r.Motion.RateDeg[1]+1e-6, name)
					if at.Sub(t0) > 2*step {
						a := v.Sub(speed).Scale(1 / step.Seconds())
						assert.LessOrEqual(t, a.A1.Abs().Deg(), r.Motion.AccelDeg[0]+1e-3, name)
						assert.LessOrEqual(t, a.A2.Abs().Deg(), r.Motion.AccelDeg[1]+1e-3, name)
					}
					speed = v
				}
				last, first = now, false
			}
			at = at.Add(time.Second)
			assert.Equal(t, m.Axes(at), m.Axes(at.Add(time.Hour)), "%s: it rests", name)
		}
	}
}

// A sync moves belief to the place given, not the tube; a slew to that place then leaves the tube where it is.
func TestSyncLaws(t *testing.T) {
	for name, r := range rigs(t) {
		m, at := practice.NewMount(r, moment, dusk), dusk
		m.SlewAxes(at, rig.DegAxes(20, 40))
		at = m.Arrival(at).Add(time.Second)
		m.Track(at)
		here := m.Axes(at)
		ra, dec, side := m.Belief(at)
		ra, dec = (ra + unit.Deg(1)).Positive(), dec-unit.Deg(1)
		m.Sync(at, ra, dec)
		assert.Equal(t, here, m.Axes(at), "%s: no metal moves", name)
		gotRA, gotDec, _ := m.Belief(at)
		assert.InDelta(t, 0, (gotRA - ra).Wrapped().Deg(), 1e-6, "%s: right ascension believed", name)
		assert.InDelta(t, dec.Deg(), gotDec.Deg(), 1e-6, "%s: declination believed", name)
		if r.Mount.Chooses == rig.ByHourAngle && r.Kind == rig.German {
			continue // it chooses a side itself, perhaps the other
		}
		m.Slew(at, ra, dec, side, true)
		later := at.Add(5 * time.Second)
		// The sky turns meanwhile, 15″ a second, on axes that an alt-azimuth mount turns up to some times faster.
		assert.InDelta(t, 0, m.Axes(later).Sub(here).Abs().Max().Deg(), 0.1, "%s: it is there already", name)
	}
}

// Tracking keeps the camera on its place: what refraction moves in half an hour this high is some arcseconds.
func TestTrackingFollowsTheSky(t *testing.T) {
	for name, r := range rigs(t) {
		m, at := practice.NewMount(r, moment, dusk), dusk
		s, err := moment(at)
		require.NoError(t, err)
		dec := unit.Deg(30)
		if r.Site.Lat < 0 {
			dec = unit.Deg(-30)
		}
		m.Slew(at, (s.SiderealTime(r.Site.Lon) - unit.Deg(20)).Positive(), dec, "", true)
		at = m.Arrival(at).Add(2 * time.Second)
		c := practice.NewCamera(m, 3)
		first, second := c.Picture(at, time.Second), c.Picture(at.Add(30*time.Minute), time.Second)
		if name == "curlew" {
			continue // its polar axis is 0.6° off: it follows another pole
		}
		off := math.Hypot((first.Sky.RA-second.Sky.RA).Wrapped().Deg()*first.Sky.Dec.Cos(), (first.Sky.Dec - second.Sky.Dec).Deg())
		assert.Less(t, off, 0.02, name)
		assert.InDelta(t, dec.Deg(), first.Sky.Dec.Deg(), 0.3, "%s: it went where it was told", name)
	}
}

// A clock an hour ahead turns a slew of an equatorial mount by 15.04° on axis 1 (sidereal over solar seconds, 1.0027379), a longitude
// 10° off by 10°; belief shows neither.
func TestWrongClockAndSite(t *testing.T) {
	r := heron(t)
	s, err := moment(dusk)
	require.NoError(t, err)
	ra, dec := (s.SiderealTime(r.Site.Lon) + unit.Deg(50)).Positive(), unit.Deg(20)
	end := func(spoil func(*practice.Mount)) (rig.Axes, unit.Angle) {
		m := practice.NewMount(r, moment, dusk)
		spoil(m)
		m.Slew(dusk, ra, dec, "", true)
		at := dusk.Add(2 * time.Minute)
		believed, _, _ := m.Belief(at)
		return m.Axes(at), believed
	}
	right, believed := end(func(*practice.Mount) {})
	assert.InDelta(t, ra.Deg(), believed.Deg(), 0.01)
	late, believed := end(func(m *practice.Mount) { m.ClockAhead = time.Hour })
	assert.InDelta(t, 15.0411, late.Sub(right).A1.Deg(), 0.01)
	assert.InDelta(t, ra.Deg(), believed.Deg(), 0.01)
	moved, _ := end(func(m *practice.Mount) { m.Site.Lon += unit.Deg(10) })
	assert.InDelta(t, 10, moved.Sub(right).A1.Deg(), 0.01)
}

// A slip is seen by encoders on the axis and by no count; a jammed axis stays, and its count knows.
func TestSlipAndStick(t *testing.T) {
	r := rigs(t)["bittern"] // has both sources
	m := practice.NewMount(r, moment, dusk)
	m.Slip(dusk, rig.DegAxes(0, 2))
	s, err := m.Sample(dusk)
	require.NoError(t, err)
	reading := map[rig.SourceKind]rig.Axes{}
	for _, x := range s.Readings {
		reading[x.Source] = x.Axes
	}
	assert.InDelta(t, 2, reading[rig.AxisEncoder].Sub(reading[rig.MotorCount]).A2.Deg(), 1e-9)

	h := practice.NewMount(heron(t), moment, dusk)
	h.Stick(dusk, false, true)
	h.SlewAxes(dusk, rig.DegAxes(-30, 60))
	at := h.Arrival(dusk).Add(time.Second)
	assert.InDelta(t, -30, h.Axes(at).A1.Deg(), 1e-9)
	assert.InDelta(t, 0, h.Axes(at).A2.Deg(), 1e-9)
	s, err = h.Sample(at)
	require.NoError(t, err)
	assert.InDelta(t, 0, s.Readings[0].Axes.A2.Deg(), 1e-9)
	h.Stick(at, false, false)
	h.SlewAxes(at, rig.DegAxes(-30, 60))
	assert.InDelta(t, 60, h.Axes(at.Add(time.Minute)).A2.Deg(), 1e-9, "freed, it goes")
}

// A mount that infers its side says that it flipped, and did not.
func TestInferredSideThatNeverFlips(t *testing.T) {
	r := heron(t)
	r.Mount.SideSensed = false
	s, err := moment(dusk)
	require.NoError(t, err)
	m := practice.NewMount(r, moment, dusk.Add(-time.Minute))
	m.SlewAxes(dusk.Add(-time.Minute), rig.DegAxes(80, -60))
	m.NeverFlips = true
	ra := (s.SiderealTime(r.Site.Lon) + unit.Deg(3)).Positive()
	m.Slew(dusk, ra, unit.Deg(20), "", true)
	at := dusk.Add(30 * time.Minute)
	_, _, said := m.Belief(at)
	assert.Equal(t, rig.East, said)
	assert.Equal(t, rig.West, r.Kind.SideOf(m.Axes(at)))
}

// Two cameras of one seed take one night's pictures: the scatter is 3″ and no more.
func TestCameraRepeatsItself(t *testing.T) {
	r := heron(t)
	m := practice.NewMount(r, moment, dusk)
	m.Slew(dusk, unit.Deg(38), unit.Deg(61), "", true)
	at := m.Arrival(dusk).Add(time.Second)
	a, b := practice.NewCamera(m, 1), practice.NewCamera(m, 1)
	least, most := unit.Turn, -unit.Turn
	for range 50 {
		x, y := a.Picture(at, time.Second), b.Picture(at, time.Second)
		require.Equal(t, x, y)
		least, most = min(least, x.Sky.Dec), max(most, x.Sky.Dec)
	}
	assert.Less(t, (most - least).Arcsec(), 30.0, "five sigma each way")
	assert.Positive(t, most-least)
	blind := a.Anywhere(at, time.Second, unit.Deg(200), unit.Deg(-40), 14)
	assert.InDelta(t, 200, blind.Sky.RA.Deg(), 0.01)
	assert.InDelta(t, -40, blind.Sky.Dec.Deg(), 0.01)
	assert.Equal(t, 14, *blind.Matched)
}

// A mount whose clock reads a year that no table reaches gives no sample: nothing is made up.
func TestClockBeyondTheTables(t *testing.T) {
	m := practice.NewMount(heron(t), moment, dusk)
	m.ClockAhead = 60 * 366 * 24 * time.Hour
	_, err := m.Sample(dusk)
	assert.ErrorContains(t, err, "clock")
	m.ClockAhead = 0
	s, err := m.Sample(dusk)
	require.NoError(t, err)
	assert.Equal(t, question.AtRest, s.Doing)
}
