package inspect_test

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/inspect"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
)

var update = flag.Bool("update", false, "write testdata/rigs/*.found.txt anew")

const rigs = "../../../testdata/rigs/"

// read reads a rig with changes: what stands, what stands there instead, and so on.
func read(t testing.TB, path string, changes ...string) *rig.Rig {
	t.Helper()
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	in := string(content)
	for i := 0; i < len(changes); i += 2 {
		require.Contains(t, in, changes[i])
		in = strings.Replace(in, changes[i], changes[i+1], 1)
	}
	r, faults := rig.Parse(filepath.Base(path), []byte(in), func(name string) ([]byte, error) { return os.ReadFile(rigs + name) })
	require.Empty(t, faults)
	return r
}

func heron(t testing.TB, changes ...string) *rig.Rig {
	return read(t, "../practice/heron.yaml", changes...)
}

// examples are the example rigs; of those whose map takes long none under the race detector, which finds nothing in what runs by itself.
func examples(t testing.TB) []*rig.Rig {
	out := []*rig.Rig{read(t, rigs+"wren.yaml"), read(t, rigs+"bittern.yaml")}
	if !underRace {
		out = append(out, heron(t), read(t, rigs+"curlew.yaml"))
	}
	return out
}

var defaults = inspect.Asked{PartMM: 10, GeneralMM: 10, ResidualMM: 10, FloorDeg: -3, Budget: inspect.Budget}

func going() bool { return true }

// stopped leaves what needs no map.
func stopped() bool { return false }

// of are the finds of one kind.
func of(kind rig.FindKind, all []rig.Find) (out []rig.Find) {
	for _, f := range all {
		if f.Kind == kind {
			out = append(out, f)
		}
	}
	return out
}

// TestWhatIsFoundInTheExamples holds the words to files, which a person has read.
func TestWhatIsFoundInTheExamples(t *testing.T) {
	t.Parallel()
	for _, r := range examples(t) {
		got, file := rig.SayFinds(inspect.Look(r, defaults, going)), rigs+r.ID+".found.txt"
		if *update {
			require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
		}
		want, err := os.ReadFile(file)
		require.NoError(t, err)
		assert.Equal(t, string(want), got, "%s; go test ./service/internal/inspect -update writes it anew", file)
	}
}

// TestWideTravelTakesLittleRoom: the widest that a file may state has 75 million cells, none of which a look keeps. Not parallel: it counts bytes.
func TestWideTravelTakesLittleRoom(t *testing.T) {
	r := read(t, rigs+"wren.yaml", "axis1_deg: [-100, 100]", "axis1_deg: [-1080, 1080]", "axis2_deg: [-95, 60]", "axis2_deg: [-1080, 1080]")
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	found := inspect.Look(r, defaults, going)
	runtime.ReadMemStats(&after)
	assert.NotEmpty(t, of(rig.WideTravel, found))
	assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(16<<20), "bytes handed out")
}

// TestManyPairsAreGoneThroughOnce, and a look at them ends where it is told to: 300 boxes on the ground and as many on axis 2 are 90,000 pairs of shapes.
func TestManyPairsAreGoneThroughOnce(t *testing.T) {
	var b strings.Builder
	b.WriteString("\nparts:\n")
	for _, of := range []struct{ name, to string }{{"rack", "ground"}, {"rail", "axis 2"}} {
		for i := range 300 {
			if i%50 == 0 {
				fmt.Fprintf(&b, "  - name: %s %d\n    fixed_to: %s\n    shapes:\n", of.name, i/50, of.to)
			}
			fmt.Fprintf(&b, "      - box: {centre_mm: [%d, %d, %d], size_mm: [2, 2, 2]}\n", len(of.to)*100, i%25*5, 100+i/25)
		}
	}
	r := heron(t, "\nend:", b.String()+"end:")
	asked := 0
	look := func(going int) []rig.Find {
		asked = 0
		far := defaults
		far.ResidualMM = 1000 // more than any margins
		return inspect.Look(r, far, func() bool { asked++; return asked <= going })
	}
	found := look(0)
	assert.Equal(t, 1, asked)
	assert.Len(t, of(rig.NotKnown, found), 1)
	assert.Empty(t, of(rig.SmallMargin, found), "what was not gone through is not told of")
	assert.NotEmpty(t, of(rig.SmallMargin, look(1)), "one word for so many pairs")
}

// TestTravelWiderThanWhatIsClear: by how much at which end, and what is in the way; narrowed to what is told, nothing is.
func TestTravelWiderThanWhatIsClear(t *testing.T) {
	t.Parallel()
	wide := of(rig.WideTravel, inspect.Look(heron(t), defaults, going))
	require.Len(t, wide, 1)
	f := wide[0]
	assert.Equal(t, "travel_from_home.axis1_deg", f.Key)
	assert.Equal(t, 42, f.Line)
	assert.False(t, f.Info)
	var low, high, less, more float64
	_, err := fmt.Sscanf(f.Words, "travel is wider than what is clear: [-97.5, 97.5], of which [%g, %g] is clear all over; %g° too far at the low end (south-east leg and camera), %g° too far", &low, &high, &less, &more)
	require.NoError(t, err, f.Words)
	assert.InDelta(t, 97.5, -low+less, 1e-6, "the three as printed add up")
	assert.InDelta(t, 97.5, high+more, 1e-6, "the three as printed add up")
	narrow := func(low, high float64) []rig.Find {
		r := heron(t, "axis1_deg: [-97.5, 97.5]", fmt.Sprintf("axis1_deg: [%g, %g]", low, high))
		return of(rig.WideTravel, inspect.Look(r, defaults, going))
	}
	assert.Empty(t, narrow(low, high), "as told")
	if underRace {
		return
	}
	assert.Len(t, narrow(low-1, high), 1, "a degree more")
	assert.Len(t, narrow(low, high+1), 1)
}

// Travel counts from home, and so does what is told of it.
func TestTravelIsToldFromHome(t *testing.T) {
	t.Parallel()
	f := of(rig.WideTravel, inspect.Look(heron(t, "home_deg: [0, 0]", "home_deg: [10, 0]"), defaults, going))
	require.Len(t, f, 1)
	assert.Contains(t, f[0].Words, "[-97.5, 97.5], of which [-76.43, 56.43] is clear all over")
}

// A home known so badly that parts may touch there is told as that.
func TestHomeThatIsNotClear(t *testing.T) {
	t.Parallel()
	f := of(rig.WideTravel, inspect.Look(heron(t, "  sigma_deg: [0.02, 0.02]\n\nif_asker", "  sigma_deg: [30, 30]\n\nif_asker"), defaults, going))
	require.Len(t, f, 1)
	assert.Equal(t, "home_deg", f[0].Key)
	assert.Contains(t, f[0].Words, "home is not clear with the ±90° and ±90° that uncertainty and overrun add; there ")
}

// Two parts that are too near at every pose, though neither is round about an axis, are told as that: a better home would not help.
func TestPartsThatNoPoseParts(t *testing.T) {
	t.Parallel()
	near := []string{"crossing_north_of_hub_mm: 125", "crossing_north_of_hub_mm: 125\n  head_diameter_mm: 100", "crossing_to_tube_mm: 205", "crossing_to_tube_mm: 130"}
	few := defaults
	few.Budget /= 4
	all := inspect.Look(heron(t, near...), few, going)
	f := of(rig.TooNear, all)
	require.Len(t, f, 1)
	assert.Equal(t, "mount body and tube are nowhere farther apart than 20.0 mm, at home or at any pose looked at, and their margins ask for 30.0", f[0].Words)
	assert.Empty(t, of(rig.WideTravel, all), "nor is a better home asked for")
	near[3] = "crossing_to_tube_mm: 141"
	assert.Empty(t, of(rig.TooNear, inspect.Look(heron(t, near...), few, going)), "31 mm is enough")
	unsure := heron(t, "  sigma_deg: [0.02, 0.02]\n\nif_asker", "  sigma_deg: [30, 30]\n\nif_asker")
	assert.Empty(t, of(rig.TooNear, inspect.Look(unsure, few, going)), "what turning parts is not told")
}

// TestIdlePartsNeverMatter: what is said to be out of reach is, over a second, plain look at all of axis space; what is moved near is not said to be.
func TestIdlePartsNeverMatter(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(3, 4))
	for _, r := range examples(t) {
		idle := map[string]bool{}
		for _, f := range of(rig.Idle, inspect.Look(r, defaults, going)) {
			assert.True(t, f.Info)
			_, name, said := strings.Cut(f.Words, "anything come within the margin of ")
			require.True(t, said, f.Words)
			idle[name] = true
		}
		require.NotEmpty(t, idle, r.ID)
		s := r.Scene(nil, 10, 10)
		for range 200 {
			placed := s.Place(rig.DegAxes(rng.Float64()*720-360, rng.Float64()*720-360))
			for _, q := range s.Pairs {
				if idle[s.Names[s.Bodies[q.A].Part]] || idle[s.Names[s.Bodies[q.B].Part]] {
					assert.GreaterOrEqual(t, solid.Distance(placed[q.A], placed[q.B]).Upper, float64(q.Required), "%s: %s and %s", r.ID, s.Names[s.Bodies[q.A].Part], s.Names[s.Bodies[q.B].Part])
				}
			}
		}
	}
	post := func(east float64) []rig.Find {
		r := heron(t, "has_no:", fmt.Sprintf("parts: [{name: post, fixed_to: ground, shapes: [{capsule: {from_mm: [%g, 0, 0], to_mm: [%g, 0, 1800], diameter_mm: 40}}]}]\nhas_no:", east, east))
		return of(rig.Idle, inspect.Look(r, defaults, going))
	}
	assert.Contains(t, fmt.Sprint(post(1000)), "post")
	assert.NotContains(t, fmt.Sprint(post(580)), "post", "the tube reaches 520 mm and more")
}

// A part of which nothing is judged is told as such.
func TestPartOfWhichNothingIsJudged(t *testing.T) {
	t.Parallel()
	r := heron(t, "has_no:", "leave_out: [north leg, south-east leg, south-west leg, hub, floor, tube, dew shield, camera]\nhas_no:")
	all := of(rig.Idle, inspect.Look(r, defaults, going))
	require.Len(t, all, 2)
	assert.Equal(t, "counterweight bar is never judged: of all other parts it keeps its gap or always touches them", all[0].Words)
}

// TestMarginsSmallerThanTheUncertainty: which, and what margin would do.
func TestMarginsSmallerThanTheUncertainty(t *testing.T) {
	t.Parallel()
	small := func(a inspect.Asked, r *rig.Rig) []rig.Find { return of(rig.SmallMargin, inspect.Look(r, a, stopped)) }
	assert.Empty(t, small(defaults, heron(t)))

	thin := defaults
	thin.PartMM, thin.GeneralMM = 3, 2
	f := small(thin, heron(t))
	require.Len(t, f, 1)
	assert.True(t, f[0].Info, "what gauges find counts beside the margins")
	assert.Contains(t, f[0].Words, " are 8 mm in all, and rig/proven passes a file that is out by 10 mm")
	assert.Contains(t, f[0].Remedy, "general_mm 4; or lower rig/proven residual_mm to 8")
	assert.Equal(t, 90, f[0].Line, "the limits of the file")
	thin.GeneralMM = 4
	assert.Empty(t, small(thin, heron(t)), "as told")

	assert.Empty(t, small(defaults, heron(t, "crossing_north_of_hub_mm: 125", "crossing_north_of_hub_mm: 125 ± 29")))
	f = small(defaults, heron(t, "crossing_north_of_hub_mm: 125", "crossing_north_of_hub_mm: 125 ± 35"))
	require.Len(t, f, 1)
	assert.True(t, f[0].Info, "they count beside the margins")
	assert.Contains(t, f[0].Words, "the reading errors between ")
	assert.Contains(t, f[0].Words, " add up to 35 mm, more than their margins (30 mm)")
	assert.Contains(t, f[0].Remedy, "general_mm 15")

	f = small(defaults, heron(t, "  sigma_deg: [0.02, 0.02]\n\nif_asker", "  sigma_deg: [1, 1]\n\nif_asker"))
	require.Len(t, f, 1)
	assert.True(t, f[0].Info)
	assert.Contains(t, f[0].Words, "home and axes are known to ±3° and ±3°, which moves ")
}

// TestPoseUncertaintyIsBounded: no pose within the uncertainty moves two parts by more than is told.
func TestPoseUncertaintyIsBounded(t *testing.T) {
	t.Parallel()
	r := heron(t, "  sigma_deg: [0.02, 0.02]\n\nif_asker", "  sigma_deg: [1, 1]\n\nif_asker")
	f := of(rig.SmallMargin, inspect.Look(r, defaults, stopped))
	require.Len(t, f, 1)
	var up float64
	_, after, _ := strings.Cut(f[0].Words, "by up to ")
	_, err := fmt.Sscanf(after, "%g mm", &up)
	require.NoError(t, err)
	rng, s, most := rand.New(rand.NewPCG(5, 6)), r.Scene(nil, 0, 0), 0.0
	for range 300 {
		at := rig.DegAxes(rng.Float64()*360, rng.Float64()*360)
		a, b := s.Place(at), s.Place(at.Add(rig.DegAxes(3, 3)))
		for _, q := range s.Pairs {
			most = max(most, abs(solid.Distance(a[q.A], a[q.B]).Upper-solid.Distance(b[q.A], b[q.B]).Upper))
		}
	}
	assert.LessOrEqual(t, most, up+0.5)
	assert.Greater(t, most, up/2, "no idle bound")
}

func abs(v float64) float64 { return max(v, -v) }

// TestStoppedLooksSaySo: who cancels gets no map, and is told that it is not known.
func TestStoppedLooksSaySo(t *testing.T) {
	t.Parallel()
	asked := 0
	all := inspect.Look(heron(t), defaults, func() bool { asked++; return asked < 5 })
	f := of(rig.NotKnown, all)
	require.Len(t, f, 1)
	assert.Equal(t, "it was stopped before all was looked at", f[0].Words)
	assert.Empty(t, of(rig.WideTravel, all))
	assert.Empty(t, of(rig.Idle, all))
	assert.LessOrEqual(t, asked, 6)
	assert.Len(t, of(rig.NotKnown, inspect.Look(heron(t), defaults, stopped)), 1)
}

// TestUsedUpBudgetsSaySo: what the work does not suffice for is not known, and no part is said to be out of reach.
func TestUsedUpBudgetsSaySo(t *testing.T) {
	t.Parallel()
	little := defaults
	little.Budget = 300
	all := inspect.Look(heron(t), little, going)
	f := of(rig.NotKnown, all)
	require.Len(t, f, 1)
	assert.Equal(t, "travel_from_home", f[0].Key)
	assert.Contains(t, f[0].Words, "is not known: the work ran out")
	assert.Empty(t, of(rig.WideTravel, all))
}

// TestUnchangingPairsAreToldOnce with the nearest of them.
func TestUnchangingPairsAreToldOnce(t *testing.T) {
	t.Parallel()
	f := of(rig.Unchanging, inspect.Look(heron(t), defaults, stopped))
	require.Len(t, f, 1)
	assert.True(t, f[0].Info)
	assert.Equal(t, "6 pairs of parts keep the same gap at every pose, the nearest counterweight bar and tube (145.0 mm)", f[0].Words)
	bare := heron(t, "has_no:", "leave_out: [counterweight bar, counterweights]\nhas_no:")
	assert.Empty(t, bare.Settled())
	assert.Empty(t, of(rig.Unchanging, inspect.Look(bare, defaults, stopped)))
}
