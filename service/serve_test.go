package main

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// What no answer needs waits until the first was given, but not for ever, and not beyond the end.
func TestFirstAnswerIsWaitedFor(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		never, answered := make(chan struct{}), make(chan struct{})
		began := time.Now()
		letFirst(t.Context(), never)
		assert.Equal(t, firstWithin, time.Since(began), "nobody asks")

		began = time.Now()
		time.AfterFunc(firstWithin/5, func() { close(answered) })
		letFirst(t.Context(), answered)
		assert.Equal(t, firstWithin/5, time.Since(began), "somebody asked")

		began = time.Now()
		ctx, stop := context.WithTimeout(t.Context(), firstWithin/10)
		defer stop()
		letFirst(ctx, never)
		assert.Equal(t, firstWithin/10, time.Since(began), "the service is told to stop")
	})
}

// A service that cannot do its work does not start, and says what is wrong, where, and what to do.
func TestServeRefusesToStart(t *testing.T) {
	t.Parallel()
	rigs, dir := rigFolder(t), t.TempDir()
	file := filepath.Join(dir, "file")
	require.NoError(t, os.WriteFile(file, []byte("no record, and long enough to be taken for one by its size alone"), 0o600))
	record := filepath.Join(dir, "r.keepclear")
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer taken.Close()
	for name, c := range map[string]struct {
		args []string
		code int
		says []string
	}{
		"every address":            {[]string{"--listen", "0.0.0.0:7413"}, exitCheck, []string{"0.0.0.0:7413", "beyond this machine", "127.0.0.1:7413"}},
		"every address, unnamed":   {[]string{"--listen", ":7413"}, exitCheck, []string{"beyond this machine"}},
		"every address, version 6": {[]string{"--listen", "[::]:7413"}, exitCheck, []string{"beyond this machine"}},
		"another machine's name":   {[]string{"--listen", "pier.example:7413"}, exitCheck, []string{"beyond this machine"}},
		"no address":               {[]string{"--listen", "7413"}, exitCheck, []string{`"7413"`, "host:port"}},
		"an address that is taken": {[]string{"--listen", taken.Addr().String()}, exitCheck, []string{taken.Addr().String(), "--listen"}},
		"no rigs folder":           {[]string{"--rigs", filepath.Join(dir, "nowhere")}, exitCheck, []string{"nowhere", "no such file", "--rigs"}},
		"no rig file":              {[]string{"--rigs", t.TempDir()}, exitCheck, []string{"no rig file", "check --blank"}},
		"a record that is none":    {[]string{"--record", file}, exitCheck, []string{file, "not a database"}},
		"a record in a file":       {[]string{"--record", filepath.Join(file, "r.keepclear")}, exitCheck, []string{file, "not a directory", "--record"}},
		"a folder as record":       {[]string{"--record", dir}, exitCheck, []string{dir}},
		"both kinds of rig":        {[]string{"--practice", "heron"}, exitUsage, []string{"not both"}},
		"a word too many":          {[]string{"now"}, exitUsage, []string{`"now"`}},
		"an unknown flag":          {[]string{"--insecure"}, exitUsage, []string{"insecure"}},
		"a clock of no worth":      {[]string{"--clock-within", "0"}, exitUsage, []string{"--clock-within 0"}},
		"a clock that is none":     {[]string{"--clock-within", "NaN"}, exitUsage, []string{"--clock-within NaN"}},
	} {
		args := append([]string{"serve", "--rigs", rigs, "--record", record, "--listen", "127.0.0.1:0"}, c.args...)
		code, out := ran(t, args...)
		assert.Equal(t, c.code, code, "%s: %s", name, out)
		for _, s := range c.says {
			assert.Contains(t, out, s, name)
		}
		assert.NotContains(t, out, "answers on", name)
	}
	code, out := ran(t, "serve", "--practice", "crane", "--record", record)
	assert.Equal(t, exitCheck, code)
	assert.Contains(t, out, "heron is the only one")
	code, _ = ran(t, "serve", "--help")
	assert.Equal(t, exitDone, code)
}

// Two services never write one record.
func TestSecondServiceOnOneRecordIsRefused(t *testing.T) {
	t.Parallel()
	rigs, record := rigFolder(t), filepath.Join(t.TempDir(), "r.keepclear")
	_, stop := served(t, "--rigs", rigs, "--record", record)
	code, out := ran(t, "serve", "--rigs", rigs, "--record", record, "--listen", "127.0.0.1:0")
	assert.Equal(t, exitCheck, code)
	assert.Contains(t, out, record)
	assert.Contains(t, out, "in use")
	code, out = stop()
	assert.Equal(t, exitDone, code, out)
	assert.Contains(t, out, "everything answered is on record")
	assert.Contains(t, out, "crush fingers", "the cautions are said at every start")
}

// Nor do they by two names of it: the second, on a symbolic link or a hard one, is refused and leaves the first be.
func TestSecondServiceOnALinkIsRefused(t *testing.T) {
	t.Parallel()
	rigs, dir := rigFolder(t), t.TempDir()
	record := filepath.Join(dir, "r.keepclear")
	conn, stop := served(t, "--rigs", rigs, "--record", record)
	c, r := pb.NewMotionServiceClient(conn), heron(t)
	home(t, c, r)
	for name, link := range map[string]func(old, new string) error{"symbolic": os.Symlink, "hard": os.Link} {
		by := filepath.Join(dir, name)
		require.NoError(t, link(record, by))
		code, out := ran(t, "serve", "--rigs", rigs, "--record", by, "--listen", "127.0.0.1:0")
		assert.Equal(t, exitCheck, code, name)
		assert.Contains(t, out, map[string]string{"symbolic": "in use by another service", "hard": "more than one name"}[name])
		require.NoError(t, os.Remove(by))
		beside, err := filepath.Glob(by + "*")
		require.NoError(t, err)
		assert.Empty(t, beside, name)
	}
	out, err := c.Ask(t.Context(), turn(t, r, 5, 5))
	require.NoError(t, err)
	assert.Equal(t, pb.Verdict_VERDICT_ALLOW, out.GetJudgement().GetVerdict(), said(out.GetJudgement()))
	code, said := stop()
	assert.Equal(t, exitDone, code, said)
	assert.NotContains(t, said, "the service was restarted")
}

// Two files that describe one rig: which of them holds?
func TestTwoFilesOfOneRigAreRefused(t *testing.T) {
	t.Parallel()
	rigs := rigFolder(t)
	content, err := os.ReadFile(filepath.Join(rigs, "heron.yaml"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(rigs, "heron2.yaml"), content, 0o600))
	code, out := ran(t, "serve", "--rigs", rigs, "--record", filepath.Join(t.TempDir(), "r.keepclear"), "--listen", "127.0.0.1:0")
	assert.Equal(t, exitCheck, code)
	assert.Contains(t, out, filepath.Join(rigs, "heron2.yaml")+`: rig: wanted an id of its own, got "heron", which `+filepath.Join(rigs, "heron.yaml")+" has too; change rig and end in one of the two")
}

// A file with something to look at again serves, and the start says so: a tube of 25 mm may be one of 25 cm.
func TestStartSaysWhatToLookAtAgain(t *testing.T) {
	t.Parallel()
	rigs := rigFolder(t)
	file := filepath.Join(rigs, "heron.yaml")
	content, err := os.ReadFile(file)
	require.NoError(t, err)
	thin := strings.Replace(string(content), "tube_diameter_mm: 120", "tube_diameter_mm: 25", 1)
	require.NoError(t, os.WriteFile(file, []byte(thin), 0o600))
	conn, stop := served(t, "--rigs", rigs, "--record", filepath.Join(t.TempDir(), "r.keepclear"))
	_, err = pb.NewRigServiceClient(conn).ListRigs(t.Context(), &pb.ListRigsRequest{}) // answered once the banner is out
	require.NoError(t, err)
	_, out := stop()
	assert.Contains(t, out, "To look at again in the file of heron: 1 (check FILE names all), as\n  "+file+":26: tape.tube_diameter_mm: wanted a length of 40 mm or more")
}

// A start that is refused names every fault of every file, limits too, and how to serve the rest.
func TestRefusedStartNamesEveryFile(t *testing.T) {
	t.Parallel()
	rigs := rigFolder(t)
	put := func(name, content string) string {
		path := filepath.Join(rigs, name)
		require.NoError(t, os.WriteFile(path, []byte(content), 0o600))
		return path
	}
	whole, err := os.ReadFile(filepath.Join(rigs, "heron.yaml"))
	require.NoError(t, err)
	renamed := strings.NewReplacer("rig: heron", "rig: crane", "end: heron", "end: crane").Replace(string(whole))
	crane := put("crane.yaml", strings.NewReplacer("height_m: 640", "height_m: high", "by: sensor", "by: smell").Replace(renamed))
	egret := put("egret.yaml", "rig: egret\n")
	twin := put("twin.yaml", string(whole))
	put("limits.yaml", "sky/floor:\n  altitude_deg: low\n...\n")
	made := filepath.Join(t.TempDir(), "r.keepclear")
	code, out := ran(t, "serve", "--rigs", rigs, "--record", made, "--listen", "127.0.0.1:0")
	assert.Equal(t, exitCheck, code)
	assert.NoFileExists(t, made, "a start that is refused makes no record")
	for _, says := range []string{
		crane + ":11: site.height_m", crane + ":71: homing.by", egret + ":1: title", twin + `: rig: wanted an id of its own`, "limits.yaml", "altitude_deg",
		crane + ", " + egret + ", " + twin + " do not load: mend them (check FILE says more), or move them out of the folder to serve heron without",
	} {
		assert.Contains(t, out, says)
	}
	assert.Equal(t, 1, strings.Count(out, "limits.yaml:2: sky/floor"), "the facility's fault is told once")
}

// A rig file, a class or limits cut short anywhere never serve: the start names the file.
func TestFirstStartWithACutFile(t *testing.T) {
	t.Parallel()
	step := 192 // odd to the lines' lengths, so that every kind of place is cut
	if long() {
		step = 64
	}
	limits := "sky/floor:\n  altitude_deg: 5\nsun/apart:\n  separation_deg: 35\npose/fresh:\n  age_s: 8\n...\n"
	dir := rigFolder(t)
	whole := map[string][]byte{"limits.yaml": []byte(limits)}
	for _, name := range []string{"curlew.yaml", "wren.yaml"} {
		content, err := os.ReadFile(filepath.Join("..", "testdata", "rigs", name))
		require.NoError(t, err)
		whole[name] = content
	}
	class, err := os.ReadFile(filepath.Join("..", "testdata", "rigs", "heavy-germans.yaml"))
	require.NoError(t, err)
	whole["heavy-germans.yaml"] = class
	heron, err := os.ReadFile(filepath.Join(dir, "heron.yaml"))
	require.NoError(t, err)
	whole["heron.yaml"] = heron
	for name, content := range whole {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), content, 0o600))
	}
	load := func() error {
		files, facility, err := readRigs(dir)
		if err == nil {
			_, err = newMembers(files, facility)
		}
		return err
	}
	require.NoError(t, load())
	for name, content := range whole {
		path := filepath.Join(dir, name)
		for n := 0; n < len(content)-1; n += step {
			require.NoError(t, os.WriteFile(path, content[:n], 0o600))
			err := load()
			require.Error(t, err, "%s cut to %d bytes", name, n)
			assert.Contains(t, err.Error(), name, "cut to %d bytes", n)
		}
		require.NoError(t, os.WriteFile(path, content, 0o600))
	}
	require.NoError(t, load())
}

// The service says which limits bind, by whose word, and how far they may be moved; checking a file stores nothing.
func TestRulesAndFilesAreDescribed(t *testing.T) {
	t.Parallel()
	dir := rigFolder(t)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "limits.yaml"), []byte("sky/floor:\n  altitude_deg: 5\n...\n"), 0o600))
	conn, stop := served(t, "--rigs", dir, "--record", filepath.Join(t.TempDir(), "r.keepclear"))
	rules := pb.NewRuleServiceClient(conn)
	limit := func(rig, rule, name string) *pb.Limit {
		r, err := rules.ListRules(t.Context(), &pb.ListRulesRequest{Rig: rig})
		require.NoError(t, err)
		require.Len(t, r.GetRulesSha256(), 32)
		for _, one := range r.GetRules() {
			for _, l := range one.GetLimits() {
				if one.GetRuleId() == rule && l.GetName() == name {
					return l
				}
			}
		}
		require.Failf(t, "limit", "no %s %s of %q", rule, name, rig)
		return nil
	}
	for _, c := range []struct {
		rig, rule, name, origin string
		value                   float64
	}{
		{"", "sky/floor", "altitude_deg", "facility", 5},
		{"heron", "sky/floor", "altitude_deg", "facility", 5},
		{"", "sun/apart", "separation_deg", "default", 30},
		{"heron", "travel/axis1", "high_deg", "rig heron", 97.5},
		{"heron", "permit", "start_within_s", "default", 10},
	} {
		l := limit(c.rig, c.rule, c.name)
		assert.Equal(t, c.origin, l.GetOrigin(), "%+v", c)
		assert.InDelta(t, c.value, l.GetValue(), 1e-9, "%+v", c)
	}
	assert.Nil(t, limit("", "travel/axis1", "high_deg").Value, "every rig states its own")
	assert.InDelta(t, -30, limit("heron", "sky/floor", "altitude_deg").GetBound(), 1e-9)
	_, err := rules.ListRules(t.Context(), &pb.ListRulesRequest{Rig: "crane"})
	assert.Equal(t, codes.NotFound, status.Code(err))
	assert.ErrorContains(t, err, `no such rig: "crane"; there are [heron`)

	content, err := os.ReadFile(filepath.Join(dir, "heron.yaml"))
	require.NoError(t, err)
	check := func(content []byte) *pb.CheckRigResponse {
		r, err := pb.NewRigServiceClient(conn).CheckRig(t.Context(), &pb.CheckRigRequest{Content: content})
		require.NoError(t, err)
		return r
	}
	small, err := os.ReadFile(filepath.Join("..", "testdata", "rigs", "bittern.yaml")) // few parts: its map is soon made
	require.NoError(t, err)
	good := check(small)
	assert.True(t, good.GetLoads(), "%v", good.GetFaults())
	assert.Len(t, good.GetRigSha256(), 32)
	assert.NotEmpty(t, good.GetUnderstood())
	assert.Empty(t, good.GetFaults())
	bad := check(content[:len(content)/2])
	assert.False(t, bad.GetLoads())
	require.NotEmpty(t, bad.GetFaults())
	assert.NotEmpty(t, bad.GetFaults()[0].GetRemedy())
	assert.Empty(t, bad.GetRigSha256())
	looser := check([]byte(string(content[:len(content)-len("end: heron\n")]) + "  sky/floor:\n    altitude_deg: 0\n\nend: heron\n"))
	assert.False(t, looser.GetLoads(), "looser than the facility's: it would not load here")
	require.Len(t, looser.GetFaults(), 1)
	assert.Equal(t, "limits.sky/floor.altitude_deg", looser.GetFaults()[0].GetKey())
	assert.Equal(t, "at least 5 (set by facility)", looser.GetFaults()[0].GetWanted())
	assert.Positive(t, looser.GetFaults()[0].GetLine())
	var list *pb.ListEntriesResponse
	require.Eventually(t, func() bool { // the start waits for no flush
		list, err = pb.NewRecordServiceClient(conn).ListEntries(t.Context(), &pb.ListEntriesRequest{})
		return err == nil && len(list.GetEntries()) > 0
	}, 10*time.Second, 10*time.Millisecond)
	require.Len(t, list.GetEntries(), 1, "reading and checking leave no entry beside that of the start")
	assert.Equal(t, "The service begins, for heron.", list.GetEntries()[0].GetSentence())
	code, out := stop()
	assert.Equal(t, exitDone, code, out)
	names, err := filepath.Glob(filepath.Join(dir, "*"))
	require.NoError(t, err)
	assert.Len(t, names, 2, "nothing was stored")
}

// Without a word of when the clock was right, on a machine that does not keep it, nothing is allowed; the answer says why.
func TestServedQuestionIsAnsweredAndVerified(t *testing.T) {
	t.Parallel()
	record := filepath.Join(t.TempDir(), "r.keepclear")
	conn, stop := served(t, "--rigs", rigFolder(t), "--record", record)
	c, r := pb.NewMotionServiceClient(conn), heron(t)
	home(t, c, r)
	out, err := c.Ask(t.Context(), turn(t, r, 5, 5))
	require.NoError(t, err)
	assert.Equal(t, pb.Verdict_VERDICT_ALLOW, out.GetJudgement().GetVerdict(), said(out.GetJudgement()))
	code, text := ran(t, "verify", record)
	assert.Equal(t, exitDone, code, "while the service has it open: %s", text)
	stop()
	code, text = ran(t, "verify", record)
	assert.Equal(t, exitDone, code, text)
	assert.Contains(t, text, "heron")
	code, text = ran(t, "verify", record+"x")
	assert.Equal(t, exitCheck, code, text)
	code, _ = ran(t, "verify")
	assert.Equal(t, exitUsage, code)
}

func TestCheckCommand(t *testing.T) {
	t.Parallel()
	dir := rigFolder(t)
	file := filepath.Join(dir, "heron.yaml")
	code, out := ran(t, "check", file)
	assert.Equal(t, exitDone, code, out)
	assert.Contains(t, out, "It loads. Its digest:\n")
	content, err := os.ReadFile(file)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(file, content[:900], 0o600))
	code, out = ran(t, "check", file)
	assert.Equal(t, exitCheck, code)
	assert.Contains(t, out, "The file does not load.")
	roofed := strings.Replace(string(content), "has_no: [drag, roof, neighbours]", "has_no: [drag, neighbours]", 1)
	require.NotEqual(t, string(content), roofed)
	require.NoError(t, os.WriteFile(file, []byte(roofed), 0o600))
	for _, args := range [][]string{{"check", file}, {"serve", "--rigs", dir, "--record", filepath.Join(t.TempDir(), "r"), "--listen", "127.0.0.1:0"}} {
		code, out = ran(t, args...)
		assert.Equal(t, exitCheck, code, args)
		assert.Contains(t, out, "has_no: wanted roof in the list: no rule of this service judges any", "what would hold for ever does not load")
	}
	code, out = ran(t, "check", filepath.Join(dir, "nowhere.yaml"))
	assert.Equal(t, exitCheck, code)
	assert.Contains(t, out, "nowhere.yaml")
	for _, kind := range []string{"german", "fork", "alt-azimuth"} {
		code, out = ran(t, "check", "--blank", kind)
		assert.Equal(t, exitDone, code)
		assert.Contains(t, out, "kind: ")
	}
	for _, args := range [][]string{{"check"}, {"check", "a", "b"}, {"check", "--blank", "dobson"}, {"check", "--blank", "fork", "x"}, {}, {"sing"}} {
		code, out = ran(t, args...)
		assert.Equal(t, exitUsage, code, "%v: %s", args, out)
	}
	code, out = ran(t, "help")
	assert.Equal(t, exitDone, code)
	assert.Contains(t, out, "serve")
}
