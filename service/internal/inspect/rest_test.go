package inspect_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/inspect"
	"keepclear.example/keepclear/service/internal/rig"
)

// byEye is the bittern homed by eye at level, as the blank form has it; its overrun is that of axis 2.
func byEye(t *testing.T, overrun, homing, rest string) []rig.Find {
	t.Helper()
	r := read(t, rigs+"bittern.yaml",
		"  by: sensor\n  axes_move: axis 2 first\n  search_deg: [3, 1]\n  sigma_deg: [0.01, 0.01]\n", homing,
		"axes_deg: [0, 85]", "axes_deg: "+rest, "overrun_deg: [0.5, 0.5]", "overrun_deg: "+overrun)
	return of(rig.RestHeld, inspect.Look(r, defaults, stopped))
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

	const exact = person + "  sigma_deg: [0.91, 0.91]\n"
	assert.Empty(t, byEye(t, "[0.2, 0.2]", exact, "[0, 0]"), "as told")
	assert.Len(t, byEye(t, "[0.2, 0.2]", person+"  sigma_deg: [0.94, 0.94]\n", "[0, 0]"), 2)
	higher := byEye(t, "[0.2, 0.2]", person, "[0, 0.3]")
	require.Len(t, higher, 1, "as told")
	assert.Equal(t, "home_deg", higher[0].Key)
	assert.Len(t, byEye(t, "[0.2, 0.2]", person, "[0, 0.1]"), 2)

	sensed := byEye(t, "[0.2, 0.2]", "  by: sensor\n  sigma_deg: [0.01, 1]\n", "[0, 0]")
	require.Len(t, sensed, 2)
	assert.Contains(t, sensed[0].Remedy, "an uncertainty of home that is smaller helps, of 0.91° or less; homing once more")
	far := byEye(t, "[0.2, 3.2]", exact, "[0, 2.9]")
	require.Len(t, far, 2)
	assert.Contains(t, far[0].Remedy, "however exactly home is known, its overrun alone leads there: correct the angles; homing")
	assert.Contains(t, far[1].Remedy, "--sigma 0.8")

	low := defaults
	low.FloorDeg = -4
	r := read(t, rigs+"bittern.yaml", "  by: sensor\n  axes_move: axis 2 first\n  search_deg: [3, 1]\n  sigma_deg: [0.01, 0.01]\n", person)
	assert.Empty(t, of(rig.RestHeld, inspect.Look(r, low, stopped)), "of the limit that binds")
}
