package slow

import (
	"fmt"
	"math"
	"slices"
)

// end is one place to which a motion may lead.
type end struct {
	from     int
	axes     Axes
	shift    Axes // true axes less the mount's counters: the poses that it goes by are off by as much
	intended bool
	loose    bool // off by what the pose is off
	because  string
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
	}
	return ""
}

// ends is every place where the motion may end, begun after a wait and arriving at an instant: design, section 3.
func (j *judging) ends(wait, arrival float64) []end {
	var out []end
	for i, p := range j.places {
		c := p.Axes
		switch j.q.Kind {
		case "track":
			out = append(out, end{i, c, Axes{}, i == 0, true, "it stands"})
		case "jog":
			out = append(out, end{i, c.add(*j.q.Axes), Axes{}, i == 0, true, "turned as asked"})
		case "home":
			out = append(out, j.homes(i, c)...)
		case "park":
			out = append(out, end{i, j.r.Rests[0], Axes{}, true, true, "the rest"})
			if j.r.Sync != "sky" {
				off := c.sub(j.beliefFrom(c))
				out = append(out, end{i, j.r.Rests[0].add(off), off, false, true, "the rest by belief"})
			}
		case "flip":
			ra, dec, _ := j.r.ToSky(j.mount.lst, j.mount.lat, j.belief)
			out = append(out, j.toSky(i, c, ra, dec, otherSide(j.r.side(j.places[0].Axes)), wait, arrival)...)
		default:
			if j.q.Axes != nil {
				out = append(out, j.toAxes(i, c)...)
				continue
			}
			ra, dec := OfDate(*j.q.Sky, j.q.At)
			out = append(out, j.toSky(i, c, ra, dec, j.q.Side, wait, arrival)...)
		}
	}
	return out
}

func (j *judging) homes(i int, c Axes) []end {
	out := []end{{i, j.r.Home, Axes{}, true, j.r.HomeBy == "belief" && j.r.Sync == "sky", "home"}}
	if j.r.HomeBy == "sensor" {
		return out
	}
	if j.r.HomeBy == "person" {
		out = append(out, end{i, c.add(j.r.Home.sub(j.places[0].Axes)), Axes{}, false, true, "turned by what the likeliest place lacks"})
	}
	if j.r.HomeBy == "belief" && j.r.Sync != "sky" {
		out = append(out, end{i, c.add(j.r.Home.sub(j.beliefFrom(c))), Axes{}, false, true, "home by belief"})
	}
	return out
}

// toAxes is a slew to mechanical angles: it ends there, or turns by what it lacks from where its counters stand.
func (j *judging) toAxes(i int, c Axes) []end {
	out := []end{{i, *j.q.Axes, Axes{}, true, false, "the angles asked for"}}
	from := []Axes{}
	for _, p := range j.places {
		from = append(from, p.Axes)
	}
	if j.believes && !j.q.State.Counts && j.r.Sync != "sky" {
		from = append(from, j.beliefFrom(c))
	}
	for _, f := range from {
		off := c.sub(f)
		out = append(out, end{i, j.q.Axes.add(off), off, false, true, "turned by what its counters lack"})
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
		hours = append(hours, j.mount.after(wait).lst-less[0], then.lst-less[0])
	}
	sides := j.sidesFor(asked, hours)
	var out []end
	for _, side := range slices.Compact(append(slices.Clone(optional(asked)), sides...)) {
		for _, t := range j.lifts(j.r.toAxes(ours, ra, dec, side), c) {
			out = append(out, end{i, t, Axes{}, true, true, "the target on " + side})
		}
	}
	b := j.beliefFrom(c)
	for _, side := range sides {
		if j.r.Sync != "sky" {
			for _, t := range j.lifts(j.r.toAxes(then, ra, dec, side), b) {
				out = append(out, end{i, c.add(t.sub(b)), c.sub(b), false, true, "by belief, on " + side})
			}
		}
		if j.r.Sync == "sky" || j.r.Sync == "unknown" {
			for _, t := range j.lifts(j.r.toAxes(then, less[0], less[1], side), c) {
				out = append(out, end{i, t, Axes{}, false, true, "less the offset on the sky, on " + side})
			}
		}
	}
	return out
}

func optional(s string) []string {
	if s == "" {
		return nil
	}
	return []string{s}
}

// lessOffset is a target less the offset on the sky of a mount that keeps its syncs so.
func (j *judging) lessOffset(c Axes, ra, dec float64) [2]float64 {
	bRA, bDec, _ := j.r.ToSky(j.mount.lst, j.mount.lat, j.belief)
	cRA, cDec, _ := j.r.ToSky(j.mount.lst, j.mount.lat, c)
	ra, dec = ra-(bRA-cRA), dec-(bDec-cDec)
	if math.Abs(dec) > math.Pi/2 {
		ra, dec = ra+math.Pi, math.Copysign(math.Pi, dec)-dec
	}
	return [2]float64{ra, dec}
}

// sidesFor are the sides on which the mount may arrive, at one of some hour angles of its target.
func (j *judging) sidesFor(asked string, hours []float64) []string {
	r := j.r
	switch {
	case r.Chooses == "asker" && asked != "":
		return []string{asked}
	case r.Chooses == "first only":
		return r.sides()[:1]
	case r.Chooses == "hour angle" && r.Kind == German:
		var out []string
		for _, h := range hours {
			for _, past := range []float64{wrap(h - r.Delay), wrap(h) - r.Delay} { // under the pole: by which of the two is not known
				side := West
				if past > 0 {
					side = East
				}
				if !slices.Contains(out, side) {
					out = append(out, side)
				}
			}
		}
		return out
	}
	return r.sides()
}

// lifts are the turns that the mount may mean, seen from where its counters stand.
func (j *judging) lifts(a, from Axes) []Axes {
	var out []Axes
	for _, one := range j.turns(a[0], from[0], 0) {
		for _, two := range j.turns(a[1], from[1], 1) {
			out = append(out, Axes{one, two})
		}
	}
	return out
}

func (j *judging) turns(a, from float64, axis int) []float64 {
	low, high := j.r.Low[axis], j.r.High[axis]
	if j.r.Way == "shortest" {
		return []float64{near(a, from)}
	}
	var within []float64
	for k := -4.0; k <= 4; k++ {
		if x := wrap(a) + k*2*math.Pi; x >= low && x <= high {
			within = append(within, x)
		}
	}
	switch {
	case len(within) == 0:
		return []float64{near(a, (low+high)/2)}
	case j.r.Way == "unknown":
		return within
	}
	return []float64{slices.MinFunc(within, func(x, y float64) int { return compare(math.Abs(x-from), math.Abs(y-from)) })}
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
	worst, about := 0.0, ""
	all := j.ends(0, 0)
	for _, e := range all {
		least := math.Inf(1)
		for _, o := range all {
			if o.intended && o.from == e.from {
				least = min(least, e.axes.sub(o.axes).most())
			}
		}
		if !e.intended && !math.IsInf(least, 1) && least > worst {
			worst, about = least, e.because
		}
	}
	f := exact(j.limit("end/bounded spread_deg") - worst/degree)
	f.Said = fmt.Sprintf("%.3f° to spare: %s", f.Seen, about)
	return f
}
