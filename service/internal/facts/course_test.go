package facts

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// The bound of an alt-azimuth's curve over a step holds against the curve itself, looked at densely, and is not many times too wide.
func TestBowHoldsTheCurve(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	tight, tried := 0, 0
	for range 4000 {
		lat := unit.Deg(rng.Float64()*178 - 89)
		f := follower{pole: frame.Horizon[frame.Rig](0, lat), side: rig.First}
		f.chain.Dir1, f.chain.Dir2, f.chain.Tube = rig.Nominal(rig.AltAzimuth, lat)
		if rng.IntN(4) == 0 {
			f.side = rig.Second
		}
		height := unit.Deg(90 * math.Pow(rng.Float64(), 0.3))
		start := frame.Horizon[frame.Rig](unit.Deg(rng.Float64()*360), height)
		step := math.Exp(rng.Float64()*7 - 1)
		a := f.at(rig.AltAzimuth, start, 0, rig.Axes{})
		b := f.at(rig.AltAzimuth, start, step, a)
		top := max(altitudeOf(&f, a), altitudeOf(&f, b))
		by, ok := bow(-f.pole.Dot(f.chain.Dir1), top, step)
		if !ok {
			continue
		}
		tried++
		var worst rig.Axes
		for k := range 41 {
			s := float64(k) / 40
			stray := f.at(rig.AltAzimuth, start, s*step, a).Sub(a.Add(b.Sub(a).Scale(s))).Abs()
			worst = upper(worst, stray)
		}
		require.LessOrEqual(t, float64(worst.A1), float64(by.A1)+1e-12, "latitude %v height %v step %v", lat.Deg(), height.Deg(), step)
		require.LessOrEqual(t, float64(worst.A2), float64(by.A2)+1e-12, "latitude %v height %v step %v", lat.Deg(), height.Deg(), step)
		if by.Max() < 20*worst.Max() {
			tight++
		}
	}
	assert.Greater(t, tried, 3000)
	assert.Greater(t, tight, tried/3, "the bound is of use")
}

func altitudeOf(f *follower, a rig.Axes) unit.Angle {
	_, alt := frame.AzAlt(f.chain.Direction(a))
	return alt.Abs()
}

// A course that runs through the zenith is lost where axis 1 would have to turn faster than it can, and not before.
func TestCourseThroughTheZenith(t *testing.T) {
	lat := unit.Deg(58.3)
	r := &rig.Rig{Kind: rig.AltAzimuth, Site: rig.Site{Lat: lat}}
	r.Chain.Dir1, r.Chain.Dir2, r.Chain.Tube = rig.Nominal(rig.AltAzimuth, lat)
	r.Motion.RateDeg = [2]float64{6, 5}
	in := &Input{Rig: r}
	for _, miss := range []float64{0, 0.001, 0.2, 3} { // degrees from the zenith at the meridian
		zenith := turnedAbout(r.Pole(), unit.Angle(3600)*question.SiderealRate, frame.Horizon[frame.Rig](0, unit.Deg(90-miss)))
		end := rig.LiftNear(r.Chain.Solve(r.Kind, zenith, rig.First), rig.Axes{})
		c := in.curved(nil, course{journey: &journey{end: rig.End{Axes: end}}, lost: dayS}, follower{chain: r.Chain, pole: r.Pole(), side: rig.First}, 7200)
		if miss < 0.01 {
			assert.InDelta(t, 3600, c.lost, 60, "through the zenith (%v° off) it is lost near the meridian", miss)
			assert.Equal(t, c.lost, c.seconds())
			continue
		}
		assert.Equal(t, dayS, c.lost, "%v° off it is followed", miss)
		assert.InDelta(t, 7200, c.seconds(), 1e-6)
		for s := 0.0; s <= 7200; s += 7 {
			dir := turnedAbout(r.Pole(), -unit.Angle(s)*question.SiderealRate, zenith)
			assert.InDelta(t, 0, r.Chain.Direction(c.at(s)).Angle(dir).Deg(), 0.03, "%v° off, after %v s", miss, s)
		}
	}
}

// Where a course comes near the zenith only later, it can be told until then where the axes of a rig are that starts a little off: its
// stretches end where the distance from the zenith halves, on the way there as well as on the way from it.
func TestCourseTowardTheZenithIsKnownUntilThere(t *testing.T) {
	lat := unit.Deg(58.3)
	r := &rig.Rig{Kind: rig.AltAzimuth, Site: rig.Site{Lat: lat}}
	r.Chain.Dir1, r.Chain.Dir2, r.Chain.Tube = rig.Nominal(rig.AltAzimuth, lat)
	r.Motion.RateDeg = [2]float64{6, 5}
	in := &Input{Rig: r}
	start := turnedAbout(r.Pole(), 4*3600*question.SiderealRate, frame.Horizon[frame.Rig](0, unit.Deg(89.8)))
	end := rig.LiftNear(r.Chain.Solve(r.Kind, start, rig.First), rig.Axes{})
	c := in.curved(nil, course{journey: &journey{end: rig.End{Axes: end}}, lost: dayS}, follower{chain: r.Chain, pole: r.Pole(), side: rig.First}, dayS)
	known := c.known(rig.DegAxes(0.5, 0.5))
	assert.Greater(t, known, 3.5*3600, "it passes the zenith in 4 h")
	assert.Less(t, known, 4.0*3600)
	for _, s := range c.stretches {
		for at := s.start; at <= s.start+s.way.Seconds(); at += 60 {
			assert.GreaterOrEqual(t, in.off(c.at(at)).Deg(), s.off.Deg()-1e-6, "after %v s", at)
		}
	}
}

// The bound of how far on the sky a change of both axes moves a direction holds for any turn of axis 1, and near its line half a turn moves
// little.
func TestApartHoldsAnyTurn(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	var c rig.Chain
	c.Dir1, c.Dir2, c.Tube = rig.Nominal(rig.AltAzimuth, 0)
	for range 3000 {
		from := rig.DegAxes(360*rng.Float64(), 90*rng.Float64())
		by := rig.DegAxes(400*math.Pow(rng.Float64(), 3), 60*math.Pow(rng.Float64(), 3))
		to := from.Add(rig.Axes{A1: by.A1 * unit.Angle(2*rng.Float64()-1), A2: by.A2 * unit.Angle(2*rng.Float64()-1)})
		moved := c.Direction(from).Angle(c.Direction(to))
		require.LessOrEqual(t, moved.Deg(), apart(by, offLine(&c, from)).Deg()+1e-6, "from %v to %v within %v", from, to, by)
	}
	assert.InDelta(t, 2, apart(rig.DegAxes(180, 0), 1*unit.Degree).Deg(), 1e-6)
	assert.InDelta(t, 2, apart(rig.DegAxes(300, 0), 1*unit.Degree).Deg(), 1e-6)
}
