package solid_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// meets checks that two intervals that bound the same number have one in common.
func meets(t *testing.T, what string, g, h solid.Gap) {
	t.Helper()
	assert.LessOrEqual(t, g.Lower, h.Upper, "%s: [%v, %v] against [%v, %v]", what, g.Lower, g.Upper, h.Lower, h.Upper)
	assert.LessOrEqual(t, h.Lower, g.Upper, "%s: [%v, %v] against [%v, %v]", what, g.Lower, g.Upper, h.Lower, h.Upper)
}

func TestOrderOfTheSolidsDoesNotMatter(t *testing.T) {
	eachPair(long(30), func(_ manner, _ maker, a, b solid.Shape) {
		meets(t, "swapped", solid.Distance(a, b), solid.Distance(b, a))
	})
}

func TestMovingBothChangesNoDistance(t *testing.T) {
	eachPair(long(10), func(_ manner, r maker, a, b solid.Shape) {
		m := frame.Motion[frame.Rig]{R: r.turn(), T: r.at(3000)}
		meets(t, "moved", solid.Distance(a, b), solid.Distance(a.Moved(m), b.Moved(m)))
		var c, d solid.Shape
		solid.Place(&c, &a, &m)
		solid.Place(&d, &b, &m)
		assert.Equal(t, a.Moved(m), c, "Place is Moved")
	})
}

// A thousand small turns there and back: the slack grows with them and covers the drift.
func TestDriftOfManyMovesIsCovered(t *testing.T) {
	r := newMaker(1, 1)
	for _, i := range kinds {
		a, b := r.random(i, r.at(1500), 500), r.random(solid.BoxKind, r.at(1500), 500)
		g := solid.Distance(a, b)
		point, axis := r.at(1000), r.dir()
		moved := a
		for k := range 1000 {
			turn := frame.Turning(point, axis, unit.Deg(float64(k%7)))
			back := frame.Turning(point, axis, unit.Deg(-float64(k%7)))
			moved = moved.Moved(turn).Moved(back)
		}
		h := solid.Distance(moved, b)
		meets(t, i.String(), g, h)
		assert.Less(t, h.Upper-h.Lower, g.Upper-g.Lower+1e-7, "%s: width after 2000 moves", i)
	}
}

func TestDistanceOfPartsIsDistanceOfTheWhole(t *testing.T) {
	least := func(g, h solid.Gap) solid.Gap {
		return solid.Gap{Lower: min(g.Lower, h.Lower), Upper: min(g.Upper, h.Upper)}
	}
	for _, other := range kinds {
		r := newMaker(7, uint64(other))
		for range long(150) {
			b := r.random(other, r.at(1500), 400)
			cut := r.Float64()
			from, to := r.at(800), r.at(800)
			mid := from.Add(to.Sub(from).Scale(cut))
			ra, rb := 300*r.Float64(), 300*r.Float64()
			rm := ra + (rb-ra)*cut
			turn, half, centre := r.turn(), at(400*r.Float64(), 300*r.Float64(), 200*r.Float64()), r.at(800)
			x := turn.Apply(at(1, 0, 0)).Scale(half.X)
			points := make([]solid.Point, 12)
			for i := range points {
				points[i] = r.at(600)
			}
			for _, c := range []struct {
				name              string
				whole, one, other solid.Shape
			}{
				{"capsule", must(solid.Capsule(from, to, ra)), must(solid.Capsule(from, mid, ra)), must(solid.Capsule(mid, to, ra))},
				{"cylinder", must(solid.Cylinder(from, to, ra)), must(solid.Cylinder(from, mid, ra)), must(solid.Cylinder(mid, to, ra))},
				{"frustum", must(solid.Frustum(from, to, ra, rb)), must(solid.Frustum(from, mid, ra, rm)), must(solid.Frustum(mid, to, rm, rb))},
				{
					"box", must(solid.Box(centre, turn, half)),
					must(solid.Box(centre.Sub(x.Scale(1-cut)), turn, at(half.X*cut, half.Y, half.Z))),
					must(solid.Box(centre.Add(x.Scale(cut)), turn, at(half.X*(1-cut), half.Y, half.Z))),
				},
			} {
				g := solid.Distance(c.whole, b)
				if g.Lower <= 1e-6 {
					continue // overlapping parts have depths of their own
				}
				parts := least(solid.Distance(c.one, b), solid.Distance(c.other, b))
				assert.InDelta(t, g.Lower, parts.Lower, 1e-6, "%s cut in two, to %s", c.name, b)
				assert.InDelta(t, g.Upper, parts.Upper, 1e-6, "%s cut in two, to %s", c.name, b)
			}
			// The hull of fewer points is smaller.
			all, some := solid.Distance(must(solid.Hull(points)), b), solid.Distance(must(solid.Hull(points[:6])), b)
			assert.LessOrEqual(t, all.Lower, some.Upper, "hull of fewer points is nearer to %s", b)
		}
	}
}

func TestTriangleInequality(t *testing.T) {
	for _, i := range kinds {
		for _, j := range kinds {
			r := newMaker(9, uint64(10*i+j))
			for range long(60) {
				a, b := r.random(i, r.at(1500), 300), r.random(j, r.at(1500), 300)
				p := sphere(r.at(1500), 0)
				ab, ap, pb := solid.Distance(a, b), solid.Distance(a, p), solid.Distance(p, b)
				if ap.Lower >= 0 && pb.Lower >= 0 {
					assert.LessOrEqual(t, ab.Lower, ap.Upper+pb.Upper, "%s to %s by way of %s", a, b, p)
				}
			}
		}
	}
}

func TestGrowingBringsNearerByAsMuch(t *testing.T) {
	for _, j := range kinds {
		r := newMaker(11, uint64(j))
		for range long(150) {
			b := r.random(j, r.at(1000), 400)
			from, to, radius, more := r.at(1000), r.at(1000), 200*r.Float64(), 300*r.Float64()
			thin, thick := solid.Distance(must(solid.Capsule(from, to, radius)), b), solid.Distance(must(solid.Capsule(from, to, radius+more)), b)
			assert.LessOrEqual(t, thick.Lower, thin.Upper-more+1e-9)
			assert.GreaterOrEqual(t, thick.Upper, thin.Lower-more-1e-9)
			cyl, wide := solid.Distance(must(solid.Cylinder(from, to, radius)), b), solid.Distance(must(solid.Cylinder(from, to, radius+more)), b)
			assert.LessOrEqual(t, wide.Lower, cyl.Upper, "a wider cylinder is no further off")
			assert.GreaterOrEqual(t, wide.Upper, cyl.Lower-more-1e-9, "nor nearer by more than it grew")
			points := []solid.Point{from, to, r.at(1000), r.at(1000), r.at(1000)}
			bare, grown := solid.Distance(must(solid.Hull(points)), b), solid.Distance(must(solid.GrownHull(points, more)), b)
			assert.LessOrEqual(t, grown.Lower, bare.Upper-more+1e-9)
			assert.GreaterOrEqual(t, grown.Upper, bare.Lower-more-1e-9)
		}
	}
}

// AtLeast is the same as asking Distance, but where the bounds leave it open: there it may only say no.
func TestAtLeastAgreesWithDistance(t *testing.T) {
	eachPair(long(20), func(m manner, r maker, a, b solid.Shape) {
		g := solid.Distance(a, b)
		size := math.Abs(g.Upper) + 1
		for _, want := range []float64{
			g.Lower - 1e-3*size, g.Lower - 1e-7, g.Lower + r.NormFloat64()*size, g.Upper + 1e-9*size, g.Upper + size, 0, 20, math.Inf(1), math.Inf(-1),
		} {
			got := solid.AtLeast(a, b, want)
			assert.False(t, got && want > g.Upper, "%s: %s to %s: at least %v, but it is in [%v, %v]", m, a, b, want, g.Lower, g.Upper)
			assert.False(t, !got && want < g.Lower-1e-6*size, "%s: %s to %s: not at least %v, but it is in [%v, %v]", m, a, b, want, g.Lower, g.Upper)
		}
		assert.False(t, solid.AtLeast(a, b, math.NaN()), "at least NaN")
		assert.LessOrEqual(t, solid.Along(a, b, g.Way), g.Upper)
		assert.InDelta(t, g.Lower, solid.Along(a, b, g.Way), 1e-9*size, "the way proves the bound")
		assert.LessOrEqual(t, solid.Along(a, b, r.dir().Scale(r.Float64()+0.5)), g.Upper, "any way gives a bound")
	})
}

// A hull keeps what its points reach: leaving out those inside moves no support and no distance.
func TestPointsInsideAHullDoNotMatter(t *testing.T) {
	r := newMaker(13, 1)
	for n := range long(8) {
		points := make([]solid.Point, 400)
		for i := range points {
			switch n % 4 {
			case 0: // a ball, full
				points[i] = r.at(300)
			case 1: // a plate of whole coordinates, many of them double, on edges or inside
				points[i] = at(float64(r.IntN(9)), float64(r.IntN(9)), 7)
			case 2: // the skin of a tube
				a := 2 * math.Pi * float64(r.IntN(24)) / 24
				points[i] = at(50*math.Cos(a), 50*math.Sin(a), 300*r.Float64())
			case 3: // a needle
				points[i] = at(1, 2, 3).Scale(r.Float64())
			}
			points[i] = points[i].Add(at(100, 200, 300))
		}
		hull := must(solid.Hull(points))
		all := body{kind: solid.HullKind, points: points}
		for range 200 {
			u := r.dir()
			assert.LessOrEqual(t, all.extent(u), hull.SupportDistance(u)+1e-12, "support")
			assert.InDelta(t, all.extent(u), hull.SupportDistance(u), 1e-9, "support")
		}
		assert.Less(t, len(hull.Points()), 300, "points kept of 400 in %s", hull)
	}
}
