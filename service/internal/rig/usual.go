package rig

import (
	"fmt"
	"math"
	"strings"

	"keepclear.example/keepclear/service/internal/solid"
)

// size says how small a length of the form may be, mm: below least no real thing is, so it is a fault, for metres or
// centimetres have been written; below usual a person should look again.
type size struct{ least, usual float64 }

// sizes of the form's lengths, by key below "tape". Choice, common practice, no source: least from a tracker for travel on a
// table (a guide lens 30 across, legs of 10, a bar of 8), usual between that and what most rigs have. Where 0 is lawful it
// stays so; of places on both sides of one it is the distance that counts.
var sizes = map[string]size{
	"floor_to_crossing_mm":      {50, 300},
	"crossing_north_of_hub_mm":  {0, 5},
	"crossing_east_of_hub_mm":   {0, 5},
	"axes_apart_mm":             {0, 1}, // a mount may be made so
	"head_diameter_mm":          {20, 40},
	"pier.diameter_mm":          {20, 60},
	"pier.height_mm":            {30, 200},
	"tripod.hub_diameter_mm":    {15, 40},
	"tripod.hub_bottom_mm":      {5, 150},
	"tripod.hub_top_mm":         {30, 200},
	"tripod.leg_top_radius_mm":  {2, 15},
	"tripod.leg_top_height_mm":  {20, 150},
	"tripod.leg_foot_radius_mm": {20, 100},
	"tripod.leg_diameter_mm":    {8, 12},
	"crossing_to_tube_mm":       {1, 30},
	"tube_diameter_mm":          {20, 40},
	"front_reach_mm":            {10, 60},
	"shield_diameter_mm":        {20, 40},
	"shield_from_mm":            {0, 5},
	"back_reach_mm":             {10, 60},
	"camera_radius_mm":          {10, 16},
	"camera_from_mm":            {0, 5},
	"bar_diameter_mm":           {6, 10},
	"weights_radius_mm":         {10, 20},
	"weights_from_mm":           {1, 15},
	"weights_to_mm":             {20, 60},
	"fork.arm_length_mm":        {20, 60},
	"fork.arm_beyond_axis2_mm":  {1, 8},
	"fork.arm_gap_mm":           {25, 60},
	"fork.arm_thickness_mm":     {2, 8},
	"fork.arm_width_mm":         {10, 25},
	"fork.base_diameter_mm":     {30, 80},
	"fork.base_height_mm":       {2, 15},
	"walls.height_mm":           {20, 200},
	"walls.thickness_mm":        {0.5, 2}, // sheet metal
}

// shortWall is a wall's length below which a person should look again, mm.
const shortWall = 100

// Of parts written out, a cable of 3 mm is one, so that only what no tape reads is looked at again, and hulls
// that are as small over all as the corner of something.
var (
	aThickness = aLength.sized(size{0, 1})
	aWidth     = aReach.sized(size{0, 1})
	aHull      = aLength.sized(size{0, 10})
)

// sized is the same range for lengths of a size.
func (s span) sized(z size) span {
	s.size = z
	return s
}

// sizeOf finds the size of a length by its dotted key; of entries of a list all have the same.
func sizeOf(key string) size {
	key = strings.TrimPrefix(key, "tape.")
	if rest, wall := strings.CutPrefix(key, "walls."); wall {
		_, key, _ = strings.Cut(rest, ".")
		key = "walls." + key
	}
	return sizes[key]
}

// meant guesses the unit that a small number was written in, and says what it is in millimetres, as an inch too where that may be;
// empty: none fits.
func (s span) meant(v float64, as string) string {
	far := max(v, -v)
	fits := func(times float64) bool { return far > 0 && far*times >= s.usual && s.holds(v*times) }
	unit, times := "", 0.0
	switch {
	case s.usual == 0:
	case far < 1 && fits(1000):
		unit, times = "metres", 1000
	case fits(10):
		unit, times = "centimetres", 10
	case far >= 1 && fits(inch):
		unit, times = "inches", inch
	case fits(1000):
		unit, times = "metres", 1000
	}
	if unit == "" {
		return ""
	}
	said := fmt.Sprintf(as, unit, hundredths(v*times))
	if times == 10 && far >= 1 && fits(inch) {
		said += fmt.Sprintf(" (inches: %s)", hundredths(v*inch))
	}
	return said
}

// inch is 25.4 mm exactly (the international yard and pound agreement, 1959).
const inch = 25.4

func hundredths(v float64) string { return short(math.Round(v*100) / 100) }

// remedy says what to do about a number out of range.
func (s span) remedy(v float64) string {
	if said := s.meant(v, short(v)+" looks like %s: in millimetres it is %s"); said != "" {
		return said
	}
	const round = 360
	switch {
	case s.help != "":
		return s.help
	case s.turn && v > s.high && s.holds(v-round):
		return fmt.Sprintf("counted all round it is %s: write that", short(v-round))
	case s.turn && v < s.low && s.holds(v+round):
		return fmt.Sprintf("counted all round it is %s: write that", short(v+round))
	case v < 0 && s.low >= 0 && s.holds(-v):
		return "it counts without a sign: write " + short(-v) + ", or measure again"
	}
	return "measure again, and look at the unit that the key names"
}

// look notices a number that is lawful and unusually small.
func (s span) look(f *faults, n *node, key string, v float64) {
	if far := max(v, -v); far == 0 || far >= s.usual {
		return
	}
	wanted := fmt.Sprintf("%s of %s%s or more, as most are", s.what, short(s.usual), s.unit)
	remedy := "measure again"
	if said := s.meant(v, "if it is in %s, in millimetres it is %s"); said != "" {
		remedy = said
	}
	f.notice(OtherUnit, n, key, wanted, n.text, remedy+"; if it is right, leave it")
}

// lookAt notices a shape written out whose places lie unusually near one another.
func lookAt(b *reader, word string, s solid.Shape) {
	from, to := s.Axis()
	usual := aThickness
	switch word {
	case "hull":
		from, to = s.Bounds()
		usual = aHull
	case "capsule", "cylinder", "cone":
	default:
		return
	}
	long := to.Sub(from).Norm()
	usual.look(b.f, &node{file: b.at.file, line: b.at.line, column: b.at.column, text: short(long) + " over all"}, b.path, long)
}
