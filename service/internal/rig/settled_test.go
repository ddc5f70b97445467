package rig_test

import (
	"math/rand/v2"
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
)

// every example rig, and the demo's.
func everyRig(t testing.TB) []*rig.Rig {
	all := []*rig.Rig{heron(t)}
	for _, file := range []string{"wren.yaml", "bittern.yaml", "curlew.yaml"} {
		r, faults := rig.Parse(file, []byte(text(t, rigs+file)), beside)
		require.Empty(t, faults)
		all = append(all, r)
	}
	return all
}

func TestSettledPairsKeepTheirGap(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for _, r := range everyRig(t) {
		settled := r.Settled()
		require.NotEmpty(t, settled, r.ID)
		for range 10 {
			a := rig.DegAxes(rng.Float64()*360-180, rng.Float64()*360-180)
			for _, s := range settled {
				assert.InDelta(t, float64(s.Gap), gapOf(t, r, s.A, s.B, a), 1e-3, "%s: %s and %s at %s", r.ID, s.A, s.B, a)
			}
		}
		scene := r.Scene(nil, 10, 10)
		for _, p := range scene.Pairs {
			for _, s := range settled {
				assert.False(t, scene.Names[scene.Bodies[p.A].Part] == s.A && scene.Names[scene.Bodies[p.B].Part] == s.B, "%s and %s is settled and still counts", s.A, s.B)
			}
		}
	}
}

// gapOf returns the smallest gap of two parts at a pose, in any of their states.
func gapOf(t testing.TB, r *rig.Rig, a, b string, at rig.Axes) float64 {
	s := r.Scene(nil, 0, 0)
	placed := s.Place(at)
	least := 1e9
	for i, x := range s.Bodies {
		for j, y := range s.Bodies {
			if s.Names[x.Part] == a && s.Names[y.Part] == b {
				least = min(least, solid.Distance(placed[i], placed[j]).Lower)
			}
		}
	}
	return least
}

func TestEveryOtherPairChangesOrIsKept(t *testing.T) {
	for _, r := range everyRig(t) {
		s := r.Scene(nil, 10, 10)
		for _, p := range s.Pairs {
			a, b := s.Bodies[p.A], s.Bodies[p.B]
			assert.Less(t, a.Link, b.Link)
			assert.GreaterOrEqual(t, float64(p.Required), 30.0)
		}
	}
}

func TestPairsThatTouchJoinNeighbours(t *testing.T) {
	in := heronText(t)
	for _, c := range []struct{ pair, sentence string }{
		{"[north leg, camera]", `wanted parts of neighbouring links: ground and axis 1, or axis 1 and axis 2, got "north leg" on ground and "camera" on axis 2; the ground and axis 2 must never touch: correct the lengths`},
		{"[tube, camera]", `got "tube" on axis 2 and "camera" on axis 2; parts of one link never collide: take the pair away`},
		{"[tube, camra]", `wanted the name of a part: floor, hub, north leg, south-east leg, south-west leg, counterweight bar, counterweights, tube, dew shield, camera, got "camra"; perhaps camera is meant`},
		{"[tube, counterweights]", `wanted parts that touch at home, got 395.0 mm between them; take the pair away: pairs listed here are never judged`},
		{"[tube]", `wanted a list of 2 names of parts, got a list`},
	} {
		out, _ := changed(t, in, "has_no:", "always_touch: ["+c.pair+"]\nhas_no:")
		r, faults := rig.Parse("heron.yaml", []byte(out), nil)
		require.Nil(t, r, c.pair)
		require.NotEmpty(t, faults)
		assert.Contains(t, faults[0].Error(), c.sentence)
	}
}

func TestOverlapsAtHomeAreTold(t *testing.T) {
	for _, c := range []struct{ part, sentence string }{
		{"{name: box, fixed_to: ground, shapes: [{box: {centre_mm: [0, -250, 1400], size_mm: [200, 200, 200]}}]}", `wanted "box" (ground) and "tube" (axis 2) apart at home, got an overlap of `},
		{"{name: plate, fixed_to: axis 1, shapes: [{box: {centre_mm: [190, 0, 0], size_mm: [100, 100, 100]}}]}", `"plate" (axis 1) and "tube" (axis 2) apart at home, got an overlap of `},
	} {
		out, _ := changed(t, heronText(t), "has_no:", "parts: ["+c.part+"]\nhas_no:")
		r, faults := rig.Parse("heron.yaml", []byte(out), nil)
		require.Nil(t, r)
		assert.Contains(t, lines(faults), c.sentence)
	}
	out, _ := changed(t, heronText(t), "has_no:", "parts: [{name: plate, fixed_to: axis 1, shapes: [{box: {centre_mm: [190, 0, 0], size_mm: [100, 100, 100]}}]}]\nalways_touch: [[plate, tube]]\nhas_no:")
	r, faults := rig.Parse("heron.yaml", []byte(out), nil)
	require.Empty(t, faults, "the remedy told: %s", lines(faults))
	assert.Len(t, r.Allowed, 1)
	for _, p := range r.Scene(nil, 10, 10).Pairs {
		s := r.Scene(nil, 10, 10)
		assert.NotEqual(t, "plate", s.Names[s.Bodies[p.A].Part]+s.Names[s.Bodies[p.B].Part])
	}
}

func TestPartsReplaceAndLeaveOut(t *testing.T) {
	out, _ := changed(t, heronText(t), "has_no:", "parts: [{name: hub, fixed_to: ground, margin_mm: 25, shapes: [{ball: {centre_mm: [0, -125, 1105], diameter_mm: 160}}]}]\nleave_out: [floor, dew shield]\nhas_no:")
	r, faults := rig.Parse("heron.yaml", []byte(out), nil)
	require.Empty(t, faults, lines(faults))
	require.Len(t, r.Parts, 8)
	hub := part(t, r, "hub")
	assert.Equal(t, solid.SphereKind, hub.Shapes[0].Kind())
	assert.Equal(t, "parts.1", hub.From)
	assert.EqualValues(t, 25, hub.Margin)
}

func TestStatesFollowTheReport(t *testing.T) {
	r := everyRig(t)[3]
	count := func(p ...rig.PartState) (n int) {
		s := r.Scene(p, 10, 10)
		for _, b := range s.Bodies {
			if name := s.Names[b.Part]; name == "roof" || name == "focuser" {
				n++
			}
		}
		return n
	}
	mm := func(v float64, unit string) rig.PartState {
		return rig.PartState{Part: "focuser", Measure: &v, Unit: unit}
	}
	assert.Equal(t, 2+2+2, count(), "unreported: all states")
	assert.Equal(t, 2+1+2, count(rig.PartState{Part: "roof", Name: "open"}))
	assert.Equal(t, 2+2+2, count(rig.PartState{Part: "roof", Name: "ajar"}), "a state nobody knows is no report")
	assert.Equal(t, 2+2+1, count(mm(10, "mm")))
	assert.Equal(t, 2+2+2, count(mm(40, "mm")), "on the edge: both")
	assert.Equal(t, 2+2+2, count(mm(10, "deg")), "another unit is no report")
	assert.Equal(t, 2+2+2, count(mm(99, "mm")), "outside every state")
}

// The remedy of an overlap, done to the letter, is lawful: it names what to measure again, and then the pair as it stands in a
// file, beside those that are there.
func TestRemedyOfAnOverlapIsLawful(t *testing.T) {
	asked := regexp.MustCompile(`; they touch wherever axis 1 stands: if they belong together, write (always_touch: \[\[.*\]\])$`)
	in := text(t, rigs+"bittern.yaml")
	in, _ = changed(t, in, "    height_mm: 800\n", "    height_mm: 850\n")
	in, _ = changed(t, in, "has_no:", "parts: [{name: \"a, b\", fixed_to: ground, shapes: [{ball: {centre_mm: [0, 0, 900], diameter_mm: 60}}]}]\nhas_no:")
	for _, says := range []string{"measure floor_to_crossing_mm and crossing_north_of_hub_mm again", `measure the place of "a, b" again`} {
		r, faults := rig.Parse("bittern.yaml", []byte(in), nil)
		require.Nil(t, r)
		m := asked.FindStringSubmatch(faults[0].Error())
		require.NotNil(t, m, lines(faults))
		assert.Contains(t, faults[0].Remedy, says)
		assert.Equal(t, "an overlap of 50.0 mm", faults[0].Got)
		for _, f := range faults {
			assert.NotContains(t, f.Error(), "looking up", "a gap that is the same everywhere is told once")
		}
		in = regexp.MustCompile(`(?m)^always_touch:.*\n`).ReplaceAllString(in, "")
		in, _ = changed(t, in, "has_no:", m[1]+"\nhas_no:")
	}
	r, faults := rig.Parse("bittern.yaml", []byte(in), nil)
	require.Empty(t, faults, lines(faults))
	assert.NotNil(t, r)
}
