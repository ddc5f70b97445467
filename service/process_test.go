package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// termSeed chooses the instants of TERM.
const termSeed = 20261128

// TestTermInTheMiddle (faults.md, row 42): told to stop at an instant drawn by a seed while so many questions are asked at once (KEEPCLEAR_LONG: a thousand). What was answered is
// on record, everything else is refused as UNAVAILABLE, the service ends by itself and says that all is kept, and no permit is open afterwards.
func TestTermInTheMiddle(t *testing.T) {
	t.Parallel()
	rounds, askers := 1, 240
	if long() {
		rounds, askers = 10, 1000
	}
	g := rand.New(rand.NewPCG(termSeed, 1))
	answers, refusals := 0, 0
	for round := range rounds {
		s := newStand(t, "", rigFolder(t))
		s.start()
		s.must(homedAt(s, 0, 0))
		asked := s.throng(askers, time.Duration(g.IntN(400))*time.Millisecond)
		assert.Contains(t, s.out.String(), "everything answered is on record", "round %d, seed %d", round, termSeed)
		assert.Equal(t, exitDone, s.cmd.ProcessState.ExitCode())
		for _, c := range s.all() {
			if c.err != nil {
				refusals++
				assert.Equal(t, codes.Unavailable, status.Code(c.err), "round %d, seed %d: %v", round, termSeed, c.err)
			}
		}
		e := s.gatherOf(asked)
		assert.Empty(t, e.judge(), "round %d, seed %d", round, termSeed)
		answers += len(receipts(e.calls))
	}
	assert.NotZero(t, answers)
	assert.NotZero(t, refusals)
	t.Logf("%d times TERM: %d answers, all on record, %d refused", rounds, answers, refusals)
}

// throng asks so many questions at once over eight connections, on each of which one more asker asks on until he is refused, and sends TERM after so
// long; it returns when the process has ended. It tells which questions are to be asked again: one of each hundred is enough.
func (s *stand) throng(askers int, after time.Duration) map[string]bool {
	s.t.Helper()
	again := map[string]bool{}
	var all sync.WaitGroup
	for i := range 8 {
		conn := connect(s.t, s.conn.Target())
		c := newClients(conn)
		s.t.Cleanup(func() { _ = conn.Close() })
		for j := range askers / 8 {
			q := turn(s.t, s.rig, 5, 5)
			q.Asker = fmt.Sprint("asker ", i*askers/8+j) // one alone would be slowed
			if (i*askers/8+j)%100 == 0 {
				again[q.GetRequestId()] = true
			}
			all.Go(func() {
				reply, err := c.send(s.t.Context(), q)
				s.add(heard{request: q, reply: reply, err: err, under: true})
			})
		}
		all.Go(func() {
			for refused := false; !refused; {
				q := turn(s.t, s.rig, 5, 5)
				q.Asker = fmt.Sprint("one who asks on ", i)
				reply, err := c.send(s.t.Context(), q)
				s.add(heard{request: q, reply: reply, err: err, under: true})
				refused = err != nil
			}
		})
	}
	time.Sleep(after) // an instant, not a measurement
	require.NoError(s.t, s.cmd.Process.Signal(syscall.SIGTERM))
	all.Wait()
	select {
	case <-s.dead:
	case <-time.After(recoverTime): // what it has begun it judges to the end
		require.Fail(s.t, "the service does not end")
	}
	return again
}

// TestNoFilesLeft (row 41): a process that may open no more files. Who is connected is answered or held and can stop; others are not let in; it
// neither ends nor starts anew, and once the crowd is gone it answers all as before. With fewer still it does not start, and says why.
func TestNoFilesLeft(t *testing.T) {
	t.Parallel()
	s := newStand(t, "", rigFolder(t))
	s.launch("prlimit", "--nofile=8:8")
	require.False(t, s.answers(), "it starts with eight files")
	assert.Contains(t, s.out.String(), "too many open files")

	s = newStand(t, "", rigFolder(t))
	s.launch("prlimit", "--nofile=32:32")
	require.True(t, s.answers(), "%s", s.out)
	pid := s.cmd.Process.Pid
	s.must(homedAt(s, 0, 0))
	crowd := s.crowdOf(40, stopTime)
	assert.Less(t, crowd.let, int64(40), "there was room for all: nothing was tried")
	for range 10 {
		if _, err := s.call(turn(t, s.rig, 5, 5)); err != nil {
			assert.Equal(t, codes.Unavailable, status.Code(err), "%v", err)
		}
	}
	require.True(t, s.withdraw())
	crowd.leave()
	s.recovers(nil)
	assert.Equal(t, pid, s.cmd.Process.Pid)
	assert.True(t, s.alive())
	again := s.crowdOf(5, callTime)
	assert.EqualValues(t, 5, again.let, "others are let in again")
	again.leave()
	e := s.gather()
	assert.Empty(t, e.judge())
}

// crowded are connections of others.
type crowded struct {
	conns []*grpc.ClientConn
	let   int64 // of which so many were answered
}

func (c *crowded) leave() {
	for _, one := range c.conns {
		_ = one.Close()
	}
}

// crowdOf connects so many others, who each look at the rig, for so long at most, and stay.
func (s *stand) crowdOf(n int, wait time.Duration) *crowded {
	s.t.Helper()
	out := &crowded{}
	var let atomic.Int64
	var all sync.WaitGroup
	for range n {
		conn := connect(s.t, s.conn.Target())
		out.conns = append(out.conns, conn)
		all.Go(func() {
			ctx, cancel := context.WithTimeout(s.t.Context(), wait)
			defer cancel()
			if _, err := pb.NewRigServiceClient(conn).GetRig(ctx, &pb.GetRigRequest{Rig: "heron"}); err == nil {
				let.Add(1)
			}
		})
	}
	all.Wait()
	out.let = let.Load()
	return out
}

// TestMemoryRunsOut (row 40): more lawful questions at once than the memory that the process may have. It may die of it; no allow is half made,
// what was answered is on record, and no permit is open afterwards.
func TestMemoryRunsOut(t *testing.T) {
	if os.Getenv("KEEPCLEAR_CI") == "" {
		t.Skip("set KEEPCLEAR_CI=1 (it builds the program; root and a memory cgroup, or prlimit)")
	}
	t.Parallel()
	s := newStand(t, built(t), rigFolder(t)) // not this test's own program, which may carry the race detector and its memory
	held, limit := memoryOf(t, 96<<20)
	if !held {
		limit = []string{"prlimit", "--data=" + strconv.Itoa(160<<20)}
	}
	s.launch(limit...)
	require.True(t, s.answers(), "%s", s.out)
	s.must(homedAt(s, 0, 0))
	s.must(turn(t, s.rig, 5, 5))
	var all sync.WaitGroup
	for range 60 {
		all.Go(func() { _, _ = s.call(plan(256)) })
		all.Go(func() { _, _ = s.call(turn(t, s.rig, 5, 5)) })
	}
	all.Wait()
	died := !s.alive()
	t.Logf("the process died of it: %t", died)
	if !died {
		require.True(t, s.withdraw())
	}
	assert.Empty(t, s.gather().judge())
}

// memoryOf makes a memory cgroup (version 1) and returns what starts a program in it; false: there is none to be had.
func memoryOf(t *testing.T, bytes int) (ok bool, wrap []string) {
	t.Helper()
	dir := filepath.Join("/sys/fs/cgroup/memory", "keepclear-test-"+newID())
	if os.Mkdir(dir, 0o700) != nil {
		return false, nil
	}
	t.Cleanup(func() { _ = os.Remove(dir) })
	if os.WriteFile(filepath.Join(dir, "memory.limit_in_bytes"), []byte(strconv.Itoa(bytes)), 0o600) != nil {
		return false, nil
	}
	return true, []string{"sh", "-c", `echo $$ > "$0/cgroup.procs" && exec "$@"`, dir}
}
