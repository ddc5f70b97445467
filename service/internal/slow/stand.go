package slow

import (
	"math"
	"math/rand/v2"
)

// judging is one question under way.
type judging struct {
	r      *Rig
	q      *Question
	limits map[string]float64
	rng    *rand.Rand
	scene  *scene
	only   string // the one rule that is looked into; empty: all

	ours, mount mountSky // at the question
	mountWhy    string   // why the mount's is not known
	places      []Place  // at the question
	believes    bool
	belief      Axes // nearest to the likeliest place
	beliefSide  string
	sensed      bool
	edge        bool // see OnEdge
	answer      Answer
	latest      float64 // the latest that one of the ends is arrived at, s from the begin; 0: not asked for yet
}

// stand works out where the rig and its belief are at the question.
func (j *judging) stand() {
	s := &j.q.State.Sample
	j.ours = mountSky{Sidereal(j.q.At, j.r.Lon), j.r.Lat}
	j.mountGoesBy()
	ago := 0.0
	if s.Time != nil {
		ago = -*s.Time
	}
	for _, p := range j.q.State.Places {
		p.Axes = j.carried(p.Axes, ago)
		j.places = append(j.places, p)
	}
	if s.Belief != nil && len(j.places) > 0 {
		j.believe(ago)
	}
}

// carried is where axes are some seconds later.
func (j *judging) carried(a Axes, seconds float64) Axes {
	switch {
	case j.q.State.Sample.Doing != "tracking" || seconds <= 0:
		return a
	case j.r.equatorial():
		return a.add(Axes{seconds * siderealRate, 0})
	}
	v := j.r.direction(a) // the tube stays on its star
	dir := v.turned(horizontal(0, j.r.Lat), -seconds*siderealRate)
	return j.r.aim(dir, j.r.side(a)).near(a)
}

// mountGoesBy is the sidereal time and latitude of the mount's own map.
func (j *judging) mountGoesBy() {
	s := &j.q.State.Sample
	lat, lon := j.r.Lat, j.r.Lon
	if s.Site != nil {
		lat, lon = s.Site[0], s.Site[1]
	}
	j.mount = mountSky{j.ours.lst + lon - j.r.Lon, lat}
	switch {
	case s.LST != nil:
		j.mount.lst = *s.LST
		if s.Time != nil {
			j.mount.lst -= *s.Time * siderealRate
		}
	case j.r.TellsLST:
		j.mountWhy = "the mount's sidereal time is not told"
	case !j.r.equatorial():
		j.mountWhy = "the sidereal time of an alt-azimuth is not told"
	}
	if s.Site == nil && (!j.r.equatorial() || j.r.TellsSite) {
		j.mountWhy = "the mount's site is not told"
	}
}

// believe works out where the mount's counters stand by its belief.
func (j *judging) believe(ago float64) {
	s := &j.q.State.Sample
	then, at := j.mount.after(-ago), j.q.State.Places[0].Axes
	ra, dec := OfDate(*s.Belief, j.q.At)
	j.sensed = j.r.SideSensed && s.Side != ""
	var b Axes
	if j.sensed {
		b, j.beliefSide = j.r.toAxes(then, ra, dec, s.Side).near(at), s.Side
	} else {
		b, j.beliefSide = j.r.nearest(then, ra, dec, at)
	}
	if j.saysNothing(b) {
		return
	}
	j.believes, j.belief = true, j.places[0].Axes.add(b.sub(at))
}

// saysNothing tells of a belief that the mount worked out about another pole than its own (ICRS, or with refraction) that it lies too near that for its
// right ascension to say how axis 1 stands. The rigs here are homed by a person, so nothing else says it.
func (j *judging) saysNothing(b Axes) bool {
	if !j.r.equatorial() || !j.r.Refracts && !j.q.State.Sample.Belief.ICRS {
		return false
	}
	off := math.Abs(math.Abs(wrap(b[1])) - math.Pi/2)
	if j.r.Kind == German {
		off = min(math.Abs(wrap(b[1])), math.Pi-math.Abs(wrap(b[1])))
	}
	j.edge = math.Abs(off-0.5*degree) < 1.2/60*degree+j.lifted(b)
	return off < 0.5*degree
}

// OnEdge tells whether the precession used here is too coarse to say whether a belief tells anything of axis 1: 40″ beside where that ends, and what
// air may do besides, which nobody knows below the horizon. So it is of whether an offset of syncs tells anything (strays), and near the zenith (overhead).
func OnEdge(r *Rig, q *Question, limits map[string]float64) bool {
	j := &judging{r: r.shown(q), q: q, limits: limits}
	j.stand()
	if q.Kind != "sync" {
		j.unbounded()
		j.edge = j.edge || j.overhead()
	}
	return j.edge
}

// overhead tells whether a slew of an alt-azimuth to the sky may end by its counters within a fifth of a degree of the zenith: there its azimuth is another at each
// instant, and those looked at here are not the service's.
func (j *judging) overhead() bool {
	if j.r.equatorial() || j.q.Kind == "slew" && j.q.Sky == nil || j.q.Kind != "slew" && j.q.Kind != "flip" || !j.believes || j.mountWhy != "" {
		return false
	}
	for i := range j.places {
		for _, arrival := range []float64{0, 30, 60, 90, 120} {
			for _, e := range j.endsFrom(i, 0, arrival) {
				if e.shift != (Axes{}) && math.Abs(math.Abs(wrap(e.axes[1]))-math.Pi/2) < 0.2*degree {
					return true
				}
			}
		}
	}
	return false
}

// nearest is M of a place on the side and turn nearest to a pose.
func (r *Rig) nearest(m mountSky, ra, dec float64, at Axes) (Axes, string) {
	side := r.side(at)
	own, other := r.toAxes(m, ra, dec, side).near(at), r.toAxes(m, ra, dec, otherSide(side)).near(at)
	if other.sub(at).most() < own.sub(at).most() {
		return other, otherSide(side)
	}
	return own, side
}

// beliefFrom is where the counters stand, were the rig at a place.
func (j *judging) beliefFrom(at Axes) Axes { return j.belief.near(at) }

// beliefs is that, and where they stand on the turn by which the likeliest place counts: they know of no other.
func (j *judging) beliefs(at Axes) []Axes {
	out := []Axes{j.beliefFrom(at)}
	if j.belief.sub(out[0]).most() > degree {
		out = append(out, j.belief)
	}
	return out
}

// aim is the pose that points the tube at a direction on a side, by the true axes: axis 2 from the angle to axis 1, axis 1 by turning.
func (r *Rig) aim(dir V, side string) Axes {
	want := dir.angle(r.d1)
	best, least := Axes{}, math.Inf(1)
	zero := math.Atan2(r.d2.cross(r.tube).dot(r.d1), r.tube.dot(r.d1)) // of axis 2, along axis 1
	for _, a2 := range []float64{zero + want, zero - want} {
		if r.side(Axes{0, a2}) != side {
			continue
		}
		v := r.tube.turned(r.d2, a2)
		from, to := v.sub(r.d1.times(v.dot(r.d1))), dir.sub(r.d1.times(dir.dot(r.d1)))
		a := Axes{math.Atan2(r.d1.dot(from.cross(to)), from.dot(to)), wrap(a2)}
		if d := r.direction(a).angle(dir); d < least {
			best, least = a, d
		}
	}
	return best
}

func (j *judging) limit(name string) float64 { return j.limits[name] }

// present judges what is told and known: plain numbers against plain limits.
func (j *judging) present() {
	s, a := &j.q.State, j.answer
	a["lock/none"] = exact(float64(-s.Locks))
	a["pose/known"] = exact(boolean(s.Known && len(s.Places) == 1))
	a["pose/fresh"] = j.fresh()
	a["pose/sharp"] = j.sharp()
	a["belief/agrees"] = j.agrees()
	a["time/agree"] = j.time()
	a["mount/map"] = j.mapped()
	a["rig/proven"] = j.proven()
}

// boolean is a spare that is nothing but on the right or the wrong side.
func boolean(right bool) float64 {
	if right {
		return math.Inf(1)
	}
	return math.Inf(-1)
}

func (j *judging) fresh() *Finding {
	s := &j.q.State.Sample
	switch {
	case s.Time == nil:
		return missing("the sample has no time")
	case j.q.State.Clock.Jumped:
		return missing("the clock jumped")
	case j.q.State.Unheard:
		return missing("the sample was not taken in")
	}
	age := j.limit("pose/fresh age_s")
	if s.Doing != "at rest" && s.Doing != "tracking" {
		age = j.limit("pose/fresh moving_age_s")
	}
	return exact(age - math.Abs(*s.Time))
}

// parts is what counts of what was told of parts: nothing once it is older than a pose may be, or of unknown age.
func (j *judging) parts() []Report {
	s := &j.q.State.Sample
	if s.Time == nil || j.q.State.Clock.Jumped || j.q.State.Unheard || math.Abs(*s.Time) > j.limit("pose/fresh age_s") {
		return nil
	}
	return s.Parts
}

func (j *judging) sharp() *Finding {
	if len(j.places) == 0 {
		return missing("the pose is unknown")
	}
	worst := 0.0
	for _, p := range j.places {
		worst = max(worst, p.Sigma.add(j.unseen().times(Axes{1. / 3, 1. / 3})).most())
	}
	return exact(j.limit("pose/sharp sigma_deg") - worst/degree)
}

func (j *judging) agrees() *Finding {
	if !j.believes {
		return missing("belief is not told")
	}
	off := j.r.direction(j.places[0].Axes).angle(j.r.direction(j.belief))
	air := j.lifted(j.belief) / degree // either way
	f := exact(j.limit("belief/agrees sky_deg") - off/degree + air)
	f.Slack = 2 * air
	return f
}

func (j *judging) time() *Finding {
	c, at := &j.q.State.Clock, j.q.Sent
	if at == nil {
		at = j.q.State.Sample.Time
	}
	bound := math.Inf(1)
	if c.Kernel != nil {
		bound = *c.Kernel
	}
	for _, s := range []*Stated{c.Good, c.Told} {
		if s != nil {
			bound = min(bound, s.Bound+50e-6*s.Ago)
		}
	}
	if c.Jumped || at == nil || math.IsInf(bound, 1) {
		return missing("the clocks are not known")
	}
	return exact(min(j.limit("time/agree skew_s")-math.Abs(*at), j.limit("time/agree error_s")-bound))
}

func (j *judging) mapped() *Finding {
	s := &j.q.State.Sample
	if j.mountWhy != "" {
		return missing(j.mountWhy)
	}
	off := 0.0
	if s.LST != nil || s.Site != nil {
		off = math.Abs(wrap(j.mount.lst - j.ours.lst))
	}
	if s.Site != nil {
		off = max(off, math.Abs(s.Site[0]-j.r.Lat), math.Abs(wrap(s.Site[1]-j.r.Lon)))
	}
	return exact(j.limit("mount/map axis_deg") - off/degree)
}

func (j *judging) proven() *Finding {
	p := j.q.State.Proof
	switch {
	case j.q.Attended:
		return exact(math.Inf(1))
	case p == nil || p.Void:
		return exact(math.Inf(-1))
	}
	return exact(min(j.limit("rig/proven residual_mm")-p.Residual, j.limit("rig/proven age_days")-p.Days))
}
