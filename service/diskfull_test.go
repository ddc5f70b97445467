package main

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/store"
)

// The disk fills up under the running service (faults.md, row 20): from then on no answer leaves, allow or other; stopping works, and
// names the permit in force; once there is room again the service goes on without a restart, with that permit withdrawn, and all that was
// answered is on record.
func TestDiskFullUnderTheService(t *testing.T) {
	if os.Getuid() != 0 {
		t.Skip("mounting a small file system takes root")
	}
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=2m"); err != nil {
		t.Skipf("no tmpfs can be mounted here: %v", err)
	}
	t.Cleanup(func() { _ = syscall.Unmount(dir, 0) })
	path, r := filepath.Join(dir, "record.keepclear"), heron(t)
	conn, stop := served(t, "--rigs", rigFolder(t), "--record", path)
	motion := pb.NewMotionServiceClient(conn)
	home(t, motion, r)
	var receipts []record.Place
	keep := func(rc *pb.Receipt) {
		p := record.Place{Chain: rc.GetChain(), Number: rc.GetNumber()}
		copy(p.Hash[:], rc.GetEntrySha256())
		receipts = append(receipts, p)
	}
	first := turn(t, r, 5, 5)
	allowed, err := motion.Ask(t.Context(), first)
	require.NoError(t, err)
	require.Equal(t, pb.Verdict_VERDICT_ALLOW, allowed.GetJudgement().GetVerdict(), said(allowed.GetJudgement()))
	keep(allowed.GetReceipt())

	ballast := filepath.Join(dir, "ballast")
	fill(t, ballast)
	var down error
	for range 500 { // pages set aside before take some entries yet
		q := turn(t, r, 5, 5)
		q.ReplacesPermitId = "" // held: the first permit is open
		out, err := motion.Ask(t.Context(), q)
		if err != nil {
			down = err
			break
		}
		keep(out.GetReceipt())
	}
	require.Error(t, down, "the file system is full and answers still leave")
	assert.Equal(t, codes.Unavailable, status.Code(down), "%v", down)
	assert.Contains(t, down.Error(), "full", "the cause is named")
	assert.Contains(t, down.Error(), "its disk is full: make room there", "what to do is said first")
	stands, err := pb.NewRigServiceClient(conn).GetRig(t.Context(), &pb.GetRigRequest{Rig: "heron"})
	require.NoError(t, err)
	need := stands.GetRig().GetNeeds()[0]
	assert.Equal(t, pb.NeedKind_NEED_KIND_REPAIR, need.GetKind())
	assert.Contains(t, need.GetSentence(), "the record is down: ")
	assert.Contains(t, need.GetSentence(), "make room there")
	for range 5 {
		q := turn(t, r, 5, 5)
		q.ReplacesPermitId = allowed.GetPermit().GetPermitId()
		out, err := motion.Ask(t.Context(), q)
		require.Error(t, err, "%v", out)
	}
	_, err = pb.NewLockServiceClient(conn).Lock(t.Context(), &pb.LockRequest{RequestId: newID(), Scope: &pb.LockRequest_Rig{Rig: "heron"}, Person: "M. Tester", Reason: "x"})
	assert.Equal(t, codes.Unavailable, status.Code(err), "a lock that is not on record is none: %v", err)

	// The first failing question replaced nothing; a lock that could not be set took the permit back already.
	_, err = motion.Withdraw(t.Context(), &pb.WithdrawRequest{Rig: "heron", Asker: "M. Tester", Reason: "stop"})
	require.NoError(t, err, "stopping works")

	require.NoError(t, os.Remove(ballast))
	var again *pb.AskResponse
	require.Eventually(t, func() bool {
		again, err = motion.Ask(t.Context(), first)
		return err == nil
	}, 90*time.Second, 100*time.Millisecond, "there is room again: %v", err)
	assert.Equal(t, pb.PermitState_PERMIT_STATE_WITHDRAWN, again.GetPermit().GetState(), "what was taken back stays so")
	var fresh *pb.AskResponse
	require.Eventually(t, func() bool {
		fresh, err = motion.Ask(t.Context(), turn(t, r, 5, 5))
		return err == nil && fresh.GetJudgement().GetVerdict() == pb.Verdict_VERDICT_ALLOW
	}, 20*time.Second, 50*time.Millisecond, "%v %s", err, said(fresh.GetJudgement()))
	keep(fresh.GetReceipt())
	code, out := stop()
	assert.Equal(t, exitDone, code, out)
	res, err := record.VerifyFile(t.Context(), path, record.VerifyOptions{Fold: state.NewFold, Receipts: receipts}, store.Options{})
	require.NoError(t, err)
	assert.True(t, res.Whole, res.Sentence)
}

// fill writes a file until its file system is full.
func fill(t *testing.T, path string) {
	t.Helper()
	f, err := os.Create(path)
	require.NoError(t, err)
	defer f.Close()
	for size := 64 << 10; size > 0; {
		if _, err := f.Write(make([]byte, size)); err != nil {
			require.ErrorIs(t, err, syscall.ENOSPC)
			size /= 4
		}
	}
}
