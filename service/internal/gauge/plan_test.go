package gauge

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

var rigs = []string{"heron", "bittern", "wren"}

func onward() bool { return true }

func (s *Subject) plan() Plan {
	p, err := s.Plan(onward)
	if err != nil {
		panic(err)
	}
	return p
}

func (s *Subject) judge(all []Measured) (Judgement, error) { return s.Judge(all, onward) }

// TestPlansAndJudgementsStopWhereTheyAreTold, wherever that is.
func TestPlansAndJudgementsStopWhereTheyAreTold(t *testing.T) {
	s := described(t, "wren")
	p := planOf(s)
	all := []Measured{{Place: Place{p.Poses[0].At, p.Poses[0].Gaps[0].Parts}, MM: p.Poses[0].Gaps[0].MM + 200}} // which some length is to explain
	asked, most := 0, math.MaxInt
	going := func() bool { asked++; return asked <= most }
	for name, do := range map[string]func() error{
		"plan":  func() error { _, err := s.Plan(going); return err },
		"judge": func() error { _, err := s.Judge(all, going); return err },
	} {
		asked, most = 0, math.MaxInt
		require.NoError(t, do(), name)
		whole := asked
		require.Greater(t, whole, 2*len(s.Lengths), name)
		for _, most = range []int{0, len(s.Lengths), len(s.Lengths) + 1, whole - 1} {
			asked = 0
			assert.ErrorIs(t, do(), ErrStopped, "%s, %d of %d", name, most, whole)
			assert.Equal(t, most+1, asked, "%s: nothing more is done", name)
		}
	}
}

func TestPlanIsTheSameEachTime(t *testing.T) {
	for _, name := range rigs {
		assert.Equal(t, fmt.Sprintf("%+v", planOf(described(t, name))), fmt.Sprintf("%+v", described(t, name).plan()), name)
	}
}

func TestPlansAreWithinTheirBounds(t *testing.T) {
	for _, name := range rigs {
		s := described(t, name)
		p := planOf(s)
		assert.Empty(t, p.Short, name)
		assert.GreaterOrEqual(t, len(p.Poses), Fewest, name)
		assert.LessOrEqual(t, len(p.Poses), mostPoses, name)
		for _, x := range p.Poses {
			assert.NotEmpty(t, x.Gaps, name)
			assert.LessOrEqual(t, len(x.Gaps), mostGaps, name)
			assert.True(t, s.Rig.Travel.Holds(x.At), "%s: %s", name, x.At)
			assert.Equal(t, x.At, x.Way[len(x.Way)-1], name)
			for _, g := range x.Gaps {
				k, ok := s.spotOf(Place{x.At, g.Parts})
				require.True(t, ok)
				assert.InDelta(t, s.gap(k), g.MM, 1e-6, name)
				assert.LessOrEqual(t, g.MM, s.most(k), "%s: %v", name, g.Parts)
				assert.GreaterOrEqual(t, g.MM, float64(leastGap), "%s: %v", name, g.Parts)
			}
		}
	}
}

// Whoever goes the ways of a plan, one axis at a time and anywhere within the creep, comes no nearer than the margins and the room beside them.
func TestWaysOfPlansAreClear(t *testing.T) {
	for _, name := range rigs {
		s := described(t, name)
		p := planOf(s)
		ways := [][]rig.Axes{}
		for _, x := range p.Poses {
			ways = append(ways, x.Way)
		}
		for _, x := range p.Signs {
			ways = append(ways, []rig.Axes{x.At})
		}
		scene := s.Rig.Scene(nil, s.part, s.general)
		for _, way := range ways {
			at := s.Rig.Home
			for _, to := range way {
				d := to.Sub(at)
				assert.True(t, d.A1 == 0 || d.A2 == 0, "%s: %s to %s turns both axes", name, at, to)
				leg := reach.Straight(at, to, s.Rig.Motion)
				for i := range 12 {
					pose := leg.At(leg.Seconds() * float64(i) / 11)
					for _, off := range []rig.Axes{{}, {A1: creep, A2: creep}, {A1: -creep, A2: creep}, {A1: creep, A2: -creep}, {A1: -creep, A2: -creep}} {
						assertClear(t, scene, pose.Add(off), name)
					}
				}
				at = to
			}
		}
	}
}

func assertClear(t *testing.T, scene *rig.Scene, at rig.Axes, name string) {
	t.Helper()
	placed := scene.Place(at)
	for _, p := range scene.Pairs {
		if !solid.AtLeast(placed[p.A], placed[p.B], float64(p.Required)) {
			assert.Fail(t, "not clear", "%s at %s: %s and %s", name, at, scene.Names[scene.Bodies[p.A].Part], scene.Names[scene.Bodies[p.B].Part])
		}
	}
}

// Where nothing is clear there is no plan, and it says so.
func TestNoRoomNoPlan(t *testing.T) {
	s := described(t, "heron")
	s.general = 2000
	p := s.plan()
	assert.Empty(t, p.Poses)
	assert.Contains(t, p.Short, "0 of at least 3 poses")
}

// crowded is the practice rig with so many boxes more on the ground and as many on axis 2, far from each other.
func crowded(t *testing.T, boxes int) *Subject {
	var b strings.Builder
	before, _, _ := strings.Cut(string(practice.HeronFile()), "\nend:")
	b.WriteString(before + "\nparts:\n")
	for _, of := range []struct {
		name, to string
		x, size  int
	}{{"rack", "ground", 5000, 20}, {"rail", "axis 2", 0, 2}} {
		for i := range boxes {
			if i%50 == 0 {
				fmt.Fprintf(&b, "  - name: %s %d\n    fixed_to: %s\n    shapes:\n", of.name, i/50, of.to)
			}
			fmt.Fprintf(&b, "      - box: {centre_mm: [%d, %d, %d], size_mm: [%d, %d, %d]}\n", of.x, i%25*5, 100+i/25, of.size, of.size, of.size)
		}
	}
	content := []byte(b.String() + "end: heron\n")
	r, faults := rig.Parse("heron.yaml", content, nil)
	require.Empty(t, faults)
	return New(r, 10, 10, "heron.yaml", content, nil)
}

// TestManyPairsGetFewerPoses, so that the work is bounded whatever a file holds, and the plan says why it is short. The examples get all of theirs.
func TestManyPairsGetFewerPoses(t *testing.T) {
	for _, name := range rigs {
		s := described(t, name)
		assert.Equal(t, s.grid(), s.looked(), name)
		assert.Equal(t, Budget, s.budget(), name)
	}
	some := crowded(t, 150)
	looked, work := some.looked(), len(some.scene().Pairs)*(len(some.Lengths)+1)
	assert.Less(t, len(looked), len(some.grid()))
	assert.Equal(t, some.grid()[:len(looked)], looked, "the nearest")
	assert.LessOrEqual(t, len(looked)*work, mostDistances)
	assert.Greater(t, (len(looked)+1)*work, mostDistances)

	asked := 0
	many := crowded(t, 900)
	assert.Less(t, many.budget(), reach.Budget(30))
	p, err := many.Plan(func() bool { asked++; return true })
	require.NoError(t, err)
	assert.Zero(t, asked, "nothing is begun that would not end")
	assert.Contains(t, p.Short, "so many shapes and lengths that 0 of 324 poses were looked at")
	assert.Empty(t, p.Poses)
}

func TestLengthsThatNoGapTells(t *testing.T) {
	p := planOf(described(t, "bittern"))
	assert.Contains(t, p.Unseen, "tape.walls.1.height_mm")
	assert.NotContains(t, p.Unseen, "tape.floor_to_crossing_mm")
}

// The way that is proven is clear all about it, as far as home may be out and a person strays, with no more than the margins.
func TestProvenWaysHoldTheCreep(t *testing.T) {
	for name, every := range map[string]int{"heron": 2, "wren": 2} {
		s := described(t, name)
		p, by := s.prover(0), s.Rig.Homing.Sigma.Scale(3).Add(rig.DegAxes(1, 1))
		scene := s.Rig.Scene(nil, s.part, s.general)
		found := 0
		for i, at := range s.grid() {
			way := []rig.Axes(nil)
			if i%every == 0 {
				way = s.way(p, at)
			}
			from := s.Rig.Home
			for _, to := range way {
				leg := reach.Straight(from, to, s.Rig.Motion)
				for n := range 7 {
					pose := leg.At(leg.Seconds() * float64(n) / 6)
					for _, off := range []rig.Axes{by, by.Scale(-1), {A1: by.A1, A2: -by.A2}, {A1: -by.A1, A2: by.A2}} {
						assertClear(t, scene, pose.Add(off), name)
					}
				}
				from = to
				found++
			}
		}
		assert.Greater(t, found, 10, name)
	}
}

// What a length does to a gap is what reading the file again says, of every pair of parts: those whose parts are as they were are left out.
func TestSlopesAreThoseOfTheFile(t *testing.T) {
	s := described(t, "heron")
	v, _ := s.variants(onward)
	pairs := s.pairs()
	at := rig.DegAxes(-45, 30)
	got := v.slopes(at, pairs)
	is := s.read(s.Rig, rig.Axes{}).at(at)
	moved := 0
	for j := range s.Lengths {
		l := &s.Lengths[j]
		again := s.read(l.with(v.step[j])).at(at)
		for i, k := range pairs {
			want := (again.gap(k) - is.gap(k)) / v.step[j]
			assert.InDelta(t, want, got[i][j], 1e-6, "%s: %s and %s", l.Name, s.Rig.Parts[k.a].Name, s.Rig.Parts[k.b].Name)
			if math.Abs(want) > 0.1 {
				moved++
			}
		}
	}
	assert.Greater(t, moved, 100)
}

// TestPlansStayAboveTheFloor: leave is had for every way to a gauge; without a floor some dip far below the horizon.
func TestPlansStayAboveTheFloor(t *testing.T) {
	lowest := func(s *Subject) unit.Angle {
		plan, err := s.Plan(onward)
		require.NoError(t, err)
		require.GreaterOrEqual(t, len(plan.Poses), Fewest)
		low := unit.HalfTurn
		for _, p := range plan.Poses {
			way := reach.Through(rig.Straight, s.Rig.Motion, append([]rig.Axes{s.Rig.Home}, p.Way...)...)
			for k := range 201 {
				_, alt := frame.AzAlt(s.Rig.Chain.Direction(way.At(way.Seconds() * float64(k) / 200)))
				low = min(low, alt)
			}
		}
		return low
	}
	s := described(t, "heron")
	assert.Less(t, lowest(s).Deg(), -20.0)
	s.Floor = unit.Deg(-3)
	assert.GreaterOrEqual(t, lowest(s).Deg(), -3.0)
}
