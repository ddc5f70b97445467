package main

import (
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/faults"
)

// The system calls that touch the record, by what they are for, and what is done to them. A delay of 0.3 s is longer than any answer
// takes, and far below an asker's patience.
var (
	callGroups = map[string]string{"write": "pwrite64,write", "sync": "fsync,fdatasync", "open": "openat", "cut": "ftruncate", "read": "pread64"}
	onceOnly   = 0
	forGood    = -1
)

// harm is one thing done to the n-th call of a group.
type harm struct {
	group, how string
	last       int // as Tamper's: 0 once, −1 for good
}

func harms() []harm {
	return []harm{
		{"write", "error=EIO", onceOnly}, {"write", "error=EIO", forGood}, {"write", "error=ENOSPC", onceOnly}, {"write", "error=ENOSPC", forGood},
		{"write", "delay_enter=300000", onceOnly}, {"write", "signal=SIGKILL", onceOnly},
		{"sync", "error=EIO", onceOnly}, {"sync", "error=EIO", forGood}, {"sync", "error=ENOSPC", onceOnly}, {"sync", "delay_enter=300000", onceOnly}, {"sync", "signal=SIGKILL", onceOnly},
		{"open", "error=EIO", onceOnly}, {"open", "error=EMFILE", forGood}, {"open", "signal=SIGKILL", onceOnly},
		{"cut", "error=EIO", onceOnly}, {"cut", "error=EIO", forGood}, {"cut", "signal=SIGKILL", onceOnly},
		{"read", "error=EIO", onceOnly}, {"read", "error=EIO", forGood},
	}
}

func (h harm) at(n int, files []string) faults.Tamper {
	return faults.Tamper{Calls: callGroups[h.group], How: h.how, First: n, Last: h.last, Files: files}
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
// where that is wanted, kills it, starts it again and gathers what is found. It returns how many of the calls there were.
func (l *loop) run(t *testing.T, k kind, tamper faults.Tamper, comesBack bool) (count int, e *evidence) {
	t.Helper()
	s := l.base(t, k)
	tamper.Files = s.files()
	s.start()
	k.prepare(s)
	trace, err := faults.Attach(s.cmd.Process.Pid, tamper, filepath.Join(t.TempDir(), "calls"))
	require.NoError(t, err)
	detach := sync.OnceFunc(func() { count, err = trace.Detach() })
	defer detach()
	s.under = tamper.How != ""
	k.act(s)
	var stopped *heard
	if s.alive() {
		stopped = s.withdraw()
	}
	if comesBack && s.alive() && stopped != nil {
		detach()
		s.recovers()
	}
	s.kill()
	detach()
	require.NoError(t, err)
	return count, s.gather(tamper.How, stopped)
}

func TestNthTry(t *testing.T) {
	l := newLoop(t)
	for _, k := range kinds() {
		start := time.Now()
		n, e := l.run(t, k, faults.Tamper{Calls: "fsync,pwrite64"}, false)
		wrong := e.judge()
		assert.Empty(t, wrong, k.name)
		a := last[*pb.AskResponse](&history{calls: e.calls})
		fmt.Println(k.name, n, wrong, a.GetJudgement().GetVerdict(), time.Since(start))
	}
}
