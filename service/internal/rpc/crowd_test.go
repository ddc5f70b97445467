package rpc_test

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "keepclear.example/keepclear/api/keepclear/v1"
	"keepclear.example/keepclear/service/internal/faults"
)

// givesUp sends a request whose asker has gone by the time that there would be room.
func (b *bench) givesUp(method string, m proto.Message) error {
	raw, err := proto.Marshal(m)
	require.NoError(b.t, err)
	ctx, cancel := context.WithCancel(b.t.Context())
	cancel()
	_, err = b.s.Call(ctx, "/keepclear.v1.MotionService/"+method, raw)
	return err
}

// Where more is under way than there is room for, whoever gives up leaves nothing behind: no question of his is judged, and a report of his, which
// nobody read, holds its rig. Taking leave back and a person's lock wait for nobody.
func TestWhoGivesUpInACrowdLeavesNothing(t *testing.T) {
	b := newBench(t)
	b.ready()
	open := b.allowed(b.slew(30, 40)).GetPermit().GetPermitId()
	leave := b.s.Crowd()
	q := b.slew(30, 40)
	assert.Equal(t, codes.Canceled, status.Code(b.givesUp("Ask", q)))
	err := b.givesUp("Ask", q)
	assert.Equal(t, "it was not begun, for more came than could be judged, and its asker did not wait; send it again", status.Convert(err).Message())
	err = b.givesUp("Report", &pb.ReportRequest{RequestId: b.id("report"), Rig: "heron", Asker: "camera", Sample: b.sample(0, 0)})
	assert.Equal(t, codes.Canceled, status.Code(err))
	out, err := b.motion.Withdraw(t.Context(), &pb.WithdrawRequest{Rig: "heron"})
	require.NoError(t, err)
	assert.Equal(t, []string{open}, out.GetPermitIds())
	_, err = b.locks.Lock(t.Context(), &pb.LockRequest{RequestId: b.id("lock"), Scope: &pb.LockRequest_Rig{Rig: "heron"}, Person: "M. Tester", Reason: "a test"})
	require.NoError(t, err)
	_, err = b.rigs.GetRig(t.Context(), &pb.GetRigRequest{Rig: "heron"})
	require.NoError(t, err)
	assert.Equal(t, [2]int{mostJudged, mostJudged}, b.s.UnderWay(), "those who gave up hold no room")
	leave()
	held := b.mustAsk(b.slew(30, 40))
	assert.Contains(t, findingOf(held, "pose/fresh").GetFact().GetMissing(), "that of camera (more came than could be judged, and its asker did not wait)")
	_, err = b.reads.GetEntry(t.Context(), &pb.GetEntryRequest{Key: &pb.GetEntryRequest_RequestId{RequestId: q.GetRequestId()}})
	assert.Equal(t, codes.NotFound, status.Code(err), "nobody judged it")
	assert.Zero(t, b.s.UnderWay())
}

// A report that its asker gave up in a crowd holds its rig after a stop that comes before the next tick, too.
func TestReportGivenUpBeforeAStopIsOnRecord(t *testing.T) {
	b := newBench(t)
	b.ready()
	leave := b.s.Crowd()
	r := &pb.ReportRequest{RequestId: b.id("report"), Rig: "heron", Asker: "camera", Event: act()}
	assert.Equal(t, codes.Canceled, status.Code(b.givesUp("Report", r)))
	leave()
	b.restart()
	var lost *pb.Entry
	for _, e := range b.newest(5) { // before what the restart itself put on record
		if e.GetKind() == pb.EntryKind_ENTRY_KIND_REFUSED {
			lost = e
		}
	}
	assert.Equal(t, "camera", lost.GetAsker())
	assert.Contains(t, lost.GetSentence(), "more came than could be judged, and its asker did not wait")
	held := b.mustAsk(b.slew(30, 40))
	assert.Equal(t, pb.Verdict_VERDICT_HOLD, held.GetJudgement().GetVerdict())
	assert.Contains(t, findingOf(held, "pose/fresh").GetFact().GetMissing(), "that of camera")
}

// However many questions wait for their turn, reports come in, and the other way round; rehearsals wait with the questions.
func TestQuestionsAndReportsHaveRoomOfTheirOwn(t *testing.T) {
	b := newBench(t)
	b.ready()
	leave := b.s.CrowdOfAsks()
	b.mustReport(&pb.ReportRequest{Sample: b.sample(0, 0)})
	r := &pb.RehearseRequest{Rig: "heron", Steps: []*pb.RehearsalStep{{Action: b.slew(30, 40).GetAction()}}}
	raw, err := proto.Marshal(r)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = b.s.Call(ctx, "/keepclear.v1.RehearsalService/Rehearse", raw)
	assert.Contains(t, status.Convert(err).Message(), "it was not begun")
	leave()
	leave = b.s.CrowdOfTells()
	b.allowed(b.slew(30, 40))
	leave()
}

// A request that is too large is refused as that at once, however many are under way.
func TestTooLargeARequestDoesNotWaitInACrowd(t *testing.T) {
	b := newBench(t)
	b.ready()
	defer b.s.Crowd()()
	q := b.slew(30, 40)
	q.AttendedBy = strings.Repeat("x", 128<<10)
	_, err := b.motion.Ask(t.Context(), q)
	assert.Equal(t, codes.ResourceExhausted, status.Code(err), "%v", err)
	assert.Equal(t, "TOO_MUCH", reason(err))
}

// mostJudged is how many questions and reports have room at once.
const mostJudged = 512

// Who waits in a crowd is judged once there is room, and one who waits too long is told so.
func TestWhoWaitsInACrowdIsJudged(t *testing.T) {
	b := newBench(t)
	b.ready()
	leave := b.s.Crowd()
	waits, late := make(chan struct{}, 2), make(chan time.Time)
	b.after = func(time.Duration) <-chan time.Time { waits <- struct{}{}; return late }
	answers := make(chan error, 2)
	for _, q := range []*pb.AskRequest{b.slew(30, 40), b.slew(30, 40)} {
		go func() { _, err := b.motion.Ask(t.Context(), q); answers <- err }()
		<-waits
	}
	late <- time.Time{}
	err := <-answers
	assert.Equal(t, codes.DeadlineExceeded, status.Code(err))
	assert.Equal(t, "LATE", reason(err))
	assert.Equal(t, "it was not begun, for more came than could be judged within 20s; send it again", status.Convert(err).Message())
	leave()
	assert.NoError(t, <-answers)
}

// While the record is down, reports of more askers than are remembered by name, and of rigs that nobody has, push no other's out: the rig is held.
func TestNoLostReportIsPushedOut(t *testing.T) {
	b := newBench(t)
	b.ready()
	b.disk.FailAt(1, faults.Before, true)
	lose := func(rig, asker string) {
		_, err := b.motion.Report(t.Context(), &pb.ReportRequest{RequestId: b.id("report"), Rig: rig, Asker: asker, Event: act()})
		require.Error(t, err)
	}
	lose("heron", "first") // the record goes down with it
	for i := range 1000 {
		lose(fmt.Sprintf("nobody-%d", i), "flood")
	}
	lose("heron", "person's program")
	b.disk.Heal()
	for b.d.Down() != nil {
		time.Sleep(time.Millisecond)
	}
	b.mustReport(&pb.ReportRequest{Sample: b.sample(0, 0), Asker: "first"})
	held := b.mustAsk(b.slew(30, 40))
	assert.Contains(t, findingOf(held, "pose/fresh").GetFact().GetMissing(), "that of further askers (it came while the record was down)")
}
