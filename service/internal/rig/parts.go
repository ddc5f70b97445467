package rig

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// Bounds on what one file may hold. Choice: several times what a crowded rig needs, few enough that every pair can be judged.
const (
	mostParts  = 100
	mostShapes = 50 // of one part or state
	mostStates = 50
	mostPoints = 1000 // of one hull
)

// partsReader reads the parts that a file writes out.
type partsReader struct {
	f      *faults
	frames [3]lengthsFrom // by link
	open   Opener
	drawn  drawn
	meshes []Drawn // of the part that is being read
}

// links by the words of the file.
var links = []string{"ground", "axis 1", "axis 2"}

func (p *partsReader) part(r *reader) Part {
	part := Part{From: r.path, Name: r.name("name")}
	p.meshes = nil
	part.Link = Link(max(0, slices.Index(links, r.word("fixed_to", links...))))
	part.Margin = unit.Length(r.numberOr("margin_mm", aMargin, 0))
	part.Reading = unit.Length(r.numberOr("reading_error_mm", errorSpan, 0))
	part.Shapes = p.shapes(r, part.Link)
	for i, n := range r.list("states", mostStates) {
		part.States = append(part.States, p.state(r.blockOf(n, r.item("states", i)), part.Link))
	}
	if len(part.Shapes) == 0 && len(part.States) == 0 && r.at != nil && !r.has("shapes") {
		r.f.add(r.at, r.key("shapes"), "shapes, or states with shapes", "neither", "say what the part takes up")
	}
	part.Meshes = p.meshes
	p.distinct(r, part.States)
	r.close()
	return part
}

// distinct checks that states can be told apart.
func (p *partsReader) distinct(r *reader, states []State) {
	for i, a := range states {
		for _, b := range states[:i] {
			if a.Measured == "" && b.Measured == "" && a.Name == b.Name && a.Name != "" {
				r.f.add(r.at, r.key("states"), "each state under a name of its own", "two called "+quote(a.Name), "rename one")
			}
		}
	}
}

func (p *partsReader) state(r *reader, link Link) State {
	s := State{}
	kinds := 0
	if r.has("name") {
		kinds++
		s.Name = r.name("name")
	}
	for _, m := range []struct {
		key, unit string
		span      span
	}{{"between_mm", "mm", aPlace}, {"between_deg", "deg", aTurn}} {
		if !r.has(m.key) {
			continue
		}
		kinds++
		if v := r.numbers(r.take(m.key), r.key(m.key), m.span, 2); v != nil {
			s.Measured, s.Low, s.High = m.unit, v[0], v[1]
			if v[0] > v[1] {
				r.f.add(r.peek(m.key), r.key(m.key), "the smaller number first", short(v[0])+" before "+short(v[1]), "exchange them")
			}
		}
	}
	if kinds != 1 && r.at != nil {
		r.f.add(r.at, r.path, "one of name, between_mm and between_deg", fmt.Sprintf("%d of them", kinds), "say when the part is in this state")
	}
	s.Shapes = p.shapes(r, link)
	r.close()
	return s
}

func (p *partsReader) shapes(r *reader, link Link) []solid.Shape {
	var out []solid.Shape
	for i, n := range r.list("shapes", mostShapes) {
		out = append(out, p.shape(r.blockOf(n, r.item("shapes", i)), link)...)
	}
	return out
}

// shapeMakers by the words of the file.
var shapeWords = []string{"ball", "capsule", "cylinder", "cone", "box", "hull", "mesh"}

// shape reads one shape; a mesh may be several.
func (p *partsReader) shape(r *reader, link Link) []solid.Shape {
	var found []string
	for _, w := range shapeWords {
		if r.has(w) {
			found = append(found, w)
		}
	}
	if len(found) != 1 {
		if r.at != nil {
			r.f.add(r.at, r.path, "one of "+oneOf(shapeWords), fmt.Sprintf("%d of them", len(found)), "give each shape an entry of its own")
		}
		r.close()
		return nil
	}
	before := len(r.f.all)
	b := r.needBlock(found[0], "its lengths")
	shapes, err := p.make(found[0], b, p.frames[link])
	b.close()
	r.close()
	switch {
	case len(r.f.all) > before:
		return nil
	case err != nil:
		r.f.add(b.at, b.path, "lengths that make a solid", strings.ReplaceAll(err.Error(), "\n", "; "), "measure again")
		return nil
	case len(shapes) == 1:
		lookAt(b, found[0], shapes[0])
	}
	return shapes
}

func (p *partsReader) make(word string, b *reader, at lengthsFrom) ([]solid.Shape, error) {
	var s solid.Shape
	var err error
	if (word == "cylinder" || word == "cone") && b.sameEnds() {
		b.known = append(b.known, "diameter_mm", "diameter_from_mm", "diameter_to_mm")
		return nil, nil
	}
	switch word {
	case "ball":
		s, err = solid.Sphere(place(b, "centre_mm", at), b.number("diameter_mm", aThickness)/2)
	case "capsule":
		s, err = solid.Capsule(place(b, "from_mm", at), place(b, "to_mm", at), b.number("diameter_mm", aThickness)/2)
	case "cylinder":
		s, err = solid.Cylinder(place(b, "from_mm", at), place(b, "to_mm", at), b.number("diameter_mm", aThickness)/2)
	case "cone":
		s, err = solid.Frustum(place(b, "from_mm", at), place(b, "to_mm", at), b.number("diameter_from_mm", aWidth)/2, b.number("diameter_to_mm", aWidth)/2)
	case "box":
		s, err = box(b, at)
	case "hull":
		s, err = hull(b, at)
	case "mesh":
		return p.mesh(b, at), nil
	}
	return []solid.Shape{s}, err
}

// sameEnds tells, and notes as a fault, whether from_mm and to_mm are one place, which gives no direction.
func (r *reader) sameEnds() bool {
	from, to := r.peek("from_mm"), r.peek("to_mm")
	if from == nil || to == nil || from.kind != list || to.kind != list || len(from.items) != 3 || len(to.items) != 3 {
		return false
	}
	for i := range from.items {
		a, known := aNumber(from.items[i])
		b, both := aNumber(to.items[i])
		if a != b || !known || !both {
			return false
		}
	}
	r.f.add(to, r.key("to_mm"), "another place than from_mm", "the same", "give both ends of the middle line")
	return true
}

// triple reads a list of three numbers that has to be there.
func triple(r *reader, key string, s span) []float64 {
	return r.numbers(r.needs(key, s.times(3), "in the directions of what the part is fixed to"), r.key(key), s, 3)
}

func place(r *reader, key string, at lengthsFrom) solid.Point {
	if v := triple(r, key, aPlace); v != nil {
		return at.at(v[0], v[1], v[2])
	}
	return solid.Point{}
}

// box reads a box along the directions of its link, turned about the third of them by the right hand.
func box(r *reader, at lengthsFrom) (solid.Shape, error) {
	centre, size := place(r, "centre_mm", at), triple(r, "size_mm", aThickness)
	turned := r.numberOr("turned_deg", aTurn, 0) * math.Pi / 180
	if size == nil {
		return solid.Shape{}, nil
	}
	s, c := math.Sincos(turned)
	own := lengthsFrom{x: at.x.Scale(c).Add(at.y.Scale(s)), y: at.y.Scale(c).Sub(at.x.Scale(s)), z: at.z}
	return solid.Box(centre, own.turn(), solid.Point{X: size[0] / 2, Y: size[1] / 2, Z: size[2] / 2})
}

func hull(r *reader, at lengthsFrom) (solid.Shape, error) {
	n := r.need("points_mm", "a list of places", "its corners")
	var points []solid.Point
	for i, c := range r.listOf(n, r.key("points_mm"), mostPoints) {
		if v := r.numbers(c, r.item("points_mm", i), aPlace, 3); v != nil {
			points = append(points, at.at(v[0], v[1], v[2]))
		}
	}
	if len(points) == 0 {
		return solid.Shape{}, nil
	}
	return solid.Hull(points)
}
