package mesh_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/mesh"
)

// The box of the checks: 10 × 20 × 30, 12 facets, 684 bytes, volume 6000 exactly, one part: admesh 0.98.4 reads all three forms so.
func TestTheBoxInEachForm(t *testing.T) {
	facets := box(at(0, 0, 0), 10, 20, 30)
	whole := binarySTL("", facets)
	require.Len(t, whole, 684)
	for name, content := range map[string][]byte{
		"binary":                      whole,
		"binary that begins as text":  binarySTL("solid box", facets),
		"binary whose name is a text": binarySTL("solid box\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\n", facets),
		"text":                        textSTL(facets),
		"text in capitals":            bytes.ToUpper(bytes.ReplaceAll(textSTL(facets), []byte("nan"), []byte("0"))),
		"text with lines of Windows":  bytes.ReplaceAll(textSTL(facets), []byte("\n"), []byte("\r\n")),
		"two texts in one":            append(textSTL(facets[:5]), textSTL(facets[5:])...),
	} {
		m, err := mesh.Read(content)
		require.NoError(t, err, name)
		all, flat := m.Facets()
		assert.Equal(t, 12, all, name)
		assert.Equal(t, 0, flat, name)
		assert.InDelta(t, 30, m.Size(), 1e-12, name)
		w, err := m.Wrap(1, false)
		require.NoError(t, err, name)
		require.Len(t, w.Pieces, 1, name)
		p := w.Pieces[0]
		assert.True(t, p.Closed, name)
		assert.InDelta(t, 6000, p.Volume, 1e-9, name)
		assert.InDelta(t, 6000, p.Hull, 1e-9, name)
		assert.InDelta(t, 2200, p.Skin, 1e-9, name)
		assert.Len(t, p.Points, 8, name)
		assert.Less(t, p.Grown, 1e-3, name)
	}
}

func TestReversedAndOtherUnits(t *testing.T) {
	p := wrapped(t, reversed(box(at(0, 0, 0), 10, 20, 30)), 1, false).Pieces[0]
	assert.InDelta(t, -6000, p.Volume, 1e-9, "facing inward")
	assert.InDelta(t, 6000, p.Hull, 1e-9, "the hull does not mind")
	share, ok := p.Filled()
	assert.True(t, ok)
	assert.InDelta(t, 0, share, 1e-4)
	p = wrapped(t, box(at(0, 0, 0), .01, .02, .03), 1, false).Pieces[0]
	assert.InDelta(t, 6e-6, p.Volume, 1e-18, "metres read as millimetres")
	p = wrapped(t, box(at(0, 0, 0), .01, .02, .03), 1000, false).Pieces[0]
	assert.InDelta(t, 6000, p.Volume, 1e-9, "metres")
	m, err := mesh.Read(textSTL(box(at(0, 0, 0), .01, .02, .03)))
	require.NoError(t, err)
	assert.InDelta(t, 0.03, m.Size(), 1e-15)
}

// withNumber is the whole file with a float32 at a byte.
func withNumber(whole []byte, at int, v float64) []byte {
	out := bytes.Clone(whole)
	binary.LittleEndian.PutUint32(out[at:], math.Float32bits(float32(v)))
	return out
}

func TestDamagedFiles(t *testing.T) {
	facets := box(at(0, 0, 0), 10, 20, 30)
	whole, text := binarySTL("", facets), string(textSTL(facets))
	line := facet{at(0, 0, 0), at(1, 1, 1), at(3, 3, 3)}
	wrongCount := bytes.Clone(whole)
	wrongCount[80] = 11
	for name, c := range map[string]struct {
		content string
		says    string
	}{
		"nothing":               {"", "0 bytes: neither a text that begins with solid nor the 84 bytes"},
		"no mesh":               {strings.Repeat("%PDF ", 40), "byte 80: 1178882085 facets named in 200 bytes: no STL, or damaged"},
		"cut in a facet":        {string(whole[:684-1]), "facet 12, byte 634: cut short: 683 bytes, where its 12 facets take 684"},
		"cut between facets":    {string(whole[:684-100]), "facet 11, byte 584: cut short"},
		"cut in the head":       {string(whole[:83]), "83 bytes: neither"},
		"bytes behind":          {string(whole) + "x", "byte 684: 1 bytes behind the last of its 12 facets"},
		"wrong count":           {string(wrongCount), "byte 634: 50 bytes behind the last of its 11 facets"},
		"solid, binary and cut": {string(binarySTL("solid box", facets)[:600]), "facet 11, byte 584: cut short"},
		"no facets":             {string(binarySTL("", nil)), "0 facets, want 1 to 1000000"},
		"not a number":          {string(withNumber(whole, 84+50+12+4, math.NaN())), "facet 2, byte 146: a corner at (0, NaN, 0)"},
		"infinite":              {string(withNumber(whole, 84+12, math.Inf(-1))), "facet 1, byte 96: a corner at (-Inf, 0, 0)"},
		"too far":               {string(withNumber(whole, 84+12, 2e9)), "facet 1, byte 96: a corner at (2e+09, 0, 0), want numbers within ±1e+09"},
		"all without area":      {string(binarySTL("", []facet{line, line, {}})), "none of its 3 facets has an area"},
		"text cut in a number":  {text[:strings.LastIndex(text, "30")+1], "line 83: the text ends after 11 whole facets, want the word endloop: cut short"},
		"text without its end":  {strings.Split(text, "endsolid")[0], "line 86: the text ends after 12 whole facets, want the word facet or endsolid: cut short"},
		"text cut in a facet":   {strings.Join(strings.Split(text, "\n")[:20], "\n"), "line 20: the text ends after 2 whole facets, want the word endloop: cut short"},
		"more behind the text":  {text + "more\n", `facet 13, line 87: want nothing more, or the word solid, got "more"`},
		"two corners":           {strings.Replace(text, "      vertex 10 20 0\n", "", 1), `want the word vertex, got "endloop"`},
		"four corners":          {strings.Replace(text, "    endloop", "vertex 1 2 3\n    endloop", 1), `facet 1, line 7: want the word endloop, got "vertex"`},
		"two numbers":           {strings.Replace(text, "vertex 10 20 0\n", "vertex 10 20\n", 1), `facet 1, line 7: want a number within ±1e+09, got "endloop"`},
		"words for numbers":     {strings.Replace(text, "vertex 0 0 0", "vertex 0 a 0", 1), `facet 1, line 4: want a number within ±1e+09, got "a"`},
		"nan in a text":         {strings.Replace(text, "vertex 0 0 0", "vertex nan 0 0", 1), `facet 1, line 4: want a number within ±1e+09, got "nan"`},
		"infinite in a text":    {strings.Replace(text, "vertex 0 0 0", "vertex 0 0 1e999", 1), `got "1e999"`},
		"infinity in a text":    {strings.Replace(text, "vertex 0 0 0", "vertex 0 0 -Inf", 1), `got "-Inf"`},
		"hexadecimal":           {strings.Replace(text, "vertex 0 0 0", "vertex 0 0 0x10", 1), `got "0x10"`},
		"decimal commas":        {strings.Replace(text, "vertex 0 0 0", "vertex 0,5 0 0", 1), `want a number with a point, not a comma, got "0,5"`},
		"text of no facets":     {"solid x\nendsolid x\n", "0 facets"},
		"a long word":           {"solid x\n" + strings.Repeat("y", 1000), `got "` + strings.Repeat("y", 40) + `"`},
	} {
		m, err := mesh.Read([]byte(c.content))
		require.Nil(t, m, name)
		require.ErrorIs(t, err, mesh.ErrMesh, name)
		assert.Contains(t, err.Error(), c.says, name)
		assert.NotContains(t, err.Error(), "\n", name)
		var f mesh.Fault
		require.True(t, errors.As(err, &f), name)
		assert.NotEmpty(t, f.Remedy, name)
	}
}

// Whatever is missing at the end of a file is noticed.
func TestCutAnywhere(t *testing.T) {
	facets := box(at(0, 0, 0), 10, 20, 30)
	whole, text := binarySTL("solid", facets), textSTL(facets)
	for cut := range whole {
		_, err := mesh.Read(whole[:cut])
		require.ErrorIs(t, err, mesh.ErrMesh, "%d bytes", cut)
	}
	for cut := range len(text) - len("a name of some words\n") - 1 { // then endsolid stands there
		_, err := mesh.Read(text[:cut])
		require.ErrorIs(t, err, mesh.ErrMesh, "%d letters", cut)
	}
}

func TestTooManyFacets(t *testing.T) {
	many := make([]byte, 84+50*(mesh.MostFacets+1))
	binary.LittleEndian.PutUint32(many[80:], mesh.MostFacets+1)
	_, err := mesh.Read(many)
	assert.ErrorContains(t, err, "1000001 facets, want 1 to 1000000")
	_, err = mesh.Read(make([]byte, mesh.LargestFile+1))
	assert.ErrorContains(t, err, "268435457 bytes, want at most 268435456")
}

// Facets without area are ordinary among others: they are counted, and what they draw counts.
func TestFacetsWithoutArea(t *testing.T) {
	facets := append(box(at(0, 0, 0), 10, 20, 30), facet{at(0, 0, 0), at(0, 0, 0), at(10, 0, 0)}, facet{at(0, 0, 0), at(-5, 0, 0), at(-15, 0, 0)})
	m, err := mesh.Read(binarySTL("", facets))
	require.NoError(t, err)
	all, flat := m.Facets()
	assert.Equal(t, [2]int{14, 2}, [2]int{all, flat})
	p := wrapped(t, facets, 1, false).Pieces[0]
	assert.InDelta(t, -15, p.Low.X, 0)
	assert.InDelta(t, 15, reach(p.Points, at(-1, 0, 0)), p.Grown, "a line that sticks out is held")
	assert.False(t, p.Closed, "the line has an end")
}

func FuzzRead(f *testing.F) {
	facets := box(at(0, 0, 0), 10, 20, 30)
	for _, content := range [][]byte{
		binarySTL("", facets), binarySTL("solid", facets), textSTL(facets), textSTL(facets)[:300], binarySTL("", facets)[:300], nil,
		binarySTL("", append(facets, moved(facets, at(50, 0, 0))...)), binarySTL("", cloud(newMaker(1, 1).points(4, 9))),
		[]byte("solid\nfacet normal 0 0 0 outer loop vertex 1e9 0 0 vertex -1e9 0 1e-300 vertex 0 1 0 endloop endfacet\nendsolid\n"),
		withNumber(binarySTL("", facets), 96, math.NaN()), withNumber(binarySTL("", facets), 96, 1e-45), bytes.ReplaceAll(textSTL(facets), []byte("10"), []byte("-1e-320")),
	} {
		f.Add(content, false)
		f.Add(content, true)
	}
	f.Fuzz(func(t *testing.T, content []byte, together bool) {
		m, err := mesh.Read(content)
		if err != nil {
			require.ErrorIs(t, err, mesh.ErrMesh)
			return
		}
		w, err := m.Wrap(1, together)
		if err != nil {
			require.ErrorIs(t, err, mesh.ErrMesh)
			return
		}
		r := newMaker(3, 3)
		for _, p := range w.Pieces {
			require.True(t, p.Grown >= 0 && p.Hull >= 0 && !math.IsInf(p.Grown, 0) && !math.IsNaN(p.Volume), "%+v", p)
			share, _ := p.Filled()
			require.True(t, share >= 0 && share <= 1)
			for range 20 {
				u := r.dir()
				for _, v := range [3]mesh.Corner{u, at(1, 0, 0), at(0, 0, -1)} {
					corner := at(pick(v.X > 0, p.High.X, p.Low.X), pick(v.Y > 0, p.High.Y, p.Low.Y), pick(v.Z > 0, p.High.Z, p.Low.Z))
					require.LessOrEqual(t, reach(p.Points, v), corner.Dot(v)*(1+1e-12)+1e-9, "no point was made up")
				}
			}
			for _, axis := range [3]mesh.Corner{at(1, 0, 0), at(0, 1, 0), at(0, 0, 1)} {
				require.GreaterOrEqual(t, reach(p.Points, axis)+p.Grown, p.High.Dot(axis))
				require.GreaterOrEqual(t, reach(p.Points, axis.Scale(-1))+p.Grown, -p.Low.Dot(axis))
			}
		}
	})
}

func pick(first bool, a, b float64) float64 {
	if first {
		return a
	}
	return b
}
