package rig

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"keepclear.example/keepclear/service/internal/mesh"
)

// mostSaid is how many pieces of a mesh are told one by one.
const mostSaid = 8

// sayMeshes says what the meshes were taken as, and what that fills in.
func sayMeshes(r *Rig, b *strings.Builder) {
	if !slices.ContainsFunc(r.Parts, func(p Part) bool { return len(p.Meshes) > 0 }) {
		return
	}
	Say(b, "Meshes, each connected piece taken as its convex hull:")
	for i := range r.Parts {
		for j := range r.Parts[i].Meshes {
			r.Parts[i].Meshes[j].say(b, r.Parts[i].Name)
		}
	}
	Say(b, "")
}

func (d *Drawn) say(b *strings.Builder, part string) {
	Say(b, "  %s: %s, drawn in %s: %s, %s.", part, d.File, d.Unit, count(d.Facets, "facet"), count(len(d.Pieces)+d.Within, "piece"))
	if d.Within > 0 {
		Say(b, "    %s within another and %s nothing.", count(d.Within, "piece lies", "pieces lie"), verb(d.Within, "adds", "add"))
	}
	if d.Flat > 0 {
		Say(b, "    %s no area; what they draw counts.", count(d.Flat, "facet has", "facets have"))
	}
	order := d.byFilling()
	for _, i := range order[:min(len(order), mostSaid)] {
		Say(b, "    Piece %d: %s", i+1, piece(&d.Pieces[i]))
	}
	if more := order[min(len(order), mostSaid):]; len(more) > 0 {
		Say(b, "    And %s, each of which fills in less.", count(len(more), "more piece", "more pieces"))
	}
}

// count writes a number and its noun; the plural is the noun with an s where none is given.
func count(n int, noun string, plural ...string) string {
	switch {
	case n == 1:
		return "1 " + noun
	case len(plural) > 0:
		return fmt.Sprintf("%d %s", n, plural[0])
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

func verb(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// byFilling orders the pieces by how much their hulls fill in, most first; what cannot be told counts as the whole hull.
func (d *Drawn) byFilling() []int {
	order := make([]int, len(d.Pieces))
	filled := func(i int) float64 {
		share, ok := d.Pieces[i].Filled()
		if !ok {
			share = 1
		}
		return share * d.Pieces[i].Hull
	}
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(filled(j), filled(i)) })
	return order
}

// piece says what a piece was taken as.
func piece(p *mesh.Piece) string {
	size := p.High.Sub(p.Low)
	s := fmt.Sprintf("%s × %s × %s, hull of %s", mm(size.X), mm(size.Y), mm(size.Z), count(len(p.Points), "point"))
	const told = 0.005 // mm: what rounds to 0.01
	if p.Grown >= told {
		s += fmt.Sprintf(" grown by %.2f", p.Grown)
	}
	share, ok := p.Filled()
	switch {
	case p.Hull == 0:
		s += "; flat"
	case !ok:
		s += "; its surface is open, or its facets face both ways: what the hull fills in cannot be told"
	case share < 0.005:
		s += "; nothing filled in"
	default:
		s += fmt.Sprintf("; the hull fills in %.0f %%", 100*share)
	}
	if p.Volume < 0 {
		s += "; its facets face inward, which is the same to a hull"
	}
	if share >= hollow {
		s += "; what has to pass through there needs the piece drawn as several that share no corner"
	}
	return s + "."
}

// mostFilled is the largest share that the hulls of a part's meshes fill in.
func (p *Part) mostFilled() (most float64) {
	for i := range p.Meshes {
		for j := range p.Meshes[i].Pieces {
			share, _ := p.Meshes[i].Pieces[j].Filled()
			most = max(most, share)
		}
	}
	return most
}
