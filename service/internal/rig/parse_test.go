package rig_test

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
)

const rigs = "../../../testdata/rigs/"

// beside opens the files that example rigs name.
func beside(name string) ([]byte, error) { return os.ReadFile(rigs + name) }

// text returns an example file.
func text(t testing.TB, file string) string {
	t.Helper()
	content, err := os.ReadFile(file)
	require.NoError(t, err)
	return string(content)
}

func heronText(t testing.TB) string { return text(t, "../practice/heron.yaml") }

// changed returns a text with one place in it replaced, and the line on which that place begins.
func changed(t testing.TB, in, old, by string) (out string, line int) {
	t.Helper()
	require.Equal(t, 1, strings.Count(in, old), "%q stands once in the file", old)
	at := strings.Index(in, old)
	return in[:at] + by + in[at+len(old):], 1 + strings.Count(in[:at], "\n")
}

func TestFaultsNameLineKeyAndRemedy(t *testing.T) {
	cases := []struct{ name, old, by, key, sentence string }{
		{"a length missing", "  back_reach_mm: 540\n", "", "tape.back_reach_mm", "wanted a length from 10 to 20000 mm, got nothing; along the tube from axis 2 to the rear end, camera and plugs included, focuser out"},
		{"a length without its value", "tube_diameter_mm: 120", "tube_diameter_mm:", "tape.tube_diameter_mm", "wanted a length from 20 to 20000 mm, got nothing; across the widest place of tube, rings and finder rail"},
		{"a unit behind a number", "front_reach_mm: 520", "front_reach_mm: 52 cm", "tape.front_reach_mm", `wanted a length from 10 to 20000 mm, got "52 cm"; write the number alone, without unit or quotation marks`},
		{"a number as text", "front_reach_mm: 520", `front_reach_mm: "520"`, "tape.front_reach_mm", `wanted a length from 10 to 20000 mm, got the text "520"; write the number alone, without unit or quotation marks`},
		{"not a number", "front_reach_mm: 520", "front_reach_mm: .nan", "tape.front_reach_mm", `wanted a length from 10 to 20000 mm, got ".nan"; it must be a number: measure it`},
		{"not a number, in capitals", "front_reach_mm: 520", "front_reach_mm: +NaN", "tape.front_reach_mm", `got "+NaN"; it must be a number: measure it`},
		{"a comma before the decimals", "latitude_deg: 46.20", "latitude_deg: 46,2", "site.latitude_deg", `got "46,2"; write a point before the decimals: 46.2`},
		{"a comma in a reading error", "floor_to_crossing_mm: 1300", "floor_to_crossing_mm: 1300 ± 2,5", "tape.floor_to_crossing_mm (after ±)", `got "2,5"; write a point before the decimals: 2.5`},
		{"two commas", "front_reach_mm: 520", "front_reach_mm: 1,300,000", "tape.front_reach_mm", `got "1,300,000"; write it without the commas: 1300000`},
		{"a comma that may part thousands", "front_reach_mm: 520", "front_reach_mm: 1,560", "tape.front_reach_mm", `got "1,560"; write a point before the decimals: 1.560; or, if the comma parts the thousands, 1560`},
		{"degrees and minutes", "latitude_deg: 46.20", "latitude_deg: 46°12'", "site.latitude_deg", `got "46°12'"; write decimal degrees, south and west negative: 46.2`},
		{"degrees, minutes and seconds", "longitude_deg: 11.10", "longitude_deg: -11°06′18″", "site.longitude_deg", `write decimal degrees, south and west negative: -11.105`},
		{"a side of the world", "latitude_deg: 46.20", "latitude_deg: 33:43 S", "site.latitude_deg", `write decimal degrees, south and west negative: -33.7167`},
		{"decimal degrees and a side of the world", "longitude_deg: 11.10", "longitude_deg: 1.4 W", "site.longitude_deg", `write decimal degrees, south and west negative: -1.4`},
		{"typographic marks", "latitude_deg: 46.20", "latitude_deg: 46°12’18”", "site.latitude_deg", `write decimal degrees, south and west negative: 46.205`},
		{"a side before it", "latitude_deg: 46.20", "latitude_deg: N 46°12'", "site.latitude_deg", `write decimal degrees, south and west negative: 46.2`},
		{"a small letter for the side", "latitude_deg: 46.20", "latitude_deg: 46°12' n", "site.latitude_deg", `write decimal degrees, south and west negative: 46.2`},
		{"a small letter for south", "latitude_deg: 46.20", "latitude_deg: 33:43 s", "site.latitude_deg", `write decimal degrees, south and west negative: -33.7167`},
		{"a letter that may be seconds or south", "latitude_deg: 46.20", "latitude_deg: 33:43:10s", "site.latitude_deg", `write the number alone, without unit or quotation marks`},
		{"letters for degrees, minutes and seconds", "latitude_deg: 46.20", "latitude_deg: 33d43m12s", "site.latitude_deg", `write decimal degrees, south and west negative: 33.72`},
		{"a side on either end", "latitude_deg: 46.20", "latitude_deg: N 33:43 S", "site.latitude_deg", `write the number alone, without unit or quotation marks`},
		{"the minus of typesetters", "longitude_deg: 11.10", "longitude_deg: −11.5", "site.longitude_deg", `write the minus sign of a keyboard: -11.5`},
		{"the same before minutes", "longitude_deg: 11.10", "longitude_deg: −11°30'", "site.longitude_deg", `write decimal degrees, south and west negative: -11.5`},
		{"the same before a length", "crossing_north_of_hub_mm: 125", "crossing_north_of_hub_mm: −125", "tape.crossing_north_of_hub_mm", `write the minus sign of a keyboard: -125`},
		{"a latitude toward west", "latitude_deg: 46.20", "latitude_deg: 46°12' W", "site.latitude_deg", `a latitude is counted north or south: look whether it and the longitude are exchanged`},
		{"a longitude toward south", "longitude_deg: 11.10", "longitude_deg: 11:06 S", "site.longitude_deg", `a longitude is counted east or west: look whether it and the latitude are exchanged`},
		{"another angle in minutes", "leg_azimuths_deg: [0, 120, 240]", "leg_azimuths_deg: [0, 120:30, 240]", "tape.tripod.leg_azimuths_deg.2", `got "120:30"; write decimal degrees: 120.5`},
		{"another angle with a side", "leg_azimuths_deg: [0, 120, 240]", "leg_azimuths_deg: [0, 60 W, 240]", "tape.tripod.leg_azimuths_deg.2", `got "60 W"; write the number alone, without unit or quotation marks`},
		{"a length as if it were an angle", "front_reach_mm: 520", "front_reach_mm: 52:30", "tape.front_reach_mm", `got "52:30"; write the number alone, without unit or quotation marks`},
		{"a length with a letter", "front_reach_mm: 520", "front_reach_mm: 520 S", "tape.front_reach_mm", `got "520 S"; write the number alone, without unit or quotation marks`},
		{"two signs", "latitude_deg: 46.20", "latitude_deg: -33.7 S", "site.latitude_deg", `got "-33.7 S"; write the number alone, without unit or quotation marks`},
		{"sixty minutes", "latitude_deg: 46.20", "latitude_deg: 46°60'", "site.latitude_deg", `write the number alone, without unit or quotation marks`},
		{"another sign for a reading error", "floor_to_crossing_mm: 1300", "floor_to_crossing_mm: 1300 +/- 4", "tape.floor_to_crossing_mm", `wanted a length from 50 to 20000 mm, got "1300 +/- 4"; write 1300 ± 4, or +- for ±`},
		{"a reading error of what is no length of the tape", "latitude_deg: 46.20", "latitude_deg: 46.2 ± 0.1", "site.latitude_deg", `got "46.2 ± 0.1"; write the number alone: only lengths of the tape carry a reading error`},
		{"another sign for it there", "latitude_deg: 46.20", "latitude_deg: 46.2 +/- 0.1", "site.latitude_deg", `write the number alone: only lengths of the tape carry a reading error`},
		{"a mark without a number", "latitude_deg: 46.20", "latitude_deg: north ± 0.1", "site.latitude_deg", `write the number alone, without unit or quotation marks`},
		{"a list for a number", "latitude_deg: 46.20", "latitude_deg: [46.2]", "site.latitude_deg", `got a list; write the number alone, without unit`},
		{"a sign where none counts", "back_reach_mm: 540", "back_reach_mm: -540", "tape.back_reach_mm", "wanted a length from 10 to 20000 mm, got -540; it counts without a sign: write 540, or measure again"},
		{"a sign and too long", "back_reach_mm: 540", "back_reach_mm: -54000", "tape.back_reach_mm", "got -54000; measure again"},
		{"a longitude counted all round", "longitude_deg: 11.10", "longitude_deg: 343.7", "site.longitude_deg", "wanted a longitude, east positive, from -180 to 180°, got 343.7; counted all round it is -16.3: write that"},
		{"the same toward west", "longitude_deg: 11.10", "longitude_deg: -190", "site.longitude_deg", "got -190; counted all round it is 170: write that"},
		{"a longitude of more than a turn", "longitude_deg: 11.10", "longitude_deg: 541", "site.longitude_deg", "got 541; measure again"},
		{"a latitude does not count all round", "latitude_deg: 46.20", "latitude_deg: 300", "site.latitude_deg", "got 300; measure again"},
		{"a kind that is only begun", "kind: german equatorial", "kind: german", "kind", `got "german"; perhaps german equatorial is meant`},
		{"the end of a word", "by: sensor", "by: sens", "homing.by", `got "sens"; perhaps sensor is meant`},
		{"too little of a word", "by: sensor", "by: se", "homing.by", `got "se"; known are belief, person, sensor`},
		{"a word that two begin with", "axes_move: independent\n  rate", "axes_move: axis\n  rate", "motion.axes_move", `got "axis"; known are any order, axis 1 first`},
		{"infinite", "front_reach_mm: 520", "front_reach_mm: -.inf", "tape.front_reach_mm", `got "-.inf"`},
		{"beyond float64", "front_reach_mm: 520", "front_reach_mm: 1e999", "tape.front_reach_mm", `got "1e999"`},
		{"hexadecimal", "front_reach_mm: 520", "front_reach_mm: 0x208", "tape.front_reach_mm", `got "0x208"`},
		{"longer than 20 m", "front_reach_mm: 520", "front_reach_mm: 52000", "tape.front_reach_mm", "wanted a length from 10 to 20000 mm, got 52000; measure again, and look at the unit that the key names"},
		{"zero", "leg_diameter_mm: 50", "leg_diameter_mm: 0", "tape.tripod.leg_diameter_mm", "wanted a length from 8 to 20000 mm, got 0"},
		{"negative", "hub_diameter_mm: 140", "hub_diameter_mm: -140", "tape.tripod.hub_diameter_mm", "wanted a length from 15 to 20000 mm, got -140"},
		{"a latitude outside", "latitude_deg: 46.20", "latitude_deg: 90.01", "site.latitude_deg", "wanted a latitude, north positive, from -90 to 90°, got 90.01"},
		{"a rate too fast", "rate_deg_per_s: [4, 4]", "rate_deg_per_s: [4, 20.5]", "motion.rate_deg_per_s.2", "wanted a rate from 0.005 to 20°/s, got 20.5; write degrees a second: the degrees of a slew over the seconds that it takes"},
		{"a rate slower than any mount", "rate_deg_per_s: [4, 4]", "rate_deg_per_s: [1e-9, 4]", "motion.rate_deg_per_s.1", "wanted a rate from 0.005 to 20°/s, got 1e-9; write degrees a second"},
		{"a rate of tracking", "rate_deg_per_s: [4, 4]", "rate_deg_per_s: [4, 0.00418]", "motion.rate_deg_per_s.2", "wanted a rate from 0.005 to 20°/s, got 0.00418"},
		{"a rate of nothing", "rate_deg_per_s: [4, 4]", "rate_deg_per_s: [0, 4]", "motion.rate_deg_per_s.1", "wanted a rate from 0.005 to 20°/s, got 0"},
		{"an acceleration that never gets there", "acceleration_deg_per_s2: [4, 4]", "acceleration_deg_per_s2: [4, 1e-6]", "motion.acceleration_deg_per_s2.2", "wanted an acceleration from 0.001 to 100°/s², got 1e-6; write degrees a second, gained each second"},
		{"one rate", "rate_deg_per_s: [4, 4]", "rate_deg_per_s: 4", "motion.rate_deg_per_s", `wanted a list of 2, each a rate from 0.005 to 20°/s, got "4"; write them in brackets with commas between`},
		{"a misspelt key", "back_reach_mm: 540", "back_reech_mm: 540", "tape.back_reech_mm", `wanted one of the keys known here, got "back_reech_mm"; perhaps back_reach_mm is meant`},
		{"a key nobody knows", "practice: yes", "practice: yes\ncolour: green", "colour", `wanted one of the keys known here, got "colour"; known are always_touch, class`},
		{"a key twice", "practice: yes", "practice: yes\npractice: no", "practice", "wanted each key once, got a second one, the first is on line 6; take one of them away"},
		{"an alias", "front_reach_mm: 520", "front_reach_mm: &x 520", "tape.front_reach_mm", `wanted a value without an anchor, got &x`},
		{"a tag", "front_reach_mm: 520", "front_reach_mm: !!float 520", "tape.front_reach_mm", "wanted a value without a tag"},
		{"a merge key", "practice: yes", "practice: yes\n<<: {a: 1}", "<<", `wanted one of the keys known here, got "<<"`},
		{"two documents", "end: heron", "---\nend: heron", "", "wanted YAML, got what does not read as such"},
		{"a control character", "kind: german equatorial", "kind: german\x07 equatorial", "", "wanted text, in UTF-8, got a character that no text holds"},
		{"no UTF-8", "kind: german equatorial", "kind: german\xff equatorial", "", "wanted text, in UTF-8, got a character that no text holds"},
		{"a cylinder without a direction", "has_no:", "parts: [{name: box, fixed_to: ground, shapes: [{cylinder: {from_mm: [1, 2, 3], to_mm: [1, 2, 3], diameter_mm: 5}}]}]\nhas_no:", "parts.1.shapes.1.cylinder.to_mm", "wanted another place than from_mm, got the same"},
		{"no YAML", "kind: german equatorial", "kind: [german", "", "wanted YAML, got what does not read as such"},
		{"an unknown kind", "kind: german equatorial", "kind: german equatorail", "kind", `wanted german equatorial, fork equatorial or alt-azimuth, got "german equatorail"; perhaps german equatorial is meant`},
		{"neither tripod nor pier", "  tripod:\n", "  tripode:\n", "tape.tripod", "wanted a block tripod or a block pier, got neither; say what the mount stands on"},
		{"weights upside down", "weights_to_mm: 400", "weights_to_mm: 240", "tape.weights_to_mm", "wanted a place beyond weights_from_mm, 250, got 240; both are counted from the crossing"},
		{"a shield before the tube", "shield_from_mm: 300", "shield_from_mm: 530", "tape.shield_from_mm", "wanted a place behind the front end, front_reach_mm 520, got 530"},
		{"a camera behind the end", "camera_from_mm: 380", "camera_from_mm: 540", "tape.camera_from_mm", "wanted a place before the rear end, back_reach_mm 540, got 540"},
		{"a hub upside down", "hub_top_mm: 1150", "hub_top_mm: 1000", "tape.tripod.hub_top_mm", "wanted a height above hub_bottom_mm, 1060, got 1000"},
		{"travel that leaves home out", "axis1_deg: [-97.5, 97.5]", "axis1_deg: [5, 97.5]", "travel_from_home.axis1_deg", "wanted the lowest, at most 0, then the highest, at least 0, got [5, 97.5]; travel counts from home, which lies within it"},
		{"no travel", "  axis1_deg: [-97.5, 97.5]\n", "", "travel_from_home.axis1_deg", "wanted a list of 2, each an axis angle from -1080 to 1080°, got nothing; lowest first"},
		{"an unproven source", "  - kind: motor count\n", "  - kind: unsynced belief\n", "", ""},
		{"an encoder behind the clutch", "  - kind: motor count\n", "  - kind: axis encoder\n", "pose_sources.1.clutch_side", `wanted axis, for an encoder that sits on the axis, got "motor"; if it sits on the motor, its kind is motor count`},
		{"a flip that is none", "flips_while_tracking: no", "flips_while_tracking: no\n  flips_at_deg: 5", "mount.flips_at_deg", "wanted flips_while_tracking: yes beside it, got no"},
		{"neither yes nor no", "flips_while_tracking: no", "flips_while_tracking: maybe", "mount.flips_while_tracking", `wanted yes or no, got "maybe"; write one of the two`},
		{"no word of ours", "by: sensor", "by: smell", "homing.by", `got "smell"; known are belief, person, sensor`},
		{"another short word", "keeps_sync_on: axes", "keeps_sync_on: taxi", "mount.keeps_sync_on", `got "taxi"; known are axes, model, none, sky, unknown`},
		{"a lack nobody knows", "has_no: [drag, roof, neighbours]", "has_no: [drag, rain]", "has_no.2", `wanted drag, roof or neighbours, got "rain"`},
		{"a rest outside", "travel_from_home:\n", "rests: [{name: far, axes_deg: [120, 0]}]\ntravel_from_home:\n", "rests.1", `wanted a pose within travel, (-97.50°, -180.00°) to (97.50°, 180.00°) from zero, got (120.00°, 0.00°); correct the rest "far" or travel_from_home`},
		{"a rest in the leg", "travel_from_home:\n", "rests: [{name: low, axes_deg: [90, -20]}]\ntravel_from_home:\n", "rests.1", `wanted "south-west leg" (ground) and "camera" (axis 2) apart at the rest "low", got an overlap of `},
		{"the wrong end", "end: heron", "end: heroine", "end", `wanted "heron", as the last key of the file, got "heroine"; if it stood there, the file has been cut or joined with another`},
		{"an id with a space", "rig: heron", "rig: her on", "rig", `wanted an id of small letters, digits and hyphens, at most 63, a letter first, got "her on"`},
		{"a title of two lines", "title: Heron, an invented rig for practice", `title: "Heron\ntwo"`, "title", "wanted a name of one line, at most 80 letters, no spaces around it"},
		{"a class that cannot be read", "practice: yes", "practice: yes\nclass: ../passwd", "class", `wanted the name of a file beside this one, got "../passwd"; letters, digits, . _ - and no folders`},
		{"travel as a limit", "  clear/path:\n", "  travel/axis1:\n    low_deg: -90\n  clear/path:\n", "limits.travel/axis1", `wanted travel_from_home, which makes these limits, got "travel/axis1"; state it there alone`},
		{"a limit that is no number", "part_mm: 10", "part_mm: yes", "limits.clear/path.part_mm", `wanted a limit from -1000000000 to 1000000000, got "yes"`},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			in, line := changed(t, heronText(t), c.old, c.by)
			if c.key == "" && c.sentence == "" {
				_, faults := rig.Parse("heron.yaml", []byte(in), nil)
				require.Empty(t, faults, "counts_syncs and nobody_else_syncs allow it")
				return
			}
			r, faults := rig.Parse("heron.yaml", []byte(in), nil)
			require.Nil(t, r, "a rig beside a fault")
			require.NotEmpty(t, faults)
			found := false
			for _, f := range faults {
				found = found || f.Key == c.key && strings.Contains(f.Error(), c.sentence)
				require.ErrorIs(t, f, rig.ErrFaulty)
			}
			assert.True(t, found, "key %q, %s\nis not among:\n%s", c.key, c.sentence, lines(faults))
			for _, f := range faults {
				if f.Key == c.key && f.Line > 0 && !strings.Contains(f.Got, "nothing") && f.Got != "neither" && !strings.Contains(f.Wanted, "YAML") {
					assert.GreaterOrEqual(t, f.Line, line, "the line of %s", f)
					assert.LessOrEqual(t, f.Line, line+strings.Count(c.by, "\n")+1, "the line of %s", f)
				}
			}
		})
	}
}

func lines[T rig.Fault | rig.Find](all []T) string {
	var s []string
	for _, f := range all {
		s = append(s, fmt.Sprint(f))
	}
	return strings.Join(s, "\n")
}

func TestEveryFaultIsToldAtOnceByLine(t *testing.T) {
	in := heronText(t)
	for _, c := range [][2]string{{"latitude_deg: 46.20", "latitude_deg: 146"}, {"front_reach_mm: 520", "front_reach_mm: long"}, {"by: sensor", "by: smell"}, {"end: heron", "end: her"}} {
		in, _ = changed(t, in, c[0], c[1])
	}
	_, faults := rig.Parse("heron.yaml", []byte(in), nil)
	var keys []string
	for i, f := range faults {
		keys = append(keys, f.Key)
		if i > 0 {
			assert.GreaterOrEqual(t, f.Line, faults[i-1].Line, "sorted by line")
		}
	}
	assert.Equal(t, []string{"site.latitude_deg", "tape.front_reach_mm", "homing.by", "end"}, keys)
	assert.Equal(t, "heron.yaml:10: site.latitude_deg: wanted a latitude, north positive, from -90 to 90°, got 146; measure again, and look at the unit that the key names", faults[0].Error())
}

// A key that stands twice hides no other fault; its first value counts until one is taken away.
func TestAKeyTwiceHidesNothing(t *testing.T) {
	in, _ := changed(t, heronText(t), "height_m: 640", "height_m: 640\n  height_m: 650")
	in, _ = changed(t, in, "front_reach_mm: 520", "front_reach_mm: long")
	in, _ = changed(t, in, "by: sensor", "by: smell")
	_, faults := rig.Parse("heron.yaml", []byte(in), nil)
	var keys []string
	for _, f := range faults {
		keys = append(keys, f.Key)
	}
	assert.Equal(t, []string{"site.height_m", "tape.front_reach_mm", "homing.by"}, keys, lines(faults))
	only, _ := changed(t, heronText(t), "height_m: 640", "height_m: 640\n  height_m: 640")
	r, faults := rig.Parse("heron.yaml", []byte(only), nil)
	assert.Nil(t, r)
	assert.Len(t, faults, 1, lines(faults))
}

// A tab is called a tab, on its own line, every one of them.
func TestTabsAreNamed(t *testing.T) {
	in, line := changed(t, heronText(t), "  front_reach_mm: 520", "\tfront_reach_mm: 520")
	in, second := changed(t, in, "  by: sensor", " \tby: sensor")
	in, _ = changed(t, in, "\nmotion:\n", "\n\t\n\t# a comment\nmotion:\n")
	_, faults := rig.Parse("heron.yaml", []byte(in), nil)
	require.Len(t, faults, 2, lines(faults))
	assert.Equal(t, fmt.Sprintf("heron.yaml:%d: wanted spaces before a key, got a tab; write spaces instead; other faults are found once the tabs are gone", line), faults[0].Error())
	assert.Equal(t, second+2, faults[1].Line)
	in, line = changed(t, heronText(t), "front_reach_mm: 520", "front_reach_mm:\t520")
	_, faults = rig.Parse("heron.yaml", []byte(in), nil)
	assert.Empty(t, faults, "after a colon a tab is lawful: %d", line)
	in, line = changed(t, heronText(t), "  - kind: motor count", "  -\tkind: motor count")
	_, faults = rig.Parse("heron.yaml", []byte(in), nil)
	require.Len(t, faults, 1)
	assert.Equal(t, line, faults[0].Line, lines(faults))
	assert.Equal(t, "a tab", faults[0].Got)
}

func TestEdgesOfRanges(t *testing.T) {
	for value, good := range map[string]bool{"90": true, "-90": true, "90.00000000000001": true, "90.0000000000001": false, "-90.0000000000001": false, "0": true, "-0": true} {
		in, _ := changed(t, heronText(t), "longitude_deg: 11.10", "longitude_deg: 11.10\n  pressure_hpa: 1000")
		in, _ = changed(t, in, "latitude_deg: 46.20", "latitude_deg: "+value)
		_, faults := rig.Parse("heron.yaml", []byte(in), nil)
		bad := false
		for _, f := range faults {
			bad = bad || f.Key == "site.latitude_deg"
		}
		if value == "90.00000000000001" {
			continue // rounds to the next number above 90 or to 90 itself; either is told the same way by the decimal reader
		}
		assert.Equal(t, good, !bad, "latitude %s: %s", value, lines(faults))
	}
}

func TestExampleRigsLoad(t *testing.T) {
	for _, file := range []string{"wren.yaml", "bittern.yaml", "curlew.yaml"} {
		r, faults := rig.Parse(file, []byte(text(t, rigs+file)), beside)
		require.Empty(t, faults, "%s:\n%s", file, lines(faults))
		assert.Empty(t, r.Notices, "%s:\n%s", file, lines(r.Notices))
		assert.NotContains(t, rig.Understood(r), "%!", "a sentence that does not fit its figures")
	}
}

func TestCutFilesAreFaults(t *testing.T) {
	files := map[string]string{"heron.yaml": heronText(t)}
	for _, file := range []string{"wren.yaml", "bittern.yaml", "curlew.yaml"} {
		files[file] = text(t, rigs+file)
	}
	for file, whole := range files {
		for cut := 0; cut < len(whole)-1; cut += 16 {
			r, faults := rig.Parse(file, []byte(whole[:cut]), beside)
			require.Nil(t, r, "%s cut after %d of %d bytes", file, cut, len(whole))
			require.NotEmpty(t, faults)
		}
	}
	class := text(t, rigs+"heavy-germans.yaml")
	for cut := 0; cut < len(class)-1; cut += 16 {
		r, faults := rig.Parse("curlew.yaml", []byte(files["curlew.yaml"]), func(string) ([]byte, error) { return []byte(class[:cut]), nil })
		require.Nil(t, r, "class cut after %d bytes", cut)
		require.NotEmpty(t, faults)
	}
}

func TestDamagedBytesNeverPanic(t *testing.T) {
	whole := []byte(heronText(t))
	for i := 0; i < len(whole); i += 29 {
		for _, b := range []byte{0, '\n', ':', '-', '9', 0xff, '&', '"'} {
			damaged := append([]byte(nil), whole...)
			damaged[i] = b
			r, faults := rig.Parse("heron.yaml", damaged, nil)
			require.Equal(t, r == nil, len(faults) > 0, "either a rig or faults, byte %d = %q", i, b)
		}
	}
}

// Every value of every example, replaced by what does not belong there.
func TestOddValuesNeverPanic(t *testing.T) {
	odd := []string{"", "[]", "{}", "[[]]", "[1, 2]", "[{}, {}]", "{a: 1}", "-1", "1e30", "1e-300", ".inf", "yes", "word", "[a, b, c]", "~", "0"}
	for _, file := range []string{"wren.yaml", "bittern.yaml", "curlew.yaml"} {
		all := strings.Split(text(t, rigs+file), "\n")
		for i, line := range all {
			key, _, found := strings.Cut(line, ": ")
			if !found || strings.HasPrefix(strings.TrimSpace(line), "#") {
				continue
			}
			for j, v := range odd {
				if (i+j)%4 != 0 && os.Getenv("KEEPCLEAR_LONG") == "" {
					continue // a quarter of them, each value somewhere
				}
				all[i] = key + ": " + v
				r, faults := rig.Parse(file, []byte(strings.Join(all, "\n")), beside)
				require.Equal(t, r == nil, len(faults) > 0, "either a rig or faults: %s", all[i])
				if r != nil {
					sound(t, r)
				}
			}
			all[i] = line
		}
	}
}

func TestBombsAreRefused(t *testing.T) {
	for name, in := range map[string]string{
		"aliases": "a: &a [x,x,x,x,x,x,x,x,x]\nb: &b [*a,*a,*a,*a,*a,*a,*a,*a,*a]\nc: &c [*b,*b,*b,*b,*b,*b,*b,*b,*b]\nd: [*c,*c,*c,*c]\n",
		"depth":   "rig: " + strings.Repeat("[", 9000) + strings.Repeat("]", 9000),
		"size":    "rig: " + strings.Repeat("x", 300<<10),
		"keys":    "? [a, b]\n: c\n",
	} {
		r, faults := rig.Parse(name, []byte(in), nil)
		require.Nil(t, r)
		require.NotEmpty(t, faults, name)
		for _, f := range faults {
			require.Less(t, len(f.Error()), 600, "a fault stays one short line")
			require.NotContains(t, f.Error(), "\n")
		}
	}
}

func TestDigestFollowsMeaningAlone(t *testing.T) {
	in := heronText(t)
	digest := func(in string) string {
		r, faults := rig.Parse("x.yaml", []byte(in), nil)
		require.Empty(t, faults, lines(faults))
		return fmt.Sprintf("%x", r.Digest)
	}
	base := digest(in)
	same := map[string][2]string{
		"comment": {"rig: heron", "# a word\nrig: heron"}, "number": {"height_m: 640", "height_m: 6.4e2"}, "quotes": {"title: Heron, an invented rig for practice", `title: "Heron, an invented rig for practice"`},
		"order": {"  latitude_deg: 46.20\n  longitude_deg: 11.10\n", "  longitude_deg: 11.1\n  latitude_deg: 46.2\n"},
	}
	same["true for yes"], same["false for no"] = [2]string{"counts_syncs: yes", "counts_syncs: true"}, [2]string{"flips_while_tracking: no", "flips_while_tracking: false"}
	same["a word in quotes"] = [2]string{"counts_syncs: yes", `counts_syncs: "true"`}
	for name, c := range same {
		out, _ := changed(t, in, c[0], c[1])
		assert.Equal(t, base, digest(out), name)
	}
	other := map[string][2]string{"value": {"height_m: 640", "height_m: 641"}, "limit": {"part_mm: 10", "part_mm: 11"}, "flag": {"counts_syncs: yes", "counts_syncs: no"}, "flag as false": {"counts_syncs: yes", "counts_syncs: false"}, "text": {"title: Heron, an invented rig for practice", "title: true"}}
	for name, c := range other {
		out, _ := changed(t, in, c[0], c[1])
		assert.NotEqual(t, base, digest(out), name)
	}
}

func TestTravelMakesItsLimits(t *testing.T) {
	in, _ := changed(t, heronText(t), "home_deg: [0, 0]", "home_deg: [2, -30]")
	in, _ = changed(t, in, "axis2_deg: [-180, 180]", "axis2_deg: [-150, 170.1]")
	r, faults := rig.Parse("heron.yaml", []byte(in), nil)
	require.Empty(t, faults, lines(faults))
	got := map[string]float64{}
	for _, l := range r.Limits {
		got[l.Rule+" "+l.Name] = l.Value
	}
	assert.Equal(t, map[string]float64{"clear/path part_mm": 10, "clear/path general_mm": 10,
		"travel/axis1 low_deg": -95.5, "travel/axis1 high_deg": 99.5, "travel/axis2 low_deg": -180, "travel/axis2 high_deg": 140.1}, got, "from the zero, not from home")
	for _, l := range r.Limits {
		if axis, travel := strings.CutPrefix(l.Rule, "travel/"); travel {
			assert.Contains(t, strings.Split(in, "\n")[l.Line-1], "  "+axis+"_deg: [", "the line of %s %s", l.Rule, l.Name)
		}
	}
}

func TestClassLiesUnderTheRig(t *testing.T) {
	in := text(t, rigs+"curlew.yaml")
	r, faults := rig.Parse("curlew.yaml", []byte(in), beside)
	require.Empty(t, faults)
	assert.Equal(t, [2]float64{3, 3}, r.Motion.RateDeg, "from the class")
	assert.Equal(t, "heavy-germans.yaml", r.Class)
	require.Len(t, r.Limits, 6)
	assert.Equal(t, rig.Limit{Rule: "clear/path", Name: "general_mm", Value: 15, File: "heavy-germans.yaml", Line: 33}, r.Limits[0])
	assert.Equal(t, "curlew.yaml", r.Limits[1].File)

	faster, _ := changed(t, in, "pose_sources:", "motion: {rate_deg_per_s: [2, 2]}\npose_sources:")
	r2, faults := rig.Parse("curlew.yaml", []byte(faster), beside)
	require.Empty(t, faults)
	assert.Equal(t, [2]float64{2, 2}, r2.Motion.RateDeg, "the rig's own")
	assert.Equal(t, [2]float64{1.5, 1.5}, r2.Motion.AccelDeg, "its neighbour from the class")
	assert.NotEqual(t, r.Digest, r2.Digest)

	class := text(t, rigs+"heavy-germans.yaml")
	r3, faults := rig.Parse("curlew.yaml", []byte(in), func(string) ([]byte, error) {
		return []byte(strings.Replace(class, "axes_apart_mm: 12", "axes_apart_mm: 13", 1)), nil
	})
	require.Empty(t, faults)
	assert.NotEqual(t, r.Digest, r3.Digest, "a changed class is another revision")

	_, faults = rig.Parse("curlew.yaml", []byte(in), func(string) ([]byte, error) { return []byte("rig: x\n" + class), nil })
	require.NotEmpty(t, faults)
	assert.Equal(t, "heavy-germans.yaml", faults[0].File)

	_, faults = rig.Parse("curlew.yaml", []byte(in), nil)
	assert.Equal(t, "class", faults[0].Key, "nobody to read it")
}

// Faults, row 83: names that are to become a chain of the record, a file or a word on a terminal are ids, bare file names or printable lines,
// or faults that name them on one line; and no file but one beside the rig file is ever asked for.
func TestTricksInNamesAreFaults(t *testing.T) {
	in := heronText(t)
	tricks := []string{
		"../heron", "/etc/passwd", "..", ".", ".hidden", "a/b", `a\\b`, "C:x", "a b", "heron\\u0000", "heron\\n", "\\x1b[2J", "a\\u202eb", "%2e%2e", "$(x)", "Heron", "-", "", strings.Repeat("a", 200),
	}
	for _, s := range append(tricks, "service") {
		quoted := `"` + s + `"`
		text := strings.ReplaceAll(in, "rig: heron\n", "rig: "+quoted+"\n")
		require.NotEqual(t, in, text)
		r, bad := rig.Parse("heron.yaml", []byte(strings.ReplaceAll(text, "end: heron", "end: "+quoted)), nil)
		assert.Nil(t, r, "%q", s)
		faulted(t, bad, "rig", s)
	}
	for _, s := range tricks {
		if s == "Heron" || s == "-" {
			continue // lawful names of files
		}
		opened := []string{}
		text, _ := changed(t, in, "practice: yes", "practice: yes\nclass: \""+s+"\"")
		r, bad := rig.Parse("heron.yaml", []byte(text), func(name string) ([]byte, error) { opened = append(opened, name); return nil, os.ErrNotExist })
		assert.Nil(t, r, "%q", s)
		assert.Empty(t, opened, "%q", s)
		faulted(t, bad, "class", s)
	}
	for _, s := range []string{"a\\nb", "a\\u0000", "\\x1b]0;x\\a", "a\\u202eb", "a\\u2028b", " a", ""} {
		text, _ := changed(t, in, "title: ", "title: \""+s+"\" #")
		r, bad := rig.Parse("heron.yaml", []byte(text), nil)
		assert.Nil(t, r, "%q", s)
		faulted(t, bad, "title", s)
	}
}

// faulted wants a fault of a key, on one line.
func faulted(t *testing.T, bad []rig.Fault, key, what string) {
	t.Helper()
	found := false
	for _, f := range bad {
		found = found || f.Key == key
		for _, r := range f.Error() {
			assert.True(t, unicode.IsPrint(r), "%q: %q in %q", what, r, f.Error())
		}
	}
	assert.True(t, found, "%q: no fault of %s among %v", what, key, bad)
}

// TestAnUnknownKindHidesNothing: what else is wrong is told beside it, by the kind that the file means, and nothing untrue.
func TestAnUnknownKindHidesNothing(t *testing.T) {
	for _, c := range []struct{ file, kind, by string }{
		{"heron.yaml", "german equatorial", "german"}, {"heron.yaml", "german equatorial", "equatorial"}, {"bittern.yaml", "alt-azimuth", "dome"}, {"wren.yaml", "fork equatorial", "fork"},
		{"heron.yaml", "german equatorial", ""},
	} {
		in := heronText(t)
		if c.file != "heron.yaml" {
			in = text(t, rigs+c.file)
		}
		in, line := changed(t, in, "kind: "+c.kind, "kind: "+c.by)
		in, _ = changed(t, in, "\nhas_no:", "\nparts: [{name: box, fixed_to: ground, shapes: [{box: {centre_mm: [2000, 0, 50], size_mm: [5, 5, 0]}}]}]\nleave_out: [floor]\nalways_touch: []\nhas_no:")
		in = strings.Replace(in, "  tube_diameter_mm: ", "  tube_diameter_mm: 99", 1)
		r, faults := rig.Parse(c.file, []byte(in), beside)
		require.Nil(t, r)
		require.Len(t, faults, 3, lines(faults))
		assert.Equal(t, []string{"kind", "tape.tube_diameter_mm", "parts.1.shapes.1.box.size_mm.3"}, []string{faults[0].Key, faults[1].Key, faults[2].Key})
		assert.Equal(t, line, faults[0].Line)
	}
	in, _ := changed(t, heronText(t), "kind: german equatorial", "kind: dome")
	for _, key := range []string{"bar_diameter_mm: 20", "weights_radius_mm: 55"} {
		in, _ = changed(t, in, "  "+key+"\n", "")
	}
	in, _ = changed(t, in, "\nhas_no:", "\nparts: []\nleave_out: [floor]\nalways_touch: []\nhas_no:")
	_, faults := rig.Parse("heron.yaml", []byte(in), nil)
	require.Len(t, faults, 1, "which kind is meant nobody can tell: %s", lines(faults))
	in, _ = changed(t, in, "tape:\n", "tapes:\n")
	_, faults = rig.Parse("heron.yaml", []byte(in), nil)
	require.Len(t, faults, 3, lines(faults))
}
