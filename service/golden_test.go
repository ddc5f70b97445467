package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"
)

// go test ./service -run TestWhatTheCommandPrints -update writes testdata/vectors anew: read the difference before it is kept.
var update = flag.Bool("update", false, "write golden files anew")

// goldenTime is the service's clock in these tests, a dark instant at the practice rig's invented place. It stands still.
var goldenTime = time.Date(2026, 11, 14, 18, 20, 0, 0, time.UTC)

// commandDeny is the command's exit code for a deny, which the service's binary has none of.
const commandDeny = 4

// varying is what differs from run to run, and what stands for it in the golden files.
var varying = []struct {
	what *regexp.Regexp
	name string
}{
	{regexp.MustCompile(`\b[0-9a-f]{64}\b`), "<sha256>"},
	{regexp.MustCompile(`"[A-Za-z0-9+/]{43}="`), `"<sha256>"`},
	{regexp.MustCompile(`\b[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}\b`), "<id>"},
	{regexp.MustCompile(`\b[0-9a-f]{32}\b`), "<id>"},
	{regexp.MustCompile(`"stored": "[A-Za-z0-9+/=]*"`), `"stored": "<bytes>"`},
	{regexp.MustCompile(`\b20[0-9]{2}-[0-9]{2}-[0-9]{2}([T ])[0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]+)?)?Z?`), "<time>"},
	{regexp.MustCompile(`\b[0-9]{2}:[0-9]{2}(:[0-9]{2})?\b`), "<time>"},
	{regexp.MustCompile(`(<time>)\.[0-9]+`), "$1"},
	{regexp.MustCompile(`(clock_skew_s",\n *"number": |clock_skew_s +)[-0-9.]+`), "$1<skew>"},
	// What was worked out to so many digits: the last differ by processor (fused multiply-add), and how tight a bound is proven is
	// other tests' affair.
	{regexp.MustCompile(`-?\b[0-9]+\.[0-9]{4,}\b`), "<number>"},
	{regexp.MustCompile(`"tookDuration": "[0-9.]+s"`), `"tookDuration": "<took>"`},
	{regexp.MustCompile(`\b[0-9.]+ ?(µs|ms)\b`), "<took>"},
}

// still runs serve with a clock that stands still.
func still(t *testing.T) (address string) {
	t.Helper()
	out := &text{}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan int, 1)
	args := []string{"serve", "--listen", "127.0.0.1:0", "--clock-within", "1", "--rigs", rigFolder(t), "--record", filepath.Join(t.TempDir(), "r.keepclear")}
	go func() { done <- run(ctx, args, nil, out, out, func() time.Time { return goldenTime }) }()
	stop := sync.OnceFunc(func() { cancel(); <-done })
	t.Cleanup(stop)
	return addressIn(t, out)
}

// What the command prints of the real service, for people and as JSON, and its exit codes. What differs from run to run is taken out.
func TestWhatTheCommandPrints(t *testing.T) {
	if os.Getenv("KEEPCLEAR_CI") == "" && !*update {
		t.Skip("set KEEPCLEAR_CI=1 to build the other command and hold what it prints to testdata/vectors")
	}
	binary := filepath.Join(t.TempDir(), "keepclear")
	out, err := exec.Command("go", "build", "-o", binary, "../clients/keepclear").CombinedOutput()
	require.NoError(t, err, "%s", out)
	address := still(t)
	conn := connect(t, address)
	defer conn.Close()
	sample := filepath.Join(t.TempDir(), "sample.json")
	content, err := protojson.Marshal(sampleOf(t, heron(t), goldenTime, 0, 0))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(sample, content, 0o600))

	for _, c := range []struct {
		file string // empty: only the code counts
		code int
		args []string
	}{
		{"ask-wrong-usage.txt", exitUsage, []string{"ask", "heron", "dance"}},
		{"ask-hold.txt", exitHold, []string{"ask", "heron", "slew", "--axis1", "5", "--axis2", "5", "--sample", sample, "--attended-by", "M. Tester"}},
		{"ask-hold.json", exitHold, []string{"ask", "heron", "slew", "--axis1", "5", "--axis2", "5", "--sample", sample, "--attended-by", "M. Tester", "--json"}},
		{"tell-homed.txt", exitDone, []string{"tell", "heron", "homed", "--person", "M. Tester"}},
		{"ask-deny.txt", commandDeny, []string{"ask", "heron", "slew", "--axis1", "120", "--axis2", "5", "--sample", sample, "--attended-by", "M. Tester"}},
		{"ask-deny.json", commandDeny, []string{"ask", "heron", "slew", "--axis1", "120", "--axis2", "5", "--sample", sample, "--attended-by", "M. Tester", "--json"}},
		{"ask-allow.txt", exitDone, []string{"ask", "heron", "slew", "--axis1", "5", "--axis2", "5", "--sample", sample, "--attended-by", "M. Tester", "--request-id", "question-of-the-golden-file"}},
		{"entries-show.txt", exitDone, []string{"entries", "show", "question-of-the-golden-file"}},
		{"entries-show.json", exitDone, []string{"entries", "show", "question-of-the-golden-file", "--json"}},
		{"", exitDone, []string{"withdraw", "heron"}},
		{"ask-allow.json", exitDone, []string{"ask", "heron", "slew", "--axis1", "5", "--axis2", "5", "--sample", sample, "--attended-by", "M. Tester", "--json"}},
		{"room.txt", exitDone, []string{"room", "heron", "--gap", "20", "--band", "90", "--what-if", "tape.floor_to_crossing_mm+=150"}},
		{"view.txt", exitDone, []string{"view", "heron", "--axis1", "60", "--axis2", "-40"}},
		{"rules.txt", exitDone, []string{"rules", "heron"}},
		{"verify.txt", exitDone, []string{"verify"}},
	} {
		var stdout, stderr bytes.Buffer
		cmd := exec.Command(binary, append(c.args, "--at-address", address)...)
		cmd.Stdout, cmd.Stderr = &stdout, &stderr
		code := 0
		if err := cmd.Run(); err != nil {
			var exit *exec.ExitError
			require.True(t, errors.As(err, &exit), "%v", err)
			code = exit.ExitCode()
		}
		assert.Equal(t, c.code, code, "%v: %s%s", c.args, &stdout, &stderr)
		if c.file != "" {
			golden(t, filepath.Join("..", "testdata", "vectors", c.file), stdout.Bytes(), stderr.Bytes())
		}
	}
}

// golden holds what was printed to a file, or writes the file.
func golden(t *testing.T, file string, out, errs []byte) {
	t.Helper()
	if filepath.Ext(file) == ".json" { // protojson varies its spaces on purpose
		var b bytes.Buffer
		require.NoError(t, json.Indent(&b, out, "", "  "), "%s", out)
		out = append(b.Bytes(), '\n')
	}
	got := append(out, errs...)
	for _, v := range varying {
		got = v.what.ReplaceAll(got, []byte(v.name))
	}
	if *update {
		require.NoError(t, os.WriteFile(file, got, 0o644))
		return
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Equal(t, string(want), string(got), "%s; go test ./service -update writes it anew (-run with the test's name)", file)
}
