package rig_test

import (
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/rig"
)

// heron reads the demo's rig.
func heron(t testing.TB) *rig.Rig {
	t.Helper()
	return parsed(t, "../practice/heron.yaml")
}

// parsed reads a rig file that has to load.
func parsed(t testing.TB, file string) *rig.Rig {
	t.Helper()
	content, err := os.ReadFile(file)
	require.NoError(t, err)
	r, faults := rig.Parse(file, content, nil)
	for _, f := range faults {
		t.Error(f)
	}
	require.Empty(t, faults)
	return r
}

func TestHeronLoads(t *testing.T) {
	r := heron(t)
	for _, p := range r.Parts {
		t.Log(p.Name, p.Link, p.Shapes)
	}
	t.Log(r.Notices, len(r.Scene(nil, 10, 10).Pairs))
}
