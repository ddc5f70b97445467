package rig_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/rig"
)

// lawful draws rigs as they might stand anywhere: mounts that stand over what carries them, tubes that balance, homes and travel of the trade.
type lawful struct{ *rand.Rand }

func (l lawful) in(low, high float64) float64 { return math.Round(low + (high-low)*l.Float64()) }

func (l lawful) pick(words ...string) string { return words[l.IntN(len(words))] }

// file writes a rig file.
func (l lawful) file() string {
	kind := l.pick("german equatorial", "fork equatorial", "alt-azimuth")
	lat := l.in(2, 75)
	if l.IntN(2) == 0 {
		lat = -lat
	}
	height := l.in(-50, 4000)
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("rig: drawn\ntitle: Drawn by lot\nkind: %s", kind)
	line("site:\n  latitude_deg: %g\n  longitude_deg: %g\n  height_m: %g", lat, l.in(-180, 180), height)
	if l.IntN(2) == 0 {
		usual := 1013.25 * math.Pow(1-2.25577e-5*height, 5.25588) // standard atmosphere, from memory; the weather adds 4 % at most
		line("  pressure_hpa: %.0f", usual*(0.96+0.08*l.Float64()))
	}
	l.tape(line, kind, lat)
	l.rest(line, kind, lat)
	line("end: drawn")
	return b.String()
}

// tape writes the form. The axes' place follows from what carries them.
func (l lawful) tape(line func(string, ...any), kind string, lat float64) {
	s, c := math.Sincos(math.Abs(lat) * math.Pi / 180)
	top, radius, wide := l.in(250, 1500), l.in(40, 150), l.in(50, 350)
	length := wide * (1.2 + 5*l.Float64())
	front := max(62, length*(0.25+0.5*l.Float64())) // the least that no size of its own tells
	length = max(length, front+62)
	base, baseHigh, arm := l.in(100, 400), l.in(20, 150), length*0.75+wide+60
	crossing, poleward := 0.0, 0.0
	switch kind {
	case "german equatorial":
		rise := l.in(80, 400)
		crossing, poleward = top+rise, min(max(rise*c/s+l.in(-80, 80), -35), 400) // over the support, as far as mounts go
	case "fork equatorial":
		crossing, poleward = top+base/2+20+(arm+baseHigh)*s, (arm+baseHigh)*c+l.in(-100, 100)
	default:
		crossing = top + l.in(0, 60) + baseHigh + arm
	}
	if math.Abs(poleward) < 5 { // what is so small and not 0 is looked at again, in whichever unit
		poleward = 0
	}
	line("tape:\n  floor_to_crossing_mm: %.0f\n  crossing_north_of_hub_mm: %.0f", crossing, poleward*math.Copysign(1, lat)+0)
	if l.IntN(2) == 0 {
		line("  pier:\n    diameter_mm: %.0f\n    height_mm: %.0f", 2*radius, top)
	} else {
		turn := l.in(0, 100)
		line("  tripod:\n    hub_diameter_mm: %.0f\n    hub_bottom_mm: %.0f\n    hub_top_mm: %.0f\n    leg_azimuths_deg: [%g, %g, %g]", 2*radius, top-l.in(40, 90), top, turn, turn+120, turn+240)
		line("    leg_top_radius_mm: %.0f\n    leg_top_height_mm: %.0f\n    leg_foot_radius_mm: %.0f\n    leg_diameter_mm: %.0f", radius*0.8, top-50, radius+l.in(150, 600), l.in(20, 80))
	}
	line("  tube_diameter_mm: %.0f\n  front_reach_mm: %.0f\n  back_reach_mm: %.0f", wide, front, length-front)
	if l.IntN(2) == 0 {
		line("  shield_diameter_mm: %.0f\n  shield_from_mm: %.0f", wide+l.in(10, 60), front*0.6)
	}
	if l.IntN(2) == 0 {
		line("  camera_radius_mm: %.0f\n  camera_from_mm: %.0f", l.in(25, 120), (length-front)*0.7)
	}
	if kind == "german equatorial" {
		from := l.in(80, 300)
		line("  crossing_to_tube_mm: %.0f\n  bar_diameter_mm: %.0f\n  weights_radius_mm: %.0f\n  weights_from_mm: %.0f\n  weights_to_mm: %.0f", wide/2+l.in(20, 150), l.in(12, 50), l.in(30, 150), from, from+l.in(60, 300))
	} else {
		line("  fork:\n    arm_length_mm: %.0f\n    arm_beyond_axis2_mm: %.0f\n    arm_gap_mm: %.0f\n    arm_thickness_mm: %.0f\n    arm_width_mm: %.0f", arm, l.in(30, 120), wide+l.in(20, 100), l.in(20, 90), l.in(50, 200))
		line("    base_diameter_mm: %.0f\n    base_height_mm: %.0f", base, baseHigh)
	}
	if l.IntN(3) == 0 {
		at := l.in(700, 3000)
		line("  walls:\n    - from_mm: [%g, %g]\n      to_mm: [%g, %g]\n      height_mm: %.0f\n      thickness_mm: %.0f", at, -at, at, l.in(0, 3000), l.in(300, 2500), l.in(20, 200))
	}
}

// rest writes what is no length.
func (l lawful) rest(line func(string, ...any), kind string, lat float64) {
	switch kind {
	case "german equatorial":
		line("home_deg: %s", l.pick("[0, 0]", "[0, 0]", "[90, 0]", "[-90, 0]", "[0, 90]"))
		line("rests: [{name: at the pole, axes_deg: [0, 0]}]")
		travel := l.in(91, 120)
		line("travel_from_home:\n  axis1_deg: [%g, %g]\n  axis2_deg: [-180, 180]", -travel, travel)
	case "fork equatorial":
		pole := math.Copysign(80, lat)
		line("home_deg: [0, 0]\nrests: [{name: looking at the pole, axes_deg: [0, %g]}]", pole)
		line("travel_from_home:\n  axis1_deg: [%g, %g]\n  axis2_deg: [-95, 95]", -l.in(60, 180), l.in(60, 180))
	default:
		line("home_deg: %s\nrests: [{name: pointing to the zenith, axes_deg: [0, %g]}, {name: facing west, axes_deg: [-90, 10]}]", l.pick("[0, 0]", "[0, 20]"), l.in(60, 85))
		line("travel_from_home:\n  axis1_deg: [-270, 270]\n  axis2_deg: [%g, %g]", -l.in(20, 35), l.in(85, 100))
	}
	line("motion: {rate_deg_per_s: [3, 3], acceleration_deg_per_s2: [2, 2], overrun_deg: [0, 0], way_round: within travel}")
	line("mount: {side_chosen_by: %s, flips_while_tracking: no, counts_syncs: yes}", map[bool]string{true: "hour angle", false: "first only"}[kind == "german equatorial"])
	line("homing: {by: sensor, sigma_deg: [0.05, 0.05]}\nif_asker_dies: {stops_it: nothing}\nhas_no: [drag, roof, neighbours]")
	if l.IntN(3) == 0 {
		line("horizon_deg: [[0, 10], [%g, 20], [200, 5]]", l.in(10, 190))
	}
}

// TestLawfulRigsAreNotSaidToBeMirrored: of rigs drawn by lot none is called mirrored or measured in another unit, whether it loads or
// parts of it touch at home. Turned over, most of those are told, as far as a file can show it.
func TestLawfulRigsAreNotSaidToBeMirrored(t *testing.T) {
	rigs := 500
	if underRace {
		rigs = 60
	}
	loads, turned, told := 0, 0, 0
	for seed := range uint64(rigs) {
		in := lawful{rand.New(rand.NewPCG(77, seed))}.file()
		r, faults, found := rig.Examine("drawn.yaml", []byte(in), nil)
		for _, f := range faults {
			assert.Contains(t, f.Error(), "overlap", "seed %d: a file that reads:\n%s", seed, in)
		}
		if r != nil {
			loads++
		}
		for _, f := range found {
			assert.False(t, f.Kind == rig.Mirrored || f.Kind == rig.OtherUnit, "seed %d: %s\n%s", seed, f, in)
		}
		if strings.Contains(in, "alt-azimuth") || strings.Contains(in, "crossing_north_of_hub_mm: 0\n") || strings.Contains(in, "crossing_north_of_hub_mm: -0\n") {
			continue
		}
		turned++
		other := strings.Replace(strings.Replace(in, "latitude_deg: ", "latitude_deg: -", 1), "--", "", 1)
		_, _, found = rig.Examine("drawn.yaml", []byte(other), nil)
		for _, f := range found {
			if f.Kind == rig.Mirrored && f.Key == "tape.crossing_north_of_hub_mm" {
				told++
				break
			}
		}
	}
	t.Logf("%d of %d load; of %d in the other hemisphere %d are told", loads, rigs, turned, told)
	assert.Greater(t, loads, rigs/2)
	assert.Greater(t, 3*told, turned)
}
