package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"
)

// test is one test function of a suite.
type test struct {
	name string
	took time.Duration // alone, unbroken
	all  bool          // whether it counts as reaching everything: the changed files are no Go
	seen map[int]bool  // the mutants whose place it reaches
}

func (t *test) reaches(id int) bool { return t.all || t.seen[id] }

// suite is the tests of one package, built with the mutants of a room.
type suite struct {
	o       options
	dir     string // of the tests
	scratch string
	bin     string
	all     bool
	env     []string // of the runs that are unbroken
	once    sync.Once
	err     error
	tests   []*test
}

func newSuite(o options, dir, scratch string, all bool) *suite {
	return &suite{o: o, dir: dir, scratch: scratch, all: all, bin: filepath.Join(scratch, filepath.Base(dir)+".test")}
}

// errRed says that a test fails with nothing changed: such a suite would call every mutant killed.
var errRed = errors.New("a test is red with no mutant on")

// forRapid tells package rapid to write nothing into the tree, to draw the same cases each time, and not to look for smaller ones.
func forRapid() []string {
	return []string{"RAPID_NOFAILFILE=1", "RAPID_SEED=1", "RAPID_SHRINKTIME=1ms"}
}

// ready builds the suite and runs each of its tests once, unbroken, to see that it passes, what it reaches and how long it takes.
func (s *suite) ready() error {
	s.once.Do(func() { s.err = s.measure() })
	return s.err
}

func (s *suite) measure() error {
	cmd := exec.Command("go", "test", "-c", "-overlay", overlayPath(s.scratch), "-o", s.bin, "./"+s.dir)
	cmd.Dir = s.o.root
	if said, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("building the tests of %s: %w\n%s", s.dir, err, said)
	}
	if _, err := os.Stat(s.bin); err != nil {
		return nil // it has no tests yet
	}
	list := exec.Command(s.bin, "-test.list", "^(Test|Example|Fuzz)")
	list.Dir = filepath.Join(s.o.root, s.dir)
	said, err := list.Output()
	if err != nil {
		return fmt.Errorf("listing the tests of %s: %w", s.dir, err)
	}
	for _, n := range strings.Fields(string(said)) {
		s.tests = append(s.tests, &test{name: n, all: s.all, seen: map[int]bool{}})
	}
	var fails []error
	var mu sync.Mutex
	inParallel(s.o.jobs, len(s.tests), func(i int) {
		if err := s.alone(s.tests[i]); err != nil {
			mu.Lock()
			defer mu.Unlock()
			fails = append(fails, err)
		}
	})
	sort.SliceStable(s.tests, func(i, j int) bool { return s.tests[i].took < s.tests[j].took })
	return errors.Join(fails...)
}

// alone runs one test, unbroken. One that fails may do so once: the machine may be busy.
func (s *suite) alone(t *test) error {
	var r result
	for range 2 {
		file := filepath.Join(s.scratch, filepath.Base(s.dir)+"."+t.name+".seen")
		began := time.Now()
		r = s.run([]*test{t}, 3*time.Minute, append(s.env, envSeen+"="+file)...)
		t.took = time.Since(began)
		if !r.failed {
			text, _ := os.ReadFile(file) // none: it reaches nothing
			for _, l := range strings.Fields(string(text)) {
				id, err := strconv.Atoi(l)
				if err != nil {
					return fmt.Errorf("%s: %w", file, err)
				}
				t.seen[id] = true
			}
			return nil
		}
	}
	return fmt.Errorf("%w: %s %s: %s", errRed, s.dir, t.name, r.said)
}

// result is what one run of some tests gave.
type result struct {
	failed, late bool
	by           string // the test that failed
	said         string
}

var failedTest = regexp.MustCompile(`(?m)^\s*--- FAIL: (\S+)`)

// run runs some tests in a process group of their own, with bounded memory.
func (s *suite) run(tests []*test, limit time.Duration, env ...string) result {
	names := make([]string, len(tests))
	for i, t := range tests {
		names[i] = t.name
	}
	tmp, err := os.MkdirTemp(s.scratch, "tmp-")
	if err != nil {
		return result{failed: true, said: err.Error()}
	}
	defer os.RemoveAll(tmp)
	defer unmount(tmp)
	ctx, cancel := context.WithTimeout(s.o.ctx, limit+5*time.Second)
	defer cancel()
	cmd := s.command(ctx, names, limit)
	cmd.Env = slices.Concat(os.Environ(), []string{"TMPDIR=" + tmp}, forRapid(), env)
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &said
	if cmd.Run() == nil {
		return result{}
	}
	if cmd.Process != nil {
		_ = syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) // what it started
	}
	return failure(said.String(), names, ctx.Err() != nil)
}

func (s *suite) command(ctx context.Context, names []string, limit time.Duration) *exec.Cmd {
	cmd := exec.CommandContext(ctx, "sh", "-c", `ulimit -v 8000000; exec "$0" "$@"`, s.bin,
		"-test.failfast", "-test.timeout="+limit.String(), "-test.run=^("+strings.Join(names, "|")+")$")
	cmd.Dir = filepath.Join(s.o.root, s.dir)
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.Cancel = func() error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }
	cmd.WaitDelay = time.Second
	return cmd
}

// unmount takes away what a test that was ended left mounted below a folder: the tests of full disks mount small ones.
func unmount(below string) {
	text, err := os.ReadFile("/proc/self/mounts")
	if err != nil {
		return
	}
	for line := range strings.SplitSeq(string(text), "\n") {
		if f := strings.Fields(line); len(f) > 1 && strings.HasPrefix(f[1], below+"/") {
			_ = syscall.Unmount(f[1], syscall.MNT_DETACH)
		}
	}
}

// failure reads from what a run said which test noticed.
func failure(said string, names []string, late bool) result {
	r := result{failed: true, said: said[:min(len(said), 4000)], late: late || strings.Contains(said, "panic: test timed out")}
	if m := failedTest.FindStringSubmatch(said); m != nil {
		r.by = m[1]
	} else if !r.late {
		r.by = "a crash in one of " + clip(strings.Join(names, ", "))
	}
	return r
}

// inParallel does n things, jobs at a time.
func inParallel(jobs, n int, do func(i int)) {
	var wg sync.WaitGroup
	next := make(chan int)
	for range jobs {
		wg.Go(func() {
			for i := range next {
				do(i)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
}
