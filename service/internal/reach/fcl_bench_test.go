package reach_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// rounds is how often each side of a comparison is timed, in turn; the quickest of each counts, which other work on the machine disturbs least.
const rounds = 5

// quickest times some work.
func quickest(work func()) time.Duration {
	out := time.Duration(math.MaxInt64)
	for range rounds {
		from := time.Now()
		work()
		out = min(out, time.Since(from))
	}
	return out
}

// clock has FCL find the least spare at some poses and says how long it took, without the pipe: the quickest of some rounds.
func (f *second) clock(poses []rig.Axes) time.Duration {
	f.t.Helper()
	out := time.Duration(math.MaxInt64)
	for range rounds {
		out = min(out, f.clockOnce(poses))
	}
	return out
}

func (f *second) clockOnce(poses []rig.Axes) time.Duration {
	f.t.Helper()
	var b strings.Builder
	for _, at := range poses {
		fmt.Fprintf(&b, "%.17g %.17g\n", at.A1.Deg(), at.A2.Deg())
	}
	var ns int64
	var sum float64
	_, err := fmt.Sscan(f.ask("clock 1 %d\n%s", len(poses), strings.TrimSpace(b.String())), &ns, &sum)
	require.NoError(f.t, err)
	return time.Duration(ns)
}

// inTurn times FCL at some poses and works of ours, each once a round, one after the other, so that what else the machine does meets all of them; the
// quickest of each counts.
func inTurn(f *second, poses []rig.Axes, works ...func(at rig.Axes)) (fcl time.Duration, ours []time.Duration) {
	fcl, ours = math.MaxInt64, make([]time.Duration, len(works))
	for round := range 2 * rounds {
		fcl = min(fcl, f.clockOnce(poses))
		for i, work := range works {
			from := time.Now()
			for _, at := range poses {
				work(at)
			}
			if took := time.Since(from); round == 0 || took < ours[i] {
				ours[i] = took
			}
		}
	}
	return fcl, ours
}

// BenchmarkBesideFCL holds this room beside FCL on the same scenes in one run: go test -run xxx -bench BesideFCL -benchtime 1x. Figures are
// ratios, ours to FCL's; what is wanted stands beside them in DEVELOPERS.md.
func BenchmarkBesideFCL(b *testing.B) {
	for _, name := range exampleRigs {
		b.Run(name, func(b *testing.B) {
			r, s := exampleScene(b, name)
			f := newSecond(b, s)
			for b.Loop() {
				gapBeside(b, f, r, s)
				wayBeside(b, f, r, s)
				mapBeside(b, f, s)
			}
		})
	}
}

// gapBeside: the least spare at a pose beside FCL's by trees: to rounding; as a question gets it, within a millimetre or a thirtieth of the gap,
// without and with the grid of a Shelf.
func gapBeside(b *testing.B, f *second, r *rig.Rig, s *rig.Scene) {
	lot := rand.New(rand.NewPCG(30, 63))
	var poses []rig.Axes
	for range 500 {
		poses = append(poses, poseIn(lot, r.Travel))
	}
	p, shelved := reach.New(s), reach.WithGrid(s, s)
	early := 0 // FCL's solver stops too early now and then (scene.cpp), and so finds too much
	for _, at := range poses {
		spare, _ := f.least(at)
		if got := p.Least(at); spare > 0 {
			require.GreaterOrEqual(b, spare, float64(got.Lower)-1e-3, "at %v", at)
			if spare > float64(got.Upper)+1e-3 {
				early++
			}
		}
	}
	require.LessOrEqual(b, early, len(poses)/50, "poses at which FCL finds more than two points of ours are apart")
	b.ReportMetric(float64(early), "fcl_early")
	fcl, ours := inTurn(f, poses, func(at rig.Axes) { p.Least(at) },
		func(at rig.Axes) { p.Prove(reach.Hold(at), rig.Axes{}, reach.DefaultBudget) },
		func(at rig.Axes) { shelved.Prove(reach.Hold(at), rig.Axes{}, reach.DefaultBudget) })
	b.ReportMetric(float64(fcl.Nanoseconds())/float64(len(poses)), "fcl_ns/pose")
	b.ReportMetric(float64(ours[0])/float64(fcl), "gap/fcl")
	b.ReportMetric(float64(ours[1])/float64(fcl), "gap_asked/fcl")
	b.ReportMetric(float64(ours[2])/float64(fcl), "gap_ready/fcl")
}

// wayBeside: proving ways that pass, beside 1,200 FCL samples of each: anew; with the grid of a Shelf that was asked before, which gives the
// least spare too; and by a map that was asked before.
func wayBeside(b *testing.B, f *second, r *rig.Rig, s *rig.Scene) {
	lot := rand.New(rand.NewPCG(31, 63))
	var ways []reach.Way
	var samples []rig.Axes
	cold, ready, m := reach.New(s), reach.WithGrid(s, s), reach.New(s).NewMap()
	for tries := 0; len(ways) < 20 && tries < 1000; tries++ {
		w := reach.WayOf(r.Motion.Sharing, r.Motion, poseIn(lot, r.Travel), poseIn(lot, r.Travel))
		if !cold.Prove(w, rig.Axes{}, reach.DefaultBudget).Passes() {
			continue
		}
		ways = append(ways, w)
		for i := range 1200 {
			samples = append(samples, w.At(w.Seconds()*float64(i)/1199))
		}
	}
	prove := func(p *reach.Prover) time.Duration {
		return quickest(func() {
			for _, w := range ways {
				p.Prove(w, rig.Axes{}, reach.DefaultBudget)
			}
		})
	}
	fcl := f.clock(samples)
	c := prove(cold)
	prove(ready)
	g := prove(ready)
	clears := 0
	clear := func() {
		clears = 0
		for _, w := range ways {
			if m.Clears(w, rig.Axes{}, reach.DefaultBudget) {
				clears++
			}
		}
	}
	clear()
	byMap := quickest(clear)
	b.ReportMetric(float64(clears)/float64(len(ways)), "by_map")
	b.ReportMetric(float64(byMap.Nanoseconds())/1e3/float64(len(ways)), "us/way_map")
	b.ReportMetric(float64(fcl)/float64(byMap), "fcl1200/way_map")
	b.ReportMetric(float64(c.Microseconds())/float64(len(ways)), "us/way")
	b.ReportMetric(float64(g.Microseconds())/float64(len(ways)), "us/way_ready")
	b.ReportMetric(float64(fcl)/float64(c), "fcl1200/way")
	b.ReportMetric(float64(fcl)/float64(g), "fcl1200/way_ready")
}

// mapBeside: the whole map at 0.25° beside FCL at each degree, and the memory of both.
func mapBeside(b *testing.B, f *second, s *rig.Scene) {
	var ns, poses int64
	_, err := fmt.Sscan(f.ask("clockgrid 1"), &ns, &poses)
	require.NoError(b, err)
	ours := quickest(func() { rasterOf(b, s) })
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	raster := rasterOf(b, s)
	runtime.GC()
	runtime.ReadMemStats(&after)
	b.ReportMetric(float64(ours.Milliseconds()), "map_ms")
	b.ReportMetric(float64(ours)/float64(ns), "map/fcl1deg")
	b.ReportMetric(float64(after.HeapAlloc-before.HeapAlloc)/1e6, "map_MB")
	b.ReportMetric(float64(after.TotalAlloc-before.TotalAlloc)/1e6, "map_made_MB")
	var kb float64
	_, err = fmt.Sscan(f.ask("memory"), &kb)
	require.NoError(b, err)
	b.ReportMetric(kb/1e3, "fcl_MB")
	runtime.KeepAlive(raster)
}

// crowded is a scene with each body so many times over, the copies up to 150 mm from where it is: pairs grow as the square.
func crowded(s *rig.Scene, times int) *rig.Scene {
	lot := rand.New(rand.NewPCG(32, 63))
	out := *s
	out.Bodies, out.Pairs = nil, nil
	for i, b := range s.Bodies {
		for n := range times {
			if n > 0 {
				m := frame.Still[frame.Rig]()
				m.T = randomDir(lot).Scale(150 * lot.Float64())
				b.Shape = s.Bodies[i].Shape.Moved(m)
			}
			out.Bodies = append(out.Bodies, b)
		}
	}
	for _, p := range s.Pairs {
		for i := range times {
			for j := range times {
				out.Pairs = append(out.Pairs, rig.Pair{A: p.A*times + i, B: p.B*times + j, Required: p.Required})
			}
		}
	}
	return &out
}

// BenchmarkGrowth tells how the map, the proof of a way and FCL's share grow with parts, resolution and margin, of the practice rig.
func BenchmarkGrowth(b *testing.B) {
	r, s := exampleScene(b, "heron.yaml")
	timed := func(b *testing.B, p *reach.Prover, raster func() *reach.Raster) {
		for b.Loop() {
			b.ReportMetric(float64(quickest(func() { raster() }).Microseconds())/1e3, "map_ms")
			b.ReportMetric(float64(raster().Work), "map_cells")
			lot, took, cells := rand.New(rand.NewPCG(33, 63)), time.Duration(0), 0
			for range 40 {
				w := reach.WayOf(r.Motion.Sharing, r.Motion, poseIn(lot, r.Travel), poseIn(lot, r.Travel))
				took += quickest(func() { cells += p.Prove(w, rig.Axes{}, reach.DefaultBudget).Cells / rounds })
			}
			b.ReportMetric(float64(took.Microseconds())/40, "way_us")
			b.ReportMetric(float64(cells)/40, "way_cells")
		}
	}
	for _, times := range []int{1, 2, 4, 8} {
		many := crowded(s, times)
		b.Run(fmt.Sprintf("parts/%d_bodies_%d_pairs", len(many.Bodies), len(many.Pairs)), func(b *testing.B) {
			p, f := reach.New(many), newSecond(b, many)
			timed(b, p, func() *reach.Raster { return p.NewMap().Raster(reach.RasterBudget, always) })
			var poses []rig.Axes
			for a1 := -180.0; a1 < 180; a1 += 15 {
				for a2 := -180.0; a2 < 180; a2 += 15 {
					poses = append(poses, rig.DegAxes(a1, a2))
				}
			}
			fcl, ours := inTurn(f, poses, func(at rig.Axes) { p.Least(at) })
			b.ReportMetric(float64(fcl)/float64(len(poses))/1e3, "fcl_us/pose")
			b.ReportMetric(float64(ours[0])/float64(len(poses))/1e3, "gap_us/pose")
			b.ReportMetric(float64(ours[0])/float64(fcl), "gap/fcl")
		})
	}
	p := reach.New(s)
	for depth := range reach.MapDepth + 1 {
		b.Run(fmt.Sprintf("cells/%g_deg", 8/float64(int(1)<<depth)), func(b *testing.B) {
			timed(b, p, func() *reach.Raster { return p.NewMap().RasterAt(depth) })
		})
	}
	for _, gap := range []unit.Length{0, 10, 30, 100, 300} {
		wider := *s
		wider.Pairs = slices.Clone(s.Pairs)
		for i := range wider.Pairs {
			wider.Pairs[i].Required = gap
		}
		b.Run(fmt.Sprintf("margin/%g_mm", float64(gap)), func(b *testing.B) {
			p := reach.New(&wider)
			timed(b, p, func() *reach.Raster { return p.NewMap().Raster(reach.RasterBudget, always) })
		})
	}
}
