package rig

import "math"

var winds = [16]string{
	"north", "north-north-east", "north-east", "east-north-east", "east", "east-south-east", "south-east", "south-south-east",
	"south", "south-south-west", "south-west", "west-south-west", "west", "west-north-west", "north-west", "north-north-west",
}

// wind names the direction of an azimuth by so many winds, 8 or 16.
func wind(azDeg float64, of int) string {
	i := int(math.Round(math.Mod(azDeg, 360) / 360 * float64(of)))
	return winds[((i%of)+of)%of*(16/of)]
}

// legNames names legs by where they point: by the eight winds, or where two would be named alike, by sixteen, or at last by
// their azimuths.
func legNames(azDeg []float64) []string {
	for _, of := range []int{8, 16} {
		var names []string
		seen := map[string]bool{}
		for _, az := range azDeg {
			name := wind(az, of) + " leg"
			names, seen[name] = append(names, name), true
		}
		if len(seen) == len(azDeg) {
			return names
		}
	}
	var names []string
	for _, az := range azDeg {
		names = append(names, "leg at "+short(az)+"°")
	}
	return names
}
