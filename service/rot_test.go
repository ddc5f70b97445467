package main

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/record"
)

// end tells the process to stop and waits until it has: everything is in the record's file then, and nothing in its log.
func (s *stand) end() {
	s.t.Helper()
	require.NoError(s.t, s.cmd.Process.Signal(syscall.SIGTERM))
	<-s.dead
	s.kill()
}

// flipped is a copy of a stand with one bit of its record's file, or of a side of it, turned over.
func (s *stand) flipped(t *testing.T, side string, at ...int) *stand {
	t.Helper()
	c := s.copied(t)
	content, err := os.ReadFile(c.path + side)
	require.NoError(t, err)
	for _, at := range at {
		content[at] ^= 1 << (at % 8)
	}
	require.NoError(t, os.WriteFile(c.path+side, content, 0o600))
	return c
}

// places are where a piece stands in a file, shifted by i: in the page that holds it, and in those that held it before it was moved.
func places(t *testing.T, file, piece []byte, i int) (out []int) {
	t.Helper()
	for from := 0; ; {
		at := bytes.Index(file[from:], piece)
		if at < 0 {
			require.NotEmpty(t, out)
			return out
		}
		out = append(out, from+at+i)
		from += at + 1
	}
}

// verdict is what the service says of its record and of all that its askers were told.
func (s *stand) verdict() *pb.VerifyResult {
	s.t.Helper()
	r := &pb.VerifyRecordRequest{}
	all := receipts(s.all())
	for _, p := range all[max(0, len(all)-1000):] { // as many as one call takes
		r.Receipts = append(r.Receipts, &pb.Receipt{Chain: p.Chain, Number: p.Number, EntrySha256: p.Hash[:]})
	}
	stream, err := s.records.VerifyRecord(s.t.Context(), r)
	require.NoError(s.t, err)
	for {
		step, err := stream.Recv()
		require.NoError(s.t, err)
		if res := step.GetResult(); res != nil {
			return res
		}
	}
}

// TestRottenEntry (faults.md, row 27): one bit of an entry turned over while the service was down. Since the last state entry the start is
// refused, and names the entry; with the bit turned back it serves.
func TestRottenEntry(t *testing.T) {
	t.Parallel()
	base := newStand(t, "", rigFolder(t))
	base.start()
	base.must(homedAt(base, 0, 0))
	for range 5 {
		base.must(turn(t, base.rig, 5, 5))
	}
	stored := base.entry(requestID(base.all()[2].request)).GetStored()
	base.end()
	file, err := os.ReadFile(base.path)
	require.NoError(t, err)
	piece := stored[:120] // its head; a long body is kept apart, in pages that are chained
	for i := 0; i < len(piece); i += 40 {
		s := base.flipped(t, "", places(t, file, piece, i)...)
		s.launch()
		require.False(t, s.answers(), "byte %d of the entry: it serves", i)
		assert.Equal(t, exitCheck, s.cmd.ProcessState.ExitCode())
		assert.Contains(t, s.out.String(), `entry 3 of chain "heron"`)
		assert.Contains(t, s.out.String(), "verify "+s.path+" says how far it is whole")
		assert.Contains(t, s.out.String(), "begin a new record with --record OTHER")
		code, out := ran(t, "verify", s.path)
		assert.Equal(t, exitCheck, code)
		assert.Contains(t, out, `entry 3 of chain "heron"`)
	}
	s := base.copied(t)
	s.start()
	assert.True(t, s.verdict().GetWhole())
}

// TestCutOff: a record cut in the middle is not served, and what to do about it is said, as of one with a wrong entry.
func TestCutOff(t *testing.T) {
	t.Parallel()
	base := newStand(t, "", rigFolder(t))
	base.start()
	base.must(homedAt(base, 0, 0))
	for range 8 {
		base.must(turn(t, base.rig, 5, 5))
	}
	base.end()
	info, err := os.Stat(base.path)
	require.NoError(t, err)
	for _, part := range []int64{2, 3, 4} {
		s := base.copied(t)
		require.NoError(t, os.Truncate(s.path, info.Size()/part/4096*4096))
		s.launch()
		require.False(t, s.answers(), "it serves")
		assert.Contains(t, s.out.String(), "keep it with what lies beside it")
		assert.Contains(t, s.out.String(), "begin a new record with --record OTHER")
		assert.NotContains(t, s.out.String(), "opening the record: opening the record")
	}
}

// TestRottenOldEntry (row 27): the same in an entry from before the last state entry, which no start reads. The service serves and verify names
// the entry; who asks that question again is not answered anew.
func TestRottenOldEntry(t *testing.T) {
	t.Parallel()
	base := newStand(t, "", rigFolder(t))
	base.start()
	base.must(homedAt(base, 0, 0))
	var all sync.WaitGroup
	for i := range 64 {
		all.Go(func() {
			for range 16 {
				q := turn(t, base.rig, 5, 5)
				q.Asker = fmt.Sprint("asker ", i) // one alone would be slowed
				_, _ = base.call(q)
			}
		})
	}
	all.Wait()
	old := base.all()[3]
	require.NoError(t, old.err)
	place := placeOf(receiptOf(old.reply))
	stored := base.entry(requestID(old.request)).GetStored()
	base.end()
	file, err := os.ReadFile(base.path)
	require.NoError(t, err)
	s := base.flipped(t, "", places(t, file, stored[:120], 60)...)
	s.start()
	res := s.verdict()
	assert.False(t, res.GetWhole())
	assert.Equal(t, place.Number, res.GetFirstWrong().GetNumber(), res.GetSentence())
	_, err = s.call(old.request)
	assert.Equal(t, codes.DataLoss, status.Code(err), "%v", err)
	assert.ErrorContains(t, err, "entry")
	reply, err := s.call(turn(t, s.rig, 5, 5))
	require.NoError(t, err, "others are answered")
	assert.Equal(t, pb.Verdict_VERDICT_ALLOW, reply.(*pb.AskResponse).GetJudgement().GetVerdict())
}

// TestLostTail (rows 28, 29): a bit turned over in the log of a killed service, or an older copy of the record put back. Where the heads kept
// beside it went further, every rig is locked until a named person accepts the loss; where they went back with it, nobody in the service can know,
// and the receipts that the askers keep convict it, by the first entry that is gone.
func TestLostTail(t *testing.T) {
	t.Parallel()
	base := newStand(t, "", rigFolder(t))
	base.start()
	base.must(homedAt(base, 0, 0))
	first := placeOf(receiptOf(base.all()[0].reply))
	older := map[string][]byte{}
	for _, side := range []string{"", "-wal"} {
		content, err := os.ReadFile(base.path + side)
		require.NoError(t, err)
		older[side] = content
	}
	for range 6 {
		base.must(turn(t, base.rig, 5, 5))
	}
	last := placeOf(receiptOf(base.all()[len(base.all())-1].reply))
	require.Eventually(t, func() bool {
		kept, err := record.KeptHeads(base.path)
		return err == nil && slices.Contains(kept, last)
	}, recoverTime, 50*time.Millisecond, "its heads are kept")
	base.kill()
	log, err := os.ReadFile(base.path + "-wal")
	require.NoError(t, err)
	const frame = 24 + 4096 // SQLite's file format, section 4.1
	frames := 0
	for at := 32; at+frame <= len(log) && bytes.Equal(log[at+8:at+16], log[16:24]); at += frame { // the salts: what follows is no part of this log
		frames++
	}
	require.Greater(t, frames, 20)
	for n := 0; n < frames-1; n += frames / 6 {
		s := base.flipped(t, "-wal", 32+n*frame+24+77)
		convicted(t, s)
	}
	s := base.copied(t)
	for side, content := range older {
		require.NoError(t, os.WriteFile(s.path+side, content, 0o600))
	}
	rigs := s.rigs
	s.rigs = t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(s.rigs, "egret.yaml"), []byte("rig: egret\n"), 0o600))
	s.launch()
	require.False(t, s.answers(), "a start that is refused for a rig file hides no loss")
	s.rigs = rigs
	convicted(t, s)
	assert.EqualValues(t, 2, s.verdict().GetFirstWrong().GetNumber())
	s.end()
	s.start()
	assert.Empty(t, s.holding(), "a loss is told once")

	gone := base.copied(t)
	for side, content := range older {
		require.NoError(t, os.WriteFile(gone.path+side, content, 0o600))
	}
	robbed := gone.copied(t)
	then := fmt.Sprintf("%q %d %x\n", "heron", first.Number, first.Hash)
	require.NoError(t, os.WriteFile(gone.path+"-heads", fmt.Appendf(nil, "%ssum %x\n", then, sha256.Sum256([]byte(then))), 0o600))
	gone.start()
	assert.Empty(t, gone.holding(), "nobody in the service can know")
	res := gone.verdict()
	assert.False(t, res.GetWhole(), res.GetSentence())
	assert.EqualValues(t, 2, res.GetFirstWrong().GetNumber(), res.GetSentence())

	require.NoError(t, os.Remove(robbed.path+"-heads"))
	code, out := ran(t, "verify", robbed.path)
	assert.Equal(t, exitDone, code, out)
	assert.Contains(t, out, "No heads are kept beside it")
	robbed.start()
	locks := robbed.holding()
	require.Len(t, locks, 1, "a record without its heads")
	assert.Contains(t, locks[0].GetReason(), "cannot be told: its heads are not beside it")
	assert.Contains(t, robbed.out.String(), "LOCKED: every rig, since ")
	robbed.end()
	robbed.start()
	assert.Len(t, robbed.holding(), 1, "until somebody releases it")
}

// TestKilledAtOnce: a record that has no heads but the first, of nothing, is none without them.
func TestKilledAtOnce(t *testing.T) {
	t.Parallel()
	s := newStand(t, "", rigFolder(t))
	s.start()
	s.must(homedAt(s, 0, 0))
	kept, err := record.KeptHeads(s.path)
	require.NoError(t, err)
	s.kill()
	assert.NotNil(t, kept, "from the very beginning")
	s.start()
	assert.Empty(t, s.holding())
}

// convicted: the service finds that entries are gone, or that its record is no record; it moves nothing before a person accepts that.
func convicted(t *testing.T, s *stand) {
	t.Helper()
	s.launch()
	if !s.answers() { // it found that itself
		assert.Contains(t, s.out.String(), s.path)
		return
	}
	res := s.verdict()
	assert.False(t, res.GetWhole(), res.GetSentence())
	assert.NotNil(t, res.GetFirstWrong(), res.GetSentence())
	locks := s.holding()
	require.Len(t, locks, 1)
	assert.Contains(t, locks[0].GetReason(), "entries of the record are gone")
	assert.Contains(t, locks[0].GetReason(), "chain heron went as far as entry")
	assert.Contains(t, s.out.String(), "LOCKED: every rig, since ")
	verified := func(who string) {
		code, out := ran(t, "verify", s.path)
		assert.Equal(t, exitDone, code, out)
		assert.Contains(t, out, "The record is whole: ")
		assert.Regexp(t, `A loss is on record in service/\d+, and `+who+`: entries of the record are gone, and what they held \(chain heron went as far as entry \d+ and ends with`, out)
		stream, err := s.records.VerifyRecord(t.Context(), &pb.VerifyRecordRequest{})
		require.NoError(t, err)
		for {
			step, err := stream.Recv()
			require.NoError(t, err)
			if res := step.GetResult(); res != nil {
				assert.True(t, res.GetWhole(), "what is left of it: %s", res.GetSentence())
				assert.Regexp(t, `^The record is whole: .*\. A loss is on record in service/\d+, and `+who, res.GetSentence())
				return
			}
		}
	}
	verified("nobody has accepted it yet")
	reply, err := s.call(turn(t, s.rig, 5, 5))
	require.NoError(t, err)
	j := reply.(*pb.AskResponse).GetJudgement()
	assert.Equal(t, pb.Verdict_VERDICT_HOLD, j.GetVerdict())
	held := map[string]string{}
	for _, f := range j.GetFindings() {
		if f.GetEffect() == pb.Effect_EFFECT_HOLD {
			held[f.GetRuleId()] = f.GetSentence()
		}
	}
	assert.Contains(t, held, "lock/none")
	assert.Contains(t, held, "pose/known")
	_, err = s.call(&pb.ReleaseRequest{RequestId: newID(), LockIds: []string{locks[0].GetLockId()}, Person: "R. Alder", Reason: "looked at it; an older copy was put back"})
	require.NoError(t, err)
	s.must(homedAt(s, 0, 0))
	s.must(turn(t, s.rig, 5, 5))
	assert.Empty(t, s.holding())
	verified(`it was accepted by R\. Alder in service/\d+`)
}

// holding are the locks that hold the rig.
func (s *stand) holding() []*pb.HeldLock {
	s.t.Helper()
	got, err := s.clients.rigs.GetRig(s.t.Context(), &pb.GetRigRequest{Rig: s.rig.ID})
	require.NoError(s.t, err)
	return got.GetRig().GetLocks()
}

// TestRottenHeads: the kept heads themselves are rotten. Whether anything is gone cannot be told, so every rig is locked; the pose stays.
func TestRottenHeads(t *testing.T) {
	t.Parallel()
	base := newStand(t, "", rigFolder(t))
	base.start()
	base.must(homedAt(base, 0, 0))
	base.end()
	content, err := os.ReadFile(base.path + "-heads")
	require.NoError(t, err)
	for at := 0; at < len(content); at += 13 {
		s := base.flipped(t, "-heads", at)
		code, out := ran(t, "verify", s.path)
		assert.Equal(t, exitCheck, code, out)
		s.start()
		locks := s.holding()
		require.Len(t, locks, 1, "byte %d", at)
		assert.Contains(t, locks[0].GetReason(), "does not fit its own sum")
		_, err = s.call(&pb.ReleaseRequest{RequestId: newID(), LockIds: []string{locks[0].GetLockId()}, Person: "R. Alder", Reason: "looked at it"})
		require.NoError(t, err)
		s.must(turn(t, s.rig, 5, 5))
		s.end()
	}
	base.start()
	assert.Empty(t, base.holding(), "a whole one locks nothing")
}

// TestTwoWriters (row 31): the locks are of no use, and two services write one record. The chain does not fork: the one that comes late to it is
// refused, says why, and stays down as long as the other holds the record; stopping works there all the same.
func TestTwoWriters(t *testing.T) {
	t.Parallel()
	one := newStand(t, "", rigFolder(t))
	one.start()
	one.must(homedAt(one, 0, 0))
	one.must(turn(t, one.rig, 5, 5))
	require.NoError(t, os.Remove(one.path+"-lock"))
	code, out := ran(t, "serve", "--rigs", one.rigs, "--record", one.path, "--listen", "127.0.0.1:0")
	assert.Equal(t, exitCheck, code)
	assert.Contains(t, out, "in use by another service", "with the file beside it gone, the record itself is locked")
	require.NoError(t, one.cmd.Process.Signal(syscall.SIGUSR1))
	require.Eventually(t, func() bool {
		f, err := os.Open(one.path)
		require.NoError(t, err)
		defer f.Close()
		return syscall.Flock(int(f.Fd()), syscall.LOCK_SH|syscall.LOCK_NB) == nil
	}, recoverTime, time.Millisecond, "it has lost its locks")
	other := &stand{t: t, rigs: one.rigs, rig: one.rig, path: one.path}
	other.start() // takes the permit back, on record
	other.must(turn(t, other.rig, 5, 5))
	_, err := one.call(turn(t, one.rig, -5, 5))
	assert.Equal(t, codes.Unavailable, status.Code(err), "%v", err)
	assert.ErrorContains(t, err, "another service wrote to this record: stop one of them")
	require.True(t, one.withdraw())
	require.Eventually(t, func() bool {
		_, err := one.call(turn(t, one.rig, -5, 5))
		require.Equal(t, codes.Unavailable, status.Code(err), "%v", err)
		return strings.Contains(err.Error(), "in use by another service")
	}, recoverTime, 50*time.Millisecond, "it tried again")
	other.must(turn(t, other.rig, 5, 5))
	all := append(one.all(), other.all()...)
	one.kill()
	other.kill()
	res := one.verify(all)
	assert.True(t, res.Whole, res.Sentence)
}
