package rig

import "slices"

// ReadsAxes tells whether any source of the rig's pose reads its axes or their motors.
func (r *Rig) ReadsAxes() bool {
	return slices.ContainsFunc(r.Sources, func(s Source) bool { return s.Kind == AxisEncoder || s.Kind == MotorCount })
}

// checkUntold notices an alt-azimuth mount that, by its file, cannot tell its clock or site: its ends depend on both, so nothing goes by its own map until
// somebody told them (facts/ownmap.go).
func (r *Rig) checkUntold() {
	if r.Kind != AltAzimuth {
		return
	}
	byBelief, often := "", "once after each homing, as mount_lst_deg of a sample"
	if !r.ReadsAxes() {
		often = "each time, as mount_lst_deg of every sample"
	}
	if slices.ContainsFunc(r.Sources, func(s Source) bool { return s.Kind == UnsyncedBelief }) {
		byBelief = ", and its belief is no source of the pose"
	}
	note := func(told bool, key, what, how string) {
		if !told {
			r.Notices = append(r.Notices, r.Find(Untold, key,
				"with a wrong "+what+" an alt-azimuth turns anywhere: while none is told, slews to the sky, parks by belief, tracking and syncs are held"+byBelief,
				"have its program tell what the mount itself shows, and say yes here; or let somebody tell it "+how+"; homing, jogs, creeps and slews by axes, to places of rest too, go without"))
		}
	}
	note(r.Mount.TellsSidereal, "mount.tells_sidereal_time", "sidereal time", often+" (a right ascension and an hour angle that it shows, added)")
	note(r.Mount.TellsSite, "mount.tells_site", "latitude", "once, as mount_site of a sample")
}
