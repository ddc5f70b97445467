package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// A rig file, its class file and the facility's limits that are written anew, taken away or added under a running service are told where the rig is
// looked at, with digests, and not taken up; touched or put back as they were they are not told.
func TestFilesChangedOnDiskAreTold(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	read := func(name string) string {
		content, err := os.ReadFile(filepath.Join("..", "testdata", "rigs", name))
		require.NoError(t, err)
		return string(content)
	}
	path := func(name string) string { return filepath.Join(dir, name) }
	hour := time.Date(2026, 11, 30, 7, 0, 0, 0, time.UTC)
	write := func(name, content string) {
		require.NoError(t, os.WriteFile(path(name), []byte(content), 0o600))
		hour = hour.Add(time.Hour) // no file system is so coarse
		require.NoError(t, os.Chtimes(path(name), hour, hour))
	}
	write("curlew.yaml", read("curlew.yaml"))
	write("wren.yaml", read("wren.yaml"))
	write("heavy-germans.yaml", read("heavy-germans.yaml"))
	conn, _ := served(t, "--rigs", dir, "--record", filepath.Join(t.TempDir(), "r.keepclear"))
	rigs := pb.NewRigServiceClient(conn)
	get := func(name string) *pb.Rig {
		r, err := rigs.GetRig(t.Context(), &pb.GetRigRequest{Rig: name})
		require.NoError(t, err)
		return r.GetRig()
	}
	says := func(name string) string { return strings.Join(get(name).GetChangedFiles(), "\n") }
	digest := get("curlew").GetRigSha256()
	require.Empty(t, says("curlew"))
	require.Empty(t, says("wren"))

	write("curlew.yaml", read("curlew.yaml"))
	assert.Empty(t, says("curlew"), "touched")
	write("curlew.yaml", strings.Replace(read("curlew.yaml"), "title:", "title: another", 1))
	assert.Regexp(t, `^\S+curlew\.yaml is another one now \(SHA-256 [0-9a-f]{8}…, served is [0-9a-f]{8}…\); start the service anew to serve it$`, says("curlew"))
	assert.Equal(t, says("curlew"), says("curlew"), "and again, without reading it")
	assert.Equal(t, digest, get("curlew").GetRigSha256(), "nothing is taken up")
	assert.Empty(t, says("wren"), "its own are as they were")
	all, err := rigs.ListRigs(t.Context(), &pb.ListRigsRequest{})
	require.NoError(t, err)
	assert.Len(t, all.GetRigs()[0].GetChangedFiles(), 1)
	write("curlew.yaml", read("curlew.yaml"))
	assert.Empty(t, says("curlew"), "put back")

	write("broken.yaml", "rig: broken\n")
	assert.Contains(t, says("wren"), path("broken.yaml")+" was not there when the service started, and is not served; the next start reads it, and is refused if it is faulty")
	assert.Contains(t, says("curlew"), "broken.yaml")
	require.NoError(t, os.Remove(path("broken.yaml")))
	assert.Empty(t, says("wren"))

	write("heavy-germans.yaml", read("heavy-germans.yaml")+"\n")
	assert.Contains(t, says("curlew"), "heavy-germans.yaml is another one now")
	require.NoError(t, os.Remove(path("heavy-germans.yaml")))
	assert.Contains(t, says("curlew"), "heavy-germans.yaml is gone; what was read at the start is served")
	assert.Empty(t, says("wren"))
	write("heavy-germans.yaml", read("heavy-germans.yaml"))
	assert.Empty(t, says("curlew"))

	write("limits.yaml", "...\n")
	assert.Contains(t, says("wren"), "limits.yaml was not there when the service started, and is not served")
	require.NoError(t, os.Remove(path("limits.yaml")))
	require.NoError(t, os.Mkdir(path("limits.yaml"), 0o700))
	assert.Regexp(t, `limits\.yaml cannot be read \(.*\); it was not there when the service started, and nothing of it is served`, says("wren"))
	require.NoError(t, os.Remove(path("limits.yaml")))
	assert.Empty(t, says("wren"))
	require.NoError(t, os.Remove(path("wren.yaml")))
	require.NoError(t, os.Mkdir(path("wren.yaml"), 0o700))
	assert.Contains(t, says("wren"), "cannot be read (wren.yaml is no ordinary file)")
}

// A rig that is built in has no file to be looked at, nor has one that nobody serves.
func TestNothingIsOnDiskOfWhatIsBuiltIn(t *testing.T) {
	t.Parallel()
	conn, _ := served(t, "--practice", "heron", "--record", filepath.Join(t.TempDir(), "r.keepclear"))
	r, err := pb.NewRigServiceClient(conn).GetRig(t.Context(), &pb.GetRigRequest{Rig: "heron"})
	require.NoError(t, err)
	assert.Empty(t, r.GetRig().GetChangedFiles())
	assert.Empty(t, watchFiles(nil).changed("heron"))
}
