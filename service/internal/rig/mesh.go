package rig

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"math"

	"keepclear.example/keepclear/service/internal/frame"
	"keepclear.example/keepclear/service/internal/mesh"
	"keepclear.example/keepclear/service/internal/solid"
	"keepclear.example/keepclear/service/internal/unit"
)

// LargestOpened is the largest file that an Opener has to hand over, bytes: a mesh.
const LargestOpened = mesh.LargestFile

// Bounds on meshes. Choice, common practice, no source.
const (
	smallestMesh = 1.0                 // mm over all: smaller ones were drawn in metres or inches
	smallMesh    = 30.0                // mm over all: below it a person should look at the unit again
	bigMesh      = 3000.0              // mm over all: likewise above it
	largestMesh  = 20_000.0            // mm over all: as aLength
	mostDrawn    = 4 * mesh.MostFacets // facets of all meshes of one rig, each file counted as often as it is read
	hollow       = 0.25                // share of its hull that a piece leaves open, from which on a person should know
)

// meshUnits are the units that a mesh may be drawn in, and what one is in millimetres. The inch is 25.4 mm exactly (the
// international yard and pound agreement, 1959).
var meshUnits = []struct {
	name string
	mm   float64
}{{"mm", 1}, {"cm", 10}, {"m", 1000}, {"inch", 25.4}}

// Drawn is a mesh of a part as it was taken: the solids of its pieces hold all that is drawn.
type Drawn struct {
	File, Unit   string
	Facets, Flat int          // triangles; how many of them have no area
	Pieces       []mesh.Piece // those that count, in the directions of the drawing
	Within       int          // further pieces, which lie within one of those
}

// drawn remembers what meshes were read, so that four legs of one file are read once.
type drawn struct {
	digests map[string][32]byte // of files by name
	taken   map[meshUse]*Drawn
	facets  int
	again   bool // all of it is of an earlier reading, and no mesh is read
}

type meshUse struct {
	file, unit string
	together   bool
}

// mesh reads a mesh: its file, its unit, and how it lies in the directions of the part's link.
func (p *partsReader) mesh(b *reader, at lengthsFrom) []solid.Shape {
	var units []string
	for _, u := range meshUnits {
		units = append(units, u.name)
	}
	use := meshUse{unit: b.word("unit", units...), together: b.wordOr("pieces", "apart", "together") == "together"}
	own := turnedBy(b, at)
	if b.has("at_mm") {
		own.origin = place(b, "at_mm", at)
	}
	before := len(b.f.all)
	name, content := opened(b, "file", p.open)
	if use.file = name; name == "" || len(b.f.all) > before || use.unit == "" {
		return nil
	}
	d := p.take(b, use, content)
	if d == nil {
		return nil
	}
	p.meshes = append(p.meshes, *d)
	return placed(b, d, own)
}

// turnedBy reads how a drawing is turned: an angle about the third direction of the link, as a box has it, or three, about the first,
// the second and the third, in that order, each by the right hand.
func turnedBy(b *reader, at lengthsFrom) lengthsFrom {
	n := b.take("turned_deg")
	angles := []float64{0, 0, 0}
	switch {
	case n == nil:
	case n.kind == list:
		if v := b.numbers(n, b.key("turned_deg"), aTurn, 3); v != nil {
			angles = v
		}
	default:
		angles[2] = b.numberOf(n, b.key("turned_deg"), aTurn)
	}
	turn := frame.Identity[frame.Rig]()
	for i, axis := range []solid.Point{at.x, at.y, at.z} {
		turn = frame.Then(turn, frame.About(axis, unit.Deg(angles[i])))
	}
	return lengthsFrom{at.origin, turn.Apply(at.x), turn.Apply(at.y), turn.Apply(at.z)}
}

// take reads a mesh and wraps it, or finds that this was done before.
func (p *partsReader) take(b *reader, use meshUse, content []byte) *Drawn {
	if d := p.drawn.taken[use]; d != nil && p.drawn.again {
		return d
	}
	sum := sha256.Sum256(content)
	if was, seen := p.drawn.digests[use.file]; seen && was != sum {
		p.refuse(b, use, errors.New("changed while it was read"))
		return nil
	}
	p.drawn.digests[use.file] = sum
	d, seen := p.drawn.taken[use]
	if seen {
		return d // nil where it was faulty: told once
	}
	d, err := p.drawn.wrap(b, use, content)
	p.drawn.taken[use] = d
	p.refuse(b, use, err)
	return d
}

// refuse notes why a mesh is not taken.
func (p *partsReader) refuse(b *reader, use meshUse, err error) {
	var f mesh.Fault
	switch {
	case err == nil:
	case errors.As(err, &f):
		b.f.add(b.peek("file"), b.key("file"), "a mesh that can be taken", use.file+": "+f.Error(), f.Remedy)
	default:
		b.f.add(b.peek("file"), b.key("file"), "a mesh that can be taken", use.file+": "+err.Error(), "check the file again")
	}
}

func (w *drawn) wrap(b *reader, use meshUse, content []byte) (*Drawn, error) {
	m, err := mesh.Read(content)
	if err != nil {
		return nil, err
	}
	d := &Drawn{File: use.file, Unit: use.unit}
	d.Facets, d.Flat = m.Facets()
	if w.facets += d.Facets; w.facets > mostDrawn {
		return nil, fmt.Errorf("with it the rig has %d facets, want at most %d: export them coarser", w.facets, mostDrawn)
	}
	if !sized(b, use, m.Size()) {
		return nil, nil
	}
	taken, err := m.Wrap(millimetres(use.unit), use.together)
	if err != nil {
		return nil, err
	}
	d.Pieces, d.Within = taken.Pieces, taken.Within
	d.tellOpen(b)
	return d, nil
}

func millimetres(name string) float64 {
	for _, u := range meshUnits {
		if u.name == name {
			return u.mm
		}
	}
	return math.NaN() // word took no other
}

// sized tells whether a mesh is as large as a thing can be, and notices one whose size looks like another unit.
func sized(b *reader, use meshUse, size float64) bool {
	over := size * millimetres(use.unit)
	got := fmt.Sprintf("%s: %s mm over all", use.file, mm(over))
	if over >= smallestMesh && over <= largestMesh {
		if over < smallMesh || over > bigMesh {
			b.f.notice(OtherUnit, b.peek("unit"), b.key("unit"), fmt.Sprintf("a mesh of %g to %g mm over all, as most are", smallMesh, bigMesh),
				got, otherUnits(size, use.unit, "look at the unit it was drawn in")+"; if it is right, leave it")
		}
		return true
	}
	b.f.add(b.peek("unit"), b.key("unit"), fmt.Sprintf("a mesh of %g to %g mm over all", smallestMesh, largestMesh), got, otherUnits(size, use.unit, "look at the unit it was drawn in"))
	return false
}

// otherUnits says how large a mesh is in the other units, of those in which it is as large as most.
func otherUnits(size float64, stated, none string) string {
	said := ""
	for _, u := range meshUnits {
		if over := size * u.mm; u.name != stated && over >= smallMesh && over <= bigMesh {
			said += fmt.Sprintf(", if it was drawn in %s it is %s mm", u.name, mm(over))
		}
	}
	if said == "" {
		return none
	}
	return said[2:]
}

// tellOpen notices pieces that may be the faces of one solid: apart, they do not hold what is between them.
func (d *Drawn) tellOpen(b *reader) {
	open := 0
	for i := range d.Pieces {
		if !d.Pieces[i].Closed {
			open++
		}
	}
	if open > 1 {
		b.f.notice(OpenMesh, b.at, b.path, "pieces that each enclose something", fmt.Sprintf("%s: %d of its %d pieces do not close", d.File, open, len(d.Pieces)),
			"if they are faces of one solid, write pieces: together, else nothing holds what is between them; if they are plates, leave it")
	}
}

// placed puts the solids of a mesh where they belong.
func placed(b *reader, d *Drawn, own lengthsFrom) (out []solid.Shape) {
	for i := range d.Pieces {
		p := &d.Pieces[i]
		points := make([]solid.Point, len(p.Points))
		for j, c := range p.Points {
			points[j] = own.at(c.X, c.Y, c.Z)
		}
		s, err := solid.GrownHull(points, p.Grown)
		if err != nil {
			b.f.add(b.at, b.path, "lengths that make a solid", err.Error(), "look at the unit and at at_mm")
			return nil
		}
		out = append(out, s)
	}
	return out
}
