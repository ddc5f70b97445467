package solid_test

import (
	"fmt"
	"math"
	"math/rand/v2"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// The seven ways of making a solid; with the kind alone a frustum and a disc would be one.
var kinds = []solid.Kind{
	solid.SphereKind, solid.CapsuleKind, solid.CylinderKind, solid.FrustumKind, solid.BoxKind, solid.HullKind,
}

// manner is how the pairs of a scene are made: each is a known trouble of distance algorithms.
type manner int

const (
	ordinary manner = iota // anything anywhere
	lattice                // whole coordinates, axes along x, y, z: parallel, coplanar, coaxial, touching exactly
	tilted                 // as lattice, turned by 1e-9 to 1e-3 radians: nearly parallel
	thin                   // some or all sizes zero
	unequal                // sizes from 1e-3 to 1e4 mm
	nested                 // one inside the other
	touching               // pushed together until they touch to rounding
	grazing                // pushed together until 1e-9 to 1e-1 mm remain, or are overlapped
	distant                // both 100 km from the origin
	manners                // how many
)

func (m manner) String() string {
	return [...]string{"ordinary", "lattice", "tilted", "thin", "unequal", "nested", "touching", "grazing", "distant"}[m]
}

// maker draws solids.
type maker struct{ *rand.Rand }

func newMaker(a, b uint64) maker { return maker{rand.New(rand.NewPCG(a, b))} }

func (r maker) dir() solid.Point {
	return solid.Point{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Unit()
}

func (r maker) at(size float64) solid.Point { return r.dir().Scale(size * r.Float64()) }

func (r maker) turn() solid.Turn {
	return frame.About(r.dir(), unit.Angle(2*math.Pi*r.Float64()))
}

// log draws from low to high, even in the logarithm.
func (r maker) log(low, high float64) float64 { return low * math.Pow(high/low, r.Float64()) }

// must panics: the makers of this file give only what makes a solid.
func must(s solid.Shape, err error) solid.Shape {
	if err != nil {
		panic(err)
	}
	return s
}

// draw makes a solid of a kind with sizes and axis given by two functions.
func (r maker) draw(k solid.Kind, at solid.Point, size func() float64, dir func() solid.Point, turn func() solid.Turn) solid.Shape {
	half := dir().Scale(max(size(), 1e-3))
	switch k {
	case solid.SphereKind:
		return must(solid.Sphere(at, size()))
	case solid.CapsuleKind:
		return must(solid.Capsule(at.Sub(half), at.Add(half), size()))
	case solid.CylinderKind:
		return must(solid.Cylinder(at.Sub(half), at.Add(half), size()))
	case solid.FrustumKind:
		if r.IntN(4) == 0 {
			return must(solid.Disc(at, half, size()))
		}
		return must(solid.Frustum(at.Sub(half), at.Add(half), size(), size()))
	case solid.BoxKind:
		return must(solid.Box(at, turn(), solid.Point{X: size(), Y: size(), Z: size()}))
	case solid.HullKind:
		t := turn()
		points := make([]solid.Point, 0, 8)
		for range 1 + r.IntN(8) {
			p := dir()
			p = solid.Point{X: p.X * size(), Y: p.Y * size(), Z: p.Z * size()}
			points = append(points, at.Add(t.Apply(p)))
		}
		return must(solid.GrownHull(points, float64(r.IntN(3)/2)*size()))
	case solid.NoKind:
	}
	panic(fmt.Sprint("no maker for ", k))
}

// random makes an ordinary solid.
func (r maker) random(k solid.Kind, at solid.Point, size float64) solid.Shape {
	return r.draw(k, at, func() float64 { return size * (0.02 + r.Float64()) }, r.dir, r.turn)
}

// whole makes a solid with whole sizes and axes along x, y, z.
func (r maker) whole(k solid.Kind) solid.Shape {
	at := solid.Point{X: float64(r.IntN(9) - 4), Y: float64(r.IntN(9) - 4), Z: float64(r.IntN(9) - 4)}
	dir := func() solid.Point {
		return []solid.Point{{X: 1}, {Y: 1}, {Z: 1}, {X: -1}, {Y: -1}, {Z: -1}}[r.IntN(6)]
	}
	if k == solid.HullKind {
		dir = func() solid.Point {
			return solid.Point{X: float64(r.IntN(3) - 1), Y: float64(r.IntN(3) - 1), Z: float64(r.IntN(3) - 1)}
		}
	}
	return r.draw(k, at, func() float64 { return float64(r.IntN(4)) }, dir, frame.Identity[frame.Rig])
}

// pair makes two solids in a manner.
func (r maker) pair(m manner, i, j solid.Kind) (a, b solid.Shape) {
	switch m {
	case ordinary:
		return r.random(i, r.at(1500), 500), r.random(j, r.at(1500), 500)
	case lattice:
		return r.whole(i), r.whole(j)
	case tilted:
		about := frame.Turning(r.at(3), r.dir(), unit.Angle(r.log(1e-9, 1e-3)))
		return r.whole(i), r.whole(j).Moved(about)
	case thin:
		size := func() float64 {
			if r.IntN(3) > 0 {
				return 0
			}
			return 300 * r.Float64()
		}
		return r.draw(i, r.at(500), size, r.dir, r.turn), r.draw(j, r.at(500), size, r.dir, r.turn)
	case unequal:
		size := func() float64 { return r.log(1e-3, 1e4) }
		return r.draw(i, r.at(100), size, r.dir, r.turn), r.draw(j, r.at(3000), size, r.dir, r.turn)
	case nested:
		return r.random(i, r.at(1), 1000), r.random(j, r.at(50), r.log(1, 100))
	case touching, grazing:
		a, b = r.random(i, r.at(1500), 500), r.random(j, r.at(1500), 500)
		g := solid.Distance(a, b)
		if g.Lower <= 0 {
			return a, b
		}
		push := g.A.Sub(g.B)
		if m == grazing {
			push = push.Scale(1 + []float64{-1, 1}[r.IntN(2)]*r.log(1e-9, 1e-1)/push.Norm())
		}
		return a, b.Moved(solid.Motion{R: frame.Identity[frame.Rig](), T: push})
	case distant:
		off := r.dir().Scale(1e8)
		return r.random(i, off.Add(r.at(1500)), 500), r.random(j, off.Add(r.at(1500)), 500)
	case manners:
	}
	panic(fmt.Sprint("no manner ", int(m)))
}
