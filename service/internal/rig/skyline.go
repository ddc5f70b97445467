package rig

import (
	"math"
	"sort"

	"keepclear.example/keepclear/service/internal/unit"
)

// SkylineAt returns the altitude up to which something stands at an azimuth: between the points of the file in a straight line, 0
// where the file gives none. The points grow in azimuth: the file's reader sees to it.
func (r *Rig) SkylineAt(az unit.Angle) unit.Angle {
	n := len(r.Horizon)
	if n == 0 {
		return 0
	}
	az = az.Positive()
	i := sort.Search(n, func(i int) bool { return r.Horizon[i].Az > az })
	before, after := r.Horizon[(i+n-1)%n], r.Horizon[i%n]
	span := (after.Az - before.Az).Positive()
	if span == 0 {
		return max(before.Alt, after.Alt)
	}
	share := (az - before.Az).Positive() / span
	return before.Alt + share*(after.Alt-before.Alt)
}

// SkylineNear returns the greatest altitude up to which something stands within an angle on the sky of a direction: azimuth, altitude
// and angle in radians, the last at least 0. Where the zenith is as near, all azimuths count.
func (r *Rig) SkylineNear(az, alt, within unit.Angle) unit.Angle {
	aside := unit.HalfTurn
	if within < unit.HalfTurn/2-alt.Abs() { // a small circle spans asin(sin ρ / cos a) of azimuth; from right spherical triangles
		aside = unit.Angle(math.Asin(within.Sin() / alt.Cos()))
	}
	highest := max(r.SkylineAt(az-aside), r.SkylineAt(az+aside))
	for _, p := range r.Horizon {
		if (p.Az - az).Wrapped().Abs() <= aside {
			highest = max(highest, p.Alt)
		}
	}
	return highest
}
