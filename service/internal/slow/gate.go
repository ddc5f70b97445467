package slow

import (
	"fmt"
	"math"
)

// gate judges a sync: design, section 9.
func (j *judging) gate() {
	v, a := j.q.Solve, j.answer
	a["solve/fresh"] = j.picture(v)
	mid, pose, still := j.middle(v)
	a["solve/still"] = still
	a["solve/blind"] = j.blind(v)
	a["sync/rate"] = j.often()
	j.jump(v)
	if len(j.places) == 0 || still.Missing != "" { // nothing about it is judged then
		for _, rule := range []string{"sync/expected", "sync/second", "solve/quality", "sync/jump", "sync/sum", "end/bounded"} {
			a[rule] = missing("where the rig was at mid-exposure is not known")
		}
		a["solve/optics"] = j.optics(v, nil)
		return
	}
	e := j.evidence(v, mid, pose)
	a["solve/quality"] = j.quality(v, e)
	a["solve/optics"] = j.optics(v, e)
	a["sync/expected"] = j.expected(e)
	a["sync/second"] = j.second(v, e)
}

// evidence is a solve held against the pose of mid-exposure.
type evidence struct {
	mid      float64
	pose     Axes
	solved   Axes // axes that the solve gives, on the side of the pose
	learnt   Axes
	sight    V // the solved direction, without refraction
	altitude float64
	sine     float64 // what axis 1 is worth on the sky there
	sigma    float64 // of the expected direction
	off      Axes    // solved less expected
}

// Standard deviations of the expected direction beside that of the pose (service/internal/facts states them, common practice): of a first
// solve, of one on a side that has taught its offsets, of one on the other side.
const (
	sigmaFirst = 1 * degree
	sigmaSame  = 20.0 / 60 * degree
	sigmaOther = 1 * degree
)

func (j *judging) evidence(v *Solve, mid float64, pose Axes) *evidence {
	e := &evidence{mid: mid, pose: pose, sigma: sigmaFirst}
	e.sight, e.solved = j.solvedAt(v, mid, pose)
	az, alt := e.sight.azAlt()
	e.altitude = j.r.lift(alt)
	e.sine = math.Sin(horizontal(az, e.altitude).angle(j.r.d1))
	side := j.r.side(pose)
	if o, ok := j.q.State.Learnt[side]; ok {
		e.learnt, e.sigma = o, sigmaSame
	} else if o, ok := j.q.State.Learnt[otherSide(side)]; ok {
		e.learnt, e.sigma = o, sigmaOther
	}
	e.off = e.solved.sub(pose).sub(e.learnt)
	return e
}

// solvedAt is a solve as a direction over the ground, and as a pose on the side of another.
func (j *judging) solvedAt(v *Solve, mid float64, pose Axes) (V, Axes) {
	ra, dec := OfDate(v.Sky, j.q.At)
	d := overGround(j.ours.after(mid).lst-ra, dec, j.r.Lat)
	az, alt := d.azAlt()
	return d, j.r.aim(horizontal(az, j.r.lift(alt)), j.r.side(pose)).near(pose)
}

func (j *judging) picture(v *Solve) *Finding {
	if v.Start == nil || v.Exposure <= 0 {
		return missing("when it was exposed is not told")
	}
	age := -(*v.Start + v.Exposure)
	if age < 0 {
		return missing("it ends after now")
	}
	return exact(j.limit("solve/fresh age_s") - age)
}

// middle finds where the rig was at mid-exposure, and how far the field moved meanwhile.
func (j *judging) middle(v *Solve) (mid float64, pose Axes, f *Finding) {
	if v.Start == nil || v.Exposure <= 0 {
		return 0, pose, missing("when it was exposed is not told")
	}
	begin, end := *v.Start, *v.Start+v.Exposure
	mid = begin + v.Exposure/2
	var before, after *Mark
	for i := range j.q.State.Marks {
		m := &j.q.State.Marks[i]
		if m.Time <= begin+1e-9 {
			before = m
		}
		if m.Time >= end-1e-9 && after == nil {
			after = m
		}
	}
	if v.Mid != nil {
		for i := range j.q.State.Marks {
			if m := &j.q.State.Marks[i]; math.Abs(m.Time-*v.Mid) < 1e-9 {
				if before == nil {
					before = m
				}
				if after == nil {
					after = m
				}
			}
		}
	}
	if before == nil || after == nil {
		return mid, pose, missing("no samples around it")
	}
	for _, m := range j.q.State.Marks {
		if m.Time >= before.Time-1e-9 && m.Time <= after.Time+1e-9 && m.Doing != "at rest" && m.Doing != "tracking" {
			return mid, pose, missing("it moved meanwhile")
		}
	}
	return j.moved(v, before, after, mid)
}

// moved is how far the field moved against the stars.
func (j *judging) moved(v *Solve, before, after *Mark, mid float64) (float64, Axes, *Finding) {
	r, span := j.r, after.Time-before.Time
	if span <= 0 {
		return mid, before.Axes, played() // the generator sends none so
	}
	tracked := j.tracked(before.Axes, span)
	at := r.direction(after.Axes)
	if min(r.direction(before.Axes).angle(at), r.direction(tracked).angle(at)) > 0.5*degree {
		return mid, before.Axes, missing("it moved unseen")
	}
	share := (mid - before.Time) / span
	d := after.Axes.sub(before.Axes)
	pose := before.Axes.add(d.times(Axes{share, share}))
	motion := r.direction(tracked).angle(at) * min(1, v.Exposure/span)
	return mid, pose, exact(j.limit("solve/still motion_arcsec") - motion/degree*3600)
}

// tracked is where a tube that stays on its star is some seconds later.
func (j *judging) tracked(a Axes, seconds float64) Axes {
	if j.r.equatorial() {
		return a.add(Axes{seconds * siderealRate, 0})
	}
	return j.r.aim(j.r.direction(a).turned(horizontal(0, j.r.Lat), -seconds*siderealRate), j.r.side(a)).near(a)
}

func (j *judging) first() bool { return len(j.q.State.Learnt) == 0 }

// doubts are the solves that leave something to settle since one was last accepted.
func (j *judging) doubts() []Judged {
	var out []Judged
	for _, s := range j.q.State.Solves {
		switch {
		case s.Verdict == "accepted" || s.Verdict == "allowed":
			out = nil
		case s.Good && s.Against, !s.Good && (s.Verdict == "denied" || !s.Agreed || j.first()):
			out = append(out, s)
		}
	}
	return out
}

// doubtful tells whether another picture is wanted: of a pose that is unknown nothing is judged anyway.
func (j *judging) doubtful() bool {
	return !j.q.State.Known && len(j.q.State.Places) > 0 || len(j.doubts()) > 0
}

func (j *judging) blind(v *Solve) *Finding {
	switch radius := v.Radius; {
	case !j.first() && !j.doubtful():
		return exact(math.Inf(1))
	case radius != nil:
		return exact(*radius/degree - j.limit("solve/blind hint_deg"))
	case j.r.Lacks["radius"]:
		return exact(180 - j.limit("solve/blind hint_deg"))
	}
	return missing("how wide it searched is not told")
}

func (j *judging) often() *Finding {
	n := 1
	for _, s := range j.q.State.Syncs {
		if s.Time > -600 {
			n++
		}
	}
	return exact(j.limit("sync/rate per_10min") - float64(n))
}

// jump judges what the sync does to belief, the sum of all since homing, and where recentring would lead.
func (j *judging) jump(v *Solve) {
	if !j.believes {
		for _, rule := range []string{"sync/jump", "sync/sum", "end/bounded"} {
			j.answer[rule] = missing("belief is not told")
		}
		return
	}
	given := v.Sky
	if j.q.Given != nil {
		given = *j.q.Given
	}
	ra, dec := OfDate(given, j.q.At)
	p := j.places[0].Axes
	after := j.r.toAxes(j.mount, ra, dec, j.beliefSide).near(p)
	d := after.sub(j.belief)
	sum := Axes{}
	for _, s := range j.q.State.Syncs {
		if !s.Nearer {
			sum = sum.add(s.Axes)
		}
	}
	if after.sub(p).most() > j.belief.sub(p).most() {
		sum = sum.add(d)
	}
	j.answer["sync/jump"] = exact(j.limit("sync/jump axis_deg") - d.most()/degree)
	j.answer["sync/sum"] = exact(j.limit("sync/sum axis_deg") - sum.most()/degree)
	j.answer["end/bounded"] = exact(j.limit("end/bounded spread_deg") - after.near(j.belief).sub(j.belief).most()/degree)
	doubt := max(j.blur(j.belief), j.blur(after)) / degree // so too which of the two is nearer to the pose
	for _, rule := range []string{"sync/jump", "sync/sum", "end/bounded"} {
		j.answer[rule].Slack = doubt
		j.answer[rule].Seen += doubt
	}
}

func (j *judging) quality(v *Solve, e *evidence) *Finding {
	spare := e.altitude/degree - j.limit("solve/quality altitude_deg")
	switch {
	case v.Matched != nil:
		spare = min(spare, float64(*v.Matched)-j.limit("solve/quality matched"))
	case !j.r.Lacks["matched"]:
		return missing("how many stars matched is not told")
	}
	switch {
	case v.Residual == nil && j.r.Lacks["residual"]:
	case v.Residual == nil || v.Pixel == nil:
		return missing("the residual in pixels is not told")
	default:
		spare = min(spare, j.limit("solve/quality residual_ratio") - *v.Residual / *v.Pixel)
	}
	return exact(spare)
}

// optics judges scale, handedness and camera angle against what the file says.
func (j *judging) optics(v *Solve, e *evidence) *Finding {
	o, spare := &j.r.Optics, math.Inf(1)
	switch {
	case v.Mirrored == nil && !j.r.Lacks["mirror"], v.Pixel == nil && !j.r.Lacks["scale"], v.Rotation == nil && !j.r.Lacks["rotation"], e == nil:
		f := missing("scale, turn or handedness is not told")
		f.Denies = v.Mirrored != nil && o.Mirrored != nil && *v.Mirrored != *o.Mirrored
		return f
	}
	if v.Pixel != nil && o.Pixel != nil {
		spare = min(spare, (j.limit("solve/optics scale_ratio")-math.Abs(*v.Pixel / *o.Pixel - 1))*100)
	}
	if v.Rotation != nil && o.Camera != nil {
		off := math.Abs(wrap(*v.Rotation - j.turnedBy(e, *o.Camera)))
		spare = min(spare, j.limit("solve/optics rotation_deg")-off/degree)
	}
	f := exact(spare)
	far := j.r.direction(e.pose).angle(j.r.direction(e.solved)) / degree
	f.Slack = far * far / 40 // the picture's turn has no one meaning so far from where it was expected
	if v.Mirrored != nil && o.Mirrored != nil && *v.Mirrored != *o.Mirrored {
		f = exact(math.Inf(-1))
		f.Denies = true
	}
	return f
}

// position is the position angle, north through east, of a direction across a line of sight.
func position(up, sight, pole V) float64 {
	east := pole.cross(sight)
	return math.Atan2(up.dot(east), up.dot(sight.cross(east)))
}

// turnedBy is the position angle of a picture of a camera fixed to the tube, whose angle is told for the first side of a perfect mount (of
// an alt-azimuth from the zenith): the camera's up is carried from there to zero and on to the pose.
func (j *judging) turnedBy(e *evidence, camera float64) float64 {
	r, at, end := j.r, Axes{0, 0}, j.r.d1.times(-1)
	if r.Kind == German {
		at = Axes{0, 60 * degree}
	}
	sight := r.direction(at)
	east := end.cross(sight).unit()
	up := sight.cross(east).times(math.Cos(camera)).add(east.times(math.Sin(camera)))
	zero := up.turned(r.d1, -at[0]).turned(r.d2, -at[1])
	now := zero.turned(r.d2, e.pose[1]).turned(r.d1, e.pose[0])
	return position(now, e.sight, horizontal(0, r.Lat))
}

// expected judges how far the solve lies from where the pose makes it expected.
func (j *judging) expected(e *evidence) *Finding {
	r := j.r
	away := func(at Axes, solved Axes) float64 {
		return r.direction(at.add(e.learnt)).angle(r.direction(solved)) / degree * 60
	}
	off, least := away(e.pose, e.solved), math.Inf(1)
	for _, p := range j.places {
		at := e.pose.add(p.Axes.sub(j.places[0].Axes))
		least = min(least, away(at, r.aim(r.direction(e.solved), r.side(at)).near(at)))
	}
	deny := j.limit("sync/expected deny_arcmin")
	spare := deny - off
	if j.first() {
		spare = min(spare, j.limit("sync/expected first_arcmin")-off)
	} else {
		spare = min(spare, j.limit("sync/expected d2")-j.d2(e))
	}
	f := exact(spare)
	f.SharpWide, f.Sharp = deny-least, deny-least
	f.Denies = least > deny
	f.Said = fmt.Sprintf("%.2f′ off, d2 %.2f", off, j.d2(e))
	return f
}

// d2 is the squared Mahalanobis distance of the solve.
func (j *judging) d2(e *evidence) float64 {
	v1, v2 := j.variances(e)
	return e.off[0]*e.off[0]*e.sine*e.sine/v1 + e.off[1]*e.off[1]/v2
}

func (j *judging) variances(e *evidence) (v1, v2 float64) {
	for _, p := range j.places {
		v1, v2 = max(v1, p.Sigma[0]*p.Sigma[0]*e.sine*e.sine), max(v2, p.Sigma[1]*p.Sigma[1])
	}
	return v1 + e.sigma*e.sigma, v2 + e.sigma*e.sigma
}

// second judges whether another picture is wanted.
func (j *judging) second(v *Solve, e *evidence) *Finding {
	doubts := j.doubts()
	if !j.doubtful() {
		return exact(math.Inf(1))
	}
	v1, v2 := j.variances(e)
	sides := e.off[0]*e.off[0]*e.sine*e.sine+e.off[1]*e.off[1] <= 13.8/2*(v1+v2)
	independent, least := 0, math.Inf(1)
	for _, d := range doubts {
		if !j.independent(&d, v, e) {
			continue
		}
		independent++
		s := e.solved.sub(d.Solved).sub(e.pose.sub(d.Pose))
		least = min(least, math.Hypot(wrap(s[0])*e.sine, wrap(s[1])))
	}
	agree := j.limit("sync/second agree_arcmin") / 60 * degree
	f := exact(boolean(independent > 0 && (sides || least <= agree)))
	if independent > 0 && !sides && math.Abs(least-agree) < 0.02*degree {
		f = exact(0)
	}
	return f
}

// independent tells whether a picture is evidence of its own beside one in doubt.
func (j *judging) independent(d *Judged, v *Solve, e *evidence) bool {
	field := d.Field
	if v.Width != nil {
		field = max(field, *v.Width)
	} else if j.r.Optics.Field != nil {
		field = max(field, *j.r.Optics.Field)
	}
	from, to := j.r.direction(d.Pose), j.r.direction(e.pose)
	moved := min(from.angle(to), from.turned(horizontal(0, j.r.Lat), -(e.mid-d.Mid)*siderealRate).angle(to))
	switch {
	case d.Picture == v.Picture && v.Picture != "", field <= 0, moved <= field, math.Abs(d.Mid-e.mid) < 1e-9:
		return false
	case v.Radius != nil && *v.Radius >= math.Pi:
		return true
	case v.Hint == nil, d.Hint == nil:
		return v.Hint != nil && d.Blind
	}
	a, b := horizontal(d.Hint.RA, d.Hint.Dec), horizontal(v.Hint.RA, v.Hint.Dec)
	return d.Hint.ICRS == v.Hint.ICRS && a.angle(b) > field
}
