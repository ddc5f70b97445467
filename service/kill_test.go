package main

import (
	"context"
	"math/rand/v2"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/store"
)

// killSeed chooses the instants of the kills and the askers' pauses.
const killSeed = 20261125

// answered keeps what was answered: receipts, locks that hold for certain, and locks that were released for certain. A lock whose
// release was asked for and not answered is neither.
type answered struct {
	mu       sync.Mutex
	receipts []record.Place
	held     map[string]bool
	gone     map[string]bool
	allowed  int
}

func (w *answered) keep(rc *pb.Receipt) {
	p := record.Place{Chain: rc.GetChain(), Number: rc.GetNumber()}
	copy(p.Hash[:], rc.GetEntrySha256())
	w.mu.Lock()
	defer w.mu.Unlock()
	w.receipts = append(w.receipts, p)
}

func (w *answered) lock(id string, held, gone bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	delete(w.held, id)
	if held {
		w.held[id] = true
	}
	if gone {
		w.gone[id] = true
	}
}

// Killed at instants drawn by a seed, while several ask and others lock and release: every answered decision is on record under the hash
// that was told, every lock that was answered holds and every one whose release was answered is gone, the record is whole, and no permit
// survives.
func TestKilledWhileItAnswers(t *testing.T) {
	t.Parallel()
	rounds := 4
	if long() {
		rounds = 40
	}
	path := filepath.Join(t.TempDir(), "record.keepclear")
	g := rand.New(rand.NewPCG(killSeed, 1))
	w := &answered{held: map[string]bool{}, gone: map[string]bool{}}
	for round := 0; round < rounds || w.allowed == 0 && round < 4*rounds; round++ { // more and later on a busy machine, until something was allowed
		late := max(0, round-rounds+1) * 400
		killedRound(t, path, w, round, time.Duration(20+g.IntN(400)+late)*time.Millisecond)
		res, err := record.VerifyFile(t.Context(), path, record.VerifyOptions{Fold: state.NewFold, Receipts: w.receipts}, store.Options{})
		require.NoError(t, err)
		require.True(t, res.Whole, "round %d, seed %d: %s", round, killSeed, res.Sentence)
	}
	assert.NotZero(t, w.allowed, "no allow was ever on its way")
	t.Logf("%d kills, %d answers (%d allow), %d locks held and %d released, all on record", rounds, len(w.receipts), w.allowed, len(w.held), len(w.gone))
}

// killedRound starts the service, checks what it held, lets askers and lockers work, and kills it after so long.
func killedRound(t *testing.T, path string, w *answered, round int, after time.Duration) {
	t.Helper()
	r := heron(t)
	c, conn := child(t, "--rigs", rigFolder(t), "--record", path)
	defer conn.Close()
	motion, locks := pb.NewMotionServiceClient(conn), pb.NewLockServiceClient(conn)
	if round == 0 {
		home(t, motion, r)
	}
	got, err := pb.NewRigServiceClient(conn).GetRig(t.Context(), &pb.GetRigRequest{Rig: "heron"})
	require.NoError(t, err)
	assert.Nil(t, got.GetRig().GetPermit(), "round %d: no permit survives", round)
	standing := map[string]bool{}
	for _, l := range got.GetRig().GetLocks() {
		standing[l.GetLockId()] = true
		assert.False(t, w.gone[l.GetLockId()], "round %d: a lock that was released is back", round)
	}
	for id := range w.held {
		assert.True(t, standing[id], "round %d: a lock is lost", round)
	}
	for id := range standing { // so that something is allowed in this round
		out, err := locks.Release(t.Context(), released(id))
		require.NoError(t, err)
		w.keep(out.GetReceipt())
		w.lock(id, false, true)
	}

	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	var all sync.WaitGroup
	for range 3 {
		all.Go(func() { askUntilGone(ctx, t, w, motion, func() *pb.AskRequest { return turn(t, r, 5, 5) }) })
	}
	for i := range 2 {
		g := rand.New(rand.NewPCG(killSeed, uint64(100*round+i)))
		all.Go(func() { lockUntilGone(ctx, w, locks, g) })
	}
	time.Sleep(after) // an instant, not a measurement
	require.NoError(t, c.Process.Kill())
	_ = c.Wait()
	all.Wait()
}

// askUntilGone asks until nobody answers. What it takes leave for it gives back, so that the next has a chance.
func askUntilGone(ctx context.Context, t *testing.T, w *answered, motion pb.MotionServiceClient, question func() *pb.AskRequest) {
	for {
		out, err := motion.Ask(ctx, question())
		if err != nil {
			return
		}
		w.keep(out.GetReceipt())
		if id := out.GetPermit().GetPermitId(); id != "" {
			w.mu.Lock()
			w.allowed++
			w.mu.Unlock()
			if _, err := motion.Withdraw(ctx, &pb.WithdrawRequest{Rig: "heron", Asker: "test"}); err != nil {
				return
			}
		}
	}
}

// lockUntilGone locks and, more often than not, releases again, with pauses, until nobody answers.
func lockUntilGone(ctx context.Context, w *answered, locks pb.LockServiceClient, g *rand.Rand) {
	for {
		time.Sleep(time.Duration(5+g.IntN(40)) * time.Millisecond)
		out, err := locks.Lock(ctx, &pb.LockRequest{RequestId: newID(), Scope: &pb.LockRequest_Rig{Rig: "heron"}, Person: "M. Tester", Reason: "hands inside"})
		if err != nil {
			return
		}
		id := out.GetLock().GetLockId()
		w.keep(out.GetReceipt())
		w.lock(id, true, false)
		if g.IntN(6) == 0 {
			continue
		}
		w.lock(id, false, false)
		gone, err := locks.Release(ctx, released(id))
		if err != nil {
			return
		}
		w.keep(gone.GetReceipt())
		w.lock(id, false, true)
	}
}

func released(id string) *pb.ReleaseRequest {
	return &pb.ReleaseRequest{RequestId: newID(), LockIds: []string{id}, Person: "M. Tester", Reason: "hands out"}
}
