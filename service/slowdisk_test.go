package main

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/faults"
)

// TestSlowDisk (faults.md, row 22): one sync takes longer than a permit may wait to be used. The asker's own deadline ends the waiting; stopping
// is answered meanwhile; the permit that nobody was told of is no ghost: the next sample at rest closes it, and a new one is given. Asked again
// under its id, it is told as over.
func TestSlowDisk(t *testing.T) {
	if os.Getenv("KEEPCLEAR_STRACE") == "" {
		t.Skip("set KEEPCLEAR_STRACE=1 (strace)")
	}
	t.Parallel()
	for name, stops := range map[string]bool{"and somebody stops": true, "and nobody stops": false} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			slow(t, stops)
		})
	}
}

func slow(t *testing.T, stops bool) {
	s := newStand(t, "", rigFolder(t))
	s.start()
	s.must(homedAt(s, 0, 0))
	// 12 s is more than permit.start_within_s, 10 by default.
	late := faults.Tamper{Calls: "fsync,fdatasync", How: "delay_enter=12000000", First: 1, Files: s.files()}
	trace, err := faults.Attach(t.Context(), s.cmd.Process.Pid, late, filepath.Join(t.TempDir(), "calls"))
	require.NoError(t, err)
	q := turn(t, s.rig, 5, 5)
	ctx, cancel := context.WithTimeout(t.Context(), time.Second)
	defer cancel()
	_, err = s.send(ctx, q)
	require.Equal(t, codes.DeadlineExceeded, status.Code(err), "%v", err)
	if stops {
		require.True(t, s.withdraw(), "stopping does not wait for the disk")
		all := s.all()
		require.Len(t, all[len(all)-1].reply.(*pb.WithdrawResponse).GetPermitIds(), 1, "the permit that is on its way")
	}
	entry := s.entry(q.GetRequestId()).GetAsked().GetResponse() // shows once it is on disk
	trace.Detach()                                              // before another thread syncs, for which strace counts anew
	require.NotEmpty(t, entry.GetPermit().GetPermitId(), "it was allowed, and is on record")
	next := s.must(turn(t, s.rig, 6, 6)).(*pb.AskResponse)
	assert.Equal(t, pb.Verdict_VERDICT_ALLOW, next.GetJudgement().GetVerdict(), "nobody used the first in time: %s", said(next.GetJudgement()))
	again := s.must(q).(*pb.AskResponse)
	assert.Equal(t, entry.GetPermit().GetPermitId(), again.GetPermit().GetPermitId())
	assert.False(t, isOpen(again.GetPermit()), "%s", again.GetPermit())
	assert.NotEmpty(t, again.GetPermit().GetEndedBecause())
	assert.Empty(t, s.gather().judge())
}
