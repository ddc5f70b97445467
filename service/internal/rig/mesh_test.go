package rig_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io/fs"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
)

// boxFacets returns the 12 facets, facing outward, of a box of 10 × 20 × 30 with a corner at an offset, times a scale.
func boxFacets(offset, scale float64) (out [][3][3]float64) {
	v := func(i int) [3]float64 {
		return [3]float64{(offset + 10*float64(i&1)) * scale, 20 * float64(i>>1&1) * scale, 30 * float64(i>>2&1) * scale}
	}
	for _, f := range [][4]int{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}} {
		out = append(out, [3][3]float64{v(f[0]), v(f[1]), v(f[2])}, [3][3]float64{v(f[0]), v(f[2]), v(f[3])})
	}
	return out
}

func binarySTL(header string, facets [][3][3]float64) []byte {
	var b bytes.Buffer
	b.WriteString(header + strings.Repeat(" ", 80-len(header)))
	binary.Write(&b, binary.LittleEndian, uint32(len(facets)))
	for _, f := range facets {
		b.Write(make([]byte, 12))
		for _, v := range f {
			binary.Write(&b, binary.LittleEndian, [3]float32{float32(v[0]), float32(v[1]), float32(v[2])})
		}
		b.Write(make([]byte, 2))
	}
	return b.Bytes()
}

func textSTL(facets [][3][3]float64) []byte {
	var b strings.Builder
	b.WriteString("solid box\n")
	for _, f := range facets {
		b.WriteString(" facet normal 0 0 0\n  outer loop\n")
		for _, v := range f {
			fmt.Fprintf(&b, "   vertex %g %g %g\n", v[0], v[1], v[2])
		}
		b.WriteString("  endloop\n endfacet\n")
	}
	b.WriteString("endsolid box\n")
	return []byte(b.String())
}

// meshed parses the demo's rig with one part made of a mesh, standing on the floor to the north; more is further keys of the mesh.
func meshed(t *testing.T, more string, content []byte) (*rig.Rig, []rig.Fault) {
	t.Helper()
	return parsedWith(t, "[{mesh: {file: box.stl, at_mm: [0, 2000, 0], "+more+"}}]", func(string) ([]byte, error) { return content, nil })
}

func parsedWith(t *testing.T, shapes string, open rig.Opener) (*rig.Rig, []rig.Fault) {
	t.Helper()
	in, _ := changed(t, heronText(t), "has_no:", "parts: [{name: box, fixed_to: ground, shapes: "+shapes+"}]\nhas_no:")
	return rig.Parse("heron.yaml", []byte(in), open)
}

// apart is many boxes of 100 in a row, 150 apart.
func apart(n int) (out [][3][3]float64) {
	for i := range n {
		out = append(out, boxFacets(15*float64(i), 10)...)
	}
	return out
}

func TestMeshesBecomeHulls(t *testing.T) {
	for name, c := range map[string]struct {
		more    string
		content []byte
	}{
		"binary":                 {"unit: mm", binarySTL("", boxFacets(0, 1))},
		"binary that says solid": {"unit: mm", binarySTL("solid box", boxFacets(0, 1))},
		"text":                   {"unit: mm", textSTL(boxFacets(0, 1))},
		"metres":                 {"unit: m", textSTL(boxFacets(0, 1e-3))},
		"centimetres":            {"unit: cm", textSTL(boxFacets(0, 0.1))},
		"inches":                 {"unit: inch", textSTL(boxFacets(0, 1/25.4))},
		"together":               {"unit: mm, pieces: together", textSTL(boxFacets(0, 1))},
		"turned all round":       {"unit: mm, turned_deg: [360, -360, 0]", textSTL(boxFacets(0, 1))},
	} {
		r, faults := meshed(t, c.more, c.content)
		require.Empty(t, faults, "%s: %s", name, lines(faults))
		box := part(t, r, "box")
		require.Len(t, box.Shapes, 1, name)
		assert.Equal(t, solid.HullKind, box.Shapes[0].Kind())
		low, high := box.Shapes[0].Bounds()
		const grown = 1e-3 // mm: nothing was left out but what rounds to a step of the grid
		within(t, solid.Point{Y: 2000}, low, grown, name)
		within(t, solid.Point{X: 10, Y: 2020, Z: 30}, high, grown, name)
	}
	two := binarySTL("", apart(2))
	r, faults := meshed(t, "unit: mm", two)
	require.Empty(t, faults)
	assert.Len(t, part(t, r, "box").Shapes, 2, "two pieces, two hulls")
	r, faults = meshed(t, "unit: mm, pieces: together", two)
	require.Empty(t, faults)
	require.Len(t, part(t, r, "box").Shapes, 1)
	low, high := part(t, r, "box").Shapes[0].Bounds()
	within(t, solid.Point{X: 250, Y: 200, Z: 300}, high.Sub(low), 0.01, "both")
}

func within(t *testing.T, want, got solid.Point, tol float64, what string) {
	t.Helper()
	assert.Less(t, got.Sub(want).Norm(), tol, "%s: got %v, want %v", what, got, want)
}

// About the first direction, then the second, then the third, each by the right hand; one angle alone is about the third.
func TestMeshesAreTurned(t *testing.T) {
	for more, want := range map[string][2]solid.Point{ // of the box of 10 × 20 × 30 with a corner at the origin
		"turned_deg: [90, 0, 0]":   {{Y: -30}, {X: 10, Z: 20}},
		"turned_deg: [0, 90, 0]":   {{Z: -10}, {X: 30, Y: 20}},
		"turned_deg: [0, 0, 90]":   {{X: -20}, {Y: 10, Z: 30}},
		"turned_deg: 90":           {{X: -20}, {Y: 10, Z: 30}},
		"turned_deg: [90, 0, 90]":  {{}, {X: 30, Y: 10, Z: 20}},
		"turned_deg: [90, 90, 0]":  {{Y: -30, Z: -10}, {X: 20}},
		"turned_deg: [0, 90, -90]": {{Y: -30, Z: -10}, {X: 20}},
	} {
		r, faults := meshed(t, "unit: mm, "+more, textSTL(boxFacets(0, 1)))
		require.Empty(t, faults, "%s: %s", more, lines(faults))
		low, high := part(t, r, "box").Shapes[0].Bounds()
		north := solid.Point{Y: 2000}
		within(t, want[0].Add(north), low, 1e-3, more+": least")
		within(t, want[1].Add(north), high, 1e-3, more+": most")
	}
}

func TestMeshesChangeTheDigest(t *testing.T) {
	a, _ := meshed(t, "unit: mm", textSTL(boxFacets(0, 1)))
	b, _ := meshed(t, "unit: mm", textSTL(boxFacets(1, 1)))
	assert.NotEqual(t, a.Digest, b.Digest)
	c, _ := meshed(t, "unit: cm", textSTL(boxFacets(0, 1)))
	assert.NotEqual(t, a.Digest, c.Digest)
}

// The vectors of row 9 of the faults: each is refused with its place, and nothing of the rig is taken.
func TestDamagedMeshesAreFaults(t *testing.T) {
	whole := binarySTL("", boxFacets(0, 1))
	nan := bytes.Clone(whole)
	binary.LittleEndian.PutUint32(nan[84+12:], math.Float32bits(float32(math.NaN())))
	flat := [][3][3]float64{{{0, 0, 0}, {0, 0, 0}, {0, 0, 0}}}
	for name, c := range map[string]struct {
		content             []byte
		key, sentence, says string
	}{
		"cut":            {whole[:len(whole)-1], "file", "box.stl: facet 12, byte 634: cut short", "export or copy it again"},
		"cut, says so":   {binarySTL("solid", boxFacets(0, 1))[:600], "file", "facet 11, byte 584: cut short", "export or copy it again"},
		"more":           {append(bytes.Clone(whole), 0), "file", "byte 684: 1 bytes behind the last", "export or copy it again"},
		"empty":          {nil, "file", "0 bytes: neither a text", "export or copy it again"},
		"not a number":   {nan, "file", "facet 1, byte 96: a corner at (NaN, 0, 0)", "export or copy it again"},
		"metres":         {binarySTL("", boxFacets(0, 1e-2)), "unit", "0.3 mm over all", "if it was drawn in m it is 300 mm"},
		"microns":        {binarySTL("", boxFacets(0, 1e3)), "unit", "box.stl: 30000 mm over all", "look at the unit"},
		"a point":        {binarySTL("", flat), "file", "none of its 1 facets has an area", "export"},
		"no facets":      {binarySTL("", nil), "file", "0 facets, want 1 to 1000000", "export"},
		"text cut":       {textSTL(boxFacets(0, 1))[:400], "file", `facet 4, line 27: want the word vertex, got "ver"`, "export"},
		"text of words":  {[]byte("solid x\nfacet normal 0 0 1\nouter loop\nvertex a b c\n"), "file", `facet 1, line 4: want a number within ±1e+09, got "a"`, "export"},
		"text of no use": {[]byte("solid x\nendsolid x\n"), "file", "0 facets", "export"},
		"a soup":         {binarySTL("", apart(65)), "file", "65 pieces that share no corner, want at most 64", "pieces: together"},
	} {
		r, faults := meshed(t, "unit: mm", c.content)
		require.Nil(t, r, name)
		require.Len(t, faults, 1, "%s: %s", name, lines(faults))
		assert.Equal(t, "parts.1.shapes.1.mesh."+c.key, faults[0].Key, name)
		assert.Contains(t, faults[0].Got, c.sentence, name)
		assert.Contains(t, faults[0].Remedy, c.says, name)
		assert.Positive(t, faults[0].Line, name)
	}
	for cut := 0; cut < len(whole); cut += 64 {
		r, faults := meshed(t, "unit: mm", whole[:cut])
		require.Nil(t, r)
		require.NotEmpty(t, faults)
	}
}

// A size that looks like another unit is lawful and told.
func TestMeshesThatLookLikeAnotherUnit(t *testing.T) {
	for name, c := range map[string]struct {
		unit         string
		scale        float64 // of a box 30 over all
		says, remedy string
	}{
		"inches read as mm":  {"mm", 14.0 / 30, "14 mm over all", "if it was drawn in cm it is 140 mm, if it was drawn in inch it is 356 mm; if it is right, leave it"},
		"mm read as inches":  {"inch", 10, "7620 mm over all", "if it was drawn in mm it is 300 mm, if it was drawn in cm it is 3000 mm"},
		"mm read as cm":      {"cm", 20, "6000 mm over all", "if it was drawn in mm it is 600 mm"},
		"a room":             {"m", 0.1, "3000 mm over all", ""},
		"as most things are": {"mm", 10, "", ""},
	} {
		r, faults := meshed(t, "unit: "+c.unit, textSTL(boxFacets(0, c.scale)))
		require.Empty(t, faults, "%s: %s", name, lines(faults))
		var told []rig.Find
		for _, n := range r.Notices {
			if n.Key == "parts.1.shapes.1.mesh.unit" {
				told = append(told, n)
			}
		}
		if c.remedy == "" {
			assert.Empty(t, told, name)
			continue
		}
		require.Len(t, told, 1, name)
		assert.Contains(t, told[0].Words, c.says, name)
		assert.Contains(t, told[0].Remedy, c.remedy, name)
	}
}

// A mesh is named by a bare name, and its unit always.
func TestMeshesAreNamed(t *testing.T) {
	open := func(name string) ([]byte, error) {
		if name == "box.stl" {
			return textSTL(boxFacets(0, 1)), nil
		}
		return nil, fs.ErrNotExist
	}
	for mesh, c := range map[string]struct{ key, got string }{
		"file: ../box.stl, unit: mm":                  {"file", `"../box.stl"`},
		"file: /etc/passwd, unit: mm":                 {"file", `"/etc/passwd"`},
		"file: .., unit: mm":                          {"file", `".."`},
		"file: sub/box.stl, unit: mm":                 {"file", `"sub/box.stl"`},
		"file: [box.stl], unit: mm":                   {"file", "a list"},
		"file: other.stl, unit: mm":                   {"file", "file does not exist"},
		"unit: mm":                                    {"file", "nothing"},
		"file: box.stl":                               {"unit", "nothing"},
		"file: box.stl, unit: feet":                   {"unit", `"feet"`},
		"file: box.stl, unit: mm, pieces: many":       {"pieces", `"many"`},
		"file: box.stl, unit: mm, scale: 2":           {"scale", `"scale"`},
		"file: box.stl, unit: mm, turned_deg: [1]":    {"turned_deg", "a list of 1"},
		"file: box.stl, unit: mm, turned_deg: 361":    {"turned_deg", "361"},
		"file: box.stl, unit: mm, at_mm: [0, 0, 9e9]": {"at_mm.3", "9e9"},
	} {
		r, faults := parsedWith(t, "[{mesh: {"+mesh+"}}]", open)
		require.Nil(t, r, mesh)
		require.Len(t, faults, 1, "%s: %s", mesh, lines(faults))
		assert.Equal(t, "parts.1.shapes.1.mesh."+c.key, faults[0].Key, mesh)
		assert.Contains(t, faults[0].Got, c.got, mesh)
		assert.NotEmpty(t, faults[0].Remedy, mesh)
	}
	r, faults := parsedWith(t, "[{mesh: {file: box.stl, unit: mm}}]", nil)
	require.Nil(t, r)
	require.Len(t, faults, 1)
	assert.Contains(t, faults[0].Wanted, "no other file can be read here")
}

// One file in several places is read once for each unit; one that changes meanwhile is a fault.
func TestOneMeshInSeveralPlaces(t *testing.T) {
	shapes := "[{mesh: {file: leg.stl, unit: mm, at_mm: [0, 2000, 0]}}, {mesh: {file: leg.stl, unit: mm, at_mm: [0, 3000, 0], turned_deg: 90}}]"
	r, faults := parsedWith(t, shapes, func(string) ([]byte, error) { return binarySTL("", boxFacets(0, 10)), nil })
	require.Empty(t, faults, lines(faults))
	box := part(t, r, "box")
	require.Len(t, box.Shapes, 2)
	require.Len(t, box.Meshes, 2)
	low, _ := box.Shapes[1].Bounds()
	within(t, solid.Point{X: -200, Y: 3000}, low, 0.01, "the second")
	calls := 0
	r, faults = parsedWith(t, shapes, func(string) ([]byte, error) { calls++; return binarySTL("", boxFacets(float64(calls), 10)), nil })
	require.Nil(t, r)
	require.Len(t, faults, 1, lines(faults))
	assert.Contains(t, faults[0].Got, "leg.stl: changed while it was read")
}

func TestMeshesAreUnderstood(t *testing.T) {
	open := boxFacets(0, 10)[:10]
	reversed := boxFacets(15, 10)
	for i, f := range reversed {
		reversed[i] = [3][3]float64{f[0], f[2], f[1]}
	}
	l := append(boxFacets(40, 10), boxFacets(50, 10)...) // two that share an edge: one piece, in the hull of which nothing is open
	r, faults := meshed(t, "unit: mm", binarySTL("", append(append(open, reversed...), l...)))
	require.Empty(t, faults, lines(faults))
	text := strings.Join(strings.Fields(rig.Understood(r)), " ")
	for _, want := range []string{
		"Meshes, each connected piece taken as its convex hull:",
		"box: box.stl, drawn in mm: 46 facets, 3 pieces.",
		"Piece 1: 100 × 200 × 300, hull of 8 points; its surface is open, or its facets face both ways: what the hull fills in cannot be told.",
		"Piece 2: 100 × 200 × 300, hull of 8 points; nothing filled in; its facets face inward, which is the same to a hull.",
		"Piece 3: 200 × 200 × 300, hull of 8 points; nothing filled in.",
	} {
		assert.Contains(t, text, want)
	}
	hole := append(boxFacets(0, 10), boxFacets(0, 10)...)
	for i := 12; i < 24; i++ { // an L: the second box lies beside and above
		for j := range hole[i] {
			hole[i][j][0] += 100
			hole[i][j][2] += 300
		}
	}
	r, faults = meshed(t, "unit: mm", binarySTL("", hole))
	require.Empty(t, faults, lines(faults))
	assert.Contains(t, strings.Join(strings.Fields(rig.Understood(r)), " "), "the hull fills in 33 %; what has to pass through there needs the piece drawn as several that share no corner.")
	assert.NotContains(t, rig.Understood(heron(t)), "Meshes")
}

// Faces that share no corner enclose something only together.
func TestOpenPiecesAreNoticed(t *testing.T) {
	var faces [][3][3]float64
	for i, f := range boxFacets(0, 10) {
		for j := range f {
			f[j][0] += 1e-3 * float64(i/2) // each face a little off, as rounding leaves it
		}
		faces = append(faces, f)
	}
	r, faults := meshed(t, "unit: mm", textSTL(faces))
	require.Empty(t, faults, lines(faults))
	assert.Contains(t, lines(r.Notices), "box.stl: 6 of its 6 pieces do not close; if they are faces of one solid, write pieces: together")
	r, faults = meshed(t, "unit: mm, pieces: together", textSTL(faces))
	require.Empty(t, faults, lines(faults))
	assert.NotContains(t, lines(r.Notices), "do not close")
}
