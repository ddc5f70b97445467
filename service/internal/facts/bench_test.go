package facts_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/pointing"
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

// BenchmarkSyncAfterManySolves holds the facts of a sync, by a model that learnt from 500 solves and beside the 64 that are kept, against
// gonum's direct least squares of as many: 8 terms, two equations a solve, priors as rows (its QR alone, equations ready).
func BenchmarkSyncAfterManySolves(b *testing.B) {
	const learnt, kept = 500, 64
	t := &testing.T{}
	r := heron(t)
	in := solved(t, r, rig.DegAxes(-40, 50), rig.DegAxes(0, 0.05))
	in.Shelf = reach.NewShelf()
	g := rand.New(rand.NewPCG(1, 1))
	mount := pointing.MountOf(r)
	var truth pointing.Fit
	for i := range truth.Terms {
		truth.Terms[i] = unit.Arcmin(g.NormFloat64())
	}
	model := pointing.New(mount, rig.Axes{})
	for i := range learnt {
		pose := rig.DegAxes(160*g.Float64()-80, 20+120*g.Float64())
		v := truth.At(mount, pose)
		model = model.Learnt(mount, pose, rig.DegAxes(0.02, 0.02), v.Sight)
		if i < learnt-kept {
			continue
		}
		in.Snapshot.Rig.Solves = append(in.Snapshot.Rig.Solves, question.JudgedSolve{
			RequestID: fmt.Sprintf("q-%016d", i), At: evening.Add(time.Duration(i-learnt) * time.Minute), Mid: evening.Add(time.Duration(i-learnt) * time.Minute),
			Picture: fmt.Sprintf("earlier-%d", i), Optics: "main", Blind: true, Verdict: question.Accepted, Pose: pose, Solved: pose, Good: true, Agreed: true,
			Sky: &question.Sky{RA: unit.Deg(360 * g.Float64()), Dec: unit.Deg(60 * g.Float64()), Frame: question.ICRS}, Field: unit.Deg(1.79),
			Rotation: ptr(unit.Deg(90)), Camera: ptr(unit.Deg(90)), Pixel: ptr(unit.Arcsec(1.55)), Mirrored: ptr(false),
		})
	}
	in.Snapshot.Rig.Pointing = map[string]pointing.Model{"main": model}
	require.Contains(b, facts.Compute(in).Facts, "offset_d2")
	b.Run("facts of a sync", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			facts.Compute(in)
		}
	})
	rows, seen := mat.NewDense(2*learnt+len(truth.Terms), len(truth.Terms), nil), mat.NewVecDense(2*learnt+len(truth.Terms), nil)
	n, m := rows.Dims()
	for i := range n {
		seen.SetVec(i, g.NormFloat64())
		for j := range m {
			rows.Set(i, j, g.NormFloat64())
		}
	}
	b.Run("500 solves at once by gonum", func(b *testing.B) {
		x := mat.NewVecDense(m, nil)
		for b.Loop() {
			if err := x.SolveVec(rows, seen); err != nil {
				b.Fatal(err)
			}
		}
	})
}
