package slow

import "math"

// drift is what solves shifted by to one side with this one, where the axes did not turn so. Sure: it is plain whether the two last are of one
// place.
func (j *judging) drift(e *evidence, w witnesses) (longest float64, sure bool) {
	d := j.q.State.Drift
	if d == nil {
		return 0, true
	}
	if !d.Comparable || w.shifted {
		return max(d.Sums[0], d.Sums[1], d.Sums[2], d.Sums[3]), true
	}
	off, c, sure := j.shift(&e.model.Fit, e, d.Stood)
	between := math.Abs(e.mid - d.Mid)
	slack := 0.5
	if between < 40 {
		slack *= between / 40
	}
	ground, says := j.r.direction(d.Pose).angle(j.r.direction(e.pose)), 1.0 // a pose that is reckoned says nothing of what is farther apart
	if !j.q.State.Counts {
		sure = sure && math.Abs(ground-degree) > 0.01*degree
		if ground > degree {
			says = 0
		}
	}
	away, plainly := j.away(e, d)
	for i, sum := range d.Sums {
		sign := 1 - 2*float64(i%2)
		now := sum + min(3.5, says*sign*off[i/2]/math.Sqrt(c[i/2][i/2])) - slack
		if away {
			now = max(now, sum)
		}
		longest = max(longest, now)
	}
	return min(6, longest), sure && plainly
}

// shift is how far off what the axes turned a solve lies that the one at a place would leave, and how well that is known. Sure: it is plain whether the
// two are of one place.
func (j *judging) shift(f *Fit, e *evidence, from Stood) (off [2]float64, c [2][2]float64, sure bool) {
	before, now := j.r.sighted(f, from.Pose, j.r.direction(from.Solved)), j.r.sighted(f, e.pose, e.tube)
	var slopes [2][8]float64
	for i := range 8 {
		slopes[0][i], slopes[1][i] = now.slopes[0][i]-before.slopes[0][i], now.slopes[1][i]-before.slopes[1][i]
	}
	moved, place := j.deliberate(from.Pose, from.Mid, e), 10.0/60*degree
	c = spread(slopes, f)
	if moved > place {
		c = plain(c, 2)
	}
	jitter := math.Hypot(2, math.Abs(e.mid-from.Mid)/3600) / 60 * degree
	for i := range 2 {
		c[i][i] += jitter * jitter
		off[i] = now.off[i] - before.off[i]
	}
	return off, c, math.Abs(moved-place) > 0.02*degree
}

// away tells whether solves drifted, by the four sigmas of the standard limit, and this one lies elsewhere than where they came from: by what
// was learnt, of which ten minutes of arc each way are an excuse at the most, or by what any mount may do.
func (j *judging) away(e *evidence, d *Drift) (yes, sure bool) {
	if d.From == nil || max(d.Sums[0], d.Sums[1], d.Sums[2], d.Sums[3]) <= 4 {
		return false, true
	}
	off, c, sure := j.shift(&e.model.Fit, e, *d.From)
	prior := PointingPrior()
	bare, open, _ := j.shift(&prior.Fit, e, *d.From)
	far := max(distance(off, bounded(c, 10.0/60*degree)), distance(bare, open))
	return far > 13.8, sure && math.Abs(far-13.8) > 0.5
}

// deliberate is how far the tube moved since it stood at a pose: over the ground and against the stars, whichever is less.
func (j *judging) deliberate(pose Axes, mid float64, e *evidence) float64 {
	from, to := j.r.direction(pose), j.r.direction(e.pose)
	return min(from.angle(to), from.turned(horizontal(0, j.r.Lat), -(e.mid-mid)*siderealRate).angle(to))
}
