package sky

import (
	"errors"
	"fmt"
	"math"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/unit"
)

// ErrWeather says that a reading of the air is outside what the refraction model bears.
var ErrWeather = errors.New("weather refused")

// Weather is the air at the site, as read there (not reduced to sea level).
type Weather struct {
	PressureHPa  float64 // [0, 1100]; 0 is no air
	TemperatureC float64 // [-60, 60]
	Humidity     float64 // relative, [0, 1]
	WavelengthUM float64 // of the light, [0.3, 1.2] µm; 0 stands for 0.55, the green of eye and camera
}

// Air bends light. The zero Air bends none; NewAir makes all others.
//
// Refraction is a continued fraction in the sine of the observed altitude. Against integration of the ray through the
// standard atmosphere, 550 to 1050 hPa, -40 to 40 °C, it is within 1″ above 10°, 3″ above 5°, 40″ at the horizon (asserted:
// 10″ to zenith distance 75°, 30″ to 85°, 5′ to the horizon; real air strays farther than the model below 5°). Below the horizon
// nothing is known; it fades in a straight line to nothing at the nadir, so that both directions stay monotonic and bounded.
//
// Invariant: all finite, none negative but a; 0 where there is no air.
type Air struct {
	power   float64 // R ≈ power·cot(altitude) high up, radians
	a, b, c float64
}

// NewAir checks the weather and works out the coefficients.
func NewAir(w Weather) (Air, error) {
	if w.WavelengthUM == 0 {
		w.WavelengthUM = 0.55
	}
	for _, r := range []struct {
		name               string
		value, least, most float64
	}{
		{"pressure (hPa)", w.PressureHPa, 0, 1100},
		{"temperature (°C)", w.TemperatureC, -60, 60},
		{"humidity", w.Humidity, 0, 1},
		{"wavelength (µm)", w.WavelengthUM, 0.3, 1.2},
	} {
		if !(r.value >= r.least && r.value <= r.most) { // a NaN fails too
			return Air{}, fmt.Errorf("%w: %s is %v, want within [%v, %v]", ErrWeather, r.name, r.value, r.least, r.most)
		}
	}
	if w.PressureHPa == 0 {
		return Air{}, nil
	}
	return newAir(w), nil
}

// newAir makes the coefficients. The first two terms are the series R = α(1-β) tan z - α(β - α/2) tan³z, with α the refractivity
// at the site and β the height of the air over the Earth's radius (Stone 1996, PASP 108, 1051). The two below them are ours,
// scaled by β as the problem is; derived in testdata/reference/sky.py, fit_refraction, from rays through the air of
// Hohenkerk & Sinclair 1985, NAO Technical Note 63.
func newAir(w Weather) Air {
	kelvin := w.TemperatureC + 273.15
	alpha, beta := refractivity(w), kelvin*8314.36/(28.966*9.784*6378120) // gas constant, molar mass, gravity, radius: ibid.
	x, y := alpha/beta, kelvin/283.15-1
	return Air{
		power: alpha * (1 - alpha/2),
		a:     (beta - alpha/2) / (1 - alpha/2),
		b:     beta * (2.6534 - 0.6014*x - 0.6063*y - 1.7299*x*x),
		c:     math.Sqrt(beta) * (2.3201 - 0.5212*x - 0.4307*y - 0.7448*x*x),
	}
}

// refractivity returns n - 1 at the site.
// Source: Hohenkerk & Sinclair 1985 (Explanatory Supplement, 2nd ed. 1992, section 3.28); the dry part is the formula of the IAG of 1963.
func refractivity(w Weather) float64 {
	kelvin, l2 := w.TemperatureC+273.15, w.WavelengthUM*w.WavelengthUM
	dry := (287.604 + 1.6288/l2 + 0.0136/(l2*l2)) * 1e-6 * 273.15 / 1013.25
	vapour := w.Humidity * math.Pow(kelvin/247.1, 18.36) // hPa
	return math.Max(0, dry*w.PressureHPa-11.2684e-6*vapour) / kelvin
}

// StandardAir returns the air to assume at a height above the sea (metres, taken within [-500, 9000]) where nobody reads the
// weather: ICAO's standard atmosphere, humidity 0.5. Weather differs from it by some 4 % in pressure and 20 K, together 10 % of
// refraction: 6″ at altitude 45°, 16″ at 20°, 1′ at 5°.
// Source: ICAO Doc 7488: 1013.25 hPa, 15 °C, 6.5 K/km, exponent 5.2559.
func StandardAir(heightM float64) Air {
	h := math.Min(math.Max(heightM, -500), 9000)
	if math.IsNaN(h) {
		h = 0
	}
	air, err := NewAir(Weather{
		PressureHPa:  1013.25 * math.Pow(1-0.0065*h/288.15, 5.2559),
		TemperatureC: 15 - 0.0065*h,
		Humidity:     0.5,
	})
	if err != nil {
		panic("sky: the standard atmosphere is out of its own range: " + err.Error())
	}
	return air
}

// Refraction returns by how much a body seen at an observed altitude stands lower without air: never negative, largest at the
// horizon, 0 at zenith, nadir and beyond ±90°.
func (a Air) Refraction(observed unit.Angle) unit.Angle {
	const right = unit.HalfTurn / 2
	switch {
	case a.power == 0 || observed >= right || observed <= -right:
		return 0
	case observed < 0:
		return a.above(0) * (1 + observed/right)
	}
	return a.above(observed)
}

func (a Air) above(observed unit.Angle) unit.Angle {
	s, c := math.Sincos(float64(observed))
	return unit.Angle(a.power * c / (s + a.a/(s+a.b/(s+a.c))))
}

// True returns the altitude without air of what is observed at an altitude.
func (a Air) True(observed unit.Angle) unit.Angle { return observed - a.Refraction(observed) }

// Observed returns the altitude at which air shows what stands at a true altitude: the inverse of True to 1e-13 rad. A NaN stays one.
func (a Air) Observed(trueAltitude unit.Angle) unit.Angle {
	if a.power == 0 || !(trueAltitude.Abs() < unit.HalfTurn/2) {
		return trueAltitude
	}
	// True rises all the way, and refraction is nowhere more than at the horizon: the answer is between these two.
	low, high := trueAltitude, trueAltitude+a.above(0)
	below, over := a.True(low)-trueAltitude, a.True(high)-trueAltitude
	for range 60 { // false position with the Illinois halving (Dowell & Jarratt 1971, BIT 11, 168); eight turns are usual
		if over-below == 0 {
			break
		}
		try := high - over*(high-low)/(over-below)
		miss := a.True(try) - trueAltitude
		if miss.Abs() < 1e-15 {
			return try
		}
		if (miss > 0) == (over > 0) {
			below /= 2
		} else {
			low, below = high, over
		}
		high, over = try, miss
	}
	return high
}

// Lift returns the observed direction of a true one, the azimuth unchanged, as a unit vector.
func (a Air) Lift(v frame.Vec[frame.Site]) frame.Vec[frame.Site] {
	return atAltitude(v, a.Observed(frame.Altitude(v)))
}

// Lower returns the true direction of an observed one, the azimuth unchanged, as a unit vector.
func (a Air) Lower(v frame.Vec[frame.Site]) frame.Vec[frame.Site] {
	return atAltitude(v, a.True(frame.Altitude(v)))
}

// atAltitude returns the direction of v's azimuth at an altitude; at zenith, nadir and for the zero vector v has none and stays.
func atAltitude(v frame.Vec[frame.Site], alt unit.Angle) frame.Vec[frame.Site] {
	r := math.Hypot(v.X, v.Y)
	if r == 0 {
		return v.Unit()
	}
	k := alt.Cos() / r
	return frame.Vec[frame.Site]{X: k * v.X, Y: k * v.Y, Z: alt.Sin()}
}
