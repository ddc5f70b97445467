package rig

import (
	"bytes"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// sameTree holds what the plain reader makes of a file against what the library's does; it tells whether the plain one read it.
func sameTree(t require.TestingT, content []byte) bool {
	got := readPlain("a.yaml", content)
	if got == nil {
		return false
	}
	var f faults
	want := readAny(&node{file: "a.yaml", kind: nothing}, content, &f)
	require.Empty(t, f.all, "%s", content)
	require.Equal(t, want, got, "%s", content)
	return true
}

// plainSeeds are the files that come with the project, and forms.
func plainSeeds(t testing.TB) map[string][]byte {
	out := map[string][]byte{}
	for _, pattern := range []string{"../../../testdata/rigs/*.yaml", "../practice/*.yaml", "../../../policies/limits/*.yaml", "../season/*.yaml"} {
		names, err := filepath.Glob(pattern)
		require.NoError(t, err)
		require.NotEmpty(t, names, pattern)
		for _, name := range names {
			content, err := os.ReadFile(name)
			require.NoError(t, err)
			out[name] = content
		}
	}
	for _, k := range []Kind{German, Fork, AltAzimuth} {
		out["blank "+string(k)] = []byte(Blank(k))
	}
	return out
}

// The plain reader makes of a file what the library does, or leaves it alone; what it leaves alone of whole files is known.
func TestPlainIsWhatTheLibraryReads(t *testing.T) {
	t.Parallel()
	require.True(t, sameTree(t, plainSeeds(t)["../practice/heron.yaml"]), "the file of the practice rig is plain")
	lot := rand.New(rand.NewPCG(5, 13))
	read := 0
	for name, whole := range plainSeeds(t) {
		sameTree(t, whole)
		lines := bytes.SplitAfter(whole, []byte("\n"))
		for range 400 {
			if sameTree(t, damaged(lot, lines)) {
				read++
			}
		}
		if t.Failed() {
			t.Fatal(name)
		}
	}
	assert.Greater(t, read, 200, "damaged files that the plain reader reads")
}

// damaged is a file in which a few things are otherwise.
func damaged(lot *rand.Rand, lines [][]byte) []byte {
	from := lot.IntN(len(lines))
	part := bytes.Join(lines[from:from+lot.IntN(min(30, len(lines)-from))], nil)
	for range 1 + lot.IntN(2) {
		at := lot.IntN(len(part) + 1)
		bit := plainBits[lot.IntN(len(plainBits))]
		cut := at + lot.IntN(min(3, len(part)-at+1))
		part = append(append(append([]byte(nil), part[:at]...), bit...), part[cut:]...)
	}
	return part
}

// plainBits are what files are damaged by.
var plainBits = []string{"", " ", "  ", "\n", ":", ": ", "#", " #", " # ", "-", "- ", "\n- ", "[", "]", ", ", ",", "[[1, 2], [3]]", `"`, "'", `"a # b"`, "''", "null", "~", "a: b\n", "a:\n", "1", ".", "...", "\n---\n", "\t", "&a ", "*a", "!t ", "?", "{", "}", "|", ">", "%", "\r\n", "é", "\n  "}

// What the plain reader leaves to the library, and what it reads itself.
func TestWhatIsPlain(t *testing.T) {
	t.Parallel()
	for text, plain := range map[string]bool{
		"a: 1": true, "a: 1\nb: two words\n": true, "# c\n\na: 1 # c\n": true, "a:\n  b: 1\n  c: [1, -2.5, +3, .5]\nd: x\n": true,
		"a:\n  - b: 1\n    c: 2\n  -   d: 3\n      e: 4\nf: 5": true, "a:\n- 1\n- x y\nb: 2": true, "a: [[1, 2], [3, 4]]": true, "a: 'x: # y'\nb: \"z\"": true,
		"rules/x.y-z: 1": true, "a: it's": true, "a: x, y [z]": true, "a: --5": true,
		"": false, "# c": false, "a": false, "a:": false, "a:\nb: 1": false, "a: 1\na: 2": false, " a: 1": false, "a: 1\n b: 2": false, "a:\n  b: 1\n c: 2": false,
		"a: x\n  y": false, "a: [1,\n 2]": false, "a: []": false, "a: [1,]": false, "a: {b: 1}": false, "a: &x 1": false, "a: *x": false, "a: !t 1": false, "a: |\n x": false,
		"a: null": false, "a: ~": false, "null: 1": false, "a: \"x\\n\"": false, "a: 'it''s'": false, "a: b: c": false, "a: b#c": false, "a: \"b": false, "a:\t1": false,
		"a: é": false, "a: 1\r\nb: 2": false, "--- \na: 1": false, "a: 1\n...": false, "- 1": false, "a:\n  -\n    b: 1": false, "a:\n  - 1\n    b: 2": false, "? a\n: b": false,
		"a: [1]]": false, "a: [1] x": false, "a: [[1] 2]": false, "a: ['x']": false, "a:b": false, "a : 1": false, "a:\n  - - 1": false, "a: \"\"": true, "a: ''": true, "a: '": false,
		strings.Repeat("k", 61) + ": 1": false, "a: " + strings.Repeat("[", 12) + "1" + strings.Repeat("]", 12): false,
	} {
		assert.Equal(t, plain, sameTree(t, []byte(text)), "%q", text)
	}
}

func FuzzPlain(f *testing.F) {
	for _, content := range plainSeeds(f) {
		f.Add(content)
	}
	for _, bit := range plainBits {
		f.Add([]byte("a: 1\nb:\n  - c: " + bit + "\n    d: [1, 2" + bit + "]\n" + bit + "e: x " + bit))
	}
	f.Fuzz(func(t *testing.T, content []byte) { sameTree(t, content) })
}
