package main

import (
	"fmt"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/faults"
)

// again are the harms to a service that recovers from another. Each call that fails costs it a try, 1, 2, 4 … s apart.
func again() []harm {
	var out []harm
	for _, group := range []string{"open", "read", "write", "sync", "cut"} {
		out = append(out, harm{group, "error=EIO", onceOnly}, harm{group, "error=EIO", 2}, harm{group, "signal=SIGKILL", onceOnly})
	}
	return append(out, harm{"open", "error=EMFILE", 2}, harm{"write", "error=ENOSPC", onceOnly})
}

// after is a harm to the n-th call of a service that has lost a sync, or, where syncs are harmed themselves, a write.
func (h harm) after(n int) faults.Tamper {
	t := h.at(n)
	switch h.group {
	case "sync", "open", "read", "cut":
		t.Before = &faults.Tamper{Calls: callGroups["write"], How: "error=EIO", First: 1}
	default:
		t.Before = &faults.Tamper{Calls: callGroups["sync"], How: "error=EIO", First: 1}
	}
	return t
}

// recovering lets a question meet the first fault and the service the second as it recovers, until it is back or dead; then it is killed, started
// again and all is gathered. It returns how many of the calls of the second there were.
func (l *loop) recovering(t *testing.T, tamper faults.Tamper) (count int, e *evidence) {
	t.Helper()
	s := l.home.copied(t)
	tamper.Files = s.files()
	s.start()
	s.must(turn(t, s.rig, 5, 5))
	log := filepath.Join(t.TempDir(), "calls")
	trace, err := faults.Attach(s.cmd.Process.Pid, tamper, log)
	require.NoError(t, err)
	s.by = &tamper
	q := turn(t, s.rig, -5, 5)
	q.ReplacesPermitId = lastPermit(s)
	_, err = s.call(q)
	assert.Error(t, err, "the first fault is met")
	s.withdraw()
	s.recovers()
	if s.alive() {
		s.withdraw()
	}
	s.kill()
	trace.Detach()
	count, err = tamper.Count(log)
	require.NoError(t, err)
	return count, s.gather()
}

// TestNthSystemCallWhileItRecovers: a fault while the service recovers from another, in the same process. It comes back by itself all the same,
// or dies, and nothing that was told is lost.
func TestNthSystemCallWhileItRecovers(t *testing.T) {
	if os.Getenv("KEEPCLEAR_STRACE") == "" {
		t.Skip("set KEEPCLEAR_STRACE=1 (strace)")
	}
	l := newLoop(t)
	type run struct {
		harm harm
		n    int
	}
	var runs []run
	counts := map[string]int{}
	for _, h := range again() {
		if counts[h.group] == 0 {
			nothing := h.after(1)
			nothing.How = ""
			count, e := l.recovering(t, nothing)
			require.Empty(t, e.judge())
			counts[h.group] = count
		}
		for n := 1; n <= counts[h.group]; n++ {
			runs = append(runs, run{h, n})
		}
	}
	all := len(runs)
	runs = sampled(runs, howMany(all, againInCI))
	var met atomic.Int64
	t.Run("n", func(t *testing.T) {
		for _, r := range runs {
			t.Run(fmt.Sprintf("%s %s %s/%d", r.harm.group, r.harm.how, r.harm.lasts(), r.n), func(t *testing.T) {
				t.Parallel()
				count, e := l.recovering(t, r.harm.after(r.n))
				assert.Empty(t, e.judge())
				if count >= r.n {
					met.Add(1)
				}
			})
		}
	})
	t.Logf("%d of %d recoveries, in %d of which the second fault was met", len(runs), all, met.Load())
	assert.Greater(t, met.Load(), int64(len(runs))*7/10, "the faults are met")
}
