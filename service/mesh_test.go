package main

import (
	"context"
	"encoding/binary"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// prism is a binary mesh: a box as wide and long as high, in mm, and a pyramid without its base beside it.
func prism(mm float64) []byte {
	v := func(i int) [3]float64 {
		return [3]float64{mm * float64(i&1), mm * float64(i>>1&1), mm * float64(i>>2&1)}
	}
	var facets [][3][3]float64
	for _, f := range [][4]int{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}} {
		facets = append(facets, [3][3]float64{v(f[0]), v(f[1]), v(f[2])}, [3][3]float64{v(f[0]), v(f[2]), v(f[3])})
	}
	top := [3]float64{4 * mm, mm / 2, mm}
	base := [][3]float64{{3 * mm, 0, 0}, {5 * mm, 0, 0}, {5 * mm, mm, 0}, {3 * mm, mm, 0}}
	for i := range base {
		facets = append(facets, [3][3]float64{base[i], base[(i+1)%4], top})
	}
	b := binary.LittleEndian.AppendUint32(make([]byte, 80), uint32(len(facets)))
	for _, f := range facets {
		b = append(b, make([]byte, 12)...)
		for _, c := range f {
			for _, x := range c {
				b = binary.LittleEndian.AppendUint32(b, math.Float32bits(float32(x)))
			}
		}
		b = append(b, 0, 0)
	}
	return b
}

// meshFolder is a folder with the practice rig and a cupboard to its north that is a mesh.
func meshFolder(t *testing.T, file string, stl []byte) (dir, path string) {
	t.Helper()
	dir = rigFolder(t)
	path = filepath.Join(dir, "heron.yaml")
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	text := strings.Replace(string(content), "has_no:", "parts: [{name: cupboard, fixed_to: ground, shapes: [{mesh: {file: "+file+", unit: mm, at_mm: [0, 2500, 0]}}]}]\nhas_no:", 1)
	text = strings.Replace(text, "axis1_deg: [-97.5, 97.5]", "axis1_deg: [-60, 60]", 1) // all of it clear, which is sooner known than how much of it is
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	if stl != nil {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "cupboard.stl"), stl, 0o600))
	}
	return dir, path
}

func TestCheckSaysWhatAMeshIs(t *testing.T) {
	t.Parallel()
	_, path := meshFolder(t, "cupboard.stl", prism(400))
	code, out := ran(t, "check", path)
	require.Equal(t, exitDone, code, out)
	for _, want := range []string{
		"  cupboard: cupboard.stl, drawn in mm: 16 facets, 2 pieces.",
		"Piece 1: 400 × 400 × 400, hull of 8 points; nothing filled in.",
		"Piece 2: 800 × 400 × 400, hull of 5 points; its surface is open",
	} {
		assert.Contains(t, out, want)
	}
	_, path = meshFolder(t, "cupboard.stl", prism(4))
	code, out = ran(t, "check", path)
	require.Equal(t, exitDone, code, out)
	assert.Contains(t, strings.Join(strings.Fields(out), " "), "cupboard.stl: 20 mm over all. If it was drawn in cm it is 200 mm, if it was drawn in inch it is 508 mm; if it is right, leave it.", "to look at again")
}

// Row 9 of the faults: the file does not load, the place is told, and nothing is served.
func TestDamagedMeshIsRefusedWithItsPlace(t *testing.T) {
	t.Parallel()
	whole := prism(400)
	nan := append([]byte(nil), whole...)
	binary.LittleEndian.PutUint32(nan[84+50+12:], math.Float32bits(float32(math.NaN())))
	for name, c := range map[string]struct {
		stl  []byte
		says string
	}{
		"cut":            {whole[:700], "cupboard.stl: facet 13, byte 684: cut short: 700 bytes, where its 16 facets take 884"},
		"not a number":   {nan, "cupboard.stl: facet 2, byte 146: a corner at (NaN, 0, 0)"},
		"metres":         {prism(0.0004), "0.002 mm over all; look at the unit it was drawn in"},
		"not there":      {nil, "cupboard.stl: no such file"},
		"metres, larger": {prism(0.1), "0.5 mm over all; if it was drawn in m it is 500 mm"},
	} {
		dir, path := meshFolder(t, "cupboard.stl", c.stl)
		code, out := ran(t, "check", path)
		assert.Equal(t, exitCheck, code, name)
		assert.Contains(t, out, c.says, name)
		assert.Contains(t, out, "parts.1.shapes.1.mesh.", name)
		assert.Contains(t, out, "Faults: 1. The file does not load.", name)
		code, out = ran(t, "serve", "--rigs", dir, "--record", filepath.Join(t.TempDir(), "r.keepclear"), "--listen", "127.0.0.1:0")
		assert.NotEqual(t, exitDone, code, name)
		assert.Contains(t, out, c.says, name)
		assert.NotContains(t, out, "answers on", name)
	}
	for _, file := range []string{"../cupboard.stl", "/etc/passwd", ".."} {
		_, path := meshFolder(t, file, whole)
		code, out := ran(t, "check", path)
		assert.Equal(t, exitCheck, code, file)
		assert.Contains(t, out, "letters, digits, . _ - and no folders", file)
	}
}

// What is no ordinary file, or too large, is not read.
func TestMeshThatIsNoFileIsNotRead(t *testing.T) {
	t.Parallel()
	dir, path := meshFolder(t, "cupboard.stl", nil)
	mesh := filepath.Join(dir, "cupboard.stl")
	for says, put := range map[string]func() error{
		"cupboard.stl is no ordinary file": func() error { return unix.Mkfifo(mesh, 0o600) },
		"cupboard.stl has 300000000 bytes, want at most 268435456": func() error {
			if err := os.WriteFile(mesh, nil, 0o600); err != nil {
				return err
			}
			return os.Truncate(mesh, 300_000_000)
		},
	} {
		require.NoError(t, os.RemoveAll(mesh))
		require.NoError(t, put())
		code, out := ran(t, "check", path)
		assert.Equal(t, exitCheck, code)
		assert.Contains(t, out, says)
	}
}

// Over the API the meshes come beside the text: with them it is read as from a folder; what lacks, what is too much and what comes twice are
// faults that say so, as are those of the mesh itself.
func TestMeshesAreCheckedOverTheAPI(t *testing.T) {
	t.Parallel()
	dir, path := meshFolder(t, "cupboard.stl", prism(400))
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	conn, stop := served(t, "--rigs", dir)
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	check := func(files ...*pb.NamedFile) *pb.CheckRigResponse {
		out, err := pb.NewRigServiceClient(conn).CheckRig(ctx, &pb.CheckRigRequest{File: "heron.yaml", Content: content, Files: files})
		require.NoError(t, err)
		assert.Equal(t, out.GetLoads(), len(out.GetFaults()) == 0)
		assert.Equal(t, out.GetLoads(), len(out.GetRigSha256()) == 32)
		return out
	}
	stl := func(name string, content []byte) *pb.NamedFile { return &pb.NamedFile{Name: name, Content: content} }
	whole := check(stl("cupboard.stl", prism(400)))
	require.True(t, whole.GetLoads(), "%v", whole.GetFaults())
	assert.Contains(t, whole.GetUnderstood(), "cupboard: cupboard.stl, drawn in mm: 16 facets, 2 pieces.")
	for says, files := range map[string][]*pb.NamedFile{
		"cupboard.stl: file does not exist among the files sent":            {},
		`wanted files that the rig file names, got "shelf.stl"`:             {stl("cupboard.stl", prism(400)), stl("shelf.stl", prism(400))},
		`wanted each file once, got "cupboard.stl" again`:                   {stl("cupboard.stl", prism(400)), stl("cupboard.stl", prism(401))},
		"cut short: 883 bytes, where its 16 facets take 884":                {stl("cupboard.stl", prism(400)[:883])},
		"wanted a mesh of 1 to 20000 mm over all, got cupboard.stl: 0.9 mm": {stl("cupboard.stl", prism(0.18))},
	} {
		out := check(files...)
		require.Len(t, out.GetFaults(), 1, says)
		f := out.GetFaults()[0]
		assert.Contains(t, "wanted "+f.GetWanted()+", got "+f.GetGot(), says)
		assert.NotEmpty(t, f.GetRemedy(), says)
		if ofMesh := strings.HasPrefix(f.GetKey(), "parts.1.shapes.1.mesh."); !ofMesh {
			assert.Equal(t, "files.2", f.GetKey())
		} else {
			assert.Equal(t, "heron.yaml", f.GetFile())
			assert.Positive(t, f.GetLine())
		}
	}
	r, err := pb.NewRigServiceClient(conn).GetRig(ctx, &pb.GetRigRequest{Rig: "heron"})
	require.NoError(t, err)
	assert.Equal(t, r.GetRig().GetRigSha256(), whole.GetRigSha256(), "checked and served alike")
	code, said := ran(t, "check", path)
	require.Equal(t, exitDone, code, said)
	stop()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "cupboard.stl"), prism(401), 0o600))
	conn, _ = served(t, "--rigs", dir)
	again, err := pb.NewRigServiceClient(conn).GetRig(ctx, &pb.GetRigRequest{Rig: "heron"})
	require.NoError(t, err)
	assert.NotEqual(t, r.GetRig().GetRigSha256(), again.GetRig().GetRigSha256(), "a changed mesh is a changed rig")
}
