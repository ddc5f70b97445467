package keepclear

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"google.golang.org/grpc"

	pb "keepclear.example/keepclear/api/keepclear/v1"
)

// says is a connection on which every question is answered at once, in one word.
type says struct {
	grpc.ClientConnInterface
	verdict pb.Verdict
}

func (s *says) Invoke(_ context.Context, _ string, _, reply any, _ ...grpc.CallOption) error {
	if r, ok := reply.(*pb.AskResponse); ok {
		r.Judgement = &pb.Judgement{Verdict: s.verdict, Sentence: "So."}
	}
	return nil
}

// A program that asks the same in a tight loop, though it is held or denied, is slowed down; one that asks for something else is not, nor one that gives up.
func TestATightLoopIsSlowedDown(t *testing.T) {
	for _, verdict := range []pb.Verdict{pb.Verdict_VERDICT_HOLD, pb.Verdict_VERDICT_DENY} {
		synctest.Test(t, func(t *testing.T) {
			began := time.Now()
			h := Rig("heron", Mount{
				Read: func(context.Context) (*pb.Sample, error) { return &pb.Sample{}, nil }, Stop: func(context.Context) error { return nil },
			}, Over(&says{verdict: verdict}))
			passed := func(want time.Duration, what string) { assert.Equal(t, want, time.Since(began), what) }
			for range atOnce {
				h.SlewAxes(t.Context(), Axes(1, 2))
			}
			passed(0, "a few at once")
			for range 10 {
				h.SlewAxes(t.Context(), Axes(1, 2))
			}
			passed(10*pause, "then one each pause")
			h.SlewAxes(t.Context(), Axes(1, 3))
			passed(10*pause, "something else at once")
			for range atOnce - 1 {
				h.SlewAxes(t.Context(), Axes(1, 3))
			}
			passed(10*pause, "and that a few times, too")
			time.Sleep(pause)
			h.SlewAxes(t.Context(), Axes(1, 3))
			passed(11*pause, "after a pause of its own")
			over, cancel := context.WithCancel(t.Context())
			cancel()
			h.SlewAxes(over, Axes(1, 3))
			passed(11*pause, "who gives up does not wait")
		})
	}
}

// An allow begins the count anew.
func TestAnAllowIsNoRefusal(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		began := time.Now()
		var r refusal
		home := &pb.Action{Kind: &pb.Action_Home{Home: &pb.Home{}}}
		for range 3 * atOnce {
			r.wait(t.Context(), home)
			r.note(home, true)
		}
		for range atOnce {
			r.wait(t.Context(), home)
			r.note(home, false)
		}
		assert.Zero(t, time.Since(began))
		r.wait(t.Context(), home)
		assert.Equal(t, pause, time.Since(began))
	})
}
