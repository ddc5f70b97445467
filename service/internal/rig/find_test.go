package rig_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
)

// change is one place of an example file written otherwise.
type change struct{ old, by string }

// found reads an example with changes, whether it loads or not, and returns what is found of a kind.
func found(t *testing.T, file string, kind rig.FindKind, changes ...change) []rig.Find {
	t.Helper()
	in := heronText(t)
	if file != "heron.yaml" {
		in = text(t, rigs+file)
	}
	for _, c := range changes {
		in, _ = changed(t, in, c.old, c.by)
	}
	_, _, all := rig.Examine(file, []byte(in), beside)
	var out []rig.Find
	for _, f := range all {
		if f.Kind == kind {
			out = append(out, f)
		}
	}
	return out
}

// TestNothingIsFoundInTheExamples: who is told to look again without a cause soon looks no more.
func TestNothingIsFoundInTheExamples(t *testing.T) {
	for _, r := range everyRig(t) {
		assert.Empty(t, r.Notices, "%s:\n%s", r.ID, lines(r.Notices))
	}
}

// onPier stands the heron on a pier; its head is not modelled.
var onPier = []change{{"  tripod:\n    hub_diameter_mm: 140\n    hub_bottom_mm: 1060\n    hub_top_mm: 1150\n    leg_azimuths_deg: [0, 120, 240]\n    leg_top_radius_mm: 70\n    leg_top_height_mm: 1060\n    leg_foot_radius_mm: 520\n    leg_diameter_mm: 50\n", "  pier: {diameter_mm: 160, height_mm: 1050}\n"}}

// TestMirroredFilesAreFound: each file says twice what cannot both be, or what no mount is; the nearest lawful one says nothing.
func TestMirroredFilesAreFound(t *testing.T) {
	for _, c := range []struct {
		name, file string
		wrong      []change
		key, says  string
		right      []change
	}{
		{"a hub on the wrong side of a German", "heron.yaml", []change{{"north_of_hub_mm: 125", "north_of_hub_mm: -125"}},
			"tape.crossing_north_of_hub_mm", "at latitude 46.2° axis 1 would stand 269 mm beside the middle of what carries it; with the other sign 19 mm; turn the sign of crossing_north_of_hub_mm",
			[]change{{"north_of_hub_mm: 125", "north_of_hub_mm: -39"}}},
		{"a pier on the wrong side, with no head", "heron.yaml", append([]change{{"north_of_hub_mm: 125", "north_of_hub_mm: -90"}, {"floor_to_crossing_mm: 1300", "floor_to_crossing_mm: 1320"}}, onPier...),
			"tape.crossing_north_of_hub_mm", "mirrored: at latitude 46.2° axis 1 would stand 349 mm beside the middle of what carries it; with the other sign 169 mm", append([]change{{"north_of_hub_mm: 125", "north_of_hub_mm: 90"}}, onPier...)},
		{"a pier near the middle, in the wrong hemisphere", "heron.yaml", append([]change{{"north_of_hub_mm: 125", "north_of_hub_mm: 60"}, {"latitude_deg: 46.20", "latitude_deg: -46.20"}}, onPier...),
			"tape.crossing_north_of_hub_mm", "mirrored: at latitude -46.2°", append([]change{{"north_of_hub_mm: 125", "north_of_hub_mm: 60"}}, onPier...)},
		{"a German in the wrong hemisphere", "heron.yaml", []change{{"latitude_deg: 46.20", "latitude_deg: -46.20"}}, "tape.crossing_north_of_hub_mm", "at latitude -46.2° axis 1 would stand 269 mm beside", nil},
		{"a fork that leans away", "wren.yaml", []change{{"crossing_north_of_hub_mm: -330 ± 5", "crossing_north_of_hub_mm: 330 ± 5"}},
			"tape.crossing_north_of_hub_mm", "at latitude -31.5° axis 1 would stand 765 mm beside the middle of what carries it; with the other sign 105 mm", []change{{"north_of_hub_mm: -330", "north_of_hub_mm: -200"}}},
		{"a crossing below the hub's top", "heron.yaml", []change{{"floor_to_crossing_mm: 1300", "floor_to_crossing_mm: 1140"}},
			"tape.floor_to_crossing_mm", "upside down: the axes cross 1140 mm above the floor, below the top of what the mount stands on (1150 mm); measure floor_to_crossing_mm and hub_top_mm again, both from the floor", []change{{"floor_to_crossing_mm: 1300", "floor_to_crossing_mm: 1160"}}},
		{"weights up at home", "heron.yaml", []change{{"home_deg: [0, 0]", "home_deg: [150, 0]"}}, "home_deg", "upside down: at home the weights point 37° above level", []change{{"home_deg: [0, 0]", "home_deg: [90, 0]"}}},
		{"travel that only looks down", "bittern.yaml", []change{{"axis2_deg: [-5, 88]", "axis2_deg: [-88, 5]"}, {"  - name: looking up\n    axes_deg: [0, 85]", "  - name: away\n    axes_deg: [0, 0]"}},
			"travel_from_home", "upside down: within travel the tube never looks more than about 5° above level", []change{{"axis2_deg: [-5, 88]", "axis2_deg: [-5, 85]"}}},
		{"travel that looks farther down", "bittern.yaml", []change{{"axis2_deg: [-5, 88]", "axis2_deg: [-60, 42]"}, {"  - name: looking up\n    axes_deg: [0, 85]", "  - name: away\n    axes_deg: [0, 0]"}},
			"travel_from_home.axis2_deg", "within travel the tube looks 60° below level and only 42° above", []change{{"axis2_deg: [-5, 88]", "axis2_deg: [-90, 60]"}, {"axes_deg: [0, 85]", "axes_deg: [0, 55]"}}},
		{"a rest that looks down", "bittern.yaml", []change{{"axis2_deg: [-5, 88]", "axis2_deg: [-70, 88]"}, {"axes_deg: [0, 85]", "axes_deg: [0, -65]"}},
			"rests.1", `the rest "looking up" has the tube point toward azimuth 0.0° (north), -65° high; correct axes_deg`, []change{{"axes_deg: [0, 85]", "axes_deg: [0, 15]"}}},
		{"a rest at the other pole", "wren.yaml", []change{{"axes_deg: [0, -89]", "axes_deg: [0, 59]"}}, "rests.1", `the rest "at the pole" has the tube point toward azimuth 0.0° (north)`, []change{{"axes_deg: [0, -89]", "axes_deg: [0, -60]"}}},
		{"a rest that faces the other way", "bittern.yaml", []change{{"looking up\n    axes_deg: [0, 85]", "facing west\n    axes_deg: [91, 20]"}}, "rests.1", `the rest "facing west" has the tube point toward azimuth 91.0° (east), 20° high`,
			[]change{{"looking up\n    axes_deg: [0, 85]", "facing west\n    axes_deg: [-90, 20]"}}},
		{"a rest named for its weights", "bittern.yaml", []change{{"looking up\n    axes_deg: [0, 85]", "home, facing south\n    axes_deg: [0, 20]"}}, "rests.1", `the rest "home, facing south" has the tube point toward azimuth 0.0° (north)`,
			[]change{{"looking up\n    axes_deg: [0, 85]", "weights pointing down\n    axes_deg: [0, 85]"}}},
		{"a hub as thin as what the crossing stands off it", "heron.yaml", []change{{"north_of_hub_mm: 125", "north_of_hub_mm: -41"}, {"floor_to_crossing_mm: 1300", "floor_to_crossing_mm: 1190"}, {"hub_diameter_mm: 140", "hub_diameter_mm: 70"}},
			"tape.crossing_north_of_hub_mm", "axis 1 would stand 79 mm beside", []change{{"north_of_hub_mm: 125", "north_of_hub_mm: -39"}, {"floor_to_crossing_mm: 1300", "floor_to_crossing_mm: 1190"}, {"hub_diameter_mm: 140", "hub_diameter_mm: 70"}}},
		{"weights on the tube's side", "heron.yaml", []change{{"has_no:", "parts: [{name: counterweights, fixed_to: axis 1, shapes: [{cylinder: {from_mm: [350, 0, 0], to_mm: [400, 0, 0], diameter_mm: 60}}]}]\nhas_no:"}},
			"parts.1", `mirrored: "counterweights" stand on the tube's side of axis 1`, []change{{"has_no:", "parts: [{name: counterweights, fixed_to: axis 1, shapes: [{cylinder: {from_mm: [-350, 0, 0], to_mm: [-400, 0, 0], diameter_mm: 60}}]}]\nhas_no:"}}},
		{"a camera at the front", "heron.yaml", []change{{"has_no:", "parts: [{name: camera, fixed_to: axis 2, shapes: [{cylinder: {from_mm: [205, 480, 0], to_mm: [205, 540, 0], diameter_mm: 90}}]}]\nhas_no:"}},
			"parts.1", `back to front: "camera" stands before "dew shield"`, []change{{"has_no:", "parts: [{name: camera, fixed_to: axis 2, shapes: [{cylinder: {from_mm: [205, -480, 0], to_mm: [205, -540, 0], diameter_mm: 90}}]}]\nhas_no:"}}},
		{"a shield counted backward", "heron.yaml", []change{{"shield_from_mm: 300", "shield_from_mm: -300"}},
			"tape.shield_from_mm", "wanted a place before axis 2, counted forward, got -300; back to front: write it without the minus", []change{{"shield_from_mm: 300", "shield_from_mm: 0"}}},
		{"a camera counted forward", "heron.yaml", []change{{"camera_from_mm: 380", "camera_from_mm: -380"}},
			"tape.camera_from_mm", "wanted a place behind axis 2, counted backward, got -380", []change{{"camera_from_mm: 380", "camera_from_mm: 0"}}},
		{"a cupboard under the floor", "heron.yaml", []change{{"has_no:", "parts: [{name: cupboard, fixed_to: ground, shapes: [{box: {centre_mm: [0, 2000, -300], size_mm: [500, 500, 600]}}]}]\nhas_no:"}},
			"parts.1", `upside down: all of "cupboard" lies under the floor`, []change{{"has_no:", "parts: [{name: cupboard, fixed_to: ground, shapes: [{box: {centre_mm: [0, 2000, -299], size_mm: [500, 500, 600]}}]}]\nhas_no:"}}},
	} {
		all := found(t, c.file, rig.Mirrored, c.wrong...)
		if assert.Len(t, all, 1, "%s: %s", c.name, lines(all)) {
			assert.Equal(t, c.key, all[0].Key, c.name)
			assert.Positive(t, all[0].Line, c.name)
			assert.Contains(t, all[0].String(), c.says, c.name)
		}
		if c.right != nil {
			assert.Empty(t, found(t, c.file, rig.Mirrored, c.right...), "the right one of %s", c.name)
		}
	}
}

// TestAnglesInAnotherUnitAreFound: radians and hours written for degrees, and a pressure that is none of the place.
func TestAnglesInAnotherUnitAreFound(t *testing.T) {
	for _, c := range []struct {
		file      string
		wrong     []change
		key, says string
		right     []change
	}{
		{"heron.yaml", []change{{"axis1_deg: [-97.5, 97.5]", "axis1_deg: [-1.7, 1.7]"}}, "travel_from_home.axis1_deg", "wanted 20° from end to end or more, as most have, got 3.4°; if it is in radians, in degrees it is [-97.4, 97.4]; if in hours, in degrees it is [-25.5, 25.5]; if it is right, leave it",
			[]change{{"axis1_deg: [-97.5, 97.5]", "axis1_deg: [-10, 10]"}}},
		{"heron.yaml", []change{{"axis1_deg: [-97.5, 97.5]", "axis1_deg: [-6.5, 6.5]"}}, "travel_from_home.axis1_deg", "got 13°; if it is in hours, in degrees it is [-97.5, 97.5]", nil},
		{"heron.yaml", []change{{"axis2_deg: [-180, 180]", "axis2_deg: [-3.14, 3.14]"}}, "travel_from_home.axis2_deg", "if it is in radians, in degrees it is [-179.9, 179.9]; if it is right", nil},
		{"heron.yaml", []change{{"leg_azimuths_deg: [0, 120, 240]", "leg_azimuths_deg: [0, 2.094, 4.189]"}}, "tape.tripod.leg_azimuths_deg", "none beyond 4.189°; if they are in radians, the last is 240°", []change{{"[0, 120, 240]", "[0, 60, 350]"}}},
		{"bittern.yaml", []change{{"[[0, 20], [90, 8], [180, 5], [270, 22]]", "[[0, 0.3], [1.57, 0.1], [3.14, 0.1], [4.71, 0.4]]"}}, "horizon_deg", "none beyond 4.71°; if they are in radians, the last is 269.9°", []change{{"[[0, 20], [90, 8], [180, 5], [270, 22]]", "[[0, 20], [1, 8], [2, 5], [270, 22]]"}}},
		{"heron.yaml", []change{{"latitude_deg: 46.20", "latitude_deg: 0.8063"}, {"longitude_deg: 11.10", "longitude_deg: 0.1937"}}, "site.latitude_deg", "wanted a place on land, got 0.8063, 0.1937, in the open sea off Africa; if both are in radians, in degrees they are 46.2 and 11.1",
			[]change{{"latitude_deg: 46.20", "latitude_deg: 0.8063"}}},
		{"heron.yaml", []change{{"height_m: 640", "height_m: 2640\n  pressure_hpa: 1013"}}, "site.pressure_hpa", "as at 2640 m above the sea, got 1013; it is the pressure at the rig, not reduced to the sea", []change{{"height_m: 640", "height_m: 640\n  pressure_hpa: 900"}}},
		{"heron.yaml", []change{{"height_m: 640", "height_m: 640\n  pressure_hpa: 704"}}, "site.pressure_hpa", "wanted some 939 hPa", nil},
	} {
		all := found(t, c.file, rig.OtherUnit, c.wrong...)
		if assert.Len(t, all, 1, "%v: %s", c.wrong, lines(all)) {
			assert.Equal(t, c.key, all[0].Key)
			assert.Positive(t, all[0].Line, c.key)
			assert.Contains(t, all[0].String(), c.says)
		}
		if c.right != nil {
			assert.Empty(t, found(t, c.file, rig.OtherUnit, c.right...), "%v", c.right)
		}
	}
}

// TestWhatAnAltAzimuthCannotTellIsFound: of an equatorial it drops out, and nothing is said.
func TestWhatAnAltAzimuthCannotTellIsFound(t *testing.T) {
	at := change{"counts_syncs: yes", "counts_syncs: yes\n  tells_sidereal_time: no"}
	all := found(t, "bittern.yaml", rig.Untold, at)
	require.Len(t, all, 1, lines(all))
	assert.Equal(t, "mount.tells_sidereal_time", all[0].Key)
	assert.Positive(t, all[0].Line)
	assert.Contains(t, all[0].String(), "with a wrong sidereal time an alt-azimuth turns anywhere: while none is told, slews to the sky, parks by belief, tracking and syncs are held; have its")
	assert.Contains(t, all[0].Remedy, "mount_lst_deg")
	all = found(t, "bittern.yaml", rig.Untold, change{at.old, at.by + "\n  tells_site: no"}, change{"pose_sources:\n", "pose_sources:\n  - kind: unsynced belief\n    sigma_deg: [0.3, 0.3]\n"})
	require.Len(t, all, 2, lines(all))
	assert.Equal(t, "mount.tells_site", all[1].Key)
	assert.Contains(t, all[1].String(), "with a wrong latitude")
	assert.Contains(t, all[1].String(), "are held, and its belief is no source of the pose")
	assert.Contains(t, all[1].Remedy, "mount_site")
	assert.Contains(t, all[0].Remedy, "or let somebody tell it once after each homing, as")
	all = found(t, "bittern.yaml", rig.Untold, at, change{"  - kind: axis encoder\n    sigma_deg: [0.01, 0.01]\n  - kind: motor count\n    clutch_side: motor\n", "  - kind: unsynced belief\n"})
	require.Len(t, all, 1, lines(all))
	assert.Contains(t, all[0].Remedy, "or let somebody tell it each time, as mount_lst_deg of every sample (a right")
	assert.Empty(t, found(t, "bittern.yaml", rig.Untold, change{at.old, at.old + "\n  tells_sidereal_time: yes\n  tells_site: yes"}))
	assert.Empty(t, found(t, "wren.yaml", rig.Untold), "a fork that tells none")
}

// TestLengthsThatDoNotGoTogetherAreFound: lawful each by itself, so large that no size of its own tells.
func TestLengthsThatDoNotGoTogetherAreFound(t *testing.T) {
	for _, c := range []struct {
		wrong     []change
		key, says string
		right     []change
	}{
		{[]change{{"front_reach_mm: 330", "front_reach_mm: 61"}, {"back_reach_mm: 330", "back_reach_mm: 620"}}, "tape.front_reach_mm", "wanted a tube that balances, with back_reach_mm 620, got 61; look at both for a digit too many or too few, and at the unit: as centimetres it is 610 mm, as inches 1549",
			[]change{{"front_reach_mm: 330", "front_reach_mm: 61"}, {"back_reach_mm: 330", "back_reach_mm: 366"}}},
		{[]change{{"front_reach_mm: 330", "front_reach_mm: 1920"}, {"back_reach_mm: 330", "back_reach_mm: 280"}}, "tape.back_reach_mm", "wanted a tube that balances, with front_reach_mm 1920, got 280", nil},
		{[]change{{"front_reach_mm: 330", "front_reach_mm: 70"}, {"back_reach_mm: 330", "back_reach_mm: 80"}, {"  camera_radius_mm: 60\n  camera_from_mm: 250\n", ""}}, "tape.front_reach_mm", "wanted a tube longer than wide (back_reach_mm 80, tube_diameter_mm 240), got 70",
			[]change{{"front_reach_mm: 330", "front_reach_mm: 130"}, {"back_reach_mm: 330", "back_reach_mm: 110"}, {"  camera_radius_mm: 60\n  camera_from_mm: 250\n", ""}}},
	} {
		all := found(t, "wren.yaml", rig.OtherUnit, c.wrong...)
		if assert.Len(t, all, 1, "%v: %s", c.wrong, lines(all)) {
			assert.Equal(t, c.key, all[0].Key)
			assert.Contains(t, all[0].String(), c.says)
		}
		if c.right != nil {
			assert.Empty(t, found(t, "wren.yaml", rig.OtherUnit, c.right...), "%v", c.right)
		}
	}
	all := found(t, "wren.yaml", rig.OtherUnit, change{"front_reach_mm: 330", "front_reach_mm: 33"})
	require.Len(t, all, 1, "told once: %s", lines(all))
	all = found(t, "heron.yaml", rig.OtherUnit, change{"crossing_to_tube_mm: 205", "crossing_to_tube_mm: 39"})
	require.Len(t, all, 1, lines(all))
	assert.Contains(t, all[0].String(), "tape.crossing_to_tube_mm: wanted a tube beyond the crossing, not around it, with tube_diameter_mm 120, got 39; look at the unit: as centimetres it is 390 mm")
	wall := func(from, to string) []rig.Find {
		return found(t, "bittern.yaml", rig.OtherUnit, change{"- from_mm: [-1500, 1200]\n      to_mm: [1500, 1200]", "- from_mm: " + from + "\n      to_mm: " + to})
	}
	all = wall("[-150, 120]", "[150, 120]")
	require.Len(t, all, 1, lines(all))
	assert.Contains(t, all[0].String(), "tape.walls.1: wanted a wall beside what the mount stands on, got one that runs through the pier; look at the unit of from_mm and to_mm")
	assert.Empty(t, wall("[-150, 180]", "[150, 180]"))
}

// TestPairsThatAlwaysTouchAreProposed: the line is proposed for what touches at every pose, and for nothing that touches at home alone.
func TestPairsThatAlwaysTouchAreProposed(t *testing.T) {
	plate := func(box string) string {
		in, _ := changed(t, heronText(t), "has_no:", "parts: [{name: plate, fixed_to: axis 1, shapes: [{box: "+box+"}]}]\nhas_no:")
		_, faults := rig.Parse("heron.yaml", []byte(in), nil)
		require.Len(t, faults, 1, lines(faults))
		return faults[0].Remedy
	}
	assert.Contains(t, plate("{centre_mm: [190, 0, 0], size_mm: [100, 100, 100]}"), "they touch wherever axis 2 stands: if they belong together, write always_touch: [[plate, tube]]")
	aside := plate("{centre_mm: [205, 250, 0], size_mm: [100, 60, 60]}")
	assert.Contains(t, aside, "no pair for always_touch: with axis 2 at ")
	assert.NotContains(t, aside, "write")
	for _, c := range []struct {
		gap  float64
		says string
	}{{0.5, "they touch wherever axis 2 stands: if they belong together, write always_touch: [[saddle, tube]]"}, {1.5, ""}} {
		// A disc about axis 2 whose face lies so far below the tube, which is 120 mm across.
		all := found(t, "heron.yaml", rig.Touching, change{"has_no:", fmt.Sprintf("parts: [{name: saddle, fixed_to: axis 1, shapes: [{cylinder: {from_mm: [60, 0, 0], to_mm: [%g, 0, 0], diameter_mm: 80}}]}]\nhas_no:", 205-60-c.gap)})
		if c.says == "" {
			assert.Empty(t, all)
			continue
		}
		require.Len(t, all, 1)
		assert.Contains(t, all[0].Remedy, c.says)
	}
}

// TestFindsAreSaidWorstFirst: what is only to be known comes last, several alike share their remedy, and nothing is said of nothing.
func TestFindsAreSaidWorstFirst(t *testing.T) {
	at := func(kind rig.FindKind, info bool, line int) rig.Find {
		return rig.Find{File: "x.yaml", Line: line, Key: "tape", Kind: kind, Info: info, Words: fmt.Sprintf("found on %d", line), Remedy: fmt.Sprintf("do %d", kind)}
	}
	other := at(rig.Mirrored, false, 5)
	other.Remedy = "do something else"
	all := rig.Ordered([]rig.Find{other, at(rig.Unchanging, true, 9), at(rig.Overruns, false, 7), at(rig.Unchanging, true, 3), at(rig.Mirrored, false, 8), at(rig.Mirrored, false, 2)})
	assert.Equal(t, strings.Join([]string{
		"Look at again, the worst first:", "  x.yaml:2: tape", "    Found on 2.", "    Do 2.", "  x.yaml:5: tape", "    Found on 5.", "    Do something else.", "  x.yaml:8: tape", "    Found on 8.", "    Do 2.", "  x.yaml:7: tape", "    Found on 7.", "    Do 11.",
		"To know, nothing is wrong:", "  x.yaml:3: tape", "    Found on 3.", "  x.yaml:9: tape", "    Found on 9.", "    Do 10.", "",
	}, "\n"), rig.SayFinds(all))
	assert.Empty(t, rig.SayFinds(nil))
}
