package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/record"
	"keepclear.example/keepclear/service/internal/state"
	"keepclear.example/keepclear/service/internal/store"
)

// loadSize is how many rigs, each with an asker of its own, are asked for how long: a moment in a plain run, 40 s with KEEPCLEAR_LONG=1, as
// long as KEEPCLEAR_LOAD says (10m, say) with that.
func loadSize(t *testing.T) (askers int, lasts time.Duration) {
	if s := os.Getenv("KEEPCLEAR_LOAD"); s != "" {
		d, err := time.ParseDuration(s)
		require.NoError(t, err, "KEEPCLEAR_LOAD=%q", s)
		return 64, d
	}
	if long() {
		return 64, 40 * time.Second
	}
	return 8, time.Second
}

// What the heap and the process may be larger by at the end than after the first fifth, once swept. Ours: far above what sweeping leaves to
// chance, far below what a leak of some bytes an answer makes of ten minutes.
const (
	heapSlack     = 6 << 20
	residentSlack = 32 << 20
)

// TestLoad asks many rigs at once, with locks, releases, withdrawals, repeats, nonsense, and readers that follow the record. Every answer is
// the one that must come, every entry that was answered reaches the followers under the hash that was told, and the record is whole; memory
// stays as it was after the first fifth, and when the askers are gone so is every goroutine. (Rules are not reloaded: this service cannot.)
func TestLoad(t *testing.T) {
	askers, lasts := loadSize(t)
	path := filepath.Join(t.TempDir(), "record.keepclear")
	dir, rigs := nightRigs(t, askers)
	conn, stop := served(t, "--rigs", dir, "--record", path)
	_, err := pb.NewRigServiceClient(conn).ListRigs(t.Context(), &pb.ListRigsRequest{})
	require.NoError(t, err)
	idle := runtime.NumGoroutine()
	l := &load{witness: map[string]map[uint64]string{}}
	ctx, cancel := context.WithCancel(t.Context())
	var readers, all sync.WaitGroup
	var conns []*grpc.ClientConn
	dial := func() *grpc.ClientConn {
		conns = append(conns, connect(t, conn.Target()))
		return conns[len(conns)-1]
	}
	for range 3 {
		follower, started := dial(), make(chan struct{})
		readers.Go(func() { l.follow(ctx, t, follower, started) })
		<-started
	}
	reading := dial()
	readers.Go(func() { l.read(ctx, t, reading) })
	l.ends = time.Now().Add(lasts)
	for i, r := range rigs {
		m := newMixer(r, dial(), uint64(i))
		all.Go(func() { l.ask(ctx, t, m) })
	}
	time.Sleep(lasts / 5)
	warm, warmResident := sweptHeap(), residentNow()
	all.Wait()
	require.Eventually(t, func() bool { return l.unseen() == 0 }, 30*time.Second, 5*time.Millisecond, "entries that no follower saw: %d", l.unseen())
	end, endResident := sweptHeap(), residentNow()
	cancel()
	readers.Wait()
	for _, c := range conns {
		require.NoError(t, c.Close())
	}
	t.Logf("%d answers (%d allow), %d entries followed, %d readings; heap swept %.1f, then %.1f MB; resident %.0f, then %.0f MB",
		l.answers.Load(), l.allowed.Load(), l.followed.Load(), l.readings.Load(), mega(warm), mega(end), mega(warmResident), mega(endResident))
	assert.Less(t, end, warm+heapSlack, "the heap grew")
	assert.Less(t, endResident, warmResident+residentSlack, "the process grew")
	assert.NotZero(t, l.allowed.Load())
	assert.NotZero(t, l.readings.Load())
	for deadline := time.Now().Add(30 * time.Second); runtime.NumGoroutine() > idle; time.Sleep(10 * time.Millisecond) {
		require.True(t, time.Now().Before(deadline), "goroutines are left: %d, %d before", runtime.NumGoroutine(), idle)
	}
	code, out := stop()
	require.Equal(t, exitDone, code, out)
	res, err := record.VerifyFile(t.Context(), path, record.VerifyOptions{Fold: state.NewFold, Receipts: l.last()}, store.Options{})
	require.NoError(t, err)
	assert.True(t, res.Whole, res.Sentence)
}

func mega(bytes uint64) float64 { return float64(bytes) / 1e6 }

// sweptHeap is what lives on the heap, bytes.
func sweptHeap() uint64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// residentNow is the memory of this process, bytes; 0 where the system does not tell.
func residentNow() uint64 {
	b, _ := os.ReadFile("/proc/self/statm")
	var size, resident uint64
	_, _ = fmt.Sscan(string(b), &size, &resident)
	return resident * uint64(os.Getpagesize())
}

// load is what is known of a run.
type load struct {
	ends                                 time.Time
	answers, allowed, followed, readings atomic.Int64
	matching                             atomic.Bool // a follower matches what is told

	mu      sync.Mutex
	witness map[string]map[uint64]string // by chain and number, the hash that an asker was told and that the first follower has yet to see
	heads   map[string]record.Place      // the last receipt of each chain
}

// told keeps a receipt until the follower has seen its entry.
func (l *load) told(rc *pb.Receipt) {
	l.answers.Add(1)
	l.mu.Lock()
	defer l.mu.Unlock()
	l.match(rc, "told")
	if l.heads == nil {
		l.heads = map[string]record.Place{}
	}
	if p := (record.Place{Chain: rc.GetChain(), Number: rc.GetNumber()}); p.Number > l.heads[p.Chain].Number {
		copy(p.Hash[:], rc.GetEntrySha256())
		l.heads[p.Chain] = p
	}
}

// match pairs what an asker was told with what the follower saw, whichever comes first; what does not fit stays for ever. Requires l.mu.
func (l *load) match(rc *pb.Receipt, by string) {
	chain := l.witness[rc.GetChain()]
	if chain == nil {
		chain = map[uint64]string{}
		l.witness[rc.GetChain()] = chain
	}
	here := string(rc.GetEntrySha256())
	other, there := chain[rc.GetNumber()]
	switch {
	case !there:
		chain[rc.GetNumber()] = by + here
	case other != by+here && strings.HasSuffix(other, here):
		delete(chain, rc.GetNumber())
	}
}

// unseen is how many entries were told of and not followed.
func (l *load) unseen() (n int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, chain := range l.witness {
		for _, by := range chain {
			if strings.HasPrefix(by, "told") {
				n++
			}
		}
	}
	return n
}

// last are the last receipts of all chains.
func (l *load) last() (out []record.Place) {
	for _, p := range l.heads {
		out = append(out, p)
	}
	return out
}

// follow reads entries as they are written. Every follower must see every number of each chain once, in order; the first of them matches
// what askers are told.
func (l *load) follow(ctx context.Context, t *testing.T, conn *grpc.ClientConn, started chan struct{}) {
	s, err := pb.NewRecordServiceClient(conn).FollowEntries(ctx, &pb.FollowEntriesRequest{})
	if err == nil {
		_, err = s.Header() // from here on nothing is missed
	}
	close(started)
	if !assert.NoError(t, err) {
		return
	}
	first := l.matching.CompareAndSwap(false, true)
	next := map[string]uint64{}
	for {
		out, err := s.Recv()
		if err != nil {
			assert.Equal(t, codes.Canceled, status.Code(err), "%v", err)
			return
		}
		e := out.GetEntry()
		if e == nil {
			continue
		}
		rc := e.GetReceipt()
		if n, seen := next[rc.GetChain()]; seen && n != rc.GetNumber() {
			assert.Failf(t, "a follower missed an entry", "chain %s: number %d where %d was due", rc.GetChain(), rc.GetNumber(), n)
			return
		}
		next[rc.GetChain()] = rc.GetNumber() + 1
		l.followed.Add(1)
		if first && e.GetKind() == pb.EntryKind_ENTRY_KIND_ASKED {
			l.mu.Lock()
			l.match(rc, "seen")
			l.mu.Unlock()
		}
	}
}

// read lists entries and looks at rigs, as a person's window does.
func (l *load) read(ctx context.Context, t *testing.T, conn *grpc.ClientConn) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-time.After(50 * time.Millisecond):
		}
		list, err := pb.NewRecordServiceClient(conn).ListEntries(ctx, &pb.ListEntriesRequest{PageSize: 20})
		if err == nil && len(list.GetEntries()) > 0 {
			_, err = pb.NewRecordServiceClient(conn).GetEntry(ctx, &pb.GetEntryRequest{Key: &pb.GetEntryRequest_Place{Place: &pb.EntryPlace{
				Chain: list.GetEntries()[0].GetReceipt().GetChain(), Number: list.GetEntries()[0].GetReceipt().GetNumber()}}})
		}
		if err == nil {
			_, err = pb.NewRigServiceClient(conn).ListRigs(ctx, &pb.ListRigsRequest{})
		}
		if ctx.Err() == nil {
			assert.NoError(t, err)
			l.readings.Add(1)
		}
	}
}

// ask asks for one rig until the time is over.
func (l *load) ask(ctx context.Context, t *testing.T, m *mixer) {
	if !assert.NoError(t, m.home(ctx)) {
		return
	}
	for time.Now().Before(l.ends) {
		if err := l.one(ctx, m); err != nil {
			assert.NoError(t, err)
			return
		}
	}
}

// one asks one question, or does one of the other things that happen in a night.
func (l *load) one(ctx context.Context, m *mixer) error {
	switch n := m.lot.IntN(100); {
	case n < 4:
		return l.locked(ctx, m)
	case n < 8:
		_, err := m.motion.Withdraw(ctx, &pb.WithdrawRequest{Rig: m.rig.ID, Asker: "mix", Reason: "load"})
		m.permit = ""
		return err
	case n < 12:
		return l.repeated(ctx, m)
	case n < 13:
		_, err := m.motion.Ask(ctx, &pb.AskRequest{RequestId: newID(), Rig: m.rig.ID})
		if status.Code(err) != codes.InvalidArgument {
			return fmt.Errorf("a question without an action: got %w, want %s", err, codes.InvalidArgument)
		}
		return nil
	case n < 15:
		return l.keep(m.ask(ctx, nearTripod))
	}
	return l.keep(m.ask(ctx, m.draw()))
}

// keep counts an answer, of which the record must know.
func (l *load) keep(out *pb.AskResponse, _ time.Duration, err error) error {
	if err != nil {
		return err
	}
	l.told(out.GetReceipt())
	if out.GetJudgement().GetVerdict() == pb.Verdict_VERDICT_ALLOW {
		l.allowed.Add(1)
	}
	return nil
}

// locked locks the rig, sees its question held for that, and releases it.
func (l *load) locked(ctx context.Context, m *mixer) error {
	locks := pb.NewLockServiceClient(m.conn)
	lock, err := locks.Lock(ctx, &pb.LockRequest{RequestId: newID(), Scope: &pb.LockRequest_Rig{Rig: m.rig.ID}, Person: "M. Tester", Reason: "hands inside"})
	if err != nil {
		return err
	}
	q, err := m.question(slewAxes)
	if err != nil {
		return err
	}
	out, err := m.motion.Ask(ctx, q)
	if err != nil {
		return err
	}
	l.told(out.GetReceipt())
	if v := out.GetJudgement().GetVerdict(); v != pb.Verdict_VERDICT_HOLD || !strings.Contains(said(out.GetJudgement()), "lock/none") {
		return fmt.Errorf("asked while locked: got %s, want a hold for the lock", said(out.GetJudgement()))
	}
	m.permit = ""
	_, err = locks.Release(ctx, released(lock.GetLock().GetLockId()))
	return err
}

// repeated asks the same bytes twice: one answer, on record once.
func (l *load) repeated(ctx context.Context, m *mixer) error {
	q, err := m.question(slewSky)
	if err == nil {
		q.Action, err = m.action(slewSky, time.Now())
	}
	if err != nil {
		return err
	}
	first, err := m.motion.Ask(ctx, q)
	if err == nil {
		err = m.judge(slewSky, q, first)
	}
	if err := l.keep(first, 0, err); err != nil {
		return err
	}
	again, err := m.motion.Ask(ctx, q)
	if err != nil {
		return err
	}
	if !proto.Equal(again.GetJudgement(), first.GetJudgement()) || again.GetPermit().GetPermitId() != first.GetPermit().GetPermitId() {
		return fmt.Errorf("%s asked twice: %v, then %v", m.rig.ID, first, again)
	}
	return nil
}
