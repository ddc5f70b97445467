package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/faults"
)

// The system calls that touch the record, by what they are for, and what is done to them. A delay of 0.3 s is longer than any answer
// takes, and far below an asker's patience.
var (
	callGroups = map[string]string{"write": "pwrite64,write", "sync": "fsync,fdatasync", "open": "openat", "cut": "ftruncate", "read": "pread64"}
)

const (
	onceOnly = 0
	forGood  = -1
)

// harm is one thing done to the n-th call of a group.
type harm struct {
	group, how string
	last       int // 0: once; −1: for good; else so many calls more, which meet the service as it recovers
}

func harms() []harm {
	return []harm{
		{"write", "error=EIO", onceOnly}, {"write", "error=EIO", forGood}, {"write", "error=EIO", 6}, {"write", "error=ENOSPC", onceOnly}, {"write", "error=ENOSPC", forGood},
		{"write", "delay_enter=300000", onceOnly}, {"write", "signal=SIGKILL", onceOnly},
		{"sync", "error=EIO", onceOnly}, {"sync", "error=EIO", forGood}, {"sync", "error=ENOSPC", onceOnly}, {"sync", "delay_enter=300000", onceOnly}, {"sync", "signal=SIGKILL", onceOnly},
		{"open", "error=EIO", onceOnly}, {"open", "error=EMFILE", forGood}, {"open", "signal=SIGKILL", onceOnly},
		{"cut", "error=EIO", onceOnly}, {"cut", "error=EIO", forGood}, {"cut", "signal=SIGKILL", onceOnly},
		{"read", "error=EIO", onceOnly}, {"read", "error=EIO", forGood},
	}
}

func (h harm) at(n int) faults.Tamper {
	t := faults.Tamper{Calls: callGroups[h.group], How: h.how, First: n, Last: h.last}
	if h.last > 0 {
		t.Last = n + h.last
	}
	return t
}

func (h harm) lasts() string {
	switch {
	case h.last < 0:
		return "for good"
	case h.last > 0:
		return "for a while"
	}
	return "once"
}

// loop is what all runs share: records of a homed, proven rig whose service was killed, so that each run begins with a log to recover; one
// of a rig at home, and one of a rig away from the pole.
type loop struct{ home, away *stand }

func newLoop(t *testing.T) *loop {
	t.Helper()
	binary, rigs := built(t), parkFolder(t)
	base := func(axis1, axis2 float64) *stand {
		s := newStand(t, binary, rigs)
		s.isAway = axis1 != 0
		s.start()
		s.must(homedAt(s, axis1, axis2))
		s.must(proved(s))
		s.kill()
		return s
	}
	return &loop{home: base(0, 0), away: base(away1, away2)}
}

// base is a stand for a kind.
func (l *loop) base(t *testing.T, k kind) *stand {
	if k.away {
		return l.away.copied(t)
	}
	return l.home.copied(t)
}

// run lets one thing be asked while a fault is made, has the rig stopped, takes the fault away and waits until the service is back by itself
// where that is wanted, kills it, starts it again and gathers what is found. It returns what strace saw, and whether the
// fault was met.
func (l *loop) run(t *testing.T, k kind, tamper faults.Tamper, comesBack bool) (log string, met bool, e *evidence) {
	t.Helper()
	s := l.base(t, k)
	tamper.Files = s.files()
	s.start()
	k.prepare(s)
	log = filepath.Join(t.TempDir(), "calls")
	trace, err := faults.Attach(t.Context(), s.cmd.Process.Pid, tamper, log)
	require.NoError(t, err)
	detach := sync.OnceFunc(trace.Detach)
	defer detach()
	if tamper.How != "" {
		s.by = []faults.Tamper{tamper}
	}
	k.act(s)
	if s.withdraw() && comesBack {
		detach()
		s.recovers(nil)
	}
	met = !s.alive()
	s.kill()
	detach()
	return log, met || tamper.Met(log) > 0, s.gather()
}

// job is one run of the loop.
type job struct {
	kind kind
	harm harm
	n    int
}

// Bounds of the loop. KEEPCLEAR_NTH=all runs every job; else as many as say, drawn by an even stride over all of them.
const (
	jobsInCI    = 400
	startsInCI  = 150
	againInCI   = 60
	jobsInRace  = 18 // with the race detector in the test, not in the service
	kindsInRace = 6
	// mostOfOne bounds the calls of one kind that are harmed in one way, by an even stride too: fifty askers and moving the log make
	// hundreds, of which one is like the other.
	mostOfOne = 25
)

// TestNthSystemCall fails the n-th system call that touches the record, n = 1, 2, … until a run has fewer, in every way of harms: of the service's
// own program, while each kind of question and report is asked of it, as it starts and as it recovers. Then it starts the service again with
// nothing wrong and judges all that was told.
func TestNthSystemCall(t *testing.T) {
	if os.Getenv("KEEPCLEAR_STRACE") == "" {
		t.Skip("set KEEPCLEAR_STRACE=1 (strace)")
	}
	l := newLoop(t)
	t.Run("canary", l.canary)
	t.Run("asked", l.asked)
	t.Run("at the start", l.atTheStart)
	t.Run("while it recovers", l.whileItRecovers)
}

// asked harms a running service.
func (l *loop) asked(t *testing.T) {
	jobs := l.jobs(t)
	all := len(jobs)
	jobs = sampled(jobs, howMany(all, jobsInCI))
	var met, told atomic.Int64
	t.Run("n", func(t *testing.T) {
		for i, j := range jobs {
			t.Run(fmt.Sprintf("%s/%s %s %s/%d", j.kind.name, j.harm.group, j.harm.how, j.harm.lasts(), j.n), func(t *testing.T) {
				t.Parallel()
				_, was, e := l.run(t, j.kind, j.harm.at(j.n), i%5 == 0)
				assert.Empty(t, e.judge())
				if was {
					met.Add(1)
				}
				told.Add(int64(len(e.calls) + len(e.again)))
			})
		}
	})
	t.Logf("%d of %d runs, in %d of which the fault was met; %d replies judged", len(jobs), all, met.Load(), told.Load())
	assert.Greater(t, met.Load(), int64(len(jobs))/2, "the faults are met")
}

// jobs counts the calls of each kind with nothing wrong, judges that too, and lists all runs.
func (l *loop) jobs(t *testing.T) (out []job) {
	t.Helper()
	all := kinds()
	if os.Getenv("KEEPCLEAR_NTH") == "" && !long() {
		all = sampled(all, kindsInRace)
	}
	for _, k := range all {
		log, _, e := l.run(t, k, faults.Tamper{Calls: allCalls()}, false)
		require.Empty(t, e.judge(), "%s, with nothing wrong", k.name)
		for _, h := range harms() {
			count, err := faults.Tamper{Calls: callGroups[h.group]}.Count(log)
			require.NoError(t, err)
			var these []job
			for n := 1; n <= count; n++ {
				these = append(these, job{k, h, n})
			}
			out = append(out, sampled(these, mostOfOne)...)
		}
	}
	return out
}

// allCalls are those of every group.
func allCalls() string {
	var groups []string
	for _, calls := range callGroups {
		groups = append(groups, calls)
	}
	return strings.Join(groups, ",")
}

// howMany runs are made of all.
func howMany(all, inCI int) int {
	switch want := os.Getenv("KEEPCLEAR_NTH"); {
	case want == "all":
		return all
	case want != "":
		if n, err := strconv.Atoi(want); err == nil {
			return n
		}
	case long():
		return inCI
	}
	return jobsInRace
}

// sampled takes at most so many, by an even stride from the first.
func sampled[T any](all []T, most int) (out []T) {
	if len(all) <= most {
		return all
	}
	for i := range most {
		out = append(out, all[i*len(all)/most])
	}
	return out
}

// canary is a disk that says it has written and has not: the loop sees it, or it would see nothing.
func (l *loop) canary(t *testing.T) {
	lie := faults.Tamper{Calls: "pwrite64", How: "retval=4096", First: 1, Last: forGood} // as many as the longest of them asks for
	_, _, e := l.run(t, kinds()[0], lie, false)
	require.NotNil(t, e.calls[len(e.calls)-1].reply, "the service takes the disk at its word")
	wrong := strings.Join(e.judge(), "\n")
	assert.Contains(t, wrong, "as the crash left it: ")
	assert.Contains(t, wrong, "it ends before this one")
	assert.Contains(t, wrong, "told, and not on record")
}
