package reach_test

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

type point = frame.Vec[frame.Rig]

// All rigs here are invented.

// must returns a shape made of good numbers.
func must(s solid.Shape, err error) solid.Shape {
	if err != nil {
		panic(err)
	}
	return s
}

// scene puts bodies together; every pair of different links counts, but for those that skip tells.
func scene(chain rig.Chain, bodies []rig.Body, required unit.Length, skip func(a, b rig.Body) bool) *rig.Scene {
	s := &rig.Scene{Chain: &chain, Bodies: bodies}
	for i := range bodies {
		bodies[i].Part = i
		s.Names = append(s.Names, string(rune('a'+i%26)))
	}
	for i, a := range bodies {
		for j, b := range bodies {
			if a.Link < b.Link && (skip == nil || !skip(a, b)) {
				s.Pairs = append(s.Pairs, rig.Pair{A: i, B: j, Required: required})
			}
		}
	}
	return s
}

func randomDir(r *rand.Rand) point {
	return point{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Unit()
}

// randomShape makes a solid of any kind, flat and zero-size ones among them.
func randomShape(r *rand.Rand, at point, size float64) solid.Shape {
	l := func() float64 {
		if r.IntN(12) == 0 {
			return 0
		}
		return size * (0.05 + r.Float64())
	}
	h := randomDir(r).Scale(size * (0.05 + 1.5*r.Float64()))
	switch r.IntN(7) {
	case 0:
		return must(solid.Sphere(at, l()))
	case 1:
		return must(solid.Capsule(at.Add(h), at.Sub(h), l()/4))
	case 2:
		return must(solid.Cylinder(at.Add(h), at.Sub(h), l()/2))
	case 3:
		return must(solid.Frustum(at.Add(h), at.Sub(h), l()/2, l()/2))
	case 4:
		return must(solid.Disc(at, h, l()))
	case 5:
		return must(solid.Box(at, frame.About(randomDir(r), unit.Angle(r.Float64()*6)), point{X: l(), Y: l() / 2, Z: l() / 4}))
	}
	var points []point
	for range 1 + r.IntN(9) {
		points = append(points, at.Add(randomDir(r).Scale(l())))
	}
	return must(solid.Hull(points))
}

// randomShapes of one link stand about a place.
func randomBodies(r *rand.Rand, link rig.Link, n int, about point, far, size float64, shape func(*rand.Rand, point, float64) solid.Shape) []rig.Body {
	var out []rig.Body
	for range n {
		at := about.Add(randomDir(r).Scale(far * r.Float64()))
		out = append(out, rig.Body{Link: link, Shape: shape(r, at, size*r.Float64())})
	}
	return out
}

// randomScene is a rig of any kind with parts on all links, whose axes need not cross.
func randomScene(r *rand.Rand, shape func(*rand.Rand, point, float64) solid.Shape) *rig.Scene {
	kind := []rig.Kind{rig.German, rig.Fork, rig.AltAzimuth}[r.IntN(3)]
	tilt := rig.Tilt{East: unit.Deg(3 * r.NormFloat64()), Up: unit.Deg(3 * r.NormFloat64())}
	point1 := point{Z: 500 + 1500*r.Float64()}
	chain := rig.NewChain(kind, unit.Deg(178*r.Float64()-89), tilt, point1, unit.Length(150*r.NormFloat64()))
	ground := randomBodies(r, rig.Ground, 1+r.IntN(4), point1, 2500, 500, shape)
	bodies := append(ground, randomBodies(r, rig.OnAxis1, 1+r.IntN(3), chain.Point2, 500, 250, shape)...)
	bodies = append(bodies, randomBodies(r, rig.OnAxis2, 1+r.IntN(4), chain.Point2, 900, 350, shape)...)
	return scene(chain, bodies, unit.Length(60*r.Float64()), func(a, b rig.Body) bool {
		return b.Link-a.Link == 1 && r.IntN(3) > 0 // many neighbours always touch
	})
}

func randomPose(r *rand.Rand, deg float64) rig.Axes {
	return rig.DegAxes((2*r.Float64()-1)*deg, (2*r.Float64()-1)*deg)
}

func randomMotion(r *rand.Rand) rig.Motion {
	m := rig.Motion{}
	for i := range 2 {
		m.RateDeg[i], m.AccelDeg[i] = 0.5+5*r.Float64(), 0.3+5*r.Float64()
	}
	return m
}

var sharings = []rig.Sharing{rig.Straight, rig.Independent, rig.Axis1First, rig.Axis2First, rig.AnyOrder}

// stretch is one leg of a journey.
type stretch struct {
	sharing  rig.Sharing
	from, to rig.Axes
}

// journey is a way as it was asked for, so that sampling need not ask the room under test where it goes within a rectangle.
type journey struct {
	way  reach.Way
	legs []stretch
}

func newJourney(m rig.Motion, legs ...stretch) journey {
	j := journey{legs: legs}
	var ways []reach.Way
	for _, l := range legs {
		ways = append(ways, reach.WayOf(l.sharing, m, l.from, l.to))
	}
	j.way = reach.Chain(ways...)
	return j
}

// randomJourney has one to three legs of any manner, or stays where it is.
func randomJourney(r *rand.Rand) journey {
	at := randomPose(r, 400)
	if r.IntN(10) == 0 {
		return journey{way: reach.Hold(at), legs: []stretch{{rig.Straight, at, at}}}
	}
	var legs []stretch
	for range 1 + r.IntN(5)/3 {
		to := at.Add(randomPose(r, math.Pow(10, 2.3*r.Float64())))
		if r.IntN(8) == 0 {
			to.A2 = at.A2
		}
		legs = append(legs, stretch{sharings[r.IntN(len(sharings))], at, to})
		at = to
	}
	return newJourney(randomMotion(r), legs...)
}

// samples returns poses of a journey with its spread, many of them on its edges: what is driven in time, and anywhere within the
// rectangle of a leg whose order is not known.
func (j *journey) samples(r *rand.Rand, spread rig.Axes, n int) []rig.Axes {
	var out []rig.Axes
	for i := range n {
		at := j.way.At(j.way.Seconds() * float64(i) / float64(n-1))
		if l := j.legs[r.IntN(len(j.legs))]; l.sharing == rig.AnyOrder {
			d := l.to.Sub(l.from)
			at = l.from.Add(rig.Axes{A1: d.A1 * edgy(r), A2: d.A2 * edgy(r)})
		}
		out = append(out, at.Add(rig.Axes{A1: spread.A1 * (2*edgy(r) - 1), A2: spread.A2 * (2*edgy(r) - 1)}))
	}
	return out
}

// edgy returns a number in [0, 1], often an end.
func edgy(r *rand.Rand) unit.Angle { return unit.Angle(min(max(1.6*r.Float64()-0.3, 0), 1)) }

func randomSpread(r *rand.Rand) rig.Axes {
	switch r.IntN(4) {
	case 0:
		return randomPose(r, 4).Abs()
	case 1:
		return randomPose(r, 0.5).Abs()
	}
	return rig.Axes{}
}

// least returns the smallest spare of a scene at a pose, at most.
func least(s *rig.Scene, at rig.Axes) float64 {
	placed := s.Place(at)
	out := math.Inf(1)
	for _, p := range s.Pairs {
		a, b, required := placed[p.A], placed[p.B], float64(p.Required)
		ca, ra := a.Ball()
		cb, rb := b.Ball()
		if ca.Sub(cb).Norm()-ra-rb-required < out { // else another pair is nearer
			out = min(out, solid.Distance(a, b).Upper-required)
		}
	}
	return out
}

// fewer is a count, and an eighth of it under the race detector: it is ten times slower, and nothing here runs at once.
func fewer(n int) int {
	if underRace {
		return max(n/8, 1)
	}
	return n
}

func long() bool { return os.Getenv("KEEPCLEAR_LONG") == "1" }

// seeds runs a test over seeds, many where long runs are wanted, and a fifth of the few under the race detector: it is ten times slower, and
// nothing here runs at once.
func seeds(t *testing.T, few, many int, run func(r *rand.Rand, seed uint64)) {
	t.Helper()
	n := few
	switch {
	case long():
		n = many
	case underRace:
		n = few / 5
	}
	for seed := range uint64(n) {
		run(rand.New(rand.NewPCG(seed, 63)), seed)
		if t.Failed() {
			require.FailNow(t, "stopped at the first failure", "seed %d", seed)
		}
	}
}

func identity() solid.Turn { return frame.Identity[frame.Rig]() }
