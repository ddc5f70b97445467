package main

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/decide"
	"keepclear.example/keepclear/service/internal/limits"
)

// atNumber returns an entry of heron's chain.
func atNumber(t *testing.T, c pb.RecordServiceClient, number uint64) *pb.Entry {
	t.Helper()
	got, err := c.GetEntry(t.Context(), &pb.GetEntryRequest{Key: &pb.GetEntryRequest_Place{Place: &pb.EntryPlace{Chain: "heron", Number: number}}})
	require.NoError(t, err)
	return got.GetEntry()
}

// Months later a record says what judged: the digests of each entry stand for files beside it, and where others came into force there is an entry. Limits of
// the facility that were lost between two starts are looser from then on, which the start says too.
func TestWhatJudgedStandsBesideTheRecord(t *testing.T) {
	t.Parallel()
	dir, record, r := facilityFolder(t, "sky/floor:\n  altitude_deg: 4\n...\n"), filepath.Join(t.TempDir(), "r.keepclear"), heron(t)
	rewritten(t, dir, "rig: heron\n", "rig: heron\nclass: shared.yaml\n")
	require.NoError(t, os.WriteFile(filepath.Join(dir, "shared.yaml"), []byte("class: shared\nlimits: {sun/apart: {separation_deg: 35}}\nend: shared\n"), 0o600))
	conn, stop := served(t, "--rigs", dir, "--record", record)
	home(t, pb.NewMotionServiceClient(conn), r)
	first := atNumber(t, pb.NewRecordServiceClient(conn), 1)
	_, words := stop()
	assert.NotContains(t, words, "CHANGED")

	of := map[string]string{}
	for _, v := range first.GetRevisions() {
		of[v.GetOf()] = hex.EncodeToString(v.GetSha256())
	}
	folder := record + "-revisions"
	for name, holds := range map[string]string{"limits-" + of["limits"] + ".json": `"sky":{"floor":{"altitude_deg":4}`, "rules-" + of["rules"] + ".txt": "\npackage rules.sky.floor\n"} {
		text, err := os.ReadFile(filepath.Join(folder, name))
		require.NoError(t, err)
		sum := sha256.Sum256(text)
		assert.Contains(t, name, hex.EncodeToString(sum[:]))
		assert.Contains(t, string(text), holds)
	}
	kept := filepath.Join(folder, "rig-"+of["rig"])
	code, out := ran(t, "check", filepath.Join(kept, "heron.yaml"))
	assert.Equal(t, exitDone, code, out)
	assert.True(t, strings.HasSuffix(out, "\n"+of["rig"]+"\n"), out)
	listed, err := os.ReadDir(folder)
	require.NoError(t, err)
	assert.Len(t, listed, 3, "nothing half done is left")

	require.NoError(t, os.Remove(filepath.Join(dir, limitsFile)))
	rewritten(t, dir, "front_reach_mm: 520", "front_reach_mm: 521")
	conn, stop = served(t, "--rigs", dir, "--record", record)
	second := atNumber(t, pb.NewRecordServiceClient(conn), 2)
	_, words = stop()
	assert.Equal(t, pb.EntryKind_ENTRY_KIND_CHANGED, second.GetKind())
	assert.Regexp(t, `^Judged otherwise from here on: the rig file \([0-9a-f]{8}… before, [0-9a-f]{8}… now\); `+
		`the limits: sky/floor altitude_deg was 4 and is -3 \(LOOSER\)$`, second.GetSentence())
	at := strings.Index(words, "\nCHANGED since the last start: heron: ")
	require.Positive(t, at, words)
	told, _, _ := strings.Cut(words[at+1:], "\n\n")
	told, _, _ = strings.Cut(told, "\nkeepclear stopped")
	assert.Equal(t, "CHANGED since the last start: heron: "+strings.TrimPrefix(second.GetSentence(), "Judged otherwise from here on: ")+".", strings.Join(strings.Fields(told), " "))
	for line := range strings.Lines(told) {
		assert.LessOrEqual(t, len([]rune(strings.TrimSuffix(line, "\n"))), width, line)
	}
	assert.Greater(t, strings.Count(told, "\n  "), 0, told)
	listed, err = os.ReadDir(folder)
	require.NoError(t, err)
	assert.Len(t, listed, 5, "both revisions of limits and file")

	_, stop = served(t, "--rigs", dir, "--record", record)
	_, words = stop()
	assert.NotContains(t, words, "CHANGED", "it is told once")
}

// Where the folder is gone, or holds another text under the name, the digests are told, and no limit that nobody vouches for.
func TestRevisionsThatWereNotKept(t *testing.T) {
	t.Parallel()
	files, facility, err := readRigs(rigFolder(t))
	require.NoError(t, err)
	members, err := newMembers(files, facility)
	require.NoError(t, err)
	m, v := members[0], revisionsOf(filepath.Join(t.TempDir(), "r.keepclear"))
	const was = "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"
	digests := " (01234567… before, " + m.Revs["limits"][:8] + "… now; what they were cannot be read in r.keepclear-revisions: some may be LOOSER)"
	assert.Equal(t, "the limits"+digests, v.differs(m, "limits", was))
	require.NoError(t, v.keep(members, files))
	require.NoError(t, v.keep(members, files), "what is there stays")
	for _, name := range []string{"limits-" + m.Revs["limits"] + ".json", filepath.Join("rig-"+m.Revs["rig"], "heron.yaml")} {
		kept, err := os.ReadFile(filepath.Join(v.path, name))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(v.path, name), append([]byte("x\n"), kept...), 0o600))
		require.NoError(t, v.keep(members, files))
		mended, err := os.ReadFile(filepath.Join(v.path, name))
		require.NoError(t, err)
		assert.Equal(t, string(kept), string(mended), "what is spoilt is made good")
		require.NoFileExists(t, filepath.Join(v.path, name+".new"))
	}
	require.NoError(t, os.Rename(filepath.Join(v.path, "limits-"+m.Revs["limits"]+".json"), filepath.Join(v.path, "limits-"+was+".json")))
	assert.Equal(t, "the limits"+digests, v.differs(m, "limits", was))
	assert.Equal(t, "the rules (01234567… before, "+m.Revs["rules"][:8]+"… now)", v.differs(m, "rules", was))

	blocked := revisionsOf(filepath.Join(t.TempDir(), "r.keepclear"))
	require.NoError(t, os.WriteFile(blocked.path, nil, 0o600))
	require.ErrorContains(t, blocked.keep(members, files), "keeping what the record's digests stand for")
	assert.Empty(t, revised(&decide.Decider{}))
}

// Limits that moved are told with the looser ones first, whichever way is safe.
func TestLimitsThatMoved(t *testing.T) {
	t.Parallel()
	defs, err := limits.Read(policies.Files())
	require.NoError(t, err)
	set, err := limits.Merge(defs, limits.Layer{Name: "rig", Entries: []limits.Entry{
		{Rule: "travel/axis1", Name: "low_deg", Value: -90.0}, {Rule: "travel/axis1", Name: "high_deg", Value: 90.0},
		{Rule: "travel/axis2", Name: "low_deg", Value: -90.0}, {Rule: "travel/axis2", Name: "high_deg", Value: 90.0},
	}})
	require.NoError(t, err)
	before, err := flat(set.JSON())
	require.NoError(t, err)
	require.Len(t, before, len(defs))
	now, err := flat(set.JSON())
	require.NoError(t, err)
	assert.Empty(t, moved(before, now, set))
	before[[2]string{"sky/floor", "altitude_deg"}] = 5
	before[[2]string{"pose/fresh", "age_s"}] = 8
	before[[2]string{"sun/apart", "separation_deg"}] = 20
	before[[2]string{"solve/fresh", "age_s"}] = 200
	before[[2]string{"gone/rule", "mm"}] = 1.5
	delete(before, [2]string{"time/agree", "skew_s"})
	assert.Equal(t, []string{
		"pose/fresh age_s was 8 and is 10 (LOOSER)", "sky/floor altitude_deg was 5 and is -3 (LOOSER)",
		"solve/fresh age_s was 200 and is 120", "sun/apart separation_deg was 20 and is 30", "time/agree skew_s is new, 5", "gone/rule mm is none any more, it was 1.5",
	}, moved(before, now, set))
	for _, d := range defs {
		before[[2]string{d.Rule, d.Name}] += 1000
	}
	few := moved(before, now, set)
	require.Len(t, few, mostMoved+1)
	assert.Equal(t, fmt.Sprintf("and %d more", len(before)-mostMoved), few[mostMoved])
	_, err = flat([]byte("{"))
	require.Error(t, err)
}

// What moved for several rigs alike is told once at the start, though the limits of each are its own.
func TestWhatMovedForAllIsToldOnce(t *testing.T) {
	t.Parallel()
	dir, record, r := facilityFolder(t, "sky/floor:\n  altitude_deg: 4\n...\n"), filepath.Join(t.TempDir(), "r.keepclear"), heron(t)
	content, err := os.ReadFile(filepath.Join(dir, "heron.yaml"))
	require.NoError(t, err)
	owl := strings.NewReplacer("rig: heron", "rig: owl", "end: heron", "end: owl", "axis1_deg: [-97.5, 97.5]", "axis1_deg: [-60, 60]").Replace(string(content))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "owl.yaml"), []byte(owl), 0o600))
	conn, stop := served(t, "--rigs", dir, "--record", record)
	c := pb.NewMotionServiceClient(conn)
	home(t, c, r)
	_, err = c.Report(t.Context(), &pb.ReportRequest{RequestId: newID(), Rig: "owl", Asker: "test", Sample: sampleAt(t, r, 0, 0), Event: &pb.ReportRequest_Homed{Homed: &pb.Homed{By: pb.HomedBy_HOMED_BY_SENSED}}})
	require.NoError(t, err)
	stop()
	require.NoError(t, os.WriteFile(filepath.Join(dir, limitsFile), []byte("sky/floor:\n  altitude_deg: 6\n...\n"), 0o600))
	_, stop = served(t, "--rigs", dir, "--record", record)
	_, words := stop()
	assert.Equal(t, 1, strings.Count(words, "CHANGED"), words)
	assert.Contains(t, words, "\nCHANGED since the last start: heron, owl: the limits: sky/floor altitude_deg was\n  4 and is 6.\n")
}

// What a start that broke off left half done is cleared away, and what it left without its file gets it.
func TestWhatWasLeftHalfKept(t *testing.T) {
	t.Parallel()
	files, facility, err := readRigs(rigFolder(t))
	require.NoError(t, err)
	members, err := newMembers(files, facility)
	require.NoError(t, err)
	m, v := members[0], revisionsOf(filepath.Join(t.TempDir(), "r.keepclear"))
	folder := "rig-" + m.Revs["rig"]
	for _, dir := range []string{folder, "new-1", "rig-of-old"} {
		require.NoError(t, os.MkdirAll(filepath.Join(v.path, dir), 0o700))
	}
	for _, name := range []string{"new-1/heron.yaml", "limits-00.json.new", "rig-of-old/owl.yaml.new", "rig-of-old/owl.yaml"} {
		require.NoError(t, os.WriteFile(filepath.Join(v.path, name), []byte("half"), 0o600))
	}
	require.NoError(t, v.keep(members, files))
	var left []string
	require.NoError(t, filepath.WalkDir(v.path, func(path string, at os.DirEntry, err error) error {
		if err == nil && !at.IsDir() {
			left = append(left, strings.TrimPrefix(path, v.path+"/"))
		}
		return err
	}))
	assert.NoDirExists(t, filepath.Join(v.path, "new-1"))
	assert.ElementsMatch(t, []string{"limits-" + m.Revs["limits"] + ".json", "rules-" + m.Revs["rules"] + ".txt", folder + "/heron.yaml", "rig-of-old/owl.yaml"}, left)
	require.Error(t, flushFolder(filepath.Join(v.path, "none")))
}

// A class file may be called as the rig: the kept rig file does not take its place, and loads.
func TestAClassFileThatIsCalledAsTheRigIsKept(t *testing.T) {
	t.Parallel()
	dir := rigFolder(t)
	rewritten(t, dir, "rig: heron\n", "rig: heron\nclass: heron.yaml\n")
	require.NoError(t, os.Rename(filepath.Join(dir, "heron.yaml"), filepath.Join(dir, "north.yaml")))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "heron.yaml"), []byte("class: heron\nlimits: {sun/apart: {separation_deg: 35}}\nend: heron\n"), 0o600))
	files, facility, err := readRigs(dir)
	require.NoError(t, err)
	members, err := newMembers(files, facility)
	require.NoError(t, err)
	v := revisionsOf(filepath.Join(t.TempDir(), "r.keepclear"))
	for range 2 {
		require.NoError(t, v.keep(members, files))
		code, out := ran(t, "check", filepath.Join(v.path, "rig-"+members[0].Revs["rig"], "rig-heron.yaml"))
		assert.Equal(t, exitDone, code, out)
		assert.True(t, strings.HasSuffix(out, "\n"+members[0].Revs["rig"]+"\n"), out)
	}
}

// A digest may be another while every number is what it was: then it is the digests that are told, not nothing.
func TestLimitsOfWhichNoNumberMoved(t *testing.T) {
	t.Parallel()
	files, facility, err := readRigs(rigFolder(t))
	require.NoError(t, err)
	members, err := newMembers(files, facility)
	require.NoError(t, err)
	m, v := members[0], revisionsOf(filepath.Join(t.TempDir(), "r.keepclear"))
	require.NoError(t, v.keep(members, files))
	otherwise := append(m.Limits.JSON(), '\n')
	sum := sha256.Sum256(otherwise)
	was := hex.EncodeToString(sum[:])
	require.NoError(t, os.WriteFile(filepath.Join(v.path, "limits-"+was+".json"), otherwise, 0o600))
	assert.Equal(t, "the limits ("+was[:8]+"… before, "+m.Revs["limits"][:8]+"… now; every number is as it was)", v.differs(m, "limits", was))
}
