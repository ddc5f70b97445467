package main

import (
	"fmt"
	"path/filepath"
	"sync"
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

// recovering lets a question meet a sync that fails, and the service the second fault as it recovers from that, as often as it is to; then the
// fault is gone, and the service is back by itself or dead. It is killed, started again and all is gathered. It returns how many of the calls of
// the second fault there were, and whether it was met.
func (l *loop) recovering(t *testing.T, tamper faults.Tamper) (count int, met bool, e *evidence) {
	t.Helper()
	s := l.home.copied(t)
	s.start()
	s.must(turn(t, s.rig, 5, 5))
	first := faults.Tamper{Calls: callGroups["sync"], How: "error=EIO", First: 1, Files: s.files()}
	trace, err := faults.Attach(t.Context(), s.cmd.Process.Pid, first, filepath.Join(t.TempDir(), "first"))
	require.NoError(t, err)
	s.by = []faults.Tamper{first}
	q := turn(t, s.rig, -5, 5)
	q.ReplacesPermitId = lastPermit(s)
	_, err = s.call(q)
	assert.Error(t, err, "the first fault is met")
	trace.Detach()
	tamper.Files = s.files()
	s.by = append(s.by, tamper)
	log := filepath.Join(t.TempDir(), "second")
	trace, err = faults.Attach(t.Context(), s.cmd.Process.Pid, tamper, log)
	require.NoError(t, err)
	detach := sync.OnceFunc(trace.Detach)
	defer detach()
	s.withdraw()
	s.recovers(func() {
		if tamper.How != "" && tamper.Met(log) > max(0, tamper.Last-tamper.First) {
			detach()
		}
	})
	met = !s.alive() || tamper.Met(log) > 0
	s.withdraw()
	s.kill()
	detach()
	count, err = tamper.Count(log)
	require.NoError(t, err)
	return count, met, s.gather()
}

// whileItRecovers harms a service that recovers from another fault, in the same process. It comes back by itself all the same, or dies.
func (l *loop) whileItRecovers(t *testing.T) {
	type run struct {
		harm harm
		n    int
	}
	var runs []run
	counts := map[string]int{}
	for _, h := range again() {
		if counts[h.group] == 0 {
			count, _, e := l.recovering(t, faults.Tamper{Calls: callGroups[h.group]})
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
				_, was, e := l.recovering(t, r.harm.at(r.n))
				assert.Empty(t, e.judge())
				if was {
					met.Add(1)
				}
			})
		}
	})
	t.Logf("%d of %d recoveries, in %d of which the second fault was met", len(runs), all, met.Load())
	assert.NotZero(t, met.Load(), "the faults are met") // on a busy machine the service has tried again before strace has hold of it
}
