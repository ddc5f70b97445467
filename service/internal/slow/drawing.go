package slow

import "math"

// What a test needs to draw questions that make sense.

// Side is the side of a pose.
func (r *Rig) Side(a Axes) string { return r.side(a) }

// Clear is what the pair that is worst off has to spare at a pose, mm, no more than 30.
func (r *Rig) Clear(a Axes, limits map[string]float64) float64 { return r.Clears(limits)(a) }

// Clears is Clear of one pose after the other, soon where they are not far apart.
func (r *Rig) Clears(limits map[string]float64) func(Axes) float64 {
	s := r.sceneFor(nil, limits, nil)
	return func(a Axes) float64 { return s.spare(a, mostSpare) }
}

// Touches tells whether parts touch at a pose.
func (r *Rig) Touches(a Axes, limits map[string]float64) bool {
	return r.sceneFor(nil, limits, nil).touches(a, 0.02)
}

// Altitude is that of the tube at a pose.
func (r *Rig) Altitude(a Axes) float64 {
	_, alt := r.direction(a).azAlt()
	return alt
}

// Seen is the place of date that a tube sees at a pose, the air counted.
func (r *Rig) Seen(lst float64, a Axes) (ra, dec float64) {
	az, alt := r.direction(a).azAlt()
	hour, dec := fromGround(horizontal(az, r.sink(alt)), r.Lat)
	return lst - hour, dec
}

// Tracked is where a tube that stays on its star is some seconds later.
func (r *Rig) Tracked(a Axes, seconds float64) Axes {
	j := judging{r: r}
	return j.tracked(a, seconds)
}

// Picture is the position angle of the up of a picture taken at a pose, of a camera at an angle.
func (r *Rig) Picture(a Axes, camera float64) float64 {
	az, alt := r.direction(a).azAlt()
	j := judging{r: r}
	return j.turnedBy(a, horizontal(az, r.sink(alt)), camera)
}

// Decline is the angle of the tube over the plane at right angles to axis 1.
func (r *Rig) Decline(a Axes) float64 { return math.Asin(max(-1, min(1, r.direction(a).dot(r.d1)))) }

// Aim is the pose nearest to another that sees a place of date.
func (r *Rig) Aim(lst, ra, dec float64, at Axes) Axes {
	az, alt := overGround(lst-ra, dec, r.Lat).azAlt()
	return r.aim(horizontal(az, r.lift(alt)), r.side(at)).near(at)
}
