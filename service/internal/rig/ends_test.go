package rig_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// This file holds the predicted ends against a second derivation, written from the design's text alone in plain degrees: no types, no
// vectors and no functions of the rig room but what is asked.

type pair = [2]float64

// wrap180 brings degrees into [-180, 180).
func wrap180(d float64) float64 { return d - 360*math.Floor((d+180)/360) }

func sind(d float64) float64 { return math.Sin(d * math.Pi / 180) }
func cosd(d float64) float64 { return math.Cos(d * math.Pi / 180) }

// azAlt is the horizontal place of an hour angle and declination, by spherical trigonometry (Meeus, Astronomical Algorithms, 2nd ed. 1998,
// eqs. 13.5 and 13.6, the azimuth counted from north).
func azAlt(h, dec, lat float64) (az, alt float64) {
	alt = math.Asin(sind(lat)*sind(dec)+cosd(lat)*cosd(dec)*cosd(h)) * 180 / math.Pi
	az = math.Atan2(-cosd(dec)*sind(h), sind(dec)*cosd(lat)-cosd(dec)*cosd(h)*sind(lat)) * 180 / math.Pi
	return az, alt
}

// hourDec is its inverse (the same book, eqs. 13.3 and 13.4 by symmetry).
func hourDec(az, alt, lat float64) (h, dec float64) {
	dec = math.Asin(sind(lat)*sind(alt)+cosd(lat)*cosd(alt)*cosd(az)) * 180 / math.Pi
	h = math.Atan2(-cosd(alt)*sind(az), sind(alt)*cosd(lat)-cosd(alt)*cosd(az)*sind(lat)) * 180 / math.Pi
	return h, dec
}

// twin is a mount in degrees.
type twin struct {
	kind             rig.Kind
	lat              float64
	low, high        pair
	way              rig.WayRound
	keeping          rig.SyncKeeping
	chooses          rig.SideChoice
	delay            float64
	lift             float64 // what its map adds to every altitude
	refracts         bool
	astray           float64 // how far off its start may be
	lst, mountLat    float64 // its own
	oursLST, oursLat float64
}

// axes is section 4 of the design, word for word.
func (w *twin) axes(lst, lat, ra, dec float64, first bool) pair {
	h := wrap180(lst - ra)
	lon, height := h, dec
	if w.kind == rig.AltAzimuth {
		lon, height = azAlt(h, dec, lat)
		if w.refracts {
			height += w.lift
		}
	} else if w.refracts {
		az, alt := azAlt(h, dec, lat)
		lon, height = hourDec(az, alt+w.lift, lat)
	}
	s := 1.0
	if w.lat < 0 {
		s = -1
	}
	switch {
	case w.kind == rig.German && first:
		return pair{lon - 90, 90 - s*height}
	case w.kind == rig.German:
		return pair{lon + 90, -(90 - s*height)}
	case first:
		return pair{lon, height}
	}
	return pair{lon + 180, 180 - height}
}

// sky is its inverse for a pose, of date.
func (w *twin) sky(p pair) (ra, dec float64) {
	a2 := wrap180(p[1])
	s := 1.0
	if w.lat < 0 {
		s = -1
	}
	lon, height := p[0], a2
	switch {
	case w.kind == rig.German && a2 >= 0:
		lon, height = p[0]+90, s*(90-a2)
	case w.kind == rig.German:
		lon, height = p[0]-90, s*(90+a2)
	case math.Abs(a2) > 90:
		lon, height = p[0]-180, wrap180(180-a2)
	}
	h := lon
	if w.kind == rig.AltAzimuth {
		if w.refracts {
			height -= w.lift
		}
		h, height = hourDec(lon, height, w.mountLat)
	} else if w.refracts {
		az, alt := azAlt(lon, height, w.mountLat)
		h, height = hourDec(az, alt-w.lift, w.mountLat)
	}
	return w.lst - h, height
}

// turnsOf is every turn of one angle that the way round may mean, seen from near.
func (w *twin) turnsOf(a, near, low, high float64) []float64 {
	var out []float64
	for _, l := range []float64{low, low - 0.5, low + 0.5} { // by its own map the mount may see its travel so far off
		for _, h := range []float64{high, high - 0.5, high + 0.5} {
			for _, x := range w.turnsIn(a, near, l, h) {
				if !slices.Contains(out, x) {
					out = append(out, x)
				}
			}
		}
	}
	return out
}

func (w *twin) turnsIn(a, near, low, high float64) []float64 {
	var all []float64
	for k := -14.0; k <= 14; k++ {
		if x := wrap180(a) + 360*k; w.way == rig.Shortest || x >= low-1e-9 && x <= high+1e-9 {
			all = append(all, x)
		}
	}
	if w.way == rig.WayUnknown {
		return all
	}
	var out []float64 // whatever is nearest from somewhere within half a degree, and what the start may be off by
	for _, from := range []float64{near - 0.5 - w.astray, near, near + 0.5 + w.astray} {
		best := math.NaN()
		for _, x := range all {
			if !(math.Abs(x-from) >= math.Abs(best-from)) {
				best = x
			}
		}
		if len(all) > 0 && !slices.Contains(out, best) {
			out = append(out, best)
		}
	}
	return out
}

func (w *twin) lifted(a, near pair) []pair {
	var out []pair
	for _, one := range w.turnsOf(a[0], near[0], w.low[0], w.high[0]) {
		for _, two := range w.turnsOf(a[1], near[1], w.low[1], w.high[1]) {
			out = append(out, pair{one, two})
		}
	}
	return out
}

// sides is who chooses the side: first = tube east, or upright. Of several right ascensions it is not known by which the mount goes.
func (w *twin) sides(asked rig.Side, ras []float64) []bool {
	both := []bool{true, false}
	askedFirst := asked == rig.East || asked == rig.First
	if w.chooses == rig.AskerChooses && asked != "" {
		return []bool{askedFirst}
	}
	if w.chooses != rig.ByHourAngle || w.kind != rig.German {
		return both
	}
	var out []bool
	for _, ra := range ras {
		h := wrap180(w.lst - ra)
		past := wrap180(h - w.delay)
		under := wrap180(h - 180)
		if math.Abs(past) < 0.5 || under > min(0, w.delay)-0.5 && under < max(0, w.delay)+0.5 || len(out) > 0 && out[0] != (past > 0) {
			return both
		}
		out = []bool{past > 0}
	}
	if asked != "" && askedFirst != out[0] {
		out = append(out, askedFirst)
	}
	return out
}

// nearest is the belief in axis terms: of both solutions, on every turn, the one that the fewest degrees of either axis explain.
func (w *twin) nearest(ra, dec float64, p pair) pair {
	best, far := pair{}, math.Inf(1)
	for _, first := range []bool{true, false} {
		b := w.axes(w.lst, w.mountLat, ra, dec, first)
		b = pair{p[0] + wrap180(b[0]-p[0]), p[1] + wrap180(b[1]-p[1])}
		if d := math.Max(math.Abs(b[0]-p[0]), math.Abs(b[1]-p[1])); d < far-1e-9 {
			best, far = b, d
		}
	}
	return best
}

// lessOffset is the target less the offset on the sky.
func (w *twin) lessOffset(p pair, bRA, bDec, tRA, tDec float64) (ra, dec float64) {
	ra, dec = w.sky(p)
	ra, dec = tRA-(bRA-ra), tDec-(bDec-dec)
	if math.Abs(dec) > 90 {
		return ra + 180, math.Copysign(180, dec) - dec
	}
	return ra, dec
}

// ends is section 3: t, p + (t - b), and the map of the target less the offset on the sky.
func (w *twin) ends(poses []pair, bRA, bDec, tRA, tDec float64, asked rig.Side) (intended, believed []pair) {
	onSky := w.keeping == rig.KeptOnSky || w.keeping == rig.KeptUnknown
	ras := []float64{tRA}
	for _, p := range poses {
		if ra, _ := w.lessOffset(p, bRA, bDec, tRA, tDec); onSky {
			ras = append(ras, ra)
		}
	}
	for _, p := range poses {
		for _, first := range w.sides(asked, ras) {
			intended = append(intended, w.lifted(w.axes(w.oursLST, w.oursLat, tRA, tDec, first), p)...)
			if w.keeping != rig.KeptOnSky {
				b := w.nearest(bRA, bDec, p)
				for _, t := range w.lifted(w.axes(w.lst, w.mountLat, tRA, tDec, first), b) {
					believed = append(believed, pair{p[0] + t[0] - b[0], p[1] + t[1] - b[1]})
				}
			}
			if onSky {
				toRA, toDec := w.lessOffset(p, bRA, bDec, tRA, tDec)
				believed = append(believed, w.lifted(w.axes(w.lst, w.mountLat, toRA, toDec, first), p)...)
			}
		}
	}
	return intended, believed
}

func (w *twin) rig() *rig.Rig {
	r := &rig.Rig{Kind: w.kind, Site: rig.Site{Lat: unit.Deg(w.oursLat)}}
	r.Travel = rig.Travel{Low: rig.DegAxes(w.low[0], w.low[1]), High: rig.DegAxes(w.high[0], w.high[1])}
	r.Motion.Way = w.way
	r.Mount = rig.Mount{Sync: w.keeping, Chooses: w.chooses, MeridianDelay: unit.Deg(w.delay), Refracts: w.refracts}
	return r
}

func (w *twin) mountSky(lst, lat float64) rig.MountSky {
	up := func(a unit.Angle) unit.Angle { return a + unit.Deg(w.lift) }
	down := func(a unit.Angle) unit.Angle { return a - unit.Deg(w.lift) }
	return rig.MountSky{Sidereal: unit.Deg(lst), Lat: unit.Deg(lat), Lift: up, Sink: down}
}

func randomTwin(rng *rand.Rand) *twin {
	pick := func(n int) int { return rng.IntN(n) }
	w := &twin{
		kind:    []rig.Kind{rig.German, rig.Fork, rig.AltAzimuth}[pick(3)],
		way:     []rig.WayRound{rig.WithinTravel, rig.Shortest, rig.WayUnknown}[pick(3)],
		keeping: []rig.SyncKeeping{rig.KeptOnAxes, rig.KeptOnSky, rig.KeptUnknown, rig.NotKept}[pick(4)],
		chooses: []rig.SideChoice{rig.AskerChooses, rig.ByHourAngle, rig.AnySide}[pick(3)],
		lat:     rng.Float64()*170 - 85, delay: []float64{0, 0, 5, -10}[pick(4)],
		refracts: pick(2) == 0, lift: 0.2, lst: rng.Float64() * 360, astray: []float64{0, 3}[pick(2)],
	}
	turns := 180 + rng.Float64()*400
	w.low, w.high = pair{-turns, -185}, pair{turns, 185}
	w.mountLat, w.oursLat, w.oursLST = w.lat, w.lat, w.lst
	if pick(2) == 0 { // a wrong clock and site
		w.oursLST = w.lst + rng.Float64()*360
		w.mountLat = math.Copysign(rng.Float64()*85, w.lat)
	}
	return w
}

// The predicted ends are those of the second derivation, none too few and none too many, for every kind of mount, keeping of syncs,
// choice of side and way round, both hemispheres, several turns, false beliefs and wrong clocks.
func TestEndsAgainstTheDesignsText(t *testing.T) {
	rng := rand.New(rand.NewPCG(101, 102))
	believed := 0
	for n := range 4000 {
		w := randomTwin(rng)
		poses := []pair{{rng.Float64()*2*w.high[0] - w.high[0], rng.Float64()*340 - 170}}
		if rng.IntN(3) == 0 {
			poses = append(poses, pair{poses[0][0] + rng.NormFloat64()*30, rng.Float64()*340 - 170})
		}
		bRA, bDec := w.sky(poses[0])
		bRA, bDec = bRA+rng.NormFloat64()*20, math.Max(-89, math.Min(89, bDec+rng.NormFloat64()*10))
		tRA, tDec := rng.Float64()*360, math.Asin(rng.Float64()*2-1)*180/math.Pi
		asked := append([]rig.Side{""}, both(w.kind)...)[rng.IntN(3)]
		g := rig.Going{
			BeliefRA: unit.Deg(bRA), BeliefDec: unit.Deg(bDec), Now: w.mountSky(w.lst, w.mountLat), Then: w.mountSky(w.lst, w.mountLat),
			OursThen: w.mountSky(w.oursLST, w.oursLat), TargetRA: unit.Deg(tRA), TargetDec: unit.Deg(tDec), Side: asked, Astray: rig.DegAxes(w.astray, w.astray),
		}
		for _, p := range poses {
			g.Poses = append(g.Poses, rig.DegAxes(p[0], p[1]))
		}
		got, err := w.rig().Ends(g)
		require.NoError(t, err)
		intended, wrong := w.ends(poses, bRA, bDec, tRA, tDec, asked)
		believed += len(wrong)
		about := fmt.Sprintf("question %d: %+v poses %v belief %.3f %.3f target %.3f %.3f side %q", n, *w, poses, bRA, bDec, tRA, tDec, asked)
		for _, want := range append(intended, wrong...) {
			require.True(t, holds(got, want), "%s\nwant %v among %v", about, want, got)
		}
		for _, e := range got {
			require.True(t, among(append(intended, wrong...), pair{e.Axes.A1.Deg(), e.Axes.A2.Deg()}) || !travelled(w, e), "%s\n%v is not asked for; wanted %v %v", about, e, intended, wrong)
		}
	}
	require.Greater(t, believed, 4000)
}

func both(k rig.Kind) []rig.Side { s := k.Sides(); return s[:] }

// travelled tells whether an end is one that travel lets pass: where no turn lies within it, any will do, for travel refuses it.
func travelled(w *twin, e rig.End) bool {
	a := pair{e.Axes.A1.Deg(), e.Axes.A2.Deg()}
	return a[0] >= w.low[0] && a[0] <= w.high[0] && a[1] >= w.low[1] && a[1] <= w.high[1]
}

func holds(got []rig.End, want pair) bool {
	for _, e := range got {
		if math.Abs(e.Axes.A1.Deg()-want[0]) < 1e-5 && math.Abs(e.Axes.A2.Deg()-want[1]) < 1e-5 {
			return true
		}
	}
	return false
}

func among(all []pair, a pair) bool {
	for _, p := range all {
		if math.Abs(p[0]-a[0]) < 1e-5 && math.Abs(p[1]-a[1]) < 1e-5 {
			return true
		}
	}
	return false
}

// An internal model of unknown state bounds nothing.
func TestEndsOfAModelAreNotBounded(t *testing.T) {
	w := &twin{kind: rig.German, keeping: rig.KeptInModel}
	_, err := w.rig().Ends(rig.Going{Poses: []rig.Axes{{}}})
	assert.ErrorIs(t, err, rig.ErrUnbounded)
}

// The side that a German mount chooses by hour angle: either within half a degree of the change-over, and under the pole, where the rule
// turns over; one of them to the last bit elsewhere. Where the choice may fall at the start or on arrival, the union.
func TestSidesByHourAngle(t *testing.T) {
	r := heron(t)
	for _, c := range []struct {
		hours []float64
		want  []rig.Side
	}{
		{[]float64{0}, []rig.Side{rig.West, rig.East}}, {[]float64{math.Nextafter(0.5, 0)}, []rig.Side{rig.West, rig.East}},
		{[]float64{0.51}, []rig.Side{rig.East}}, {[]float64{-0.51}, []rig.Side{rig.West}}, {[]float64{120}, []rig.Side{rig.East}},
		{[]float64{-179}, []rig.Side{rig.West}}, {[]float64{179.8}, []rig.Side{rig.West, rig.East}}, {[]float64{-179.8}, []rig.Side{rig.West, rig.East}},
		{[]float64{-0.6, 0.6}, []rig.Side{rig.West, rig.East}}, {[]float64{3, 3.4}, []rig.Side{rig.East}},
	} {
		var hours []unit.Angle
		for _, h := range c.hours {
			hours = append(hours, unit.Deg(h))
		}
		assert.Equal(t, c.want, r.SidesFor("", hours...), "hour angles %v", c.hours)
	}
	assert.Equal(t, []rig.Side{rig.East, rig.West}, r.SidesFor(rig.East, unit.Deg(-30)), "the side asked for counts too, and first")
}

// Under the pole a mount that changes late turns over at hour angle 180° or by its delay later, and one that changes early at 180° or before:
// on the other side of 180° the choice is as sure as anywhere.
func TestSidesUnderThePole(t *testing.T) {
	either, east, west := []rig.Side{rig.West, rig.East}, []rig.Side{rig.East}, []rig.Side{rig.West}
	for _, c := range []struct {
		delay, hour float64
		want        []rig.Side
	}{
		{10, 179.4, east}, {10, 172, east}, {10, 179.6, either}, {10, -175, either}, {10, -169.6, either}, {10, -169.4, west},
		{-10, -179.4, west}, {-10, -172, west}, {-10, -179.6, either}, {-10, 175, either}, {-10, 169.6, either}, {-10, 169.4, east},
	} {
		r := *heron(t)
		r.Mount.MeridianDelay = unit.Deg(c.delay)
		assert.Equal(t, c.want, r.SidesFor("", unit.Deg(c.hour)), "hour angle %v°, changing at %v°", c.hour, c.delay)
	}
}

// What a mount goes by stands off by pose less belief: that is the shift of every end by its counters, and of none else.
func TestEndsCarryTheirShift(t *testing.T) {
	r := heron(t)
	sky := rig.MountSky{Sidereal: unit.Deg(40), Lat: r.Site.Lat}
	p := rig.DegAxes(10, 40)
	ra, dec, _ := r.Unmap(sky, p.Add(rig.DegAxes(2, -1)))
	ends, err := r.Ends(rig.Going{Poses: []rig.Axes{p}, BeliefRA: ra, BeliefDec: dec, Now: sky, Then: sky, OursThen: sky, TargetRA: unit.Deg(80), TargetDec: unit.Deg(20)})
	require.NoError(t, err)
	require.Len(t, ends, 2)
	assert.Zero(t, ends[0].Shift)
	assert.InDelta(t, -2, ends[1].Shift.A1.Deg(), 1e-9)
	assert.InDelta(t, 1, ends[1].Shift.A2.Deg(), 1e-9)
	assert.InDelta(t, -2, ends[1].Axes.Sub(ends[0].Axes).A1.Deg(), 1e-9)
}

// The skyline goes in straight lines between its points and over north.
func TestSkylineBetweenPoints(t *testing.T) {
	r := &rig.Rig{}
	assert.Zero(t, r.SkylineAt(unit.Deg(200)), "none")
	for _, p := range []pair{{10, 20}, {100, 5}, {350, 10}} {
		r.Horizon = append(r.Horizon, rig.Skyline{Az: unit.Deg(p[0]), Alt: unit.Deg(p[1])})
	}
	for az, want := range map[float64]float64{10: 20, 55: 12.5, 100: 5, 225: 7.5, 350: 10, 0: 15, 360: 15, -5: 12.5} {
		assert.InDelta(t, want, r.SkylineAt(unit.Deg(az)).Deg(), 1e-9, "azimuth %v", az)
	}
}

// A sync on the sky that takes belief over the pole is told half a turn round. Where belief may mean either side, the end that takes the
// small offset off the target counts beside the one that takes off half a turn.
func TestBeliefTakenOverThePole(t *testing.T) {
	r := *heron(t)
	r.Mount.Sync, r.Mount.Chooses = rig.KeptOnSky, rig.AskerChooses
	m := rig.MountSky{Sidereal: unit.Deg(50), Lat: r.Site.Lat}
	pose := r.Map(m, unit.Deg(20), unit.Deg(89.5), rig.East)
	ends := func(sides ...rig.Side) (off []float64) {
		all, err := r.Ends(rig.Going{
			Poses: []rig.Axes{pose}, BeliefRA: unit.Deg(200), BeliefDec: unit.Deg(89.3), BeliefSides: sides, // half a turn round: 20°, 90.7°
			Now: m, Then: m, OursThen: m, TargetRA: unit.Deg(30), TargetDec: unit.Deg(40), Side: rig.East,
		})
		require.NoError(t, err)
		want := r.Map(m, unit.Deg(30), unit.Deg(40-1.2), rig.East)
		for _, e := range all {
			off = append(off, rig.LiftNear(e.Axes, want).Sub(want).Abs().Max().Deg())
		}
		slices.Sort(off)
		return off
	}
	assert.InDelta(t, 0, ends(rig.East, rig.West)[0], 1e-6, "the true end is among those predicted")
	assert.Greater(t, ends(rig.East)[0], 1.0, "a belief that means one side was not taken over")
}
