package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The README shows lines of the example program, in its order, so that what is copied compiles.
func TestReadmeShowsTheExampleAsItIs(t *testing.T) {
	t.Parallel()
	readme, err := os.ReadFile("../README.md")
	require.NoError(t, err)
	program, err := os.ReadFile("../clients/go/example/main.go")
	require.NoError(t, err)
	_, block, found := strings.Cut(string(readme), "```go\n")
	require.True(t, found)
	block, _, _ = strings.Cut(block, "```")
	rest := string(program)
	for _, line := range strings.Split(strings.TrimRight(block, "\n"), "\n") {
		_, after, there := strings.Cut(rest, "\n"+line+"\n")
		require.True(t, there, "this line of the README is not in clients/go/example/main.go, or not in this order:\n%s", line)
		rest = "\n" + after
	}
}

// The example program runs, as it stands, against the practice rig.
func TestTheExampleProgramRuns(t *testing.T) {
	if os.Getenv("KEEPCLEAR_CI") == "" {
		t.Skip("set KEEPCLEAR_CI=1 to build the example program and run it")
	}
	binary := filepath.Join(t.TempDir(), "example")
	out, err := exec.Command("go", "build", "-o", binary, "../clients/go/example").CombinedOutput()
	require.NoError(t, err, "%s", out)
	conn, _ := servedPractice(t)
	out, err = exec.Command(binary, "-at-address", conn.Target()).CombinedOutput()
	require.NoError(t, err, "%s", out)
	assert.Equal(t, "ALLOW  Every rule that applies passed.\ndone\n", string(out))
	assert.Nil(t, rigOf(t, conn).GetPermit(), "it gave its leave back")
}
