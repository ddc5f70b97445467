package main

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/store"
)

// Killed at an instant that nobody chose, while it answers: every answered decision and every lock is on record under the hash that was
// told, the record is whole, and the permit that was open comes back withdrawn.
func TestKilledWhileItAnswers(t *testing.T) {
	rounds := 3
	if long() {
		rounds = 30
	}
	path := filepath.Join(t.TempDir(), "record.keepclear")
	r := heron(t)
	var receipts []record.Place
	keep := func(rc *pb.Receipt) {
		p := record.Place{Chain: rc.GetChain(), Number: rc.GetNumber()}
		copy(p.Hash[:], rc.GetEntrySha256())
		receipts = append(receipts, p)
	}
	for round := range rounds {
		c, conn := child(t, "--rigs", rigFolder(t), "--record", path)
		motion := pb.NewMotionServiceClient(conn)
		if round == 0 {
			home(t, motion, r)
			locked, err := pb.NewLockServiceClient(conn).Lock(t.Context(), &pb.LockRequest{RequestId: newID(), Scope: &pb.LockRequest_Rig{Rig: "heron"}, Person: "M. Tester", Reason: "hands inside"})
			require.NoError(t, err)
			keep(locked.GetReceipt())
		}
		got, err := pb.NewRigServiceClient(conn).GetRig(t.Context(), &pb.GetRigRequest{Rig: "heron"})
		require.NoError(t, err)
		assert.Len(t, got.GetRig().GetLocks(), 1, "round %d: the lock is still there", round)
		assert.Nil(t, got.GetRig().GetPermit(), "round %d: no permit survives", round)
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
		done := make(chan struct{})
		go func() {
			time.Sleep(time.Duration(20+37*round%200) * time.Millisecond) // an instant, not a measurement
			_ = c.Process.Kill()
			close(done)
		}()
		for {
			out, err := motion.Ask(ctx, turn(t, r, 5, 5))
			if err != nil {
				break
			}
			keep(out.GetReceipt())
		}
		<-done
		_ = c.Wait()
		cancel()
		conn.Close()
		res, err := record.VerifyFile(t.Context(), path, record.VerifyOptions{Fold: state.NewFold, Receipts: receipts}, store.Options{})
		require.NoError(t, err)
		require.True(t, res.Whole, res.Sentence)
	}
	t.Logf("%d kills, %d answers, all on record", rounds, len(receipts))
}
