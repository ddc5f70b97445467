package rig_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/solid"
)

// boxFacets returns the 12 facets of a box of 10 × 20 × 30 with a corner at an offset, times a scale.
func boxFacets(offset, scale float64) (out [][3][3]float64) {
	v := func(i int) [3]float64 {
		return [3]float64{(offset + 10*float64(i&1)) * scale, 20 * float64(i>>1&1) * scale, 30 * float64(i>>2&1) * scale}
	}
	for _, f := range [][4]int{{0, 1, 3, 2}, {4, 6, 7, 5}, {0, 4, 5, 1}, {2, 3, 7, 6}, {0, 2, 6, 4}, {1, 5, 7, 3}} {
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

// withMesh parses the demo's rig with one part made of a mesh, standing on the floor to the north.
func withMesh(t *testing.T, unit string, content []byte) (*rig.Rig, []rig.Fault) {
	t.Helper()
	in, _ := changed(t, heronText(t), "has_no:", "parts: [{name: box, fixed_to: ground, shapes: [{mesh: {file: box.stl, unit: "+unit+", at_mm: [0, 2000, 0]}}]}]\nhas_no:")
	return rig.Parse("heron.yaml", []byte(in), func(string) ([]byte, error) { return content, nil })
}

func TestMeshesBecomeHulls(t *testing.T) {
	for name, c := range map[string]struct {
		unit    string
		content []byte
	}{
		"binary":                 {"mm", binarySTL("", boxFacets(0, 1))},
		"binary that says solid": {"mm", binarySTL("solid box", boxFacets(0, 1))},
		"text":                   {"mm", textSTL(boxFacets(0, 1))},
		"metres":                 {"m", textSTL(boxFacets(0, 1e-3))},
	} {
		r, faults := withMesh(t, c.unit, c.content)
		require.Empty(t, faults, "%s: %s", name, lines(faults))
		box := part(t, r, "box")
		require.Len(t, box.Shapes, 1, name)
		assert.Equal(t, solid.HullKind, box.Shapes[0].Kind())
		low, high := box.Shapes[0].Bounds()
		near(t, solid.Point{Y: 2000}, low, name)
		near(t, solid.Point{X: 10, Y: 2020, Z: 30}, high, name)
	}
	r, faults := withMesh(t, "mm", binarySTL("", append(boxFacets(0, 1), boxFacets(50, 1)...)))
	require.Empty(t, faults)
	assert.Len(t, part(t, r, "box").Shapes, 2, "two pieces, two hulls")
}

func TestMeshesChangeTheDigest(t *testing.T) {
	a, _ := withMesh(t, "mm", textSTL(boxFacets(0, 1)))
	b, _ := withMesh(t, "mm", textSTL(boxFacets(1, 1)))
	assert.NotEqual(t, a.Digest, b.Digest)
}

func TestDamagedMeshesAreFaults(t *testing.T) {
	whole := binarySTL("", boxFacets(0, 1))
	nan := bytes.Clone(whole)
	binary.LittleEndian.PutUint32(nan[84+12:], math.Float32bits(float32(math.NaN())))
	flat := [][3][3]float64{{{0, 0, 0}, {0, 0, 0}, {0, 0, 0}}}
	for name, c := range map[string]struct {
		content  []byte
		sentence string
	}{
		"cut":            {whole[:len(whole)-1], "cut off, or no STL"},
		"empty":          {nil, "cut off, or no STL"},
		"not a number":   {nan, "facet 1 has a corner at NaN"},
		"metres":         {binarySTL("", boxFacets(0, 1e-3)), "0.03 mm over all in the unit stated"},
		"microns":        {binarySTL("", boxFacets(0, 1e3)), "3e+04 mm over all in the unit stated"},
		"a point":        {binarySTL("", flat), "0 mm over all"},
		"no facets":      {binarySTL("", nil), "0 facets"},
		"text cut":       {textSTL(boxFacets(0, 1))[:400], "no endsolid at its end"},
		"text of words":  {[]byte("solid x\nvertex a b c\nendsolid x\n"), `line 2: a vertex at "a", want a number`},
		"text with nan":  {[]byte("solid x\nvertex nan 0 0\nendsolid x\n"), `a vertex at "nan"`},
		"text of no use": {[]byte("solid x\nendsolid x\n"), "0 facets, want 1 to 100000"},
	} {
		r, faults := withMesh(t, "mm", c.content)
		require.Nil(t, r, name)
		require.Len(t, faults, 1, "%s: %s", name, lines(faults))
		assert.Equal(t, "parts.1.shapes.1.mesh", faults[0].Key)
		assert.Contains(t, faults[0].Got, c.sentence, name)
	}
	for cut := 0; cut < len(whole); cut += 64 {
		r, faults := withMesh(t, "mm", whole[:cut])
		require.Nil(t, r)
		require.NotEmpty(t, faults)
	}
}
