package slow

import "math"

// drift is what solves shifted by to one side with this one, where the axes did not turn so. Sure: it is plain whether this one lies where it is
// expected, and whether the two last are of one place.
func (j *judging) drift(e *evidence, w witnesses) (longest float64, sure bool) {
	d := j.q.State.Drift
	if d == nil {
		return 0, true
	}
	d2 := max(e.before, distance(e.off, e.scatter))
	if w.shifted {
		d2 = 13.8 * math.Pow(w.apart/w.within, 2)
	}
	most, sums := j.limit("sync/expected d2"), max(d.Sums[0], d.Sums[1], d.Sums[2], d.Sums[3])
	sure = e.sure && math.Abs(d2-most) > 0.3
	if d.Mid == nil || w.shifted || d2 > most {
		return sums, sure
	}
	before := j.r.sighted(&e.model.Fit, d.Pose, j.r.direction(d.Solved))
	var slopes [2][8]float64
	for i := range 8 {
		slopes[0][i], slopes[1][i] = e.slopes[0][i]-before.slopes[0][i], e.slopes[1][i]-before.slopes[1][i]
	}
	moved, place, between := j.deliberate(d.Pose, *d.Mid, e), 10.0/60*degree, math.Abs(e.mid-*d.Mid)
	c := spread(slopes, &e.model.Fit)
	if moved > place {
		c = plain(c, 2)
	}
	slack := 0.5
	if between < 60 {
		slack *= between / 60
	}
	for i := range 2 {
		jitter := math.Hypot(2, between/3600) / 60 * degree
		z := (e.off[i] - before.off[i]) / math.Sqrt(c[i][i]+jitter*jitter)
		longest = max(longest, d.Sums[2*i]+min(3.5, z)-slack, d.Sums[2*i+1]+min(3.5, -z)-slack)
	}
	return min(6, longest), sure && math.Abs(moved-place) > 0.02*degree
}

// deliberate is how far the tube moved since it stood at a pose: over the ground and against the stars, whichever is less.
func (j *judging) deliberate(pose Axes, mid float64, e *evidence) float64 {
	from, to := j.r.direction(pose), j.r.direction(e.pose)
	return min(from.angle(to), from.turned(horizontal(0, j.r.Lat), -(e.mid-mid)*siderealRate).angle(to))
}
