package rig

import (
	"sort"

	"keepclear.example/keepclear/service/internal/unit"
)

// SkylineAt returns the altitude up to which something stands at an azimuth: between the points of the file in a straight line, 0
// where the file gives none.
func (r *Rig) SkylineAt(az unit.Angle) unit.Angle {
	n := len(r.Horizon)
	if n == 0 {
		return 0
	}
	az = az.Positive()
	points := append([]Skyline(nil), r.Horizon...)
	sort.Slice(points, func(i, j int) bool { return points[i].Az < points[j].Az })
	i := sort.Search(n, func(i int) bool { return points[i].Az > az })
	before, after := points[(i+n-1)%n], points[i%n]
	span := (after.Az - before.Az).Positive()
	if span == 0 {
		return max(before.Alt, after.Alt)
	}
	share := (az - before.Az).Positive() / span
	return before.Alt + share*(after.Alt-before.Alt)
}
