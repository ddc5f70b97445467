package rig

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/solid"
)

// check holds what was read against itself. Faults go to f, what a person should look at again to Rig.Notices.
func (r *Rig) check(top *reader, f *faults) {
	r.checkPoses(top, f)
	r.checkStands(top, f)
	r.checkSettled(top)
	r.checkMirrored()
	r.checkUntold()
}

// checkSettled notices pairs that no motion changes and that stand closer than their own margins.
func (r *Rig) checkSettled(top *reader) {
	for _, s := range r.Settled() {
		if s.Gap > 0 && s.Gap < s.Need {
			place, key := placeOf(top.at, r.Parts[r.part(s.B)].From)
			r.notice(Unchanging, place, key, fmt.Sprintf("%s and %s at least %.1f mm apart, as their margins say", quote(s.A), quote(s.B), s.Need),
				fmt.Sprintf("%.1f mm at every pose", s.Gap), "no motion changes it and none is judged by it; measure again")
		}
	}
}

// checkPoses checks that every pose of the file lies within travel.
func (r *Rig) checkPoses(top *reader, f *faults) {
	within := func(key string, n *node, a Axes, what string) {
		if !r.Travel.Holds(a) {
			f.add(n, key, fmt.Sprintf("a pose within travel, %s to %s from zero", r.Travel.Low, r.Travel.High), a.String(), "correct "+what+" or travel_from_home")
		}
	}
	for _, s := range r.stands(top) {
		within(s.key, s.at, s.axes, s.what)
		over := r.Motion.Overrun
		if s.key == "home_deg" {
			over = over.Add(r.Homing.Search)
		}
		r.checkOverrun(s.key, s.at, s.axes, over)
	}
	motion := &reader{f: f, at: top.at.find("motion"), path: "motion"}
	for _, way := range []struct {
		key   string
		poses []Axes
	}{{"goes_by_deg", r.Motion.Via}, {"flips_by_deg", r.Motion.FlipVia}} {
		for i, a := range way.poses {
			n := motion.at.find(way.key).items[i]
			within(motion.item(way.key, i), n, a, "the way")
			r.checkOverrun(motion.item(way.key, i), n, a, r.Motion.Overrun)
		}
	}
}

// checkOverrun notices a pose that the approach, or at home the search, may overrun beyond travel.
func (r *Rig) checkOverrun(key string, n *node, a, over Axes) {
	if r.Travel.Holds(a) && !(r.Travel.Holds(a.Add(over)) && r.Travel.Holds(a.Sub(over))) {
		r.notice(Overruns, n, key, "an approach that stays within travel", fmt.Sprintf("%s, overrun by %s", a, over), "motions there will be denied: move the pose or widen travel_from_home")
	}
}

func (r *Rig) notice(kind FindKind, n *node, key, wanted, got, remedy string) {
	r.Notices = append(r.Notices, noticed(kind, n, key, wanted, got, remedy))
}

// Holds tells whether a pose lies within travel, ends included. The slack is rounding: degrees of the file are turned into
// radians one by one, and 1e-9 rad is a millionth of a millimetre at a metre.
func (t Travel) Holds(a Axes) bool {
	const slack = 1e-9
	return a.A1 >= t.Low.A1-slack && a.A1 <= t.High.A1+slack && a.A2 >= t.Low.A2-slack && a.A2 <= t.High.A2+slack
}

// stand is a pose at which the rig stands still, and its place in the file.
type stand struct {
	what, key string
	at        *node
	axes      Axes
}

// stands returns home and the places of rest.
func (r *Rig) stands(top *reader) []stand {
	out := []stand{{"home", "home_deg", top.at.find("home_deg"), r.Home}}
	for i, rest := range r.Rests {
		out = append(out, stand{"the rest " + quote(rest.Name), top.item("rests", i), top.at.find("rests").items[i], rest.Axes})
	}
	return out
}

// checkStands looks for parts that overlap where the rig stands still. What is there in every state counts as a fault; what
// overlaps only in some states, or stands closer than the margins, is a notice.
func (r *Rig) checkStands(top *reader, f *faults) {
	for _, s := range r.stands(top) {
		links := r.Chain.links(s.axes)
		for i := range r.Parts {
			for j := range r.Parts {
				a, b := &r.Parts[i], &r.Parts[j]
				if a.Link >= b.Link || r.touches(i, j) || s.what != "home" && r.Chain.allSettled(a, b) { // told at home
					continue
				}
				always, sometimes := overlap(a, b, nearBetween(links[a.Link], links[b.Link], max(r.need(a, b), touching)))
				r.tellOverlap(top, f, s, a, b, always, sometimes)
			}
		}
	}
}

// gapBetween returns how to measure the gap of two solids where two links have moved to: the proven lower bound.
func gapBetween(a, b frame.Motion[frame.Rig]) func(s, o solid.Shape) float64 {
	return func(s, o solid.Shape) float64 { return solid.Distance(s.Moved(a), o.Moved(b)).Lower }
}

// nearBetween is gapBetween of which nothing but that it is more than enough, mm, is wanted where it is: there it is what is left between two balls that
// hold the solids. Most pairs are that far apart, and their gap takes a hundred times as long.
func nearBetween(a, b frame.Motion[frame.Rig], enough float64) func(s, o solid.Shape) float64 {
	const rounding = 1 // mm; far above what is lost in twenty metres, and costs nothing
	return func(s, o solid.Shape) float64 {
		s, o = s.Moved(a), o.Moved(b)
		from, its := s.Ball()
		to, others := o.Ball()
		if apart := to.Sub(from).Norm() - its - others; apart > enough+rounding {
			return apart
		}
		return solid.Distance(s, o).Lower
	}
}

func (r *Rig) tellOverlap(top *reader, f *faults, s stand, a, b *Part, always, sometimes float64) {
	need := r.need(a, b)
	if sometimes > 0 && always > touching && always >= need {
		return
	}
	names := fmt.Sprintf("%s (%s) and %s (%s)", quote(a.Name), a.Link, quote(b.Name), b.Link)
	place, key := placeOf(top.at, b.From)
	if s.what != "home" {
		place, key = s.at, s.key
	}
	between := gapWords(always)
	switch {
	case always <= 0 && a.Link == Ground && b.Link == OnAxis2:
		f.add(place, key, names+" apart at "+s.what, between, r.measureAgain(a, b)+": what turns with axis 2 must never touch what stands on the ground")
	case always <= 0:
		f.add(place, key, names+" apart at "+s.what, between, r.measureAgain(a, b)+"; "+r.listing(top, a, b))
	case sometimes <= 0:
		r.notice(Overlaps, place, key, names+" apart at "+s.what+" in every state", gapWords(sometimes)+" in some state", "report the state with each sample, else motions there are denied")
	case always <= touching && a.Link+1 == b.Link:
		r.notice(Touching, place, key, names+" apart at "+s.what, between, r.measureAgain(a, b)+"; "+r.listing(top, a, b))
	case always < need && !r.Chain.allSettled(a, b):
		r.notice(TooNear, place, key, fmt.Sprintf("%s at least %s mm apart at %s, as their margins ask", names, short(need), s.what), between, "motions to and from there will be denied: measure again, or choose smaller margins")
	}
}

// alwaysTouch is the line that lists a pair, as it stands in a file, beside the pairs that are there.
func alwaysTouch(top *reader, a, b *Part) string {
	var pairs []string
	for _, n := range top.list("always_touch", mostTouching) {
		if n.kind == list && len(n.items) == 2 {
			pairs = append(pairs, pairText(n.items[0].text, n.items[1].text))
		}
	}
	return "always_touch: [" + strings.Join(append(pairs, pairText(a.Name, b.Name)), ", ") + "]"
}

// plainName is a name that needs no quotation marks inside brackets.
var plainName = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9 .°-]*$`)

func pairText(names ...string) string {
	for i, name := range names {
		if !plainName.MatchString(name) {
			names[i] = strconv.Quote(name)
		}
	}
	return "[" + strings.Join(names, ", ") + "]"
}

// gapWords says how far apart two parts are, or how deep one stands in the other.
func gapWords(gap float64) string {
	if gap > 0 {
		return fmt.Sprintf("%.1f mm between them", gap)
	}
	return fmt.Sprintf("an overlap of %.1f mm", -gap)
}

// measureAgain names what may be measured wrong where two parts overlap.
func (r *Rig) measureAgain(a, b *Part) string {
	for _, p := range []*Part{a, b} {
		if _, written := partIndex(p.From); written {
			s := "measure the place of " + quote(p.Name) + " again"
			if most := p.mostFilled(); most >= hollow {
				s += fmt.Sprintf(", or draw its mesh in more pieces, since the hull fills in %.0f %% of one", 100*most)
			}
			return s
		}
	}
	switch {
	case a.Link == Ground:
		return "measure floor_to_crossing_mm and crossing_north_of_hub_mm again"
	case r.Kind == German:
		return "measure crossing_to_tube_mm again"
	}
	return "measure fork.arm_gap_mm again"
}

// need returns the gap that two parts are asked to keep, as far as the file says it. Default margins: section 19 of the design,
// clear/path part_mm and general_mm, both 10; only notices go by them here.
func (r *Rig) need(a, b *Part) float64 {
	part, general := 10.0, 10.0
	for _, l := range r.Limits {
		switch {
		case l.Rule == "clear/path" && l.Name == "part_mm":
			part = l.Value
		case l.Rule == "clear/path" && l.Name == "general_mm":
			general = l.Value
		}
	}
	own := func(p *Part) float64 { return max(float64(p.Margin), part) + float64(p.Reading) }
	return own(a) + own(b) + float64(r.placing(a.Link)) + general
}

// placeOf finds where in the file a part was made.
func placeOf(top *node, from string) (*node, string) {
	if i, ok := partIndex(from); ok {
		return top.find("parts").items[i], from
	}
	return top.find("tape"), "tape"
}

// partIndex reads the index of "parts.3".
func partIndex(from string) (int, bool) {
	var i int
	_, err := fmt.Sscanf(from, "parts.%d", &i)
	return i - 1, err == nil
}

// overlap returns the smallest gap between two parts that is there whatever their states (of each part with states the state
// that gives most room), and the smallest over all states.
func overlap(a, b *Part, gap func(s, o solid.Shape) float64) (always, sometimes float64) {
	between := func(s, o []solid.Shape) float64 {
		least := float64(farApart)
		for _, x := range s {
			for _, y := range o {
				least = min(least, gap(x, y))
			}
		}
		return least
	}
	always, sometimes = float64(-farApart), float64(farApart)
	for _, s := range a.sets() {
		for _, o := range b.sets() {
			g := between(s, o)
			always, sometimes = max(always, g), min(sometimes, g)
		}
	}
	return always, sometimes
}

// farApart stands for parts of which one takes up nothing, mm.
const farApart = 1e9

// sets returns what the part takes up in each of its states.
func (p *Part) sets() [][]solid.Shape {
	if len(p.States) == 0 {
		return [][]solid.Shape{p.Shapes}
	}
	var out [][]solid.Shape
	for _, s := range p.States {
		out = append(out, append(slices.Clone(p.Shapes), s.Shapes...))
	}
	return out
}
