package facts_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

func creep(by rig.Axes) question.Action {
	rate := unit.Deg(0.3)
	return question.Action{Kind: question.Creep, Axes: &by, Rate: &rate}
}

// gapsAt are the gaps of all pairs of a scene less what they must keep, at a pose.
func gapsAt(s *rig.Scene, at rig.Axes) []float64 {
	placed, out := s.Place(at), make([]float64, len(s.Pairs))
	for i, q := range s.Pairs {
		out[i] = solid.Distance(placed[q.A], placed[q.B]).Upper - float64(q.Required)
	}
	return out
}

// TestNeverATrap: from poses inside a margin of the practice rig, where no slew is clear, the way out is named: a creep along which dense looking
// finds no gap too small that shrinks, and from whose end every margin is kept.
func TestNeverATrap(t *testing.T) {
	r := heron(t)
	scene := r.Scene(nil, 10, 10)
	p := reach.New(scene)
	spread := rig.DegAxes(0.06, 0.06).Add(r.Motion.Overrun)
	inside, out := 0, 0
	for a1 := -90.0; a1 <= 90; a1 += 6 {
		for a2 := -170.0; a2 <= 170; a2 += 6 {
			at := rig.DegAxes(a1, a2)
			res := p.Prove(reach.Hold(at), rig.Axes{}, reach.DefaultBudget)
			if !r.Travel.Holds(at) || !res.Fails() || res.Upper < -35 { // 15 mm deep in contact is no pose of a real rig
				continue
			}
			inside++
			got := facts.Compute(standing(t, r, at, rig.Axes{}, axesSlew(r.Home)))
			if len(got.Instead) == 0 || got.Instead[0].Steps[0].Kind != question.Creep {
				continue
			}
			out++
			by := *got.Instead[0].Steps[0].Axes
			c := facts.Compute(standing(t, r, at, rig.Axes{}, creep(by)))
			assert.LessOrEqual(t, number(t, c.Facts, "closing_mm_per_deg"), 0.02)
			assert.True(t, p.Prove(reach.Hold(at.Add(by)), spread, reach.DefaultBudget).Passes(), "margins are kept at the end")
			before := gapsAt(scene, at)
			for k := 1.0; k <= 20; k++ {
				now := gapsAt(scene, at.Add(by.Scale(k/20)))
				for i := range now {
					if before[i] < 0 && before[i] > -15 {
						require.GreaterOrEqual(t, now[i], before[i]-0.01, "%v by %v, pair %d", at, by, i)
					} else if before[i] >= 0 {
						require.GreaterOrEqual(t, now[i], -0.01)
					}
				}
				before = now
			}
		}
	}
	t.Logf("%d of %d", out, inside)
	assert.Greater(t, inside, 10)
	assert.Greater(t, float64(out), 0.9*float64(inside))
}

// TestLessWorkNeverOpens: of a creep that closes, a smaller work budget leaves that unknown at most.
func TestLessWorkNeverOpens(t *testing.T) {
	in := standing(t, heron(t), rig.DegAxes(-72, 22), rig.Axes{}, creep(rig.DegAxes(-1, 0)))
	in.Snapshot.Rig.Pose.Candidates[0].Sigma, in.Proposes = rig.DegAxes(0.5, 0.5), false
	closes, unknown := 0, 0
	for cells := 1; cells < 20_000; cells += 1 + cells/3 {
		in.Cells = cells
		f := facts.Compute(in).Facts
		if f["closing_mm_per_deg"].Number == nil {
			unknown++
			continue
		}
		closes++
		assert.Greater(t, number(t, f, "closing_mm_per_deg"), 0.02, "%d cells", cells)
	}
	assert.Positive(t, closes)
	assert.Positive(t, unknown)
}

// TestEveryWayOutIsNamed: the shortest first, each axis and way once; in the place of a creep that closes too, and not of one that opens.
func TestEveryWayOutIsNamed(t *testing.T) {
	r, at := heron(t), rig.DegAxes(-84, 10)
	named := func(a question.Action) (out []rig.Axes) {
		for _, series := range facts.Compute(standing(t, r, at, rig.Axes{}, a)).Instead {
			if first := series.Steps[0]; first.Kind == question.Creep {
				out = append(out, *first.Axes)
			}
		}
		return out
	}
	ways := named(axesSlew(r.Home))
	require.Len(t, ways, 2, "with axis 2 over the leg, and with axis 1 away from it")
	for i := range ways[1:] {
		assert.LessOrEqual(t, ways[i].Abs().Max(), ways[i+1].Abs().Max())
	}
	assert.Equal(t, ways, named(creep(ways[0].Scale(-1))))
	assert.Empty(t, named(creep(ways[0])))
	below := standing(t, r, at, rig.Axes{}, creep(ways[0]))
	high := defaults()
	high["sky/floor altitude_deg"] = 89
	below.Limits = high
	assert.NotEmpty(t, facts.Compute(below).Instead, "one that opens but goes below the floor: the other way may not")

	in := standing(t, r, rig.DegAxes(76, -25), rig.Axes{}, axesSlew(r.Home)) // touching
	in.Snapshot.Rig.Pose.Candidates[0].Sigma = rig.DegAxes(5, 5)
	got := facts.Compute(in)
	assert.Empty(t, got.Instead)
	said := fmt.Sprint(got.Notes)
	assert.Regexp(t, `one would be if axis 1 were known to ±[0-9.]+° \(a sigma of ([0-9.]+)°\) and axis 2 to ±[0-9.]+°|one would be if axis . alone were known to`, said, "where none is proven what would help is said")
	creeps := standing(t, r, rig.DegAxes(76, -25), rig.Axes{}, creep(rig.DegAxes(-10, 0)))
	creeps.Snapshot.Rig.Pose.Candidates[0].Sigma, creeps.Cells, creeps.Proposes = rig.DegAxes(1, 1), 100, false
	lacking := facts.Compute(creeps).Facts["closing_mm_per_deg"]
	assert.Nil(t, lacking.Number)
	assert.Equal(t, "homing", lacking.Need, "waiting would not help")
}

// TestStatedByAPerson: from poses inside a margin or touching, stated to 3° and off by up to two, a way out is named, and along it, wherever the rig
// stands within 3°, no gap shrinks that is too small.
func TestStatedByAPerson(t *testing.T) {
	r := heron(t)
	scene, rnd := r.Scene(nil, 10, 10), rand.New(rand.NewPCG(3, 3))
	named, asked := 0, 0
	anywhere := func(by float64) rig.Axes { return rig.DegAxes(by*(2*rnd.Float64()-1), by*(2*rnd.Float64()-1)) }
	for asked < 12 {
		stands := rig.DegAxes(97*(2*rnd.Float64()-1), 180*(2*rnd.Float64()-1))
		spare, gap := spareAndGap(scene, stands)
		if spare >= 0 || gap < -1 || gap > 15 {
			continue
		}
		asked++
		in := standing(t, r, stands.Add(anywhere(2)), rig.Axes{}, axesSlew(r.Home))
		in.Snapshot.Rig.Pose.Candidates[0].Sigma = rig.DegAxes(1, 1)
		got := facts.Compute(in)
		if len(got.Instead) == 0 || got.Instead[0].Steps[0].Kind != question.Creep {
			continue
		}
		named++
		by, at := *got.Instead[0].Steps[0].Axes, in.Snapshot.Rig.Pose.Candidates[0].Axes
		for range 30 {
			from := at.Add(anywhere(3)).Add(by.Scale(rnd.Float64()))
			before, after := gapsAt(scene, from), gapsAt(scene, from.Add(by.Scale(1e-3)))
			for i, was := range before {
				if was < -0.01 && was+float64(scene.Pairs[i].Required) > 0.12 {
					require.GreaterOrEqual(t, after[i], was-0.021*by.Abs().Max().Deg()*1e-3, "%v by %v, pair %d", from, by, i)
				}
			}
		}
	}
	t.Logf("%d of %d", named, asked)
	assert.Greater(t, named, 10)
}

// TestWayOutTurnsWhatHelps: what turns with axis 1 as a whole comes no nearer when axis 1 turns, and leads nowhere. Where no creep ends with every margin kept
// the one that is named makes room.
func TestWayOutTurnsWhatHelps(t *testing.T) {
	h := heron(t)
	i := slices.IndexFunc(h.Parts, func(p rig.Part) bool { return p.Name == "dew shield" })
	require.GreaterOrEqual(t, i, 0)
	shield := h.Parts[i].Shapes[0]
	off := func(ball solid.Shape, deg float64) float64 { // how far the shield is from a ball, axis 2 at that angle
		moved, link := shield, h.Chain.Link2(rig.DegAxes(0, deg))
		solid.Place(&moved, &shield, &link)
		return solid.Distance(ball, moved).Lower
	}
	for _, way := range []float64{1, -1} {
		beside := func(seen, gap float64) solid.Shape { // the nearest ball beyond an angle that is so far off there
			for deg := 0.0; deg < 60; deg += 0.02 {
				link := h.Chain.Link2(rig.DegAxes(0, seen+way*deg))
				ball, err := solid.Sphere(link.Point(shield.Centre()), 40)
				require.NoError(t, err)
				if off(ball, seen) >= gap {
					return ball
				}
			}
			require.Fail(t, "nowhere")
			return solid.Shape{}
		}
		near := beside(60-way*2.5, 29)
		way = -way
		ahead := beside(60+way*6, 31)
		r := *h
		r.Parts = append(slices.Clone(h.Parts), rig.Part{Name: "near", Link: rig.OnAxis1, Shapes: []solid.Shape{near}}, rig.Part{Name: "ahead", Link: rig.OnAxis1, Shapes: []solid.Shape{ahead}})
		in := standing(t, &r, rig.DegAxes(0, 60), rig.Axes{}, axesSlew(r.Home))
		in.Snapshot.Rig.Pose.Candidates[0].Sigma = rig.DegAxes(0.5, 0.5)
		got := facts.Compute(in)
		require.Len(t, got.Instead, 1, "%v", got.Notes)
		by := *got.Instead[0].Steps[0].Axes
		assert.Zero(t, by.A1)
		assert.Positive(t, by.A2.Deg()*way, "away from what is near")
	}
}

// TestOverrunIsOfTheEndOfACreep: the rig rests where a creep starts, on both axes, so that what it would close by farther back counts for nothing. It runs
// over the end: what it would come near there counts.
func TestOverrunIsOfTheEndOfACreep(t *testing.T) {
	h := heron(t)
	i := slices.IndexFunc(h.Parts, func(p rig.Part) bool { return p.Name == "dew shield" })
	require.GreaterOrEqual(t, i, 0)
	shield := h.Parts[i].Shapes[0]
	ball := func(at rig.Axes, name string) rig.Part {
		s, err := solid.Sphere(h.Chain.Link2(at).Point(shield.Centre()), 40)
		require.NoError(t, err)
		return rig.Part{Name: name, Link: rig.Ground, Shapes: []solid.Shape{s}}
	}
	gap := func(p rig.Part, deg float64) float64 {
		moved, link := shield, h.Chain.Link2(rig.DegAxes(0, deg))
		solid.Place(&moved, &shield, &link)
		return solid.Distance(p.Shapes[0], moved).Lower
	}
	where := func(at func(deg float64) rig.Axes, seen, wanted float64) rig.Part { // the first place at which the gap seen is that wide
		for deg := 0.0; deg < 60; deg += 0.02 {
			if p := ball(at(deg), "ball"); gap(p, seen) >= wanted {
				return p
			}
		}
		require.Fail(t, "nowhere")
		return rig.Part{}
	}
	aside := where(func(deg float64) rig.Axes { return rig.DegAxes(deg, 30) }, 30, 15) // 15 mm off where axis 2 stands at 30°
	aside.Name = "aside"
	near := 25.0 // where it is passed nearest
	for deg := near; deg < 40; deg += 0.02 {
		if gap(aside, deg) < gap(aside, near) {
			near = deg
		}
	}
	ahead := where(func(deg float64) rig.Axes { return rig.DegAxes(0, near+deg) }, near+3.5, 30.01) // 30 mm off, as it must be, where it stands 3.5° farther on
	ahead.Name = "ahead"
	closing := func(from, by, over float64, parts ...rig.Part) float64 {
		r := *h
		r.Parts = append(slices.Clone(h.Parts), parts...)
		r.Motion.Overrun = rig.DegAxes(over, over)
		in := standing(t, &r, rig.DegAxes(0, from), rig.Axes{}, creep(rig.DegAxes(0, by)))
		in.Snapshot.Rig.Pose.Candidates[0].Sigma = rig.DegAxes(0.01, 0.01)
		return number(t, facts.Compute(in).Facts, "closing_mm_per_deg")
	}
	for _, over := range []float64{0, 1} {
		assert.LessOrEqual(t, closing(near+0.5, 2.5, over, aside), 0.02, "overrun %v", over)
		assert.LessOrEqual(t, closing(near-0.5, -2.5, over, aside), 0.02, "overrun %v", over)
	}
	assert.LessOrEqual(t, closing(near+0.5, 2.5, 0, aside, ahead), 0.02, "it ends short of what is ahead")
	assert.Greater(t, closing(near+0.5, 2.5, 1, aside, ahead), 0.02, "over its end it comes nearer to that than it may")
}

// TestWhatIsSettledWhenAskedIsNamed: the look for a way out may take as much as the creep itself when it is asked for.
func TestWhatIsSettledWhenAskedIsNamed(t *testing.T) {
	r := heron(t)
	p := reach.New(r.Scene(nil, 10, 10))
	for _, stands := range []rig.Axes{rig.DegAxes(77.37, 155.28), rig.DegAxes(-74.44, 26.98)} { // drawn by lot, of those of which a look takes long
		at := func(action question.Action, cells int) facts.Outcome {
			in := standing(t, r, stands, rig.Axes{}, action)
			in.Snapshot.Rig.Pose.Candidates[0].Sigma, in.Cells = rig.DegAxes(1, 1), cells
			return facts.Compute(in)
		}
		got := at(axesSlew(r.Home), int(reach.DefaultBudget))
		require.Len(t, got.Instead, 1)
		by := *got.Instead[0].Steps[0].Axes
		took := p.Creeps(stands, by, rig.DegAxes(3, 3), 0.02*180/math.Pi, reach.DefaultBudget).Cells
		require.Greater(t, took, 400) // of a small budget other things run out first
		scarce := 7 * took
		require.NotNil(t, at(creep(by), scarce).Facts["closing_mm_per_deg"].Number, "%v by %v is settled", stands, by)
		assert.NotEmpty(t, at(axesSlew(r.Home), scarce).Instead, "%v by %v, %d cells", stands, by, scarce)
	}
}

// spareAndGap are the least spare and the least gap of a scene at a pose.
func spareAndGap(s *rig.Scene, at rig.Axes) (spare, gap float64) {
	spare, gap = math.Inf(1), math.Inf(1)
	for i, left := range gapsAt(s, at) {
		spare, gap = min(spare, left), min(gap, left+float64(s.Pairs[i].Required))
	}
	return spare, gap
}
