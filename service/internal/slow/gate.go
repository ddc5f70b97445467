package slow

import (
	"fmt"
	"math"
	"slices"
)

// gate judges a sync: design, section 9.
func (j *judging) gate() {
	v, a := j.q.Solve, j.answer
	a["solve/fresh"] = j.picture(v)
	mid, pose, still := j.middle(v)
	a["solve/still"] = still
	a["solve/blind"] = j.blind(v)
	a["sync/rate"] = j.often()
	a["sync/given"] = j.told(v)
	j.jump(v)
	if len(j.places) == 0 || still.Missing != "" { // nothing about it is judged then
		for _, rule := range []string{"sync/expected", "sync/second", "sync/walk", "solve/quality", "sync/jump", "sync/sum", "end/bounded"} {
			a[rule] = missing("where the rig was at mid-exposure is not known")
		}
		a["solve/optics"] = j.optics(v, nil)
		return
	}
	e := j.evidence(v, mid, pose)
	if (j.repeated(v, e) || j.movedOn(e)) && a["solve/fresh"].Missing == "" {
		a["solve/fresh"] = exact(math.Inf(-1))
	}
	w := j.witnesses(v, e)
	a["solve/quality"] = j.quality(v, e, w)
	if j.expectedThere(e, w, hair) { // a leap that was foretold may be longer
		more := max(0, j.limit("sync/jump axis_expected_deg")-j.limit("sync/jump axis_deg"))
		a["sync/jump"].Seen += more
		a["sync/jump"].Wide += more
		if !j.expectedThere(e, w, -hair) { // or so it seems
			a["sync/jump"].Slack = more
		}
	}
	a["solve/optics"] = j.optics(v, e)
	a["sync/expected"] = j.expected(e, w)
	a["sync/second"] = j.second(v, e, w)
	a["sync/walk"] = j.walk(e, w)
	if !e.sure {
		a["sync/expected"].Slack, a["solve/quality"].Slack, a["sync/jump"].Slack = math.Inf(1), math.Inf(1), math.Inf(1)
	}
	if e.altitude < 0 { // what air does there nobody knows; the picture is too low anyway
		for _, rule := range []string{"sync/expected", "sync/second", "sync/walk"} {
			if a[rule].Missing == "" {
				a[rule] = exact(math.Inf(1))
			}
			a[rule].Slack = math.Inf(1)
		}
	}
}

// evidence is a solve held against the pose of mid-exposure.
type evidence struct {
	mid      float64
	pose     Axes
	solved   Axes // axes that the solve gives, on the side of the pose
	sight    V    // the solved direction, without refraction
	tube     V    // where the tube looks if the solve is so
	altitude float64
	sine     float64 // what axis 1 is worth on the sky there
	sigma    Axes    // of the pose, of the widest place
	model    *Pointing
	before   float64 // squared sigmas that a picture in doubt was off by, and says again
	sure     bool    // and none is on the brink of that
	sighted
}

// The most that the scatter of the expected direction may excuse once something was learnt, on the side that taught it and on the other
// (service/internal/facts states them, common practice).
const (
	mostSame  = 20.0 / 60 * degree
	mostOther = 1 * degree
)

func (j *judging) evidence(v *Solve, mid float64, pose Axes) *evidence {
	e := &evidence{mid: mid, pose: pose, model: j.q.State.Pointing}
	if e.model == nil {
		prior := PointingPrior()
		e.model = &prior
	}
	e.sight, e.solved = j.solvedAt(v, mid, pose)
	az, alt := e.sight.azAlt()
	e.altitude = j.r.lift(alt)
	e.sine = math.Sin(horizontal(az, e.altitude).angle(j.r.d1))
	e.tube = j.r.direction(e.solved)
	e.sighted = j.r.sighted(&e.model.Fit, pose, e.tube)
	for _, p := range j.places {
		e.sigma = Axes{max(e.sigma[0], p.Sigma[0]), max(e.sigma[1], p.Sigma[1])}
	}
	e.scatter = j.scatter(e.posed(e.scatter, e.sigma, e.model.Settled != nil || e.model.Quiet >= 5), pose)
	e.before, e.sure = j.saidBefore(e)
	return e
}

// scatter is by what a solve at a pose is judged: what is not known there, as far as that may excuse one, and what a mount does beside.
func (j *judging) scatter(c [2][2]float64, pose Axes) [2][2]float64 {
	most := mostOther
	if _, same := j.q.State.Learnt[j.r.side(pose)]; same {
		most = mostSame
	}
	if !j.first() {
		c = bounded(c, most)
	}
	return plain(c, 1)
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

// repeated tells whether the solve says the very place of another although the tube moved against the stars since.
func (j *judging) repeated(v *Solve, e *evidence) bool {
	for _, s := range j.q.State.Solves {
		if s.Sky == nil || s.Sky.ICRS != v.Sky.ICRS || horizontal(s.Sky.RA, s.Sky.Dec).angle(horizontal(v.Sky.RA, v.Sky.Dec)) > 3.0/3600*degree {
			continue
		}
		from := j.r.direction(s.Pose).turned(horizontal(0, j.r.Lat), -(e.mid-s.Mid)*siderealRate)
		if from.angle(j.r.direction(e.pose)) > 5.0/60*degree {
			return true
		}
	}
	return false
}

// movedOn tells whether the tube has left, by more than resting or following it does, where it looked at mid-exposure.
func (j *judging) movedOn(e *evidence) bool {
	was, is := j.r.direction(e.pose), j.r.direction(j.places[0].Axes)
	followed := was.turned(horizontal(0, j.r.Lat), e.mid*siderealRate) // now is 0
	return min(was.angle(is), followed.angle(is)) > 5.0/60*degree
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

func (j *judging) first() bool {
	return len(j.q.State.Learnt) == 0 || j.q.State.Pointing == nil || j.q.State.Pointing.Count == 0
}

// doubts are the solves that leave something to settle since one was last accepted, with those of before a homing that moved nothing.
func (j *judging) doubts() []Judged {
	out := slices.Clone(j.q.State.Before)
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

// told judges how far what the mount would be told lies from the solve: here no optics look past the tube.
func (j *judging) told(v *Solve) *Finding {
	off := 0.0
	if g := j.q.Given; g != nil {
		ra, dec := OfDate(*g, j.q.At)
		ra2, dec2 := OfDate(v.Sky, j.q.At)
		off = horizontal(ra, dec).angle(horizontal(ra2, dec2))
	}
	return exact(j.limit("sync/given off_arcmin") - off/degree*60)
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
		sum = sum.moved(s.Axes, s.Nearer)
	}
	sum = sum.moved(d, after.sub(p).most() <= j.belief.sub(p).most())
	j.answer["sync/jump"] = exact(j.limit("sync/jump axis_deg") - d.most()/degree)
	j.answer["sync/sum"] = exact(j.limit("sync/sum axis_deg") - sum.most()/degree)
	j.answer["end/bounded"] = exact(j.limit("end/bounded spread_deg") - after.near(j.belief).sub(j.belief).most()/degree)
	doubt := max(j.blur(j.belief), j.blur(after)) / degree // so too which of the two is nearer to the pose
	for _, rule := range []string{"sync/jump", "sync/sum", "end/bounded"} {
		j.answer[rule].Slack = doubt
		j.answer[rule].Seen += doubt
	}
}

// moved is what syncs amount to with one more: one that brings belief nearer to the pose can only undo, and what it undoes on one axis is no
// room for the other.
func (a Axes) moved(by Axes, nearer bool) Axes {
	if !nearer {
		return a.add(by)
	}
	var undone Axes
	for i := range a {
		if a[i]*by[i] < 0 {
			undone[i] = min(math.Abs(a[i]), math.Abs(by[i]))
		}
	}
	for i := range a {
		if other := undone[1-i]; undone[i] > 0 {
			a[i] -= math.Copysign(undone[i], a[i])
		} else {
			a[i] += math.Copysign(min(other, math.Abs(by[i])), by[i])
		}
	}
	return a
}

// hair is how well it is known here how far a solve lies from where it is expected, radians: the sky of this opinion is good for that.
const hair = 0.2 / 60 * degree

// expectedThere tells whether a model that settled, or that three solves or more taught to six minutes of arc where the tube looks, expects the solve
// where it lies, give or take a little: of such a one few stars are enough.
func (j *judging) expectedThere(e *evidence, w witnesses, more float64) bool {
	s := j.r.sighted(&e.model.Fit, e.pose, e.tube).scatter
	knows := e.model.Settled != nil || e.model.Count >= 3 && s[0][0]+s[1][1] < 2*math.Pow(6.0/60*degree, 2)
	return knows && !w.shifted && max(e.before, distance(e.off, e.scatter)) <= j.limit("sync/expected d2") && e.away() <= j.limit("sync/second agree_arcmin")/60*degree+more
}

func (j *judging) quality(v *Solve, e *evidence, w witnesses) *Finding {
	spare := e.altitude/degree - j.limit("solve/quality altitude_deg")
	switch {
	case v.Matched != nil:
		least := j.limit("solve/quality matched")
		if j.expectedThere(e, w, 0) {
			least = j.limit("solve/quality matched_expected")
		}
		spare = min(spare, float64(*v.Matched)-least)
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
		shows := e.pose
		if j.r.direction(e.pose).angle(e.tube) > 3*degree { // a true one shows that the axes stand there
			shows = e.solved
		}
		off := math.Abs(wrap(*v.Rotation - j.turnedBy(shows, e.sight, *o.Camera)))
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
func (j *judging) turnedBy(pose Axes, looking V, camera float64) float64 {
	r, at, end := j.r, Axes{0, 0}, j.r.d1.times(-1)
	if r.Kind == German {
		at = Axes{0, 60 * degree}
	}
	sight := r.direction(at)
	east := end.cross(sight).unit()
	up := sight.cross(east).times(math.Cos(camera)).add(east.times(math.Sin(camera)))
	zero := up.turned(r.d1, -at[0]).turned(r.d2, -at[1])
	now := zero.turned(r.d2, pose[1]).turned(r.d1, pose[0])
	return position(now, looking, horizontal(0, r.Lat))
}

// away is the angle of the solve from what is expected of a pose, radians.
func (e *evidence) away() float64 { return math.Hypot(e.off[0], e.off[1]) }

// awayFirst is that, and for a first solve at least the angle from where a perfect mount would look.
func (j *judging) awayFirst(e *evidence) float64 {
	if j.first() {
		return max(e.away(), j.r.direction(e.pose).angle(e.tube))
	}
	return e.away()
}

// expected judges how far the solve lies from where the pose makes it expected.
func (j *judging) expected(e *evidence, w witnesses) *Finding {
	r := j.r
	off, least := j.awayFirst(e)/degree*60, math.Inf(1)
	for _, p := range j.places {
		at := e.pose.add(p.Axes.sub(j.places[0].Axes))
		least = min(least, r.looks(e.model.Terms, at).angle(e.tube)/degree*60)
	}
	deny, d2 := j.limit("sync/expected deny_arcmin"), max(e.before, distance(e.off, e.scatter))
	if w.shifted {
		d2 = 13.8 * math.Pow(w.apart/w.within, 2)
	}
	spare := min(deny-off, j.limit("sync/expected d2")-d2)
	if j.first() {
		spare = min(spare, j.limit("sync/expected first_arcmin")-off)
	}
	f := exact(spare)
	f.SharpWide, f.Sharp = deny-least, deny-least
	f.Denies = least > deny
	f.Said = fmt.Sprintf("%.2f′ off, d2 %.2f", off, d2)
	return f
}

// witnesses are the pictures in doubt that are evidence beside this one.
type witnesses struct {
	independent   int
	apart, within float64 // least disagreement with one, and at which the two agree, radians
	against       bool    // that one was good and off what was expected
	shifted       bool    // one says the same, and it is little enough to be taken
}

func (j *judging) witnesses(v *Solve, e *evidence) witnesses {
	w := witnesses{apart: math.Inf(1)}
	if !j.doubtful() {
		return w
	}
	for _, d := range j.doubts() {
		if !j.independent(&d, v, e) {
			continue
		}
		w.independent++
		apart, within := j.alike(&d, e)
		if apart >= w.apart {
			continue
		}
		w.apart, w.within, w.against = apart, within, d.Good && d.Against
	}
	most := j.limit("sync/walk taken_arcmin") / 60 * degree
	calm := max(e.model.Runs[0], e.model.Runs[1], e.model.Runs[2], e.model.Runs[3]) <= 2
	w.shifted = calm && w.independent > 0 && w.against && w.apart <= j.limit("sync/second agree_arcmin")/60*degree && e.model.Count > 0 && j.awayFirst(e)+e.model.Taken <= most
	return w
}

// alike is how far two solves are from saying the same of the axes, and how near they must lie to do so.
func (j *judging) alike(d *Judged, e *evidence) (apart, within float64) {
	lean := func(a Axes) Axes { return j.r.Expects(e.model, a).sub(a) }
	s := e.solved.sub(e.pose).sub(lean(e.pose)).sub(d.Solved.sub(d.Pose).sub(lean(d.Pose)))
	sine := max(e.sine, math.Sin(j.r.direction(d.Pose).angle(j.r.d1)))
	before := j.r.sighted(&e.model.Fit, d.Pose, j.r.direction(d.Solved))
	var slopes [2][8]float64
	for i := range 8 {
		slopes[0][i], slopes[1][i] = e.slopes[0][i]-before.slopes[0][i], e.slopes[1][i]-before.slopes[1][i]
	}
	c := bounded(plain(spread(slopes, &e.model.Fit), 2), mostSame)
	return math.Hypot(wrap(s[0])*sine, wrap(s[1])), max(j.limit("sync/second agree_arcmin")/60*degree, 3*math.Sqrt((c[0][0]+c[1][1])/2))
}

// saidBefore is how far off a picture in doubt lay that told against the pose and said what this one says, rather than what is expected: squared, in
// sigmas; the farthest. One counts where it was off by more than twice what may pass. Sure: no other is on the brink of counting.
func (j *judging) saidBefore(e *evidence) (worst float64, sure bool) {
	sure = true
	for _, d := range j.doubts() {
		if !d.Good || !d.Against || d.Verdict == "accepted" {
			continue
		}
		at := j.r.sighted(&e.model.Fit, d.Pose, j.r.direction(d.Solved))
		d2 := distance(at.off, j.scatter(at.scatter, d.Pose))
		apart, within := j.alike(&d, e)
		most := min(within, e.away())
		if d2 > 27.6 && apart < most && e.away() > j.same() {
			worst = max(worst, d2)
		}
		sure = sure && math.Abs(d2-27.6) > 0.3 && math.Abs(apart-most) > 0.02*degree && math.Abs(e.away()-j.same()) > 0.02*degree
	}
	return worst, sure
}

// same is how near two directions lie that are one for every purpose of the gate, radians.
func (j *judging) same() float64 { return j.limit("sync/second agree_arcmin") / 60 * degree }

// seconded tells whether another picture was held that lay where it was expected and says what this one says.
func (j *judging) seconded(v *Solve, e *evidence) (yes, sure bool) {
	sure = true
	for _, d := range j.q.State.Solves {
		if d.Verdict != "held" || !d.Good || !d.Agreed || !j.independent(&d, v, e) {
			continue
		}
		apart, within := j.alike(&d, e)
		yes = yes || apart <= within
		sure = sure && math.Abs(apart-within) > 0.02*degree
	}
	return yes, sure
}

// second judges whether another picture is wanted.
func (j *judging) second(v *Solve, e *evidence, w witnesses) *Finding {
	if !j.doubtful() {
		return exact(math.Inf(1))
	}
	alike, sure := j.seconded(v, e)
	lies := e.off[0]*e.off[0]+e.off[1]*e.off[1] <= 13.8/2*(e.scatter[0][0]+e.scatter[1][1])
	sides := lies && (e.away() <= max(j.same(), w.apart/2) || alike && e.away() < w.apart)
	if lies && (!sure || math.Abs(e.away()-w.apart) < 0.02*degree || math.Abs(e.away()-max(j.same(), w.apart/2)) < 0.02*degree) {
		return exact(0) // on the brink
	}
	f := exact(boolean(w.independent > 0 && (sides || w.apart <= w.within)))
	if w.independent > 0 && !sides && math.Abs(w.apart-w.within) < 0.02*degree {
		f = exact(0)
	}
	return f
}

// walk judges what many small offsets add up to.
func (j *judging) walk(e *evidence, w witnesses) *Finding {
	drifted, sure := j.drift(e, w)
	spare := j.limit("sync/walk drift_sigma") - drifted
	if !sure {
		return exact(0)
	}
	if w.shifted {
		return exact(spare)
	}
	walked := 0.0
	if old := e.model.Settled; old != nil {
		s := j.r.sighted(old, e.pose, e.tube)
		if n := math.Hypot(s.off[0], s.off[1]); n > 0 { // less what was taken already
			k := max(0, n-e.model.Taken) / n
			s.off[0], s.off[1] = k*s.off[0], k*s.off[1]
		}
		walked = math.Sqrt(distance(s.off, plain(bounded(s.scatter, mostSame), 1)))
	}
	longest := 0.0
	for i := range 2 {
		z := max(-4, min(4, e.off[i]/math.Sqrt(e.scatter[i][i])))
		longest = max(longest, e.model.Runs[2*i]+z-1, e.model.Runs[2*i+1]-z-1)
	}
	return exact(min(j.limit("sync/walk walk_sigma")-walked, j.limit("sync/walk run_sigma")-longest, spare))
}

// independent tells whether a picture is evidence of its own beside one in doubt.
func (j *judging) independent(d *Judged, v *Solve, e *evidence) bool {
	field := d.Field
	if v.Width != nil {
		field = max(field, *v.Width)
	} else if j.r.Optics.Field != nil {
		field = max(field, *j.r.Optics.Field)
	}
	moved := j.deliberate(d.Pose, d.Mid, e)
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
