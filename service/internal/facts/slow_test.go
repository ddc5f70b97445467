package facts_test

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// This file holds facts against a slow evaluator: a mount that does what the design says that mounts do, played step by step from a pose
// somewhere within its uncertainty, with a start somewhere within the time that leave waits, every pose looked at by plain comparison. No
// fact may promise more than any such play shows.

// example reads one of the example rigs.
func example(t *testing.T, name string) *rig.Rig {
	t.Helper()
	dir := "../../../testdata/rigs/"
	content, err := os.ReadFile(dir + name)
	require.NoError(t, err)
	r, bad := rig.Parse(name, content, func(file string) ([]byte, error) { return os.ReadFile(dir + file) })
	require.NotNil(t, r, "%v", bad)
	return r
}

// played is one play of a question.
type played struct {
	rng   *rand.Rand
	in    facts.Input
	r     *rig.Rig
	from  rig.Axes // where the rig truly is
	off   rig.Axes // belief less pose
	wait  float64  // seconds from the question to the start
	scene *rig.Scene
}

func newPlay(rng *rand.Rand, in facts.Input, off rig.Axes, scene *rig.Scene) *played {
	c := in.Snapshot.Rig.Pose.Candidates[0]
	wild := func(s unit.Angle) unit.Angle { return s * unit.Angle(rng.Float64()*6-3) }
	from := c.Axes.Add(rig.Axes{A1: wild(c.Sigma.A1), A2: wild(c.Sigma.A2)})
	return &played{rng: rng, in: in, r: in.Rig, from: from, off: off, wait: rng.Float64() * 10, scene: scene}
}

// sky is what the mount (here right about clock and site) goes by at a time.
func (p *played) sky(seconds float64) rig.MountSky {
	m, err := moment(evening.Add(time.Duration(seconds * float64(time.Second))))
	if err != nil {
		panic(err)
	}
	air := p.r.Air()
	return rig.MountSky{Sidereal: m.SiderealTime(p.r.Site.Lon), Lat: p.r.Site.Lat, Lift: air.Observed, Sink: air.True}
}

// end is where the mount's program sends it, arriving at a time; and what it then believes less where it is.
func (p *played) end(a question.Action, arrival float64, pick float64) (rig.Axes, bool) {
	p0 := p.in.Snapshot.Rig.Pose.Candidates[0].Axes
	wild := p.from.Sub(p0)
	switch {
	case a.Kind == question.Jog:
		return p.from.Add(*a.Axes), true
	case a.Kind == question.Home:
		return p.r.Home.Add(wild), p.r.Homing.By == rig.BySensor
	case a.Kind == question.Track:
		return p.from, true
	case a.Axes != nil:
		return a.Axes.Add(wild), true
	}
	ra, dec := a.Sky.RA, a.Sky.Dec // of date in these questions
	now, then := p.sky(0), p.sky(arrival)
	b := p0.Add(p.off)
	sides := p.r.SidesFor(a.Side, then.Sidereal-ra)
	side := sides[int(pick*float64(len(sides)))]
	if p.r.Mount.Sync == rig.KeptOnSky || p.r.Mount.Sync == rig.KeptUnknown && p.rng.IntN(2) == 0 {
		bRA, bDec, _ := p.r.Unmap(now, b)
		pRA, pDec, _ := p.r.Unmap(now, p0)
		ra, dec = ra-(bRA-pRA), dec-(bDec-pDec)
		if dec.Abs() > unit.HalfTurn/2 {
			ra, dec = ra+unit.HalfTurn, unit.Angle(math.Copysign(math.Pi, float64(dec)))-dec
		}
		turns := p.r.Lifts(p.r.Map(then, ra, dec, side), p0)
		return turns[int(pick*float64(len(turns)))].Add(wild), true
	}
	turns := p.r.Lifts(p.r.Map(then, ra, dec, side), b)
	return p.from.Add(turns[int(pick*float64(len(turns)))].Sub(b)), true
}

// trapezoid is how far an axis has come after a time (Lynch & Park, Modern Robotics 2017, section 9.2.2.2).
func trapezoid(whole, rate, accel, t float64) float64 {
	ramp := math.Min(rate/accel, math.Sqrt(whole/accel))
	top := accel * ramp
	total := ramp + whole/math.Max(top, 1e-300)
	switch {
	case whole == 0 || t >= total:
		return whole
	case t < ramp:
		return accel * t * t / 2
	case t > total-ramp:
		return whole - accel*(total-t)*(total-t)/2
	}
	return accel*ramp*ramp/2 + top*(t-ramp)
}

func trapezoidTime(whole, rate, accel float64) float64 {
	ramp := math.Min(rate/accel, math.Sqrt(whole/accel))
	if whole == 0 {
		return 0
	}
	return ramp + whole/(accel*ramp)
}

// poses plays a motion in steps, in the manner of its sharing, and tells how long it takes.
func (p *played) poses(to rig.Axes, sharing rig.Sharing, steps int) ([]rig.Axes, float64) {
	m, d := p.r.Motion, to.Sub(p.from)
	w1, w2 := d.A1.Abs().Deg(), d.A2.Abs().Deg()
	t1, t2 := trapezoidTime(w1, m.RateDeg[0], m.AccelDeg[0]), trapezoidTime(w2, m.RateDeg[1], m.AccelDeg[1])
	lean := math.Exp(p.rng.NormFloat64())
	var out []rig.Axes
	for i := range steps + 1 {
		s := float64(i) / float64(steps)
		var one, two float64
		switch sharing {
		case rig.Straight:
			one, two = s, s
		case rig.Axis1First:
			one, two = math.Min(1, 2*s), math.Max(0, 2*s-1)
		case rig.Axis2First:
			one, two = math.Max(0, 2*s-1), math.Min(1, 2*s)
		case rig.AnyOrder:
			one, two = math.Pow(s, lean), math.Pow(s, 1/lean)
		default:
			t := s * math.Max(t1, t2)
			one = trapezoid(w1, m.RateDeg[0], m.AccelDeg[0], t) / math.Max(w1, 1e-12)
			two = trapezoid(w2, m.RateDeg[1], m.AccelDeg[1], t) / math.Max(w2, 1e-12)
		}
		out = append(out, p.from.Add(rig.Axes{A1: d.A1 * unit.Angle(one), A2: d.A2 * unit.Angle(two)}))
	}
	if sharing == rig.Independent || sharing == rig.Straight {
		return out, math.Max(t1, t2)
	}
	return out, t1 + t2
}

// spare is the least gap at a pose less what the pair must keep.
func (p *played) spare(at rig.Axes) float64 {
	placed, least := p.scene.Place(at), math.Inf(1)
	for _, q := range p.scene.Pairs {
		least = math.Min(least, solid.Distance(placed[q.A], placed[q.B]).Upper-float64(q.Required))
	}
	return least
}

func (p *played) altitude(at rig.Axes) float64 {
	_, alt := frame.AzAlt(p.r.Chain.Direction(at))
	return alt.Deg()
}

// toSun is the angle to a Sun that is up; 180° from one that is down.
func (p *played) toSun(t *testing.T, at rig.Axes, seconds float64) float64 {
	m, err := moment(evening.Add(time.Duration(seconds * float64(time.Second))))
	require.NoError(t, err)
	sun := frame.Vec[frame.Rig](m.SunFrom(place(t, p.r)))
	if _, alt := frame.AzAlt(sun); alt.Deg() < -0.83 {
		return 180
	}
	return p.r.Chain.Direction(at).Angle(sun).Deg()
}

// atMost asserts that a fact, where it is a number, is no greater than what was seen.
func atMost(t *testing.T, f facts.Set, name string, seen float64, about ...any) {
	t.Helper()
	if v := f[name].Number; v != nil && *v > seen+1e-6 {
		t.Errorf("%s = %v, but a play shows %v: %v", name, *v, seen, about)
	}
}

func atLeast(t *testing.T, f facts.Set, name string, seen float64, about ...any) {
	t.Helper()
	if v := f[name].Number; v != nil && *v < seen-1e-6 {
		t.Errorf("%s = %v, but a play shows %v: %v", name, *v, seen, about)
	}
}

// hold holds the facts of a question against one play.
func (p *played) hold(t *testing.T, out facts.Outcome, a question.Action) {
	arrival, pick := p.wait, p.rng.Float64()
	sharing := p.r.Motion.Sharing
	if a.Kind == question.Home {
		sharing = p.r.Homing.Order
	}
	var way []rig.Axes
	for range 3 {
		to, ok := p.end(a, arrival, pick)
		if !ok {
			return
		}
		var took float64
		way, took = p.poses(to, sharing, 16)
		arrival = p.wait + took
	}
	f := out.Facts
	for i, at := range way {
		share := float64(i) / 16
		atMost(t, f, "clearance_spare_mm", p.spare(at), a, at)
		atMost(t, f, "altitude_min_deg", p.altitude(at), a, at)
		atLeast(t, f, "altitude_max_deg", p.altitude(at), a, at)
		atMost(t, f, "axis1_travel_min_deg", at.A1.Deg(), a)
		atMost(t, f, "axis2_travel_min_deg", at.A2.Deg(), a)
		atLeast(t, f, "axis1_travel_max_deg", at.A1.Deg(), a)
		atLeast(t, f, "axis2_travel_max_deg", at.A2.Deg(), a)
		if i%8 == 0 {
			atMost(t, f, "sun_separation_deg", p.toSun(t, at, p.wait+share*(arrival-p.wait)), a, at)
		}
	}
	if follow := a.Follow.Seconds(); follow > 0 {
		p.track(t, f, way[len(way)-1], arrival)
	}
}

// track follows the sky from an end, with a dither at each step, and holds the tracking facts against what is seen.
func (p *played) track(t *testing.T, f facts.Set, at rig.Axes, arrival float64) {
	bound := func(name string) float64 {
		if v := f[name].Number; v != nil {
			return *v
		}
		return 0
	}
	lost := math.Inf(1)
	if v, ok := f["zenith_in_s"]; ok {
		lost = *v.Number
	}
	start := at
	last := math.Min(lost, 86400)
	for n := range 24 {
		s := last * float64(n) / 24 * p.rng.Float64()
		at = start.Add(rig.Axes{A1: unit.Angle(s) * question.SiderealRate})
		if p.r.Kind == rig.AltAzimuth {
			at = p.ownCourse(start, arrival, s)
		}
		sine := math.Max(0.05, p.r.Chain.Direction(at).Angle(p.r.Chain.Dir1).Sin())
		box := func() unit.Angle { return facts.DitherBox * unit.Angle(p.rng.Float64()*2-1) }
		at = at.Add(rig.Axes{A1: box() / unit.Angle(sine), A2: box()})
		if s < bound("margin_in_s")-1e-3 {
			assert.GreaterOrEqual(t, p.spare(at), -1e-6, "tracking %.0f s of %.0f s: %v", s, bound("margin_in_s"), at)
		}
		if s < bound("travel_in_s")-1e-3 {
			tr := p.r.Travel
			assert.True(t, at.A1 <= tr.High.A1 && at.A1 >= tr.Low.A1 && at.A2 <= tr.High.A2 && at.A2 >= tr.Low.A2, "tracking %.0f s of %.0f s: %v", s, bound("travel_in_s"), at)
		}
		if s < bound("horizon_in_s")-1 {
			assert.GreaterOrEqual(t, p.altitude(at), -3.001, "tracking %.0f s of %.0f s: %v", s, bound("horizon_in_s"), at)
		}
		if s < bound("sun_in_s")-1 {
			assert.GreaterOrEqual(t, p.toSun(t, at, arrival+s), 29.99, "tracking %.0f s of %.0f s: %v", s, bound("sun_in_s"), at)
		}
	}
}

// ownCourse is where an alt-azimuth's own map takes it, step by step from an end.
func (p *played) ownCourse(start rig.Axes, arrival, s float64) rig.Axes {
	off := p.off
	if p.r.Mount.Sync == rig.KeptOnSky {
		off = rig.Axes{}
	}
	b := start.Add(off)
	ra, dec, side := p.r.Unmap(p.sky(arrival), b)
	at := b
	for k := 1; k <= 200; k++ {
		at = rig.LiftNear(p.r.Map(p.sky(arrival+s*float64(k)/200), ra, dec, side), at)
	}
	return at.Sub(off)
}

// asked is a random question for a rig.
func asked(rng *rand.Rand, r *rig.Rig) question.Action {
	within := func(low, high unit.Angle) unit.Angle { return low + unit.Angle(rng.Float64())*(high-low) }
	to := rig.Axes{A1: within(r.Travel.Low.A1, r.Travel.High.A1), A2: within(r.Travel.Low.A2, r.Travel.High.A2)}
	star := question.Sky{RA: unit.Deg(rng.Float64() * 360), Dec: unit.Angle(math.Asin(rng.Float64()*2 - 1)), Frame: question.OfDate}
	follow := time.Duration(0)
	if rng.IntN(20) == 0 {
		follow = time.Hour
	}
	switch rng.IntN(8) {
	case 0:
		return question.Action{Kind: question.Home}
	case 1, 2:
		by := to.Scale(0.2)
		return question.Action{Kind: question.Jog, Axes: &by}
	case 3, 4:
		return question.Action{Kind: question.Slew, Axes: &to}
	}
	return question.Action{Kind: question.Slew, Sky: &star, Follow: follow}
}

// plays is how many questions each rig is asked: 4 times 510 by default.
func plays() int {
	if os.Getenv("KEEPCLEAR_LONG") != "" {
		return 25_000
	}
	return 510
}

// No fact is on the unsafe side of what a play of the motion shows: German mounts of both hemispheres, a fork, an alt-azimuth, every
// sharing of a motion, every keeping of syncs, right beliefs and false ones, sharp poses and vague ones, at rest and following the sky.
func TestNoFactPromisesMoreThanAPlayShows(t *testing.T) {
	sharings := []rig.Sharing{rig.Straight, rig.Independent, rig.Axis1First, rig.Axis2First, rig.AnyOrder}
	keepings := []rig.SyncKeeping{rig.KeptOnAxes, rig.KeptOnSky, rig.KeptUnknown, rig.NotKept}
	for _, name := range []string{"heron", "curlew", "wren", "bittern"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			base := heron(t)
			if name != "heron" {
				base = example(t, name+".yaml")
			}
			rng := rand.New(rand.NewPCG(uint64(len(name)), 77))
			scene := base.Scene(nil, 10, 10)
			numbers := 0
			for range plays() {
				r := *base
				r.Motion.Sharing = sharings[rng.IntN(len(sharings))]
				r.Mount.Sync = keepings[rng.IntN(len(keepings))]
				a := asked(rng, &r)
				pose := rig.Axes{A1: r.Travel.Low.A1 + unit.Angle(rng.Float64())*(r.Travel.High.A1-r.Travel.Low.A1), A2: r.Travel.Low.A2 + unit.Angle(rng.Float64())*(r.Travel.High.A2-r.Travel.Low.A2)}
				off := rig.DegAxes(rng.NormFloat64(), rng.NormFloat64()).Scale([]float64{0, 0, 1, 10}[rng.IntN(4)])
				in := standing(t, &r, pose, off, a)
				in.Cells = 2000
				if rng.IntN(2) == 0 {
					in.Snapshot.Rig.Pose.Candidates[0].Sigma = rig.DegAxes(rng.Float64(), rng.Float64()).Scale(0.5)
				}
				out := facts.Compute(in)
				if out.Facts["clearance_spare_mm"].Number != nil {
					numbers++
				}
				newPlay(rng, in, off, scene).hold(t, out, a)
				if t.Failed() {
					t.Fatalf("rig %s, pose %v, belief off by %v, sharing %s, keeping %s, action %+v", name, pose, off, r.Motion.Sharing, r.Mount.Sync, a)
				}
			}
			assert.Greater(t, numbers, plays()/2, "most questions have a proven clearance")
		})
	}
}
