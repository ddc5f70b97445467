package slow

import "math"

// drift is what solves shifted by to one side with this one, where the axes did not turn so. Sure: it is plain whether the two last are of one
// place.
func (j *judging) drift(e *evidence, w witnesses) (longest float64, sure bool) {
	d := j.q.State.Drift
	if d == nil {
		return 0, true
	}
	if d.Mid == nil || w.shifted {
		return max(d.Sums[0], d.Sums[1], d.Sums[2], d.Sums[3]), true
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
	if between < 40 {
		slack *= between / 40
	}
	sure = math.Abs(moved-place) > 0.02*degree
	ground, says := j.r.direction(d.Pose).angle(j.r.direction(e.pose)), 1.0 // a pose that is reckoned says nothing of what is farther apart
	if !j.q.State.Counts {
		sure = sure && math.Abs(ground-degree) > 0.01*degree
		if ground > degree {
			says = 0
		}
	}
	for i := range 2 {
		jitter := math.Hypot(2, between/3600) / 60 * degree
		z := says * (e.off[i] - before.off[i]) / math.Sqrt(c[i][i]+jitter*jitter)
		longest = max(longest, d.Sums[2*i]+min(3.5, z)-slack, d.Sums[2*i+1]+min(3.5, -z)-slack)
	}
	return min(6, longest), sure
}

// deliberate is how far the tube moved since it stood at a pose: over the ground and against the stars, whichever is less.
func (j *judging) deliberate(pose Axes, mid float64, e *evidence) float64 {
	from, to := j.r.direction(pose), j.r.direction(e.pose)
	return min(from.angle(to), from.turned(horizontal(0, j.r.Lat), -(e.mid-mid)*siderealRate).angle(to))
}
