package rig

import (
	"fmt"
	"math"

	"keepclear.example/keepclear/service/internal/solid"
)

// A part written out that has the name of one of the form's takes its place. Who means to add one under such a name loses the form's, and with it
// what keeps motions from it: this file tells of every such part, and first of those that leave room free which the form's filled.

// tellReplaced notices a part written out, at a place of the file, that takes the place of one of the form's.
func tellReplaced(f *faults, n *node, form, written *Part) {
	told := Find{File: n.file, Line: n.line, Key: written.From, Kind: Replaced, Remedy: "give it another name if it is there beside that"}
	told.Words = fmt.Sprintf("it replaces the form's own %s, which is %s, by %s (mm)", form.Name, form.figure(), written.figure())
	if form.Link != written.Link {
		told.Words += fmt.Sprintf(", on %s instead of %s", written.Link, form.Link)
	}
	if told.Info = written.holds(form); !told.Info {
		told.Words += "; no answer keeps clear of what the form's alone takes up"
		told.Remedy += "; if it is the same thing measured better, leave it"
	}
	f.notices = append(f.notices, told)
}

// holds tells whether a part, in each of its states, takes up all that a part of the form takes up, but for what a tape is read to: as far as the
// places of surface show.
func (p *Part) holds(form *Part) bool {
	if p.Link != form.Link {
		return false
	}
	for _, s := range form.Shapes {
		for _, at := range surface(s) {
			for _, set := range p.sets() {
				if !within(set, at) {
					return false
				}
			}
		}
	}
	return true
}

// within tells whether a place is in one of several solids, or no farther from it than a tape is read to.
func within(set []solid.Shape, at solid.Point) bool {
	p, err := solid.Sphere(at, 0)
	if err != nil {
		return false
	}
	for _, s := range set {
		if solid.Distance(p, s).Upper <= touching {
			return true
		}
	}
	return false
}

// surface returns places on the surface of a solid of the form: the corners of a box or hull, of a round one places on circles along its axis, and its
// rounded ends. Choice: between places of a circle 15° apart it stands out by less than a hundredth of its radius, and circles along it show a gap
// between solids which only together would hold it.
func surface(s solid.Shape) []solid.Point {
	const around, along = 24, 8
	a, b := s.Axis()
	axis := b.Sub(a)
	if axis.Norm() == 0 {
		return s.Points()
	}
	way := axis.Unit()
	side := way.Cross(solid.Point{X: 1})
	if math.Abs(way.X) > 0.5 { // that would be short, or none
		side = way.Cross(solid.Point{Y: 1})
	}
	side = side.Unit()
	other, r := way.Cross(side), s.Round()
	radius, _ := s.Radii()
	out := []solid.Point{a.Sub(way.Scale(r)), b.Add(way.Scale(r))}
	for k := range along + 1 {
		middle := a.Add(axis.Scale(float64(k) / along))
		for i := range around {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / around)
			out = append(out, middle.Add(side.Scale(radius*cos)).Add(other.Scale(radius*sin)))
		}
	}
	return out
}
