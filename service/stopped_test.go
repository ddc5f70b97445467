package main

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// Faults, row 18: the real service, stopped by SIGSTOP for longer than a permit may wait to be begun. The first answer after SIGCONT finds it
// over, with the reason, whichever question that is; and the question goes on from there.
func TestStoppedProcessFindsItsPermitOver(t *testing.T) {
	t.Parallel()
	dir := rigFolder(t)
	file := filepath.Join(dir, "heron.yaml")
	content, err := os.ReadFile(file)
	require.NoError(t, err)
	short := strings.Replace(string(content), "\nlimits:\n", "\nlimits:\n  permit:\n    start_within_s: 1\n", 1)
	require.NotEqual(t, string(content), short)
	require.NoError(t, os.WriteFile(file, []byte(short), 0o600))
	c, conn := child(t, "--rigs", dir, "--record", filepath.Join(t.TempDir(), "record.keepclear"))
	defer conn.Close()
	motion, r := pb.NewMotionServiceClient(conn), heron(t)
	home(t, motion, r)
	q := turn(t, r, 5, 5)
	q.BeginLater = true
	a, err := motion.Ask(t.Context(), q)
	require.NoError(t, err)
	require.Equal(t, pb.PermitState_PERMIT_STATE_GRANTED, a.GetPermit().GetState(), said(a.GetJudgement()))
	require.NoError(t, c.Process.Signal(syscall.SIGSTOP))
	time.Sleep(1100 * time.Millisecond) // its life, not a measurement: it is over whenever the process goes on
	require.NoError(t, c.Process.Signal(syscall.SIGCONT))
	again, err := motion.Ask(t.Context(), q)
	require.NoError(t, err)
	assert.Equal(t, pb.PermitState_PERMIT_STATE_EXPIRED, again.GetPermit().GetState())
	assert.Contains(t, again.GetPermit().GetEndedBecause(), "not begun by")
	next, err := motion.Ask(t.Context(), turn(t, r, 5, 5))
	require.NoError(t, err)
	assert.Equal(t, pb.Verdict_VERDICT_ALLOW, next.GetJudgement().GetVerdict(), said(next.GetJudgement()))
}
