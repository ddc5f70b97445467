package rpc_test

import (
	"strings"
	"sync"
	"testing"
	"time"
	"unicode"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// heard are the sentences and codes of what a report led to.
func heard(out *pb.ReportResponse) string {
	var said []string
	for _, f := range out.GetFindings() {
		said = append(said, f.GetCode()+": "+f.GetSentence())
	}
	return strings.Join(said, "\n")
}

// open is the permit in force, as GetRig shows it; nil: none.
func (b *bench) permit() *pb.Permit {
	b.t.Helper()
	r, err := b.rigs.GetRig(b.t.Context(), &pb.GetRigRequest{Rig: "heron"})
	require.NoError(b.t, err)
	return r.GetRig().GetPermit()
}

// Faults, row 82: leave that was made up, of another kind, used already, taken back, or from before a restart begins nothing, ends nothing,
// takes no place and excuses no sync; each is told why, and the permit in force stays as it was.
func TestLeaveMadeUpOrUsedAgainDoesNothing(t *testing.T) {
	begin := func(id string) *pb.ReportRequest {
		return &pb.ReportRequest{Event: &pb.ReportRequest_Begin{Begin: &pb.Begin{PermitId: id}}}
	}
	end := func(id string) *pb.ReportRequest {
		return &pb.ReportRequest{Event: &pb.ReportRequest_End{End: &pb.End{PermitId: id, Kind: pb.EndKind_END_KIND_DONE}}}
	}
	at := func(b *bench, r *pb.ReportRequest) *pb.ReportRequest { r.Sample = b.sample(0, 0); return r }
	for name, c := range map[string]struct {
		old  func(b *bench, old *pb.Permit) // what happened to the first permit; nil: it is the one in force
		does func(b *bench, old string) *pb.ReportRequest
		says string
	}{
		"begin with one made up":         {nil, func(*bench, string) *pb.ReportRequest { return begin("id-9999") }, "permit id-9999 is not the rig's last one (none of that id was ever given, by what is on record): ask again"},
		"end of one made up":             {nil, func(*bench, string) *pb.ReportRequest { return end("id-9999") }, "is not the rig's last one (none of that id was ever given, by what is on record); its end is noted and changes nothing"},
		"begin with a request's id":      {nil, func(b *bench, _ string) *pb.ReportRequest { return begin("question-000000000004") }, "is not the rig's last one (none of that id"},
		"begin again":                    {nil, func(b *bench, old string) *pb.ReportRequest { b.mustReport(at(b, begin(old))); return begin(old) }, "it is begun"},
		"begin with one taken back":      {func(b *bench, _ *pb.Permit) { b.takesBack() }, func(_ *bench, old string) *pb.ReportRequest { return begin(old) }, "is not the rig's last one (it was given in heron/"},
		"end of one taken back":          {func(b *bench, _ *pb.Permit) { b.takesBack() }, func(_ *bench, old string) *pb.ReportRequest { return end(old) }, "changes nothing"},
		"begin with one before a start":  {func(b *bench, _ *pb.Permit) { b.restart() }, func(_ *bench, old string) *pb.ReportRequest { return begin(old) }, "is not the rig's last one (it was given in heron/"},
		"begin with one that was closed": {func(b *bench, p *pb.Permit) { b.mustReport(end(p.GetPermitId())) }, func(_ *bench, old string) *pb.ReportRequest { return begin(old) }, "is not the rig's last one (it was given in heron/"},
	} {
		b := newBench(t)
		b.ready()
		waiting := func() *pb.Permit {
			q := b.slew(30, 40)
			q.BeginLater = true
			return b.allowed(q).GetPermit()
		}
		old := waiting()
		force := old
		if c.old != nil {
			c.old(b, old)
			force = waiting()
		}
		r := at(b, c.does(b, old.GetPermitId()))
		was := b.permit()
		require.Equal(t, force.GetPermitId(), was.GetPermitId(), name)
		out := b.mustReport(r)
		assert.Contains(t, heard(out), c.says, name)
		now := b.permit()
		assert.True(t, proto.Equal(was, now), "%s: was %s, is %s", name, was, now)
	}
}

// takesBack withdraws what is open, and waits until it is on record.
func (b *bench) takesBack() {
	b.t.Helper()
	_, err := b.motion.Withdraw(b.t.Context(), &pb.WithdrawRequest{Rig: "heron"})
	require.NoError(b.t, err)
	require.Eventually(b.t, func() bool { return b.newest(1)[0].GetKind() == pb.EntryKind_ENTRY_KIND_WITHDRAWN }, 5*time.Second, time.Millisecond)
}

// Faults, row 82: a question that names a permit that is not in force as the one it replaces gets no second one beside it.
func TestReplacingWhatIsNotInForceGetsNothing(t *testing.T) {
	b := newBench(t)
	b.ready()
	first := b.allowed(b.slew(30, 40)).GetPermit()
	for _, made := range []string{"id-9999", "question-000000000004", first.GetPermitId() + "x"} {
		q := b.slew(20, 20)
		q.ReplacesPermitId = made
		out := b.mustAsk(q)
		assert.Equal(t, pb.Verdict_VERDICT_HOLD, out.GetJudgement().GetVerdict(), made)
		assert.Nil(t, out.GetLeave(), made)
		f := findingOf(out, "permit/one")
		assert.Equal(t, pb.Effect_EFFECT_HOLD, f.GetEffect(), made)
		assert.Contains(t, f.GetSentence()+strings.Join(f.GetAbout(), " "), first.GetPermitId(), made)
	}
	assert.Equal(t, first.GetPermitId(), b.permit().GetPermitId())
}

// Faults, row 82: a sync on leave that was made up counts as one that nobody allowed: it is told, and a permit that waits is dead.
func TestSyncOnLeaveMadeUpIsUnasked(t *testing.T) {
	b := newBench(t)
	b.ready()
	q := b.slew(30, 40)
	q.BeginLater = true
	b.allowed(q)
	out := b.mustReport(&pb.ReportRequest{Sample: b.sample(0, 0), Event: &pb.ReportRequest_Synced{Synced: &pb.Synced{LeaveId: "id-9999"}}})
	assert.Contains(t, heard(out), "sync leave id-9999 is not the rig's last one: its sync counts as one without leave")
	again := b.mustAsk(q)
	assert.Equal(t, pb.PermitState_PERMIT_STATE_WITHDRAWN, again.GetPermit().GetState(), "%s", again.GetPermit())
}

// Faults, row 56: two persons release one lock at one instant: it is released once, the other is told that it was, and both stand on record
// by name. An id that nobody gave releases nothing, beside one that was given or alone.
func TestTwoPersonsReleaseOnce(t *testing.T) {
	b := newBench(t)
	b.ready()
	for range 8 {
		l, err := b.locks.Lock(t.Context(), &pb.LockRequest{RequestId: b.id("lock-request"), Scope: &pb.LockRequest_Rig{Rig: "heron"}, Person: "A. Person", Reason: "hands inside"})
		require.NoError(t, err)
		id := l.GetLock().GetLockId()
		var all sync.WaitGroup
		errs := make([]error, 2)
		reqs := make([]*pb.ReleaseRequest, 2)
		for i, who := range []string{"A. Person", "B. Other"} {
			reqs[i] = &pb.ReleaseRequest{RequestId: b.id("release-request"), LockIds: []string{id}, Person: who, Reason: "hands out"}
			all.Go(func() { _, errs[i] = b.locks.Release(t.Context(), reqs[i]) })
		}
		all.Wait()
		second := 0
		if errs[0] != nil {
			second = 1
			errs[0], errs[1] = errs[1], errs[0]
		}
		require.NoError(t, errs[0])
		require.Equal(t, codes.FailedPrecondition, status.Code(errs[1]), "%v", errs[1])
		assert.Equal(t, "OVER", reason(errs[1]))
		assert.Contains(t, errs[1].Error(), id)
		released := b.entry(reqs[second].GetRequestId())
		assert.Equal(t, reqs[second].GetPerson(), released.GetAsker())
		assert.Equal(t, pb.EntryKind_ENTRY_KIND_LOCK, released.GetKind())
	}
	_, err := b.locks.Release(t.Context(), &pb.ReleaseRequest{RequestId: b.id("release-request"), LockIds: []string{"id-9999"}, Person: "A. Person", Reason: "x"})
	assert.Equal(t, codes.NotFound, status.Code(err))
	assert.Contains(t, err.Error(), "id-9999")
	b.allowed(b.slew(30, 40))
}

// tricks are texts that would break a log, a terminal or a path.
func tricks() []string {
	return []string{
		"a\nlevel=ERROR msg=\"made up\"", "a\r\nb", "\x1b[2J\x1b]0;title\x07", "a\x00b", "a\u202eb", "../../etc/passwd", "/dev/null", `C:\x`, "a;b|c`d`$(e)",
		"%s%n%d", "<script>", strings.Repeat("é", 128), "\u2028", " ",
	}
}

// Faults, row 83: whatever stands in a name that an asker sends, refused or not, no line of the log and no sentence of the record has another
// line, a control character or a direction mark in it, and no file of that name is touched (a rig's name is an id, or refused).
func TestTricksInNamesReachNoLogLineAndNoPath(t *testing.T) {
	b := newBench(t)
	b.ready()
	panics := ""
	b.judged = func() {
		if panics != "" {
			panic(panics)
		}
	}
	for i, s := range tricks() {
		for name, refused := range map[string]error{
			"ask, rig":        second(b.motion.Ask(t.Context(), changed(b.slew(30, 40), func(q *pb.AskRequest) { q.Rig = s }))),
			"ask, request id": second(b.motion.Ask(t.Context(), changed(b.slew(30, 40), func(q *pb.AskRequest) { q.RequestId = s }))),
			"report, rig":     second(b.motion.Report(t.Context(), &pb.ReportRequest{RequestId: b.id("report"), Rig: s, Asker: "x", Sample: b.sample(0, 0)})),
			"get rig":         second(b.rigs.GetRig(t.Context(), &pb.GetRigRequest{Rig: s})),
		} {
			assert.Contains(t, []codes.Code{codes.InvalidArgument, codes.NotFound}, status.Code(refused), "%s %q: %v", name, s, refused)
			assert.True(t, clean(refused.Error()), "%s: %q", name, refused)
		}
		panics = "boom over " + s // as one over a name would say
		_, _ = b.motion.Ask(t.Context(), b.slew(30, 40))
		panics = ""
		_, _ = b.motion.Ask(t.Context(), changed(b.slew(30, 40), func(q *pb.AskRequest) { q.Asker, q.AttendedBy = s, s }))
		_, _ = b.locks.Lock(t.Context(), &pb.LockRequest{RequestId: b.id("lock-request"), Scope: &pb.LockRequest_Rig{Rig: "heron"}, Person: s, Reason: s})
		_, _ = b.motion.Withdraw(t.Context(), &pb.WithdrawRequest{Rig: []string{"heron", s}[i%2], Asker: s, Reason: s})
	}
	require.Eventually(t, func() bool { // the last withdrawal is recorded after its answer
		n := 0
		for _, e := range b.newest(200) {
			if e.GetKind() == pb.EntryKind_ENTRY_KIND_WITHDRAWN {
				n++
			}
		}
		return n >= len(tricks())/2
	}, 5*time.Second, 5*time.Millisecond)
	assert.NotEmpty(t, b.log.String(), "the panics were logged")
	for _, line := range strings.Split(strings.TrimSuffix(b.log.String(), "\n"), "\n") {
		assert.True(t, strings.HasPrefix(line, "time=") && clean(line), "a line of its own: %q", line)
		assert.NotContains(t, line, "level=ERROR msg=\"made up\"")
	}
	for _, e := range b.newest(200) {
		assert.True(t, clean(e.GetSentence()), "%q", e.GetSentence())
		assert.True(t, clean(e.GetAsker()), "%q", e.GetAsker())
	}
}

// clean tells whether a text is one line that a terminal shows as it stands.
func clean(s string) bool {
	return !strings.ContainsFunc(s, func(r rune) bool {
		return unicode.IsControl(r) || r == '\u2028' || r == '\u2029' || unicode.Is(unicode.Bidi_Control, r)
	})
}

func second[T any](_ T, err error) error { return err }

func changed[M any](m M, change func(M)) M { change(m); return m }
