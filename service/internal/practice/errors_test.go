package practice_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// pointed returns a mount of heron at rest at an hour angle and a declination, tube east, with errors.
func pointed(t *testing.T, h, dec float64, e practice.Errors) (*practice.Mount, time.Time) {
	t.Helper()
	m := practice.NewMount(heron(t), moment, dusk)
	m.Errors = e
	m.SlewAxes(dusk, rig.DegAxes(h-90, 90-dec))
	return m, m.Arrival(dusk).Add(time.Second)
}

// seen is where the camera truly looks: azimuth, observed altitude, hour angle and declination without air.
func seen(t *testing.T, m *practice.Mount, at time.Time) (az, alt, h, dec unit.Angle) {
	t.Helper()
	r := heron(t)
	ra, d, _, ok := m.Looks(at)
	require.True(t, ok)
	s, err := moment(at)
	require.NoError(t, err)
	v := s.Hour(s.Apparent(frame.FromLonLat[frame.ICRS](ra, d)), r.Site.Lon)
	h, dec = frame.HourDec(v)
	az, alt = frame.AzAlt(frame.SiteFromHour[frame.Rig](r.Site.Lat).Apply(v))
	return az, r.Air().Observed(alt), h, dec
}

// horizontal is a direction by hour angle and declination about a pole at such an altitude. Source: Smart, Textbook on Spherical Astronomy,
// 6th ed. 1977, section 35: the cosine formula, and the four-parts formula for the azimuth.
func horizontal(h, dec, pole float64) (az, alt float64) {
	h, dec, pole = h*math.Pi/180, dec*math.Pi/180, pole*math.Pi/180
	alt = math.Asin(math.Sin(dec)*math.Sin(pole) + math.Cos(dec)*math.Cos(pole)*math.Cos(h))
	az = math.Atan2(-math.Sin(h)*math.Cos(dec), math.Sin(dec)*math.Cos(pole)-math.Cos(dec)*math.Cos(h)*math.Sin(pole))
	return az * 180 / math.Pi, alt * 180 / math.Pi
}

const second = 1.0 / 3600 // of arc, in degrees

// A polar axis too high is a mount that stands farther north; one too far east, one that was turned about the vertical. Textbook, exactly.
func TestPolarErrorDisplacesAsTheTextbookSays(t *testing.T) {
	lat := heron(t).Site.Lat.Deg()
	for _, p := range [][2]float64{{-30, 20}, {25, 61}, {0, 45}, {-70, 5}} {
		m, at := pointed(t, p[0], p[1], practice.Errors{Polar: rig.Tilt{Up: unit.Deg(1.5)}})
		az, alt, _, _ := seen(t, m, at)
		wantAz, wantAlt := horizontal(p[0], p[1], lat+1.5)
		assert.InDelta(t, wantAlt, alt.Deg(), second, "too high, at %v", p)
		assert.InDelta(t, 0, (az-unit.Deg(wantAz)).Wrapped().Deg()*alt.Cos(), second, "too high, at %v", p)

		m, at = pointed(t, p[0], p[1], practice.Errors{Polar: rig.Tilt{East: unit.Deg(2)}})
		az, alt, _, _ = seen(t, m, at)
		wantAz, wantAlt = horizontal(p[0], p[1], lat)
		assert.InDelta(t, wantAlt, alt.Deg(), second, "too far east, at %v", p)
		assert.InDelta(t, 0, (az-unit.Deg(wantAz+2)).Wrapped().Deg()*alt.Cos(), second, "too far east, at %v", p)
	}
}

// Air lifts: the sky seen south on the meridian lies lower than the tube points. Source: Bennett, J. Navigation 35 (1982) 255:
// cot(a + 7.31/(a + 4.4)) minutes at 1010 hPa and 10 °C, within 0.07′, scaled to the air of the file's height.
func TestRefractionLowersWhatIsSeen(t *testing.T) {
	r := heron(t)
	for _, alt := range []float64{20, 35, 60} {
		dec := alt + r.Site.Lat.Deg() - 90
		m, at := pointed(t, 0, dec, practice.Errors{})
		_, _, _, d := seen(t, m, at)
		height := r.Site.HeightM
		pressure, temperature := 1013.25*math.Pow(1-6.5e-3*height/288.15, 5.2559), 15-6.5e-3*height
		want := 1 / math.Tan((alt+7.31/(alt+4.4))*math.Pi/180) * pressure / 1010 * 283 / (273 + temperature)
		assert.InDelta(t, want, (dec-d.Deg())*60, 0.07, "altitude %v", alt)
	}
}

// Cone moves the line of sight by its own angle, anywhere; an axis 2 out of square by its angle times the sine of the declination; a tube
// droops with the cosine of its altitude.
func TestConeSquareAndFlexure(t *testing.T) {
	for _, p := range [][2]float64{{-30, 20}, {25, 61}, {0, 45}, {-70, 5}} {
		m, at := pointed(t, p[0], p[1], practice.Errors{})
		_, alt, h, dec := seen(t, m, at)
		off := func(e practice.Errors) (unit.Angle, unit.Angle, unit.Angle) {
			m.Errors = e
			_, a, h2, d2 := seen(t, m, at)
			return frame.FromHour(h, dec).Angle(frame.FromHour(h2, d2)), a, (h2 - h).Wrapped() * unit.Angle(dec.Cos())
		}
		cone, _, _ := off(practice.Errors{Cone: unit.Deg(0.7)})
		assert.InDelta(t, 0.7, cone.Deg(), 5*second, "but for what the air does to it")
		_, _, across := off(practice.Errors{Across: unit.Arcmin(10)})
		assert.InDelta(t, 10*math.Sin(p[1]*math.Pi/180), across.Abs().Arcmin(), 0.1)
		_, low, _ := off(practice.Errors{Flexure: unit.Arcmin(3)})
		assert.InDelta(t, 3*alt.Cos(), (alt - low).Arcmin(), 0.01)
		sag, _, _ := off(practice.Errors{Sag: unit.Arcmin(3)})
		assert.LessOrEqual(t, sag.Arcmin(), 3.01)
		assert.Positive(t, sag)
	}
}

// A kick turns everything by its angle, but for the part along the line of sight; two add up; a person undoes them.
func TestKick(t *testing.T) {
	m, at := pointed(t, -30, 20, practice.Errors{})
	az, alt, _, _ := seen(t, m, at)
	m.Kick(frame.Vec[frame.Rig]{Z: -float64(unit.Deg(2))}) // about straight down: azimuths grow
	m.Kick(frame.Vec[frame.Rig]{Z: -float64(unit.Deg(1))})
	az2, alt2, _, _ := seen(t, m, at)
	assert.InDelta(t, 3, (az2 - az).Wrapped().Deg(), second)
	assert.InDelta(t, alt.Deg(), alt2.Deg(), second)
	m.Straighten()
	az3, _, _, _ := seen(t, m, at)
	assert.InDelta(t, az.Deg(), az3.Deg(), 1e-9)
}

// The periodic error comes back with its period, and is as large as it says.
func TestPeriodicError(t *testing.T) {
	e := practice.Errors{Periodic: unit.Arcsec(30), Period: unit.Deg(2)}
	hour := func(h float64) float64 {
		m, at := pointed(t, h, 0, e)
		_, _, got, _ := seen(t, m, at)
		p, _ := pointed(t, h, 0, practice.Errors{})
		_, _, want, _ := seen(t, p, at)
		return (got - want).Wrapped().Arcsec()
	}
	assert.InDelta(t, 0, hour(-30), 0.1)
	assert.InDelta(t, 30, hour(-29.5), 0.1)
	assert.InDelta(t, -30, hour(-28.5), 0.1)
	assert.InDelta(t, 30, hour(-27.5), 0.1)
}

// Steps lost and play are what the axes do less than the counters say; an encoder sees it, a sensed home finds it.
func TestStepsAndPlay(t *testing.T) {
	m := practice.NewMount(heron(t), moment, dusk)
	m.Backlash = rig.DegAxes(0.05, 0)
	m.Index = rig.DegAxes(0.2, -0.1)
	at := dusk
	slew := func(a1, a2 float64) {
		m.SlewAxes(at, rig.DegAxes(a1, a2))
		at = m.Arrival(at).Add(time.Second)
	}
	slew(-30, 20)
	assert.InDelta(t, -30, m.Axes(at).A1.Deg(), 1e-9, "the first way takes up no play")
	slew(-20, 20)
	assert.InDelta(t, -20.05, m.Axes(at).A1.Deg(), 1e-9, "turning back loses the play")
	s, err := m.Sample(at)
	require.NoError(t, err)
	assert.InDelta(t, -20, s.Readings[0].Axes.A1.Deg(), 1e-9, "which the counter does not know")
	slew(-30, 20)
	assert.InDelta(t, -30, m.Axes(at).A1.Deg(), 1e-9, "and turning back again returns")

	m.LoseSteps(rig.DegAxes(0, 3))
	m.SlewAxes(at, rig.DegAxes(-30, 60))
	half := at.Add(m.Arrival(at).Sub(at) / 2)
	assert.InDelta(t, -1.5, m.Lost(half).A2.Deg(), 0.01, "half of it half way")
	at = m.Arrival(at).Add(time.Second)
	assert.InDelta(t, 57, m.Axes(at).A2.Deg(), 1e-9)
	slew(-30, 20)
	assert.InDelta(t, 17, m.Axes(at).A2.Deg(), 1e-9, "once lost is lost")

	m.Home(at, "")
	at = m.Arrival(at).Add(time.Second)
	closure := m.Homed(at)
	assert.InDelta(t, 0.2, m.Axes(at).A1.Deg(), 1e-9, "the sensor stops it where it is")
	assert.InDelta(t, 3-0.1, closure.A2.Deg(), 1e-9, "and finds what was lost")
	assert.InDelta(t, 0.2, m.Lost(at).A1.Deg(), 1e-9)
}

// What a wrong clock or longitude of the mount does to belief over the ground: nothing before a sync, all of it after a true one. Four minutes
// of time are 1.0027°.
func TestBeliefErrorOverTheGround(t *testing.T) {
	for name, c := range map[string]struct {
		wrong func(m *practice.Mount)
		want  float64 // degrees of hour angle, farther west
	}{
		"clock ahead":  {func(m *practice.Mount) { m.ClockAhead = 4 * time.Minute }, 1.0027},
		"too far east": {func(m *practice.Mount) { m.Site.Lon += unit.Deg(2) }, 2},
	} {
		m := practice.NewMount(heron(t), moment, dusk)
		c.wrong(m)
		m.Slew(dusk, unit.Deg(350), unit.Deg(30), "", true)
		at := m.Arrival(dusk).Add(time.Second)
		off, _ := m.BeliefError(at)
		assert.InDelta(t, 0, off.Deg(), 0.02, "%s: but for the air", name)
		ra, dec, _, _ := m.Looks(at)
		s, err := moment(at)
		require.NoError(t, err)
		tra, tdec := s.Apparent(frame.FromLonLat[frame.ICRS](ra, dec)).LonLat()
		m.Sync(at, tra, tdec)
		off, each := m.BeliefError(at)
		assert.InDelta(t, c.want*tdec.Cos(), off.Deg(), 0.001, name)
		assert.InDelta(t, c.want*tdec.Cos(), each[0].Deg(), 0.001, name)
	}
}

// Mounts that do not take a sync as told.
func TestSyncsNotTakenAsTold(t *testing.T) {
	for name, c := range map[string]struct {
		set  func(m *practice.Mount)
		want []float64 // declination believed after syncs 1° and 2° north of where it was, and 3° twice
	}{
		"as told":  {func(*practice.Mount) {}, []float64{1, 2, 3, 3}},
		"ignores":  {func(m *practice.Mount) { m.SyncMissed = 1 }, []float64{0, 0, 0, 0}},
		"in part":  {func(m *practice.Mount) { m.SyncMissed = 0.5 }, []float64{0.5, 1.25, 2.125, 2.5625}},
		"averages": {func(m *practice.Mount) { m.Averages = 2 }, []float64{1, 1.5, 2.5, 3}},
	} {
		m := practice.NewMount(heron(t), moment, dusk)
		c.set(m)
		m.Slew(dusk, unit.Deg(38), unit.Deg(41), "", true)
		at := m.Arrival(dusk).Add(time.Second)
		for i, north := range []float64{1, 2, 3, 3} {
			ra, _, _ := m.Belief(at)
			m.Sync(at, ra, unit.Deg(41+north))
			_, got, _ := m.Belief(at)
			assert.InDelta(t, 41+c.want[i], got.Deg(), 0.001, "%s, sync %d", name, i)
		}
	}
}
