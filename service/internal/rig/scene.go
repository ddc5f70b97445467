package rig

import (
	"slices"
	"strings"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// Body is one convex piece of a part at the zero pose.
type Body struct {
	Part  int
	Link  Link
	Shape solid.Shape
	Maybe bool // it is there in some only of the states that its part may be in
}

// Pair is two bodies of different links whose gap counts, with the gap that is required between them.
type Pair struct {
	A, B     int         // indices of Scene.Bodies; A's link is the lower
	Required unit.Length // both parts' margins and the general one
}

// Scene is what stands where for one set of part states: the input of every clearance question.
type Scene struct {
	Chain  *Chain
	Names  []string // of parts
	Bodies []Body
	Pairs  []Pair
}

// Scene returns the rig's bodies and the pairs that count. A part with states takes the shapes of its reported state, or, where
// none is reported, those of all of them. partMM is the least own margin of a part, generalMM the rig's general margin. Pairs
// that always touch are left out, and so are those whose gap no motion changes: see settled.
func (r *Rig) Scene(reported []PartState, partMM, generalMM unit.Length) *Scene {
	s := &Scene{Chain: &r.Chain}
	margins := make([]unit.Length, len(r.Parts))
	for i, p := range r.Parts {
		s.Names = append(s.Names, p.Name)
		margins[i] = max(p.Margin, partMM) + p.Reading
		for _, shape := range p.Shapes {
			s.Bodies = append(s.Bodies, Body{Part: i, Link: p.Link, Shape: shape})
		}
		possible := p.possible(reported)
		for _, state := range possible {
			for _, shape := range state.Shapes {
				s.Bodies = append(s.Bodies, Body{Part: i, Link: p.Link, Shape: shape, Maybe: len(possible) > 1})
			}
		}
	}
	turns := make([]symmetry, len(s.Bodies))
	for i, b := range s.Bodies {
		turns[i] = r.Chain.symmetryOf(b.Shape)
	}
	order := s.byName()
	for _, i := range order {
		for _, j := range order {
			a, b := &s.Bodies[i], &s.Bodies[j]
			if a.Link < b.Link && !r.touches(a.Part, b.Part) && !settled(a.Link, b.Link, turns[i], turns[j]) {
				s.Pairs = append(s.Pairs, Pair{i, j, margins[a.Part] + margins[b.Part] + r.placing(a.Link) + generalMM})
			}
		}
	}
	return s
}

// byName are the indices of the bodies by the names of their parts, which are all different: how tight a bound is proven goes by the order in
// which pairs are looked at, and the file's order of parts says nothing.
func (s *Scene) byName() []int {
	out := make([]int, len(s.Bodies))
	for i := range out {
		out[i] = i
	}
	slices.SortStableFunc(out, func(a, b int) int { return strings.Compare(s.Names[s.Bodies[a].Part], s.Names[s.Bodies[b].Part]) })
	return out
}

// placing returns Placing for pairs whose lower link is the ground.
func (r *Rig) placing(lower Link) unit.Length {
	if lower == Ground {
		return r.Placing
	}
	return 0
}

// touches tells whether two parts are a pair that always touches.
func (r *Rig) touches(a, b int) bool {
	return slices.Contains(r.Allowed, [2]int{a, b}) || slices.Contains(r.Allowed, [2]int{b, a})
}

// taken returns the shapes of a part under the states reported: its fixed ones and those of each state that the report leaves
// possible.
func (p *Part) taken(reported []PartState) []solid.Shape {
	shapes := append([]solid.Shape(nil), p.Shapes...)
	for _, s := range p.possible(reported) {
		shapes = append(shapes, s.Shapes...)
	}
	return shapes
}

// possible returns the states that the report leaves possible. A report that fits no state leaves them all.
func (p *Part) possible(reported []PartState) []State {
	if fits := p.fitting(reported); len(fits) > 0 {
		return fits
	}
	return p.States
}

// fitting returns the states that a report about this part names.
func (p *Part) fitting(reported []PartState) []State {
	var out []State
	for _, r := range reported {
		if r.Part != p.Name {
			continue
		}
		for _, s := range p.States {
			switch {
			case r.Measure == nil && s.Measured == "" && s.Name == r.Name,
				r.Measure != nil && s.Measured == r.Unit && s.Low <= *r.Measure && *r.Measure <= s.High:
				out = append(out, s)
			}
		}
	}
	return out
}

// links returns the motion of each link from the zero pose to a, by Link.
func (c *Chain) links(a Axes) [3]frame.Motion[frame.Rig] {
	return [3]frame.Motion[frame.Rig]{frame.Still[frame.Rig](), c.Link1(a), c.Link2(a)}
}

// Place returns every body of a scene at a pose, in the order of Bodies.
func (s *Scene) Place(a Axes) []solid.Shape {
	links := s.Chain.links(a)
	out := make([]solid.Shape, len(s.Bodies))
	for i, b := range s.Bodies {
		out[i] = b.Shape.Moved(links[b.Link])
	}
	return out
}
