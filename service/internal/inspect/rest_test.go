package inspect_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/inspect"
	"keepclear.example/keepclear/service/internal/rig"
)

// byEye is the bittern homed by eye at level, as the blank form has it; its overrun is that of axis 2.
func byEye(t *testing.T, overrun, homing, rest string, sigma ...float64) []rig.Find {
	t.Helper()
	r := read(t, rigs+"bittern.yaml",
		"  by: sensor\n  axes_move: axis 2 first\n  search_deg: [3, 1]\n  sigma_deg: [0.01, 0.01]\n", homing,
		"axes_deg: [0, 85]", "axes_deg: "+rest, "overrun_deg: [0.5, 0.5]", "overrun_deg: "+overrun)
	return of(rig.RestHeld, inspect.Look(told(r, sigma), defaults, stopped))
}

// told is a rig with home stated to so many degrees of both axes; with none as its file has it.
func told(r *rig.Rig, sigma []float64) *rig.Rig {
	if len(sigma) > 0 {
		r.Homing.Sigma = rig.DegAxes(sigma[0], sigma[1])
	}
	return r
}

// TestRestsThatNoMotionReaches: home and a level rest of a rig that is homed by eye could lie below the floor by three of its standard deviations and the
// overrun. What is told to help does.
func TestRestsThatNoMotionReaches(t *testing.T) {
	t.Parallel()
	const person = "  by: person\n"
	all := byEye(t, "[0.2, 0.2]", person, "[0, 0]")
	require.Len(t, all, 2)
	assert.Equal(t, []string{"home_deg", "rests.1"}, []string{all[0].Key, all[1].Key})
	assert.False(t, all[0].Info)
	assert.Positive(t, all[0].Line)
	assert.Regexp(t, `^no slew or park to home is allowed: home and axes are known to ±3° and ±3°, so that with the overrun the tube could point down to -3\.2\d° there, and sky/floor is -3°$`, all[0].Words)
	assert.Contains(t, all[1].Words, `to the rest "looking up" is allowed`)
	assert.Equal(t, "tell home with a smaller uncertainty if it is seen so exactly (tell bittern homed --sigma 0.91); homing once more does not make it more exact, and the limit can only be raised", all[0].Remedy)
	assert.Contains(t, all[1].Remedy, "--sigma 0.91), or choose one where the tube points 0.3° up or more; homing once more")

	assert.Empty(t, byEye(t, "[0.2, 0.2]", person, "[0, 0]", 0.91, 0.91), "as told")
	assert.Len(t, byEye(t, "[0.2, 0.2]", person, "[0, 0]", 0.94, 0.94), 2)
	higher := byEye(t, "[0.2, 0.2]", person, "[0, 0.3]")
	require.Len(t, higher, 1, "as told")
	assert.Equal(t, "home_deg", higher[0].Key)
	assert.Len(t, byEye(t, "[0.2, 0.2]", person, "[0, 0.1]"), 2)

	sensed := byEye(t, "[0.2, 0.2]", "  by: sensor\n  sigma_deg: [0.01, 1]\n", "[0, 0]")
	require.Len(t, sensed, 2)
	assert.Contains(t, sensed[0].Remedy, "an uncertainty of home that is smaller helps, of 0.91° or less; homing once more")
	far := byEye(t, "[0.2, 3.2]", person, "[0, 2.9]", 0.91, 0.91)
	require.Len(t, far, 3, "home is too near the end of travel besides")
	assert.Contains(t, far[0].Remedy, "however exactly home is known, that is too low, its overrun counted: correct the angles; homing")
	assert.Contains(t, far[2].Remedy, "--sigma 0.8")

	low := defaults
	low.FloorDeg = -4
	r := read(t, rigs+"bittern.yaml", "  by: sensor\n  axes_move: axis 2 first\n  search_deg: [3, 1]\n  sigma_deg: [0.01, 0.01]\n", person, "axes_deg: [0, 85]", "axes_deg: [0, 60]")
	assert.Empty(t, of(rig.RestHeld, inspect.Look(r, low, stopped)), "of the limit that binds")
}

// TestRestsAtTheEndsOfTravel: home at the end of an axis's travel, as where a level tube is its lowest, is as little reached.
func TestRestsAtTheEndsOfTravel(t *testing.T) {
	t.Parallel()
	ends := func(low, high, overrun, homing string, sigma ...float64) []rig.Find {
		r := read(t, rigs+"bittern.yaml",
			"  by: sensor\n  axes_move: axis 2 first\n  search_deg: [3, 1]\n  sigma_deg: [0.01, 0.01]\n", homing,
			"axes_deg: [0, 85]", "axes_deg: [0, 60]", "home_deg: [0, 0]", "home_deg: [0, 30]", "axis2_deg: [-5, 88]", "axis2_deg: ["+low+", "+high+"]", "overrun_deg: [0.5, 0.5]", "overrun_deg: [0, "+overrun+"]")
		return of(rig.RestHeld, inspect.Look(told(r, sigma), defaults, stopped))
	}
	const person = "  by: person\n"
	all := ends("-1.4", "50", "0.2", person)
	require.Len(t, all, 1)
	assert.Equal(t, "home_deg", all[0].Key)
	assert.Equal(t, "no slew or park to home is allowed: home and axes are known to ±3° and ±3°, so that with the overrun axis 2 could turn to 26.8°, and its travel ends at 28.6°", all[0].Words)
	assert.Equal(t, "tell home with a smaller uncertainty if it is seen so exactly (tell bittern homed --sigma 0.4), or widen travel_from_home if the axis can turn so far; homing once more does not make it more exact", all[0].Remedy)
	assert.Empty(t, ends("-1.4", "50", "0.2", person, 1, 0.4), "as told")
	assert.Len(t, ends("-1.4", "50", "0.2", person, 1, 0.41), 1)
	assert.Empty(t, ends("-3.2", "50", "0.2", person))
	assert.Len(t, ends("-3.19", "50", "0.2", person), 1)
	high := ends("-10", "33.1", "0.2", person)
	require.Len(t, high, 1)
	assert.Equal(t, "rests.1", high[0].Key)
	assert.Contains(t, high[0].Words, `to the rest "looking up" is allowed: home and axes are known to ±3° and ±3°, so that with the overrun axis 2 could turn to 63.2°, and its travel ends at 63.1°`)
	assert.Empty(t, ends("-10", "33.2", "0.2", person))
	assert.Empty(t, ends("-0.1", "50", "0.2", person), "of the overrun alone the file's own look tells")
	none := ends("-0.2", "50", "0.2", person)
	require.Len(t, none, 1)
	assert.Contains(t, none[0].Remedy, "no home is known so exactly: choose another pose, or widen")
	aside := read(t, rigs+"bittern.yaml", "  by: sensor\n  axes_move: axis 2 first\n  search_deg: [3, 1]\n  sigma_deg: [0.01, 0.01]\n", person, "home_deg: [0, 0]", "home_deg: [0, 30]", "axis2_deg: [-5, 88]", "axis2_deg: [-5, 60]",
		"axis1_deg: [-270, 270]", "axis1_deg: [-2, 270]")
	f := of(rig.RestHeld, inspect.Look(aside, defaults, stopped))
	require.Len(t, f, 2)
	assert.Contains(t, f[0].Words, "axis 1 could turn to -3.5°, and its travel ends at -2°")
}

// TestPosesThatAreNeverSharp: an uncertainty in another unit holds every motion for ever; one that is only rough, or that a person states, does not.
func TestPosesThatAreNeverSharp(t *testing.T) {
	t.Parallel()
	sharp := defaults
	sharp.SharpDeg = 1.2
	look := func(source, home string) []rig.Find {
		r := read(t, rigs+"curlew.yaml", "clutch_side: motor\n    sigma_deg: [0.05, 0.05]", "clutch_side: motor\n    sigma_deg: "+source, "search_deg: [2, 2]\n  sigma_deg: [0.05, 0.05]", "search_deg: [2, 2]\n  sigma_deg: "+home)
		return slices.DeleteFunc(of(rig.RestHeld, inspect.Look(r, sharp, stopped)), func(f rig.Find) bool { return !strings.Contains(f.Words, "ever allowed") })
	}
	assert.Empty(t, look("[0.05, 0.05]", "[0.05, 0.05]"))
	assert.Empty(t, look("[1.2, 1.2]", "[1.2, 1]"))
	f := look("[0.05, 5]", "[0.05, 0.05]")
	require.Len(t, f, 1)
	assert.Equal(t, "pose_sources.1", f[0].Key)
	assert.Equal(t, "no slew, track, flip or park is ever allowed: by motor count itself an axis is known to 5° (one standard deviation), and pose/sharp is 1.2°", f[0].Words)
	assert.Equal(t, "look at the unit: sigma_deg is in degrees (arcminutes would be 0.083, arcseconds 0.001); or find it more exactly", f[0].Remedy)
	f = look("[0.05, 0.05]", "[3, 0.05]")
	require.Len(t, f, 1)
	assert.Equal(t, "homing.sigma_deg", f[0].Key)
	assert.Contains(t, f[0].Words, "by home an axis is known to 3°")
}
