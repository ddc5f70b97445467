package rig_test

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
)

// emptyLine finds the lines of a form that wait for a value: a key, a colon, nothing but a comment.
var emptyLine = regexp.MustCompile(`^( *)([a-z0-9_]+): *(#.*)?$`)

// A form is refused with one fault for every line that is still empty, in the order of the lines, and for nothing else.
func TestBlankAsksForEveryEmptyLineInOrder(t *testing.T) {
	for _, k := range []rig.Kind{rig.German, rig.Fork, rig.AltAzimuth} {
		form := rig.Blank(k)
		all := strings.Split(form, "\n")
		var want []int
		for i, line := range all {
			m := emptyLine.FindStringSubmatch(line)
			if m == nil {
				continue
			}
			if next := all[min(i+1, len(all)-1)]; strings.HasPrefix(next, m[1]+"  ") && !strings.HasPrefix(strings.TrimSpace(next), "#") {
				continue // a block: its keys stand below
			}
			if m[2] == "tape" || m[2] == "site" || m[2] == "motion" || m[2] == "mount" || m[2] == "homing" || m[2] == "travel_from_home" {
				continue
			}
			want = append(want, i+1)
		}
		require.Greater(t, len(want), 25, "lines to fill in")
		r, faults := rig.Parse("form.yaml", []byte(form), nil)
		require.Nil(t, r)
		var got []int
		for _, f := range faults {
			got = append(got, f.Line)
			assert.Equal(t, "nothing", f.Got, f.Error())
			assert.Contains(t, all[f.Line-1], f.Key[strings.LastIndex(f.Key, ".")+1:], "the line of %s", f)
		}
		assert.Equal(t, want, got, "%s:\n%s", k, lines(faults))
	}
}

// Filled in, a form is a rig: the lengths of the demo's rig, in the lines of the form.
func TestBlankFilledInLoads(t *testing.T) {
	heronKeys := regexp.MustCompile(`(?m)^( *)([a-z0-9_]+): ([^#\n]+)`)
	values := map[string]string{}
	for _, m := range heronKeys.FindAllStringSubmatch(heronText(t), -1) {
		values[m[2]] = strings.TrimSpace(m[3])
	}
	values["flips_while_tracking"] = "no"
	var out []string
	for _, line := range strings.Split(rig.Blank(rig.German), "\n") {
		if m := emptyLine.FindStringSubmatch(line); m != nil && values[m[2]] != "" {
			line = m[1] + m[2] + ": " + values[m[2]]
		}
		out = append(out, line)
	}
	r, faults := rig.Parse("form.yaml", []byte(strings.Join(out, "\n")), nil)
	require.Empty(t, faults, lines(faults))
	want := heron(t)
	require.Len(t, r.Parts, len(want.Parts))
	for i, p := range r.Parts {
		assert.Equal(t, want.Parts[i].Shapes, p.Shapes, p.Name)
	}
	assert.Equal(t, rig.KeptUnknown, r.Mount.Sync, "not said: both are judged")
	assert.Equal(t, rig.AnyOrder, r.Motion.Sharing)
}

func TestBlankShowsItsDrawing(t *testing.T) {
	for _, k := range []rig.Kind{rig.German, rig.Fork, rig.AltAzimuth} {
		form := rig.Blank(k)
		drawn := ""
		for _, line := range strings.Split(form, "\n") {
			if strings.HasPrefix(line, "#") {
				drawn += line + "\n"
			}
			assert.LessOrEqual(t, len([]rune(line)), 140, "fits a screen: %s", line)
		}
		keys := []string{"front_reach", "back_reach", "shield_from", "camera_from", "camera_radius", "shield_diameter"}
		if k == rig.German {
			keys = append(keys, "floor_to_crossing", "crossing_north_of_hub", "hub_top", "hub_bottom", "leg_foot_radius", "leg_top_radius", "crossing_to_tube", "weights_from", "weights_to", "weights_radius")
		} else {
			keys = append(keys, "arm_gap", "arm_length", "arm_thickness", "arm_width", "arm_beyond_axis2", "base_diameter", "base_height")
		}
		for _, key := range keys {
			assert.Contains(t, drawn, key, "%s: the drawing shows what is asked for", k)
		}
	}
}

// What a form only shows, as a line to be taken out of its comment, is lawful as it stands; and beside each default it stands what
// that costs.
func TestBlankShowsWhatMayBeAdded(t *testing.T) {
	shown := regexp.MustCompile(`(?m)^# ([a-z_]+: .*)$`)
	for _, k := range []rig.Kind{rig.German, rig.Fork, rig.AltAzimuth} {
		form := rig.Blank(k)
		in, keys := heronText(t), ""
		in = regexp.MustCompile(`(?ms)^optics:.*?^has_no`).ReplaceAllString(in, "has_no")
		for _, m := range shown.FindAllStringSubmatch(form, -1) {
			keys += m[1] + "\n"
			if k == rig.German || !strings.HasPrefix(m[1], "always_touch: ") { // a fork's are parts that heron has none of
				in = strings.Replace(in, "\nhome_deg:", "\n"+m[1]+"\nhome_deg:", 1)
			}
		}
		for _, key := range []string{"polar_error: {", "always_touch: [[", "rests: [{name: ", "optics: [{name: "} {
			assert.Contains(t, keys, key, k)
		}
		in = strings.Replace(in, "  crossing_to_tube_mm:", "  head_diameter_mm: 90\n  crossing_to_tube_mm:", 1) // the mount body of the pair shown
		r, faults := rig.Parse("form.yaml", []byte(in), nil)
		require.Empty(t, faults, lines(faults))
		assert.Len(t, r.Rests, 1)
		assert.Len(t, r.Optics, 1)
		assert.NotZero(t, r.Tilt)
		flat := strings.Join(strings.Fields(strings.ReplaceAll(form, "#", "")), " ")
		for _, cost := range []string{
			"slews near legs are refused more often", "both are judged, so that ", "tracking is then held unless nothing would touch within 24 h",
			"holds every sync", "does not load", "nobody can ask for park", "less sure with each motion",
		} {
			assert.Contains(t, flat, cost, k)
		}
	}
}

// Who chooses the side is for the person to say: an empty line is told the choices, those of its kind.
func TestSideHasToBeChosen(t *testing.T) {
	for k, want := range map[rig.Kind]string{
		rig.German:     "wanted hour angle, asker or any, got nothing; hour angle: the mount, by which half of the sky the target is in: most do; asker: ",
		rig.Fork:       "wanted hour angle, asker, first only or any, got nothing; first only: none, it never turns over the top: most do not; hour angle: ",
		rig.AltAzimuth: "wanted hour angle, asker, first only or any, got nothing; first only: ",
	} {
		_, faults := rig.Parse("form.yaml", []byte(rig.Blank(k)), nil)
		assert.Contains(t, lines(faults), "mount.side_chosen_by: "+want, k)
		assert.Contains(t, lines(faults), "both are judged, so that ", k)
	}
}

// A form shows what its own kind of mount has and no other, and no place of rest at which no motion could end.
func TestBlankIsOfItsKind(t *testing.T) {
	german := []string{"head_diameter_mm", "mount body", "weights down, tube at the pole is [0, 0]", "on the left of who looks"}
	others := []string{"fork:", "0 between fork arms", "left arm", "where the tube points at zero"}
	for k, c := range map[rig.Kind]struct{ has, not []string }{
		rig.German:     {append(german, "parked, axes_deg: [0, 0]"), append(others, "German", "alt-azimuth")},
		rig.Fork:       {append(others, "parked, axes_deg: [0, 0]", "tube at the meridian on the equator is [0, 0]"), append(german, "German", "alt-azimuth")},
		rig.AltAzimuth: {append(others, "parked, axes_deg: [0, 5]", "tube north, level is [0, 0]"), append(german, "German", "axes_deg: [0, 0]")},
	} {
		form := rig.Blank(k)
		for _, words := range c.has {
			assert.Contains(t, form, words, k)
		}
		for _, words := range c.not {
			assert.NotContains(t, form, words, k)
		}
		for _, mark := range []string{"KIND", "CHOICES", "APART", "HEAD", "BETWEEN", "TOUCH", "HOME", "REST"} {
			assert.NotContains(t, form, mark, k)
		}
	}
}
