package rig

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"keepclear.example/keepclear/service/internal/solid"
)

// A mesh is an STL file: a bag of triangles without a unit and without a word on what belongs together. It is taken as the
// convex hull of each of its connected pieces, so that every triangle lies inside; hollows of a piece are filled.

// Bounds on a mesh. Choice: a drawing program's coarse export of one part has some thousand facets; the hulls of finer ones
// gain nothing and slow every proof down.
const (
	mostFacets   = 100_000
	mostPieces   = 200
	smallestMesh = 1.0      // mm over all: smaller ones were drawn in metres or inches
	largestMesh  = 20_000.0 // mm over all: as aLength
	stlHeader    = 84       // bytes: 80 of anything, 4 of the number of facets
	largestSTL   = 32 << 20 // bytes: the text form of so many facets takes some 25 MB
	stlFacet     = 50       // bytes: normal and three corners of 3 float32 each, 2 of anything
)

// meshUnits are the units that a mesh may be drawn in, in millimetres. The inch is 25.4 mm exactly (the international yard
// and pound agreement, 1959).
var meshUnits = map[string]float64{"mm": 1, "cm": 10, "m": 1000, "inch": 25.4}

// mesh reads a mesh: its file, its unit, and where its origin lies in the directions of the part's link.
func (p *partsReader) mesh(b *reader, at lengthsFrom) ([]solid.Shape, error) {
	scale := meshUnits[b.word("unit", "mm", "cm", "m", "inch")]
	origin := at
	if b.has("at_mm") {
		origin.origin = place(b, "at_mm", at)
	}
	before := len(b.f.all)
	name, content := opened(b, "file", p.open)
	if name == "" || len(b.f.all) > before || scale == 0 {
		return nil, nil
	}
	p.meshes[name] = content
	if len(content) > largestSTL {
		return nil, fmt.Errorf("%s: %d bytes, want at most %d: export it coarser", name, len(content), largestSTL)
	}
	facets, err := readSTL(content)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if err := plausible(facets, scale); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return pieces(facets, scale, origin)
}

// facet is one triangle, in the file's own unit and directions.
type facet [3]vertex

type vertex [3]float64

// readSTL reads the binary or the text form. They are told apart by size, since binary files may begin with the text form's
// first word: a binary file is exactly 84 + 50·n bytes long.
func readSTL(content []byte) ([]facet, error) {
	if len(content) >= stlHeader {
		n := binary.LittleEndian.Uint32(content[80:])
		if uint64(len(content)) == stlHeader+stlFacet*uint64(n) {
			return readBinarySTL(content[stlHeader:], int(n))
		}
	}
	if bytes.HasPrefix(bytes.TrimLeft(content, " \t\r\n"), []byte("solid")) {
		return readTextSTL(content)
	}
	return nil, fmt.Errorf("%d bytes are neither text that begins with solid nor 84 + 50·n bytes for the n facets that it names: cut off, or no STL", len(content))
}

func readBinarySTL(body []byte, n int) ([]facet, error) {
	if n == 0 || n > mostFacets {
		return nil, fmt.Errorf("%d facets, want 1 to %d: export it coarser", n, mostFacets)
	}
	out := make([]facet, n)
	for i := range out {
		for j := range 3 {
			for k := range 3 {
				v := float64(math.Float32frombits(binary.LittleEndian.Uint32(body[i*stlFacet+12+12*j+4*k:])))
				if math.IsNaN(v) || math.IsInf(v, 0) {
					return nil, fmt.Errorf("facet %d has a corner at %v: damaged", i+1, v)
				}
				out[i][j][k] = v
			}
		}
	}
	return out, nil
}

var errNoEnd = errors.New("no endsolid at its end: cut off")

// readTextSTL reads the vertex lines, three to a facet; all other words are the form's own or names.
func readTextSTL(content []byte) ([]facet, error) {
	var corners []vertex
	last := ""
	lines := bufio.NewScanner(bytes.NewReader(content))
	for n := 1; lines.Scan(); n++ {
		words := strings.Fields(lines.Text())
		if len(words) == 0 {
			continue
		}
		if last = words[0]; last != "vertex" {
			continue
		}
		v, err := textVertex(words)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
		corners = append(corners, v)
	}
	switch {
	case lines.Err() != nil:
		return nil, fmt.Errorf("reading it: %w", lines.Err())
	case last != "endsolid" || len(corners)%3 != 0:
		return nil, errNoEnd
	case len(corners) == 0 || len(corners) > 3*mostFacets:
		return nil, fmt.Errorf("%d facets, want 1 to %d", len(corners)/3, mostFacets)
	}
	out := make([]facet, len(corners)/3)
	for i := range out {
		out[i] = facet(corners[3*i : 3*i+3])
	}
	return out, nil
}

func textVertex(words []string) (v vertex, err error) {
	if len(words) != 4 {
		return v, fmt.Errorf("a vertex of %d numbers, want 3", len(words)-1)
	}
	for k := range 3 {
		v[k], err = strconv.ParseFloat(words[k+1], 64)
		if err != nil || math.IsNaN(v[k]) || math.IsInf(v[k], 0) {
			return v, fmt.Errorf("a vertex at %s, want a number", quote(words[k+1]))
		}
	}
	return v, nil
}

// plausible refuses meshes whose size says that the unit is another.
func plausible(facets []facet, scale float64) error {
	low, high := facets[0][0], facets[0][0]
	for _, f := range facets {
		for _, v := range f {
			for k := range 3 {
				low[k], high[k] = min(low[k], v[k]), max(high[k], v[k])
			}
		}
	}
	over := max(high[0]-low[0], high[1]-low[1], high[2]-low[2]) * scale
	if !(over >= smallestMesh && over <= largestMesh) {
		return fmt.Errorf("%.3g mm over all in the unit stated, want %g to %g: probably another unit", over, smallestMesh, largestMesh)
	}
	return nil
}

// pieces makes the hull of every connected piece. Facets are connected that share a corner, exactly as written; a piece split
// by rounding makes two hulls, which hold its triangles as well.
func pieces(facets []facet, scale float64, at lengthsFrom) ([]solid.Shape, error) {
	corners := connected(facets)
	if len(corners) > mostPieces {
		return nil, fmt.Errorf("%d pieces that share no corner, want at most %d: join them, or export fewer", len(corners), mostPieces)
	}
	var out []solid.Shape
	for _, piece := range corners {
		var points []solid.Point
		for _, v := range piece {
			points = append(points, at.at(v[0]*scale, v[1]*scale, v[2]*scale))
		}
		s, err := solid.Hull(points)
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, nil
}

// connected returns the corners of each connected piece, each corner once, in the order of the file.
func connected(facets []facet) [][]vertex {
	first := map[vertex]int{} // a facet at that corner
	parent := make([]int, len(facets))
	for i, f := range facets {
		parent[i] = i
		for _, v := range f {
			if j, seen := first[v]; seen {
				parent[root(parent, j)] = root(parent, i)
			}
			first[v] = i
		}
	}
	var out [][]vertex
	number, taken := map[int]int{}, map[vertex]bool{}
	for i, f := range facets {
		r := root(parent, i)
		if _, seen := number[r]; !seen {
			number[r], out = len(out), append(out, nil)
		}
		for _, v := range f {
			if !taken[v] {
				taken[v] = true
				out[number[r]] = append(out[number[r]], v)
			}
		}
	}
	return out
}

// root finds the facet that stands for a piece, shortening the way for the next to ask.
func root(parent []int, i int) int {
	for parent[i] != i {
		parent[i] = parent[parent[i]]
		i = parent[i]
	}
	return i
}
