package rig

import (
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
