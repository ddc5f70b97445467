package rig_test

import (
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
)

// about returns what is told of a key, as a fault or as a thing to look at again.
func about(t *testing.T, in, key string) (told string, fault bool) {
	t.Helper()
	r, faults := rig.Parse("x.yaml", []byte(in), beside)
	for _, f := range faults {
		if strings.HasSuffix(f.Key, key) {
			return f.Error(), true
		}
	}
	if r == nil {
		return "", true
	}
	for _, f := range r.Notices {
		if strings.HasSuffix(f.Key, key) {
			return f.String(), false
		}
	}
	return "", r == nil
}

// A limit in the mount is counted as travel is. One in hours, past the meridian or of the low end is believed to stop a rig that goes on until it touches.
func TestAMountLimitThatStopsNothingIsTold(t *testing.T) {
	relay := "stops_it: power relay      # drops the motors' power when nobody has spoken to it for a minute\n  after_s: 60"
	for limit, says := range map[string]string{
		"7":    "wanted a limit near 97.5, where travel ends as it tracks, got 7; it counts from zero, as travel does; if it is counted from the meridian, in degrees past it, from zero it is 97; if it is in hours, in degrees it is 105; if it is right, leave it",
		"6.5":  "if it is in hours, in degrees it is 97.5",
		"0":    "if it is counted from the meridian, in degrees past it, from zero it is 90; if it is right",
		"-97":  "if it is that of the other end of travel, write the one at the high end: tracking turns axis 1 upward and never comes to this",
		"29.9": "it is counted from the meridian",
		"30":   "",
		"66":   "",
		"97":   "",
	} {
		in, _ := changed(t, heronText(t), relay, "stops_it: mount limit\n  axis: 1\n  limit_deg: "+limit)
		told, fault := about(t, in, "limit_deg")
		assert.False(t, fault, "%s: %s", limit, told)
		if says == "" {
			assert.Empty(t, told, limit)
		}
		assert.Contains(t, told, says, limit)
	}
	in, _ := changed(t, heronText(t), relay, "stops_it: mount limit\n  axis: 2\n  limit_deg: 7")
	told, _ := about(t, in, "limit_deg")
	assert.Empty(t, told, "of axis 2 nothing is usual")
}

func TestAPolarErrorInArcminutesIsTold(t *testing.T) {
	for error, says := range map[string]string{
		"{east_deg: 12, up_deg: 0.2}":  "wanted at most 5° either way, as most leave it, got 12; if it is in arcminutes, in degrees it is 0.2; if it is right, leave it",
		"{east_deg: 0.3, up_deg: 5}":   "",
		"{east_deg: -5.1, up_deg: -5}": "in degrees it is -0.085",
	} {
		in, _ := changed(t, heronText(t), "\ntape:", "\npolar_error: "+error+"\ntape:")
		told, fault := about(t, in, "east_deg")
		assert.False(t, fault, "%s: %s", error, told)
		if says == "" {
			assert.Empty(t, told, error)
		}
		assert.Contains(t, told, says, error)
	}
}

// Metres or centimetres for millimetres would make needles of the parts, and prove them clear of everything.
func TestLengthsInAnotherUnitAreTold(t *testing.T) {
	for _, c := range []struct {
		key, old, by string
		fault        bool
		says         string
	}{
		{"tube_diameter_mm", "120", "0.15", true, "wanted a length from 20 to 20000 mm, got 0.15; 0.15 looks like metres: in millimetres it is 150"},
		{"tube_diameter_mm", "120", "15", true, "15 looks like centimetres: in millimetres it is 150 (inches: 381)"},
		{"tube_diameter_mm", "120", "25", false, "wanted a length of 40 mm or more, as most are, got 25; if it is in centimetres, in millimetres it is 250 (inches: 635); if it is right, leave it"},
		{"camera_radius_mm", "85", "0.075", true, "0.075 looks like metres: in millimetres it is 75"},
		{"shield_diameter_mm", "150", "0.17", true, "0.17 looks like metres: in millimetres it is 170"},
		{"bar_diameter_mm", "20", "0.022", true, "0.022 looks like metres: in millimetres it is 22"},
		{"bar_diameter_mm", "20", "2.2", true, "2.2 looks like centimetres: in millimetres it is 22"},
		{"weights_radius_mm", "55", "0.07", true, "0.07 looks like metres: in millimetres it is 70"},
		{"leg_diameter_mm", "50", "0.06", true, "0.06 looks like metres: in millimetres it is 60"},
		{"leg_foot_radius_mm", "520", "0.56", true, "wanted a length from 20 to 20000 mm, or 0, got 0.56; 0.56 looks like metres: in millimetres it is 560"},
		{"leg_top_radius_mm", "70", "0.095", true, "0.095 looks like metres: in millimetres it is 95"},
		{"crossing_north_of_hub_mm", "125", "0.14", false, "wanted a place of 5 mm or more, as most are, got 0.14; if it is in metres, in millimetres it is 140"},
		{"crossing_north_of_hub_mm", "125", "-3", false, "if it is in centimetres, in millimetres it is -30"},
		{"floor_to_crossing_mm", "1300", "1.3", true, "1.3 looks like metres: in millimetres it is 1300"},
		{"floor_to_crossing_mm", "1300", "1.3 ± 0.002", true, "1.3 looks like metres: in millimetres it is 1300"},
		{"front_reach_mm", "520", "7", true, "7 looks like centimetres: in millimetres it is 70"},
	} {
		in, _ := changed(t, heronText(t), c.key+": "+c.old, c.key+": "+c.by)
		told, fault := about(t, in, c.key)
		assert.Contains(t, told, c.says, "%s: %s", c.key, c.by)
		assert.Equal(t, c.fault, fault, "%s: %s: %s", c.key, c.by, told)
	}
	for _, v := range []string{"0", "5", "-5", "6"} {
		in, _ := changed(t, heronText(t), "crossing_north_of_hub_mm: 125", "crossing_north_of_hub_mm: "+v)
		told, _ := about(t, in, "crossing_north_of_hub_mm")
		assert.Empty(t, told, "%s mm is a place like others", v)
	}
}

// Every length of every form is among them: what is written in metres never loads without a word, which says the number that
// stood there before.
func TestNoLengthOfTheFormLoadsInMetresWithoutAWord(t *testing.T) {
	length := regexp.MustCompile(`(?m)^ +(- )?([a-z0-9_]+_mm): (-?[0-9.]+)`)
	seen := 0
	for _, in := range []string{heronText(t), text(t, rigs+"wren.yaml"), text(t, rigs+"bittern.yaml"), strings.Replace(heronText(t), "  tripod:", "  head_diameter_mm: 90\n  axes_apart_mm: 12\n  crossing_east_of_hub_mm: 30\n  tripod:", 1)} {
		for _, at := range length.FindAllStringSubmatchIndex(in, -1) {
			key, value := in[at[4]:at[5]], in[at[6]:at[7]]
			if value == "0" || key == "reading_error_mm" || key == "part_mm" || key == "general_mm" {
				continue
			}
			seen++
			v, err := strconv.ParseFloat(value, 64)
			require.NoError(t, err)
			told, _ := about(t, in[:at[6]]+strconv.FormatFloat(v/1000, 'f', -1, 64)+in[at[7]:], key)
			assert.Contains(t, told, "metres", "%s: %s in metres", key, value)
			assert.Contains(t, told, "in millimetres it is "+value, "%s in metres", key)
		}
	}
	assert.Greater(t, seen, 70)
}

// The smallest honest rigs load, and nothing of theirs is worth a second look.
func TestATravellersRigLoads(t *testing.T) {
	small := map[string]string{
		"floor_to_crossing_mm": "420", "crossing_north_of_hub_mm": "0", "hub_diameter_mm": "45", "hub_bottom_mm": "260", "hub_top_mm": "290", "leg_top_radius_mm": "18",
		"leg_top_height_mm": "265", "leg_foot_radius_mm": "190", "leg_diameter_mm": "14", "crossing_to_tube_mm": "48", "tube_diameter_mm": "40", "front_reach_mm": "110",
		"back_reach_mm": "90", "camera_radius_mm": "22", "camera_from_mm": "60", "bar_diameter_mm": "12", "weights_radius_mm": "22", "weights_from_mm": "50", "weights_to_mm": "85",
	}
	in := regexp.MustCompile(`(?m)^ +shield_.*\n`).ReplaceAllString(heronText(t), "")
	for key, v := range small {
		in = regexp.MustCompile(`(?m)^( +`+key+`:) [0-9]+`).ReplaceAllString(in, "${1} "+v)
	}
	r, faults := rig.Parse("small.yaml", []byte(in), nil)
	require.Empty(t, faults, lines(faults))
	assert.Empty(t, r.Notices, lines(r.Notices))
}

// A cable of 3 mm is a lawful part; a shape in metres is one to look at again, and never said to be 0 across.
func TestThinPartsAreLawful(t *testing.T) {
	with := func(shape string) *rig.Rig {
		in, _ := changed(t, heronText(t), "has_no:", "parts: [{name: cable, fixed_to: axis 2, shapes: ["+shape+"]}]\nhas_no:")
		r, faults := rig.Parse("heron.yaml", []byte(in), nil)
		require.Empty(t, faults, lines(faults))
		return r
	}
	r := with("{capsule: {from_mm: [205, -540, 0], to_mm: [205, -600, 0], diameter_mm: 3}}")
	assert.Empty(t, r.Notices, lines(r.Notices))
	assert.Contains(t, rig.Understood(r), "rod 3.0 across, 63 long")
	for shape, says := range map[string]string{
		"{capsule: {from_mm: [205, -540, 0], to_mm: [205, -600, 0], diameter_mm: 0.08}}":                      "if it is in metres, in millimetres it is 80",
		"{ball: {centre_mm: [205, -600, 0], diameter_mm: 0.3}}":                                               "if it is in metres, in millimetres it is 300",
		"{box: {centre_mm: [205, -600, 0], size_mm: [0.06, 40, 40]}}":                                         "if it is in metres, in millimetres it is 60",
		"{cylinder: {from_mm: [205, -600, 0], to_mm: [205, -600.06, 0], diameter_mm: 30}}":                    "got 0.06 over all; if it is in metres, in millimetres it is 60",
		"{cone: {from_mm: [205, -540, 0], to_mm: [205, -600, 0], diameter_from_mm: 0.1, diameter_to_mm: 20}}": "if it is in metres, in millimetres it is 100",
		"{hull: {points_mm: [[205.3, -600, 0], [205.4, -600, 0], [205.3, -599.9, 0], [205.3, -600, 0.1]]}}":   " over all; if it is in metres, in millimetres it is 187.62",
	} {
		r := with(shape)
		require.Len(t, r.Notices, 1, "%s: %s", shape, lines(r.Notices))
		assert.Contains(t, r.Notices[0].String(), says, shape)
		assert.NotContains(t, rig.Understood(r), " 0 across", shape)
		assert.NotContains(t, rig.Understood(r), "ball 0 ", shape)
	}
}
