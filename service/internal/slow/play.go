package slow

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// Effort is how much is played of one question.
type Effort struct {
	Plays   int  // from within the pose's uncertainty, and half as many without it
	Points  int  // of each way, and of each tracking
	Day     int  // of each day until the first contact
	Marches int  // plays that are looked at closely, and as many without the pose's uncertainty
	Wide    bool // so too is what a proof may add
	// Only is the one rule that is looked into, at less cost; of the others nothing is found then. Empty: all.
	Only string
	// Enough ends the plays as soon as it says so of that rule. What more plays find is never more to spare.
	Enough func(*Finding) bool
}

// mostSpare is the farthest that clearances are looked at, mm.
const mostSpare = 30

// shown is the rig as samples showed it: one that does not keep its syncs as its file says may keep them in either form.
func (r *Rig) shown(q *Question) *Rig {
	if !q.State.Disproof || r.Sync == "model" {
		return r
	}
	shown := *r
	shown.Sync = "unknown"
	return &shown
}

// Judge thinks about a question.
func Judge(r *Rig, q *Question, limits map[string]float64, e Effort, rng *rand.Rand) Answer {
	r = r.shown(q)
	j := &judging{r: r, q: q, limits: limits, rng: rng, only: e.Only, answer: Answer{}}
	j.stand()
	j.present()
	if q.Kind == "sync" {
		j.gate()
		return j.wanted()
	}
	motion := []string{"clear/path", "clear/opens", "travel/axis1", "travel/axis2", "sky/floor", "sun/apart", "sky/horizon", "track/fits", "asker/fallback"}
	why := j.unbounded()
	for _, rule := range append(motion, "end/bounded") {
		if j.answer[rule] = played(); why != "" {
			j.answer[rule] = missing(why)
		}
	}
	if why != "" {
		return j.wanted()
	}
	if j.follows() && j.unsited() {
		why := missing("how the axes of an alt-azimuth follow the sky goes by the mount's site, which is not told")
		j.answer["track/fits"], j.answer["asker/fallback"] = why, why
	}
	if j.about("end/bounded") {
		j.answer["end/bounded"] = j.bounded()
	}
	if !j.about(motion...) {
		return j.wanted()
	}
	j.scene = r.sceneFor(j.parts(), limits, q.State.Proof)
	plays := e.Plays
	if e.Wide { // to each of the ends, with either choice of way
		each := 4
		if j.bySky() { // and to each as it may be later
			plays, each = plays*3/2, 6
		}
		plays = max(plays, each*len(j.ends(0, 0)))
	}
	sharp := (plays + 1) / 2 * len(j.places)
	for n := range max(plays, sharp) {
		if n < plays {
			j.play(e, n, false)
		}
		if n < sharp {
			j.play(e, n, true)
		}
		if j.enough(e) {
			break
		}
	}
	return j.wanted()
}

// follows tells whether the rig would follow the sky afterwards.
func (j *judging) follows() bool { return j.q.Follow > 0 || j.q.Kind == "track" }

// unsited tells whether how it would do so goes by a site of the mount's own that nobody told: the latitude of an alt-azimuth.
func (j *judging) unsited() bool { return !j.r.equatorial() && j.q.State.Sample.Site == nil }

// enough tells whether no more need be played; of each place where the rig may be something was found by then.
func (j *judging) enough(e Effort) bool {
	f := j.answer[e.Only]
	if e.Enough == nil || f.sharp == nil || len(f.sharpWide) < len(j.places) {
		return false
	}
	f.settle()
	return e.Enough(f)
}

// about tells whether one of some rules is looked into.
func (j *judging) about(rules ...string) bool { return j.only == "" || slices.Contains(rules, j.only) }

// sceneFor keeps what stands where for each set of reported states; what gauges found of the file every gap has to spare. What a scene learns
// of one question it forgets before the next: the answer is the same whatever was asked before.
func (r *Rig) sceneFor(reports []Report, limits map[string]float64, proof *Proof) *scene {
	key := fmt.Sprint(limits["clear/path part_mm"], limits["clear/path general_mm"])
	for i := range r.Parts {
		key += fmt.Sprint(r.Parts[i].reported(reports))
	}
	if r.scenes == nil {
		r.scenes = map[string]*scene{}
	}
	if r.scenes[key] == nil {
		r.scenes[key] = r.newScene(reports, limits["clear/path part_mm"], limits["clear/path general_mm"])
	}
	out := *r.scenes[key]
	out.pairs = slices.Clone(out.pairs)
	for i := range out.pairs {
		if proof != nil {
			out.pairs[i].need += proof.Residual
		}
	}
	return &out
}

// wanted is the answer of the rules that judge such a question.
func (j *judging) wanted() Answer {
	out := Answer{}
	for _, rule := range Rules(j.q.Kind, j.q.Sky != nil, j.q.Follow > 0) {
		f := j.answer[rule]
		if f.sharp != nil {
			f.settle()
		}
		out[rule] = f
	}
	return out
}

// corner is in [-1, 1], at its ends half of the time.
func (j *judging) corner() float64 {
	switch j.rng.IntN(4) {
	case 0:
		return -1
	case 1:
		return 1
	}
	return j.rng.Float64()*2 - 1
}

func (j *judging) corners() Axes { return Axes{j.corner(), j.corner()} }

// played is one play under way.
type play struct {
	*judging
	from   int
	sharp  bool
	wait   float64
	wild   Axes // true axes less where the counters make them
	beside Axes // the same at the end: a mount sent to the sky believes itself at its target, wherever it began
	shift  Axes // from the question to the begin
	start  Axes
	end    end
	way    motion
	more   Axes // what a proof may add anywhere on the way
	what   string
	again  bool    // the tube comes below the floor again after it stood above it
	lowest float64 // altitude at which the tube may stand at the begin
	sun    bool    // it may be up at some time of the motion
}

// play plays the question once.
func (j *judging) play(e Effort, n int, sharp bool) {
	p := &play{judging: j, from: j.rng.IntN(len(j.places)), sharp: sharp, wait: j.limit("permit start_within_s") * (j.corner() + 1) / 2}
	if sharp {
		p.from, n = n%len(j.places), n/len(j.places)
	}
	p.begin(p.rng.IntN(12))
	p.choose(n, e.Wide)
	points := e.Points
	if e.Day > 200 && j.r.Sharing == "any order" { // a whole rectangle to fill
		points *= 8
	}
	if e.Day > 200 {
		j.lateness(p)
	}
	p.along(points)
	if p.q.Kind == "creep" && p.about("clear/opens") {
		p.opens(points)
		if e.Wide && n < 4 {
			p.opensLeast()
		}
	}
	if n < e.Marches {
		p.closely(e.Wide)
	}
	if j.follows() && !j.unsited() && j.about("track/fits", "asker/fallback") {
		p.follow(e)
	}
}

// begin makes up where the rig truly is, and what happens until the motion begins.
func (p *play) begin(n int) {
	c := p.places[p.from]
	if !p.sharp {
		u := p.corners()
		if n%3 > 0 { // mostly right in the corners, in turn
			u = [4]Axes{{1, 1}, {-1, -1}, {1, -1}, {-1, 1}}[n/3%4]
		}
		p.wild = u.times(c.Sigma).times(Axes{3, 3})
	}
	r, tolerance := p.r, p.limit("permit start_tolerance_deg")*degree
	p.more = r.Overrun
	switch p.q.State.Sample.Doing {
	case "tracking":
		if p.q.Kind == "track" {
			p.wait = 0 // it goes on
		}
		p.shift = p.carried(c.Axes, p.wait).sub(c.Axes)
		p.more = p.more.add(p.turning(c.Axes, p.limit("permit start_within_s")))
	case "at rest":
	default:
		p.more = p.more.add(p.stopping()).add(p.unseen())
		p.shift = p.corners().times(p.stopping())
	}
	if p.q.BeginLater {
		p.more = p.more.add(Axes{tolerance, tolerance})
		p.shift = p.shift.add(p.corners().times(Axes{tolerance, tolerance}))
	}
	if p.sharp {
		p.shift = Axes{}
	}
	if p.q.Kind == "home" {
		p.more = p.more.add(r.Search)
	}
	p.start = c.Axes.add(p.wild).add(p.shift)
}

// unseen is how far a rig that moved in its last sample may have turned since.
func (j *judging) unseen() Axes {
	s := &j.q.State.Sample
	if s.Time == nil || s.Doing == "at rest" || s.Doing == "tracking" {
		return Axes{}
	}
	ago := max(0, -*s.Time)
	return Axes{j.r.Rate[0] * ago, j.r.Rate[1] * ago}
}

// outward is a corner, half of the time that to which the true axes are off.
func (p *play) outward() Axes {
	u := p.corners()
	if p.rng.IntN(2) == 0 {
		u = Axes{math.Copysign(1, p.wild[0]), math.Copysign(1, p.wild[1])}
	}
	return u
}

// disc is the radius on the sky, radians, of all that a proof may add at a pose.
func (p *play) disc(a Axes) float64 {
	c := p.places[p.from].Sigma
	return math.Abs(math.Sin(p.r.direction(a).angle(p.r.d1)))*(3*c[0]+p.more[0]) + 2*(3*c[1]+p.more[1])
}

// turning is how far the axes may turn with the sky in some seconds, at a pose.
func (p *play) turning(at Axes, seconds float64) Axes {
	s := seconds * siderealRate
	if p.r.equatorial() {
		return Axes{s, 0}
	}
	_, alt := p.r.direction(at).azAlt()
	return Axes{min(math.Pi, s*(1+math.Tan(min(math.Abs(alt)+s, 89.9999*degree)))), s}
}

// arriving is how far the end may move with the sky in some seconds: by belief as far as the place that the mount means.
func (p *play) arriving(seconds float64) Axes {
	here, meant := p.turning(p.end.axes, seconds), p.turning(p.end.axes.sub(p.end.shift), seconds)
	return Axes{max(here[0], meant[0]), max(here[1], meant[1])}
}

// along looks at the whole way, in points.
func (p *play) along(points int) {
	p.lowest, p.sun = p.low(), p.sunMay()
	p.again = p.lowest < p.limit("sky/floor altitude_deg")*degree && p.about("sky/floor") && p.sinksAgain()
	for i := range points {
		s := (float64(i) + p.rng.Float64()) / float64(points)
		switch i {
		case 0:
			s = 0
		case points - 1:
			s = 1 - 1e-12
		}
		at, t := p.way.at(s)
		p.point(at, p.wait+t, i == points-1, false)
		p.point(at.add(p.outward().times(p.more)), p.wait+t, i == points-1, true)
	}
	disc := p.disc(p.end.axes) / degree
	if blur := max(p.blur(p.belief), p.blur(p.end.axes)); p.q.Sky != nil && blur > 0.1*degree || p.blur(p.belief) > 0.1*degree { // where it ends is known no better
		disc += blur / degree
		p.slack("travel/axis1", blur/degree)
		p.slack("travel/axis2", (p.lifted(p.belief)+p.lifted(p.end.axes))/degree)
		p.slack("clear/path", blur*p.scene.far[0])
		p.slack("sun/apart", blur/degree)
		p.slack("sky/floor", blur/degree)
	}
	p.slack("sky/horizon", disc)
	p.slack("sky/floor", disc/25)
	moved := (p.way.seconds() + p.limit("permit start_within_s") + unsure(p.q.At)) * siderealRate
	p.slack("sun/apart", (disc/25*degree+2*moved)/degree) // a proof may take the Sun where it stands first and take off all that it moves
	p.point(p.end.axes.add(p.corners().times(p.r.Overrun).add(p.search())), p.wait+p.way.seconds(), false, false)
}

// forgiven is by how much lower a way may lead than where it begins and still count as one that only rises: the least altitude is found to a fiftieth
// of a degree, and over a spread to a thirtieth of that, a third of a degree at the most.
func (p *play) forgiven() float64 {
	if p.sharp {
		return 0.02 * degree
	}
	box := p.places[p.from].Sigma.times(Axes{3, 3}).add(p.more)
	return max(0.02*degree, min(max(box[0], box[1])/30, 0.33*degree))
}

// low is the lowest that the tube may stand at the begin. What may stand below the floor already and sinks no lower than that is held to where
// it ends, or nothing could raise it.
func (p *play) low() float64 {
	_, out := p.r.direction(p.start).azAlt()
	if p.sharp {
		return out
	}
	box, middle := p.places[p.from].Sigma.times(Axes{3, 3}).add(p.more), p.start.sub(p.wild)
	for i := range 49 {
		_, alt := p.r.direction(middle.add(box.times(Axes{float64(i%7)/3 - 1, float64(i/7)/3 - 1}))).azAlt()
		out = min(out, alt)
	}
	return out
}

// sunMay tells whether the Sun may count as up: one that may be up by its own turning at some time of the motion may count for all of it.
func (p *play) sunMay() bool {
	seconds := p.way.seconds() + p.limit("permit start_within_s")
	early := (seconds+unsure(p.q.At))*siderealRate + 0.05*degree
	_, first := p.r.sunAt(p.q.At, 0, early)
	_, last := p.r.sunAt(p.q.At, seconds, early)
	return first || last
}

// sunUp is the Sun's direction, and whether it counts.
func (p *play) sunUp(t float64, wide bool) (V, bool) {
	sun, up := p.r.sunAt(p.q.At, t, 0)
	return sun, up || wide && p.sun
}

func (p *play) search() Axes {
	if p.q.Kind == "home" {
		return p.corners().times(p.r.Search)
	}
	return Axes{}
}

// point holds one pose against the limits of every motion.
func (p *play) point(a Axes, t float64, last, wide bool) {
	high := float64(mostSpare)
	if p.about("clear/path") {
		high = p.scene.spare(a, mostSpare)
	}
	p.pointed(a, t, high, last, wide)
}

// pointed is point where what the pairs have to spare is known; it returns what the floor and the Sun leave, degrees.
func (p *play) pointed(a Axes, t, clear float64, last, wide bool) (floor, apart float64) {
	p.took("clear/path", min(clear, mostSpare), a, t, wide)
	p.travel(a, t, last, wide)
	floor, apart = p.altitude(a, t, last, wide), 180
	if sun, up := p.sunUp(t, wide); up && p.about("sun/apart") {
		apart = p.r.direction(a).angle(sun)/degree - p.limit("sun/apart separation_deg")
		p.took("sun/apart", apart, a, t, wide)
	}
	if last {
		p.took("sky/horizon", p.aboveSkyline(a)/degree-p.limit("sky/horizon above_deg"), a, t, wide)
	}
	return floor, apart
}

func (p *play) aboveSkyline(a Axes) float64 {
	az, alt := p.r.direction(a).azAlt()
	return alt - p.r.skylineAt(az)
}

func (p *play) slack(rule string, by float64) { p.answer[rule].Slack = max(p.answer[rule].Slack, by) }

// took takes one spare in.
func (p *play) took(rule string, spare float64, a Axes, t float64, wide bool) {
	if !p.about(rule) {
		return
	}
	p.answer[rule].take(spare, p.from, p.sharp, wide || p.end.maybe, func() string {
		return fmt.Sprintf("%.3f to spare at %.3f° %.3f° after %.1f s, %s", spare, a[0]/degree, a[1]/degree, t, p.what)
	})
}

// travel holds a pose against the travel. An axis that stands beyond it and turns inward is held to where it ends; and a homing by a sensor
// to where it ends wherever it began.
func (p *play) travel(a Axes, t float64, last, wide bool) {
	if p.q.Kind == "home" && p.r.HomeBy == "sensor" && !p.sharp {
		return
	}
	for axis, rule := range []string{"travel/axis1", "travel/axis2"} {
		low, high := p.r.Low[axis], p.r.High[axis]
		spare := min(a[axis]-low, high-a[axis])
		before := min(p.start[axis]-low, high-p.start[axis])
		if spare < 0 && spare >= before-1e-9 && !last && !wide {
			continue
		}
		p.took(rule, spare/degree, a, t, wide)
	}
}

// altitude holds a pose against the floor, and returns what that leaves; a tube below it that sinks no lower, nor below it again
// once it rose, is held to where it ends, and so is one that is homed.
func (p *play) altitude(a Axes, t float64, last, wide bool) float64 {
	_, alt := p.r.direction(a).azAlt()
	spare := alt/degree - p.limit("sky/floor altitude_deg")
	homed := p.q.Kind == "home" && p.r.HomeBy != "belief" && !p.sharp
	rises := spare < 0 && alt >= p.lowest-p.forgiven() && !p.again && !last && !wide
	if !homed && !rises {
		p.took("sky/floor", spare, a, t, wide)
	}
	return spare
}
