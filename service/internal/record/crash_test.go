package record_test

import (
	"bufio"
	"encoding/hex"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/store"
)

// What a child process is told by its environment.
const (
	childPath  = "KEEPCLEAR_TEST_CHILD"      // the record that it appends to until it dies
	childWeak  = "KEEPCLEAR_TEST_CHILD_WEAK" // set: with synchronous NORMAL, as a canary
	childLimit = "KEEPCLEAR_TEST_CHILD_COUNT"
)

// child appends for ever, four at a time on two chains, and prints each entry once it is answered.
func child(path string) {
	r, err := record.Open(path, record.Options{Store: store.Options{WeakSync: os.Getenv(childWeak) != ""}})
	if err != nil {
		fmt.Println("refused:", err)
		os.Exit(3)
	}
	limit, _ := strconv.Atoi(os.Getenv(childLimit))
	for n := 1; limit == 0 || n <= limit; n++ {
		var batch []record.Written
		for i := range 4 {
			chain := []string{"pier", "roof"}[i%2]
			on := r.Head(chain)
			d := draft(chain, int(on.Number)+1)
			d.Body = noise(3000)
			d.Awaited = n%2 == 0 // by his own flush, and by the flusher's
			w, err := r.Append(d, on)
			if err != nil {
				fmt.Println("refused:", err)
				os.Exit(3)
			}
			batch = append(batch, w)
		}
		for _, w := range batch {
			if err := w.Wait(); err != nil {
				fmt.Println("refused:", err)
				os.Exit(3)
			}
			fmt.Printf("%s %d %x\n", w.Entry.Chain, w.Entry.Number, w.Entry.Hash)
		}
	}
	_ = r.Close()
}

// appender is a running child.
type appender struct {
	cmd     *exec.Cmd
	lines   *bufio.Scanner
	last    map[string]record.Place
	refused string
}

func startAppender(t *testing.T, path string, weak bool, wrap ...string) *appender {
	t.Helper()
	args := append(wrap, os.Args[0])
	cmd := exec.Command(args[0], args[1:]...)
	cmd.Env = append(os.Environ(), childPath+"="+path)
	if weak {
		cmd.Env = append(cmd.Env, childWeak+"=1")
	}
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	cmd.Stderr = os.Stderr
	require.NoError(t, cmd.Start())
	return &appender{cmd: cmd, lines: bufio.NewScanner(out), last: map[string]record.Place{}}
}

// read takes answered entries from the child; it tells whether there was one.
func (a *appender) read(t *testing.T) bool {
	if !a.lines.Scan() {
		return false
	}
	f := strings.Fields(a.lines.Text())
	if len(f) != 3 {
		a.refused = a.lines.Text()
		return false
	}
	p := record.Place{Chain: f[0]}
	var err error
	p.Number, err = strconv.ParseUint(f[1], 10, 64)
	require.NoError(t, err, a.lines.Text())
	raw, err := hex.DecodeString(f[2])
	require.NoError(t, err)
	copy(p.Hash[:], raw)
	a.last[p.Chain] = p
	return true
}

// receipts are the last answered entries; by their hashes they vouch for all before them.
func (a *appender) receipts() (out []record.Place) {
	for _, p := range a.last {
		out = append(out, p)
	}
	return out
}

// drain reads what the child had answered before it died, and buries it.
func (a *appender) drain(t *testing.T) {
	for a.read(t) {
	}
	_ = a.cmd.Wait() // it was killed
}

// TestKilled: SIGKILL at any instant; every answered entry is readable, and nothing half-written is.
func TestKilled(t *testing.T) {
	path := newPath(t)
	for round := range 5 {
		a := startAppender(t, path, false)
		for range 10 + 17*round {
			require.True(t, a.read(t), a.refused)
		}
		require.NoError(t, a.cmd.Process.Kill())
		a.drain(t)
		res, err := record.VerifyFile(t.Context(), path, record.VerifyOptions{Receipts: a.receipts()}, store.Options{})
		require.NoError(t, err)
		require.True(t, res.Whole, "as the crash left it: %s", res.Sentence)
		r, err := record.Open(path, record.Options{Receipts: a.receipts()})
		require.NoError(t, err)
		require.NoError(t, r.Close())
	}
}

// TestSystemCallsFailing injects errors and death from outside, at the n-th sync and write of the whole process.
func TestSystemCallsFailing(t *testing.T) {
	if os.Getenv("KEEPCLEAR_STRACE") == "" {
		t.Skip("set KEEPCLEAR_STRACE=1 (strace)")
	}
	for _, fault := range []string{
		"fsync,fdatasync:error=EIO", "pwrite64:error=ENOSPC", "pwrite64:error=EIO", "fsync,fdatasync:signal=SIGKILL", "pwrite64:signal=SIGKILL",
		"ftruncate:error=EIO", "openat:error=EMFILE",
	} {
		for _, when := range []string{"when=%d", "when=%d+"} {
			t.Run(fault+":"+when, func(t *testing.T) {
				for _, n := range []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 15, 19, 24, 30, 40, 60, 90} {
					injectAt(t, fault+":"+fmt.Sprintf(when, n))
				}
			})
		}
	}
}

func injectAt(t *testing.T, inject string) {
	path := newPath(t)
	t.Setenv(childLimit, "12")
	calls := strings.SplitN(inject, ":", 2)[0]
	args := []string{"strace", "-f", "-qq", "-o", "/dev/null", "-e", "trace=" + calls, "-e", "signal=none", "-e", "inject=" + inject}
	if strings.HasPrefix(inject, "openat") {
		args = append(args, "-P", path, "-P", path+"-wal", "-P", path+"-shm")
	}
	a := startAppender(t, path, false, args...)
	a.drain(t)
	if _, err := os.Stat(path); err != nil {
		require.Empty(t, a.last, "%s: answered without a file", inject)
		return
	}
	r, err := record.Open(path, record.Options{Receipts: a.receipts()})
	require.NoError(t, err, inject)
	defer func() { require.NoError(t, r.Close()) }()
	res, err := r.Verify(t.Context(), record.VerifyOptions{Receipts: a.receipts()})
	require.NoError(t, err)
	require.True(t, res.Whole, "%s: %s", inject, res.Sentence)
}

// TestDiskFull: a small file system fills up; nothing is answered that is not kept, and once there is room the record goes
// on without a restart.
func TestDiskFull(t *testing.T) {
	if os.Getuid() != 0 {
		t.Skip("mounting a small file system takes root")
	}
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=1m"); err != nil {
		t.Skipf("no tmpfs can be mounted here: %v", err)
	}
	t.Cleanup(func() { _ = syscall.Unmount(dir, 0) })
	step := newStepper()
	r := open(t, filepath.Join(dir, "record"), record.Options{After: step.after})
	require.NoError(t, os.WriteFile(filepath.Join(dir, "ballast"), make([]byte, 700<<10), 0o600))
	var failed error
	count := 0
	for n := 1; failed == nil; n++ {
		d := draft("pier", n)
		d.Body = noise(8 << 10)
		w, err := r.Append(d, r.Head("pier"))
		require.NoError(t, err)
		if failed = w.Wait(); failed == nil {
			count++
		}
	}
	require.ErrorIs(t, failed, store.ErrCommit)
	assert.ErrorContains(t, failed, "full", "the cause is named")
	t.Logf("full after %d entries: %v", count, failed)
	require.NoError(t, os.Remove(filepath.Join(dir, "ballast")))
	<-step.delays
	step.fire <- time.Time{}
	require.Eventually(t, func() bool { return r.Down() == nil }, 5*time.Second, time.Millisecond)
	write(t, r, "pier", 1000)
	verifyWhole(t, r, count+1)
}
