package rig

import (
	"fmt"
	"slices"

	"keepclear.example/keepclear/service/internal/solid"
)

// check holds what was read against itself. Faults go to f, what a person should look at again to Rig.Notices.
func (r *Rig) check(top *reader, f *faults) {
	r.checkPoses(top, f)
	r.checkHome(top, f)
}

// checkPoses checks that every pose of the file lies within travel.
func (r *Rig) checkPoses(top *reader, f *faults) {
	within := func(key string, n *node, a Axes, what string) {
		if !r.Travel.Holds(a) {
			f.add(n, key, fmt.Sprintf("a pose within travel, %s to %s from zero", r.Travel.Low, r.Travel.High), a.String(), "correct "+what+" or travel_from_home")
		}
	}
	for i, rest := range r.Rests {
		key := top.item("rests", i)
		within(key, top.at.find("rests").items[i], rest.Axes, "the rest "+quote(rest.Name))
	}
	motion := &reader{f: f, at: top.at.find("motion"), path: "motion"}
	for _, way := range []struct {
		key   string
		poses []Axes
	}{{"goes_by_deg", r.Motion.Via}, {"flips_by_deg", r.Motion.FlipVia}} {
		for i, a := range way.poses {
			n := motion.at.find(way.key).items[i]
			within(motion.item(way.key, i), n, a, "the way")
			r.checkOverrun(motion.item(way.key, i), n, a)
		}
	}
	r.checkOverrun("home_deg", top.at.find("home_deg"), r.Home)
}

// checkOverrun notices a pose that the approach may overrun beyond travel.
func (r *Rig) checkOverrun(key string, n *node, a Axes) {
	over := r.Motion.Overrun
	if r.Travel.Holds(a) && !(r.Travel.Holds(a.Add(over)) && r.Travel.Holds(a.Sub(over))) {
		r.notice(n, key, "an approach that stays within travel", fmt.Sprintf("%s, overrun by %s", a, over), "motions there will be denied: move the pose or widen travel_from_home")
	}
}

func (r *Rig) notice(n *node, key, wanted, got, remedy string) {
	r.Notices = append(r.Notices, Fault{n.file, n.line, n.column, key, wanted, got, remedy})
}

// Holds tells whether a pose lies within travel, ends included. The slack is rounding: degrees of the file are turned into
// radians one by one, and 1e-9 rad is a millionth of a millimetre at a metre.
func (t Travel) Holds(a Axes) bool {
	const slack = 1e-9
	return a.A1 >= t.Low.A1-slack && a.A1 <= t.High.A1+slack && a.A2 >= t.Low.A2-slack && a.A2 <= t.High.A2+slack
}

// checkHome looks for parts that overlap at home. What is there in every state counts as a fault; what overlaps only in some
// states is a notice.
func (r *Rig) checkHome(top *reader, f *faults) {
	links := r.Chain.links(r.Home)
	for i := range r.Parts {
		for j := range r.Parts {
			a, b := &r.Parts[i], &r.Parts[j]
			if a.Link >= b.Link || slices.Contains(r.Allowed, [2]int{i, j}) || slices.Contains(r.Allowed, [2]int{j, i}) {
				continue
			}
			always, sometimes := overlap(a, b, func(s, o solid.Shape) float64 {
				return solid.Distance(s.Moved(links[a.Link]), o.Moved(links[b.Link])).Lower
			})
			r.tellOverlap(top, f, a, b, always, sometimes)
		}
	}
}

func (r *Rig) tellOverlap(top *reader, f *faults, a, b *Part, always, sometimes float64) {
	place, key := placeOf(top.at, b.From)
	names := fmt.Sprintf("%s (%s) and %s (%s)", quote(a.Name), a.Link, quote(b.Name), b.Link)
	switch {
	case always <= 0 && a.Link == Ground && b.Link == OnAxis2:
		f.add(place, key, names+" apart at home", fmt.Sprintf("%.1f mm between them", always), "measure again: what turns with axis 2 must never touch what stands on the ground")
	case always <= 0:
		f.add(place, key, names+" apart at home", fmt.Sprintf("%.1f mm between them", always), fmt.Sprintf("measure again, or, if they always touch, add [%s, %s] to always_touch", a.Name, b.Name))
	case sometimes <= 0:
		r.notice(place, key, names+" apart at home in every state", fmt.Sprintf("%.1f mm between them in some state", sometimes), "report the part's state with each sample, else home stays refused")
	}
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
