package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/faults"
)

// start is a record as the service before left it.
type start struct {
	name string
	left *stand
}

// starts are what a starting service may find, each with what its askers know: nothing; a log to recover and a permit to take back; a log
// that a kill tore in the middle of an entry; a record that had gone down for good when the service was killed.
func (l *loop) starts(t *testing.T) []start {
	t.Helper()
	empty := newStand(t, l.home.binary, l.home.rigs)
	open := l.home.copied(t)
	open.start()
	open.must(turn(t, open.rig, 5, 5))
	open.must(lock("heron")) // takes it back; the next one holds for the lock
	open.must(released(last[*pb.LockResponse](&open.history).GetLock().GetLockId()))
	open.must(turn(t, open.rig, -5, 5))
	open.kill()
	return []start{{"no record", empty}, {"an open permit", open},
		{"an entry torn by a kill", l.left(t, faults.Tamper{Calls: "pwrite64", How: "signal=SIGKILL", First: 4})},
		{"a record that was down", l.left(t, faults.Tamper{Calls: "fsync,fdatasync", How: "error=EIO", First: 1, Last: forGood})},
	}
}

// left is the record of a service that met a fault over a question, and was killed.
func (l *loop) left(t *testing.T, by faults.Tamper) *stand {
	t.Helper()
	s := l.home.copied(t)
	s.start()
	by.Files = s.files()
	trace, err := faults.Attach(t.Context(), s.cmd.Process.Pid, by, filepath.Join(t.TempDir(), "calls"))
	require.NoError(t, err)
	s.by = []faults.Tamper{by}
	_, err = s.call(turn(t, s.rig, 5, 5))
	require.Error(t, err)
	s.kill()
	trace.Detach()
	s.by = nil
	return s
}

// runStart starts the service under a fault that begins with it, asks if it answers, kills it and gathers. It returns what strace saw, and
// whether the fault was met.
func runStart(t *testing.T, from start, tamper faults.Tamper) (log string, met bool, e *evidence) {
	t.Helper()
	s := from.left.copied(t)
	s.isAway = false
	tamper.Files = s.files()
	log = filepath.Join(t.TempDir(), "calls")
	wrap := append(tamper.Command(log), "-D") // strace stands aside, so that the process is the service itself
	s.launch(wrap...)
	if tamper.How != "" {
		s.by = []faults.Tamper{tamper}
	}
	if s.answers() {
		_, _ = s.call(homedAt(s, 0, 0))
		_, _ = s.call(turn(t, s.rig, 5, 5))
		s.withdraw()
	} else {
		refusedStart(t, s, tamper)
	}
	met = strings.HasPrefix(tamper.How, "signal") && !s.alive()
	s.kill()
	waitFor(t, log)
	return log, met || tamper.Met(log) > 0, s.gather()
}

// refusedStart judges what a service says that does not start: the file, the cause, and never that it answers.
func refusedStart(t *testing.T, s *stand, by faults.Tamper) {
	t.Helper()
	if strings.HasPrefix(by.How, "signal") {
		return
	}
	said := s.out.String()
	assert.Equal(t, exitCheck, s.cmd.ProcessState.ExitCode(), said)
	assert.Contains(t, said, filepath.Dir(s.path), "the place is named")
	if strings.Contains(by.How, "ENOSPC") {
		assert.Contains(t, said, "room", "what to see to")
	}
	named := false
	for _, word := range wordsOf(by) {
		named = named || strings.Contains(said, word)
	}
	assert.True(t, named, "%s: the start does not name the fault (one of %q): %s", by, wordsOf(by), said)
}

// waitFor waits until strace, which stands aside, has written its log to the end.
func waitFor(t *testing.T, log string) {
	t.Helper()
	require.Eventually(t, func() bool {
		b, err := os.ReadFile(log)
		return err == nil && (strings.Contains(string(b), "+++ killed") || strings.Contains(string(b), "+++ exited"))
	}, callTime, time.Millisecond)
}

// atTheStart harms a service that starts over what another left: faults after faults.
func (l *loop) atTheStart(t *testing.T) {
	type run struct {
		from start
		harm harm
		n    int
	}
	var runs []run
	for _, from := range l.starts(t) {
		log, _, e := runStart(t, from, faults.Tamper{Calls: allCalls()})
		require.Empty(t, e.judge(), "%s, with nothing wrong", from.name)
		for _, h := range harms() {
			count, err := faults.Tamper{Calls: callGroups[h.group]}.Count(log)
			require.NoError(t, err)
			for n := 1; n <= count; n++ {
				runs = append(runs, run{from, h, n})
			}
		}
	}
	all := len(runs)
	runs = sampled(runs, howMany(all, startsInCI))
	var met atomic.Int64
	t.Run("n", func(t *testing.T) {
		for _, r := range runs {
			t.Run(fmt.Sprintf("%s/%s %s %s/%d", r.from.name, r.harm.group, r.harm.how, r.harm.lasts(), r.n), func(t *testing.T) {
				t.Parallel()
				_, was, e := runStart(t, r.from, r.harm.at(r.n))
				assert.Empty(t, e.judge())
				if was {
					met.Add(1)
				}
			})
		}
	})
	t.Logf("%d of %d starts, in %d of which the fault was met", len(runs), all, met.Load())
	assert.Greater(t, met.Load(), int64(len(runs))/4, "the faults are met") // a start is spread over threads, each of which strace counts by itself
}
