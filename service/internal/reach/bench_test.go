package reach_test

import (
	"testing"

	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// germanOnTripod is an invented rig of a dozen bodies: a German equatorial on a tripod at 46° north, with a tube of 800 mm.
func germanOnTripod(required unit.Length) *rig.Scene {
	crossing := point{Z: 1200}
	chain := rig.NewChain(rig.German, unit.Deg(46), rig.Tilt{}, crossing, 0)
	ground := func(s solid.Shape) rig.Body { return rig.Body{Link: rig.Ground, Shape: s} }
	on := func(link rig.Link, s solid.Shape) rig.Body { return rig.Body{Link: link, Shape: s} }
	along := func(from point, dir point, mm float64) point { return from.Add(dir.Scale(mm)) }
	hub, saddle := point{Z: 950}, along(crossing, chain.Dir2, 260)
	weights := along(crossing, chain.Dir2, -330)
	front, back := along(saddle, chain.Tube, 480), along(saddle, chain.Tube, -320)
	bodies := []rig.Body{
		ground(must(solid.Box(point{Z: -10}, identity(), point{X: 3000, Y: 3000, Z: 10}))),
		ground(must(solid.Capsule(hub, point{Y: 600}, 25))),
		ground(must(solid.Capsule(hub, point{X: 520, Y: -300}, 25))),
		ground(must(solid.Capsule(hub, point{X: -520, Y: -300}, 25))),
		ground(must(solid.Cylinder(point{Z: 900}, point{Z: 1000}, 90))),
		on(rig.OnAxis1, must(solid.Cylinder(along(crossing, chain.Dir1, 140), along(crossing, chain.Dir1, -120), 60))),
		on(rig.OnAxis2, must(solid.Capsule(crossing, weights, 12))),
		on(rig.OnAxis2, must(solid.Cylinder(weights, along(weights, chain.Dir2, 90), 70))),
		on(rig.OnAxis2, must(solid.Cylinder(front, back, 62))),
		on(rig.OnAxis2, must(solid.Cylinder(along(front, chain.Tube, 150), front, 75))),
		on(rig.OnAxis2, must(solid.Box(along(back, chain.Tube, -90), identity(), point{X: 60, Y: 60, Z: 60}))),
		on(rig.OnAxis2, must(solid.Capsule(along(front, chain.Dir2, 110), along(back, chain.Dir2, 110), 30))),
	}
	return scene(chain, bodies, required, func(a, b rig.Body) bool { return b.Link-a.Link == 1 })
}

var usual = rig.Motion{RateDeg: [2]float64{4, 4}, AccelDeg: [2]float64{4, 4}}

func benchmark(b *testing.B, sharing rig.Sharing, from, to rig.Axes, spread rig.Axes, wantPass bool) {
	p := reach.New(germanOnTripod(30))
	way := reach.WayOf(sharing, usual, from, to)
	b.ReportAllocs()
	var r reach.Result
	for b.Loop() {
		r = p.Prove(way, spread, reach.DefaultBudget)
	}
	b.ReportMetric(float64(r.Cells), "cells")
	b.ReportMetric(float64(r.Lower), "spare_mm")
	if r.Passes() != wantPass {
		b.Fatalf("got %+v, want passes %v", r, wantPass)
	}
}

// A slew across the sky, tube east.
func BenchmarkClearSlewStraight(b *testing.B) {
	benchmark(b, rig.Straight, rig.DegAxes(-60, 40), rig.DegAxes(-10, 90), rig.Axes{}, true)
}

func BenchmarkClearSlewProfiles(b *testing.B) {
	benchmark(b, rig.Independent, rig.DegAxes(-60, 40), rig.DegAxes(-10, 90), rig.Axes{}, true)
}

func BenchmarkClearSlewSpread(b *testing.B) {
	benchmark(b, rig.Independent, rig.DegAxes(-60, 40), rig.DegAxes(-10, 90), rig.DegAxes(1, 1), true)
}

func BenchmarkClearSlewAttested(b *testing.B) {
	benchmark(b, rig.Independent, rig.DegAxes(-60, 40), rig.DegAxes(-10, 90), rig.DegAxes(3.5, 3.5), true)
}

func BenchmarkClearSlewRectangle(b *testing.B) {
	benchmark(b, rig.AnyOrder, rig.DegAxes(-60, 40), rig.DegAxes(-10, 90), rig.Axes{}, true)
}

// Past the meridian the tube comes down beside a leg.
func BenchmarkNearContact(b *testing.B) {
	benchmark(b, rig.Independent, rig.DegAxes(-60, 40), rig.DegAxes(20, 110), rig.DegAxes(1, 1), true)
}

func BenchmarkIntoTheTripod(b *testing.B) {
	benchmark(b, rig.Independent, rig.DegAxes(-60, 40), rig.DegAxes(95, 155), rig.DegAxes(1, 1), false)
}

func BenchmarkNewProver(b *testing.B) {
	s := germanOnTripod(30)
	for b.Loop() {
		reach.New(s)
	}
}

// Twelve hours of tracking.
func BenchmarkTracking(b *testing.B) {
	p := reach.New(germanOnTripod(30))
	for b.Loop() {
		p.Touches(reach.Uniform(rig.DegAxes(-60, 70), rig.DegAxes(120, 70), 43200), rig.DegAxes(1, 1), reach.DefaultBudget)
	}
}
