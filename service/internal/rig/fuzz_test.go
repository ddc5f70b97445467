package rig_test

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
)

// Whatever the bytes: a whole rig or faults, never both, never a panic; every fault one short line with a remedy.
// Fuzz with -fuzzminimizetime 1x: shrinking a whole rig file takes longer than the run.
func FuzzParse(f *testing.F) {
	for _, file := range []string{"../practice/heron.yaml", rigs + "wren.yaml", rigs + "bittern.yaml", rigs + "curlew.yaml", rigs + "heavy-germans.yaml"} {
		content, err := os.ReadFile(file)
		require.NoError(f, err)
		f.Add(content)
	}
	for _, k := range []rig.Kind{rig.German, rig.Fork, rig.AltAzimuth} {
		f.Add([]byte(rig.Blank(k)))
	}
	for _, seed := range []string{"", "a: &a [*a]", "? x\n: y", "- 1", "rig: !!binary aGk=", "rig: |\n  a\nend: a", "\xff\xfe", "rig: heron\n...\nend: heron", "tape: {walls: [[]]}\nparts: [1]\nkind: alt-azimuth\n"} {
		f.Add([]byte(seed))
	}
	heron, err := os.ReadFile("../practice/heron.yaml")
	require.NoError(f, err)
	f.Add([]byte(strings.Replace(string(heron), "has_no:", "parts: [{name: box, fixed_to: axis 2, shapes: [{mesh: {file: a.stl, unit: cm, turned_deg: [1, 2, 3], at_mm: [0, 90, 0], pieces: together}}]}]\nhas_no:", 1)))
	two := binarySTL("", apart(2))
	open := func(name string) ([]byte, error) {
		if strings.HasSuffix(name, ".stl") {
			return two, nil
		}
		return beside(name)
	}
	f.Fuzz(func(t *testing.T, content []byte) {
		r, faults := rig.Parse("fuzzed.yaml", content, open)
		if r == nil {
			require.NotEmpty(t, faults)
		} else {
			require.Empty(t, faults)
			sound(t, r)
		}
		for _, fault := range faults {
			line := fault.Error()
			require.NotContains(t, line, "\n")
			require.NotEmpty(t, fault.Wanted, line)
			require.NotEmpty(t, fault.Got, line)
			require.NotEmpty(t, fault.Remedy, line)
			require.Less(t, len(line), 5000)
		}
	})
}

// sound checks what is promised of every rig.
func sound(t *testing.T, r *rig.Rig) {
	require.True(t, r.Travel.Holds(r.Home))
	require.True(t, r.Home.Finite() && r.Travel.Low.Finite() && r.Travel.High.Finite())
	for _, rest := range r.Rests {
		require.True(t, r.Travel.Holds(rest.Axes))
	}
	require.NotZero(t, r.Digest)
	s := r.Scene(nil, 10, 10)
	for _, b := range s.Bodies {
		centre, radius := b.Shape.Ball()
		require.True(t, centre.Finite())
		require.Less(t, radius, 1e6)
	}
	for _, shape := range s.Place(r.Home) {
		require.True(t, shape.Centre().Finite())
	}
	require.NotContains(t, strings.ReplaceAll(rig.Understood(r), r.Title, ""), "NaN")
}
