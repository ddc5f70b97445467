package rig_test

import (
	"flag"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

// go test ./service/internal/rig -update writes the wanted text anew: read the difference before it is kept.
var update = flag.Bool("update", false, "write testdata/rigs/heron.understood.txt anew")

func TestHeronIsUnderstood(t *testing.T) {
	r, faults := rig.Parse("heron.yaml", []byte(heronText(t)), nil)
	require.Empty(t, faults)
	got := rig.Understood(r)
	const file = rigs + "heron.understood.txt"
	if *update {
		require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
	}
	assert.Equal(t, text(t, file), got)
}

// unbroken is text without its lines.
func unbroken(s string) string { return strings.Join(strings.Fields(s), " ") }

// Where a limit in the mount stops a tube is said by the meridian, too: a reading in other terms shows there.
func TestAMountLimitIsSaidByTheMeridian(t *testing.T) {
	for kind, says := range map[rig.Kind]map[float64]string{
		rig.German:     {97: "at axis 1 97° (the tube 7° past the meridian), by its own belief", 80: "(the tube 10° before the meridian)"},
		rig.Fork:       {97: "at axis 1 97° (the tube 97° past the meridian), by its own belief"},
		rig.AltAzimuth: {97: "at axis 1 97°, by its own belief"},
	} {
		r, faults := rig.Parse("heron.yaml", []byte(heronText(t)), nil)
		require.Empty(t, faults)
		r.Kind = kind
		for deg, want := range says {
			r.Stop = rig.Fallback{Kind: rig.MountLimit, Axis: 1, Limit: unit.Deg(deg)}
			assert.Contains(t, unbroken(rig.Understood(r)), want, "%s, %g°", kind, deg)
			r.Stop.Axis = 2
			assert.NotContains(t, unbroken(rig.Understood(r)), " the meridian), by", "%s: of axis 2", kind)
		}
	}
}

// A file with a sign turned round reads differently where a person would see it.
func TestMirroredFilesReadDifferently(t *testing.T) {
	wren := text(t, rigs+"wren.yaml")
	for name, c := range map[string][3]string{
		"home":        {"home_deg: [0, 0]", "home_deg: [0, -20]", "Home is axis 1 at 0°, axis 2 at -20°: the tube points toward azimuth 0.0° (north), 78.5° high."},
		"polar error": {"kind: fork equatorial", "kind: fork equatorial\npolar_error: {east_deg: -2, up_deg: 1}", "Polar axis off by 2.00° west, counted along the horizon, and 1.00° up."},
		"apart":       {"tape:\n", "tape:\n  axes_apart_mm: -8\n", "the axes miss each other by 8 mm"},
		"by a way":    {"way_round: within travel", "way_round: unknown\n  goes_by_deg: [[0, 0], [10, 5]]\n  flips_by_deg: [[0, 20]]", "Every slew goes by (0.00°, 0.00°), then (10.00°, 5.00°).\nEvery change of side goes by (0.00°, 20.00°)."},
		"overrun":     {"overrun_deg: [1, 1]", "overrun_deg: [1, 10]", "wren.yaml:42: rests.1: wanted an approach that stays within travel, got (0.00°, -89.00°), overrun by (1.00°, 10.00°); motions there will be denied: move the pose or widen travel_from_home"},
	} {
		in, _ := changed(t, wren, c[0], c[1])
		r, faults := rig.Parse("wren.yaml", []byte(in), nil)
		require.Empty(t, faults, "%s: %s", name, lines(faults))
		assert.Contains(t, unbroken(rig.Understood(r)+lines(r.Notices)), unbroken(c[2]), name)
	}
}

// Margins that home does not keep are told, since every motion from there would be denied.
func TestHomeInsideTheMarginIsNoticed(t *testing.T) {
	in, _ := changed(t, heronText(t), "general_mm: 10", "general_mm: 90")
	r, faults := rig.Parse("heron.yaml", []byte(in), nil)
	require.Empty(t, faults)
	require.Len(t, r.Notices, 1)
	assert.Equal(t, `heron.yaml:15: tape: wanted "hub" (ground) and "tube" (axis 2) at least 110 mm apart at home, as their margins ask, got 108.1 mm between them; motions to and from there will be denied: measure again, or choose smaller margins`, r.Notices[0].String())
}

func TestRoofThatIsInTheWayInOneStateIsNoticed(t *testing.T) {
	in := text(t, rigs+"curlew.yaml")
	in, _ = changed(t, in, "centre_mm: [0, 0, 2240]", "centre_mm: [0, 0, 1800]")
	r, faults := rig.Parse("curlew.yaml", []byte(in), beside)
	require.Empty(t, faults, "open it is clear: %s", lines(faults))
	require.NotEmpty(t, r.Notices)
	assert.Contains(t, r.Notices[0].String(), `"roof" (ground) and "tube" (axis 2) apart at home in every state`)
	in = strings.Replace(in, "centre_mm: [0, 3000, 2240]", "centre_mm: [0, 0, 1750]", 1)
	_, faults = rig.Parse("curlew.yaml", []byte(in), beside)
	assert.NotEmpty(t, faults, "in the way in every state")
}

// A home that a person's eye finds is known to ±3°, as everywhere it is told: proofs count three standard deviations.
func TestUncertaintiesAreToldAsTheyCount(t *testing.T) {
	r, faults := rig.Parse("wren.yaml", []byte(text(t, rigs+"wren.yaml")), nil)
	require.Empty(t, faults)
	assert.Contains(t, unbroken(rig.Understood(r)), "known to ±3° and ±3° (three standard deviations).")
	assert.Contains(t, unbroken(rig.Understood(r)), "side of the clutch, ±0.9° and ±0.9° (three standard deviations).")
}

// A margin that a part states below the limit part_mm counts for nothing, and the list says so; one above it counts.
func TestMarginsOfPartsAreTheLimitAtLeast(t *testing.T) {
	r, faults := rig.Parse("curlew.yaml", []byte(text(t, rigs+"curlew.yaml")), beside)
	require.Empty(t, faults)
	assert.Contains(t, unbroken(rig.Understood(r)), "263 5, or the limit if more")
	required := func(partMM unit.Length) (stated, unstated unit.Length) {
		s := r.Scene(nil, partMM, 0)
		for _, p := range s.Pairs {
			switch [2]string{s.Names[s.Bodies[p.A].Part], s.Names[s.Bodies[p.B].Part]} {
			case [2]string{"cabinet", "guide scope"}: // 20 and 5
				stated = p.Required
			case [2]string{"roof", "tube"}: // neither states one
				unstated = p.Required
			}
		}
		return stated, unstated
	}
	stated, unstated := required(10)
	assert.InDelta(t, 10, float64(stated-unstated), 1e-9, "20 and 10 beside 10 and 10")
	stated, unstated = required(2)
	assert.InDelta(t, 21, float64(stated-unstated), 1e-9, "20 and 5 beside 2 and 2")
}
