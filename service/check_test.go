package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/practice"
	"keepclear.example/keepclear/service/internal/rig"
)

// A file that is not there is asked for, and the form is named for whoever has none yet.
func TestCheckOfNoFileSaysWhatToDo(t *testing.T) {
	t.Parallel()
	code, out := ran(t, "check", filepath.Join(t.TempDir(), "none.yaml"))
	assert.Equal(t, exitCheck, code)
	assert.Contains(t, out, "give the path of a rig file (an empty form: check --blank)")
}

// Every lawful travel loads, from every home: each end is one limit, the sum that a person would have written. Sums in radians
// are 105.00000000000001 for 105.
func TestEveryLawfulTravelLoads(t *testing.T) {
	t.Parallel()
	defs, err := limits.Read(policies.Files())
	require.NoError(t, err)
	loads := func(home1, home2, travel1, travel2 float64) {
		text := strings.NewReplacer(
			"home_deg: [0, 0]", fmt.Sprintf("home_deg: [%v, %v]", home1, home2),
			"axis1_deg: [-97.5, 97.5]", fmt.Sprintf("axis1_deg: [%v, %v]", -travel1, travel1),
			"axis2_deg: [-180, 180]", fmt.Sprintf("axis2_deg: [%v, %v]", -travel2, travel2),
		).Replace(string(practice.HeronFile()))
		r, bad := rig.Parse("heron.yaml", []byte(text), nil)
		require.Empty(t, bad)
		set, err := limits.Merge(defs, layers(r, nil, "heron.yaml")...)
		require.NoError(t, err, "home [%v, %v], travel ±%v, ±%v", home1, home2, travel1, travel2)
		for key, want := range map[[2]string]float64{
			{"travel/axis1", "low_deg"}: home1 - travel1, {"travel/axis1", "high_deg"}: home1 + travel1,
			{"travel/axis2", "low_deg"}: home2 - travel2, {"travel/axis2", "high_deg"}: home2 + travel2,
		} {
			l, known := set.Limit(key[0], key[1])
			require.True(t, known)
			require.Equal(t, math.Round(want*10)/10, l.Value, "%v of home [%v, %v], travel ±%v, ±%v", key, home1, home2, travel1, travel2)
			require.Equal(t, "rig heron", l.Origin)
		}
	}
	for half := 1; half <= 360; half++ {
		loads(0, 0, float64(half)/2, 180.5-float64(half)/2)
	}
	for h := -90; h <= 90; h++ {
		home := float64(h) / 10
		loads(home, -home, 95, 175)
	}
}

// What check and serve say in prose fits a terminal; tables and faults, which name places in files, may be wider.
func TestProseFitsATerminal(t *testing.T) {
	t.Parallel()
	file := filepath.Join(rigFolder(t), "heron.yaml")
	out := caution + "\n" + practiceWords + "\n"
	for _, f := range []string{file, "../testdata/rigs/wren.yaml", "../testdata/rigs/bittern.yaml", "../testdata/rigs/curlew.yaml"} {
		code, said := ran(t, "check", f)
		require.Equal(t, exitDone, code, said)
		before, after, _ := strings.Cut(said, "lengths in mm:\n")
		_, after, _ = strings.Cut(after, "\n\n")
		out += before + "\n" + after
	}
	for line := range strings.Lines(out) {
		line = strings.TrimSuffix(line, "\n")
		if !strings.Contains(line, "/") || strings.Count(line, " ") > 6 { // a long path is one word
			assert.LessOrEqual(t, len([]rune(line)), 80, line)
		}
	}
}

// Every command says how it is used when asked, as an answer and no complaint.
func TestHelpOfEveryCommand(t *testing.T) {
	t.Parallel()
	for _, c := range commands() {
		for _, words := range [][]string{{c.name, "--help"}, {c.name, "-h"}, {"help", c.name}} {
			var out, errs text
			code := run(t.Context(), words, nil, &out, &errs, time.Now)
			assert.Equal(t, exitDone, code, c.name)
			assert.Contains(t, out.String(), "usage: go run ./service "+c.name)
			assert.Contains(t, out.String(), c.what)
			assert.Empty(t, errs.String(), c.name)
		}
	}
	_, out := ran(t, "serve", "--help")
	assert.Contains(t, out, "-clock-within")
}

// What is no record is said to be none, with advice that fits it.
func TestVerifyOfWhatIsNoRecord(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	file, empty := filepath.Join(dir, "notes.txt"), filepath.Join(dir, "empty")
	require.NoError(t, os.WriteFile(file, []byte("Clouds until two.\n"), 0o600))
	require.NoError(t, os.WriteFile(empty, nil, 0o600))
	for path, what := range map[string]string{file: "a file of another kind", empty: "an empty file", dir: "a folder"} {
		code, out := ran(t, "verify", path)
		assert.Equal(t, exitCheck, code)
		assert.Contains(t, out, path+" is "+what+", no record. Name the file that serve says at its start")
		assert.NotContains(t, out, "room")
	}
}

// A record without heads beside it, or with another name, is verified, and verify says what it cannot see.
func TestVerifySaysWhatItCannotSee(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "r.keepclear")
	conn, stop := served(t, "--rigs", rigFolder(t), "--record", path)
	home(t, pb.NewMotionServiceClient(conn), heron(t))
	stop()
	const noHeads, names = "No heads are kept beside it", "The file has 2 names"
	code, out := ran(t, "verify", path)
	assert.Equal(t, exitDone, code)
	assert.NotContains(t, out, noHeads)
	assert.NotContains(t, out, names)
	head := regexp.MustCompile(`heron +(\d+) entries, head ([0-9a-f]{64})`).FindStringSubmatch(out)
	require.NotNil(t, head, out)
	code, out = ran(t, "verify", "--receipt", "heron/"+head[1]+"  "+head[2], path)
	assert.Equal(t, exitDone, code, out)
	code, out = ran(t, "verify", "--receipt", "heron/"+head[1]+"  "+strings.Repeat("0", 64), path)
	assert.Equal(t, exitCheck, code, "a receipt of another entry convicts it: %s", out)
	code, out = ran(t, "verify", path, "--receipt", "heron/"+head[1]+"  "+strings.Repeat("0", 64))
	assert.Equal(t, exitCheck, code, "behind the file, too: %s", out)
	code, out = ran(t, "verify", "--receipt", "heron/x 00", path)
	assert.Equal(t, exitUsage, code, out)
	require.NoError(t, os.Rename(path+"-heads", path+"-kept"))
	code, out = ran(t, "verify", path)
	assert.Equal(t, exitDone, code)
	assert.Contains(t, out, noHeads)
	require.NoError(t, os.Rename(path+"-kept", path+"-heads"))
	require.NoError(t, os.Link(path, path+"-other"))
	code, out = ran(t, "verify", path)
	assert.Equal(t, exitDone, code)
	assert.NotContains(t, out, noHeads)
	assert.Contains(t, out, names)
}

// TestLimitsThatDoNotFit are told by file and line first, as all faults are.
func TestLimitsThatDoNotFit(t *testing.T) {
	t.Parallel()
	content, err := os.ReadFile(filepath.Join("..", "testdata", "rigs", "wren.yaml"))
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "wren.yaml")
	require.NoError(t, os.WriteFile(file, []byte(strings.Replace(string(content), "\nend:", "\nlimits:\n  clear/path:\n    part_mm: -3\nend:", 1)), 0o600))
	code, out, errs := printed(t, "check", file)
	assert.Equal(t, exitCheck, code)
	assert.Empty(t, errs)
	says := regexp.QuoteMeta(file) + `:\d+: limits\.clear/path\.part_mm: wanted at least 0 \(the bound\), got -3; keep within the bound: no layer may go beyond it\n`
	assert.Regexp(t, `^`+says+`Faults: 1\. The file does not load\.\n$`, out)

	code, out = ran(t, "serve", "--rigs", filepath.Dir(file), "--record", filepath.Join(t.TempDir(), "r.keepclear"), "--listen", "127.0.0.1:0")
	assert.Equal(t, exitCheck, code)
	assert.Regexp(t, says, out)
	assert.NotContains(t, out, "merging limits")

	content, err = os.ReadFile(file)
	require.NoError(t, err)
	of, err := fileChecker(nil, time.Now)(t.Context(), &pb.CheckRigRequest{File: "wren.yaml", Content: content})
	require.NoError(t, err)
	require.Len(t, of.GetFaults(), 1)
	f := of.GetFaults()[0]
	assert.Equal(t, "limits.clear/path.part_mm", f.GetKey())
	assert.Equal(t, "at least 0 (the bound)", f.GetWanted())
	assert.Equal(t, "wren.yaml", f.GetFile())
	assert.Positive(t, f.GetLine())

	facility, err := limits.ParseLayer("facility", "limits.yaml", []byte("sky/floor:\n  altitude_deg: -40\n...\n"))
	require.NoError(t, err)
	of, err = fileChecker(&facility, time.Now)(t.Context(), &pb.CheckRigRequest{File: "heron.yaml", Content: practice.HeronFile()})
	require.NoError(t, err)
	require.Len(t, of.GetFaults(), 1)
	assert.Contains(t, of.GetFaults()[0].GetGot(), "limits.yaml:2: sky/floor altitude_deg: wanted at least -30 (the bound)", "in the facility's own file it is called as there")
}

// A name left empty, as a script's variable that is not set leaves it, is a mistake: serve would write a record where nobody looks for it.
func TestServeWithNamesLeftEmpty(t *testing.T) {
	t.Parallel()
	for name, says := range map[string]string{"--record": "--record: want a file", "--rigs": "--rigs: want a folder"} {
		code, _, errs := printed(t, "serve", "--listen", "127.0.0.1:0", name, "")
		assert.Equal(t, exitUsage, code, name)
		assert.Contains(t, errs, says)
	}
}
