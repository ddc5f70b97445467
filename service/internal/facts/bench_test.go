package facts_test

import (
	"testing"
	"time"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// BenchmarkCompute times the facts of ordinary questions on the practice rig: a slew by axes on a clear way, a slew by sky with
// tracking, tracking alone, and a sync.
func BenchmarkCompute(b *testing.B) {
	t := &testing.T{}
	r := heron(t)
	star := question.Sky{RA: unit.Deg(38.2), Dec: unit.Deg(61.45), Frame: question.ICRS}
	cases := []struct {
		name string
		in   facts.Input
	}{
		{"slew by axes", standing(t, r, rig.DegAxes(0, 0), rig.Axes{}, axesSlew(rig.DegAxes(-30, 60)))},
		{"slew by sky", standing(t, r, rig.DegAxes(0, 30), rig.Axes{}, question.Action{Kind: question.Slew, Sky: &star})},
		{"slew and track", standing(t, r, rig.DegAxes(0, 30), rig.Axes{}, question.Action{Kind: question.Slew, Sky: &star, Follow: time.Hour})},
		{"track", standing(t, r, rig.DegAxes(-30, 60), rig.Axes{}, question.Action{Kind: question.Track, Follow: time.Hour})},
		{"slew near contact", standing(t, r, rig.DegAxes(0, 0), rig.Axes{}, axesSlew(rig.DegAxes(66.5, -28.55)))},
		{"slew into the tripod", standing(t, r, rig.DegAxes(0, 0), rig.Axes{}, axesSlew(rig.DegAxes(90, 5)))},
		{"sync", solved(t, r, rig.DegAxes(-40, 50), rig.DegAxes(0, 1))},
	}
	shelf := reach.NewShelf()
	for _, c := range cases {
		c.in.Shelf = shelf
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				facts.Compute(c.in)
			}
		})
	}
}
