package facts

import (
	"fmt"
	"math"
	"time"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/reach"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
)

func hypot(a, b float64) float64 { return math.Hypot(a, b) }

// prover makes the prover of the rig with the part states last reported.
func (in *Input) prover() *reach.Prover {
	if in.kept != nil {
		return in.kept
	}
	part := unit.Length(in.limit("clear/path", "part_mm", 100))
	general := unit.Length(in.limit("clear/path", "general_mm", 100) + in.Snapshot.Rig.Proof.Widens(in.Rig.Digest))
	in.kept = in.Shelf.Prover(in.Rig, in.parts(), part, general)
	return in.kept
}

// parts are the part states that count: those of the last sample, while that is fresh. How a part stood in an older one, or in one from which what was
// asked with differs, says nothing of now; a homing is asked for without a fresh one.
func (in *Input) parts() []rig.PartState {
	s := in.Snapshot.Rig.Sample
	if s == nil || in.partsOld() {
		return nil
	}
	return s.Parts
}

// partsOld tells whether part states were told, too long ago to count.
func (in *Input) partsOld() bool {
	s := in.Snapshot.Rig.Sample
	if s == nil || len(s.Parts) == 0 {
		return false
	}
	return s.Time.IsZero() || in.Snapshot.Clock.Jumped != "" || in.Snapshot.Unheard != "" || in.sampleAge(s).Seconds() > in.limit("pose/fresh", "age_s", 0)
}

// endsFact puts how far the predicted ends lie from what is intended, at the most (a rig that stays, or turns by so much, from one of several places has no
// intended end of its own from the others).
func endsFact(f Set, ways []journey) {
	f.Number("end_count", float64(len(ways)), Computed)
	ends := make([]rig.End, len(ways))
	for i := range ways {
		ends[i] = ways[i].end
	}
	worst, about := 0.0, ""
	for _, e := range ends {
		if off := offIntended(e, ends); off > worst {
			worst, about = off, e.Because
		}
	}
	var names []string
	if about != "" {
		names = []string{about}
	}
	f.Number("end_spread_deg", worst, Computed, names...)
}

// offIntended is how far an end by belief lies from what is intended, degrees: of the same start, or of any where that start has none. Of an intended one zero.
func offIntended(e rig.End, ends []rig.End) float64 {
	if e.Intended {
		return 0
	}
	nearest, likeliest := math.Inf(1), math.Inf(1)
	for _, k := range ends {
		if !k.Intended {
			continue
		}
		d := e.Axes.Sub(k.Axes).Abs().Max().Deg()
		if likeliest = math.Min(likeliest, d); k.From == e.From {
			nearest = math.Min(nearest, d)
		}
	}
	if math.IsInf(nearest, 1) {
		return likeliest
	}
	return nearest
}

// waysFacts puts the worst of all ways: clearance, travel, altitude, Sun.
func (in *Input) waysFacts(f Set, h *heaven, p *reach.Prover, ways []journey, out *Outcome) {
	in.clearance(f, p, ways, out)
	in.travel(f, ways)
	in.altitude(f, ways)
	in.sunApart(f, h, ways, out)
	for _, j := range ways {
		out.MotionS = math.Max(out.MotionS, j.way.Seconds())
	}
	f.Number("motion_s", out.MotionS, Computed)
}

// clearance proves every way and puts the least spare, with and without pose uncertainty.
func (in *Input) clearance(f Set, p *reach.Prover, ways []journey, out *Outcome) {
	spare, sharp := math.Inf(1), worsts{}
	var worst *question.Clearance
	seen := map[int]*question.Clearance{}
	undecided := ""
	for i := range ways {
		j := &ways[i]
		r := p.Prove(j.way, j.spread, reach.Budget(in.Cells))
		end := End{End: j.end, MotionS: j.way.Seconds(), Closest: in.approach(r, j)}
		if r.Contact != nil {
			end.Contact = contactOf(r.Contact)
		}
		if !r.Decided && undecided == "" {
			undecided = orElse(r.Why, fmt.Sprintf("the way to %s was not settled within %d cells", j.end.Axes, in.Cells))
		}
		if float64(r.Lower) < spare {
			spare, worst = float64(r.Lower), end.Closest
		}
		upper := float64(r.Upper)
		if r.Fails() { // is it the uncertainty alone?
			exact := p.Prove(j.way, j.sharp, reach.Budget(in.Cells))
			upper = float64(exact.Upper)
			if c := in.approach(exact, j); c != nil {
				end.Closest = c
			}
			if exact.Contact != nil {
				end.Contact = contactOf(exact.Contact)
			} else if exact.Decided {
				end.Contact = nil
			}
			if !exact.Decided {
				upper = math.Inf(1)
			}
		}
		if sharp.take(j.end.From, upper) {
			seen[j.end.From] = end.Closest
		}
		out.Ends = append(out.Ends, end)
	}
	proven, from := sharp.proven()
	if by := in.Snapshot.Rig.Proof.Widens(in.Rig.Digest); by > 0 {
		f.Number("clearance_widened_mm", by, Told, in.Snapshot.Rig.Proof.Person)
	}
	putClearance(f, spare, proven, worst, seen[from], undecided)
	out.Closest = worst
	if proven < 0 && seen[from] != nil {
		out.Closest = seen[from]
	}
}

// worsts is the least of something over all ways from each of the places where the rig may be.
type worsts []worst

// worst is the least from one place.
type worst struct {
	from  int
	least float64
}

// take tells whether a value is the least from its place so far.
func (w *worsts) take(from int, v float64) bool {
	for i := range *w {
		if x := &(*w)[i]; x.from == from {
			if v >= x.least {
				return false
			}
			x.least = v
			return true
		}
	}
	*w = append(*w, worst{from, v})
	return true
}

// proven is what must be reckoned with wherever the rig is, and the place that has it: the best of the worsts. What is wrong from some of
// the places alone is not proven to be wrong. Infinite where there is no way.
func (w worsts) proven() (v float64, from int) {
	v, from = math.Inf(1), -1
	for _, x := range w {
		if from < 0 || x.least > v || x.least == v && x.from < from {
			v, from = x.least, x.from
		}
	}
	return v, from
}

// putClearance puts the facts of the least spare. No pairs at all is a spare beyond any rig's size.
func putClearance(f Set, spare, sharp float64, worst, worstSharp *question.Clearance, undecided string) {
	const boundless = 1e6
	number := func(name string, v float64, c *question.Clearance) {
		var about []string
		if c != nil {
			about = []string{c.Parts[0], c.Parts[1]}
		}
		f.Number(name, math.Min(v, boundless), Computed, about...)
		if c != nil && c.Instant != nil {
			f.At(name, *c.Instant)
		}
	}
	number("clearance_sharp_spare_mm", sharp, worstSharp)
	if math.IsInf(spare, -1) && sharp < 0 { // within the work budget nothing was proven of a way that is seen to fail: it keeps no more than that
		spare, worst = sharp, worstSharp
	}
	if undecided != "" && sharp >= 0 {
		f.Lack("clearance_spare_mm", undecided, "time")
		return
	}
	number("clearance_spare_mm", spare, worst)
	if worst != nil {
		number("clearance_lower_mm", worst.LowerMM, worst)
		number("clearance_required_mm", worst.RequiredMM, worst)
	}
}

// approach turns a prover's result into its nearest approach with the instant; nil where nothing is proven. The gap is the one proven
// of every pose, not only of the one where it was seen; of a contact, and of a way that fails before anything of it is proven, no more is known than
// where it was seen.
func (in *Input) approach(r reach.Result, j *journey) *question.Clearance {
	a := r.Nearest
	unproven := math.IsInf(float64(r.Lower), -1)
	if a == nil || unproven && !r.Fails() {
		return nil
	}
	lower := a.Lower
	if a.Upper > 0 && !unproven {
		lower = min(lower, a.Required+r.Lower)
	}
	c := &question.Clearance{LowerMM: float64(lower), UpperMM: float64(a.Upper), RequiredMM: float64(a.Required), Parts: a.Parts, Axes: a.Pose}
	if !math.IsInf(a.Seconds, 0) {
		t := in.Snapshot.At.Add(time.Duration(a.Seconds * float64(time.Second)))
		c.Instant = &t
	}
	return c
}

func contactOf(a *reach.Approach) *Contact {
	return &Contact{Parts: a.Parts, Turned: a.Turned, AfterS: a.Seconds}
}

// unhomed is the spread of a journey with as much of the pose's uncertainty as travel or the floor are held against. Homing alone would
// make the pose sharper, so that it may not need that: where home lies near the end of travel or, of a level tube, near the floor, it could
// never be had. A sensor ends it at home wherever it began; a person sees where it ends. Its clearance counts all.
func (in *Input) unhomed(j *journey, seen bool) rig.Axes {
	by := in.Rig.Homing.By
	if in.action().Kind == question.Home && (by == rig.BySensor || by == rig.ByPerson && seen) {
		return j.sharp
	}
	return j.spread
}

// extremes names the facts of each extreme of travel, and the limit that they are held against.
var extremes = [4]struct{ axis, wide, sharp, rule, limit string }{
	{"axis 1", "axis1_travel_min_deg", "axis1_sharp_min_deg", "travel/axis1", "low_deg"},
	{"axis 1", "axis1_travel_max_deg", "axis1_sharp_max_deg", "travel/axis1", "high_deg"},
	{"axis 2", "axis2_travel_min_deg", "axis2_sharp_min_deg", "travel/axis2", "low_deg"},
	{"axis 2", "axis2_travel_max_deg", "axis2_sharp_max_deg", "travel/axis2", "high_deg"},
}

// travel puts the extremes of both axes over all ways.
func (in *Input) travel(f Set, ways []journey) {
	wide, sharp := [4]worsts{}, [4]worsts{} // as extremes; the highs with the sign turned
	for _, j := range ways {
		for i, v := range in.reaches(&j, in.unhomed(&j, false)) {
			wide[i].take(0, v)
		}
		for i, v := range in.reaches(&j, j.sharp) {
			sharp[i].take(j.end.From, v)
		}
	}
	for i, x := range extremes {
		sign := 1 - 2*float64(i%2)
		all, _ := wide[i].proven()
		f.Number(x.wide, sign*all, Computed, x.axis)
		f.Number(x.sharp, sign*in.ofBestPlace(sharp, i), Computed, x.axis)
	}
}

// ofBestPlace is the extreme of one end of an axis's travel without uncertainty, of the place from which most is left at both ends: from
// whichever the rig is at, one of them may be crossed. Infinite where there is no way.
func (in *Input) ofBestPlace(sharp [4]worsts, face int) float64 {
	left := worsts{}
	for i := face &^ 1; i <= face|1; i++ {
		limit := in.travelLimit(i)
		for _, x := range sharp[i] {
			left.take(x.from, x.least-limit)
		}
	}
	_, from := left.proven()
	for _, x := range sharp[face] {
		if x.from == from {
			return x.least
		}
	}
	return math.Inf(1)
}

// travelLimit is the end of travel that one of reaches is held against, with its sign.
func (in *Input) travelLimit(face int) float64 {
	t, sign := in.Rig.Travel, 1-2*float64(face%2)
	own := [4]unit.Angle{t.Low.A1, t.High.A1, t.Low.A2, t.High.A2}[face]
	return sign * in.limit(extremes[face].rule, extremes[face].limit, own.Deg())
}

// reaches is how low and how high a journey takes axis 1 and axis 2, degrees, with a spread; the highs with the sign turned. An axis that
// may stand beyond the end of its travel already and only turns inward is held to where it ends: or nothing could bring it back.
func (in *Input) reaches(j *journey, spread rig.Axes) [4]float64 {
	a, b := j.way.Swept()
	from, to := j.start, j.end.Axes
	ends := [4]struct{ least, start, end, by unit.Angle }{
		{a.A1, from.A1, to.A1, spread.A1}, {-b.A1, -from.A1, -to.A1, spread.A1},
		{a.A2, from.A2, to.A2, spread.A2}, {-b.A2, -from.A2, -to.A2, spread.A2},
	}
	var out [4]float64
	for i, e := range ends {
		out[i] = (e.least - e.by).Deg()
		limit := in.travelLimit(i)
		if out[i] < limit && e.least >= e.start {
			out[i] = math.Min(limit, (e.end - e.by).Deg())
		}
	}
	return out
}

func upper(a, b rig.Axes) rig.Axes { return rig.Axes{A1: max(a.A1, b.A1), A2: max(a.A2, b.A2)} }

// fieldTolerance is how well the least altitude and the least distance from the Sun are found along a way. Choice: a hundredth of a
// degree is a tenth of the refraction left out at 10° altitude.
const fieldTolerance = 0.01 * unit.Degree

// mostTolerance is that of the greatest altitude, which no rule judges: a tenth of a degree.
const mostTolerance = 0.1 * unit.Degree

// coarsest is the most that tolerance grows to. Near the zenith the turn of an alt-azimuth is known to half a turn, and the tube to a tenth
// of a degree all the same. Choice.
const coarsest = 0.3 * unit.Degree

// tolerance grows with the spread, of which it is a thirtieth: where the pose is not known to a degree a tenth of one costs nothing.
func tolerance(spread rig.Axes) unit.Angle {
	return max(fieldTolerance, min(spread.Max()/30, coarsest))
}

// altitude puts the least and greatest true altitude of the tube along all ways.
func (in *Input) altitude(f Set, ways []journey) {
	up := frame.Vec[frame.Rig]{Z: 1}
	least, most := math.Inf(1), -unit.HalfTurn
	sharp := worsts{}
	for _, j := range ways {
		exact := in.sinksTo(&j, j.sharp)
		least = math.Min(least, math.Min(exact, in.sinksTo(&j, in.unhomed(&j, true)))) // to a wider tolerance the wide one may forgive a little sinking
		sharp.take(j.end.From, exact)
		most = max(most, -j.way.Lowest(&in.Rig.Chain, up.Scale(-1), j.spread, max(tolerance(j.spread), mostTolerance)))
	}
	f.Number("altitude_min_deg", least, Computed)
	proven, _ := sharp.proven()
	f.Number("altitude_sharp_min_deg", proven, Computed)
	f.Number("altitude_max_deg", most.Deg(), Computed)
}

// sinksTo is the least altitude of the tube on a journey, degrees, with a spread. One that may stand below the floor already is held to where it
// ends, or nothing could raise it; unless it sinks lower, or below the floor again once it rose above it, by the uncertainty or without.
func (in *Input) sinksTo(j *journey, spread rig.Axes) float64 {
	up, near := frame.Vec[frame.Rig]{Z: 1}, tolerance(spread)
	lowest := func(w reach.Way, spread rig.Axes, near unit.Angle) unit.Angle {
		return w.Lowest(&in.Rig.Chain, up, spread, near)
	}
	least, floor := lowest(j.way, spread, near), in.limit("sky/floor", "altitude_deg", -90)
	still := reach.Hold(j.start)
	if least.Deg() >= floor || least < lowest(still, spread, near)-near {
		return least.Deg()
	}
	if exact := fieldTolerance; lowest(j.way, rig.Axes{}, exact) < lowest(still, rig.Axes{}, exact)-exact {
		return least.Deg()
	}
	for _, by := range [2]rig.Axes{spread, {}} {
		if j.way.SinksAgain(&in.Rig.Chain, up, by, unit.Deg(floor), tolerance(by)) {
			return least.Deg()
		}
	}
	return math.Min(floor, lowest(reach.Hold(j.end.Axes), spread, near).Deg())
}

// sunUp is the altitude of the Sun's centre at which its upper limb stands on the horizon, with refraction.
// Source: almanac practice, 34′ of refraction and 16′ of semidiameter.
const sunUp = -0.83 * unit.Degree

// farFromSun is the separation of a direction from a Sun that is down.
const farFromSun = 180 * unit.Degree

// sunApart puts the least distance of the tube from the Sun along all ways, the Sun moving meanwhile; 180° while it is down.
func (in *Input) sunApart(f Set, h *heaven, ways []journey, out *Outcome) {
	least, sharp, most := farFromSun, worsts{}, unit.Angle(0)
	highest := unit.Angle(-math.Pi / 2)
	for _, j := range ways {
		seconds := j.way.Seconds()
		if math.IsInf(seconds, 0) || seconds > dayS {
			seconds = dayS
		}
		if !in.Rehearsed { // it may begin only at the end of what leave waits
			seconds += in.startWithin()
		}
		first, last := h.sun(0), h.sun(seconds)
		_, alt0 := frame.AzAlt(first)
		_, alt1 := frame.AzAlt(last)
		moved := unit.Angle(seconds) * question.SiderealRate
		most = max(most, moved)
		highest = max(highest, alt0, alt1)
		up := max(alt0, alt1) + moved // below sunUp it cannot rise meanwhile, however it turns
		if up+h.doubt() >= sunUp {
			least = min(least, in.apartOn(j.way, j.spread, first, moved+h.doubt()))
		}
		exact := farFromSun
		switch {
		case up >= sunUp && moved > unit.Degree/4:
			exact = in.passesSun(h, &j, first, seconds, moved)
		case up >= sunUp:
			exact = in.apartOn(j.way, j.sharp, first, moved)
		}
		sharp.take(j.end.From, exact.Deg())
	}
	f.Number("sun_altitude_deg", highest.Deg(), Computed)
	f.Number("sun_separation_deg", least.Deg(), Computed)
	proven, _ := sharp.proven()
	f.Number("sun_separation_sharp_deg", min(proven, farFromSun.Deg()), Computed)
	if in.Proposes && least.Deg() < in.limit("sun/apart", "separation_deg", 0) {
		out.note(h.sunSets(most))
	}
}

// sunLooks is at how many instants of a long motion the Sun is looked for: one each 15 s of the longest that an ordinary rig takes. Choice.
const sunLooks = 60

// passesSun is how near to the Sun a long motion passes that begins at once, which is proven: at instants of it, or by how much the Sun may move
// away meanwhile.
func (in *Input) passesSun(h *heaven, j *journey, first frame.Vec[frame.Rig], seconds float64, moved unit.Angle) unit.Angle {
	out := min(farFromSun, in.apartOn(j.way, j.sharp, first, -moved))
	for i := range sunLooks {
		t := seconds * float64(i) / (sunLooks - 1)
		sun := h.sun(t)
		if _, alt := frame.AzAlt(sun); alt >= sunUp {
			out = min(out, in.Rig.Chain.Direction(j.way.At(t)).Angle(sun))
		}
	}
	return out
}

// apartOn is the least angle between the tube on a way and a Sun that starts in a direction and moves by no more than moved.
func (in *Input) apartOn(w reach.Way, spread rig.Axes, sun frame.Vec[frame.Rig], moved unit.Angle) unit.Angle {
	return max(0, unit.HalfTurn/2+w.Lowest(&in.Rig.Chain, sun.Scale(-1), spread, tolerance(spread))-moved)
}
