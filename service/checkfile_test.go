package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/rig"
)

// Every kind of find has a word of its own on the wire.
func TestEveryFindHasItsWord(t *testing.T) {
	t.Parallel()
	seen := map[pb.FileFindKind]bool{}
	for kind := rig.Replaced; kind <= rig.NotKnown; kind++ {
		word := findKinds[kind]
		assert.NotZero(t, word, "kind %d", kind)
		assert.False(t, seen[word], word)
		seen[word] = true
	}
	assert.Len(t, seen, len(pb.FileFindKind_name)-1)
}

// A class file comes beside the rig file as meshes do; a fault in it names it.
func TestClassFilesAreCheckedOverTheAPI(t *testing.T) {
	t.Parallel()
	read := func(name string) []byte {
		content, err := os.ReadFile(filepath.Join("..", "testdata", "rigs", name))
		require.NoError(t, err)
		return content
	}
	check := fileChecker(nil, time.Now)
	class := read("heavy-germans.yaml")
	ask := func() *pb.CheckRigResponse {
		out, err := check(t.Context(), &pb.CheckRigRequest{File: "curlew.yaml", Content: read("curlew.yaml"), Files: []*pb.NamedFile{{Name: "heavy-germans.yaml", Content: class}}})
		require.NoError(t, err)
		return out
	}
	out := ask()
	require.True(t, out.GetLoads(), "%v", out.GetFaults())
	var of []string
	for _, f := range out.GetFinds() {
		assert.NotEmpty(t, f.GetRemedy())
		of = append(of, f.GetFile()+" "+f.GetKey())
	}
	assert.Contains(t, of, "curlew.yaml travel_from_home.axis1_deg")
	assert.Contains(t, of, "heavy-germans.yaml tape.weights_to_mm")
	assert.Equal(t, pb.FileFindKind_FILE_FIND_KIND_WIDE_TRAVEL, out.GetFinds()[0].GetKind(), "the worst first")
	assert.False(t, out.GetFinds()[0].GetInformation())
	assert.True(t, out.GetFinds()[len(out.GetFinds())-1].GetInformation())
	class = append(class, "colour: green\n"...)
	out = ask()
	require.NotEmpty(t, out.GetFaults())
	assert.Equal(t, "heavy-germans.yaml", out.GetFaults()[0].GetFile())
}

// A file that does not load is told what may be the cause: the command and the API name the turned sign beside the overlaps that come of it.
func TestTheCauseIsToldBesideFaults(t *testing.T) {
	t.Parallel()
	text := strings.Replace(string(practice.HeronFile()), "latitude_deg: 46.20", "latitude_deg: -46.20", 1)
	text = strings.Replace(text, "weights_radius_mm: 55", "weights_radius_mm: 120", 1)
	path := filepath.Join(t.TempDir(), "heron.yaml")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	code, said := ran(t, "check", path)
	assert.Equal(t, exitCheck, code)
	assert.Contains(t, said, "Look at again, the worst first:\n  "+path+":16: tape.crossing_north_of_hub_mm\n    Mirrored: at latitude -46.2° axis 1 would stand")
	assert.Contains(t, said, "The file does not load.")
	out, err := fileChecker(nil, time.Now)(t.Context(), &pb.CheckRigRequest{Content: []byte(text)})
	require.NoError(t, err)
	assert.NotEmpty(t, out.GetFaults())
	require.NotEmpty(t, out.GetFinds())
	assert.Equal(t, pb.FileFindKind_FILE_FIND_KIND_MIRRORED, out.GetFinds()[0].GetKind())
	assert.Equal(t, "rig file", out.GetFinds()[0].GetFile())
}

// Who goes is not checked for: neither while another has his turn, nor once the map is worked at.
func TestWhoGoesIsNotCheckedFor(t *testing.T) {
	t.Parallel()
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	out, err := checkFile(gone, &pb.CheckRigRequest{Content: practice.HeronFile()}, nil, time.Now()), gone.Err()
	require.ErrorIs(t, err, context.Canceled)
	assert.Equal(t, pb.FileFindKind_FILE_FIND_KIND_NOT_KNOWN, out.GetFinds()[0].GetKind(), "no map was worked out")
	_, err = fileChecker(nil, time.Now)(gone, &pb.CheckRigRequest{Content: practice.HeronFile()})
	assert.ErrorIs(t, err, context.Canceled)
}

// What a person should look at again is said at the start too, the worst of it.
func TestTheStartSaysTheWorst(t *testing.T) {
	t.Parallel()
	dir := rigFolder(t)
	path := filepath.Join(dir, "heron.yaml")
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	text := strings.NewReplacer("crossing_north_of_hub_mm: 125", "crossing_north_of_hub_mm: -125", "bar_diameter_mm: 20", "bar_diameter_mm: 9",
		"has_no:", "leave_out: [counterweights, counterweight bar, camera]\nhas_no:").Replace(string(content))
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	files, facility, err := readRigs(dir)
	require.NoError(t, err)
	members, err := newMembers(files, facility)
	require.NoError(t, err)
	lines := toLookAt(members)
	require.Len(t, lines, 1)
	assert.Contains(t, lines[0], "To look at again in the file of heron: 2 (check FILE names all), as\n  ")
	assert.Contains(t, lines[0], "tape.crossing_north_of_hub_mm: mirrored: ")

	const larger = "parts: [{name: tube, fixed_to: axis 2, shapes: [{cylinder: {from_mm: [205, -400, 0], to_mm: [205, 310, 0], diameter_mm: 122}}]}]\nhas_no:"
	require.NoError(t, os.WriteFile(path, []byte(strings.Replace(string(content), "has_no:", larger, 1)), 0o600))
	files, facility, err = readRigs(dir)
	require.NoError(t, err)
	members, err = newMembers(files, facility)
	require.NoError(t, err)
	require.Len(t, members[0].Rig.Notices, 1)
	assert.Empty(t, toLookAt(members), "what is only to be known is left to check")
}

// A rig file by another ending than the one that is read is not left out without a word.
func TestARigFileNamedOtherwise(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"owl.yml", "owl.YAML", "OWL.YML"} {
		dir := rigFolder(t)
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte("rig: owl\n"), 0o600))
		_, _, err := readRigs(dir)
		require.ErrorContains(t, err, name+" would not be read: rig files are named *.yaml", name)
	}
	dir := rigFolder(t)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "notes.txt"), []byte("of mine\n"), 0o600))
	_, _, err := readRigs(dir)
	require.NoError(t, err)
}
