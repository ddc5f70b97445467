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
	"keepclear.example/keepclear/service/internal/rpc"
)

// watch is a clock that a test moves.
type watch struct{ at time.Time }

func (w *watch) now() time.Time { return w.at }

// refuse notes refusals of one asker.
func refuse(p *rpc.Pace, rig, name string, times int) {
	for range times {
		p.Note(rig, name, false)
	}
}

// Who is refused on and on is slowed after 300, for itself and that rig alone, ten a second; an allow ends it, and so does a pause.
func TestPaceOfRefusals(t *testing.T) {
	w := &watch{at: evening}
	p := &rpc.Pace{Now: w.now}
	refuse(p, "heron", "loop", 299)
	wait, began := p.Due("heron", "loop")
	assert.Zero(t, wait)
	assert.False(t, began)
	refuse(p, "heron", "loop", 1)
	wait, began = p.Due("heron", "loop")
	assert.Zero(t, wait, "the first is due now")
	assert.True(t, began, "and told of")
	for i := range 10 {
		wait, began = p.Due("heron", "loop")
		assert.Equal(t, time.Duration(i+1)*100*time.Millisecond, wait, "each a tenth of a second behind the last")
		assert.False(t, began)
	}
	wait, _ = p.Due("heron", "loop")
	assert.Equal(t, time.Second, wait, "and none waits longer")
	for _, of := range [][2]string{{"heron", "other"}, {"wren", "loop"}} {
		wait, _ = p.Due(of[0], of[1])
		assert.Zero(t, wait, "%v", of)
	}
	w.at = w.at.Add(time.Second)
	refuse(p, "heron", "loop", 1)
	wait, _ = p.Due("heron", "loop")
	assert.Equal(t, 100*time.Millisecond, wait)
	p.Note("heron", "loop", true)
	wait, _ = p.Due("heron", "loop")
	assert.Zero(t, wait, "an allow ends it")
	refuse(p, "heron", "loop", 299)
	wait, _ = p.Due("heron", "loop")
	assert.Zero(t, wait, "and it counts anew")

	refuse(p, "heron", "loop", 10)
	w.at = w.at.Add(10*time.Second - 1)
	_, began = p.Due("heron", "loop")
	assert.True(t, began, "a short pause ends nothing")
	w.at = w.at.Add(1)
	for range 2 {
		wait, began = p.Due("heron", "loop")
		assert.Zero(t, wait, "a long one does")
		assert.False(t, began)
	}
	refuse(p, "heron", "loop", 299)
	w.at = w.at.Add(10 * time.Second)
	refuse(p, "heron", "loop", 2)
	_, began = p.Due("heron", "loop")
	assert.False(t, began, "what lies before a pause does not count")

	var none *rpc.Pace
	none.Note("heron", "loop", false)
	wait, began = none.Due("heron", "loop")
	assert.Zero(t, wait)
	assert.False(t, began)
}

// Of one asker four wait at once, so that ten a second holds side by side too, and of all askers an eighth of those who may be under way: what comes beside
// them is refused at once, and moves nobody's turn.
func TestFewWaitForTheirPace(t *testing.T) {
	w := &watch{at: evening}
	p := &rpc.Pace{Now: w.now}
	refuse(p, "heron", "loop", 300)
	p.Due("heron", "loop")
	var all []func()
	for i := range 4 {
		wait, full, leave := p.Wait("heron", "loop")
		assert.Equal(t, time.Duration(i+1)*100*time.Millisecond, wait)
		assert.False(t, full)
		all = append(all, leave)
	}
	for range 20 {
		wait, full, leave := p.Wait("heron", "loop")
		assert.Zero(t, wait)
		assert.True(t, full)
		leave()
	}
	w.at = w.at.Add(100 * time.Millisecond)
	all[0]()
	wait, full, leave := p.Wait("heron", "loop")
	assert.Equal(t, 400*time.Millisecond, wait, "behind those that wait, and not behind what was refused")
	assert.False(t, full)
	all[0] = leave
	p.Note("heron", "loop", true)
	for i := range 15 {
		name := fmt.Sprint(i)
		refuse(p, "heron", name, 300)
		p.Due("heron", name)
		for range 4 {
			_, full, leave := p.Wait("heron", name)
			assert.False(t, full)
			all = append(all, leave)
		}
	}
	refuse(p, "wren", "one", 300)
	p.Due("wren", "one")
	_, full, _ = p.Wait("wren", "one")
	assert.True(t, full, "the others wait in all places")
	for _, leave := range all {
		leave()
	}
	_, full, _ = p.Wait("wren", "one")
	assert.False(t, full)
}

// What comes beside four that wait is refused at once, is told what to do, and leaves nothing on record; who asks otherwise is answered.
func TestBesideThoseThatWait(t *testing.T) {
	b := newBench(t)
	b.ready()
	b.s.Pace = &rpc.Pace{Now: (&watch{at: evening}).now}
	refuse(b.s.Pace, "heron", "test", 300)
	b.s.Pace.Due("heron", "test")
	var all []func()
	for range 4 {
		_, _, leave := b.s.Pace.Wait("heron", "test")
		all = append(all, leave)
	}
	before := b.newest(1)[0].GetReceipt()
	for range 30 {
		_, err := b.motion.Ask(t.Context(), b.slew(30, 3000))
		require.Equal(t, codes.ResourceExhausted, status.Code(err), "%v", err)
		require.Equal(t, "TOO_MUCH", reason(err))
		require.Contains(t, err.Error(), "wait for each answer before the next is asked")
	}
	assert.Equal(t, before.GetNumber(), b.newest(1)[0].GetReceipt().GetNumber(), "none is on record")
	other := b.slew(30, 3000)
	other.Asker = "another"
	b.mustAsk(other)
	for _, leave := range all {
		leave()
	}
	b.mustAsk(b.slew(30, 3000))
}

// Names are free: however many askers are refused once, what is remembered stays bounded, and who asks on and on is not forgotten for them.
func TestPaceIsBounded(t *testing.T) {
	w := &watch{at: evening}
	p := &rpc.Pace{Now: w.now}
	refuse(p, "heron", "loop", 300)
	for i := range 5000 {
		refuse(p, "heron", fmt.Sprint(i), 1)
		require.LessOrEqual(t, p.Runs(), 1024)
	}
	_, began := p.Due("heron", "loop")
	assert.True(t, began)
	w.at = w.at.Add(10 * time.Second)
	refuse(p, "heron", "late", 1)
	assert.Equal(t, 1, p.Runs(), "what is over goes first")
}

// A question that waits for its pace is judged after it, and gets the answer that it would have had; its asker's going leaves nothing behind, a stop does not
// wait for it, and reports never wait.
func TestWhoAsksOnAndOnWhatIsRefused(t *testing.T) {
	b := newBench(t)
	b.ready()
	w := &watch{at: evening}
	b.s.Pace = &rpc.Pace{Now: w.now}
	for range 300 {
		out := b.mustAsk(b.slew(30, 3000))
		require.Equal(t, pb.Verdict_VERDICT_DENY, out.GetJudgement().GetVerdict())
	}
	assert.NotContains(t, b.log.String(), "on and on")
	b.mustAsk(b.slew(30, 3000))
	b.mustAsk(b.slew(30, 3000)) // waits
	assert.Equal(t, 1, strings.Count(b.log.String(), "asks on and on what is refused"), b.log.String())
	assert.Zero(t, b.s.Judging(0))

	for range 30 { // the next would wait for 1 s
		b.s.Pace.Due("heron", "test")
	}
	q := b.slew(30, 3000)
	raw, err := proto.Marshal(q)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = b.s.Call(ctx, "/keepclear.v1.MotionService/Ask", raw)
	assert.Equal(t, codes.Canceled, status.Code(err))
	b.mustReport(&pb.ReportRequest{Sample: b.sample(0, 0)})
	require.Eventually(t, func() bool { return b.s.UnderWay() == [2]int{} }, 10*time.Second, time.Millisecond)
	_, err = b.reads.GetEntry(t.Context(), &pb.GetEntryRequest{Key: &pb.GetEntryRequest_RequestId{RequestId: q.GetRequestId()}})
	assert.Equal(t, codes.NotFound, status.Code(err), "nobody judged it")

	a := b.mustAsk(b.slew(30, 40))
	assert.Equal(t, pb.Verdict_VERDICT_ALLOW, a.GetJudgement().GetVerdict(), "%s", objections(a))
	wait, _ := b.s.Pace.Due("heron", "test")
	assert.Zero(t, wait)
}
