package slow

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// end is one place to which a motion may lead.
type end struct {
	from     int
	axes     Axes
	shift    Axes // true axes less the mount's counters: the poses that it goes by are off by as much
	intended bool
	loose    bool // off by what the pose is off
	because  string
	// maybe: only where something is half a degree or so otherwise than it seems: a mount's turn, its choice of side. A lawful service may
	// count it, and need not.
	maybe bool
}

// nearly is how much otherwise: what mount/map lets pass twice over, and what the start may be off.
func (j *judging) nearly() float64 {
	out := 1.2 * degree
	if j.q.BeginLater {
		out += j.limit("permit start_tolerance_deg") * degree
	}
	return out + max(j.stopping()[0], j.stopping()[1])
}

// stopping is how far the axes of a moving rig run on.
func (j *judging) stopping() Axes {
	if d := j.q.State.Sample.Doing; d == "at rest" || d == "tracking" {
		return Axes{}
	}
	r := j.r
	return Axes{r.Rate[0] * r.Rate[0] / 2 / r.Accel[0], r.Rate[1] * r.Rate[1] / 2 / r.Accel[1]}
}

// unbounded says why nothing can be told of where a motion ends; empty: it can.
func (j *judging) unbounded() string {
	byBelief := j.q.Kind == "slew" && j.q.Sky != nil || j.q.Kind == "flip"
	switch {
	case len(j.places) == 0:
		return "the pose is unknown"
	case (byBelief || j.q.Kind == "park") && j.r.Sync == "model":
		return "an internal model of unknown state"
	case byBelief && !j.believes, j.q.Kind == "home" && j.r.HomeBy == "belief" && !j.believes, j.q.Kind == "park" && j.r.Sync != "sky" && !j.believes:
		return "belief is not told"
	case byBelief && !j.r.equatorial() && j.mountWhy != "":
		return j.mountWhy
	case j.q.Kind == "flip" && j.besidePole():
		return "the side that it leaves is not known"
	case byBelief && j.strays():
		return "near the pole only an offset on the sky leads astray"
	}
	return ""
}

// besidePole tells whether the tube may stand on either side of the pole. Within a hundredth of a degree of the bound it cannot say.
func (j *judging) besidePole() (open bool) {
	for _, p := range j.places {
		pole := j.r.direction(p.Axes).angle(j.r.d1)
		over := min(pole, math.Pi-pole) - 3*p.Sigma[1] - j.unseen()[1]
		open = open || over <= 0
		j.edge = j.edge || math.Abs(over) < 0.01*degree
	}
	return open && j.r.equatorial()
}

// strays tells whether a slew to the sky from within 8° of the pole may end farther from where it is meant to than it may, and that only by the offset on
// the sky that belief shows of the pose: so near the pole it may be no offset of syncs. Within a twentieth of a degree of either bound, by what air lifts
// besides, and where ends or turns that a service need not count decide, it cannot say. A belief that a sync at the very pole may have turned over is never asked about here.
func (j *judging) strays() bool {
	if !j.r.equatorial() || j.r.Sync != "sky" && j.r.Sync != "unknown" {
		return false
	}
	sure, all := j.strayed(false, 0), j.strayed(true, 0)
	j.edge = j.edge || sure != all
	for _, arrival := range []float64{60, 120, 180} { // half a turn round it goes by when it arrives on which turns it may end
		j.edge = j.edge || j.strayed(true, arrival) != all
	}
	return all
}

// strayed is the same of the ends that count for certain, or of all, as they are some seconds later.
func (j *judging) strayed(maybe bool, arrival float64) bool {
	most, found, other := j.limit("end/bounded spread_deg")*degree, false, false
	for i := range j.places {
		ends := slices.DeleteFunc(j.endsFrom(i, 0, arrival), func(e end) bool { return e.maybe && !maybe })
		pole := j.r.direction(j.places[i].Axes).angle(j.r.d1)
		pole = min(pole, math.Pi-pole)
		for _, e := range ends {
			off := math.Inf(1)
			for _, k := range ends {
				if k.intended {
					off = min(off, e.axes.sub(k.axes).most())
				}
			}
			unsure := 0.05*degree + j.blur(j.places[i].Axes)
			at := j.places[i].Axes
			turns := e.maybe && slices.ContainsFunc(ends, func(k end) bool { // from here the two are nearest on different turns
				return k.intended && k.axes.near(e.axes).sub(e.axes).most() <= most && e.axes.near(at).sub(k.axes.near(at)).most() > most
			})
			j.edge = j.edge || pole < 8.05*degree && (turns || math.Abs(off-most) < unsure) || off > most && math.Abs(pole-8*degree) < 0.05*degree
			if e.intended || off <= most {
				continue
			}
			found = true
			other = other || !strings.HasPrefix(e.because, "less the offset") || pole >= 8*degree
		}
	}
	return found && !other
}

// ends is every place where the motion may end, begun after a wait and arriving at an instant: design, section 3.
func (j *judging) ends(wait, arrival float64) []end {
	var out []end
	for i := range j.places {
		out = append(out, j.endsFrom(i, wait, arrival)...)
	}
	return out
}

// endsFrom is the same from one of the places where the rig may be.
func (j *judging) endsFrom(i int, wait, arrival float64) []end {
	c := j.places[i].Axes
	switch j.q.Kind {
	case "track":
		return []end{{from: i, axes: c, intended: i == 0, loose: true, because: "it stands"}}
	case "jog", "creep":
		return []end{{from: i, axes: c.add(*j.q.Axes), intended: i == 0, loose: true, because: "turned as asked"}}
	case "home":
		return j.homes(i, c)
	case "park":
		return j.parks(i, c)
	case "flip":
		ra, dec, _ := j.r.ToSky(j.mount.lst, j.mount.lat, j.belief)
		return j.toSky(i, c, ra, dec, otherSide(j.r.side(j.places[0].Axes)), wait, arrival)
	}
	if j.q.Axes != nil {
		return j.toAxes(i, c)
	}
	ra, dec := OfDate(*j.q.Sky, j.q.At)
	return j.toSky(i, c, ra, dec, j.q.Side, wait, arrival)
}

func (j *judging) parks(i int, c Axes) []end {
	out := []end{{from: i, axes: j.r.Rests[0], intended: true, loose: true, because: "the rest"}}
	for _, off := range j.beside(c) {
		out = append(out, end{from: i, axes: j.r.Rests[0].add(off), shift: off, loose: true, because: "the rest by counters that stand beside"})
	}
	if j.r.Sync == "sky" {
		return out
	}
	for _, b := range j.beliefs(c) {
		off := c.sub(b)
		out = append(out, end{from: i, axes: j.r.Rests[0].add(off), shift: off, loose: true, because: "the rest by belief"})
	}
	return out
}

// beside is how far the axes may stand beside the counters that a mount goes by which keeps its syncs on the sky; of an equatorial.
func (j *judging) beside(c Axes) (out []Axes) {
	if !j.believes || !j.r.equatorial() || j.r.Sync != "sky" && j.r.Sync != "unknown" {
		return nil
	}
	for _, by := range j.syncs() {
		off := c.sub(j.countersBeside(by, c))
		if pole := j.r.direction(c).angle(j.r.d1); min(pole, math.Pi-pole) < 8*degree {
			off[0] = 0 // there belief may say nothing of it
		}
		out = append(out, off)
	}
	return out
}

func (j *judging) homes(i int, c Axes) []end {
	out := []end{{from: i, axes: j.r.Home, intended: true, loose: j.r.HomeBy == "belief" && j.r.Sync == "sky", because: "home"}}
	if j.r.HomeBy == "sensor" {
		return out
	}
	if j.r.HomeBy == "person" || i > 0 { // its counters may be those of the likeliest place
		out = append(out, end{from: i, axes: c.add(j.r.Home.sub(j.places[0].Axes)), loose: true, because: "turned by what the likeliest place lacks"})
	}
	if j.r.HomeBy == "belief" && j.r.Sync != "sky" {
		for _, b := range j.beliefs(c) {
			out = append(out, end{from: i, axes: c.add(j.r.Home.sub(b)), loose: true, because: "home by belief"})
		}
	}
	for _, off := range j.beside(c) {
		if j.r.HomeBy != "belief" {
			break
		}
		out = append(out, end{from: i, axes: j.r.Home.add(off), loose: true, because: "home by counters that stand beside"})
	}
	return out
}

// toAxes is a slew to mechanical angles: it ends there, or turns by what it lacks from where its counters stand.
func (j *judging) toAxes(i int, c Axes) []end {
	out := []end{{from: i, axes: *j.q.Axes, intended: true, because: "the angles asked for"}}
	from := []Axes{}
	for _, p := range j.places {
		from = append(from, p.Axes)
	}
	if j.believes && !j.q.State.Counts && j.r.Sync != "sky" {
		from = append(from, j.beliefs(c)...)
	}
	if !j.q.State.Counts {
		for _, off := range j.beside(c) {
			from = append(from, c.sub(off))
		}
	}
	for _, f := range from {
		off := c.sub(f)
		out = append(out, end{from: i, axes: j.q.Axes.add(off), shift: off, loose: true, because: "turned by what its counters lack"})
	}
	return out
}

// toSky is a slew to the sky from one place: where it is meant to end, and where belief makes it end.
func (j *judging) toSky(i int, c Axes, ra, dec float64, asked string, wait, arrival float64) []end {
	then, ours := j.mount.after(arrival), j.ours.after(arrival)
	less := [2]float64{ra, dec}
	hours := []float64{j.mount.after(wait).lst - ra, then.lst - ra}
	if j.r.Sync == "sky" || j.r.Sync == "unknown" {
		less = j.lessOffset(c, ra, dec)
		all := [][2]float64{less}
		for _, by := range j.syncs() {
			all = append(all, unsynced(by, ra, dec))
		}
		for _, to := range all {
			hours = append(hours, j.mount.after(wait).lst-to[0], then.lst-to[0])
		}
	}
	sides := j.sidesFor(asked, hours)
	if j.r.Sync == "sky" || j.r.Sync == "unknown" { // from one of several places a service may count the sides that any of them gives
		for _, p := range j.places {
			other := j.lessOffset(p.Axes, ra, dec)
			for _, s := range j.sidesFor(asked, []float64{j.mount.after(wait).lst - other[0], then.lst - other[0]}) {
				if !slices.ContainsFunc(sides, func(c choice) bool { return c.side == s.side }) {
					sides = append(sides, choice{s.side, true})
				}
			}
		}
	}
	out := j.meant(i, c, ra, dec, asked, sides, ours)
	if asked != "" && !slices.ContainsFunc(sides, func(s choice) bool { return s.side == asked }) {
		sides = append(sides, choice{asked, true}) // it does not go there, by what the file says
	}
	if i > 0 { // which side belief means is another matter from another place
		for k := range sides {
			sides[k].maybe = true
		}
	}
	for _, side := range sides {
		if j.r.Sync != "sky" {
			for _, b := range j.counters(i, c) {
				for _, t := range j.lifts(j.r.toAxes(then, ra, dec, side.side), b) {
					out = append(out, end{i, c.add(t.axes.sub(b)), c.sub(b), false, true, "by belief, on " + side.side, t.maybe || side.maybe})
				}
			}
		}
		if j.r.Sync == "sky" || j.r.Sync == "unknown" {
			for _, t := range j.lifts(j.r.toAxes(then, less[0], less[1], side.side), c) {
				out = append(out, end{i, t.axes, Axes{}, false, true, "less the offset on the sky, on " + side.side, t.maybe || side.maybe})
			}
			for _, by := range j.syncs() {
				beside, to := j.countersBeside(by, c), unsynced(by, ra, dec)
				for _, t := range j.lifts(j.r.toAxes(then, to[0], to[1], side.side), beside) {
					off := c.sub(beside)
					out = append(out, end{i, t.axes.add(off), off, false, true, "less the offset of its syncs, counters beside, on " + side.side, t.maybe || side.maybe})
				}
			}
		}
	}
	return out
}

// meant is where a slew to the sky is meant to end, from one place.
func (j *judging) meant(i int, c Axes, ra, dec float64, asked string, sides []choice, ours mountSky) []end {
	if asked != "" {
		sides = append([]choice{{side: asked}}, sides...)
	}
	var out []end
	for _, side := range sides {
		for _, t := range j.lifts(j.r.toAxes(ours, ra, dec, side.side), c) {
			out = append(out, end{i, t.axes, Axes{}, true, true, "the target on " + side.side, t.maybe || side.maybe})
		}
	}
	return out
}

// counters is where the mount's counters may stand, were the rig at a place.
func (j *judging) counters(i int, c Axes) []Axes {
	out := []Axes{j.beliefFrom(c)}
	if i > 0 {
		ra, dec, _ := j.r.ToSky(j.mount.lst, j.mount.lat, j.belief)
		other, _ := j.r.nearest(j.mount, ra, dec, c)
		out = append(out, other)
	}
	return out
}

// lessOffset is a target less the offset on the sky of a mount that keeps its syncs so.
func (j *judging) lessOffset(c Axes, ra, dec float64) [2]float64 {
	bRA, bDec, _ := j.r.ToSky(j.mount.lst, j.mount.lat, j.belief)
	cRA, cDec, _ := j.r.ToSky(j.mount.lst, j.mount.lat, c)
	return turnedOver(ra-(bRA-cRA), dec-(bDec-cDec))
}

// turnedOver is a place whose declination was carried over a pole.
func turnedOver(ra, dec float64) [2]float64 {
	if math.Abs(dec) > math.Pi/2 {
		ra, dec = ra+math.Pi, math.Copysign(math.Pi, dec)-dec
	}
	return [2]float64{ra, dec}
}

// syncs are all that syncs may have moved belief by: those since the homing, or with the ones before it, of which a person's word of the axes says nothing.
func (j *judging) syncs() [][2]float64 {
	since, kept := j.q.State.Synced, j.q.State.Kept
	both := [2]float64{since[0] + kept[0], since[1] + kept[1]}
	switch {
	case both == since:
		return [][2]float64{since}
	case j.q.State.KeptSure:
		return [][2]float64{both}
	}
	return [][2]float64{since, both}
}

// unsynced is a place on the sky less what syncs moved belief by.
func unsynced(by [2]float64, ra, dec float64) [2]float64 {
	return turnedOver(ra-by[0], dec-by[1])
}

// countersBeside is where the counters stand, were the rig at a place, if belief is off them by syncs alone: a person homed the rigs
// here, who may have seen the axes elsewhere than where its counters stood.
func (j *judging) countersBeside(by [2]float64, c Axes) Axes {
	ra, dec, _ := j.r.ToSky(j.mount.lst, j.mount.lat, j.belief)
	at := unsynced(by, ra, dec)
	if j.sensed {
		return j.r.toAxes(j.mount, at[0], at[1], j.beliefSide).near(c)
	}
	out, _ := j.r.nearest(j.mount, at[0], at[1], c)
	return out
}

// choice is a side on which a mount may arrive.
type choice struct {
	side  string
	maybe bool
}

// sidesFor are the sides on which the mount may arrive, at one of some hour angles of its target.
func (j *judging) sidesFor(asked string, hours []float64) []choice {
	r := j.r
	both := []choice{{side: r.sides()[0]}, {side: r.sides()[1]}}
	switch {
	case r.Chooses == "asker" && asked != "":
		return []choice{{side: asked}}
	case r.Chooses == "first only":
		return both[:1]
	case r.Chooses != "hour angle" || r.Kind != German:
		return both
	}
	var out []choice
	for _, off := range []float64{0, -j.nearly(), j.nearly()} {
		for _, h := range hours {
			for _, past := range []float64{wrap(h + off - r.Delay), wrap(h+off) - r.Delay} { // under the pole: by which of the two is not known
				side := West
				if past > 0 {
					side = East
				}
				if !slices.ContainsFunc(out, func(c choice) bool { return c.side == side }) {
					out = append(out, choice{side, off != 0})
				}
			}
		}
	}
	return out
}

// turn is one of the unreduced poses that stand for another.
type turn struct {
	axes  Axes
	maybe bool
}

// lifts are the turns that the mount may mean, seen from where its counters stand.
func (j *judging) lifts(a, from Axes) []turn {
	var out []turn
	nearly := j.nearly() + min(j.blur(a), 2*degree)
	for _, one := range j.turns(a[0], from[0], 0, nearly) {
		for _, two := range j.turns(a[1], from[1], 1, nearly) {
			out = append(out, turn{Axes{one.at, two.at}, one.maybe || two.maybe})
		}
	}
	return out
}

// turned is one angle of a turn.
type turned struct {
	at    float64
	maybe bool
}

// turns are those of one axis: the nearest, whatever the travel; or the nearest within travel; or all within it. Where none is, nobody says
// where the mount would go, but out of its travel. Of what is no farther than nearly from being meant it may be.
func (j *judging) turns(a, from float64, axis int, nearly float64) []turned {
	low, high := j.r.Low[axis], j.r.High[axis]
	var room [3][11]float64
	all, within, maybe := room[0][:0], room[1][:0], room[2][:0]
	for k := -5.0; k <= 5; k++ {
		x := wrap(a) + k*2*math.Pi
		all = append(all, x)
		if x >= low && x <= high {
			within = append(within, x)
		}
		if x >= low-nearly && x <= high+nearly {
			maybe = append(maybe, x)
		}
	}
	byDistance := func(x, y float64) int { return compare(math.Abs(x-from), math.Abs(y-from)) }
	switch {
	case j.r.Way == "shortest":
		within, maybe = all, all
	case len(within) == 0:
		middle := near(a, (low+high)/2)
		return []turned{{middle, true}, {middle + 2*math.Pi, true}, {middle - 2*math.Pi, true}}
	}
	slices.SortFunc(within, byDistance)
	sure := within
	if j.r.Way != "unknown" {
		sure = within[:1]
	}
	var out []turned
	tie := slices.ContainsFunc(maybe, func(x float64) bool { // of two turns as near either may be meant
		return j.r.Way != "unknown" && x != sure[0] && math.Abs(x-from)-math.Abs(sure[0]-from) < 2*nearly
	})
	for _, x := range sure {
		edge := tie || min(x-low, high-x) < nearly && j.r.Way != "shortest"
		out = append(out, turned{x, edge})
	}
	for _, x := range maybe {
		far := math.Abs(x-from) - math.Abs(sure[0]-from)
		if !slices.Contains(sure, x) && (j.r.Way == "unknown" || far < 2*nearly || min(sure[0]-low, high-sure[0]) < nearly && j.r.Way != "shortest") {
			out = append(out, turned{x, true})
		}
	}
	return out
}

func compare(x, y float64) int {
	switch {
	case x < y:
		return -1
	case x > y:
		return 1
	}
	return 0
}

// bounded judges how far the ends lie from where the motion is meant to end, from a known pose.
func (j *judging) bounded() *Finding {
	limit := j.limit("end/bounded spread_deg")
	worst, about, wide := math.Inf(1), "", 0.0
	var all [][]end
	for _, one := range j.arrivals() {
		all = append(all, j.ends(0, one))
	}
	for _, one := range all { // ends are taken at arrival: what they are apart at every arrival is seen, at any may be
		here, what := j.spread(one, nil, false)
		if here < worst {
			worst, about = here, what
		}
		for _, two := range all {
			w, _ := j.spread(one, two, true)
			wide = max(wide, w)
		}
	}
	f := exact(limit - worst/degree)
	f.Wide = limit - wide/degree
	if len(j.places) > 1 { // of several places it is a matter of words what is meant to be the end
		f.Wide = math.Inf(-1)
	}
	f.Said = fmt.Sprintf("%.3f° to spare: %s", f.Seen, about)
	if j.believes { // what air does to it leaves open
		f.Slack = j.blur(j.belief) / degree
	}
	if j.q.Sky != nil { // and to the target
		for _, e := range all[0] {
			f.Slack = max(f.Slack, j.blur(e.axes)/degree)
		}
	}
	f.Seen += f.Slack
	return f
}

// blur is how well a pose by the sky is known in axis terms, of a mount whose map includes refraction: near the end of axis 1 little on the sky
// is much of its angle, and air lifts what is nearer onto the very end.
func (j *judging) blur(pose Axes) float64 {
	off := math.Abs(math.Sin(j.r.direction(pose).angle(j.r.d1)))
	if j.r.Refracts && j.r.equatorial() && off < 0.5*degree {
		return math.Pi
	}
	return j.lifted(pose) / max(off, 0.01)
}

// lifted is how well such a pose is known on the sky: the formula is good to 0.1′ over 5°, and below the horizon nobody's is good to more than
// what it says.
func (j *judging) lifted(pose Axes) float64 {
	if !j.r.Refracts {
		return 0
	}
	if _, alt := j.r.direction(pose).azAlt(); alt < 5*degree {
		return max(0.1/60*degree, j.r.lift(alt)-alt)
	}
	return 0.1 / 60 * degree
}

// arrivals are when the motion may end, seconds.
func (j *judging) arrivals() []float64 {
	if j.r.equatorial() || j.q.Sky == nil && j.q.Kind != "flip" { // ends stay as far apart
		return []float64{0}
	}
	var out []float64
	for _, e := range j.ends(0, 0) {
		for _, flips := range []bool{false, true} {
			m := j.motion(j.places[e.from].Axes, &e, e.shift, flips)
			if s := math.Round(m.seconds()); !slices.Contains(out, s) && len(out) < 8 {
				out = append(out, s)
			}
		}
	}
	return out
}

// spread is the farthest that an end lies from the nearest of some places where the motion is meant to end, nil: of the ends; with what may
// only maybe be counted against it: maybe or not.
func (j *judging) spread(all, meant []end, maybe bool) (worst float64, about string) {
	if meant == nil {
		meant = all
	}
	for _, e := range all {
		least := math.Inf(1)
		for _, o := range meant {
			if o.intended && o.from == e.from && (!maybe || !o.maybe) {
				least = min(least, e.axes.sub(o.axes).most())
			}
		}
		if !e.intended && (maybe || !e.maybe && !math.IsInf(least, 1)) && least > worst {
			worst, about = least, e.because
		}
	}
	return worst, about
}
