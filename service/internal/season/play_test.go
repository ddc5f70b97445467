package season

import (
	"bytes"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// shared is what all nights share, read once.
var shared = sync.OnceValues(func() (*Table, error) { return ReadTable(tableText) })

var sharedRigs = sync.OnceValues(NewRigs)

// world is what all nights share. Tests that change it put it back.
func world(t *testing.T) (*Table, *Rigs) {
	t.Helper()
	table, err := shared()
	require.NoError(t, err)
	rigs, err := sharedRigs()
	require.NoError(t, err)
	t.Cleanup(func() { table.asked, rigs.Story = nil, false })
	return table, rigs
}

// memory is a folder in memory for records.
func memory(t *testing.T) string {
	t.Helper()
	dir, err := Memory()
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	return dir
}

// everything is the gate that accepts everything.
func everything(t *testing.T) Gate {
	t.Helper()
	g, ok := GateNamed("accept everything")
	require.True(t, ok)
	return g
}

// The same seed is the same night, to the last line of its story, whichever gate judges; on more threads a season adds up to the same.
func TestSameSeedSameNight(t *testing.T) {
	table, rigs := world(t)
	rigs.Story = true
	for _, g := range []Gate{Gates()[0], everything(t)} {
		w := Wish{Kind: Bad, Length: 40 * time.Minute}
		a, err := table.Play(rigs, table.Draw(7, w), g, memory(t))
		require.NoError(t, err)
		b, err := table.Play(rigs, table.Draw(7, w), g, memory(t))
		require.NoError(t, err)
		require.NotEmpty(t, a.Lines)
		assert.Equal(t, a.Lines, b.Lines, g.Name)
	}
	one, err := table.Season(t.Context(), rigs, Gates()[1:2], 1, 8, Wish{}, 1, memory(t))
	require.NoError(t, err)
	two, err := table.Season(t.Context(), rigs, Gates()[1:2], 1, 8, Wish{}, 4, memory(t))
	require.NoError(t, err)
	assert.Equal(t, one, two)
}

// A slew that a slip ended did not end by what syncs did: a night of the judging seeds was scored 33° off for one.
func TestASlewThatASlipEndedIsNoneOfSyncs(t *testing.T) {
	table, rigs := world(t)
	l := table.Draw(3, Wish{Kind: Good, Length: time.Hour})
	m, err := rigs.member(l.Species)
	require.NoError(t, err)
	n := &night{table: table, lot: &l, rig: m.Rig, real: m.Rig, score: &Score{taken: true}, now: l.Start, gate: everything(t), rng: stream(3, 5)}
	n.mount = practice.NewMount(m.Rig, moment, n.now)
	ended := func(slip time.Duration) int {
		n.due = []Fault{{At: n.now.Add(slip), strike: func(n *night) { n.slips(rig.DegAxes(0, 5)) }}}
		s, err := moment(n.now)
		require.NoError(t, err)
		before := len(n.score.Ends)
		ok, err := n.slew(place{s.SiderealTime(m.Rig.Site.Lon).Positive(), unit.Deg(40)}, time.Minute)
		require.NoError(t, err)
		require.True(t, ok)
		return len(n.score.Ends) - before
	}
	assert.Zero(t, ended(3*time.Second), "in the middle of it")
	assert.Empty(t, n.due)
	assert.True(t, n.halted)
	n.mount = practice.NewMount(m.Rig, moment, n.now)
	n.mount.Slip(n.now, rig.DegAxes(0, 5))
	assert.Equal(t, 1, ended(time.Hour), "off before it began")
}

// Gates that are judged on one seed get the same rig, the same faults and the same lot for each of their pictures.
func TestAllGatesGetTheSameNight(t *testing.T) {
	table, _ := world(t)
	a, b := table.Draw(11, Wish{}), table.Draw(11, Wish{})
	assert.Equal(t, a.String(), b.String())
	assert.Equal(t, a.Errors, b.Errors)
	assert.Equal(t, a.Solver, b.Solver)
}

// Over a few hundred seeds every figure of the table is used, every mount, source, kind of night, fault and mechanism occurs, and the shares are
// those of the table.
func TestEverythingOccurs(t *testing.T) {
	table, rigs := world(t)
	used := map[string]bool{}
	table.asked = func(key string) { used[key] = true }
	seen, kinds, nights := map[string]int{}, map[string]int{}, 0
	for seed := range uint64(600) {
		l := table.Draw(seed+1, Wish{})
		kinds[l.Kind]++
		seen[l.Species.Mount]++
		seen[l.Species.Source]++
		for _, f := range l.Faults {
			seen[f.Name]++
		}
		if l.Kind == Fair {
			assert.True(t, l.Calm(), "a fair night has no fault")
			assert.Zero(t, l.False)
		}
		if l.Poison != nil {
			seen["poisoning"]++
		}
		if l.Kind != Bad || seed > 120 {
			continue
		}
		nights++
		s, err := table.Play(rigs, l, everything(t), memory(t))
		require.NoError(t, err)
		for _, a := range s.Asked {
			seen[a.Mechanism]++
		}
	}
	require.Greater(t, nights, 20)
	_, err := table.Play(rigs, table.Draw(1, Wish{Fault: "mount longitude", Length: time.Hour}), Gates()[0], memory(t)) // a person comes
	require.NoError(t, err)
	for _, k := range Kinds() {
		assert.InDelta(t, 200, kinds[k], 45, k)
	}
	for _, name := range slices.Concat(table.FaultNames(), table.Mechanisms(), table.entries["mounts"].words, table.entries["pose_sources"].words) {
		assert.Positive(t, seen[name], name)
	}
	for _, key := range slices.Sorted(maps.Keys(table.entries)) {
		assert.True(t, used[key], "nothing is drawn from figure %s", key)
	}
}

// listened are the solves of bad nights by one mechanism, through a gate that accepts the true ones.
func listened(t *testing.T, mechanism string, least int) (false1 []*claim, all []*claim) {
	t.Helper()
	table, rigs := world(t)
	for seed := uint64(1); len(false1) < least; seed++ {
		require.Less(t, seed, uint64(60), "too few by %s", mechanism)
		g := Gate{Name: "listens", judge: func(now, _ *claim, _ unit.Angle, _ time.Duration) bool {
			all = append(all, now)
			if now.mechanism == mechanism {
				false1 = append(false1, now)
			}
			return now.mechanism == ""
		}}
		_, err := table.Play(rigs, table.Draw(seed, Wish{Kind: Bad, Mechanism: mechanism}), g, memory(t))
		require.NoError(t, err)
	}
	return false1, all
}

// off is how far a solve lies from where the camera looked, its numbers taken as of the catalogue.
func (c *claim) off() unit.Angle { return apart(c.solve.Sky.RA, c.solve.Sky.Dec, c.ra, c.dec) }

// What each false mechanism says is false in its own way.
func TestFalseMechanisms(t *testing.T) {
	for _, m := range []string{"anywhere", "within the hint", "wrong scale", "mirrored"} {
		falseOnes, _ := listened(t, m, 12)
		far := 0
		for _, c := range falseOnes {
			if c.off() > unit.Degree {
				far++
			}
			assert.LessOrEqual(t, *c.solve.Matched, 80)
			if c.solve.Hint != nil {
				assert.Less(t, c.off(), *c.solve.Radius+5*unit.Degree, "%s: inside its search, around a belief that is about right", m)
			}
		}
		assert.Greater(t, far, len(falseOnes)/2, m)
	}
}

// A wrong scale, and a mirrored picture, are so against the true ones of their night.
func TestWrongScaleAndMirrored(t *testing.T) {
	off := 0
	scales, all := listened(t, "wrong scale", 12)
	for _, c := range scales {
		if r := float64(*c.solve.Pixel / *trueBefore(t, all, c).solve.Pixel); r < 0.975 || r > 1.025 {
			off++
		}
	}
	assert.GreaterOrEqual(t, off, len(scales)-1, "two errors of the scale may make up for each other, seldom")
	mirrored, all := listened(t, "mirrored", 8)
	for _, c := range mirrored {
		assert.NotEqual(t, *trueBefore(t, all, c).solve.Mirrored, *c.solve.Mirrored)
	}
}

// trueBefore is the true solve nearest before another, or after it, of the same night: they stand in the order in which they were taken.
func trueBefore(t *testing.T, all []*claim, c *claim) *claim {
	t.Helper()
	at := slices.Index(all, c)
	for i := at; i >= 0 && all[i].n <= c.n; i-- {
		if all[i].mechanism == "" {
			return all[i]
		}
	}
	for _, o := range all[at:] {
		if o.mechanism == "" && o.n > c.n {
			return o
		}
	}
	require.Fail(t, "no true solve in that night")
	return nil
}

// A stale or re-solved picture shows what was pictured before; one taken while the rig moves, neither where it came from nor where it went.
func TestOldPictures(t *testing.T) {
	for _, m := range []string{"stale", "re-solved"} {
		falseOnes, all := listened(t, m, 6)
		names := map[string]bool{}
		for _, c := range all {
			if c.mechanism == "" {
				names[fmt.Sprintf("%.9f %.9f", float64(c.solve.Sky.RA), float64(c.solve.Sky.Dec))] = true
			}
		}
		renamed := 0
		for _, c := range falseOnes {
			assert.True(t, names[fmt.Sprintf("%.9f %.9f", float64(c.solve.Sky.RA), float64(c.solve.Sky.Dec))], "%s: it was seen before", m)
			if !c.solve.Start.IsZero() && strings.HasSuffix(c.solve.Picture, fmt.Sprintf("%04d", c.n)) {
				renamed++
			}
		}
		assert.Less(t, renamed, len(falseOnes), "%s: not every one comes under a new name", m)
	}
	moving, _ := listened(t, "moving", 6)
	for _, c := range moving {
		assert.Contains(t, c.solve.Picture, "-moving")
	}
}

// A pattern on the sensor gives the same place and the same figures again, wherever the tube points.
func TestPattern(t *testing.T) {
	falseOnes, _ := listened(t, "pattern", 12)
	again := 0
	for i := 1; i < len(falseOnes); i++ {
		a, b := falseOnes[i-1], falseOnes[i]
		if b.n == a.n+1 {
			again++
			assert.Less(t, apart(a.solve.Sky.RA, a.solve.Sky.Dec, b.solve.Sky.RA, b.solve.Sky.Dec).Arcmin(), 1.0)
			assert.Equal(t, *a.solve.Rotation, *b.solve.Rotation)
			assert.Equal(t, *a.solve.Matched, *b.solve.Matched)
			assert.NotEqual(t, a.solve.Picture, b.solve.Picture)
		}
	}
	assert.Positive(t, again)
}

// Frames mixed up: the numbers of the catalogue, called those of date. In 2026 the two are some 20′ apart.
func TestFrames(t *testing.T) {
	falseOnes, _ := listened(t, "frames", 6)
	for _, c := range falseOnes {
		assert.Equal(t, question.OfDate, c.solve.Sky.Frame)
		assert.Less(t, c.off().Arcmin(), 2.0, "the numbers are right")
	}
	table, rigs := world(t)
	s, err := table.Play(rigs, table.Draw(5, Wish{Kind: Good, Fault: "frames", Length: 2 * time.Hour}), everything(t), memory(t))
	require.NoError(t, err)
	for _, a := range s.Asked {
		assert.InDelta(t, 0.28, a.Off, 0.15)
		assert.False(t, a.True)
	}
}

// Slow poisoning grows by a little from picture to picture, one way.
func TestPoisoning(t *testing.T) {
	falseOnes, _ := listened(t, "poisoning", 6)
	var last unit.Angle
	grown := 0
	for _, c := range falseOnes[:6] {
		if c.off() > last {
			grown++
		}
		last = c.off()
	}
	assert.GreaterOrEqual(t, grown, 5)
	assert.Less(t, falseOnes[0].off().Arcmin(), 10.0, "it begins small")
}

// untrue tells whether a solve says where the camera looked and all the same is not true.
func untrue(a *Asked) bool { return a.Mechanism == "" && a.Off < 0.03 && !a.True }

// Every fault does to the score what it is.
func TestFaults(t *testing.T) {
	table, rigs := world(t)
	rigs.Story = true
	want := map[string]func(a *Asked) bool{
		"mount clock":     func(a *Asked) bool { return a.Clock > 0.1 && a.Belief > 0.05 && untrue(a) },
		"both clocks":     func(a *Asked) bool { return a.Clock > 0.1 && untrue(a) },
		"computer clock":  func(a *Asked) bool { return a.Clock > 0.1 && untrue(a) },
		"mount longitude": func(a *Asked) bool { return a.Site > 0.1 && a.Belief > 0.05 },
		"mount latitude":  func(a *Asked) bool { return a.Site > 0.1 },
		"site alike":      func(a *Asked) bool { return a.Site > 0.1 && a.Belief > 0.05 },
		"frames":          func(a *Asked) bool { return a.Off > 0.1 },
		"clutch slips":    func(a *Asked) bool { return strings.Contains(a.Faults, "unseen") && a.True && !a.Sound },
		"steps lost":      func(a *Asked) bool { return strings.Contains(a.Faults, "unseen") && a.True && !a.Sound },
		"tripod kicked":   func(a *Asked) bool { return strings.Contains(a.Faults, "kicked") && a.True && !a.Sound },
		"sync ignored":    func(a *Asked) bool { return a.Belief > 0.05 },
		"sync averaged":   func(a *Asked) bool { return strings.Contains(a.Faults, "averaged") },
		"sync in part":    func(a *Asked) bool { return strings.Contains(a.Faults, "not taken") },
		"second program":  func(a *Asked) bool { return a.Before > 0.015 },
	}
	for _, name := range table.FaultNames() {
		found, told := 0, 0
		for seed := uint64(1); seed <= 3; seed++ {
			s, err := table.Play(rigs, table.Draw(seed, Wish{Kind: Good, Fault: name}), everything(t), memory(t))
			require.NoError(t, err)
			for i := range s.Asked {
				require.Contains(t, want, name)
				if want[name](&s.Asked[i]) {
					found++
				}
			}
			for _, l := range s.Lines {
				if strings.Contains(l, "fault: "+name) {
					told++
				}
			}
		}
		assert.Positive(t, found, name)
		assert.Equal(t, 3, told, "%s: once a night", name)
	}
}

// The canary of the score: a gate that accepts everything takes false solves, belief goes more than a degree off, and slews end far off.
func TestTheScoreConvictsAGateThatAcceptsEverything(t *testing.T) {
	table, rigs := world(t)
	totals, err := table.Season(t.Context(), rigs, Gates()[1:3], 1, 36, Wish{Kind: Bad}, 2, memory(t))
	require.NoError(t, err)
	all, near := totals[0], totals[1]
	assert.Greater(t, all.FalseAccepted, 10)
	assert.Greater(t, all.OverDegree, 10)
	assert.Greater(t, all.EndsOver, 1)
	assert.Greater(t, all.WrongClock, 10)
	assert.Greater(t, all.WorstDrift, 1.0)
	assert.Zero(t, all.Held)
	assert.Greater(t, near.Held, 10, "one that goes by belief locks true solves out")
	assert.NotEmpty(t, near.Deadlocks)
	var b bytes.Buffer
	require.NoError(t, Print(&b, totals))
	PrintCauses(&b, all)
	assert.Contains(t, b.String(), "slew ends > 25° off")
	assert.Contains(t, b.String(), "false (")
}

// A short season of keepclear: it can be played, what it asks about is what the night brings, and it takes syncs. The bars are printed and
// not asserted until the gate has been tuned.
func TestShortSeason(t *testing.T) {
	table, rigs := world(t)
	w, last := Wish{Length: time.Hour}, uint64(12)
	if os.Getenv("KEEPCLEAR_LONG") != "" {
		w, last = Wish{}, 40
	}
	totals, err := table.Season(t.Context(), rigs, Gates(), 1, last, w, 2, memory(t))
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, Print(&b, totals))
	PrintCauses(&b, totals[0])
	t.Log("\n" + b.String())
	ours := totals[0]
	assert.EqualValues(t, last, ours.Nights)
	assert.Greater(t, ours.Asked, 4*int(last))
	assert.Greater(t, ours.Accepted, ours.Asked/2)
	assert.Less(t, ours.OverDegree, totals[1].OverDegree+1)
}

// Nights of seeds that nobody tuned on, held to the project's bars where they are met, and to what was measured where they are not (DEVELOPERS.md says
// what is left): a gate that became worse fails here.
func TestUnseenNightsAreNoWorse(t *testing.T) {
	table, rigs := world(t)
	const first = 3_000_000
	w, nights, long := Wish{Length: 2 * time.Hour, Kind: Good}, 3, os.Getenv("KEEPCLEAR_LONG") != ""
	if long {
		w, nights = Wish{}, 60
	}
	totals, err := table.Season(t.Context(), rigs, Gates()[:1], first, first+uint64(nights)-1, w, 2, memory(t))
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, Print(&b, totals))
	PrintCauses(&b, totals[0])
	t.Log("\n" + b.String())
	o := totals[0]
	per := func(n, of int) float64 { return float64(n) / float64(max(1, of)) }
	require.Greater(t, o.True, 8*nights)
	for _, w := range o.Wrong {
		a := w.Asked
		if a.Site == 0 { // a longitude that mount and rig file share shows nowhere
			assert.False(t, a.Belief > beliefBar && a.Belief > a.Before+0.02, "belief %.2f° off, farther than before: %s, picture %d", a.Belief, w.Lot, a.Picture)
		}
	}
	assert.Zero(t, o.EndsOver)
	assert.Zero(t, o.WrongPose+o.WrongPoseAttested+o.WrongClock)
	assert.Empty(t, o.Deadlocks)
	if !long { // a few nights are no share of anything
		return
	}
	assert.Less(t, per(o.OverQuarter, o.Asked), 0.05, "the bar is 0.001; a mount that does not do as told alone brings more")
	assert.LessOrEqual(t, per(o.Held, o.True), 0.025)
	assert.LessOrEqual(t, per(o.CalmHeld, o.CalmTrue), 0.01)
	assert.LessOrEqual(t, per(o.Denied, o.True), 0.001)
	assert.GreaterOrEqual(t, per(o.NextAllows, o.NextAsked), 0.5)
}
