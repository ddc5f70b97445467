package gauge

import (
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/rig"
)

func beside(name string) ([]byte, error) { return os.ReadFile("../../../testdata/rigs/" + name) }

// described reads a rig of testdata, or the practice rig, with changes.
func described(t *testing.T, name string, changes ...string) *Subject {
	t.Helper()
	file, content := name+".yaml", practice.HeronFile()
	if name != "heron" {
		var err error
		content, err = beside(file)
		require.NoError(t, err)
	}
	for _, c := range changes {
		change, err := rig.ReadChange(c)
		require.NoError(t, err)
		content, err = change.In(file, content)
		require.NoError(t, err)
	}
	r, faults := rig.Parse(file, content, beside)
	require.Empty(t, faults)
	return New(r, 10, 10, file, content, beside)
}

// worked keeps the plans that several tests go by.
var worked sync.Map

// planOf is the plan of a rig as its file stands.
func planOf(s *Subject) Plan {
	if p, ok := worked.Load(s.Rig.Digest); ok {
		return p.(Plan)
	}
	p := s.plan()
	worked.Store(s.Rig.Digest, p)
	return p
}

// gap is that of a spot by the file as it is.
func (s *Subject) gap(k spot) float64 { return s.read(s.Rig, rig.Axes{}).at(k.at).gap(k) }

// measures are what a person reads at a plan's poses of a rig as it truly is: within ± so much, by lot.
func measures(truly *Subject, p Plan, within float64, seed uint64) []Measured {
	lot := rand.New(rand.NewPCG(seed, 0))
	var out []Measured
	for _, pose := range p.Poses {
		for _, g := range pose.Gaps {
			at := Place{pose.At, g.Parts}
			k, ok := truly.spotOf(at)
			if !ok { // of that length another part is made
				continue
			}
			out = append(out, Measured{Place: at, MM: truly.gap(k) + within*(2*lot.Float64()-1)})
		}
	}
	return out
}

// Every length that the gaps can see is named when it is wrong by 40 mm, alone or among those that explain the gaps as well.
func TestWrongLengthIsNamed(t *testing.T) {
	counts := map[string][2]int{"heron": {4, 4}} // of lengths tried, of those at least named
	every := 5
	if underRace { // the first alone
		counts, every = map[string][2]int{"heron": {1, 1}}, 100
	}
	if os.Getenv("KEEPCLEAR_LONG") != "" {
		counts, every = map[string][2]int{"heron": {21, 20}, "bittern": {19, 2}, "wren": {21, 14}}, 1
	}
	for name, want := range counts {
		truly := described(t, name)
		tried, named, alone := 0, 0, 0
		for i, l := range truly.Lengths {
			wrong := changed(t, name, l, 40)
			if l.Unit != "mm" || i%every != 0 || wrong == nil {
				continue
			}
			tried++
			plan := wrong.plan()
			j, err := wrong.judge(measures(truly, plan, 2, uint64(i)))
			require.NoError(t, err)
			if j.Fits {
				continue
			}
			is := slices.IndexFunc(j.Suspects, func(x Suspect) bool { return x.Name == l.Name })
			if assert.GreaterOrEqual(t, is, 0, "%s: %s is wrong by 40 mm, and it says: %s", name, l.Name, j.Says) {
				named++
				assert.InDelta(t, -40, j.Suspects[is].More, 12, "%s: %s by how much", name, l.Name)
				if len(j.Suspects) == 1 {
					alone++
				}
			}
		}
		t.Logf("%s: %d of %d named, %d of them alone", name, named, tried, alone)
		assert.GreaterOrEqual(t, tried, want[0], "%s: lengths tried", name)
		assert.GreaterOrEqual(t, named, want[1], "%s: lengths named", name)
	}
}

// changed is a rig as its file would have it with one length so much more; nil where it does not load so.
func changed(t *testing.T, name string, l Length, more float64) *Subject {
	t.Helper()
	s := described(t, name)
	if r, _ := s.Lengths[slices.IndexFunc(s.Lengths, func(x Length) bool { return x.Name == l.Name })].with(more); r == nil || l.Unit != "mm" {
		return nil
	}
	return described(t, name, l.Name+"+="+strconv.FormatFloat(more, 'g', -1, 64))
}

func TestRightFileFits(t *testing.T) {
	s := described(t, "heron")
	plan := planOf(s)
	for seed := range uint64(20) {
		j, err := s.judge(measures(s, plan, 2, seed))
		require.NoError(t, err)
		assert.True(t, j.Fits, j.Says)
		assert.LessOrEqual(t, j.Worst, 2.001)
		assert.Empty(t, j.Suspects)
	}
}

// Two lengths that are wrong at once are not put on one.
func TestTwoWrongLengthsAreNotOne(t *testing.T) {
	truly, wrong := described(t, "heron"), described(t, "heron", "tape.crossing_to_tube_mm+=45", "tape.weights_to_mm+=60")
	j, err := wrong.judge(measures(truly, wrong.plan(), 1, 1))
	require.NoError(t, err)
	assert.Empty(t, j.Suspects)
	require.NotNil(t, j.Helps)
	assert.Contains(t, j.Says, "No single length explains it.")
}

// What a class file gives may be wrong for this rig: it is named with that file.
func TestWrongLengthOfAClassFileIsNamed(t *testing.T) {
	content, err := beside("curlew.yaml")
	require.NoError(t, err)
	open := func(name string) ([]byte, error) {
		of, err := beside(name)
		if err != nil || name != "heavy-germans.yaml" {
			return of, err
		}
		return rig.Change{Key: "tape.crossing_to_tube_mm", By: true, Value: 40}.In(name, of)
	}
	r, faults := rig.Parse("curlew.yaml", content, open)
	require.Empty(t, faults)
	truly, wrong := described(t, "curlew"), New(r, 10, 10, "curlew.yaml", content, open)
	at := func(a1, a2 float64, a, b string) Place { return Place{rig.DegAxes(a1, a2), [2]string{a, b}} }
	var all []Measured
	for _, p := range []Place{at(0, 0, "pier", "camera"), at(-30, 30, "pier", "tube"), at(20, -15, "pier", "camera"), at(-45, 0, "cabinet", "tube"), at(0, 0, "pier", "counterweights"), at(30, 0, "floor", "counterweights")} {
		k, ok := truly.spotOf(p)
		require.True(t, ok, "%v", p)
		all = append(all, Measured{Place: p, MM: truly.gap(k)})
	}
	j, err := wrong.judge(all)
	require.NoError(t, err)
	assert.False(t, j.Fits)
	is := slices.IndexFunc(j.Suspects, func(x Suspect) bool { return x.Name == "tape.crossing_to_tube_mm (heavy-germans.yaml)" })
	if assert.GreaterOrEqual(t, is, 0, j.Says) {
		assert.InDelta(t, -40, j.Suspects[is].More, 3)
	}
}

// A judgement has a bound of its own: what it leaves out it says, and the likeliest lengths come first.
func TestJudgementsAreBounded(t *testing.T) {
	going := func() bool { return true }
	truly, wrong := described(t, "heron"), described(t, "heron", "tape.crossing_to_tube_mm+=45")
	all := measures(truly, wrong.plan(), 1, 1)
	whole, err := wrong.Judge(all, going)
	require.NoError(t, err)
	assert.Zero(t, whole.Untried, "an example rig with a third of the gaps that are taken")
	require.Len(t, whole.Suspects, 1)

	few, err := wrong.judgeWithin(all, going, work{mostReadings / 4, mostDistances / 20})
	require.NoError(t, err)
	assert.Equal(t, whole.Says, few.Says, "there is room to spare")

	few, err = wrong.judgeWithin(all, going, work{20, mostDistances})
	require.NoError(t, err)
	assert.Equal(t, whole.Residuals, few.Residuals)
	assert.Greater(t, few.Untried, 10)
	require.NotEmpty(t, few.Suspects)
	assert.Equal(t, whole.Suspects[0].String(), few.Suspects[0].String())
	assert.Contains(t, few.Says, "of its lengths were not tried")

	none, err := wrong.judgeWithin(all, going, work{mostReadings, 10})
	require.NoError(t, err)
	assert.False(t, none.Fits, "what is not known explains nothing")
	assert.InDelta(t, whole.Worst, none.Worst, 1e-9)
	assert.Empty(t, none.Suspects)
	assert.Equal(t, len(wrong.Lengths), none.Untried)
}

// What only two lengths together change is put on both.
func TestLengthsThatCannotBeToldApart(t *testing.T) {
	truly, wrong := described(t, "heron"), described(t, "heron", "tape.floor_to_crossing_mm+=40")
	at := Place{rig.DegAxes(0, 0), [2]string{"floor", "counterweights"}} // changes with the height and with where the weights end
	k, ok := truly.spotOf(at)
	require.True(t, ok)
	j, err := wrong.judge([]Measured{{Place: at, MM: truly.gap(k)}})
	require.NoError(t, err)
	var names []string
	for _, x := range j.Suspects {
		names = append(names, x.Name)
	}
	assert.Subset(t, names, []string{"tape.floor_to_crossing_mm", "tape.weights_to_mm"})
	assert.Contains(t, j.Says, "one of these, which explain it as well as each other")
}

// Home seen wrong by some degrees is told from a wrong length.
func TestWrongHomeIsNamed(t *testing.T) {
	s := described(t, "heron")
	all := measures(s, planOf(s), 0, 0)
	for i := range all {
		k, _ := s.spotOf(all[i].Place)
		all[i].MM = s.read(s.Rig, rig.DegAxes(6, 0)).at(k.at).gap(k)
	}
	j, err := s.judge(all)
	require.NoError(t, err)
	require.NotEmpty(t, j.Suspects, j.Says)
	assert.Equal(t, "home_deg, axis 1", j.Suspects[0].Name)
	assert.InDelta(t, 6, j.Suspects[0].More, 0.5)
}

func TestGapsThatAreNone(t *testing.T) {
	s := described(t, "curlew")
	for _, parts := range [][2]string{{"tube", "no such part"}, {"tube", "tube"}, {"tube", "camera"}, {"pier", "floor"}} {
		_, err := s.judge([]Measured{{Place: Place{s.Rig.Home, parts}, MM: 100}})
		assert.ErrorContains(t, err, "no gap to measure", "%v", parts)
	}
	for _, p := range s.Rig.Parts {
		if len(p.States) > 0 && p.Link != rig.Ground {
			_, err := s.judge([]Measured{{Place: Place{s.Rig.Home, [2]string{"floor", p.Name}}, MM: 100}})
			assert.ErrorContains(t, err, "no gap to measure", "in which state %s is nobody knows", p.Name)
		}
	}
}

func TestNothingMeasured(t *testing.T) {
	j, err := described(t, "heron").judge(nil)
	require.NoError(t, err)
	assert.False(t, j.Fits)
}

// The tails go on beyond the table as in it.
func TestTails(t *testing.T) {
	assert.InDelta(t, 63.69, tail(40), 0.05) // scipy 1.10, stats.chi2.ppf(0.99, 40)
	assert.Less(t, tails[len(tails)-1], tail(len(tails)+1))
}

// The bar for one length goes by how many there are. Sources: the upper percentage points of χ² with one degree of freedom in Abramowitz and Stegun,
// Handbook of Mathematical Functions (1964), table 26.8 (0.01, 0.005, 0.001, 0.0005, 0.0001), the first and the third as in the NIST/SEMATECH e-Handbook of
// Statistical Methods, 1.3.6.7.4; all of them, and those of 5, 35, 60 and 1,000 lengths, by scipy 1.10.1, stats.chi2.isf(0.01/n, 1).
func TestOneOfSoManyLengths(t *testing.T) {
	for n, want := range map[int]float64{
		1: 6.634896601021217, 2: 7.879438576622419, 5: 9.549535706083239, 10: 10.827566170662733, 20: 12.115665146397173,
		35: 13.161800051373922, 60: 14.173897112089747, 100: 15.136705226623397, 1000: 19.51142096465757,
	} {
		assert.InDelta(t, want, oneOf(n), 1e-9, "%d lengths", n)
	}
	assert.InDelta(t, oneOf(1), oneOf(0), 0, "there is a bar where nothing was tried, too")
	for n := 1; n < 60; n++ {
		assert.Less(t, oneOf(n), oneOf(n+1), "%d lengths", n)
	}
}

// TestLengthsThatChangeNoGapAreNoneOfThoseTried: among 24 lengths of which one alone changes the gap that was measured, chance has no pick.
func TestLengthsThatChangeNoGapAreNoneOfThoseTried(t *testing.T) {
	s := described(t, "heron")
	require.Greater(t, len(s.Lengths), 20)
	for sum, want := range map[float64]bool{6.5: false, 6.8: true, 12: true} {
		slope := make([]float64, len(s.Lengths))
		slope[3] = 1
		e := &explanation{s: s, r: []float64{1}, slopes: [][]float64{slope}}
		e.weigh([]Measured{{Err: 2}})
		e.r[0] = math.Sqrt(sum / e.left(e.r))
		assert.InDelta(t, sum, e.left(e.r), 1e-9)
		assert.Equal(t, want, e.pointed(), "a sum of squares of %v", sum)
	}
}

// TestRightFilesAreSeldomAccused: with reading errors drawn as they are taken to be, of the tape and of every length, a right file is accused about as seldom
// as the bars say: once in a hundred for all gaps together, and at most once in a hundred for one length.
func TestRightFilesAreSeldomAccused(t *testing.T) {
	for _, name := range []string{"heron", "wren"} {
		truly := described(t, name)
		plan := planOf(truly)
		all := measures(truly, plan, 0, 0)
		v, _ := truly.variants(func() bool { return true })
		e := &explanation{s: truly, r: make([]float64, len(all))}
		for _, m := range all {
			k, ok := truly.spotOf(m.Place)
			require.True(t, ok)
			e.slopes = append(e.slopes, v.slopes(k.at, []spot{k})[0])
		}
		e.weigh(all)
		lot, pointed, beyond := rand.New(rand.NewPCG(4, 12)), 0, 0
		const files = 4000
		for range files {
			e.r = make([]float64, len(all))
			for j := range truly.Lengths {
				by := lot.NormFloat64() * math.Sqrt(variance(truly.Lengths[j].Err))
				for i := range e.r {
					e.r[i] += by * e.slopes[i][j]
				}
			}
			for i := range e.r {
				e.r[i] += lot.NormFloat64() * math.Sqrt(variance(all[i].err()))
			}
			if e.pointed() {
				pointed++
			}
			if e.left(e.r) > tail(len(e.r)) {
				beyond++
			}
		}
		t.Logf("%s: %d gaps, %d lengths; of %d right files %d point at a length, %d are beyond reading errors", name, len(all), len(truly.Lengths), files, pointed, beyond)
		// 40 of 4,000 are one in a hundred; six deviations of a count of 40 are 38.
		assert.LessOrEqual(t, pointed, 78, "%s: one length", name)
		assert.InDelta(t, 40, beyond, 38, "%s: all gaps", name)
		assert.Positive(t, pointed, "%s: the bar is one that can be crossed", name)
	}
}

// TestOneLengthStandsOut: a length that is out by little more than reading errors is named where many good gaps would hide it among them, in many an
// evening; a right file that is measured as badly as a tape may be is not accused for that.
func TestOneLengthStandsOut(t *testing.T) {
	truly := described(t, "wren")
	for _, name := range []string{"tape.floor_to_crossing_mm", "tape.tube_diameter_mm"} {
		wrong := changed(t, "wren", truly.Lengths[truly.length(t, name)], 10)
		p, named, hidden := wrong.plan(), 0, 0
		for seed := range uint64(20) {
			all := measures(truly, p, 2, seed)
			j, err := wrong.judge(all)
			require.NoError(t, err)
			if !j.Fits && slices.ContainsFunc(j.Suspects, func(x Suspect) bool { return x.Name == name }) {
				named++
				if j.Worst <= 10 {
					hidden++
				}
			}
		}
		t.Logf("%s: named %d times of 20, %d of them with no gap out by more than it", name, named, hidden)
		assert.GreaterOrEqual(t, named, 12, name)
		assert.Positive(t, hidden, name)
	}
	p := truly.plan()
	for seed := range uint64(10) {
		j, err := truly.judge(measures(truly, p, 3, seed))
		require.NoError(t, err)
		assert.True(t, j.Fits, "seed %d: %s", seed, j.Says)
	}
}
