package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// facilityFolder is a folder of one rig file without limits of its own, and limits of the facility.
func facilityFolder(t *testing.T, limits string) (dir string) {
	t.Helper()
	dir = rigFolder(t)
	rewritten(t, dir, "limits:\n  clear/path:\n    part_mm: 10\n    general_mm: 10\n", "")
	require.NoError(t, os.WriteFile(filepath.Join(dir, limitsFile), []byte(limits), 0o600))
	return dir
}

// What keeps a service from serving a folder, check of its files says; what is looked at of a file is looked at by the limits that will count.
func TestAFileIsCheckedByTheFacilitysLimits(t *testing.T) {
	t.Parallel()
	dir := facilityFolder(t, "# invented\nclear/path:\n  general_mm: 60\n...\n")
	file, common := filepath.Join(dir, "heron.yaml"), filepath.Join(dir, limitsFile)
	says := "Limit of every rig of this folder: clear/path general_mm = 60 (" + common + ":3).\n"

	code, out := ran(t, "check", file)
	assert.Equal(t, exitDone, code, out)
	assert.Contains(t, out, says)
	assert.Contains(t, out, "of which [-52.68, 52.68]\n")
	code, out = ran(t, "room", file)
	assert.Equal(t, exitDone, code, out)
	assert.Contains(t, out, "  axis 1: -52.69° to 52.69°\n", "66.44° by the defaults")
	code, out = ran(t, "room", "--what-if", "tape.camera_radius_mm+=10", file)
	assert.Equal(t, exitDone, code, out)
	assert.Contains(t, out, "  axis 1: -48.19° to 48.19°\n")
	code, out = ran(t, "check", common)
	assert.Equal(t, exitDone, code, out)
	assert.Equal(t, says+"\nThese limits load. Whether a rig's own are looser, check tells of its file.\n", out)

	rewritten(t, dir, "has_no:", "limits: {clear/path: {general_mm: 50}}\nhas_no:")
	code, out = ran(t, "check", file)
	assert.Equal(t, exitCheck, code)
	assert.Contains(t, out, "limits.clear/path.general_mm: wanted at least 60 (set by facility), got 50; a file can only tighten: delete the line, or loosen the layer above\n")
	assert.Contains(t, out, "Faults: 1. The file does not load.\n")
}

// Limits that no service takes are told by check of them, and of each file beside them.
func TestFaultyFacilityLimitsAreToldBeforeTheStart(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"clear/path:\n  general_mm: 6\n...\n":                      ":2: clear/path general_mm: wanted at least 10 (set by default), got 6;",
		"clear/path:\n  generall_mm: 60\n...\n":                    ":2: clear/path generall_mm: wanted a limit that a rule reads,",
		"clear/path:\n  general_mm: 60\n":                          ": file: wanted the end mark ... as the last line, got none;",
		"a/b:\n  c: 60\n...\n---\nsky/floor: {altitude: 5}\n...\n": ":4: file: wanted all limits in one document,",
	} {
		dir := facilityFolder(t, text)
		common := filepath.Join(dir, limitsFile)
		for _, file := range []string{common, filepath.Join(dir, "heron.yaml")} {
			code, out := ran(t, "check", file)
			assert.Equal(t, exitCheck, code, out)
			assert.Equal(t, 1, strings.Count(out, common+want), "check of %s said %s", file, out)
			assert.True(t, strings.HasSuffix(out, "\nFaults: 1. The file does not load.\n"), out)
		}
	}
	dir := rigFolder(t)
	require.NoError(t, os.Mkdir(filepath.Join(dir, limitsFile), 0o700))
	code, out := ran(t, "check", filepath.Join(dir, "heron.yaml"))
	assert.Equal(t, exitCheck, code)
	assert.Contains(t, out, "the limits beside the file cannot be read: limits.yaml is no ordinary file;")
}

// Who puts rules among the rig files, or limits in a folder as the policies have them, takes them for in force: the start says that they are not.
func TestRulesAmongRigFilesAreNotLeftOutWithoutAWord(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"mine.rego", "MINE.REGO", "rules", "limits", "Policies"} {
		dir := rigFolder(t)
		within := filepath.Join(dir, name)
		require.NoError(t, os.MkdirAll(filepath.Join(within, "sky", "floor"), 0o700))
		require.NoError(t, os.WriteFile(filepath.Join(within, "sky", "notes.txt"), nil, 0o600))
		if !strings.EqualFold(filepath.Ext(name), ".rego") {
			_, _, err := readRigs(dir)
			require.NoError(t, err, "notes that are in %s are no rules", name)
		}
		require.NoError(t, os.WriteFile(filepath.Join(within, "sky", "floor", map[bool]string{true: "floor.rego", false: "floor.yaml"}[name == "rules"]), nil, 0o600))
		_, _, err := readRigs(dir)
		require.ErrorContains(t, err, name+" would not be read: rules are part of the program, and a site's own limits stand in limits.yaml beside the rig files", name)
	}
	dir := rigFolder(t)
	for name, want := range map[string]string{"mine.rego": "would not be read: rules are part of the program", "Limits.yaml": "would not be read as limits: they stand in limits.yaml, in small letters; rename it", "limits.yml": "would not be read as limits: they stand in limits.yaml"} {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, []byte("sky/floor:\n  altitude_deg: 5\n...\n"), 0o600))
		code, out := ran(t, "check", path)
		assert.Equal(t, exitCheck, code)
		assert.Equal(t, 1, strings.Count(out, "\n"), out)
		assert.Contains(t, out, path+" "+want)
		code, out = ran(t, "check", dir)
		assert.Equal(t, exitCheck, code)
		assert.Equal(t, path+" "+want, out[:min(len(out), len(path+" "+want))])
		require.NoError(t, os.Remove(path))
	}
	require.NoError(t, os.Mkdir(filepath.Join(dir, "old"), 0o700))
	for _, name := range []string{"rules", "limits"} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte("of the house"), 0o600))
	}
	_, _, err := readRigs(dir)
	require.NoError(t, err)

	require.NoError(t, os.WriteFile(filepath.Join(dir, "a.yml"), nil, 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, limitsFile), nil, 0o600))
	_, _, err = readRigs(dir)
	require.ErrorContains(t, err, "a.yml would not be read")
	require.ErrorContains(t, err, "limits.yaml: file: wanted the end mark", "every fault is told at once")
}

// A rig file may name its class before its rig: taken for a class file it would not be served, without a word. A class file that no rig file names is told.
func TestARigThatNamesItsClassFirstIsServed(t *testing.T) {
	t.Parallel()
	dir := rigFolder(t)
	file, shared, idle := filepath.Join(dir, "heron.yaml"), filepath.Join(dir, "shared.yaml"), filepath.Join(dir, "idle.yaml")
	rewritten(t, dir, "rig: heron\n", "class: shared.yaml\nrig: heron\n")
	for _, path := range []string{shared, idle} {
		require.NoError(t, os.WriteFile(path, []byte("# both\nclass: shared\nlimits: {sun/apart: {separation_deg: 35}}\nend: shared\n"), 0o600))
	}
	code, out := ran(t, "check", file)
	assert.Equal(t, exitDone, code, out)
	code, out = ran(t, "check", dir)
	assert.Equal(t, exitDone, code, out)
	assert.Contains(t, out, "\n"+idle+" is a class file that no rig file names: nothing of it counts.\n")
	assert.NotContains(t, out, shared+" is a class file")
	assert.Contains(t, out, "and serve heron.\n")
	for text, want := range map[string]bool{"": false, "# rig: x\nclass: a\n": true, "class: a\nrig: b\n": false, "class: a\n  rig: b\n": true, "limits: {}\nclass: a\n": false, "rig: b\n": false} {
		assert.Equal(t, want, isClass([]byte(text)), text)
	}
}

// Whether a start would be refused, and by which file, is told before the service that runs is stopped for it.
func TestAFolderIsCheckedAsAStartReadsIt(t *testing.T) {
	t.Parallel()
	dir := facilityFolder(t, "clear/path:\n  general_mm: 60\n...\n")
	rewritten(t, dir, "rig: heron\n", "rig: heron\nclass: shared.yaml\n")
	shared := filepath.Join(dir, "shared.yaml")
	require.NoError(t, os.WriteFile(shared, []byte("class: shared\nlimits: {sun/apart: {separation_deg: 35}}\nend: shared\n"), 0o600))
	heron, err := os.ReadFile(filepath.Join(dir, "heron.yaml"))
	require.NoError(t, err)
	owl := strings.NewReplacer("rig: heron", "rig: owl", "end: heron", "end: owl").Replace(string(heron))
	second := filepath.Join(dir, "owl.yaml")
	require.NoError(t, os.WriteFile(second, []byte(owl), 0o600))

	code, out := ran(t, "check", dir)
	assert.Equal(t, exitDone, code, out)
	assert.Regexp(t, `(?m)^`+second+`: owl, digest [0-9a-f]{64}$`, out)
	assert.Contains(t, out, "Limit of every rig of this folder: clear/path general_mm = 60 (")
	assert.True(t, strings.HasSuffix(out, "\nA service would start on this folder, and serve heron, owl.\n"), out)

	code, out = ran(t, "check", shared)
	assert.Equal(t, exitCheck, code)
	assert.Equal(t, shared+" is a class file: what several rigs share, and no rig. Check a rig file that names it, or the folder: check "+dir+"\n", out)

	require.NoError(t, os.WriteFile(second, []byte(strings.Replace(owl, "kind: german", "kind: dutch", 1)), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "mine.rego"), nil, 0o600))
	code, out = ran(t, "check", dir)
	assert.Equal(t, exitCheck, code)
	assert.Contains(t, out, "mine.rego would not be read")
	assert.Contains(t, out, second+" does not load: mend it (check FILE says more), or move it out of the folder to serve heron without\n")
	assert.True(t, strings.HasSuffix(out, "\nA service would not start on this folder.\n"), out)

	dated := strings.Replace(owl, "stops_it: power relay      # drops the motors' power when nobody has spoken to it for a minute\n  after_s: 60", "stops_it: mount limit\n  axis: 1\n  limit_deg: 95\n  last_seen: 2099-01-01", 1)
	require.NotEqual(t, owl, dated)
	require.NoError(t, os.WriteFile(second, []byte(dated), 0o600))
	require.NoError(t, os.Remove(filepath.Join(dir, "mine.rego")))
	code, out = ran(t, "check", dir)
	assert.Equal(t, exitCheck, code, "a day that has not been: %s", out)
	assert.Contains(t, out, "last_seen")
}
