package rpc_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// That a rig was seen moving, with no permit, is not forgotten with the memory: after a restart a question that brings no sample would else be
// judged from where it rested before, as if it still did.
func TestSeenMovingIsNotForgotten(t *testing.T) {
	for name, doing := range map[string]*pb.Motion{"moving": pb.Motion_MOTION_MOVING.Enum(), "not told": nil} {
		for _, by := range []float64{0, 0.3, 5, 30} {
			b := newBench(t)
			b.ready()
			b.wait(time.Second)
			b.mustAsk(b.slew(0, 200)) // refused, and on record with its sample at rest
			b.wait(time.Second)
			s := b.sample(by, 0)
			s.Motion = doing
			b.mustReport(&pb.ReportRequest{Sample: s})
			b.wait(time.Second)
			b.restart()
			q := b.slew(20, 20)
			q.Sample, q.AttendedBy = nil, "M. Tester"
			out := b.mustAsk(q)
			assert.Equal(t, pb.Verdict_VERDICT_HOLD, out.GetJudgement().GetVerdict(), "%s, turned by %v°: %s", name, by, objections(out))
		}
	}
}

// Nor where leave to move was open: the restart takes it back, and nobody knows how far the axes came.
func TestMovingOnLeaveIsNotForgotten(t *testing.T) {
	for name, doing := range map[string]*pb.Motion{"moving": pb.Motion_MOTION_MOVING.Enum(), "not told": nil, "no sample": pb.Motion_MOTION_AT_REST.Enum()} {
		for _, by := range []float64{0, 0.3, 5} {
			b := newBench(t)
			b.ready()
			b.wait(time.Second)
			q := b.slew(20, 20)
			q.AttendedBy = "M. Tester"
			b.allowed(q)
			b.wait(time.Second)
			if name != "no sample" {
				s := b.sample(by, by)
				s.Motion = doing
				b.mustReport(&pb.ReportRequest{Sample: s})
				b.wait(time.Second)
			}
			b.restart()
			q = b.slew(20, 20)
			q.Sample, q.AttendedBy = nil, "M. Tester"
			out := b.mustAsk(q)
			assert.Equal(t, pb.Verdict_VERDICT_HOLD, out.GetJudgement().GetVerdict(), "%s, turned by %v°: %s", name, by, objections(out))
		}
	}
}
